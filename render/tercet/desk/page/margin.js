/* What lies beside the song: one slip of paper at a time. */

import { by_id } from "./words.js";

const NAMES = ["notes", "about", "advice", "make", "yours", "versions", "keys", "songs", "both"];

export class Margin {
  constructor(opened) {
    this.opened = opened;
    this.name = "notes";
    for (const button of document.querySelectorAll("button.slip")) {
      button.addEventListener("click", () => this.show(button.dataset.slip, { focus: true }));
    }
    by_id("margin").addEventListener("keydown", (event) => {
      if (event.key === "Escape" && this.name !== "both") {
        this.show("notes");
        this.closed?.();
      }
    });
  }

  show(name, { focus = false } = {}) {
    this.name = name;
    for (const each of NAMES) by_id(`slip-${each}`).hidden = each !== name;
    for (const button of document.querySelectorAll("button.slip")) {
      button.setAttribute("aria-pressed", String(button.dataset.slip === name));
    }
    by_id("songs-open").setAttribute("aria-expanded", String(name === "songs"));
    this.opened(name);
    if (focus) by_id("margin").focus();
  }
}
