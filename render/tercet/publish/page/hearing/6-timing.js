/* Timing: how late each stroke was by the tempo around it, the tempo of each bar, where the music stood still. */
(function (H) {
  "use strict";
  const F = H.figures.timing;
  const goesOn = (ahead) => ahead > 0 && ahead <= 4;

  /* Runs of pairs, [first, after the last], that go on without a jump or a pause. */
  H.runsOf = (places, times, tempo, wanted) => {
    const cuts = [0];
    for (let n = 1; n < places.length; n += 1) {
      const due = (wanted.onsets[places[n]] - wanted.onsets[places[n - 1]]) * tempo[places[n]];
      if (!goesOn(places[n] - places[n - 1]) || times[n] - times[n - 1] - due > F.PAUSE_S) cuts.push(n);
    }
    return cuts.map((first, at) => [first, at + 1 < cuts.length ? cuts[at + 1] : places.length]);
  };

  /* The line through points: the median of the slopes between them, and of what is left (Theil and Sen). */
  function lineOf(x, y) {
    const slopes = [];
    for (let one = 0; one < x.length; one += 1) {
      for (let other = one + 1; other < x.length; other += 1) {
        const across = x[other] - x[one];
        if (across > 1e-6) slopes.push([(y[other] - y[one]) / across, across]);
      }
    }
    if (!slopes.length) return [1, H.median(y.map((value, at) => value - x[at]))];
    slopes.sort(([one], [other]) => one - other);
    const half = 0.5 * slopes.reduce((sum, [, across]) => sum + across, 0);
    let passed = 0;
    const [slope] = slopes.find(([, across]) => {
      passed += across;
      return passed >= half;
    }) || slopes[slopes.length - 1];
    return [slope, H.median(y.map((value, at) => value - slope * x[at]))];
  }

  /* How late each stroke is by a line through its neighbours; by the place between its two, if that is less. */
  H.lateness = (places, times, runs, wanted) => {
    const due = places.map((place) => wanted.onsets[place]);
    const late = new Float64Array(places.length);
    runs.forEach(([start, stop]) => {
      for (let n = start; n < stop; n += 1) {
        const near = [];
        for (let k = Math.max(n - F.REACH, start); k < Math.min(n + F.REACH + 1, stop); k += 1) if (k !== n) near.push(k);
        if (near.length < 4 || n === start || n === stop - 1) continue;
        const [slope, offset] = lineOf(near.map((k) => due[k]), near.map((k) => times[k]));
        const byLine = times[n] - (offset + slope * due[n]);
        const share = (due[n] - due[n - 1]) / Math.max(due[n + 1] - due[n - 1], 1e-6);
        const byBoth = times[n] - (times[n - 1] + share * (times[n + 1] - times[n - 1]));
        if (byLine * byBoth > 0) late[n] = Math.abs(byLine) <= Math.abs(byBoth) ? byLine : byBoth;
      }
    });
    return late;
  };

  function barSlopes(places, times, runs, wanted) {
    const found = [];
    runs.forEach(([start, stop]) => {
      const firsts = [];
      for (let n = start; n < stop; n += 1) {
        if (n === start || wanted.bars[places[n]] !== wanted.bars[places[n - 1]]) firsts.push(n);
      }
      firsts.forEach((first, at) => {
        const after = at + 1 < firsts.length ? firsts[at + 1] : stop - 1;
        const x = places.slice(first, after + 1).map((place) => wanted.onsets[place]);
        if (!(x[x.length - 1] - x[0] > 0.5 * wanted.pulse)) return;
        const [slope] = lineOf(x, times.slice(first, after + 1));
        if (slope > 0) found.push({ bar: wanted.bars[places[first]], start: times[first], slope: slope });
      });
    });
    return found;
  }

  /* The tempo of each bar that was heard from its start to that of the next, and of the take as a whole. */
  H.tempi = (places, times, runs, wanted) => {
    const slopes = barSlopes(places, times, runs, wanted);
    const usual = slopes.length ? H.median(slopes.map(({ slope }) => slope)) : 1;
    const tempo = (slope) => 60 / (wanted.pulse * slope);
    return {
      tempo: tempo(usual),
      bars: slopes.map(({ bar, start, slope }) => ({ bar: bar, start: start, tempo: tempo(slope), part: usual / slope })),
    };
  };

  /* Where the music stood still while it went on with the next stroke, or went back. */
  H.pauses = (places, times, tempo, wanted) => {
    const { onsets } = wanted;
    const found = [];
    for (let n = 1; n < places.length; n += 1) {
      const before = places[n - 1];
      const after = places[n];
      let passed = onsets[after] - onsets[before];
      if (!goesOn(after - before)) {
        passed = Math.max(onsets[Math.min(before + 1, onsets.length - 1)] - onsets[before], 2 * wanted.pulse);
      }
      const due = passed * Math.min(tempo[before], tempo[after]);
      const stood = times[n] - times[n - 1] - due;
      if (stood > F.PAUSE_S) found.push({ bar: wanted.bars[after], start: times[n - 1] + due, length: stood });
    }
    return found;
  };

  /* Where the student went to another bar than the next. */
  H.repeats = (places, times, wanted) => places.slice(1).map((after, at) => ({
    after: wanted.bars[places[at]], to: wanted.bars[after], at: times[at + 1], goesOn: goesOn(after - places[at]),
  })).filter((one) => !one.goesOn);
})(window.TercetHearing);
