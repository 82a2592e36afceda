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
  const MOST_CLICK = 0.25;
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
      speed: speed, when: when, from: from, until: to.at, last: to.last, length_s: length_s + (to.last ? 0 : FALL_S), envelopes: envelopes, fed: 0,
      sources: new Set(),
    };
  }

  class Player {
    constructor() {
      this.places = T.page.layers.map((layer) => layer.natural);
      this.tuneOut = false;
      this.loop = null;
      this.countBars = 1;
      this.state = "still";
      this.context = null;
      this.rounds = [];
      this.strokes = [];
      this.ladder = null;
      this.changing = false;
      this.clicking = false;
      this.clickPart = 0.5;
      this.clicks = new Set();
      this.turn = 0;
      this.heard = [];
      const settled = () => setTimeout(() => this.prepare(), SETTLED_MS);
      T.later(() => {
        const percent = T.kept.song().speed;
        this.speed = T.speedOf(T.page.percents.includes(percent) ? percent : T.page.first);
        this.at = this.speed.startOf(0);
        if (document.readyState === "complete") settled(); else window.addEventListener("load", settled);
      });
    }

    /* Whether it plays, or is about to. */
    get busy() {
      return this.state === "playing" || this.state === "loading";
    }

    /* Make what is heard first before anybody asks for it; stems, which have to be fetched, wait. */
    prepare() {
      if (this.state === "still" && T.speedFacts) T.source.ready(this.speed, this.beginning());
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
        this.clickGain = this.context.createGain();
        this.clickGain.connect(this.context.destination);
        this.level(0);
      }
      this.context.resume();
    }

    level(glide_s) {
      if (!this.context) return;
      const now = this.context.currentTime;
      const gains = T.page.parts.map(({ layer, tune }) =>
        this.tuneOut && tune ? 0 : T.gainOf(T.page.layers[layer], this.places[layer]));
      const click = this.clicking ? MOST_CLICK * this.clickPart : 0;
      const speeds = this.ladder ? this.ladder.speeds : [this.speed];
      const whole = Math.min(...speeds.map((speed) => T.wholeGain(speed, gains)));
      const all = [...gains, whole * (1 - click), (MOST_CLICK * this.clickPart) / T.page.knock_peak];
      [...this.parts, this.whole, this.clickGain].forEach((node, index) => {
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
        when = this.countIn(this.speed, bar, countBars, when);
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
    countIn(speed, bar, countBars, when) {
      const strokes = speed.count[T.page.bars[bar].pickup ? "pickup" : "bar"][countBars - 1];
      const beat = when - strokes[0][0] / 1000;
      this.strokes = this.strokes.filter((stroke) => !stroke.over);
      strokes.forEach(([ms, first]) => {
        const stroke = T.source.knock(this.context, this.knocks, this.onFrame(beat + ms / 1000), first);
        stroke.onended = () => { stroke.over = true; };
        this.strokes.push(stroke);
      });
      return this.onFrame(beat + (speed.startOf(bar) - speed.bars[bar][0]) / 1000);
    }

    /* The bars that are played over and over: those of the loop, on a ladder all where there is none. */
    get again() {
      return this.loop || (this.ladder && { first: 0, last: T.page.bars.length - 1 });
    }

    begin(when, from, speed = this.speed) {
      const { again } = this;
      const to = { at: again ? speed.endOf(again.last) : speed.length, last: !again };
      const round = opened(this.context, this.entrances, speed, when, from, to);
      if (this.ladder) this.ladder.begun += 1;
      round.firstPulse = T.lastUpTo(speed.pulses.map(([ms]) => ms), from - 1) + 1;
      round.pulse = round.firstPulse;
      this.rounds.push(round);
      this.feed(round);
    }

    /* The metronome's clicks within a round, as far as they are soon due. */
    click(round) {
      const { speed, when, from, until } = round;
      const now = this.context.currentTime;
      for (; round.pulse < speed.pulses.length; round.pulse += 1) {
        const [ms, first] = speed.pulses[round.pulse];
        const due = this.onFrame(when + (ms - from) / 1000);
        if (ms >= until || due > now + ROUNDS_AHEAD_S) return;
        if (due >= now) this.clickAt(due, first);
      }
    }

    clickAt(when, first) {
      const source = T.source.knock(this.context, this.clickGain, when, first);
      this.clicks.add(source);
      source.onended = () => this.clicks.delete(source);
    }

    stopClicks() {
      this.clicks.forEach((source) => source.stop());
      this.clicks.clear();
    }

    /* A metronome along with the music, or none. What clicks is not on top: the music is as much lower, so both fit. */
    setClicking(on, part = this.clickPart) {
      if (this.context && !on) this.stopClicks();
      if (on && !this.clicking) this.rounds.forEach((round) => { round.pulse = round.firstPulse; });
      this.clicking = on;
      this.clickPart = part;
      this.level(GLIDE_S);
      this.ahead();
      this.tell();
    }

    feed(round) {
      if (this.clicking) this.click(round);
      T.source.feed(this.context, round, this.context.currentTime).forEach((source) => {
        round.sources.add(source);
        source.onended = () => round.sources.delete(source);
      });
    }

    /* What comes next stands on the clock long before it is due, a loop's next rounds too: a busy phone can't make it late. */
    ahead() {
      if (this.state !== "playing") return;
      this.rounds.forEach((round) => this.feed(round));
      while (this.again && !this.changing && this.rounds[this.rounds.length - 1].when < this.context.currentTime + ROUNDS_AHEAD_S) {
        const latest = this.rounds[this.rounds.length - 1];
        const speed = this.ladder ? this.ladder.speeds[this.ladder.begun] : latest.speed;
        if (!speed) break;
        if (speed === latest.speed || T.speedFacts) this.followOn(latest, speed);
        else this.change(latest, speed);
      }
      const now = this.context.currentTime;
      while (this.rounds.length > 1 && this.rounds[1].when < now - 1) {
        this.rounds.shift().envelopes.forEach((envelope) => envelope.disconnect());
      }
    }

    /* Go on with a round behind the latest: on the beat, or counted in where a ladder has another speed. */
    followOn(latest, speed) {
      const { first, last } = this.again;
      const { bars } = latest.speed;
      let beat = Math.max(latest.when + (bars[last][1] - latest.from) / 1000, this.context.currentTime + SOON_S);
      const from = speed.startOf(first);
      if (speed !== latest.speed && this.countBars) beat = this.countIn(speed, first, this.countBars, beat);
      else beat += (from - speed.bars[first][0]) / 1000;
      this.begin(beat, from, speed);
    }

    /* Recorded stems of another speed have to be fetched first. */
    async change(latest, speed) {
      const { ladder } = this;
      this.changing = true;
      try {
        await T.source.ready(speed);
        if (ladder === this.ladder) this.followOn(latest, speed);
      } catch (error) {
        if (ladder === this.ladder) this.halt("lost");
      }
      this.changing = false;
    }

    /* Slower, then quicker: the bars that are repeated, or all, at one speed after the other, up to the one now chosen. */
    climb(speeds) {
      this.halt();
      this.ladder = { speeds: speeds, top: this.speed, begun: 0, told: 0 };
      [this.speed] = speeds;
      this.at = this.speed.startOf(this.again.first);
      return this.play();
    }

    /* Leave the ladder: a place of the speed that it stands at, as one of the speed that it leads to. */
    offLadder(ms) {
      if (!this.ladder) return ms;
      const there = this.ladder.top.at(this.speed.placeOf(ms));
      this.speed = this.ladder.top;
      this.ladder = null;
      return there;
    }

    /* Which of its rounds a ladder is in, counted from 0. */
    get rung() {
      return this.ladder.begun - this.rounds.length + Math.max(this.rounds.indexOf(this.shown), 0);
    }

    /* Where the sound is that leaves the loudspeaker now. */
    position() {
      if (this.state !== "playing") return { ms: this.at, counting: false };
      const late_s = this.context.outputLatency || this.context.baseLatency || 0;
      const now = this.context.currentTime - late_s;
      const begun = this.rounds.filter((round) => round.when <= now);
      const round = begun[begun.length - 1];
      const next = this.rounds[begun.length];
      const counting = !round || (next && next.speed !== round.speed && now > round.when + (round.until - round.from) / 1000);
      this.shown = counting ? next : round;
      this.speed = this.shown.speed;
      if (counting) return { ms: next.from, counting: true };
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
      this.stopClicks();
      this.rounds = [];
    }

    halt(state) {
      this.turn += 1;
      if (this.state === "playing") this.at = this.position().ms;
      this.at = this.offLadder(this.at);
      if (this.context) this.hush(this.context.currentTime);
      this.state = state || "still";
      this.tell();
    }

    /* Go on from another place, without counting in again; a loop is not left. */
    go(ms) {
      this.at = Math.min(Math.max(this.offLadder(ms), 0), this.speed.length);
      if (this.loop && !this.inLoop()) this.at = this.speed.startOf(this.loop.first);
      if (this.state === "playing") this.launch(0);
      else this.tell();
    }

    goToBar(bar) {
      this.go(this.speed.startOf(bar));
    }

    setLoop(loop) {
      if (this.state === "playing") this.at = this.position().ms;
      this.at = this.offLadder(this.at);
      this.loop = loop;
      if (loop && !this.inLoop()) this.at = this.speed.startOf(loop.first);
      if (this.state === "playing") this.launch(0);
      else this.tell();
    }

    setSpeed(speed) {
      const place = this.speed.placeOf(this.position().ms);
      const going = this.busy;
      if (this.state === "playing") this.hush(this.context.currentTime);
      this.state = "still";
      this.ladder = null;
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
      const { ms } = this.position();
      const latest = this.rounds[this.rounds.length - 1];
      const above = this.ladder && this.ladder.begun === this.ladder.speeds.length && !this.changing
        && this.context.currentTime > latest.when + latest.length_s;
      if (above || (!this.again && ms >= this.speed.length)) {
        this.halt();
        this.at = this.speed.startOf(this.loop ? this.loop.first : 0);
        this.tell();
      } else if (this.ladder && this.ladder.told !== this.rung) {
        this.ladder.told = this.rung;
        this.tell();
      }
    }
  }

  T.Player = Player;
})(window.Tercet);
