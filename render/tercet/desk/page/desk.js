/* The desk: what happens when. */

import { About } from "./about.js";
import { Advice } from "./advice.js";
import { Gone, Refused, ask, listen, window_id } from "./asking.js";
import { Hearing } from "./hearing.js";
import { Making } from "./making.js";
import { Margin } from "./margin.js";
import { Notes } from "./notes.js";
import { cell_at, cell_span } from "./rows.js";
import { Saving } from "./saving.js";
import { Seeing } from "./seeing.js";
import { Sheet } from "./sheet.js";
import { Songs } from "./songs.js";
import { Stage } from "./stage.js";
import { Versions } from "./versions.js";
import { Writing } from "./writing.js";
import { Yours } from "./yours.js";
import { by_id, made, sentence, tell, text } from "./words.js";

const LOOK_AFTER_MS = 15;
const MARK_AFTER_MS = 400;
const HAND_MS = 4000;

const state = { name: null, view: null, mistakes: [], other: "", vocabulary: null, looking: null, again: false, looked: "", hand_ms: -HAND_MS, tidied: "" };

const writing = new Writing({
  changed: () => { saving.changed(); look_soon(); },
  moved: (changed) => moved(changed),
  left: (from, to) => left(from, to),
  vocabulary: () => state.vocabulary,
  played: () => play_or_stop(),
});
const saving = new Saving({ current: () => writing.text, conflict: (there) => both(there, "both_hint") });
const stage = new Stage((layers, places) => hearing.set_layers(layers, places));
const notes = new Notes(writing, { remedies: (bar) => ask("remedies", { ...song(), bar }), hear: (moved, bar) => hear_other(moved, bar), take: (moved) => take(moved) });
const seeing = new Seeing({ current: song, go_to: (line, column) => writing.go_to(line, column), hear: (moved) => hear_other(moved, bar_here()), take: (moved) => take(moved) });
const sheet = new Sheet({ current: song, go_to: (bar) => go_to_bar(bar) });
const about = new About({ current: () => writing.text, mistakes: () => state.mistakes, apply: (edits) => writing.apply(edits, { focus: false }) });
const advice = new Advice({ current: song, hear: (moved) => hearing.play(0, null, { other_text: moved }), take: (moved) => take(moved) });
const versions = new Versions({ current: () => ({ name: state.name, text: writing.text }), restore });
const songs = new Songs({ open, write_new });
const making = new Making({ current: () => state.name ?? "", ready: async () => { await saving.now(); return state.name; } });
const margin = new Margin((name) => {
  const show = { about: () => about.show(), advice: () => advice.show(), songs: () => songs.show(), versions: () => versions.show(), make: () => making.show(), yours: () => yours.show(stage.layers ?? []), keys: show_help }[name];
  show?.();
});
margin.closed = () => writing.focus();
songs.remarked = () => margin.show("songs", { focus: true });
const hearing = new Hearing({
  wanted: () => ({ ...song(), speed: speed(), flat: by_id("flat").checked }),
  told: (what) => played(what),
  failed: (error) => tell(error.message),
});

const yours = new Yours({
  current: song,
  view: () => state.view,
  hearing,
  count_in_bars: () => Number(by_id("count").value),
  set_speed: (percent) => { by_id("speed").value = String(percent); },
  go_to: (bar) => go_to_bar(bar),
});

/* What is asked about: the song as it stands in this window. */
function song() {
  return { name: state.name, text: writing.text };
}

/* Another text in the song's place: one step, that undo takes back. */
function take(other) {
  const { line, column } = writing.cursor;
  writing.replace(other);
  writing.go_to(line, column);
  if (margin.name === "advice") advice.show();
}

/* ---- what is seen */

let looking_timer = 0;

function look_soon() {
  clearTimeout(looking_timer);
  looking_timer = setTimeout(look, LOOK_AFTER_MS);
}

