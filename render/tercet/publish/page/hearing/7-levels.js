/* Levels that survive a phone: without noise, ringing and what an automatic gain does. Front and back of that. */
(function (H) {
  "use strict";
  const F = H.figures.levels;
  const G = H.figures.fronts;
  const HOP_S = F.HOP_FRAMES / H.RATE_HZ;
  const perHop = (seconds) => H.even(seconds / HOP_S);

  /* The K-weighting's answer in power to each bin of a transform. */
  function weightsOf(size) {
    return Float64Array.from({ length: size / 2 + 1 }, (_, bin) => {
      const angle = (-2 * Math.PI * bin) / size;
      const power = ([b0, b1, b2]) => {
        const re = b0 + b1 * Math.cos(angle) + b2 * Math.cos(2 * angle);
        const im = b1 * Math.sin(angle) + b2 * Math.sin(2 * angle);
        return re * re + im * im;
      };
      return H.figures.k_weighting.reduce((all, section) => (all * power(section.slice(0, 3))) / power(section.slice(3)), 1);
    });
  }

  function noiseOf(rows) {
    const means = H.meansOfEight(rows);
    if (!means.length) return new Float64Array(rows[0].length);
    return H.columnPercentiles(means, 8).map((power) => power * F.NOISE_MARGIN);
  }

  /* A recording's K-weighted powers by band, and its treble noise, every 10 ms. */
  H.levelMeter = (samples) => {
    const size = F.WINDOW_FRAMES;
    const [low, high] = F.BANDS_HZ;
    const bands = H.bands(size, H.edgesHz(F.BANDS_HZ, Math.round(Math.log2(high / low) * F.BANDS_AN_OCTAVE)));
    const weights = weightsOf(size);
    const first = Math.floor((F.NOISE_HZ[0] * size) / H.RATE_HZ) + 1;
    const last = Math.ceil((F.NOISE_HZ[1] * size) / H.RATE_HZ);
    const rank = Math.trunc(((last - first) * F.NOISE_PART) / 100);
    const treble = new Float64Array(last - first);
    const rows = [];
    const noises = [];
    H.eachFrame(samples, size, F.HOP_FRAMES, last, (powers) => {
      treble.set(powers.subarray(first, last));
      for (let bin = 0; bin < last; bin += 1) powers[bin] *= weights[bin];
      rows.push(H.summed(powers, bands));
      noises.push(10 * Math.log10(H.ranked(treble, rank) + 1e-14));
    });
    return { rows: rows, noise: H.smoothed(noises, 5) };
  };

  function levelOf(rows, noise, first, next) {
    const full = perHop(H.figures.gesture_s);
    const start = perHop(first);
    let end = start + full;
    if (Number.isFinite(next)) end = Math.min(end, Math.max(perHop(next - F.BEFORE_S), start + F.SHORTEST_STEPS));
    end = Math.min(end, rows.length);
    const count = end - start;
    if (count <= 0) return -Infinity;
    const before = perHop(first - F.BEFORE_S);
    const some = rows.slice(Math.max(before - 1, 0), Math.max(before, 0) + 1);
    const ringing = noise.map((power, band) => Math.max(H.mean(some.map((row) => row[band])) - power, 0));
    let sum = 0;
    for (let step = start; step < end; step += 1) {
      const left = 10 ** ((-F.DECAY_DB_A_S * (step - before) * HOP_S) / 10);
      const row = rows[step];
      for (let band = 0; band < row.length; band += 1) sum += Math.max(row[band] - noise[band] - ringing[band] * left, 0);
    }
    const falling = ((F.DECAY_DB_A_S * Math.log(10)) / 10) * HOP_S;
    const extended = (1 - Math.exp(-falling * full)) / (1 - Math.exp(-falling * count));
    return 10 * Math.log10((sum * extended) / full + 1e-14);
  }

  /* The level of each stroke in dB; `gain` is undone. */
  H.levels = (meter, firsts, gain) => {
    const rows = gain ? meter.rows.map((row, step) => {
      const part = 10 ** (-H.interpolated(step * HOP_S, gain.times, gain.gains) / 10);
      return row.map((power) => power * part);
    }) : meter.rows;
    const noise = noiseOf(rows);
    return firsts.map((first, n) => levelOf(rows, noise, first, n + 1 < firsts.length ? firsts[n + 1] : Infinity));
  };

  /* How far the median of levels lies above the noise; 60 where there is hardly any. */
  H.overNoise = (meter, levels) => {
    if (!levels.length) return 0;
    return Math.min(H.median(levels) - 10 * Math.log10(H.sum(noiseOf(meter.rows)) + 1e-14), 60);
  };

  /* The gain from the noise between strokes: a control only turns up there, and a pluck only adds to the noise. It turns down with a
     stroke's last string. */
  H.gainTrack = ({ noise }, strings) => {
    const found = [];
    const settled = [];
    strings.forEach((own, n) => {
      const last = own[own.length - 1];
      const after = n + 1 < strings.length ? strings[n + 1][0] : noise.length * HOP_S;
      const low = Math.trunc((last + F.FROM_S) / HOP_S);
      const part = noise.slice(low, Math.max(Math.trunc((after - F.TO_S) / HOP_S), low));
      if (part.length < F.FEWEST_STEPS) return;
      settled.push(Math.min(...part.slice(0, H.even(F.SETTLED_S / HOP_S))));
      for (let at = part.length - 2; at >= 0; at -= 1) part[at] = Math.min(part[at], part[at + 1]);
      if (found.length) found.push([last - F.HELD_S, found[found.length - 1][1]]);
      found.push([last + F.TURNED_DOWN_S, part[0]]);
      for (let at = 0; at < part.length - 1; at += H.even(F.STEP_S / HOP_S)) found.push([(low + at) * HOP_S, part[at]]);
      found.push([(low + part.length - 1) * HOP_S, part[part.length - 1]]);
    });
    if (settled.length < F.FEWEST) return { gated: true, controlled: false };
    const gains = found.map(([, value]) => value);
    const most = H.percentile(gains, 98);
    const low = H.percentile(settled, 10);
    const gated = low < F.FAINTEST_DB;
    return {
      gated: gated,
      controlled: !gated && H.percentile(settled, 90) - low > F.SPREAD_WITH_GAIN_DB,
      times: found.map(([time]) => time),
      gains: gains.map((value) => value - most),
    };
  };

  /* ---- front and back */

  const LAYERS = ["melody", "strums"];

  function between([melody, strums]) {
    if (melody.length < G.FEWEST || strums.length < G.FEWEST) return null;
    return H.median(melody) - H.median(strums);
  }

  /* The standard error of a median, from the middle half. */
  const errorOf = (levels) => (1.25 * (H.percentile(levels, 75) - H.percentile(levels, 25))) / 1.35 / Math.sqrt(levels.length);

  H.front = (strokes, levels, gain, meter, wanted) => {
    const plain = (stroke, layer) => stroke.layer === layer && stroke.action !== "chop";
    const meant = between(LAYERS.map((layer) => wanted.strokes.filter((stroke) => plain(stroke, layer)).map((stroke) => stroke.level)));
    const own = LAYERS.map((layer) => levels.filter((level, n) => plain(strokes[n], layer) && Number.isFinite(level)));
    const lu = between(own);
    const front = { lu: null, uncertainty: null, wanted: meant, controlled: gain.controlled };
    if (meant === null) return { ...front, why: "front_nothing" };
    if (lu === null) return { ...front, why: "front_few" };
    if (gain.gated) return { ...front, why: "front_gated" };
    if (H.overNoise(meter, own[1]) < G.LEAST_OVER_NOISE_DB) return { ...front, why: "front_noise" };
    const method = gain.controlled ? G.GAIN_ERROR_LU : G.OWN_ERROR_LU;
    return { ...front, lu: lu, uncertainty: Math.hypot(errorOf(own[0]), errorOf(own[1]), method), why: "" };
  };
})(window.TercetHearing);
