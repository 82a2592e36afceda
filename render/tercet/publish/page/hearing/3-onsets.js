/* Onsets: where something is struck, from what is new in the spectrum. */
(function (H) {
  "use strict";
  const F = H.figures.onsets;

  function runningMedian(values, reach) {
    const last = values.length - 1;
    const near = new Float64Array(2 * reach + 1);
    return Float64Array.from(values, (_, at) => {
      for (let n = 0; n <= 2 * reach; n += 1) near[n] = values[H.clip(at - reach + n, 0, last)];
      return H.ranked(near, reach);
    });
  }

  function peaks(novelty) {
    const over = runningMedian(novelty, F.MEDIAN_STEPS).map((median, at) => novelty[at] - median);
    const least = Math.max(F.LEAST_PEAK, F.MEDIANS_A_PEAK * H.median(over.map(Math.abs)));
    const loudest = H.loudestNear(novelty, F.PEAK_STEPS);
    const kept = [];
    novelty.forEach((value, place) => {
      if (value !== loudest[place] || over[place] <= least) return;
      const last = kept[kept.length - 1];
      if (kept.length && (place - last) * F.STEP_FRAMES < F.APART_S * H.RATE_HZ) {
        if (value > F.STRONGER * novelty[last]) kept[kept.length - 1] = place;
        return;
      }
      kept.push(place);
    });
    const usual = kept.length ? H.percentile(kept.map((place) => over[place]), 95) : 0;
    const at = kept.filter((place) => over[place] > F.LEAST_PART * usual);
    return {
      times: Float64Array.from(at, (place) => place * (F.STEP_FRAMES / H.RATE_HZ)),
      strengths: Float64Array.from(at, (place) => over[place]),
    };
  }

  H.findOnsets = (samples) => {
    const bands = H.bands(F.WINDOW_FRAMES, H.edgesHz(F.BAND_RANGE_HZ, F.BANDS));
    const powers = H.powersByBand(samples, F.WINDOW_FRAMES, F.STEP_FRAMES, bands);
    const quiet = H.columnPercentiles(H.meansOfEight(powers), 10);
    const loud = H.columnPercentiles(powers, 97, 7);
    const floor = quiet.map((power, band) => Math.max(F.FLOOR_TIMES * power, loud[band] * 10 ** (-F.RANGE_DB / 10)) + 1e-12);
    powers.forEach((row) => {
      for (let band = 0; band < row.length; band += 1) row[band] = Math.log10(1 + row[band] / floor[band]);
    });
    const novelty = new Float64Array(powers.length);
    for (let n = 0; n + F.LAG_STEPS < powers.length; n += 1) {
      const before = powers[n];
      const now = powers[n + F.LAG_STEPS];
      const last = now.length - 1;
      let rise = 0;
      for (let band = 0; band <= last; band += 1) {
        const near = Math.max(before[band], before[band > 0 ? band - 1 : 0], before[band < last ? band + 1 : last]);
        if (now[band] > near) rise += now[band] - near;
      }
      novelty[n + 2] = rise / now.length;
    }
    return peaks(novelty);
  };

  /* The strongest, in order. */
  H.strongest = (onsets, most) => {
    if (onsets.times.length <= most) return onsets;
    const order = [...onsets.strengths.keys()].sort((one, other) => onsets.strengths[other] - onsets.strengths[one]);
    const kept = order.slice(0, most).sort((one, other) => one - other);
    return { times: Float64Array.from(kept, (at) => onsets.times[at]), strengths: Float64Array.from(kept, (at) => onsets.strengths[at]) };
  };

  /* What is new in the treble, a value every millisecond. */
  H.pluckCurve = (samples) => {
    const [low, high] = F.TREBLE_HZ;
    const slope = 6;
    const treble = H.filtered(samples, (hz) => {
      const octaves = Math.log2(Math.max(hz, 1));
      return H.clip(0.5 + slope * (octaves - Math.log2(low)), 0, 1) * H.clip(0.5 + slope * (Math.log2(high) - octaves), 0, 1);
    });
    const step = H.RATE_HZ / 1000;
    const energies = new Float64Array(Math.floor(treble.length / step));
    energies.forEach((_, ms) => {
      for (let n = ms * step; n < (ms + 1) * step; n += 1) energies[ms] += treble[n] * treble[n];
    });
    const smooth = energies.map((_, ms) => {
      let sum = 0;
      for (let n = ms - F.SMOOTH_MS / 2; n < ms + F.SMOOTH_MS / 2; n += 1) sum += energies[n] || 0;
      return sum / F.SMOOTH_MS;
    });
    const most = smooth.reduce((highest, energy) => Math.max(highest, energy), 0);
    const floor = 3 * H.percentile(smooth, 20) + 1e-6 * most + 1e-20;
    const heights = smooth.map((energy) => Math.log10(1 + energy / floor));
    const before = H.loudestNear(heights, 2);
    const novelty = new Float64Array(heights.length);
    for (let n = 0; n + F.PLUCK_LAG_MS < heights.length; n += 1) novelty[n + 4] = Math.max(heights[n + F.PLUCK_LAG_MS] - before[n], 0);
    return novelty;
  };

  /* The highest peaks between two times, in order. */
  H.plucks = (curve, from, to, most = 14) => {
    const first = Math.max(Math.trunc(from * 1000), 0);
    const part = curve.subarray(first, Math.max(Math.trunc(to * 1000), first + 3));
    const loudest = H.loudestNear(part, 4);
    let found = [...part.keys()].filter((at) => part[at] === loudest[at] && part[at] > F.LEAST_PEAK);
    if (found.length > most) found = found.sort((one, other) => part[other] - part[one]).slice(0, most).sort((one, other) => one - other);
    return { times: found.map((at) => (at + first) / 1000), heights: found.map((at) => part[at]) };
  };
})(window.TercetHearing);