async function look() {
  if (state.looking) {
    state.again = true;
    return;
  }
  const document_text = writing.text;
  const { line, column } = writing.cursor;
  const edited = document_text !== state.looked;
  state.looking = (async () => {
    if (edited && by_id("each-change").checked && state.looked && document_text !== state.tidied) hear_change();
    const seen = await ask("look", { name: state.name, text: document_text, line, column });
    state.looked = document_text;
    if (writing.text !== document_text) state.again = true;
    state.mistakes = seen.mistakes;
    state.other = seen.error;
    writing.show_mistakes(seen.mistakes);
    if (seen.song) {
      state.view = seen.song;
      stage.show(seen.song.layers);
      yours.show(seen.song.layers);
      by_id("song-title").textContent = seen.song.title;
      document.title = `${seen.song.title} – ${text("desk_title")}`;
    }
    if (seen.song && edited) mark_soon();
    if (!by_id("slip-about").hidden) about.show();
    if ((seen.song || !seen.mistakes.length) && !follows()) seeing.show(seen.music);
    by_id("before").hidden = Boolean(seen.song) || !seeing.music;
    if (seen.mistakes.length) writing.show_marks([]);
    sheet.changed();
    show_notes();
  })();
  try {
    await state.looking;
  } finally {
    state.looking = null;
    if (state.again) {
      state.again = false;
      look_soon();
    }
  }
}

let marking_timer = 0;

/* What there is to say about bars is asked for when nobody types. */
function mark_soon() {
  clearTimeout(marking_timer);
  marking_timer = setTimeout(mark, MARK_AFTER_MS);
}

async function mark() {
  const asked = song();
  const { marks, layers } = await ask("marks", asked);
  if (writing.text !== asked.text) return;
  state.marks = marks;
  if (layers.length) stage.show(layers);
  writing.show_marks(marked_places());
  show_notes();
}

function show_notes() {
  const bar = bar_here();
  const here = bar === null || !state.view ? null : state.view.bars[bar];
  const place = here === null ? "" : text(here.number ? "here" : "pickup_here", { bar: here.number, section: here.section });
  notes.show(state.mistakes, state.other, place, bar, (state.marks && bar !== null && state.marks[bar]) || []);
}

/* Index of the bar, as first played, in which the cursor stands; null elsewhere. */
function bar_at({ line, column }) {
  if (!state.view) return null;
  const found = state.view.lines.find((each) => line >= each.from_line && line <= each.to_line);
  if (!found) return null;
  const cell = cell_at(writing.line(line), column - 1) ?? 0;
  return found.bars[Math.min(cell, found.bars.length - 1)] ?? null;
}

/* Puts the cursor at the start of a bar of the tune. */
function go_to_bar(bar) {
  const { section } = state.view.bars[bar];
  const found = state.view.lines.find((each) => each.section === section && each.bars.includes(bar))
    || state.view.lines.find((each) => each.section === section);
  if (!found) return;
  for (let line = found.from_line; line <= found.to_line; line += 1) {
    const span = /^\s*melody/.test(writing.line(line)) ? cell_span(writing.line(line), Math.max(found.bars.indexOf(bar), 0)) : null;
    if (span) {
      writing.go_to(line, span[0] + 2);
      return;
    }
  }
  writing.go_to(found.from_line);
}

/* Where bars that something is to be said of lie in the text: [line, from, to, kind]. */
function marked_places() {
  if (!state.view || !state.marks) return [];
  return state.view.lines.flatMap((each) => each.bars.flatMap((bar, cell) => {
    const kinds = (state.marks[bar] || []).map((mark) => mark.kind).filter((kind) => kind !== "shape");
    if (!kinds.length) return [];
    for (let line = each.from_line; line <= each.to_line; line += 1) {
      if (!/^\s*melody(\s|$)/.test(writing.line(line))) continue;
      const span = cell_span(writing.line(line), cell);
      return span ? [[line, span[0], span[1], kinds.some((kind) => kind !== "hard") ? "told" : "hard"]] : [];
    }
    return [];
  }));
}

function bar_here() {
  return bar_at(writing.cursor);
}

let line_key = "";

function moved(changed) {
  state.hand_ms = performance.now();
  if (changed) return;
  show_notes();
  const found = state.view?.lines.find((each) => writing.cursor.line >= each.from_line && writing.cursor.line <= each.to_line);
  const key = found ? `${found.section}/${found.line}` : "";
  if (key !== line_key && found) look_soon();
  line_key = key;
}

