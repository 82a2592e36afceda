/* The song's settings as a form: always the same file as the text beside it. */

import { ask } from "./asking.js";
import { by_id, made, tell, text } from "./words.js";

const SHOWN = ["title", "composer", "key", "meter", "tempo", "tuning", "players", "style", "front", "form"];

export class About {
  /* `current` returns the text, `apply` makes edits in it. */
  constructor({ current, apply }) {
    this.current = current;
    this.apply = apply;
    this.fields = new Map();
  }

  /* Draws the form from the desk's own table of settings. */
  draw(settings) {
    const rows = SHOWN.map((name) => settings.find((each) => each.name === name)).filter(Boolean).map(({ name, about, values }) => {
      const list = values.length ? made("datalist", { id: `values-${name}` }, ...values.map((value) => made("option", { value }))) : null;
      const input = made("input", { type: "text", id: `about-${name}`, list: list ? list.id : null, autocomplete: "off", spellcheck: "false",
        "aria-describedby": `about-${name}-hint`, onchange: () => this.#set(name, input.value) });
      this.fields.set(name, input);
      return made("label", {}, made("strong", {}, name), input, list, made("span", { class: "hint", id: `about-${name}-hint` }, about));
    });
    by_id("about").replaceChildren(made("form", { class: "fields", onsubmit: (event) => event.preventDefault() }, ...rows));
  }

  async show() {
    const { values } = await ask("settings", { text: this.current() });
    for (const [name, input] of this.fields) {
      const value = values[name];
      if (input !== document.activeElement) input.value = value ?? "";
      input.disabled = value === null;
      input.placeholder = value === null ? text("in_lines") : "";
    }
  }

  async #set(name, value) {
    try {
      const { edit } = await ask("set", { text: this.current(), name, value });
      if (edit) this.apply([edit]);
    } catch (error) {
      tell(error.message);
      this.show();
    }
  }
}
