/* A recording held against the take that was wanted: what was played of it, when, how loud, and how well in tune. */
(function (H) {
  "use strict";
  const F = H.figures.listener;

  /* What was wanted, of the page's facts: the strokes of some layers. */
  H.wantedTake = (facts, layers) => {
    const strokes = facts.strokes.map(([onset, layer, action, bar, tune, next, ...figures]) => {
      const strings = [];
      for (let at = 0; at < figures.length; at += 4) {
        strings.push({ string: figures[at], midi: figures[at + 1], delay: figures[at + 2], level: figures[at + 3] });
      }
      const level = 10 * Math.log10(H.sum(strings.map((string) => 10 ** (string.level / 10))));
      return { onset: onset, layer: layer, action: action, bar: bar, tune: Boolean(tune), next: next, strings: strings, level: level };
    }).filter((stroke) => layers.includes(stroke.layer));
    const bars = strokes.map((stroke) => stroke.bar);
    return {
      pulse: facts.pulse,
      strokes: strokes,
      onsets: Float64Array.from(strokes, (stroke) => stroke.onset),
      bars: bars,
      begins: bars.map((bar, at) => !at || bar !== bars[at - 1]),
      places: new Map(facts.bars.map(([number, ...place]) => [number, place])),
      lastBar: facts.bars[facts.bars.length - 1][0],
      nameOf: (midi) => facts.names[midi - H.figures.verdicts.LOWEST_KEY],
    };
  };

  function strokesHeard(wanted, places, strings, late, levels, verdicts, missed) {
    const usual = H.median(levels);
    const stroke = (place, more) => {
      const { layer, action, bar, tune, strings: own, onset } = wanted.strokes[place];
      return { stroke: place, layer: layer, action: action, bar: bar, tune: tune, due: onset, main: own[own.length - 1].midi, ...more };
    };
    const absent = { onset: null, strings: [], level: null, verdict: "missed", heard: null, off: 0 };
    return places.flatMap((place, n) => {
      const { verdict, midi, trust } = verdicts[n];
      const level = Number.isFinite(levels[n]) ? levels[n] - usual : null;
      const there = { onset: strings[n][0], strings: strings[n], level: level, verdict: verdict, heard: midi, off: late[n] };
      const own = stroke(place, verdict === "missed" ? { ...absent, trust: trust } : { ...there, trust: trust });
      return [own, ...missed.filter((one) => one.after === n).map((one) => stroke(one.stroke, { ...absent, trust: one.trust }))];
    });
  }

  /* Samples at `RATE_HZ` against a wanted take; `rest` lets the page breathe between two steps. Null: hardly anything is struck. */
  H.hear = async (samples, wanted, rest = async () => {}) => {
    const found = H.findOnsets(samples);
    if (found.times.length < F.FEWEST_ONSETS) return null;
    await rest();
    const onsets = H.strongest(found, F.ONSETS_A_STROKE * wanted.strokes.length + F.MORE_ONSETS);
    const cents = H.overallCents(samples);
    const fresh = H.newlySounding(samples, onsets.times);
    await rest();
    const aligned = H.align(onsets, H.fits(fresh, H.strokeTemplates(wanted.strokes, cents)), wanted);
    await rest();
    const strings = H.stringTimes(samples, aligned, wanted, cents);
    await rest();
    const { places, tempo } = aligned;
    const firsts = strings.map((times) => times[0]);
    const runs = H.runsOf(places, firsts, tempo, wanted);
    const late = H.lateness(places, firsts, runs, wanted);
    const sounding = H.soundingKeys(samples, strings, fresh.colour, cents);
    const verdicts = H.judged(wanted, places, sounding, late);
    await rest();
    const meter = H.levelMeter(samples);
    const gain = H.gainTrack(meter, strings);
    const levels = H.levels(meter, firsts, gain.controlled ? gain : null);
    await rest();
    const own = places.map((place) => wanted.strokes[place]);
    const asWanted = own.map((stroke, n) => ({ stroke: stroke, times: strings[n] })).filter((_, n) => verdicts[n].verdict !== "another note");
    const strokes = strokesHeard(wanted, places, strings, late, levels, verdicts, H.missedStrokes(places, runs, wanted, sounding));
    const bars = strokes.map((stroke) => stroke.bar);
    return {
      wanted: wanted,
      strokes: strokes,
      ...H.tempi(places, firsts, runs, wanted),
      tuning: H.stringTunings(samples, asWanted),
      front: H.front(own, levels, gain, meter, wanted),
      repeats: H.repeats(places, firsts, wanted),
      pauses: H.pauses(places, firsts, tempo, wanted),
      firstBar: Math.min(...bars),
      lastBar: Math.max(...bars),
      noise: H.overNoise(meter, levels),
      trust: H.songTrust(aligned, wanted, verdicts),
    };
  };
})(window.TercetHearing);