async function left(from, to) {
  const [first, last] = writing.rows_around(from);
  if (first > last || (to >= first && to <= last) || writing.selected) return;
  const before = writing.text;
  const { text: tidy } = await ask("tidy", { text: before, from_line: first, to_line: last });
  if (tidy === before || writing.text !== before || writing.selected) return;
  state.tidied = tidy;
  writing.replace(tidy);
}

/* ---- what is heard */

function speed() {
  const percent = Number(by_id("speed").value) || 100;
  return Math.min(Math.max(percent, 25), 200);
}

function play_or_stop() {
  if (hearing.playing) {
    hearing.stop();
    return;
  }
  if (!state.view) return;
  const selected = writing.selected;
  const again = by_id("again").checked;
  const count_in_bars = Number(by_id("count").value);
  if (selected) {
    const first = bar_at(selected.from);
    const last = bar_at(selected.to);
    if (first !== null && last !== null) {
      hearing.play(first, Math.max(first, last), { again, count_in_bars });
      return;
    }
  }
  hearing.play(bar_here() ?? 0, null, { again, count_in_bars });
}

/* A bar as it would be in another text. */
function hear_other(moved, bar) {
  if (bar !== null) hearing.play(bar, bar, { other_text: moved });
}

/* The bar one is in, as soon as it has changed: asked for before the desk is asked what there is to see. */
function hear_change() {
  const bar = bar_here();
  if (bar !== null) hearing.play(bar, bar, { quiet: true });
}

/* With front and back, or without: what is playing goes on in the other way. */
function flat_changed() {
  const now = hearing.playing ? hearing.now() : null;
  const { to_bar, again, loop_from, other_text } = hearing.run ?? {};
  if (now && now.bar !== null) hearing.play(now.bar, to_bar, { again, loop_from, other_text });
}

let frame = 0;

function played(what) {
  yours.played(what);
  const button = by_id("play");
  button.setAttribute("aria-pressed", String(hearing.playing));
  button.querySelector(".does").textContent = text(hearing.playing ? "stop" : "play");
  if (what === "begins") {
    if (hearing.run.other_text !== null) mark_nothing();
    cancelAnimationFrame(frame);
    frame = requestAnimationFrame(follow);
  }
  if (what === "ends") {
    mark_nothing();
    by_id("where").textContent = "";
    look_soon();
  }
}

function mark_nothing() {
  writing.show_sounding([]);
  seeing.sound([]);
  sheet.sound([]);
  sounding = "";
}

/* Text and music go along with the sound, unless a hand has been at the text a moment ago. */
function follows() {
  return hearing.playing && performance.now() - state.hand_ms > HAND_MS;
}

for (const kind of ["wheel", "pointerdown", "keydown"]) by_id("writing").addEventListener(kind, () => { state.hand_ms = performance.now(); }, { passive: true });

let turning = false;

/* Shows the line of music of a bar, as it is played there. */
async function turn_to(bar) {
  if (bar === null || turning || seeing.holds(bar) || !follows()) return;
  turning = true;
  try {
    const { music } = await ask("music", { ...song(), bar });
    if (music && hearing.playing) seeing.show(music);
    sounding = "";
  } finally {
    turning = false;
  }
}

let sounding = "";

function follow() {
  if (!hearing.playing) return;
  frame = requestAnimationFrame(follow);
  const now = hearing.now();
  if (!now || !state.view) return;
  if (hearing.run.other_text !== null) {
    say_where(text("where_other"));
    return;
  }
  turn_to(now.bar);
  const places = now.notes.map(([, , , , line, column, width]) => [line, column, width]);
  const names = now.notes.map(([, , gesture, string]) => `${gesture}/${string}`);
  const wanted = JSON.stringify([now.bar, places, names]);
  if (wanted === sounding) return;
  sounding = wanted;
  writing.show_sounding(places.filter(([line]) => line > 0), follows());
  seeing.sound(names);
  sheet.sound(names, follows());
  const bar = state.view.bars[now.bar];
  if (bar) {
    say_where(text(bar.number ? "where" : "where_pickup", { bar: bar.number, bars: state.view.bars[state.view.bars.length - 1].number, section: bar.section }));
  }
}

/* Only what is new is said: it is read out. */
function say_where(shown) {
  if (by_id("where").textContent !== shown) by_id("where").textContent = shown;
}

/* ---- songs */

