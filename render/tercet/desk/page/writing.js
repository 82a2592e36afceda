/* The editor: text, rows in their colours, mistakes under the words, completion, and bars lined up when a line is left. */

import {
  Annotation, Decoration, EditorSelection, EditorState, EditorView, Prec, RangeSetBuilder, StateEffect, StateField,
  acceptCompletion, autocompletion, completionKeymap, defaultKeymap, drawSelection, highlightActiveLine, highlightSelectionMatches, highlightSpecialChars, history, historyKeymap,
  isolateHistory, keymap, lineNumbers, lintKeymap, nextDiagnostic, search, searchKeymap,
  setDiagnostics,
} from "./codemirror.js";
import { completions } from "./completing.js";
import { ROW, cell_span, row_colours } from "./rows.js";
import { by_id, text } from "./words.js";

const from_desk = Annotation.define();
const set_sounding = StateEffect.define();

const sounding = StateField.define({
  create: () => Decoration.none,
  update(ranges, transaction) {
    ranges = ranges.map(transaction.changes);
    for (const effect of transaction.effects) if (effect.is(set_sounding)) ranges = effect.value;
    return ranges;
  },
  provide: (field) => EditorView.decorations.from(field),
});
const set_marks = StateEffect.define();
const bar_marks = StateField.define({
  create: () => Decoration.none,
  update(ranges, transaction) {
    ranges = ranges.map(transaction.changes);
    for (const effect of transaction.effects) if (effect.is(set_marks)) ranges = effect.value;
    return ranges;
  },
  provide: (field) => EditorView.decorations.from(field),
});
const marks = { told: Decoration.mark({ class: "bar-told" }), hard: Decoration.mark({ class: "bar-hard" }) };
const sounds = Decoration.mark({ class: "sounding" });

/* What is typed over a selection: a browser left to itself keeps the look of what goes in an inline style, which the
   page's policy forbids. */
function type_over(event, view) {
  if (event.inputType !== "insertText" || !event.data || view.state.selection.main.empty || view.composing) return false;
  event.preventDefault();
  view.dispatch(view.state.replaceSelection(event.data), { userEvent: "input.type", scrollIntoView: true });
  return true;
}

