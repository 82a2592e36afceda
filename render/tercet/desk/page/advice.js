/* The twelve keys and the tunings: which suit the song, each to be heard and to be taken. */

import { ask } from "./asking.js";
import { by_id, made, tell, text } from "./words.js";

export class Advice {
  /* `current` returns the text; `hear` plays another text; `take` puts it in the song's place. */
  constructor({ current, hear, take }) {
    this.current = current;
    this.hear = hear;
    this.take = take;
    this.shown_for = "";
  }

  async show() {
    const now = this.current();
    if (now.text === this.shown_for) return;
    by_id("advice").replaceChildren(made("p", { class: "hint", role: "status" }, text("advice_waits")));
    let found;
    try {
      found = await ask("advise", now);
    } catch (error) {
      by_id("advice").replaceChildren(made("p", {}, error.message));
      return;
    }
    this.shown_for = now.text;
    by_id("advice").replaceChildren(made("p", { class: "hint" }, text("advice_hint")), ...found.tunings.map((each) => this.#table(each, found)));
  }

  #table({ tuning, keys }, { key, tuning: own }) {
    const rows = keys.map((each) => {
      const here = each.semitones === 0 && tuning === own;
      const label = `${each.key}, ${tuning}`;
      const said = [
        text("advice_rolls", { percent: Math.round(100 * each.audible) }),
        each.missing ? text("advice_missing", { count: each.missing }) : "",
        each.not_held.length ? text("advice_not_held", { chords: each.not_held.join(", ") }) : "",
      ].filter(Boolean);
      return made("li", { "data-key": each.key },
        made("div", {}, made("strong", {}, each.key), here ? made("span", { class: "hint" }, ` ${text("advice_now")}`) : null, made("p", { class: "hint" }, said.join("; "))),
        made("p", { class: "tools" },
          made("button", { type: "button", "aria-label": `${text("advice_hear")}: ${label}`, onclick: () => this.#moved(each, tuning, this.hear) }, text("advice_hear")),
          here ? null : made("button", { type: "button", "aria-label": `${text("advice_take")}: ${label}`, onclick: () => this.#moved(each, tuning, this.take) }, text("advice_take"))));
    });
    return made("section", {}, made("h3", {}, tuning), made("ul", { class: "list" }, ...rows));
  }

  async #moved({ semitones }, tuning, then) {
    const { text: moved, dropped } = await ask("move", { ...this.current(), semitones, tuning });
    then(moved);
    if (dropped.length) tell(text("advice_dropped", { what: dropped.join("; ") }));
  }
}
