/* The board: two lines of the music for the whole room, without controls; Space, a pedal and the arrow keys play. */
(function (T, player) {
  "use strict";
  const { byId } = T;
  const board = byId("board");
  const lines = byId("board-lines");
  const drawings = [...document.querySelectorAll("#shapes > svg")];
  const NAME_PART = 46 / 216;
  const NEAR_MS = 1500;
  const STIRRED_MS = 2500;
  let view = null;
  let rows = [];
  let shown = "";
  let calm = 0;

  const opened = () => document.body.classList.contains("boarded");

  /* The lines of the wide music once more, under names of their own; what sounds at this moment isn't copied as a mark. */
  function build() {
    T.markNotes([]);
    const { whose } = document.querySelector(".music").dataset;
    const part = whose || "song";
    const wide = ".wide" + (whose ? '[data-part="' + part + '"]' : "");
    T.wholeMusic(wide);
    const source = document.querySelector(wide);
    const own = (name) => name.replace(/^(#?)w2?-/, "$1b-");
    const copies = [...source.querySelectorAll(":scope > svg")].map((svg) => svg.cloneNode(true));
    copies.forEach((copy) => {
      copy.querySelectorAll("[id]").forEach((each) => { each.id = own(each.id); });
      copy.querySelectorAll("use").forEach((each) => each.setAttribute("href", own(each.getAttribute("href"))));
    });
    rows = copies.filter((copy) => copy.matches(".system")).map((svg) => {
      const row = document.createElement("div");
      const shapes = document.createElement("div");
      row.className = "row";
      shapes.className = "shapes";
      row.append(shapes, svg);
      const names = [...svg.querySelectorAll(".measure")].map((measure) => measure.id.slice(2));
      return { row: row, shapes: shapes, svg: svg, box: svg.getAttribute("viewBox"), names: names };
    });
    lines.replaceChildren(...copies.filter((copy) => !copy.matches(".system")), ...rows.map(({ row }) => row));
    view = T.boardView(lines, "b-", part);
    shown = "";
  }

  /* A bar whose end is printed as the pick-up of another line belongs to the line in which it begins. */
  const rowOf = (bar) => rows.findIndex(({ names }) => names.includes(view.score.printed[bar][0]));

  /* The bar at which the next other line begins. */
  function upNext(bar) {
    const { loop } = player;
    const here = rowOf(bar);
    for (let step = 1, at = bar; step < T.page.bars.length; step += 1) {
      at += 1;
      if (loop && at > loop.last) at = loop.first;
      if (at >= T.page.bars.length) return -1;
      if (rowOf(at) !== here) return at;
    }
    return -1;
  }

  /* The notes of a line as it is played from a bar on. */
  function notesFrom(bar) {
    let last = bar;
    while (last + 1 < T.page.bars.length && rowOf(last + 1) === rowOf(bar)) last += 1;
    return T.page.notes.map((_, note) => note).filter((note) => T.page.notes[note][0] >= bar && T.page.notes[note][0] <= last);
  }

  function extent(elements) {
    const boxes = elements.map((element) => element.getBBox());
    return { top: Math.min(...boxes.map((box) => box.y)), bottom: Math.max(...boxes.map((box) => box.y + box.height)) };
  }

  /* One verse above the tab, chords right above it: what stands between them on paper is left out. */
  function squeeze({ svg, box }, notes) {
    const all = [...svg.querySelectorAll(".syl")].filter((syllable) => syllable.querySelector(".word"));
    const verseOf = (name) => (/v(\d+)$/.exec(name) || [])[1];
    const sung = new Set(notes.flatMap((note) => view.score.marks[note]).map(verseOf).filter(Boolean));
    all.forEach((syllable) => {
      syllable.classList.toggle("silent", sung.size > 0 && !sung.has(verseOf(syllable.id)));
      syllable.removeAttribute("transform");
    });
    const words = all.filter((syllable) => !syllable.matches(".silent"));
    const tab = extent([...svg.querySelectorAll(".measure > .staff:nth-child(2)")]);
    let { top } = tab;
    if (words.length) {
      const now = extent(words);
      const lower = extent(all).bottom - now.bottom;
      words.forEach((syllable) => syllable.setAttribute("transform", "translate(0 " + lower + ")"));
      top = now.top + lower;
    }
    const chords = [...svg.querySelectorAll("text.chord")];
    chords.forEach((chord) => chord.removeAttribute("transform"));
    if (chords.length) {
      const now = extent(chords);
      chords.forEach((chord) => chord.setAttribute("transform", "translate(0 " + (top - now.bottom) + ")"));
      top -= now.bottom - now.top;
    }
    const strums = [...svg.querySelectorAll("text.strum")];
    const bottom = Math.max(tab.bottom, strums.length ? extent(strums).bottom : 0);
    const [left, , width] = box.split(" ").map(Number);
    svg.setAttribute("viewBox", [left, top, width, bottom - top].join(" "));
  }

  /* A diagram without its name on top: the chord stands below it. */
  function unnamed(drawing) {
    const [left, top, width, height] = drawing.getAttribute("viewBox").split(" ").map(Number);
    const rest = height * (1 - NAME_PART);
    drawing.setAttribute("viewBox", [left, top + height - rest, width, rest].join(" "));
    drawing.setAttribute("height", rest);
    return drawing;
  }

  /* Each shape above the moment at which it is taken. */
  function placeShapes({ shapes, svg }, notes) {
    const frame = svg.getBoundingClientRect();
    let before = -1;
    let free = 0;
    shapes.replaceChildren();
    notes.forEach((note) => {
      const [bar, , , gesture] = T.page.notes[note];
      const place = T.page.gestures[gesture];
      const shape = place < 0 ? -1 : T.page.lines[T.page.bars[bar].line].shapes[place];
      const mark = byId("b-" + view.score.marks[note][0]);
      if (shape < 0 || shape === before || !mark) return;
      const drawing = unnamed(drawings[shape].cloneNode(true));
      shapes.append(drawing);
      const wide = drawing.getBoundingClientRect().width;
      const box = mark.getBoundingClientRect();
      const left = Math.max(free, (box.left + box.right - wide) / 2 - frame.left);
      if (left + wide > frame.width + 1) {
        drawing.remove();
        return;
      }
      drawing.style.left = (100 * left) / frame.width + "%";
      free = left + wide;
      before = shape;
    });
  }

  function fill(index, bar, order) {
    const row = rows[index];
    row.row.hidden = false;
    row.row.style.order = String(order);
    const notes = notesFrom(bar);
    squeeze(row, notes);
    placeShapes(row, notes);
  }

  /* The line that is played stays where it is; the one that comes next takes the other place. */
  function show(bar) {
    const here = rowOf(bar);
    const next = upNext(bar);
    const wanted = [here, next, T.page.bars[bar].pass].join();
    rows.forEach(({ row }, index) => row.classList.toggle("playing", index === here));
    if (wanted === shown) return;
    shown = wanted;
    const order = rows[here].row.hidden ? 0 : Number(rows[here].row.style.order);
    rows.forEach(({ row }, index) => { row.hidden = index !== here && (next < 0 || index !== rowOf(next)); });
    let from = bar;
    while (from > 0 && rowOf(from - 1) === here && T.page.bars[from - 1].pass === T.page.bars[bar].pass) from -= 1;
    fill(here, from, order);
    if (next >= 0) fill(rowOf(next), next, 1 - order);
  }

  const markBar = T.markBar;
  T.markBar = (bar) => {
    markBar(bar);
    if (!opened() || bar < 0) return;
    show(bar);
    byId("board-where").textContent = T.page.visits.find((one) => bar <= one.last).name;
    lines.querySelectorAll(".here").forEach((each) => each.classList.remove("here"));
    view.score.printed[bar].forEach((name) => { if (byId("b-" + name)) byId("b-" + name).classList.add("here"); });
  };

  function enter() {
    document.body.classList.add("boarded");
    board.hidden = false;
    build();
    board.focus();
    player.tell();
  }

  function leave() {
    if (!opened()) return;
    document.body.classList.remove("boarded");
    board.hidden = true;
    T.boardView(null);
    if (document.fullscreenElement) document.exitFullscreen();
    window.dispatchEvent(new Event("resize"));
    player.tell();
    byId("to-board").focus();
  }

  /* Keys */

  /* To the next phrase, or back: to where this one began, or, from near there, to the one before. */
  function goPhrase(by, near) {
    const starts = T.page.phrases.map((note) => player.speed.onset[note] - 4).filter((ms) => ms > -4);
    const { ms } = player.position();
    const at = T.lastUpTo(starts, ms + 1);
    const again = by < 0 && at >= 0 && ms - starts[at] > near;
    const wanted = starts[again ? at : Math.max(0, at + by)];
    if (wanted !== undefined) player.go(wanted);
  }

  function forward() {
    if (player.state === "playing") goPhrase(1, 0); else T.toggle();
  }

  /* Back to where the phrase begins, and wait there; from there to the one before. */
  function back() {
    const playing = player.state !== "still";
    if (playing) player.halt();
    goPhrase(-1, playing ? -1 : NEAR_MS);
  }

  const KEYS = {
    " ": () => T.playOrPause(), PageDown: forward, ArrowDown: forward, PageUp: back, ArrowUp: back,
    ArrowRight: () => goPhrase(1, 0), ArrowLeft: () => goPhrase(-1, NEAR_MS), Escape: leave,
  };

  document.addEventListener("keydown", (event) => {
    if (!opened() || !Object.hasOwn(KEYS, event.key) || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key === " " && event.target === byId("from-board")) return;
    event.preventDefault();
    event.stopPropagation();
    if (!event.repeat) KEYS[event.key]();
  }, true);

  board.addEventListener("click", (event) => { if (event.target !== byId("from-board")) T.playOrPause(); });
  board.addEventListener("pointermove", () => {
    board.classList.add("stirred");
    clearTimeout(calm);
    calm = setTimeout(() => board.classList.remove("stirred"), STIRRED_MS);
  });
  player.heard.push(() => {
    if (!opened() || player.state !== "lost") return;
    byId("board-turn").dataset.whose = "nobody";
    byId("board-turn").textContent = T.text("lost");
  });
  byId("to-board").addEventListener("click", () => {
    enter();
    if (document.documentElement.requestFullscreen) document.documentElement.requestFullscreen().catch(() => {});
  });
  byId("from-board").addEventListener("click", leave);
  document.addEventListener("fullscreenchange", () => { if (!document.fullscreenElement) leave(); });
  window.addEventListener("resize", () => {
    if (!opened()) return;
    shown = "";
    player.tell();
  });
  T.later(() => { if (location.hash === "#board") enter(); else player.tell(); });
})(window.Tercet, window.Tercet.player);