export class Writing {
  /* `changed` is called with what a person changed, `moved` when the cursor does, `left` when a line of music is left. */
  constructor({ changed, moved, left, vocabulary, played }) {
    this.changed = changed;
    this.moved = moved;
    this.left = left;
    this.mistakes = [];
    this.line_was = 0;
    this.vocabulary = vocabulary;
    this.played = played;
    this.view = new EditorView({ parent: by_id("editor"), state: this.#state("") });
  }

  #state(document_text) {
    return EditorState.create({
      doc: document_text,
      extensions: [
        EditorView.cspNonce.of(document.querySelector("meta[name=style-number]").content),
        EditorView.contentAttributes.of({ "aria-label": text("writing_label"), spellcheck: "false", autocapitalize: "off", tabindex: "0" }),
        lineNumbers(),
        highlightSpecialChars(),
        highlightActiveLine(),
        highlightSelectionMatches(),
        history(),
        drawSelection(),
        search({ top: true }),
        EditorView.domEventHandlers({ beforeinput: type_over }),
        row_colours,
        sounding,
        bar_marks,
        autocompletion({ override: [(context) => completions(context, this.vocabulary())], icons: false, activateOnTyping: true, selectOnOpen: false }),
        Prec.high(keymap.of([
          { key: "Mod-Enter", run: () => (this.played(), true) },
          { key: "Mod-.", run: () => this.write_this() },
          { key: "Tab", run: acceptCompletion },
          { key: "F8", run: nextDiagnostic },
        ])),
        keymap.of([...completionKeymap, ...lintKeymap, ...searchKeymap, ...historyKeymap, ...defaultKeymap]),
        EditorView.updateListener.of((update) => this.#updated(update)),
      ],
    });
  }

  #updated(update) {
    if (update.docChanged && !update.transactions.some((each) => each.annotation(from_desk))) this.changed();
    if (!update.selectionSet && !update.docChanged) return;
    const line = this.cursor.line;
    if (line !== this.line_was && !update.docChanged) this.left(this.line_was, line);
    this.line_was = line;
    this.moved(update.docChanged);
  }

  get text() {
    return this.view.state.doc.toString();
  }

  get cursor() {
    const at = this.view.state.selection.main.head;
    const line = this.view.state.doc.lineAt(at);
    return { line: line.number, column: at - line.from + 1 };
  }

  /* The lines that are selected, the first and the last; null where nothing is. */
  get selected() {
    const { from, to, empty } = this.view.state.selection.main;
    if (empty) return null;
    const place = (at) => {
      const line = this.view.state.doc.lineAt(at);
      return { line: line.number, column: at - line.from + 1 };
    };
    return { from: place(from), to: place(to) };
  }

  line(number) {
    const count = this.view.state.doc.lines;
    return number >= 1 && number <= count ? this.view.state.doc.line(number).text : "";
  }

  /* The first and the last row of the line of music that a line is one of; where it is none, the last comes before the first. */
  rows_around(number) {
    let [first, last] = [number, number - 1];
    while (ROW.test(this.line(last + 1))) last += 1;
    if (last >= first) while (ROW.test(this.line(first - 1))) first -= 1;
    return [first, last];
  }

  /* A song is opened: nothing of the one before can be undone into it. */
  open(document_text) {
    this.view.setState(this.#state(document_text));
    this.mistakes = [];
  }

  /* What the desk changes while the song is open: one step, that undo takes back. */
  replace(document_text, { quiet = false } = {}) {
    const before = this.text;
    if (before === document_text) return;
    let from = 0;
    const most = Math.min(before.length, document_text.length);
    while (from < most && before[from] === document_text[from]) from += 1;
    let end = 0;
    while (end < most - from && before[before.length - 1 - end] === document_text[document_text.length - 1 - end]) end += 1;
    const changes = { from, to: before.length - end, insert: document_text.slice(from, document_text.length - end) };
    this.view.dispatch({ changes, annotations: quiet ? [from_desk.of(true), isolateHistory.of("full")] : [isolateHistory.of("full")] });
  }

  /* Changes as the desk writes them: lines and columns from 1. */
  apply(edits, { focus = true } = {}) {
    const doc = this.view.state.doc;
    const at = (line, column) => {
      const found = doc.line(Math.min(Math.max(line, 1), doc.lines));
      return Math.min(found.from + column - 1, found.to);
    };
    const changes = edits.map((edit) => ({
      from: at(edit.line, edit.column),
      to: Math.max(at(edit.end_line, edit.end_column), at(edit.line, edit.column)),
      insert: edit.text,
    }));
    const last = changes[changes.length - 1];
    this.view.dispatch({ changes, annotations: isolateHistory.of("full"), scrollIntoView: focus });
    if (!focus) return;
    const shift = changes.slice(0, -1).reduce((sum, each) => sum + each.insert.length - (each.to - each.from), 0);
    this.view.dispatch({ selection: EditorSelection.cursor(last.from + shift + last.insert.length) });
    this.view.focus();
  }

  go_to(line, column = 1) {
    const found = this.view.state.doc.line(Math.min(Math.max(line, 1), this.view.state.doc.lines));
    const at = Math.min(found.from + column - 1, found.to);
    this.view.dispatch({ selection: EditorSelection.cursor(at), effects: EditorView.scrollIntoView(at, { y: "center" }) });
    this.view.focus();
  }

  show_mistakes(mistakes) {
    this.mistakes = mistakes;
    const doc = this.view.state.doc;
    const diagnostics = mistakes.filter((each) => each.line > 0 && each.line <= doc.lines).map((each) => {
      const line = doc.line(each.line);
      const from = Math.min(line.from + Math.max(each.column - 1, 0), line.to);
      return {
        from,
        to: Math.max(Math.min(from + Math.max(each.width, 1), line.to), from),
        severity: "error",
        message: each.message + (each.mend ? `. ${text("how", { text: each.mend })}` : ""),
        actions: each.edits.length ? [{ name: text("write_this"), apply: () => this.apply(each.edits) }] : [],
      };
    });
    this.view.dispatch(setDiagnostics(this.view.state, diagnostics));
  }

  /* Mends the mistake under the cursor, or the next one after it that can be mended by one press. */
  write_this() {
    const { line, column } = this.cursor;
    const mendable = this.mistakes.filter((each) => each.edits.length);
    const next = mendable.find((each) => each.line > line || (each.line === line && each.column + each.width >= column));
    const chosen = next || mendable[0];
    if (!chosen) return false;
    this.apply(chosen.edits);
    return true;
  }

  /* Marks what sounds, places [line, column, width], and brings it into sight where `follows` says so. */
  show_sounding(places, follows = false) {
    const builder = new RangeSetBuilder();
    const doc = this.view.state.doc;
    const ranges = places
      .filter(([line]) => line >= 1 && line <= doc.lines)
      .map(([line, column, width]) => {
        const found = doc.line(line);
        const from = Math.min(found.from + column - 1, found.to);
        return [from, Math.min(from + width, found.to)];
      })
      .filter(([from, to]) => to > from)
      .sort((one, other) => one[0] - other[0] || one[1] - other[1]);
    let last = -1;
    for (const [from, to] of ranges) {
      if (from >= last) builder.add(from, to, sounds);
      last = Math.max(last, to);
    }
    const effects = [set_sounding.of(builder.finish())];
    if (follows && ranges.length && !this.#in_sight(ranges[0][0])) effects.push(EditorView.scrollIntoView(ranges[0][0], { y: "center" }));
    this.view.dispatch({ effects });
  }

  #in_sight(at) {
    const place = this.view.lineBlockAt(at);
    const { scrollTop, clientHeight } = this.view.scrollDOM;
    return place.top >= scrollTop && place.bottom <= scrollTop + clientHeight;
  }

  /* Marks bars that there is something to say about: places [line, from, to, kind]. */
  show_marks(places) {
    const builder = new RangeSetBuilder();
    const doc = this.view.state.doc;
    for (const [line, from, to, kind] of [...places].sort((one, other) => one[0] - other[0] || one[1] - other[1])) {
      if (line > doc.lines) continue;
      const found = doc.line(line);
      const text_there = found.text.slice(from, to);
      const start = found.from + from + (text_there.length - text_there.trimStart().length);
      const end = found.from + from + text_there.trimEnd().length;
      if (end > start) builder.add(start, end, marks[kind]);
    }
    this.view.dispatch({ effects: set_marks.of(builder.finish()) });
  }

  /* Puts the cursor at the first note of the tune. */
  go_to_music() {
    const doc = this.view.state.doc;
    for (let number = 1; number <= doc.lines; number += 1) {
      const row = ROW.exec(doc.line(number).text);
      if (row && row[2] === "melody") {
        const span = cell_span(doc.line(number).text, 0);
        this.go_to(number, span[0] + 1 + (doc.line(number).text.slice(span[0]).match(/^\s*/)[0].length));
        return;
      }
    }
    this.focus();
  }

  focus() {
    this.view.focus();
  }
}