async function open(name) {
  await saving.now();
  hearing.stop();
  const opened = await ask("open", { name });
  state.name = name;
  yours.song_changes();
  state.looked = "";
  state.view = null;
  state.marks = null;
  writing.open(opened.text);
  saving.opened(name, opened.text, opened.version);
  by_id("song-title").textContent = name.replace(/\.ya?ml$/, "");
  margin.show("notes");
  writing.go_to_music();
  state.vocabulary = await ask("words", { text: opened.text });
  about.draw(state.vocabulary.settings);
  look_soon();
  if (opened.draft !== null && opened.draft !== opened.text) await both(opened, "both_draft", opened.draft);
}

async function write_new(name, document_text) {
  await ask("save", { name, text: document_text, seen: null });
  await open(name);
}

async function restore(document_text, date) {
  await ask("keep", { name: state.name });
  writing.replace(document_text);
  await saving.now();
  tell(text("restored", { date }));
  versions.show();
}

/* The file holds something else than this window saw last, or a draft waits: both are shown, and the writer chooses. What
   gives way is kept among the versions. */
async function both(there, hint, draft = null) {
  margin.show("both", { focus: true });
  const question = text(there === null ? "both_gone" : hint, { name: state.name });
  const chosen = await versions.choose(question, draft ?? writing.text, there && there.text);
  const mine = draft ?? writing.text;
  await ask("keep", { name: state.name, text: chosen === "mine" ? null : mine });
  writing.replace(chosen === "mine" ? mine : there.text, { quiet: true });
  saving.go_on(there ? there.text : "", there ? there.version : null);
  margin.show("notes");
  writing.focus();
  look_soon();
}

async function changed({ name, version, by }) {
  if (name !== state.name || by === window_id || version === saving.seen || saving.paused) return;
  await saving.busy;
  if (version === saving.seen) return;
  let there = null;
  try {
    there = await ask("open", { name });
  } catch {
    there = null;
  }
  if (there && there.version === saving.seen) return;
  if (there && by && !saving.unsaved) {
    writing.replace(there.text, { quiet: true });
    saving.opened(name, there.text, there.version);
    look_soon();
    return;
  }
  saving.paused = true;
  await both(there, "both_hint");
}

/* ---- help */

function show_help() {
  const part = (title, names) => [made("h3", {}, text(title)), made("dl", { class: "help" }, ...names.flatMap((name) => [
    made("dt", {}, ...sentence(text(`${name}_is`))), made("dd", {}, ...sentence(text(name)))]))];
  by_id("keys").replaceChildren(
    ...part("help_layers", ["help_melody", "help_between", "help_strums"]),
    ...part("help_writing", ["help_note", "help_length", "help_rest", "help_hold", "help_bar", "help_words", "help_marked"]),
    ...part("help_keys", ["help_play", "help_space", "help_flat", "help_mend", "help_next", "help_find", "help_escape"]),
    made("p", { class: "hint" }, text("care")));
}

/* ---- the window */

by_id("play").addEventListener("click", play_or_stop);
by_id("flat").addEventListener("change", flat_changed);
by_id("sheet-open").addEventListener("click", () => sheet.toggle());
by_id("songs-open").addEventListener("click", () => margin.show(margin.name === "songs" ? "notes" : "songs", { focus: true }));
document.addEventListener("keydown", (event) => {
  const typed = event.target.closest?.("input, select, textarea, button, [contenteditable=true]");
  if (event.key === " " && !typed) {
    event.preventDefault();
    play_or_stop();
  }
  if (event.key === "Escape" && hearing.playing) hearing.stop();
  if (event.key === "F9") {
    event.preventDefault();
    by_id("flat").checked = !by_id("flat").checked;
    if (hearing.playing) flat_changed();
    else play_or_stop();
  }
});

/* What the desk refuses is said; that it doesn't answer any more is said where it is saved. */
addEventListener("unhandledrejection", (event) => {
  if (!(event.reason instanceof Gone || event.reason instanceof Refused)) return;
  event.preventDefault();
  if (event.reason instanceof Refused) tell(event.reason.message);
});

listen({ changed, making: (event) => making.heard(event), behind: () => look_soon(), lost: () => saving.lost(), back: () => saving.back() });

const { songs: there } = await ask("songs");
if (there.length) await open(there[0].name);
else margin.show("songs", { focus: true });
