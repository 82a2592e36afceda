/* Alignment: which onset is which wanted stroke, as the shortest path through pairs of both. */
(function (H) {
  "use strict";
  const F = H.figures.alignment;

  function fitOf(cosines) {
    const all = Float64Array.from(cosines.flatMap((row) => [...row])).sort();
    const spread = Math.max(H.percentile(all, 97) - H.median(all), 1e-6);
    return cosines.map((row) => {
      const usual = H.median(row);
      return row.map((cosine) => H.clip((cosine - usual) / spread, -1, 1.5));
    });
  }

  /* The best path, and what it is worth. */
  function pathOf(onsets, fit, wanted, tempo, [wide, widest]) {
    const { times, strengths } = onsets;
    const many = times.length;
    const count = wanted.strokes.length;
    const usual = F.USUAL_PART * H.percentile(strengths, 95) + 1e-12;
    const louder = strengths.map((strength) => H.clip(F.STRENGTH_WEIGHT * Math.log10(strength / (0.2 * usual) + 1e-12), -1, 0.2));
    const passed = new Float64Array(many + 1);
    strengths.forEach((strength, at) => { passed[at + 1] = passed[at] + F.SKIPPED_ONSET * Math.min(strength / usual, 2); });
    const { onsets: due, bars, begins } = wanted;
    const waits = [];
    for (let step = 1; step <= Math.min(F.FURTHEST_STROKES, count - 1); step += 1) {
      waits.push(Float64Array.from({ length: count - step }, (_, at) => (
        Math.log(Math.max((due[at + step] - due[at]) * tempo[at + step], F.FAINTEST_S)))));
    }
    const outside = (strokes) => F.OUTSIDE * Math.min(strokes * F.SKIPPED_STROKE, F.MOST_OUTSIDE);
    const best = Array.from({ length: many }, () => new Float64Array(count));
    const came = new Int32Array(many * count).fill(-1);
    const jumped = new Uint8Array(many * count);
    const topStroke = new Int32Array(many);
    for (let k = 0; k < many; k += 1) {
      const now = best[k].map((_, stroke) => -0.3 * passed[k] - outside(stroke));
      const row = k * count;
      const reach = Math.max(0, k - F.FURTHEST_ONSETS, H.below(times, times[k] - F.FURTHEST_S));
      const first = Math.min(reach, Math.max(k - 1, 0));
      waits.forEach((each, before) => {
        const step = before + 1;
        const most = new Float64Array(count - step).fill(-Infinity);
        const which = new Int32Array(count - step);
        for (let other = first; other < k; other += 1) {
          const wait = Math.log(Math.max(times[k] - times[other], F.FAINTEST_S));
          const from = best[other];
          const skipped = passed[k] - passed[other + 1];
          for (let at = 0; at < most.length; at += 1) {
            const off = wait - each[at];
            const square = wide * off * off;
            const paid = from[at] - skipped - F.TEMPO_WEIGHT * (square < widest ? square : widest);
            if (paid > most[at]) {
              most[at] = paid;
              which[at] = other;
            }
          }
        }
        for (let at = 0; at < most.length; at += 1) {
          const worth = most[at] - F.SKIPPED_STROKE * (step - 1);
          if (worth > now[at + step]) {
            now[at + step] = worth;
            came[row + at + step] = which[at] * count + at;
          }
        }
      });
      for (let other = Math.max(first, k - F.JUMP_ONSETS); other < k; other += 1) {
        const from = topStroke[other];
        const worth = best[other][from] - F.JUMP - (passed[k] - passed[other + 1]);
        for (let at = 0; at < count; at += 1) {
          if (!begins[at]) continue;
          const jump = worth - F.FURTHER_JUMP * Math.log2(1 + Math.abs(bars[at] - bars[from]));
          if (jump > now[at]) {
            now[at] = jump;
            came[row + at] = other * count + from;
            jumped[row + at] = 1;
          }
        }
      }
      best[k] = now.map((worth, at) => worth + fit[k][at] + louder[k]);
      topStroke[k] = H.highest(best[k]);
    }
    let place = 0;
    let worth = -Infinity;
    best.forEach((row, k) => row.forEach((value, stroke) => {
      const end = value - 0.3 * (passed[many] - passed[k + 1]) - outside(count - 1 - stroke);
      if (end > worth) {
        worth = end;
        place = k * count + stroke;
      }
    }));
    const pairs = [];
    while (place >= 0) {
      const source = came[place];
      pairs.push({ onset: Math.floor(place / count), stroke: place % count, jumped: Boolean(jumped[place]) && source >= 0 });
      place = source;
    }
    return { pairs: plain(pairs.reverse()), worth: worth };
  }

  /* A jump only where the next stroke isn't one of those that a step reaches. */
  const plain = (pairs) => pairs.map((pair, n) => {
    const ahead = n ? pair.stroke - pairs[n - 1].stroke : 1;
    return { ...pair, jumped: n ? ahead < 1 || ahead > F.FURTHEST_STROKES : pair.jumped };
  });

  /* The seconds of the recording to one of the wanted take around each stroke. */
  function localTempo(wanted, pairs, times, width) {
    const slopes = [];
    for (let apart = 1; apart <= 3; apart += 1) {
      for (let n = 0; n + apart < pairs.length; n += 1) {
        const from = wanted.onsets[pairs[n].stroke];
        const to = wanted.onsets[pairs[n + apart].stroke];
        const lasted = times[pairs[n + apart].onset] - times[pairs[n].onset];
        const slope = lasted / (to - from);
        if (to - from > 0.05 && lasted > 0.02 && slope > 0.33 && slope < 5) slopes.push({ at: 0.5 * (from + to), log: Math.log(slope) });
      }
    }
    if (!slopes.length) return new Float64Array(wanted.strokes.length).fill(1);
    slopes.sort((one, other) => one.at - other.at);
    const at = slopes.map((slope) => slope.at);
    const reach = 3 * width;
    return Float64Array.from(wanted.onsets, (onset) => {
      const place = H.below(at, onset);
      const first = H.clip(place - reach, 0, Math.max(at.length - reach, 0));
      return Math.exp(H.median(slopes.slice(first, place + reach).map((slope) => slope.log)));
    });
  }

  /* Strokes that found no onset get one that nobody claims, near their due time, if it fits. */
  function filled(pairs, { times, strengths }, cosines, wanted, tempo) {
    const due = wanted.onsets;
    const usual = H.median(pairs.map((pair) => strengths[pair.onset]));
    const fitting = H.percentile(pairs.map((pair) => cosines[pair.onset][pair.stroke]), 25);
    const medians = cosines.map((row) => H.median(row));
    const made = pairs.slice(0, 1);
    pairs.slice(1).forEach((after) => {
      const before = made[made.length - 1];
      for (let stroke = before.stroke + 1; !after.jumped && stroke < after.stroke; stroke += 1) {
        const share = (due[stroke] - due[before.stroke]) / (due[after.stroke] - due[before.stroke] + 1e-9);
        const at = times[before.onset] + share * (times[after.onset] - times[before.onset]);
        const room = Math.min(due[stroke] - due[stroke - 1], due[stroke + 1] - due[stroke]) * tempo[stroke];
        let best = -1;
        let most = -Infinity;
        for (let k = made[made.length - 1].onset + 1; k < after.onset; k += 1) {
          const cosine = cosines[k][stroke];
          const near = room * (cosine > fitting ? F.FURTHER_PART : F.NEAR_PART);
          if (Math.abs(times[k] - at) >= near || strengths[k] <= F.FAINT_PART * usual || cosine <= medians[k]) continue;
          const worth = cosine * Math.min(strengths[k] / usual, 0.5);
          if (worth > most) [most, best] = [worth, k];
        }
        if (best >= 0) made.push({ onset: best, stroke: stroke, jumped: false });
      }
      made.push(after);
    });
    return restruck(made, times, strengths, cosines, usual);
  }

  /* A faint onset gives way to a much stronger one beside it that fits as well. */
  function restruck(pairs, times, strengths, cosines, usual) {
    const made = [...pairs];
    for (let n = 1; n < made.length - 1; n += 1) {
      const { onset, stroke, jumped } = made[n];
      const low = made[n - 1].onset;
      const high = made[n + 1].onset;
      let best = -1;
      let most = -Infinity;
      for (let k = low + 1; k < high; k += 1) {
        if (times[k] <= times[low] + 0.06 || times[k] >= times[high] - 0.06) continue;
        if (strengths[k] <= F.MUCH_STRONGER * strengths[onset] || cosines[k][stroke] <= cosines[onset][stroke] - 0.05) continue;
        const worth = cosines[k][stroke] * Math.min(strengths[k] / usual, 1);
        if (worth > most) [most, best] = [worth, k];
      }
      if (best >= 0) made[n] = { onset: best, stroke: stroke, jumped: jumped };
    }
    return made;
  }

  H.align = (onsets, cosines, wanted) => {
    const fit = fitOf(cosines);
    const first = Math.min(onsets.times.length, F.TRIED_ONSETS);
    const some = { times: onsets.times.slice(0, first), strengths: onsets.strengths.slice(0, first) };
    const even = (part) => new Float64Array(wanted.strokes.length).fill(1 / part);
    const worths = F.TEMPI.map((part) => pathOf(some, fit.slice(0, first), wanted, even(part), F.FIRST_GUESS).worth);
    let tempo = even(F.TEMPI[H.highest(worths)]);
    let { pairs } = pathOf(onsets, fit, wanted, tempo, F.FIRST_GUESS);
    [9, 5].forEach((width) => {
      tempo = localTempo(wanted, pairs, onsets.times, width);
      pairs = pathOf(onsets, fit, wanted, tempo, F.KNOWN_TEMPO).pairs;
    });
    pairs = filled(pairs, onsets, cosines, wanted, tempo);
    return {
      pairs: pairs,
      places: pairs.map((pair) => pair.stroke),
      times: pairs.map((pair) => onsets.times[pair.onset]),
      tempo: localTempo(wanted, pairs, onsets.times, 5),
      fit: fit,
      onsets: onsets,
    };
  };
})(window.TercetHearing);
