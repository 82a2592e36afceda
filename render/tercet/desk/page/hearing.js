/* The sound of a song as it stands: stretches of bars come from the desk, a stem for each layer, and are laid one after the
   other on the clock of the sound card. Where two meet, one fades into the other; both hold the same sound there. */

import { Gone, ask_for_bytes } from "./asking.js";
import { text } from "./words.js";

const CLOSER_DB = { front: 0, middle: -8, back: -12 };
const GLIDE_S = 0.04;
const FALL_S = 0.06;
const FIRST_S = 1;
const STRETCH_S = 5;
const AHEAD_S = 4;
const SOON_S = 0.02;

/* How much a layer is changed that stands somewhere else than in the song as it is. */
export function gain_of(natural, place) {
  if (place === "out" || natural === "out") return 0;
  return 10 ** ((CLOSER_DB[place] - CLOSER_DB[natural]) / 20);
}

/* What the desk sends: a length, facts as JSON, and samples layer by layer, left before right. */
export function stretch_of(bytes) {
  const length = new DataView(bytes).getUint32(0, true);
  const facts = JSON.parse(new TextDecoder().decode(new Uint8Array(bytes, 4, length)));
  const first = 4 + length + ((4 - ((4 + length) % 4)) % 4);
  const samples = new Float32Array(bytes, first);
  const stems = facts.layers.map((_, layer) =>
    [0, 1].map((side) => samples.subarray((2 * layer + side) * facts.frames, (2 * layer + side + 1) * facts.frames)));
  return { ...facts, stems };
}

/* Lays a stretch on the clock of any audio context; returns what sounds, to be stopped. */
export function lay(context, outputs, stretch, when) {
  return stretch.stems.map((sides, index) => {
    const buffer = context.createBuffer(2, stretch.frames, stretch.rate);
    sides.forEach((side, channel) => buffer.copyToChannel(side, channel));
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(outputs.get(stretch.layers[index]));
    const late_s = Math.max(0, context.currentTime - when);
    if (late_s < buffer.duration) source.start(when + late_s, late_s);
    return source;
  });
}

export class Hearing {
  /* `wanted` returns what to play now (text, speed, …); `told` is called when playing begins, goes on and ends. */
  constructor({ wanted, told, failed }) {
    this.wanted = wanted;
    this.told = told;
    this.failed = failed;
    this.places = new Map();
    this.context = null;
    this.run = null;
  }

  get playing() {
    return this.run !== null;
  }

  /* Called inside a press or a stroke of a key: browsers let nothing sound before one. */
  ready() {
    if (!this.context) {
      this.context = new AudioContext({ sampleRate: 48000, latencyHint: "interactive" });
      this.outputs = new Map();
    }
    this.context.resume();
  }

  /* Layers with where each stands in the song as it is, and where the listener has put it. */
  set_layers(layers, places) {
    this.layers = layers;
    this.places = places;
    this.#level();
  }

  #output(layer) {
    if (!this.outputs.has(layer)) {
      const gain = this.context.createGain();
      gain.gain.value = this.#gain(layer);
      gain.connect(this.context.destination);
      this.outputs.set(layer, gain);
    }
    return this.outputs.get(layer);
  }

  #gain(name) {
    if (this.run?.only && this.layers.some((each) => each.name === name)) return Number(this.run.only.has(name));
    const layer = (this.layers || []).find((each) => each.name === name);
    return layer ? gain_of(layer.natural, this.places.get(name) || layer.natural) : 1;
  }

  #level() {
    if (!this.context) return;
    const now = this.context.currentTime;
    for (const [name, node] of this.outputs) {
      node.gain.cancelScheduledValues(now);
      node.gain.setValueAtTime(node.gain.value, now);
      node.gain.linearRampToValueAtTime(this.#gain(name), now + GLIDE_S);
    }
  }

  /* Plays from a bar to another, or to the end; over and over if wished, from `loop_from` on; with `only` these layers sound. */
  async play(from_bar, to_bar = null, { again = false, loop_from = from_bar, count_in_bars = 0, other_text = null, only = null, quiet = false } = {}) {
    this.ready();
    this.stop({ quiet: true });
    const run = { from_bar, loop_from, to_bar, again, other_text, only, next: from_bar, begun: true, base: null, sources: [], stretches: [], over: false, abort: new AbortController() };
    this.run = run;
    this.told("begins");
    try {
      await this.#more(run, FIRST_S, count_in_bars);
      while (this.run === run && !run.over) {
        if (run.until - this.context.currentTime < AHEAD_S) await this.#more(run, STRETCH_S, 0);
        else await new Promise((done) => setTimeout(done, 100));
      }
      while (this.run === run && this.context.currentTime < run.until) await new Promise((done) => setTimeout(done, 50));
      if (this.run === run) this.stop();
    } catch (error) {
      if (this.run !== run || error.name === "AbortError") return;
      this.stop();
      if (!quiet && !(error instanceof Gone)) this.failed(error);
    }
  }

  async #more(run, at_least_s, count_in_bars) {
    const asked = { ...this.wanted(), from_bar: run.next, to_bar: run.to_bar, at_least_s, count_in_bars, begins: run.begun };
    run.begun = false;
    if (run.other_text !== null) asked.text = run.other_text;
    const bytes = await ask_for_bytes("sound", asked, { signal: run.abort.signal });
    if (this.run !== run) return;
    if (bytes === null) throw new Error(text("has_mistakes"));
    const stretch = stretch_of(bytes);
    for (const name of stretch.layers) this.#output(name);
    if (run.base === null) {
      run.base = this.context.currentTime + SOON_S;
      run.until = run.base + stretch.begins_s;
    }
    const base = run.until - stretch.begins_s;
    stretch.base = base;
    run.sources = run.sources.filter((each) => !each.over);
    for (const source of lay(this.context, this.outputs, stretch, base)) {
      source.onended = () => { source.over = true; };
      run.sources.push(source);
    }
    run.stretches = [...run.stretches.filter((each) => each.base + each.ends_s > this.context.currentTime - 1), stretch];
    run.until = base + stretch.ends_s;
    run.next = stretch.next_bar;
    if (stretch.next_bar === null || (run.to_bar !== null && stretch.next_bar > run.to_bar)) {
      run.next = run.loop_from;
      run.begun = true;
      run.over = !run.again;
    }
    this.told("goes on");
  }

  stop({ quiet = false } = {}) {
    const run = this.run;
    this.run = null;
    if (!run) return;
    run.abort.abort();
    const now = this.context.currentTime;
    for (const [name, node] of this.outputs) {
      node.gain.cancelScheduledValues(now);
      node.gain.setValueAtTime(node.gain.value, now);
      node.gain.linearRampToValueAtTime(0, now + FALL_S);
      this.outputs.delete(name);
    }
    for (const source of run.sources) {
      try {
        source.stop(now + FALL_S);
      } catch {
        continue;
      }
    }
    if (!quiet) this.told("ends");
  }

  /* What sounds at this moment: the bar, and the notes [onset_s, end_s, place in the text, …]. */
  now() {
    if (!this.run || !this.run.stretches.length) return null;
    const heard_at = this.context.currentTime - (this.context.outputLatency || 0);
    let bar = null;
    const notes = [];
    for (const stretch of this.run.stretches) {
      const at = heard_at - stretch.base;
      for (const [index, start, end] of stretch.bars) if (at >= start - 0.02 && at < end) bar = index;
      for (const note of stretch.notes) if (at >= note[0] && at < note[1]) notes.push(note);
    }
    return { bar, notes };
  }
}
