/* The music of the line one is in; its notes can be chosen, to be played in another way. */

import { ask } from "./asking.js";
import { by_id, drawn, made, mark_sounding, text, ways_of } from "./words.js";

export class Seeing {
  /* `current` returns the text; `go_to` puts the cursor at a note; `hear` plays its bar in another text, `take` puts that in its
     place. */
  constructor({ current, go_to, hear, take }) {
    this.current = current;
    this.hear = hear;
    this.go_to = go_to;
    this.take = take;
    this.shown = "";
    this.music = null;
    this.chosen = -1;
    const line = by_id("line");
    line.addEventListener("click", (event) => this.#pressed(event));
    line.addEventListener("keydown", (event) => this.#key(event));
  }

  /* `music` is what the desk drew: its own drawing, in which every text is escaped. */
  show(music) {
    const wanted = music ? music.svg : "";
    if (wanted === this.shown && by_id("drawn").childNodes.length) return;
    this.shown = wanted;
    this.music = music;
    this.#close();
    if (!music) {
      by_id("drawn").replaceChildren(made("p", { class: "hint" }, text("no_bar")));
      return;
    }
    by_id("drawn").replaceChildren(...drawn(music.svg));
    this.notes = [...new Set(Object.keys(music.places).map(Number))].sort((one, other) => one - other);
    this.gesture_of = new Map(Object.entries(music.shows).flatMap(([place, names]) => names.map((name) => [name, Number(place.split("/")[0])])));
  }

  /* Whether a bar is in the line that is shown. */
  holds(bar) {
    return Boolean(this.music?.bars.includes(bar));
  }

  /* Marks what sounds: gestures with the string that is struck, "12/3". */
  sound(places) {
    mark_sounding(by_id("drawn"), this.music ? places.flatMap((place) => this.music.shows[place] || []) : []);
  }

  #pressed(event) {
    for (let each = event.target; each && each !== by_id("line"); each = each.parentNode) {
      const gesture = this.gesture_of?.get(each.id);
      if (gesture !== undefined && this.music.places[gesture]) {
        this.#choose(this.notes.indexOf(gesture));
        this.#open();
        return;
      }
    }
  }

  #key(event) {
    if (!this.music || event.target.closest("#ways")) {
      if (event.key === "Escape") {
        this.#close();
        by_id("line").focus();
        event.stopPropagation();
      }
      return;
    }
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (step && this.notes.length) {
      event.preventDefault();
      this.#choose(Math.min(Math.max(this.chosen + step, 0), this.notes.length - 1));
    }
    if (event.key === "Enter" && this.chosen >= 0) {
      event.preventDefault();
      this.#open();
    }
  }

  #choose(index) {
    this.chosen = index;
    for (const each of by_id("drawn").querySelectorAll(".chosen")) each.classList.remove("chosen");
    const gesture = this.notes[index];
    for (const [name, owner] of this.gesture_of) if (owner === gesture) document.getElementById(name)?.classList.add("chosen");
    const place = this.music.places[gesture];
    by_id("chosen").textContent = text("chosen", { note: place[2] });
  }

  async #open() {
    const [line, column, note] = this.music.places[this.notes[this.chosen]];
    this.go_to(line, column);
    const ways = by_id("ways");
    ways.hidden = false;
    ways.replaceChildren(made("p", { class: "hint" }, text("ways_wait")));
    let found;
    try {
      found = (await ask("ways", { ...this.current(), line, column })).ways;
    } catch (error) {
      ways.replaceChildren(made("p", {}, error.message));
      return;
    }
    ways.replaceChildren(
      made("p", {}, text(found.length ? "ways_title" : "ways_none", { note })),
      ...ways_of(found, (way) => this.hear(way.text), (way) => {
        this.#close();
        this.take(way.text);
      }),
      made("p", { class: "tools" }, made("button", { type: "button", onclick: () => {
        this.#close();
        by_id("line").focus();
      } }, text("cancel"))));
    ways.querySelector("button")?.focus();
    ways.scrollIntoView({ block: "nearest" });
  }

  #close() {
    this.chosen = -1;
    by_id("ways").hidden = true;
    by_id("ways").replaceChildren();
    by_id("chosen").textContent = "";
  }
}
