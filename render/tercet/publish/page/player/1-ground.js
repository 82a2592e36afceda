/* What all parts share: the song's facts, the page's words, and places in time. */
window.Tercet = (function () {
  "use strict";
  const byId = (id) => document.getElementById(id);
  const { page, kept } = window.TercetSet;

  /* What was chosen for this song alone. */
  const songs = () => kept.plain(kept.read().songs);
  kept.song = () => kept.plain(songs()[page.song]);
  kept.writeSong = (name, value) => kept.write("songs", { ...songs(), [page.song]: { ...kept.song(), [name]: value } });
  const handed = new Map();

  /* What no press needs waits until the page has been seen once, or for the first press. */
  const waiting = [];
  const begin = () => waiting.splice(0).forEach((run) => run());
  ["pointerdown", "keydown", "click"].forEach((kind) => window.addEventListener(kind, begin, true));
  requestAnimationFrame(() => setTimeout(begin));

  /* The words of the page, from the one table that a translator changes. */
  function text(key, values) {
    return page.text[key].replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
  }

  function clock(ms) {
    const seconds = Math.max(0, Math.floor(ms / 1000));
    return Math.floor(seconds / 60) + ":" + String(seconds % 60).padStart(2, "0");
  }

  /* Index of the last value that isn't above `wanted`, or -1. */
  function lastUpTo(values, wanted) {
    let low = 0;
    let high = values.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (values[middle] <= wanted) low = middle + 1; else high = middle;
    }
    return low - 1;
  }

  /* The song at one speed. All times are milliseconds of its stems. */
  class Speed {
    constructor(facts, notes) {
      this.name = facts.name;
      this.percent = facts.percent;
      this.length = facts.length;
      this.bars = facts.bars;
      this.count = facts.count;
      this.peaks = facts.peaks;
      this.pieces = facts.pieces;
      this.onset = facts.onset;
      this.end = facts.end;
      this.pulses = page.pulses.flatMap((parts, bar) => parts.map(([part, first]) => [this.at({ bar: bar, part: part }), first]));
      this.played = facts.played;
      this.gain = facts.gain || 1;
      this.order = facts.onset.map((_, note) => note).filter((note) => facts.onset[note] >= 0);
      this.order.sort((one, other) => facts.onset[one] - facts.onset[other]);
      this.struck = this.order.map((note) => facts.onset[note]);
      this.longest = this.order.reduce((most, note) => Math.max(most, facts.end[note] - facts.onset[note]), 0);
      this.first = facts.bars.map((bar) => bar[0]);
      notes.forEach((note, index) => {
        if (facts.onset[index] >= 0) this.first[note[0]] = Math.min(this.first[note[0]], facts.onset[index] - 4);
      });
    }

    /* A roll that begins before the bar line belongs to what it leads into. */
    barAt(ms) {
      return Math.max(0, lastUpTo(this.first, ms + 1));
    }

    /* Where to begin for a bar to be heard whole: a roll on its first beat begins before it. */
    startOf(bar) {
      return Math.max(0, this.first[bar]);
    }

    /* Where a bar is over: before a roll that belongs to the next one. */
    endOf(bar) {
      return bar + 1 < this.bars.length ? this.first[bar + 1] : this.length;
    }

    /* A place that means the same at every speed: bar and how far into it. */
    placeOf(ms) {
      const bar = this.barAt(ms);
      const [start, end] = this.bars[bar];
      return { bar: bar, part: (ms - start) / (end - start) };
    }

    at(place) {
      const [start, end] = this.bars[place.bar];
      return Math.min(Math.max(start + place.part * (end - start), 0), this.length);
    }

    /* The notes that sound, in the order struck. */
    soundingAt(ms) {
      const found = [];
      for (let index = lastUpTo(this.struck, ms); index >= 0; index -= 1) {
        if (this.struck[index] < ms - this.longest) break;
        if (this.end[this.order[index]] > ms) found.push(this.order[index]);
      }
      return found.reverse();
    }

    /* How many notes have been struck, and the last of them. */
    struckBy(ms) {
      return lastUpTo(this.struck, ms);
    }
  }

  /* A speed by its percent: as it was recorded, or worked out from the take. */
  const speeds = new Map();

  function speedOf(percent) {
    if (!speeds.has(percent)) {
      const facts = window.Tercet.speedFacts ? window.Tercet.speedFacts(percent) : page.speeds.find((one) => one.percent === percent);
      speeds.set(percent, new Speed(facts, page.notes));
    }
    return speeds.get(percent);
  }

  return {
    page: page,
    sound: window.TercetSet.sound,
    later: (run) => waiting.push(run),
    byId: byId,
    speedOf: speedOf,
    handed: handed,
    hand: (name, data) => handed.set(name, data),
    text: text,
    clock: clock,
    lastUpTo: lastUpTo,
    kept: kept,
    press: (button, on) => button.setAttribute("aria-pressed", String(Boolean(on))),
    silence: { kit: () => {}, stems: () => {} },
    kitPlays: () => false,
    kitToggles: () => false,
    showOnMap: () => {},
    calm: () => matchMedia("(prefers-reduced-motion: reduce)").matches,
  };
})();
