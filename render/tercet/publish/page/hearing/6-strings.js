/* Strings: when each string of a roll or a strum is struck, within the moment that the stroke takes. */
(function (H) {
  "use strict";
  const F = H.figures.strings;

  /* How much each string's own partials rise at each pluck, (strings, plucks), about 0 to 1. */
  function risesOf(samples, times, stroke, cents) {
    const bins = Math.ceil((F.HIGHEST_HZ * F.TRANSFORM) / H.RATE_HZ) + 3;
    const at = (start) => H.powers(samples, start, F.WINDOW_FRAMES, F.TRANSFORM, bins, new Float64Array(bins));
    const starts = times.map((time) => H.even(time * H.RATE_HZ));
    const after = starts.map((start) => at(start + 48));
    const before = starts.map((start) => at(start - 744));
    const top = (powers, place) => Math.max(powers[place - 1], powers[place], powers[place + 1]);
    return stroke.strings.map(({ midi }) => {
      const base = H.hzOf(midi, cents);
      return starts.map((_, n) => {
        let risen = 1e-9;
        let fallen = 1e-9;
        F.PARTIALS.every((partial) => {
          if (base * partial > F.HIGHEST_HZ) return false;
          const place = H.even((base * partial * F.TRANSFORM) / H.RATE_HZ);
          risen += top(after[n], place) / partial;
          fallen += top(before[n], place) / partial;
          return true;
        });
        return H.clip(10 * Math.log10(risen / fallen), F.LEAST_RISE_DB, F.MOST_RISE_DB) / F.MOST_RISE_DB;
      });
    });
  }

  /* The best pluck for each string, each later than the one before. */
  function inOrder(worth, times, onset, near) {
    const best = worth.map((row) => new Float64Array(row.length).fill(-Infinity));
    const came = worth.map((row) => new Int32Array(row.length));
    best[0].set(worth[0]);
    for (let n = 1; n < worth.length; n += 1) {
      for (let k = n; k < times.length; k += 1) {
        for (let other = 0; other < k; other += 1) {
          const gap = times[k] - times[other];
          const late = (F.LATE_WEIGHT * Math.max(gap - near[n - 1], 0)) / F.SCALE_S;
          const value = best[n - 1][other] - late - (gap < F.AT_ONCE_S ? F.AT_ONCE_COST : 0) + worth[n][k];
          if (value > best[n][k]) {
            best[n][k] = value;
            came[n][k] = other;
          }
        }
      }
    }
    let place = H.highest(best[best.length - 1].map((value, k) => value - (F.ANCHOR_WEIGHT * Math.abs(times[k] - onset)) / F.SCALE_S));
    const chosen = [place];
    for (let n = worth.length - 1; n > 0; n -= 1) {
      place = came[n][place];
      chosen.unshift(place);
    }
    return chosen;
  }

  function struck(samples, curve, stroke, onset, [from, to], cents) {
    const delays = stroke.strings.map((string) => string.delay);
    const count = delays.length;
    const span = delays[count - 1];
    if (stroke.action === "chop") return delays.map((delay) => onset + delay);
    if (count === 1) {
      const { times, heights } = H.plucks(curve, onset - F.ALONE_S, onset + F.ALONE_S);
      return [times.length ? times[H.highest(heights)] : onset];
    }
    const reach = (1 + F.MARGIN_SPANS) * span + F.MARGIN_S;
    const back = stroke.action === "strum" ? F.MARGIN_S : reach;
    const low = Math.max(onset - back, from, 0);
    const { times, heights } = H.plucks(curve, low, Math.max(Math.min(onset + reach, to), low + 0.01));
    if (times.length < count) {
      const first = times.length ? Math.min(times[0], onset) : onset;
      return delays.map((delay) => first + delay);
    }
    const most = Math.max(...heights, 0.05);
    const worth = risesOf(samples, times, stroke, cents).map((row) => row.map((rise, k) => rise + F.PLUCK_WEIGHT * Math.min(heights[k] / most, 1)));
    const near = delays.slice(1).map((delay, n) => F.NEAR_S + F.NEAR_TIMES * (delay - delays[n]));
    return inOrder(worth, times, onset, near).map((k) => times[k]);
  }

  /* For each pair when its strings are struck, in the order wanted. */
  H.stringTimes = (samples, { pairs, times }, wanted, cents) => {
    const curve = H.pluckCurve(samples);
    const found = [];
    pairs.forEach((pair, n) => {
      const last = found[n - 1];
      const from = last ? last[last.length - 1] + F.AFTER_LAST_S : 0;
      const to = n + 1 < times.length ? times[n + 1] - F.BEFORE_NEXT_S : Infinity;
      found.push(struck(samples, curve, wanted.strokes[pair.stroke], times[n], [from, to], cents));
    });
    return found;
  };
})(window.TercetHearing);
