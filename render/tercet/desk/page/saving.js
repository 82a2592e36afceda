/* Saved as one types. What is on the disk is only ever replaced where it is what this window saw last. */

import { Gone, Refused, ask, say_last } from "./asking.js";
import { by_id, made, text } from "./words.js";

const AFTER_MS = 300;
const AT_LATEST_MS = 800;
const TRY_AGAIN_MS = 1000;

export class Saving {
  /* `current` returns the text; `conflict` is called with what the file holds when somebody else changed it. */
  constructor({ current, conflict }) {
    this.current = current;
    this.conflict = conflict;
    this.name = null;
    this.seen = null;
    this.saved = "";
    this.paused = false;
    this.timer = 0;
    this.first_change = 0;
    this.busy = null;
    addEventListener("pagehide", () => this.#last_words());
    addEventListener("beforeunload", (event) => {
      if (this.unsaved && this.paused) event.preventDefault();
    });
  }

  /* A song is open: what its file holds, and which version that is. */
  opened(name, document_text, seen) {
    Object.assign(this, { name, seen, saved: document_text, paused: false, first_change: 0 });
    clearTimeout(this.timer);
    this.#show("saved");
  }

  get unsaved() {
    return this.name !== null && this.current() !== this.saved;
  }

  changed() {
    if (this.name === null || this.paused) return;
    const now = performance.now();
    this.first_change ||= now;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.now(), Math.max(0, Math.min(AFTER_MS, this.first_change + AT_LATEST_MS - now)));
    this.#show("saving");
  }

  /* Saves at once; returns when all that was written up to now is on the disk, or can't be. */
  async now() {
    clearTimeout(this.timer);
    await this.busy;
    if (this.paused) return;
    if (!this.unsaved) {
      if (this.name !== null) this.#show("saved");
      return;
    }
    this.busy = this.#save().finally(() => { this.busy = null; });
    await this.busy;
    if (this.unsaved && !this.paused && !this.timer) this.changed();
  }

  async #save() {
    const { name, seen } = this;
    const document_text = this.current();
    this.first_change = 0;
    this.timer = 0;
    try {
      const { version } = await ask("save", { name, text: document_text, seen });
      if (this.name !== name) return;
      this.seen = version;
      this.saved = document_text;
      this.#show(this.unsaved ? "saving" : "saved");
    } catch (error) {
      if (this.name !== name) return;
      if (error instanceof Gone) {
        this.#show("lost");
        this.timer = setTimeout(() => this.now(), TRY_AGAIN_MS);
      } else if (error instanceof Refused && "there" in error && error.there !== undefined) {
        this.paused = true;
        this.#show("not_saved");
        this.conflict(error.there);
      } else {
        this.#show("not_saved", error.message);
        this.timer = setTimeout(() => this.now(), TRY_AGAIN_MS);
      }
    }
  }

  /* The desk has gone, or is there again. */
  lost() {
    if (!this.paused) this.#show("lost");
  }

  back() {
    this.now();
  }

  /* Goes on after a conflict: `seen` is the version that may be replaced now. */
  go_on(document_text, seen) {
    this.seen = seen;
    this.saved = document_text;
    this.paused = false;
    this.#show("saved");
    if (this.unsaved) this.changed();
  }

  /* Where the desk has gone, the words go where the browser puts what it downloads. */
  #copy() {
    const address = URL.createObjectURL(new Blob([this.current()], { type: "application/yaml" }));
    made("a", { href: address, download: this.name.split("/").pop() }).click();
    setTimeout(() => URL.revokeObjectURL(address), 10000);
  }

  #last_words() {
    if (!this.unsaved) return;
    say_last(this.paused ? "draft" : "save", { name: this.name, text: this.current(), seen: this.seen });
  }

  #show(state, why = "") {
    const place = by_id("saved");
    const lost = state === "lost" || state === "not_saved";
    place.dataset.state = lost ? "lost" : state;
    const sentence = { saving: text("saving"), saved: text("saved"), not_saved: text("not_saved"), lost: text("stopped") }[state];
    const shown = why ? `${sentence}: ${why}` : sentence;
    if (place.firstChild?.textContent !== shown) place.replaceChildren(document.createTextNode(shown));
    if (state === "lost" && !place.querySelector("button")) {
      place.append(" ", made("button", { type: "button", onclick: () => this.#copy() }, text("save_copy")));
    }
  }
}
