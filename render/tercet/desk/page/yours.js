/* How one played it: a take is recorded or chosen, stays in this window, is heard beside the model, and is held against the
   song by the desk. */

import "./microphone.js";
import { Refused, hand_over_recording } from "./asking.js";
import { by_id, drawn, made, text } from "./words.js";

const { figures, canRecord: can_record, openMicrophone: open_microphone, samplesOf: samples_of, waveOf: wave_of } = window.TercetHearing;
const { RATE_HZ } = figures.spectra;
const AFTER_END_MS = 1500;
const EVERY_MS = 50;
const BEFORE_S = 0.2;

/* What browsers read and the desk doesn't: it is handed what the browser makes of it. */
const FOR_BROWSERS = /\.(3gp|aac|m4a|mov|mp4|weba|webm)$/i;

/* Why there is no microphone, by the name of what the browser says. */
const REASONS = { NotAllowedError: "yours_refused", SecurityError: "yours_refused", NotFoundError: "yours_none" };

export class Yours {
  /* `current` returns the song as it stands, `view` what the desk knows of it; `count_in_bars` and `set_speed` are the window's;
     `hearing` plays the model, `go_to` shows a bar. */
  constructor({ current, view, hearing, count_in_bars, set_speed, go_to }) {
    Object.assign(this, { current, view, hearing, count_in_bars, set_speed, go_to });
    this.takes = [];
    this.layers = [];
    this.recording = null;
    this.own = null;
    this.looked = 0;
    this.opener = document.querySelector('[data-slip="yours"]');
    this.#draw();
    document.addEventListener("visibilitychange", () => { if (document.hidden) this.#finish(); });
    addEventListener("pagehide", () => this.recording?.microphone?.stop());
  }

  /* Called when the slip is opened, and when the song's layers change. */
  show(layers) {
    const plays = layers.filter(({ name, natural }) => name !== "second" && natural !== "out").map(({ name }) => name);
    if (this.recording || plays.join() === this.layers.join()) return;
    this.layers = plays;
    this.plays.replaceChildren(made("legend", {}, text("yours_plays")), this.#boxes(true));
    this.along.replaceChildren(made("legend", {}, text("yours_along")), this.#boxes(false), made("p", { class: "hint" }, text("yours_headphones")));
  }

  /* Another song is opened: what is being recorded is dropped, and other takes are listed. */
  song_changes() {
    this.#drop();
    this.quiet();
    this.looked += 1;
    this.report.replaceChildren();
    this.#say("");
    this.#list();
  }

  #boxes(checked) {
    return made("div", { class: "choices" }, ...this.layers.map((value) =>
      made("label", { class: "check" }, made("input", { type: "checkbox", value, checked }), text(`layer_${value}`))));
  }

  #draw() {
    this.plays = made("fieldset", {});
    this.along = made("fieldset", { hidden: !can_record() });
    this.go = made("button", { type: "button", id: "yours-go", hidden: !can_record(), onclick: () => (this.recording ? this.#finish() : this.#record()) });
    this.file = made("input", { type: "file", id: "yours-file", accept: "audio/*,video/*", hidden: true, onchange: () => this.#chosen() });
    this.choose = made("button", { type: "button", onclick: () => this.file.click() }, text("yours_choose"));
    this.told = made("p", { id: "yours-told", role: "status" });
    this.list = made("ul", { id: "yours-takes", class: "list" });
    this.all = made("button", { type: "button", onclick: () => this.#delete_all() }, text("yours_delete_all"));
    this.report = made("div", { id: "yours-report" });
    by_id("yours").replaceChildren(made("p", { class: "hint" }, text("yours_private")), this.plays, this.along,
      ...(can_record() ? [] : [made("p", {}, text("yours_closed"))]),
      made("p", { class: "tools" }, this.go, this.choose, this.file), this.told, this.list, made("p", { class: "tools" }, this.all), this.report);
    this.#show_state();
    this.#list();
  }

  #say(sentence) {
    this.told.textContent = sentence;
  }

  /* That it records stands in the window's head too, where it is seen whatever lies beside the song. */
  #show_state() {
    const on = Boolean(this.recording);
    this.go.setAttribute("aria-pressed", String(on));
    this.go.textContent = text(on ? "yours_stop" : "yours_record");
    this.opener.textContent = text(on ? "yours_on" : "yours_open");
    for (const field of [...this.plays.elements, ...this.along.elements, this.choose]) field.disabled = on;
  }

  /* ---- takes */

  get #here() {
    const { name } = this.current();
    return this.takes.filter((take) => take.song === name);
  }

  #list() {
    this.list.replaceChildren(...this.#here.map((take) => made("li", {},
      made("span", { class: "name", dir: "auto" }, take.name),
      made("span", { class: "tools" },
        made("button", { type: "button", "aria-label": text("yours_hear_said", { name: take.name }), onclick: () => this.#held(take) }, text("yours_hear")),
        made("button", { type: "button", "aria-label": text("yours_save_said", { name: take.name }), onclick: () => this.#save(take) }, text("yours_save")),
        made("button", { type: "button", "aria-label": text("yours_delete_said", { name: take.name }), onclick: () => this.#delete(take) }, text("yours_delete"))))));
    this.all.hidden = this.#here.length < 2;
  }

  #keep(take) {
    this.takes.unshift(take);
    this.#list();
  }

  #delete(take) {
    this.#forget([take]);
    this.#say(text("yours_deleted", { name: take.name }));
  }

  #delete_all() {
    this.#forget(this.#here);
    this.#say(text("yours_deleted_all"));
  }

  /* With a take goes what was said of it, also what is about to be said. */
  #forget(gone) {
    this.quiet();
    this.takes = this.takes.filter((take) => !gone.includes(take));
    if (gone.includes(this.latest)) {
      this.latest = null;
      this.looked += 1;
      this.report.replaceChildren();
    }
    this.#list();
    (this.go.hidden ? this.choose : this.go).focus();
  }

  #save({ name, blob }) {
    const href = URL.createObjectURL(blob);
    made("a", { href, download: blob.name || `${name.replaceAll(":", ".")}.wav` }).click();
    setTimeout(() => URL.revokeObjectURL(href), 10000);
  }

  /* ---- the microphone */

  #ticked(fieldset) {
    return [...fieldset.querySelectorAll("input:checked")].map((box) => box.value);
  }

  async #record() {
    this.quiet();
    this.hearing.ready();
    this.hearing.stop();
    const mine = { heard: this.#ticked(this.along), plays: this.#ticked(this.plays) };
    this.recording = mine;
    this.#say(text("yours_asking"));
    this.#show_state();
    try {
      mine.microphone = await open_microphone();
    } catch (error) {
      if (this.recording === mine) this.#drop();
      this.#say(text(REASONS[error.name] || "yours_lost"));
      return;
    }
    if (this.recording !== mine) {
      mine.microphone.stop();
      return;
    }
    const { left } = mine.microphone;
    mine.settings = left.length ? text("yours_still_on", { what: left.map((name) => text(`yours_${name}`)).join(", ") }) : text("yours_all_off");
    this.#say(mine.settings);
    mine.microphone.start();
    mine.began_ms = performance.now();
    mine.timer = setInterval(() => this.#watch(mine), EVERY_MS);
    this.hearing.play(0, null, { count_in_bars: Math.max(this.count_in_bars(), 1), only: new Set(mine.heard) });
  }

  /* Without a layer to play along with, only the count-in is heard. */
  #watch(mine) {
    const now = mine.from_s === undefined ? this.hearing.now() : null;
    if (!now || now.bar === null) return;
    mine.from_s = Math.max((performance.now() - mine.began_ms) / 1000 - BEFORE_S, 0);
    if (!mine.heard.length) this.hearing.stop();
  }

  /* What is played begins or ends: with layers to play along with a take ends with the song; one that was never begun is none. */
  played(what) {
    const mine = this.recording;
    if (what === "begins") this.quiet();
    if (what !== "ends" || !mine?.microphone) return;
    if (mine.from_s === undefined) {
      this.#drop();
      this.#say("");
    } else if (mine.heard.length) mine.ending = setTimeout(() => this.#finish(), AFTER_END_MS);
  }

  /* Ends a recording; what was recorded is returned, as it is asked for. */
  #end() {
    const mine = this.recording;
    this.recording = null;
    this.#show_state();
    if (!mine) return null;
    clearInterval(mine.timer);
    clearTimeout(mine.ending);
    return mine;
  }

  #drop() {
    this.#end()?.microphone?.stop();
  }

  async #finish() {
    const mine = this.#end();
    if (!mine) return;
    this.hearing.stop();
    this.#say("");
    const recorded = await mine.microphone?.stop();
    if (!recorded || mine.from_s === undefined) return;
    const samples = await samples_of(recorded).catch(() => new Float32Array(1));
    const when = new Date().toLocaleTimeString([], { timeStyle: "medium" });
    const blob = wave_of(samples.subarray(Math.round(mine.from_s * RATE_HZ)));
    const take = { song: this.current().name, name: text("yours_take", { when }), plays: mine.plays, settings: mine.settings, blob };
    this.#keep(take);
    await this.#held(take);
  }

  async #chosen() {
    const [blob] = this.file.files;
    this.file.value = "";
    if (!blob) return;
    const take = { song: this.current().name, name: blob.name, plays: this.#ticked(this.plays), settings: "", blob };
    if (await this.#held(take)) this.#keep(take);
  }

  /* ---- held against the song */

  /* Whether something was heard in it. */
  async #held(take) {
    this.quiet();
    this.looked += 1;
    const mine = this.looked;
    this.latest = take;
    this.report.replaceChildren();
    const most = Number(by_id("yours").dataset.largest);
    if (take.blob.size > most) {
      this.#say(text("yours_large", { megabytes: Math.floor(most / 1e6) }));
      return false;
    }
    this.#say(text("yours_listening"));
    let found;
    try {
      const asked = { ...this.current(), recording: take.name, plays: take.plays };
      const decoded = FOR_BROWSERS.test(take.name) ? await samples_of(take.blob).then(wave_of).catch(() => null) : null;
      found = await hand_over_recording(asked, decoded ?? take.blob);
    } catch (error) {
      if (mine === this.looked) this.#say(error instanceof Refused ? error.message : text("yours_gone"));
      return false;
    }
    if (mine !== this.looked) return false;
    this.#say(found ? "" : text("has_mistakes"));
    if (found) {
      this.report.replaceChildren(...this.#reported(take, found));
      this.report.scrollIntoView({ block: "start" });
    }
    return Boolean(found);
  }

  #reported(take, { facts, details, picture }) {
    const { ask, well, next, others } = facts.advice;
    const first = (title, words, ...more) => made("div", { class: "note heard" }, title && made("p", { class: "place" }, title), made("p", { dir: "auto" }, words), ...more);
    const title = made("h3", {}, text("yours_report"));
    if (ask) return [title, first(null, ask), this.#beside(take, facts, facts.bars[0])];
    const bars = next ? next.bars : [];
    const more = [take.settings && made("p", {}, take.settings)];
    if (others.length) more.unshift(made("p", {}, text("heard_others")), made("ul", {}, ...others.map((one) => made("li", { dir: "auto" }, one.sentence))));
    const shown = made("div", { class: "picture-heard", role: "group", tabindex: "0", "aria-label": text("yours_picture") });
    shown.append(...drawn(picture));
    return [
      title,
      first(text("heard_well"), well),
      first(text("heard_next"), next ? next.sentence : text("heard_nothing"), bars.length ? this.#repeat(next) : null),
      this.#beside(take, facts, bars.length ? bars[0] : facts.bars[0]),
      shown,
      made("details", {}, made("summary", {}, text("heard_details")), made("ul", {}, ...details.map((line) => made("li", { dir: "auto" }, line))), ...more),
      made("p", { class: "hint" }, text("heard_note")),
    ];
  }

  /* Where a bar of what was heard lies in the song as it stands now; it may have been shortened since. */
  #place(number) {
    return this.view()?.bars.findIndex((bar) => bar.number === number) ?? -1;
  }

  /* The bars again and again, as slowly as is advised. */
  #repeat({ bars, options }) {
    const [first, last] = [bars[0], bars[bars.length - 1]];
    const name = first === last ? text("yours_bar", { bar: first }) : text("yours_bars", { first, last });
    const repeat = () => {
      if (this.#place(first) < 0) return;
      if (options.includes("--speed")) this.set_speed(parseInt(options[options.indexOf("--speed") + 1], 10));
      this.go_to(this.#place(first));
      this.hearing.play(this.#place(first), Math.max(this.#place(last), this.#place(first)), { again: true });
    };
    return made("p", { class: "tools" }, made("button", { type: "button", onclick: repeat }, name));
  }

  /* ---- what was played and the model, one beside the other from the same bar */

  #beside(take, { strokes }, number) {
    const struck = strokes.find((each) => each.bar_number === number && each.onset_s !== null) || strokes.find((each) => each.onset_s !== null);
    const own = made("button", { type: "button", "aria-pressed": "false", onclick: () => {
      const again = this.own?.button === own;
      this.quiet();
      if (!again) this.#sound(own, take, Math.max(struck.onset_s - BEFORE_S, 0));
    } }, text("yours_own"));
    const model = made("button", { type: "button", onclick: () => {
      if (this.#place(struck.bar_number) >= 0) this.hearing.play(this.#place(struck.bar_number));
    } }, text("yours_model"));
    return made("p", { class: "tools beside" }, made("span", {}, text("yours_from", { bar: text("yours_at_bar", { bar: struck.bar_number }) })), own, model);
  }

  async #sound(button, take, from_s) {
    this.hearing.ready();
    this.hearing.stop();
    const mine = { button, source: this.hearing.context.createBufferSource() };
    this.own = mine;
    button.setAttribute("aria-pressed", "true");
    const samples = await samples_of(take.blob).catch(() => null);
    if (this.own !== mine) return;
    if (!samples) {
      this.quiet();
      this.#say(text("yours_not_played"));
      return;
    }
    const buffer = this.hearing.context.createBuffer(1, samples.length, RATE_HZ);
    buffer.copyToChannel(samples, 0);
    Object.assign(mine.source, { buffer, onended: () => { if (this.own === mine) this.quiet(); } });
    mine.source.connect(this.hearing.context.destination);
    mine.source.start(0, from_s);
  }

  quiet() {
    const own = this.own;
    this.own = null;
    if (!own) return;
    own.button.setAttribute("aria-pressed", "false");
    if (own.source.buffer) own.source.stop();
  }
}
