/* Making things for the class: choose, see how far it is, stop, open what is there. */

import { ask } from "./asking.js";
import { by_id, made, tell, text } from "./words.js";

function time_text(seconds) {
  return seconds >= 90 ? text("minutes", { count: Math.round(seconds / 60) }) : text("seconds", { count: Math.max(1, Math.round(seconds)) });
}

function yes(label, checked, onchange) {
  return made("label", { class: "check" }, made("input", { type: "checkbox", checked, onchange: (event) => onchange(event.target.checked) }), label);
}

export class Making {
  /* `current` returns the name of the open song's file, `ready` saves it first. */
  constructor({ current, ready }) {
    this.current = current;
    this.ready = ready;
    this.state = { busy: false };
    this.counted_from = 0;
    this.lines = [];
    this.last = "";
    this.chosen = {};
    this.unfolded = new Set();
  }

  async show() {
    const { made: there, choices, state } = await ask("made", { name: this.current() });
    if (state.busy && !this.state.busy) this.#begun(state);
    this.there = there;
    this.choices = choices;
    this.#draw();
  }

  #draw() {
    const stem = this.current().replace(/^.*\//, "").replace(/\.ya?ml$/, "");
    const things = Object.entries(this.choices).map(([what, choices]) => {
      const own = (this.there || []).find((each) => each.what === what && each.name === stem);
      return made("li", { "data-what": what },
        made("div", { class: "thing" }, made("strong", {}, text(`made_what_${what}`)), made("p", { class: "hint" }, text(`make_${what}_hint`)), ...this.#choosing(what, choices)),
        made("p", { class: "tools" },
          made("button", { type: "button", disabled: this.state.busy, "aria-label": `${text("make_it")}: ${text(`made_what_${what}`)}`, onclick: () => this.#begin(what) }, text("make_it")),
          own ? this.#opening(own) : null));
    });
    const now = made("div", { id: "making-now", role: "status" });
    const there = (this.there || []).filter((each) => each.name !== stem).map((each) => made("li", {}, made("span", {}, this.#called(each)), this.#opening(each)));
    by_id("make").replaceChildren(now, made("ul", { class: "list" }, ...things),
      ...(there.length ? [made("h3", {}, text("made_list")), made("ul", { class: "list" }, ...there)] : []),
      made("p", { class: "tools" }, made("button", { type: "button", onclick: () => ask("reveal", { path: "" }) }, text("show_folder"))),
      made("p", { class: "hint" }, text("care")));
    this.#draw_now();
  }

  /* What is yes or no stands open; lists are unfolded by who wants them. What is chosen stays for the next time. */
  #choosing(what, choices) {
    const chosen = (this.chosen[what] ??= {});
    const plain = choices.filter(({ kind }) => kind === "yes").map(({ name }) => yes(text(name), Boolean(chosen[name]), (on) => { chosen[name] = on; }));
    const lists = choices.filter(({ kind }) => kind !== "yes");
    const rows = lists.map(({ name, kind, values }) => kind === "one" ? this.#one(chosen, name, values) : this.#several(chosen, name, values));
    const fold = made("details", { open: this.unfolded.has(what), ontoggle: (event) => this.unfolded[event.target.open ? "add" : "delete"](what) },
      made("summary", {}, text("choose", { what: lists.map(({ name }) => text(name)).join(", ") })), ...rows);
    return [made("p", { class: "choices" }, ...plain), lists.length ? fold : null];
  }

  #one(chosen, name, values) {
    const select = made("select", { onchange: () => { chosen[name] = select.value; } }, made("option", { value: "" }, text("as_usual")), ...values.map((value) => made("option", { value, selected: chosen[name] === value }, value)));
    return made("label", { class: "one" }, text(name), " ", select);
  }

  /* None is all, or as the song says: it says which. */
  #several(chosen, name, values) {
    const wanted = new Set(chosen[name]);
    const boxes = values.map((value) => yes(value, wanted.has(value), (on) => {
      wanted[on ? "add" : "delete"](value);
      chosen[name] = values.filter((each) => wanted.has(each));
    }));
    return made("fieldset", {}, made("legend", {}, text(name), " ", made("span", { class: "hint" }, text(`${name}_none`))), made("div", { class: "choices" }, ...boxes));
  }

  #called({ what, name }) {
    const thing = text(`made_what_${what}`);
    return name === "index" ? text("made_all", { thing }) : text("made_of", { thing, song: name.replace(/-/g, " ") });
  }

  #opening(each) {
    const label = `${text("open_it")}: ${this.#called(each)}`;
    return made("button", { type: "button", "aria-label": label, onclick: () => ask("reveal", { path: each.path }) }, text("open_it"));
  }

  /* How far it is stands with the thing that is made. */
  #draw_now() {
    const now = by_id("making-now");
    if (!now) return;
    const row = by_id("make").querySelector(`[data-what="${this.last}"]`);
    if (row && now.parentNode !== row) row.append(now);
    const inside = [];
    if (this.state.busy) {
      const { done, total } = this.state;
      inside.push(made("p", {}, text("making", { what: text(`made_what_${this.state.what}`) })));
      inside.push(made("progress", total ? { max: total, value: done, "aria-label": text("make_title") } : { "aria-label": text("make_title") }));
      const parts = [];
      if (total) parts.push(text("making_step", { done, total }));
      const passed = (Date.now() - this.counted_from) / 1000;
      if (total && done > 1 && done < total) parts.push(text("time_left", { time: time_text((passed / done) * (total - done)) }));
      inside.push(made("p", { class: "hint" }, parts.join(", ")));
      inside.push(made("p", { class: "tools" }, made("button", { type: "button", id: "make-stop", onclick: () => ask("stop") }, text("make_stop"))));
    }
    inside.push(...this.lines.map((line) => made("p", {}, line)));
    now.replaceChildren(...inside);
  }

  /* Of what was chosen once, a song takes what it has. */
  async #begin(what) {
    const name = await this.ready();
    const choices = {};
    for (const { name: each, kind, values } of this.choices[what]) {
      const wanted = this.chosen[what]?.[each];
      const said = kind === "several" ? (wanted || []).filter((value) => values.includes(value)) : wanted;
      if (kind === "several" ? said.length : said) choices[each] = said;
    }
    await ask("make", { what, songs: [name], choices });
  }

  #begun(facts) {
    this.state = { busy: true, what: facts.what, done: 0, total: 0 };
    this.last = facts.what;
    this.counted_from = facts.began_s * 1000;
    this.lines = [];
  }

  /* Recordings are counted, then speeds of a page: each by itself. */
  #counted(done, total) {
    if (total !== this.state.total) this.counted_from = Date.now();
    Object.assign(this.state, { done, total });
  }

  heard(event) {
    if (event.kind === "began") this.#begun(event);
    if (event.total && this.state.busy) this.#counted(event.done ?? 0, event.total);
    if (["notice", "problem", "left", "failed"].includes(event.kind) && event.text) this.lines = [...this.lines, event.text].slice(-8);
    if (event.kind === "ended") {
      this.state = { busy: false };
      this.lines.push(event.stopped ? text("make_stopped") : event.exit_code ? text("make_failed") : text("make_done"));
    }
    if (by_id("slip-make").hidden) {
      if (event.kind === "ended") tell(this.lines[this.lines.length - 1]);
    } else if (event.kind === "began" || event.kind === "ended") this.show();
    else this.#draw_now();
  }
}
