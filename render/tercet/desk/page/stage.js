/* Front and back: each layer a line, near or far, and set by choosing. Far lines lie above, near ones below. */

import { by_id, made, text } from "./words.js";

const PLACES = ["front", "middle", "back", "out"];

export class Stage {
  /* `moved` is called with the places by layer. */
  constructor(moved) {
    this.moved = moved;
    this.places = new Map();
    this.shown = "";
  }

  show(layers) {
    const wanted = JSON.stringify(layers);
    if (wanted === this.shown) return;
    this.shown = wanted;
    this.layers = layers;
    for (const { name, natural } of layers) if (natural === "out") this.places.delete(name);
    const rows = [...layers].reverse().map((layer) => this.#row(layer));
    by_id("layers").replaceChildren(...rows);
    this.moved(layers, this.places);
  }

  #row({ name, natural }) {
    const rests = natural === "out";
    const place = this.places.get(name) || natural;
    const row = made("fieldset", { class: "layer", "data-layer": name, "data-place": place });
    const choices = PLACES.map((each) => made("label", {}, made("input", {
      type: "radio", name: `place-${name}`, value: each, checked: each === place, disabled: rests && each !== "out",
      onchange: () => {
        this.places.set(name, each);
        row.dataset.place = each;
        this.moved(this.layers, this.places);
      },
    }), text(`place_${each}`)));
    row.append(
      made("legend", { class: "unseen" }, text(`layer_${name}`)),
      made("span", { class: "name", "aria-hidden": "true", title: rests ? text("rests") : null }, text(`layer_${name}`)),
      made("div", { class: "thread", "aria-hidden": "true" }),
      made("div", { class: "places" }, ...choices),
    );
    return row;
  }
}
