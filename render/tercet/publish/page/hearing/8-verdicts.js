/* Verdicts: which keys newly sound at each stroke, whether that is what was wanted, and whether it is this song at all. */
(function (H) {
  "use strict";
  const F = H.figures.verdicts;
  const plain = (stroke) => F.PLAIN.includes(stroke.action);
  const mainKey = (stroke) => stroke.strings[stroke.strings.length - 1].midi;

  /* How strongly each key newly sounds at each stroke, as a sum of single strings' templates with no negative part. */
  H.soundingKeys = (samples, strings, colour, cents) => {
    const length = F.WINDOW_FRAMES / H.RATE_HZ;
    const frame = (seconds) => H.even(seconds * H.RATE_HZ);
    const fresh = strings.map((times, n) => {
      const last = times[times.length - 1];
      const next = n + 1 < strings.length ? strings[n + 1][0] : Infinity;
      const start = Math.min(last + F.AFTER_S, Math.max(next - 0.01 - length, last + 0.005));
      const before = times[0] - F.BEFORE_S - length;
      const found = H.newAmplitudes(samples, frame(before), frame(start), F.WINDOW_FRAMES, F.TRANSFORM, F.TAKEN_OUT);
      return found.fresh.map((value, at) => value / colour[at]);
    });
    const keys = Array.from({ length: F.HIGHEST_KEY - F.LOWEST_KEY }, (_, n) => H.pitchTemplate(F.LOWEST_KEY + n, cents, F.WINDOW_FRAMES));
    const found = unmixed(fresh, keys);
    return (stroke, midi) => found[stroke][midi - F.LOWEST_KEY] || 0;
  };

  function unmixed(values, templates) {
    const dot = (one, other) => one.reduce((sum, value, at) => sum + value * other[at], 0);
    const overlaps = templates.map((one) => Float64Array.from(templates, (other) => dot(one, other)));
    const most = values.reduce((highest, row) => row.reduce((more, value) => Math.max(more, value), highest), 1e-9);
    const count = templates.length;
    const now = new Float64Array(count);
    return values.map((row) => {
      const towards = Float64Array.from(templates, (template) => dot(template, row));
      const found = new Float64Array(count).fill(1e-3 * most);
      for (let round = 0; round < F.ROUNDS; round += 1) {
        for (let key = 0; key < count; key += 1) {
          const own = overlaps[key];
          let sum = 1e-12;
          for (let other = 0; other < count; other += 1) sum += found[other] * own[other];
          now[key] = found[key] * (towards[key] / sum);
        }
        found.set(now);
      }
      return found;
    });
  }

  /* How strongly the wanted key of a layer's stroke usually sounds. */
  function usualOf(strokes, sounding) {
    const found = {};
    strokes.forEach((stroke, n) => {
      if (!plain(stroke)) return;
      (found[stroke.layer] = found[stroke.layer] || []).push(Math.max(...stroke.strings.map((string) => sounding(n, string.midi))));
    });
    return Object.fromEntries(Object.entries(found).map(([layer, values]) => [layer, H.median(values) + 1e-12]));
  }

  function ranPast(n, stroke, sounding, wanted) {
    const key = stroke.next;
    if (key === null || stroke.strings.some((string) => [0, ...F.OCTAVES].includes(key - string.midi))) return false;
    return sounding(n, key) > F.PAST_PART * wanted;
  }

  /* Where the wanted key rings from the stroke before, little of it newly sounds. */
  function byItsNotes(n, stroke, sounding, usual, rings) {
    const verdict = (name, midi, trust) => ({ verdict: name, midi: midi, trust: trust });
    if (!plain(stroke)) return verdict("played", null, 0.5);
    const own = stroke.strings.map((string) => string.midi);
    const main = mainKey(stroke);
    const wanted = sounding(n, main);
    let other = null;
    let instead = -1;
    for (let key = main - F.NEAREST_KEYS; key <= main + F.NEAREST_KEYS; key += 1) {
      if (!own.includes(key) && sounding(n, key) > instead) [other, instead] = [key, sounding(n, key)];
    }
    if (instead > F.TIMES_AS_STRONG * wanted && instead > F.LEAST_PART * usual) {
      const clear = Math.min(Math.log10(instead / (wanted + 1e-9 * usual)) / 0.8, 1);
      return verdict("another note", other, Math.min(clear, 0.4 + instead / usual));
    }
    if (!rings && wanted < F.ABSENT_PART * usual && instead < F.LEAST_PART * usual) return verdict("missed", null, 0.75);
    if (ranPast(n, stroke, sounding, wanted)) return verdict("ran past", stroke.next, 0.75);
    return verdict("played", null, Math.min(wanted / (0.4 * usual), 1));
  }

  /* The verdict of each stroke that was paired with an onset. */
  H.judged = (wanted, places, sounding, late) => {
    const strokes = places.map((place) => wanted.strokes[place]);
    const usual = usualOf(strokes, sounding);
    const spread = Math.max(H.median(late.map(Math.abs)) * 1.48, 0.005);
    return strokes.map((stroke, n) => {
      const rings = n > 0 && strokes[n - 1].strings.some((string) => string.midi === mainKey(stroke));
      const found = byItsNotes(n, stroke, sounding, usual[stroke.layer] || 1, rings);
      const off = Math.abs(late[n]);
      if (!["played", "ran past"].includes(found.verdict) || !plain(stroke) || off <= H.figures.timing.OFF_S) return found;
      const sure = H.clip((off - H.figures.timing.OFF_S) / 0.03, 0, 1) * Math.min(off / (4 * spread), 1);
      return { verdict: late[n] > 0 ? "late" : "early", midi: null, trust: 0.5 + 0.5 * sure };
    });
  };

  /* The notes of melody and between that were passed over while the strokes around them were played. */
  H.missedStrokes = (places, runs, wanted, sounding) => {
    const usual = usualOf(places.map((place) => wanted.strokes[place]), sounding);
    const withAnother = (stroke, neighbours) => neighbours.some((n) => {
      const own = wanted.strokes[places[n]].strings.map((string) => string.midi);
      return !own.includes(mainKey(stroke)) && sounding(n, mainKey(stroke)) > F.WITH_ANOTHER_PART * (usual[stroke.layer] || 1);
    });
    const made = [];
    runs.forEach(([start, stop]) => {
      const last = stop - 1 - F.EDGE_PAIRS * (stop < places.length);
      for (let n = start + F.EDGE_PAIRS * (start > 0); n < last; n += 1) {
        const count = places[n + 1] - places[n] - 1;
        if (count < 1 || count > F.MOST_MISSED) continue;
        for (let place = places[n] + 1; place < places[n + 1]; place += 1) {
          const stroke = wanted.strokes[place];
          if (plain(stroke) && !withAnother(stroke, [n, n + 1])) made.push({ after: n, stroke: place, trust: count === 1 ? 0.9 : 0.75 });
        }
      }
    });
    return made;
  };

  /* How sure it is that a recording is of the song at all. */
  H.songTrust = ({ onsets: { strengths }, pairs, fit }, wanted, verdicts) => {
    const { NONE, FULL, ENOUGH, LEAST_PART, MOST_PART } = H.figures.trust;
    const part = (value, least, most) => H.clip((value - least) / (most - least), 0, 1);
    const tune = wanted.strokes.map(plain);
    const right = verdicts.filter((_, n) => tune[pairs[n].stroke]).map(({ verdict }) => (
      Number(["played", "late", "early", "ran past"].includes(verdict))));
    if (!right.length) return 0;
    const over = ({ stroke, jumped }, n) => (n && !jumped ? H.sum(tune.slice(pairs[n - 1].stroke + 1, stroke).map(Number)) : 0);
    const notes = H.sum(right) / (right.length + H.sum(pairs.map(over)));
    const fits = H.mean(pairs.map((pair) => fit[pair.onset][pair.stroke]));
    const struck = H.sum(pairs.map((pair) => strengths[pair.onset])) / (H.sum(strengths) + 1e-12);
    const sure = (0.5 * (notes + H.clip(fits, 0, 1)) - NONE) / (FULL - NONE);
    return H.clip(sure, 0, 1) * part(struck, LEAST_PART, MOST_PART) * Math.min(right.length / ENOUGH, 1);
  };
})(window.TercetHearing);
