/* Mistakes, and what there is to say about the bar one is in. */

import { by_id, made, sentence, text, ways_of } from "./words.js";

const HARD = ["problem", "covered", "masked", "hard"];

export class Notes {
  /* `remedies` asks what may help with a bar; `hear` plays it as it would be, `take` puts another text in the song's place. */
  constructor(writing, { remedies, hear, take }) {
    this.writing = writing;
    this.remedies = remedies;
    this.hear = hear;
    this.take = take;
    this.shown = "";
  }

  show(mistakes, other, place, bar, marks) {
    const wanted = JSON.stringify([mistakes, other, place, bar, marks]);
    if (wanted === this.shown) return;
    this.shown = wanted;
    const inside = [];
    const count = mistakes.length;
    inside.push(made("p", { id: "mistake-count", role: "status" },
      count || other ? (count === 1 ? text("mistakes_one") : count ? text("mistakes_many", { count }) : "") : text("all_well")));
    if (other) inside.push(made("div", { class: "note wrong" }, made("p", {}, other)));
    inside.push(...mistakes.map((each) => this.#mistake(each)));
    if (!count && place) {
      inside.push(made("h3", {}, place));
      if (!marks.length) inside.push(made("p", { class: "hint" }, text("no_marks")));
      inside.push(...marks.map((each) => made("div", { class: `note ${each.kind}` }, made("p", {}, ...sentence(each.text)))));
      if (marks.some((each) => HARD.includes(each.kind))) inside.push(this.#help(bar));
    }
    by_id("notes").replaceChildren(...inside);
  }

  #mistake(mistake) {
    const note = made("div", { class: "note wrong" });
    if (mistake.place) note.append(made("p", { class: "place" }, mistake.place));
    note.append(made("p", {}, ...sentence(mistake.message)));
    const written = mistake.edits.map((edit) => edit.text.trim()).join(" … ");
    if (mistake.edits.length) note.append(made("p", { class: "to-write" }, written || text("leave_out")));
    if (mistake.mend) note.append(made("p", {}, ...sentence(text("how", { text: mistake.mend }))));
    const tools = made("p", { class: "tools" });
    if (mistake.edits.length) tools.append(made("button", { type: "button", onclick: () => this.writing.apply(mistake.edits) }, text("write_this")));
    if (mistake.line) tools.append(made("button", { type: "button", onclick: () => this.writing.go_to(mistake.line, mistake.column) }, text("go_there")));
    note.append(tools);
    return note;
  }

  #help(bar) {
    const help = made("div", { class: "tools" });
    const button = made("button", { type: "button", onclick: async () => {
      help.replaceChildren(made("p", { class: "hint", role: "status" }, text("remedies_wait")));
      try {
        const { ways } = await this.remedies(bar);
        help.replaceChildren(
          made("p", { class: "hint", role: "status" }, text(ways.length ? "remedies" : "remedies_none")),
          ...ways_of(ways, (way) => this.hear(way.text, bar), (way) => this.take(way.text)));
        help.scrollIntoView({ block: "nearest" });
      } catch (error) {
        help.replaceChildren(made("p", {}, error.message));
      }
    } }, text("remedies"));
    help.append(button);
    return help;
  }
}
