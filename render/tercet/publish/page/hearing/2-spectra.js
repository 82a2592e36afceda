/* Spectra: bands, and the axis of pitches on which strokes are compared. */
(function (H) {
  "use strict";
  const { RATE_HZ, LOWEST_HZ, HIGHEST_HZ, BINS_AN_OCTAVE } = H.figures.spectra;
  H.RATE_HZ = RATE_HZ;

  H.hzOf = (midi, cents = 0) => 440 * 2 ** ((midi - 69 + cents / 100) / 12);

  const octaves = Math.log2(HIGHEST_HZ / LOWEST_HZ);
  H.axis = Float64Array.from({ length: Math.floor(octaves * BINS_AN_OCTAVE) }, (_, at) => LOWEST_HZ * 2 ** (at / BINS_AN_OCTAVE));

  const axes = new Map();

  /* For a transform's size: of each place of the axis the first bin that counts, and the weights from there on. */
  function weightsOf(size) {
    if (!axes.has(size)) {
      axes.set(size, [...H.axis].map((centre) => {
        const width = Math.max(centre * (2 ** (1 / BINS_AN_OCTAVE) - 1), RATE_HZ / size);
        const first = Math.max(Math.ceil(((centre - width) * size) / RATE_HZ), 0);
        const last = Math.min(Math.floor(((centre + width) * size) / RATE_HZ), size / 2);
        const weights = Array.from({ length: last - first + 1 }, (_, n) => Math.max(1 - Math.abs(((first + n) * RATE_HZ) / size - centre) / width, 0));
        const all = H.sum(weights);
        return { first: first, weights: Float64Array.from(weights, (weight) => weight / all) };
      }));
    }
    return axes.get(size);
  }

  H.binsOfAxis = (size) => Math.ceil((1.1 * HIGHEST_HZ * size) / RATE_HZ);

  H.toAxis = (amplitudes, size) => {
    const all = weightsOf(size);
    const found = new Float64Array(all.length);
    for (let at = 0; at < all.length; at += 1) {
      const { first, weights } = all[at];
      for (let n = 0; n < weights.length; n += 1) found[at] += weights[n] * amplitudes[first + n];
    }
    return found;
  };

  /* Evenly spaced in octaves. */
  H.edgesHz = ([low, high], bands) => Array.from({ length: bands + 1 }, (_, at) => low * (high / low) ** (at / bands));

  /* Of each band that holds bins of a transform the first and the one after the last. */
  H.bands = (size, edgesHz) => {
    const binOf = (hz) => Math.ceil((hz * size) / RATE_HZ - 1e-9);
    return edgesHz.slice(1).map((high, at) => [binOf(edgesHz[at]), Math.min(binOf(high), size / 2 + 1)]).filter(([first, last]) => last > first);
  };

  /* Calls back with the powers of each window `size` long every `hop` frames; window n is centred on n · hop. */
  H.eachFrame = (samples, size, hop, bins, call) => {
    const powers = new Float64Array(bins);
    const count = Math.floor(samples.length / hop) + 1;
    for (let n = 0; n < count; n += 1) call(H.powers(samples, n * hop - size / 2, size, size, bins, powers), n);
  };

  H.summed = (powers, bands) => {
    const found = new Float64Array(bands.length);
    for (let band = 0; band < bands.length; band += 1) {
      const [first, last] = bands[band];
      for (let bin = first; bin < last; bin += 1) found[band] += powers[bin];
    }
    return found;
  };

  H.powersByBand = (samples, size, hop, bands) => {
    const made = [];
    H.eachFrame(samples, size, hop, bands[bands.length - 1][1], (powers) => made.push(H.summed(powers, bands)));
    return made;
  };

  /* What newly sounds between two windows of a sound, as amplitudes on the axis; and what sounds in the later one. */
  H.newAmplitudes = (samples, beforeStart, afterStart, size, length, takenOut) => {
    const bins = H.binsOfAxis(length);
    const after = H.powers(samples, afterStart, size, length, bins, new Float64Array(bins));
    const before = H.powers(samples, beforeStart, size, length, bins, new Float64Array(bins));
    const rest = before.map((power, bin) => Math.sqrt(Math.max(after[bin] - takenOut * power, 0)));
    return { fresh: H.toAxis(rest, length), all: H.toAxis(after.map(Math.sqrt), length) };
  };
})(window.TercetHearing);
