/* The take's sound, made stretch by stretch just before it is heard: strokes mixed from the strings' tones. */
(function (T) {
  "use strict";
  const RATE = T.page.stems.rate;
  const STRETCH = RATE;
  const BEFORE = 512;
  const NEEDED_S = 1;
  const AHEAD_S = 4;
  const FIRST_S = 1;
  let model;
  let contacts;
  let chops;
  let knocks;
  let take;
  let damping;

  T.later(() => {
    let release;
    ({ take, model: { contacts, chops, knocks, release } } = T.sound());
    model = T.stringModel(T.sound().model);
    const frames = Math.round(release.length * RATE);
    damping = Float32Array.from({ length: frames }, (_, at) => 10 ** ((-release.db / 20) * (at / frames)));
  });

  /* Sounds that Python worked out, packed: a byte that says how high each block gets, then its samples. */
  function unpacked({ text, block, frames, db, highest }) {
    const letters = atob(text);
    const sound = new Float32Array(frames);
    for (let start = 0, from = 0; start < frames; start += block) {
      const height = highest * 10 ** ((-db * letters.charCodeAt(from)) / 20) / 127;
      from += 1;
      for (let at = start; at < Math.min(start + block, frames); at += 1, from += 1) {
        sound[at] = height * ((letters.charCodeAt(from) << 24) >> 24);
      }
    }
    return sound;
  }

  /* Made when first needed, and kept. */
  function kept(make) {
    const found = new Map();
    return (key) => {
      if (!found.has(key)) found.set(key, make(key));
      return found.get(key);
    };
  }

  const contact = kept((index) => unpacked(contacts[index]));
  const resonance = kept((index) => model.ring(take.resonances[index]));
  const chop = kept((kind) => model.chop(chops, kind >> 1, Boolean(kind & 1)));
  const noise = kept(() => unpacked(knocks.noise));
  const knock = kept((first) => model.struck(knocks.wood, first ? knocks.higher : 1, noise(0)));

  /* Tones as long as anything asked for so far. */
  const made = new Map();

  function tone(index, frames) {
    const there = made.get(index);
    if (there && (there.whole || there.sounds[0].length >= frames)) return there;
    const anew = model.tone(take.tones[index], frames);
    made.set(index, anew);
    return anew;
  }

  /* An open string, to tune by. */
  T.openString = (string, frames) => {
    const sound = new Float32Array(frames);
    sound.set(model.tone(string.tone, frames).sounds[0]);
    return sound;
  };

  /* The strokes of a speed, in frames, in the order struck. */
  const strokesAt = kept((speed) => {
    const { notes, end, bars } = speed.played;
    const lead = Math.round(bars[0] * RATE);
    const frame = (seconds) => lead + Math.round((seconds - bars[0]) * RATE);
    const strokes = [];
    notes.forEach(({ onset, length, free, string }) => {
      const [part, soft, firm, aside, skin, which, delay] = string.sound;
      const on = Math.max(frame(onset) - delay, 0);
      const stroke = { part: part, on: on, touches: [soft, firm, aside], skin: skin, which: which, tone: string.tone };
      if (string.chop) {
        if (soft) strokes.push({ ...stroke, free: [], chop: true, still: on + RATE });
        return;
      }
      const rings = onset + length >= end - 0.001;
      stroke.off = rings ? Infinity : Math.max(frame(onset + length) - delay, on + 1);
      stroke.own = Math.min(stroke.off + damping.length, on + take.tones[string.tone].frames);
      stroke.free = free.map((other) => ({ ring: other.ring, off: on + Math.round(other.length * RATE) }));
      stroke.still = stroke.free.reduce((latest, { off }) => Math.max(latest, off + damping.length), stroke.own);
      strokes.push(stroke);
    });
    strokes.sort((one, other) => one.on - other.on);
    return { strokes: strokes, end: Math.round((end + take.ring_out) * RATE) };
  });

  /* Add a sound that begins at frame `on` and is damped from `off`, to a stretch that begins at `from`. */
  function mix(stretch, from, sound, on, off, amplitude) {
    const start = Math.max(on, from);
    const stop = Math.min(on + sound.length, from + stretch.length, off + damping.length);
    const held = Math.min(stop, off);
    for (let at = start; at < held; at += 1) stretch[at - from] += amplitude * sound[at - on];
    for (let at = Math.max(start, held); at < stop; at += 1) stretch[at - from] += amplitude * sound[at - on] * damping[at - off];
  }

  function lowPass(sound, [gain, first, second]) {
    let before = 0;
    let earlier = 0;
    for (let at = 0; at < sound.length; at += 1) {
      const now = sound[at] - first * before - second * earlier;
      sound[at] = gain * (now + 2 * before + earlier);
      earlier = before;
      before = now;
    }
  }

  /* A part's sound from one frame of a speed on: what is plucked goes through its layer's low-pass, a chop doesn't. */
  T.partSound = function (speed, partIndex, from, frames) {
    const { strokes, end } = strokesAt(speed);
    const part = T.page.parts[partIndex];
    const first = from - BEFORE;
    const plucked = new Float32Array(frames + BEFORE);
    const until = from + frames;
    const heard = strokes.filter((stroke) => stroke.part === part.number && stroke.on < until && stroke.still > first);
    heard.filter((stroke) => !stroke.chop).forEach((stroke) => {
      const { sounds } = tone(stroke.tone, Math.min(until, stroke.own) - stroke.on);
      const both = stroke.touches[0] + stroke.touches[1];
      stroke.touches.forEach((amplitude, which) => mix(plucked, first, sounds[which], stroke.on, stroke.off, amplitude));
      mix(plucked, first, contact(stroke.which), stroke.on, stroke.off, stroke.skin * both);
      stroke.free.forEach(({ ring, off }) => mix(plucked, first, resonance(ring), stroke.on, off, 0.5 * both));
    });
    if (part.low_pass) lowPass(plucked, part.low_pass);
    heard.filter((stroke) => stroke.chop).forEach((stroke) => {
      mix(plucked, first, chop(stroke.which), stroke.on, Infinity, stroke.touches[0]);
    });
    const sound = plucked.subarray(BEFORE);
    const fading = Math.round(take.fade * RATE);
    for (let at = 0; at < frames; at += 1) {
      const left = end - from - at;
      const fall = left > fading ? 1 : left > 0 ? 0.5 - 0.5 * Math.cos((Math.PI * left) / fading) : 0;
      sound[at] *= part.gain * fall;
    }
    return sound;
  };

  /* A sound on the clock; Firefox takes what a buffer holds when a source gets it. */
  function begun(context, output, when, sound) {
    const source = context.createBufferSource();
    const buffer = context.createBuffer(1, sound.length, RATE);
    buffer.getChannelData(0).set(sound);
    source.buffer = buffer;
    source.connect(output);
    source.start(when);
    return source;
  }

  /* How long each tone has to be for a stretch of a speed to be heard. */
  function neededBy(speed, from, until) {
    const needed = new Map();
    strokesAt(speed).strokes.forEach((stroke) => {
      if (stroke.chop || stroke.on >= until || stroke.own <= from) return;
      const frames = Math.min(until, stroke.own) - stroke.on;
      needed.set(stroke.tone, Math.max(needed.get(stroke.tone) || 0, frames));
    });
    return [...needed];
  }

  /* Let the browser draw and hear its user between one piece of work and the next. */
  const pause = () => new Promise((resolve) => { setTimeout(resolve); });

  let turn = 0;

  async function makeAll(speed, from, mine) {
    for (const [index, frames] of neededBy(speed, from, Infinity)) {
      if (mine !== turn) return;
      tone(index, frames);
      await pause();
    }
  }

  T.source = {
    /* Ready to begin at a place of a speed: what its first second needs is made, the rest follows by and by. */
    async ready(speed, from_ms) {
      turn += 1;
      const mine = turn;
      const from = Math.round((from_ms / 1000) * RATE);
      for (const [index, frames] of neededBy(speed, from, from + FIRST_S * RATE)) {
        tone(index, frames);
        await pause();
      }
      setTimeout(() => makeAll(speed, from, mine), 200);
    },

    /* Where a part's sound goes in: its room, if it has one. */
    entrance(context, partIndex, output) {
      const room = T.sound().rooms[T.page.layers[T.page.parts[partIndex].layer].name];
      if (!room || context.sampleRate !== RATE) return output;
      const convolver = context.createConvolver();
      convolver.normalize = false;
      const response = context.createBuffer(2, room[0].frames, RATE);
      room.forEach((side, channel) => response.getChannelData(channel).set(unpacked(side)));
      convolver.buffer = response;
      convolver.connect(output);
      return convolver;
    },

    /* Put what a round still lacks on the clock, as far as is needed by a moment; a little more where there is time. */
    feed(context, round, now) {
      const sources = [];
      const from = Math.round((round.from / 1000) * RATE);
      const total = Math.round(round.length_s * RATE);
      const due = () => round.when + round.fed / RATE;
      while (round.fed < total && due() < now + (sources.length ? NEEDED_S : AHEAD_S)) {
        const frames = Math.min(STRETCH, total - round.fed);
        round.envelopes.forEach((envelope, part) => {
          const sound = T.partSound(round.speed, part, from + round.fed, frames);
          if (!sound.some((height) => height)) return;
          sources.push(begun(context, envelope, due(), sound));
        });
        round.fed += frames;
      }
      return sources;
    },

    knock(context, output, when, first) {
      return begun(context, output, when, knock(first ? 1 : 0));
    },
  };
})(window.Tercet);
