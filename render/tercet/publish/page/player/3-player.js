/* The player: a sound for each part, one clock. What is heard is set by gains alone; nothing that sounds ever moves in time. */
(function (T) {
  "use strict";
  const RATE = T.page.stems.rate;
  const RISE_S = 0.004;
  const FALL_S = 0.06;
  const GLIDE_S = 0.04;
  const ROUNDS_AHEAD_S = 4;
  const SOON_S = 0.1;
  const NEVER_OVER = 0.9;
  const SETTLED_MS = 300;
  const CLOSER_DB = { front: 0, middle: -8, back: -12 };

  /* The gain of a layer that stands somewhere else than in the song as it is. */
  T.gainOf = function (layer, place) {
    if (place === "out" || layer.natural === "out") return 0;
    return 10 ** ((CLOSER_DB[place] - CLOSER_DB[layer.natural]) / 20);
  };

  /* What keeps the whole below full scale when a layer comes nearer than the song has it. */
  T.wholeGain = function (speed, gains) {
    if (gains.every((gain) => gain <= 1)) return speed.gain;
    let highest = 0;
    speed.bars.forEach((_, bar) => {
      const sum = T.page.parts.reduce((total, part, index) => total + gains[index] * speed.peaks[part.name][bar], 0);
      highest = Math.max(highest, sum);
    });
    return Math.min(speed.gain, NEVER_OVER / highest);
  };

  /* One playing of a stretch by all parts, in any audio context: it opens, sounds from a place of the speed on, and closes
     unless it goes on to the end. Times in seconds of the context, ms of the speed. */
  function opened(context, entrances, speed, when, from, to) {
    const length_s = (to.at - from) / 1000;
    const envelopes = entrances.map((entrance) => {
      const envelope = context.createGain();
      envelope.connect(entrance);
      envelope.gain.setValueAtTime(0, when);
      envelope.gain.linearRampToValueAtTime(1, when + RISE_S);
      if (!to.last) {
        envelope.gain.setValueAtTime(1, when + length_s);
        envelope.gain.linearRampToValueAtTime(0, when + length_s + FALL_S);
      }
      return envelope;
    });
    return {
      speed: speed, when: when, from: from, last: to.last, length_s: length_s + (to.last ? 0 : FALL_S), envelopes: envelopes, fed: 0, sources: new Set(),
    };
  }

  class Player {
    constructor() {
      this.speed = T.speedOf(T.page.first);
      this.places = T.page.layers.map((layer) => layer.natural);
      this.tuneOut = false;
      this.loop = null;
      this.countBars = 1;
      this.state = "still";
      this.at = this.speed.startOf(0);
      this.context = null;
      this.rounds = [];
      this.strokes = [];
      this.turn = 0;
      this.heard = [];
      const settled = () => setTimeout(() => this.prepare(), SETTLED_MS);
      if (document.readyState === "complete") settled(); else window.addEventListener("load", settled);
    }

    /* Make what is heard first before anybody asks for it; stems, which have to be fetched, wait. */
    prepare() {
      if (this.state === "still" && T.page.take) T.source.ready(this.speed, this.beginning());
    }

    tell() {
      this.heard.forEach((listener) => listener(this));
    }

    /* Made inside the reader's own gesture: browsers let nothing sound before one. */
    ready() {
      if (!this.context) {
        const Context = window.AudioContext || window.webkitAudioContext;
        try {
          this.context = new Context({ sampleRate: RATE, latencyHint: "balanced" });
        } catch (_) {
          this.context = new Context();
        }
        this.whole = this.context.createGain();
        this.whole.connect(this.context.destination);
        this.parts = T.page.parts.map(() => this.context.createGain());
        this.parts.forEach((part) => part.connect(this.whole));
        this.entrances = this.parts.map((part, index) => T.source.entrance(this.context, index, part));
        this.knocks = this.context.createGain();
        this.knocks.connect(this.context.destination);
        this.level(0);
      }
      this.context.resume();
    }

    level(glide_s) {
      if (!this.context) return;
      const now = this.context.currentTime;
      const gains = T.page.parts.map(({ layer, tune }) =>
        this.tuneOut && tune ? 0 : T.gainOf(T.page.layers[layer], this.places[layer]));
      const all = [...gains, T.wholeGain(this.speed, gains)];
      [...this.parts, this.whole].forEach((node, index) => {
        node.gain.cancelScheduledValues(now);
        node.gain.setValueAtTime(glide_s ? node.gain.value : all[index], now);
        if (glide_s) node.gain.linearRampToValueAtTime(all[index], now + glide_s);
      });
    }

    /* Whether nothing of a layer is left without the tune. */
    allTune(index) {
      return T.page.parts.every(({ layer, tune }) => layer !== index || tune);
    }

    /* Where a layer stands as it is heard. */
    placeOf(index) {
      return this.tuneOut && this.allTune(index) ? "out" : this.places[index];
    }

    /* Who brings back a layer of the tune has the tune again. */
    place(index, place) {
      if (place !== "out" && this.allTune(index)) this.tuneOut = false;
      this.places[index] = place;
      this.level(GLIDE_S);
      this.tell();
    }

    setTuneOut(out) {
      this.tuneOut = out;
      this.level(GLIDE_S);
      this.tell();
    }

    async play() {
      T.silence.kit();
      this.ready();
      await this.start(this.countBars);
    }

    /* Load what is missing, then go; a later wish overtakes an earlier one. */
    async start(countBars) {
      this.turn += 1;
      const turn = this.turn;
      this.state = "loading";
      this.tell();
      try {
        await T.source.ready(this.speed, this.beginning());
        if (turn !== this.turn) return;
      } catch (error) {
        if (turn === this.turn) this.halt("lost");
        return;
      }
      this.launch(countBars);
    }

    /* Where it goes on: in the loop if there is one, from the start if it was over. */
    beginning() {
      if (this.loop && !this.inLoop()) return this.speed.startOf(this.loop.first);
      return this.at >= this.speed.length - 1 ? this.speed.startOf(0) : this.at;
    }

    launch(countBars) {
      this.hush(this.context.currentTime);
      this.level(0);
      this.at = this.beginning();
      let when = this.onFrame(this.context.currentTime + SOON_S);
      if (countBars) {
        const bar = this.loop ? this.loop.first : this.speed.barAt(this.at);
        this.at = this.speed.startOf(bar);
        when = this.countIn(bar, countBars, when);
      }
      this.begin(when, this.at);
      this.state = "playing";
      this.ahead();
      this.tell();
    }

    inLoop() {
      return this.at >= this.speed.startOf(this.loop.first) && this.at < this.speed.endOf(this.loop.last);
    }

    onFrame(when) {
      const rate = this.context.sampleRate;
      return Math.ceil(when * rate) / rate;
    }

    /* Knock for whole bars before a bar; return when its first string is struck. */
    countIn(bar, countBars, when) {
      const strokes = this.speed.count[T.page.bars[bar].pickup ? "pickup" : "bar"][countBars - 1];
      const beat = when - strokes[0][0] / 1000;
      this.strokes = strokes.map(([ms, first]) => T.source.knock(this.context, this.knocks, this.onFrame(beat + ms / 1000), first));
      return this.onFrame(beat + (this.speed.startOf(bar) - this.speed.bars[bar][0]) / 1000);
    }

    begin(when, from) {
      const { speed, loop } = this;
      const to = { at: loop ? speed.endOf(loop.last) : speed.length, last: !loop };
      const round = opened(this.context, this.entrances, speed, when, from, to);
      this.rounds.push(round);
      this.feed(round);
    }

    feed(round) {
      T.source.feed(this.context, round, this.context.currentTime).forEach((source) => {
        round.sources.add(source);
        source.onended = () => round.sources.delete(source);
      });
    }

    /* What comes next stands on the clock long before it is due, a loop's next rounds too: a busy phone can't make it late. */
    ahead() {
      if (this.state !== "playing") return;
      this.rounds.forEach((round) => this.feed(round));
      if (!this.loop) return;
      const { first, last } = this.loop;
      const from = this.speed.startOf(first);
      const period_s = (this.speed.bars[last][1] - this.speed.bars[first][0]) / 1000;
      let latest = this.rounds[this.rounds.length - 1];
      while (latest.when < this.context.currentTime + ROUNDS_AHEAD_S) {
        const begun = latest.when + (from - latest.from) / 1000;
        this.begin(begun + period_s, from);
        latest = this.rounds[this.rounds.length - 1];
      }
      const now = this.context.currentTime;
      while (this.rounds.length > 1 && this.rounds[1].when < now - 1) {
        this.rounds.shift().envelopes.forEach((envelope) => envelope.disconnect());
      }
    }

    /* Where the sound is that leaves the loudspeaker now. */
    position() {
      if (this.state !== "playing") return { ms: this.at, counting: false };
      const late_s = this.context.outputLatency || this.context.baseLatency || 0;
      const now = this.context.currentTime - late_s;
      const begun = this.rounds.filter((round) => round.when <= now);
      const round = begun[begun.length - 1];
      if (!round) return { ms: this.rounds[0].from, counting: true };
      return { ms: Math.min(round.from + (now - round.when) * 1000, this.speed.length), counting: false };
    }

    hush(when) {
      this.rounds.forEach(({ envelopes, sources }) => {
        envelopes.forEach(({ gain }) => {
          gain.cancelScheduledValues(when);
          gain.setTargetAtTime(0, when, 0.006);
        });
        sources.forEach((source) => {
          source.stop(when + 0.06);
          source.onended = () => envelopes.forEach((envelope) => envelope.disconnect());
        });
      });
      this.strokes.forEach((source) => source.stop(when));
      this.strokes = [];
      this.rounds = [];
    }

    halt(state) {
      this.turn += 1;
      if (this.state === "playing") this.at = this.position().ms;
      if (this.context) this.hush(this.context.currentTime);
      this.state = state || "still";
      this.tell();
    }

    /* Go on from another place, without counting in again; a loop is not left. */
    go(ms) {
      this.at = Math.min(Math.max(ms, 0), this.speed.length);
      if (this.loop && !this.inLoop()) this.at = this.speed.startOf(this.loop.first);
      if (this.state === "playing") this.launch(0);
      else this.tell();
    }

    goToBar(bar) {
      this.go(this.speed.startOf(bar));
    }

    setLoop(loop) {
      if (this.state === "playing") this.at = this.position().ms;
      this.loop = loop;
      if (loop && !this.inLoop()) this.at = this.speed.startOf(loop.first);
      if (this.state === "playing") this.launch(0);
      else this.tell();
    }

    setSpeed(speed) {
      const place = this.speed.placeOf(this.position().ms);
      const going = this.state === "playing" || this.state === "loading";
      if (this.state === "playing") this.hush(this.context.currentTime);
      this.state = "still";
      this.speed = speed;
      this.at = speed.at(place);
      this.level(0);
      if (going) this.start(0);
      else this.tell();
    }

    /* Called over and over while the page is open. */
    tick() {
      if (this.state !== "playing") return;
      this.ahead();
      if (!this.loop && this.position().ms >= this.speed.length) {
        this.halt();
        this.at = this.speed.startOf(0);
        this.tell();
      }
    }
  }

  T.Player = Player;
})(window.Tercet);
