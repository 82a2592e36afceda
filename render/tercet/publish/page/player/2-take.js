/* A song's take at any speed, worked out from its strokes by the rules of the tracks' own takes. Times in seconds. */
(function (T) {
  "use strict";

  const between = (value, [least, most]) => Math.min(Math.max(value, least), most);

  /* When each string of a movement of the hand is struck, from its beat: all before it, the last on it. */
  function delays(take, gesture, pulse, room) {
    const { range, limit, usual, part } = take.roll;
    const even = between(gesture.step * Math.sqrt(pulse / usual), range) * gesture.part;
    const steps = gesture.uneven.map((more) => (gesture.roll ? between(even * (1 + more), range) : even * (1 + more)));
    const whole = steps.reduce((sum, step) => sum + step, 0);
    const spread = Math.min(whole, limit, Math.max(part * room, 0));
    let left = whole;
    return [...steps, 0].map((step) => {
      const delay = whole ? (-spread * left) / whole : 0;
      left -= step;
      return delay;
    });
  }

  /* The silence before the first beat: a beat, halved or doubled. */
  function leadOf(take, beat) {
    let lead = 1;
    while (lead * beat < take.lead) lead *= 2;
    while ((lead / 2) * beat >= take.lead) lead /= 2;
    return lead * beat;
  }

  /* Of each string when it is struck, and how long it rings if it isn't struck again. */
  function struck(take, seconds, pulse, end) {
    const strings = [];
    const last = [-Infinity, -Infinity];
    let index = 0;
    while (index < take.gestures.length) {
      const { onset } = take.gestures[index];
      const now = [];
      for (; index < take.gestures.length && take.gestures[index].onset === onset; index += 1) {
        const gesture = take.gestures[index];
        const at = seconds(onset) + gesture.late;
        const early = delays(take, gesture, pulse, at - last[gesture.second]);
        gesture.strings.forEach((string) => {
          const begins = at + early[string.place];
          const ends = string.end === null ? end : Math.min(seconds(string.end) + gesture.late, end);
          const length = Math.max(string.chop ? 0 : ends - begins, take.shortest);
          strings[string.index] = { onset: begins, length: length, string: string };
          now[gesture.second] = Math.max(now[gesture.second] || begins, begins);
        });
      }
      now.forEach((latest, second) => { last[second] = latest; });
    }
    return strings;
  }

  /* End each at the latest where its string is struck again, and say which other strings are free to ring along. */
  function damped(take, notes) {
    const byString = new Map();
    notes.map((_, index) => index).sort((one, other) => notes[one].onset - notes[other].onset || one - other).forEach((index) => {
      const { own } = notes[index].string;
      if (!byString.has(own)) byString.set(own, []);
      byString.get(own).push(notes[index]);
    });
    byString.forEach((own) => own.slice(1).forEach((note, before) => {
      own[before].length = Math.min(own[before].length, note.onset - own[before].onset);
    }));
    const onsets = new Map([...byString].map(([own, list]) => [own, list.map((note) => note.onset)]));
    notes.forEach((note) => {
      note.free = [];
      if (note.string.chop) return;
      note.string.beside.forEach(([own, ring]) => {
        const others = byString.get(own) || [];
        const at = T.lastUpTo(onsets.get(own) || [], note.onset);
        const before = others[at];
        const next = others[at + 1];
        const length = Math.min(next ? next.onset - note.onset : Infinity, take.ring.longest);
        const stopped = before && before.string.stops && before.onset + before.length > note.onset;
        if (!stopped && length >= take.ring.least) note.free.push({ ring: ring, length: length });
      });
    });
  }

  /* The take: when its bars begin and the last ends, and its notes in the order of the song's. */
  T.takeAt = function (take, speed) {
    const start = leadOf(take, take.beat / speed);
    const seconds = (piece) => start + (piece - take.bars[0]) / speed;
    const bars = take.bars.map(seconds);
    const end = bars[bars.length - 1];
    const notes = struck(take, seconds, take.pulse / speed, end);
    damped(take, notes);
    return { bars: bars, end: end, notes: notes };
  };

  /* From rows as the page has them, times in microseconds, to a take's strokes. */
  T.strokesOf = function (facts) {
    const second = (microseconds) => microseconds / 1e6;
    const gestures = facts.gestures.map(([onset, late, step, part, roll, other, ...uneven]) => ({
      onset: second(onset), late: second(late), step: second(step), part: part, roll: roll, second: other, uneven: uneven, strings: [],
    }));
    const strings = facts.strings.map(([gesture, place, end, string, stops, tone, ...sound], index) => {
      const { second: other } = gestures[gesture];
      const own = 4 * other + string - 1;
      const rings = tone < 0 ? {} : facts.rings[tone];
      const made = {
        index: index,
        place: place,
        end: end < 0 ? null : second(end),
        own: own,
        chop: tone < 0,
        stops: Boolean(stops),
        beside: Object.keys(rings).filter((open) => Number(open) !== string).map((open) => [4 * other + Number(open) - 1, rings[open]]),
        tone: tone,
        sound: sound,
      };
      gestures[gesture].strings.push(made);
      return made;
    });
    return { ...facts, bars: facts.bars.map(second), gestures: gestures, strings: strings };
  };

  if (!T.page) return;
  let take;
  T.later(() => { take = T.strokesOf(T.sound().take); });

  /* By how many dB the song is softer at a speed, so that it doesn't clip: as told, else between its neighbours. */
  function loweredAt(percent) {
    const { lowered } = T.sound();
    const at = Math.max(T.lastUpTo(lowered.map(([each]) => each), percent), 0);
    const [low, before] = lowered[at];
    const [high, after] = lowered[Math.min(at + 1, lowered.length - 1)];
    const part = high > low ? Math.min(Math.max((percent - low) / (high - low), 0), 1) : 0;
    return before + part * (after - before);
  }

  /* What the player knows of a speed; times in ms. */
  T.speedFacts = function (percent) {
    const played = T.takeAt(take, percent / 100);
    const ms = (seconds) => 1000 * seconds;
    const counted = (counts) => counts.map((strokes) => strokes.map(([at, first]) => [(at * 100) / percent, first]));
    return {
      name: String(percent).replace(".", "-"),
      percent: percent,
      length: ms(played.end + take.tail),
      bars: played.bars.slice(1).map((end, bar) => [ms(played.bars[bar]), ms(end)]),
      onset: played.notes.map((note) => ms(note.onset)),
      end: played.notes.map((note) => ms(note.onset + note.length)),
      count: Object.fromEntries(Object.entries(T.page.count).map(([kind, counts]) => [kind, counted(counts)])),
      peaks: T.page.peaks,
      gain: 10 ** (-loweredAt(percent) / 20),
      played: played,
    };
  };
})(window.Tercet);
