/* Tuning: how far a recording, and each string in it, lies from A = 440 Hz. */
(function (H) {
  "use strict";
  const F = H.figures.tuning;
  const top = (left, middle, right) => (0.5 * (left - right)) / Math.min(left - 2 * middle + right, -1e-9);

  /* How far all strings together are off, −50 to 50 cents. */
  H.overallCents = (samples) => {
    const size = F.WINDOW_FRAMES;
    const starts = [];
    for (let start = 0; start < Math.max(samples.length - size, 1); start += F.HOP_FRAMES) starts.push(start);
    const energies = starts.map((start) => samples.subarray(start, start + size).reduce((sum, value) => sum + value * value, 0));
    const least = H.percentile(energies, 40);
    const loud = starts.filter((_, n) => energies[n] >= least);
    const step = Math.max(Math.floor(loud.length / F.MOST_WINDOWS), 1);
    const [low, high] = F.RANGE_HZ.map((hz) => Math.trunc((hz * size) / H.RATE_HZ));
    const powers = new Float64Array(high + 1);
    let re = 0;
    let im = 0;
    loud.filter((_, n) => n % step === 0).forEach((start) => {
      const heights = H.powers(samples, start, size, size, high + 1, powers).map(Math.sqrt);
      const least = F.LEAST_PART * heights.subarray(low, high).reduce((most, height) => Math.max(most, height), 0);
      for (let bin = low; bin < high; bin += 1) {
        const height = heights[bin];
        if (height <= heights[bin - 1] || height <= heights[bin + 1] || height <= least) continue;
        const [left, middle, right] = [bin - 1, bin, bin + 1].map((at) => Math.log(heights[at] + 1e-12));
        const hz = ((bin + top(left, middle, right)) * H.RATE_HZ) / size;
        const turn = 2 * Math.PI * 12 * Math.log2(hz / 440);
        re += height * Math.cos(turn);
        im += height * Math.sin(turn);
      }
    });
    return re || im ? (Math.atan2(im, re) / (2 * Math.PI)) * 100 : 0;
  };

  const SIZE = 4 * F.STRING_WINDOW_FRAMES;
  const binOf = (hz) => (hz * SIZE) / H.RATE_HZ;

  function partialsCents(powers, midi, others) {
    const bases = others.map((key) => H.hzOf(key));
    const clear = 2 ** (F.CLEAR_CENTS / 1200);
    const found = [];
    F.STRING_PARTIALS.forEach((partial) => {
      const hz = H.hzOf(midi) * partial;
      const covered = bases.some((base) => {
        for (let other = 1; other <= 8; other += 1) if (base * other > hz / clear && base * other < hz * clear) return true;
        return false;
      });
      if (covered) return;
      const reach = 2 ** (F.FURTHEST_CENTS / 1200);
      const low = Math.trunc(binOf(hz / reach));
      const high = Math.ceil(binOf(hz * reach));
      const place = low + H.highest(powers.subarray(low, high + 1));
      const around = powers.slice(Math.trunc(binOf(hz * 0.9)), Math.trunc(binOf(hz * 1.1)));
      const usual = H.ranked(around, around.length >> 1);
      if (place === low || place === high || powers[place] < 10 ** (F.LEAST_OVER_DB / 10) * usual) return;
      const [left, middle, right] = [place - 1, place, place + 1].map((at) => 0.5 * Math.log(powers[at] + 1e-24));
      found.push(1200 * Math.log2((((place + top(left, middle, right)) * H.RATE_HZ) / SIZE) / hz));
    });
    return found;
  }

  function middleOf(string, cents) {
    const middle = H.median(cents);
    const spread = 1.48 * H.median(cents.map((value) => Math.abs(value - middle)));
    return { string: string, cents: middle, uncertainty: (2 * spread) / Math.sqrt(cents.length) + 0.3, notes: cents.length };
  }

  /* How far each string is off, from the partials of its notes that stand clear of others; of strokes and their times. */
  H.stringTunings = (samples, heard) => {
    const found = new Map();
    const keys = (stroke) => stroke.strings.map((string) => string.midi);
    const highest = Math.max(...heard.flatMap(({ stroke }) => keys(stroke)), 0);
    const bins = Math.min(Math.ceil(binOf(1.2 * H.hzOf(highest) * Math.max(...F.STRING_PARTIALS))), SIZE / 2);
    const powers = new Float64Array(bins);
    heard.forEach(({ stroke, times }, n) => {
      if (stroke.action === "chop") return;
      const start = Math.trunc((times[times.length - 1] + F.AFTER_S) * H.RATE_HZ);
      const next = n + 1 < heard.length ? Math.trunc((heard[n + 1].times[0] - 0.01) * H.RATE_HZ) : Infinity;
      const end = Math.min(start + F.STRING_WINDOW_FRAMES, next, samples.length);
      if (end - start < F.SHORTEST_FRAMES) return;
      H.powers(samples, start, end - start, SIZE, bins, powers);
      const before = heard.slice(Math.max(n - F.RINGING_STROKES, 0), n).flatMap((each) => keys(each.stroke));
      stroke.strings.forEach(({ string, midi }) => {
        const others = [...new Set([...before, ...keys(stroke)])].filter((key) => key !== midi);
        found.set(string, [...(found.get(string) || []), ...partialsCents(powers, midi, others)]);
      });
    });
    return [4, 3, 2, 1].filter((string) => (found.get(string) || []).length >= F.FEWEST_NOTES).map((string) => middleOf(string, found.get(string)));
  };
})(window.TercetHearing);
