/* Which song: those that are there, a new one by a few questions, a tune from another program's file. */

import { ask, hand_over } from "./asking.js";
import { by_id, date_text, made, text } from "./words.js";

export class Songs {
  /* `open` opens a song by name; `write_new` makes a new one of a name and a text. */
  constructor({ open, write_new }) {
    this.open = open;
    this.write_new = write_new;
    this.remarks = [];
    addEventListener("dragover", (event) => {
      event.preventDefault();
      document.body.classList.add("dropping");
    });
    addEventListener("dragleave", (event) => {
      if (!event.relatedTarget) document.body.classList.remove("dropping");
    });
    addEventListener("drop", (event) => {
      event.preventDefault();
      document.body.classList.remove("dropping");
      const file = event.dataTransfer.files[0];
      if (file) this.bring(file);
    });
  }

  async show() {
    const { folder, songs } = await ask("songs");
    const picker = made("input", { type: "file", id: "bring", class: "unseen", tabindex: "-1", "aria-hidden": "true", onchange: () => picker.files[0] && this.bring(picker.files[0]) });
    by_id("songs").replaceChildren(
      ...(this.remarks.length ? [made("h3", {}, text("remarks")), made("ul", {}, ...this.remarks.map((each) => made("li", { class: "note" }, each)))] : []),
      made("p", { class: "tools" },
        made("button", { type: "button", id: "new-song", onclick: () => this.questions() }, text("new_song")),
        made("button", { type: "button", onclick: () => picker.click() }, text("open_file")), picker),
      made("p", { class: "hint" }, text("open_file_hint")),
      made("ul", { class: "list" }, ...songs.map((song) => made("li", {},
        made("button", { type: "button", class: "name", dir: "auto", onclick: () => this.#open(song.name) }, song.title),
        made("span", { class: "hint" }, date_text(song.changed_s))))),
      made("p", { class: "hint" }, text("folder", { folder })),
    );
  }

  #open(name) {
    this.remarks = [];
    return this.open(name);
  }

  async questions() {
    const { keys, meters } = await ask("words");
    const field = (name, input) => made("label", {}, text(`ask_${name}`), Object.assign(input, { name }));
    const choice = (values, usual) => made("select", {}, ...values.map((each) => made("option", { value: each, selected: each === usual }, each)));
    const form = made("form", { class: "fields", onsubmit: (event) => {
      event.preventDefault();
      this.#begin(new FormData(form));
    } },
      field("title", made("input", { type: "text", required: true, maxlength: 80, autocomplete: "off" })),
      field("meter", choice(meters, "4/4")),
      field("key", choice(keys, "C major")),
      field("bars", made("input", { type: "number", min: 1, max: 64, value: 8 })),
      field("words", made("textarea", { rows: 5 })),
      made("p", { class: "tools" }, made("button", { type: "submit" }, text("begin")),
        made("button", { type: "button", onclick: () => this.show() }, text("cancel"))));
    by_id("songs").replaceChildren(form);
    form.querySelector("input").focus();
  }

  async #begin(answers) {
    const facts = Object.fromEntries(answers);
    const { name, text: document_text } = await ask("new", { ...facts, bars: Number(facts.bars) });
    await this.write_new(name, document_text);
  }

  async bring(file) {
    const { name, text: document_text, remarks } = await hand_over("import", file);
    await this.write_new(name, document_text);
    this.remarks = remarks;
    if (remarks.length) this.remarked?.();
  }
}
