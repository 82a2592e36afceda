/* Hearing, as `tercet.hearing` does it: the same method with the same figures, which Python hands over.
   Here: medians and percentiles, and Fourier transforms. */
(function (H) {
  "use strict";

  H.sum = (values) => values.reduce((sum, value) => sum + value, 0);
  H.mean = (values) => (values.length ? H.sum(values) / values.length : 0);
  H.clip = (value, least, most) => Math.min(Math.max(value, least), most);
  H.flatMedian = (values) => H.percentile(values, 50);

  /* The largest value's place, the first of equals. */
  H.highest = (values) => {
    let best = 0;
    for (let at = 1; at < values.length; at += 1) if (values[at] > values[best]) best = at;
    return best;
  };

  /* To the nearest whole number, halves to the even one. */
  H.even = (value) => {
    const down = Math.floor(value);
    if (value - down !== 0.5) return Math.round(value);
    return down % 2 ? down + 1 : down;
  };

  const sorted = (values) => Float64Array.from(values).sort();

  /* Between the two nearest of what is in order. */
  function between(ordered, percent) {
    const place = ((ordered.length - 1) * percent) / 100;
    const low = Math.floor(place);
    const high = Math.min(low + 1, ordered.length - 1);
    return ordered[low] + (place - low) * (ordered[high] - ordered[low]);
  }

  H.percentile = (values, percent) => between(sorted(values), percent);
  H.median = (values) => H.percentile(values, 50);

  /* The percentile of each column of rows; every `step`th row counts. */
  H.columnPercentiles = (rows, percent, step = 1) => {
    const count = Math.ceil(rows.length / step);
    const column = new Float64Array(count);
    return Float64Array.from(rows[0], (_, at) => {
      for (let row = 0; row < count; row += 1) column[row] = rows[row * step][at];
      return between(column.slice().sort(), percent);
    });
  };

  /* Means of eight rows at a time. */
  H.meansOfEight = (rows) => {
    const made = [];
    for (let first = 0; first + 8 <= rows.length; first += 8) {
      const mean = new Float64Array(rows[0].length);
      for (let row = first; row < first + 8; row += 1) for (let at = 0; at < mean.length; at += 1) mean[at] += rows[row][at] / 8;
      made.push(mean);
    }
    return made;
  };

  /* The value that would be `rank`th in order; what is handed over is put out of order. */
  H.ranked = (values, rank) => {
    let low = 0;
    let high = values.length - 1;
    while (low < high) {
      const middle = values[(low + high) >> 1];
      let one = low;
      let other = high;
      while (one <= other) {
        while (values[one] < middle) one += 1;
        while (values[other] > middle) other -= 1;
        if (one <= other) {
          const held = values[one];
          values[one] = values[other];
          values[other] = held;
          one += 1;
          other -= 1;
        }
      }
      if (rank <= other) high = other;
      else if (rank >= one) low = one;
      else break;
    }
    return values[rank];
  };

  /* How many of what is in order are below a value. */
  H.below = (ordered, value) => {
    let low = 0;
    let high = ordered.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (ordered[middle] < value) low = middle + 1; else high = middle;
    }
    return low;
  };

  /* The value at a place between those that are known, the outermost beyond them. */
  H.interpolated = (at, places, values) => {
    const next = H.below(places, at);
    if (next === 0) return values[0];
    if (next === places.length) return values[values.length - 1];
    const part = (at - places[next - 1]) / (places[next] - places[next - 1]);
    return values[next - 1] + part * (values[next] - values[next - 1]);
  };

  /* For each place the largest value within `reach` places on either side. */
  H.loudestNear = (values, reach) => {
    const found = new Float64Array(values.length);
    for (let at = 0; at < values.length; at += 1) {
      let most = values[at];
      const last = Math.min(at + reach, values.length - 1);
      for (let near = Math.max(at - reach, 0); near <= last; near += 1) if (values[near] > most) most = values[near];
      found[at] = most;
    }
    return found;
  };

  /* Means over some values at a time, an odd number, as if the outermost went on. */
  H.smoothed = (values, count) => {
    const reach = count >> 1;
    const last = values.length - 1;
    return Float64Array.from(values, (_, at) => {
      let sum = 0;
      for (let near = at - reach; near <= at + reach; near += 1) sum += values[H.clip(near, 0, last)];
      return sum / count;
    });
  };

  const hanns = new Map();

  H.hann = (size) => {
    if (!hanns.has(size)) {
      hanns.set(size, Float64Array.from({ length: size }, (_, at) => 0.5 - 0.5 * Math.cos((2 * Math.PI * at) / (size - 1))));
    }
    return hanns.get(size);
  };

  /* ---- Fourier transforms of 2^k points */

  class Transform {
    constructor(size) {
      this.size = size;
      this.re = new Float64Array(size);
      this.im = new Float64Array(size);
      this.cosines = Float64Array.from({ length: (3 * size) / 4 }, (_, at) => Math.cos((2 * Math.PI * at) / size));
      this.sines = Float64Array.from({ length: (3 * size) / 4 }, (_, at) => -Math.sin((2 * Math.PI * at) / size));
      this.order = new Uint32Array(size);
      for (let at = 1; at < size; at += 1) this.order[at] = (this.order[at >> 1] >> 1) | (at & 1 ? size >> 1 : 0);
    }

    /* Of what stands in `re` and `im` in the order of `order`. */
    run() {
      const { re, im, cosines, sines, size } = this;
      /* The first two rounds at once: their turns are by quarters. */
      for (let at = 0; at < size; at += 4) {
        const sumRe = re[at] + re[at + 1];
        const sumIm = im[at] + im[at + 1];
        const offRe = re[at] - re[at + 1];
        const offIm = im[at] - im[at + 1];
        const otherRe = re[at + 2] + re[at + 3];
        const otherIm = im[at + 2] + im[at + 3];
        const turnedRe = im[at + 2] - im[at + 3];
        const turnedIm = re[at + 3] - re[at + 2];
        re[at] = sumRe + otherRe;
        im[at] = sumIm + otherIm;
        re[at + 1] = offRe + turnedRe;
        im[at + 1] = offIm + turnedIm;
        re[at + 2] = sumRe - otherRe;
        im[at + 2] = sumIm - otherIm;
        re[at + 3] = offRe - turnedRe;
        im[at + 3] = offIm - turnedIm;
      }
      let half = 4;
      if (Math.log2(size) % 2) {
        this.doubled(half);
        half = 8;
      }
      /* Two rounds at once, with three turns for four values. */
      for (; half < size; half *= 4) {
        const stride = size / (4 * half);
        for (let start = 0; start < size; start += 4 * half) {
          for (let a = start, step = 0; a < start + half; a += 1, step += stride) {
            const b = a + half;
            const c = b + half;
            const d = c + half;
            const bRe = re[b] * cosines[2 * step] - im[b] * sines[2 * step];
            const bIm = re[b] * sines[2 * step] + im[b] * cosines[2 * step];
            const cRe = re[c] * cosines[step] - im[c] * sines[step];
            const cIm = re[c] * sines[step] + im[c] * cosines[step];
            const dRe = re[d] * cosines[3 * step] - im[d] * sines[3 * step];
            const dIm = re[d] * sines[3 * step] + im[d] * cosines[3 * step];
            const sumRe = re[a] + bRe;
            const sumIm = im[a] + bIm;
            const offRe = re[a] - bRe;
            const offIm = im[a] - bIm;
            const otherRe = cRe + dRe;
            const otherIm = cIm + dIm;
            const turnedRe = cIm - dIm;
            const turnedIm = dRe - cRe;
            re[a] = sumRe + otherRe;
            im[a] = sumIm + otherIm;
            re[b] = offRe + turnedRe;
            im[b] = offIm + turnedIm;
            re[c] = sumRe - otherRe;
            im[c] = sumIm - otherIm;
            re[d] = offRe - turnedRe;
            im[d] = offIm - turnedIm;
          }
        }
      }
    }

    /* One round. */
    doubled(half) {
      const { re, im, cosines, sines, size } = this;
      const stride = size / (2 * half);
      for (let start = 0; start < size; start += 2 * half) {
        for (let near = start, step = 0; near < start + half; near += 1, step += stride) {
          const far = near + half;
          const x = re[far] * cosines[step] - im[far] * sines[step];
          const y = re[far] * sines[step] + im[far] * cosines[step];
          re[far] = re[near] - x;
          im[far] = im[near] - y;
          re[near] += x;
          im[near] += y;
        }
      }
    }
  }

  const transforms = new Map();

  function transformOf(size) {
    if (!transforms.has(size)) transforms.set(size, new Transform(size));
    return transforms.get(size);
  }

  /* The powers of a window of a sound, silence outside it, as far as bin `bins`, below half of `length`,
     which is the transform's.
     Even and odd samples are transformed as one complex sound, which takes half the time. */
  H.powers = (samples, start, size, length, bins, into) => {
    const half = length / 2;
    const transform = transformOf(half);
    const { re, im, order } = transform;
    const window = H.hann(size);
    const first = Math.max(start, 0) - start;
    const last = Math.min(size, samples.length - start);
    if (first || last < size || size < length) {
      re.fill(0);
      im.fill(0);
    }
    let at = first + (first & 1);
    if (at > first && first < last) im[order[first >> 1]] = samples[start + first] * window[first];
    for (; at + 1 < last; at += 2) {
      const place = order[at >> 1];
      re[place] = samples[start + at] * window[at];
      im[place] = samples[start + at + 1] * window[at + 1];
    }
    if (at < last) re[order[at >> 1]] = samples[start + at] * window[at];
    transform.run();
    const { cosines, sines } = transformOf(length);
    into[0] = (re[0] + im[0]) ** 2;
    for (let bin = 1; bin < bins; bin += 1) {
      const far = half - bin;
      const evenRe = re[bin] + re[far];
      const evenIm = im[bin] - im[far];
      const oddRe = im[bin] + im[far];
      const oddIm = re[far] - re[bin];
      const x = evenRe + oddRe * cosines[bin] - oddIm * sines[bin];
      const y = evenIm + oddRe * sines[bin] + oddIm * cosines[bin];
      into[bin] = (x * x + y * y) / 4;
    }
    return into;
  };

  /* A sound through a gain for each frequency, without delay, block by block, two at once: one is the real part of what
     is transformed, the other the imaginary one, and a gain without phase keeps them apart. */
  const BLOCK = 16384;
  const EDGE = 2048;

  H.filtered = (samples, gainOf) => {
    const transform = transformOf(BLOCK);
    const { re, im, order } = transform;
    const hop = BLOCK - 2 * EDGE;
    const gain = Float64Array.from({ length: BLOCK }, (_, at) => gainOf((Math.min(at, BLOCK - at) * H.RATE_HZ) / BLOCK) / BLOCK);
    const made = new Float32Array(samples.length);
    const kept = [new Float64Array(BLOCK), new Float64Array(BLOCK)];
    const at = (place) => (place >= 0 && place < samples.length ? samples[place] : 0);
    for (let first = 0; first < samples.length; first += 2 * hop) {
      for (let n = 0; n < BLOCK; n += 1) {
        re[order[n]] = at(first - EDGE + n);
        im[order[n]] = at(first - EDGE + hop + n);
      }
      transform.run();
      /* The way back is the way there with real and imaginary parts changed over. */
      for (let n = 0; n < BLOCK; n += 1) {
        kept[0][n] = im[n] * gain[n];
        kept[1][n] = re[n] * gain[n];
      }
      for (let n = 0; n < BLOCK; n += 1) {
        re[order[n]] = kept[0][n];
        im[order[n]] = kept[1][n];
      }
      transform.run();
      for (let n = EDGE; n < EDGE + hop; n += 1) {
        const place = first + n - EDGE;
        if (place < samples.length) made[place] = im[n];
        if (place + hop < samples.length) made[place + hop] = re[n];
      }
    }
    return made;
  };
})(window.TercetHearing);
