/* Recorded stems, for a sound that can't be worked out here: loaded when wanted, decoded, and aligned by the pulse that
   each begins with. */
(function (T) {
  "use strict";
  const RATE = T.page.stems.rate;

  function script(name) {
    const inPage = T.byId("stem-" + name);
    if (inPage) return Promise.resolve(inPage.textContent);
    return new Promise((resolve, reject) => {
      const element = document.createElement("script");
      element.src = T.page.stems.folder + name + ".js";
      element.onload = () => {
        element.remove();
        const data = T.handed.get(name);
        T.handed.delete(name);
        if (data === undefined) reject(new Error(name)); else resolve(data);
      };
      element.onerror = () => {
        element.remove();
        reject(new Error(name));
      };
      document.head.append(element);
    });
  }

  function bytes(data) {
    const letters = atob(data.trim());
    const found = new Uint8Array(letters.length);
    for (let index = 0; index < letters.length; index += 1) found[index] = letters.charCodeAt(index);
    return found.buffer;
  }

  const Offline = window.OfflineAudioContext || window.webkitOfflineAudioContext;

  /* Some browsers know only the form with two functions. */
  function decoded(buffer) {
    const context = new Offline(1, 1, RATE);
    return new Promise((resolve, reject) => {
      context.decodeAudioData(buffer, resolve, reject);
    });
  }

  function pulse() {
    const { width, hertz } = T.page.stems.pulse;
    const reach = Math.round(5 * width * RATE);
    const found = new Float32Array(2 * reach + 1);
    for (let index = -reach; index <= reach; index += 1) {
      const time = index / RATE;
      found[index + reach] = Math.exp(-0.5 * (time / width) ** 2) * Math.cos(2 * Math.PI * hertz * time);
    }
    return found;
  }

  /* The frame at which the music begins: a fixed distance after the pulse, wherever the decoder put it. */
  function musicFrame(samples) {
    const mark = pulse();
    const last = Math.min(samples.length - mark.length, T.page.stems.pulse.latest);
    let best = 0;
    let place = 0;
    for (let start = 0; start <= last; start += 1) {
      let sum = 0;
      for (let index = 0; index < mark.length; index += 1) sum += mark[index] * samples[start + index];
      if (sum > best) {
        best = sum;
        place = start;
      }
    }
    if (best === 0) throw new Error("pulse");
    return place + (mark.length - 1) / 2 + T.page.stems.pulse.before;
  }

  /* A part lies in its stem without its long rests: put each piece where it belongs. */
  function laidOut(samples, begins, pieces) {
    const [at, frames] = pieces[pieces.length - 1];
    const whole = new Offline(1, 1, RATE).createBuffer(1, at + frames, RATE);
    let from = begins;
    pieces.forEach(([start, length]) => {
      whole.getChannelData(0).set(samples.subarray(from, from + length), start);
      from += length;
    });
    return whole;
  }

  async function stem(name, pieces) {
    const buffer = await decoded(bytes(await script(name)));
    const samples = buffer.getChannelData(0);
    const begins = musicFrame(samples);
    return pieces ? { buffer: laidOut(samples, begins, pieces), begins: 0 } : { buffer: buffer, begins: begins };
  }

  /* Only one speed is held: a long song decoded is large. */
  const held = { name: "", stems: null };
  let knocks = null;

  async function load(speed) {
    knocks = knocks || stem("knocks");
    if (held.name !== speed.name) {
      held.name = speed.name;
      held.stems = Promise.all(T.page.parts.map((part) => stem(speed.name + "-" + part.name, speed.pieces[part.name])));
    }
    const wanted = held.stems;
    try {
      return { parts: await wanted, knocks: await knocks };
    } catch (error) {
      if (held.stems === wanted) held.name = "";
      knocks = null;
      throw error;
    }
  }

  /* An open string that nobody modelled here: its partials, the higher the softer and the sooner gone. */
  T.openString = function ({ hz }, frames, rate) {
    const sound = new Float32Array(frames);
    for (let partial = 1; partial <= 8; partial += 1) {
      for (let at = 0; at < frames; at += 1) {
        sound[at] += (Math.exp((-1.5 - 0.6 * partial) * (at / rate)) / partial ** 1.3) * Math.sin((2 * Math.PI * partial * hz * at) / rate);
      }
    }
    return sound;
  };

  let loaded = null;
  let struck = null;

  T.source = {
    load: load,

    async ready(speed) {
      loaded = null;
      loaded = await load(speed);
      struck = loaded.knocks;
    },

    entrance: (_context, _part, output) => output,

    /* A stem is one sound: all of a round goes on the clock at once. */
    feed(context, round) {
      if (round.fed) return [];
      round.fed = Math.round(round.length_s * RATE);
      return loaded.parts.map((stem, part) => {
        const source = context.createBufferSource();
        source.buffer = stem.buffer;
        source.connect(round.envelopes[part]);
        source.start(round.when, (stem.begins + Math.round((round.from / 1000) * RATE)) / RATE);
        if (!round.last) source.stop(round.when + round.length_s);
        return source;
      });
    },

    /* The two knocks lie one after the other in one stem. */
    knock(context, output, when, first) {
      const source = context.createBufferSource();
      source.buffer = struck.buffer;
      source.connect(output);
      const { apart, length } = T.page.stems.knocks;
      source.start(when, struck.begins / RATE + (first ? 0 : apart), length);
      return source;
    },
  };
})(window.Tercet);
