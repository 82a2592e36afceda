/* The whole sheet, in the place of the text for as long as one looks at it; drawn anew when nobody types. */

import { ask } from "./asking.js";
import { by_id, drawn, made, mark_sounding, text } from "./words.js";

const IDLE_MS = 700;

export class Sheet {
  /* `current` returns the song; `go_to` goes to a bar in its text. */
  constructor({ current, go_to }) {
    this.current = current;
    this.go_to = go_to;
    this.timer = 0;
    this.drawn_of = "";
    this.shows = {};
  }

  get open() {
    return !by_id("sheet").hidden;
  }

  toggle() {
    const opens = !this.open;
    by_id("sheet").hidden = !opens;
    by_id("writing").hidden = opens;
    by_id("line").hidden = opens;
    by_id("sheet-open").setAttribute("aria-pressed", String(opens));
    if (opens) {
      this.#draw();
      by_id("sheet").focus();
    }
  }

  changed() {
    if (!this.open) return;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#draw(), IDLE_MS);
  }

  /* Marks what sounds: gestures with the string that is struck, "12/3"; the line is brought into sight. */
  sound(places, follows) {
    mark_sounding(by_id("sheet"), this.open ? places.flatMap((place) => this.shows[place] || []) : []);
    if (follows) by_id("sheet").querySelector(".now")?.closest(".sheet-line").scrollIntoView({ block: "nearest" });
  }

  async #draw() {
    const song = this.current();
    if (song.text === this.drawn_of) return;
    const { lines, shows } = await ask("sheet", song);
    this.drawn_of = song.text;
    this.shows = shows;
    by_id("sheet").replaceChildren(...lines.map(({ svg, bar, name }) => {
      const button = made("button", { type: "button", class: "sheet-line", "aria-label": text("sheet_line", { name }), onclick: () => {
        this.toggle();
        this.go_to(bar);
      } });
      button.append(...drawn(svg));
      return button;
    }));
  }
}
