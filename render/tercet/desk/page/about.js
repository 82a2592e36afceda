/* The song's settings as a form: always the same file as the text beside it. */

import { ask } from "./asking.js";
import { by_id, made, tell, text } from "./words.js";

const SHOWN = ["title", "composer", "key", "meter", "tempo", "tuning", "players", "style", "front", "form"];

/* Chooses a value, which may be one that stands in the text and not in the list. */
function choice(select, value) {
  select.querySelector("[data-own]")?.remove();
  if (![...select.options].some((option) => option.value === value)) select.append(made("option", { value, "data-own": "" }, value));
  select.value = value;
}

export class About {
  /* `current` returns the text, `mistakes` what is wrong in it; `apply` makes edits in it. */
  constructor({ current, mistakes, apply }) {
    this.current = current;
    this.mistakes = mistakes;
    this.apply = apply;
    this.fields = new Map();
  }

  /* Draws the form from the desk's own table of settings. */
  draw(settings) {
    const rows = SHOWN.map((name) => settings.find((each) => each.name === name)).filter(Boolean).map(({ name, about, values }) => {
      const shared = { id: `about-${name}`, "aria-describedby": `about-${name}-hint about-${name}-wrong`, onchange: () => this.#set(name, input.value) };
      const input = values.length
        ? made("select", shared, made("option", { value: "" }, text("left_out")), ...values.map((value) => made("option", { value }, value)))
        : made("input", { type: "text", autocomplete: "off", spellcheck: "false", ...shared });
      this.fields.set(name, input);
      return made("label", {}, made("strong", {}, name), input, made("span", { class: "wrong", id: `about-${name}-wrong` }), made("span", { class: "hint", id: `about-${name}-hint` }, about));
    });
    by_id("about").replaceChildren(made("form", { class: "fields", onsubmit: (event) => event.preventDefault() }, ...rows));
  }

  async show() {
    const { values } = await ask("settings", { text: this.current() });
    for (const [name, input] of this.fields) {
      const value = values[name];
      if (input.tagName === "SELECT") choice(input, value ?? "");
      else if (input !== document.activeElement) input.value = value ?? "";
      input.disabled = value === null;
      const wrong = this.mistakes().find((each) => each.row === name);
      by_id(`about-${name}-wrong`).textContent = value === null ? text("in_lines") : wrong ? [wrong.message, wrong.mend].filter(Boolean).join(": ") : "";
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
