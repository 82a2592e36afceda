/* Advice: one thing that went well, and one to practise next, in the words and the order of choice of the command line. */
(function (H) {
  "use strict";
  const F = H.figures.advice;
  const { PERHAPS, LEAST_TRUST } = H.figures.model;

  H.said = (name, values) => H.figures.sentences[name].replace(/\{(\w+)\}/g, (_, key) => String(values[key]));
  const listed = (names) => (names.length > 1 ? H.said("and", { most: names.slice(0, -1).join(", "), last: names[names.length - 1] }) : names[0]);
  const counted = (count, what) => H.said(what + (count === 1 ? "_one" : "_many"), { count: count });
  const whole = (value) => String(H.even(value));
  const numbers = (strokes) => [...new Set(strokes.map((stroke) => stroke.bar))].sort((one, other) => one - other);

  function claim(heard, kind, sentence, trust, track, bars = [], speed = "") {
    const noisy = heard.noise < F.TOO_NOISY_DB ? PERHAPS - 0.05 : 1;
    const least = Math.min(trust, noisy, heard.trust);
    const told = least < PERHAPS ? H.said("perhaps", { said: sentence[0].toLowerCase() + sentence.slice(1) }) : sentence;
    return { kind: kind, sentence: told, bars: bars, track: track, speed: speed, trust: least };
  }

  function tuning(heard) {
    const strings = heard.tuning;
    if (strings.length < 2) return [];
    const together = H.median(strings.map((string) => string.cents));
    const far = strings.map((string) => Math.abs(string.cents - together));
    const furthest = strings[H.highest(far)];
    const off = furthest.cents - together;
    if (Math.abs(off) > F.OFF_CENTS + furthest.uncertainty) {
      const trust = furthest.notes >= F.MANY_NOTES ? F.SURE_OF_STRING : F.UNSURE_OF_STRING;
      const said = H.said(off > 0 ? "string_high" : "string_low", { string: furthest.string, cents: whole(Math.abs(off)) });
      return [claim(heard, "tuning", said, trust, "tune-up")];
    }
    if (Math.abs(together) <= F.OFF_CENTS || strings.some((string) => string.notes < F.MANY_NOTES)) return [];
    const said = H.said(together > 0 ? "all_high" : "all_low", { cents: whole(Math.abs(together)) });
    return [claim(heard, "tuning", said, F.SURE_OF_ALL, "tune-up")];
  }

  /* Slips in the notes by the place where they stand, in the order heard. */
  function byPlace(heard) {
    const places = new Map();
    heard.strokes.filter((stroke) => F.NOTES.includes(stroke.verdict)).forEach((stroke) => {
      const place = heard.wanted.places.get(stroke.bar).join();
      places.set(place, [...(places.get(place) || []), stroke]);
    });
    return [...places.values()];
  }

  function ofNotes(heard, slips) {
    const { places, nameOf } = heard.wanted;
    const bars = numbers(slips);
    const told = slips.map((slip) => {
      const wanted = nameOf(slip.main);
      if (slip.verdict === "missed" || slip.heard === null) return H.said("not_heard", { wanted: wanted });
      return H.said("heard_for", { heard: nameOf(slip.heard), wanted: wanted });
    });
    const where = bars.length > 1 ? "in_bars" : bars[0] === 0 ? "in_pickup" : "in_bar";
    const said = H.said(where, { bars: listed(bars.map(String)), told: listed([...new Set(told)]) });
    const around = [bars[0], bars[0] + 1].filter((bar) => places.has(bar));
    return claim(heard, "notes", said, H.mean(slips.map((slip) => slip.trust)), "loop", around, F.NOTES_SPEED);
  }

  const notesAgain = (heard) => byPlace(heard).sort((one, other) => other.length - one.length).filter((slips) => slips.length >= F.AGAIN)
    .map((slips) => ofNotes(heard, slips));

  function slower(heard) {
    const stood = new Set([...heard.pauses.map((pause) => pause.bar), heard.wanted.lastBar]);
    const runs = [[]];
    heard.bars.forEach((bar) => {
      if (bar.part < F.SLOWER_PART && !stood.has(bar.bar)) runs[runs.length - 1].push(bar);
      else runs.push([]);
    });
    return runs.filter((run) => run.length >= F.SLOWER_BARS && run.every((bar, at) => !at || bar.bar === run[at - 1].bar + 1)).map((run) => {
      const bars = run.map((bar) => bar.bar);
      const percent = whole(100 * H.mean(run.map((bar) => 1 - bar.part)));
      const said = H.said("slower", { first: bars[0], last: bars[bars.length - 1], percent: percent });
      return claim(heard, "slower", said, F.SURE_OF_TEMPO, "ladder", bars);
    });
  }

  function front(heard) {
    const { lu, wanted, uncertainty, controlled } = heard.front;
    if (lu === null || wanted === null || Math.abs(lu - wanted) <= F.FRONT_OFF_LU + uncertainty) return [];
    const said = H.said(lu < wanted ? "front_near" : "front_far", { lu: whole(lu), wanted: whole(wanted) });
    return [claim(heard, "front", said, controlled ? F.SURE_OF_GAINED_FRONT : F.SURE_OF_FRONT, "contrast")];
  }

  function rolls(heard) {
    const past = heard.strokes.filter((stroke) => stroke.verdict === "ran past");
    if (past.length < F.RAN_PAST) return [];
    const said = H.said("ran_past", { rolls: counted(past.length, "roll"), bars: listed(numbers(past).map(String)) });
    return [claim(heard, "rolls", said, H.mean(past.map((stroke) => stroke.trust)), "turns-rolls")];
  }

  const singleNotes = (heard) => byPlace(heard).filter((slips) => slips.length === 1).sort(([one], [other]) => other.trust - one.trust)
    .map((slips) => ofNotes(heard, slips));

  const timing = (heard) => heard.strokes.filter((stroke) => stroke.verdict === "late" || stroke.verdict === "early").map((stroke) => {
    const said = H.said("came_" + stroke.verdict, { bar: stroke.bar, ms: whole(1000 * Math.abs(stroke.off)) });
    const around = [stroke.bar, stroke.bar + 1].filter((bar) => heard.wanted.places.has(bar));
    return claim(heard, "timing", said, stroke.trust, "loop", around, F.TIMING_SPEED);
  });

  function longestRun(bars) {
    let best = [];
    let run = [];
    bars.forEach((bar) => {
      run = run.length && bar === run[run.length - 1] + 1 ? [...run, bar] : [bar];
      if (run.length > best.length) best = run;
    });
    return best;
  }

  /* One thing that went well, the most telling that holds. */
  function well(heard) {
    const slips = heard.strokes.filter((stroke) => F.NOTES.includes(stroke.verdict));
    const played = numbers(heard.strokes);
    if (!slips.length && played.length >= F.WELL_BARS) return H.said("well_notes", { bars: counted(played.length, "bar") });
    const { lu, wanted } = heard.front;
    if (lu !== null && wanted !== null && Math.abs(lu - wanted) < F.FRONT_RIGHT_LU) return H.said("well_front", { lu: whole(lu) });
    const spoilt = new Set(numbers(slips));
    const clean = longestRun(played.filter((bar) => !spoilt.has(bar)));
    if (clean.length >= F.WELL_BARS) return H.said("well_bars", { first: clean[0], last: clean[clean.length - 1] });
    const off = heard.bars.map((bar) => Math.abs(bar.part - 1));
    if (off.length >= F.WELL_BARS && H.median(off) < F.STEADY_PART) return H.said("well_pulse");
    if (heard.tuning.length && heard.tuning.every((string) => Math.abs(string.cents) < F.IN_TUNE_CENTS)) return H.said("well_tuned");
    return H.said("well_going", { bars: counted(played.length, "bar") });
  }

  H.advise = (heard) => {
    if (heard.trust < LEAST_TRUST) return { unsure: true, well: "", next: null, others: [] };
    const [next, ...others] = [tuning, notesAgain, slower, front, rolls, singleNotes, timing].flatMap((find) => find(heard));
    return { unsure: false, well: well(heard), next: next || null, others: others };
  };
})(window.TercetHearing);
