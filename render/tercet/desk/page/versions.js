/* Earlier versions by date, and two versions side by side when a file was changed elsewhere. */

import { ask } from "./asking.js";
import { by_id, date_text, made, text } from "./words.js";

/* A text with the lines that another one lacks marked. */
function compared(document_text, other) {
  const there = new Set(other.split("\n").map((line) => line.trim()));
  const lines = document_text.split("\n").map((line) => made(line.trim() && !there.has(line.trim()) ? "ins" : "span", {}, `${line}\n`));
  return made("pre", { class: "version", tabindex: "0" }, ...lines);
}

export class Versions {
  /* `current` returns name and text; `restore` puts an older text in its place. */
  constructor({ current, restore }) {
    this.current = current;
    this.restore = restore;
  }

  async show() {
    const { name, text: now } = this.current();
    if (!name) return;
    const { versions } = await ask("history", { name });
    const list = versions.map(({ key, kept_s }) => {
      const item = made("li", {});
      const show = made("button", { type: "button", class: "name", "aria-expanded": "false", onclick: async () => {
        if (item.querySelector("pre")) {
          item.querySelector("pre").remove();
          show.setAttribute("aria-expanded", "false");
          return;
        }
        const version = await ask("version", { name, key });
        item.append(compared(version.text, now));
        show.setAttribute("aria-expanded", "true");
      } }, date_text(kept_s));
      item.append(show, made("button", { type: "button", onclick: async () => {
        const version = await ask("version", { name, key });
        await this.restore(version.text, date_text(kept_s));
      } }, text("restore")));
      return item;
    });
    by_id("versions").replaceChildren(list.length ? made("ul", { class: "list" }, ...list) : made("p", { class: "hint" }, text("no_versions")));
  }

  /* Shows both; resolves with "mine" or "other". */
  choose(hint, mine, other) {
    return new Promise((chosen) => {
      const part = (title, document_text, against, name, label) => [
        made("h3", {}, title), compared(document_text, against),
        made("p", { class: "tools" }, made("button", { type: "button", id: `take-${name}`, onclick: () => chosen(name) }, label)),
      ];
      by_id("both").replaceChildren(
        made("p", {}, hint),
        ...part(text("mine"), mine, other ?? "", "mine", other === null ? text("put_back") : text("keep_mine")),
        ...(other === null ? [] : part(text("other"), other, mine, "other", text("take_other"))),
      );
    });
  }
}
