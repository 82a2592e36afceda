/* What the editor knows of an arrangement file: rows, bar lines, settings. It tells them apart by their looks alone; what is
   right and what is wrong only the desk knows. */

import { Decoration, RangeSetBuilder, ViewPlugin } from "./codemirror.js";

export const ROW = /^(\s*)(chords|melody|between|strum|words|marks)((?:\s+(?:\d+|last))*)(?=\s|$)/;
const SETTING = /^([A-Za-z][\w -]*)(:)/;
const SECTION = /^(\s+)([\p{L}][\w-]*)(:)\s*\|?[-+]?\s*$/u;
const REMARK = /(^|\s)#(?![A-G]).*$/;

const mark = (name) => Decoration.mark({ class: name });
const marks = new Map();

function marked(name) {
  if (!marks.has(name)) marks.set(name, mark(name));
  return marks.get(name);
}

/* The pieces of one line: [from, to, class] in rising order. */
export function pieces_of(line) {
  const row = ROW.exec(line);
  if (row) return row_pieces(line, row);
  if (/^\s*#/.test(line)) return [[0, line.length, "remark"]];
  const setting = SETTING.exec(line) || SECTION.exec(line);
  if (!setting) return [];
  const start = line.length - line.trimStart().length;
  const found = [[start, line.indexOf(":") + 1, "setting"]];
  const remark = REMARK.exec(line.slice(found[0][1]));
  if (remark) found.push([found[0][1] + remark.index, line.length, "remark"]);
  return found;
}

function row_pieces(line, row) {
  const name = `row-${row[2]}`;
  const found = [[row[1].length, row[0].length, `${name} row-name`]];
  let from = row[0].length;
  for (let at = from; at <= line.length; at += 1) {
    if (at === line.length || line[at] === "|") {
      if (at > from) found.push([from, at, `${name} row-text`]);
      if (at < line.length) found.push([at, at + 1, "bar-line"]);
      from = at + 1;
    }
  }
  return found;
}

function decorations(view) {
  const builder = new RangeSetBuilder();
  for (const { from, to } of view.visibleRanges) {
    for (let at = from; at <= to;) {
      const line = view.state.doc.lineAt(at);
      for (const [start, end, name] of pieces_of(line.text)) builder.add(line.from + start, line.from + end, marked(name));
      at = line.to + 1;
    }
  }
  return builder.finish();
}

export const row_colours = ViewPlugin.fromClass(
  class {
    constructor(view) {
      this.decorations = decorations(view);
    }

    update(update) {
      if (update.docChanged || update.viewportChanged) this.decorations = decorations(update.view);
    }
  },
  { decorations: (plugin) => plugin.decorations },
);

/* Which bar of its row a column stands in, from 0, counted by bar lines; null beside a row's bars. */
export function cell_at(line, column) {
  const row = ROW.exec(line);
  if (!row) return null;
  let cell = 0;
  for (let at = row[0].length; at < Math.min(column, line.length); at += 1) cell += line[at] === "|";
  return cell;
}

/* Where a bar of a row lies: its first column and the one after its last. */
export function cell_span(line, cell) {
  const row = ROW.exec(line);
  if (!row) return null;
  let from = row[0].length;
  let number = 0;
  for (let at = from; at <= line.length; at += 1) {
    if (at === line.length || line[at] === "|") {
      if (number === cell) return [from, at];
      number += 1;
      from = at + 1;
    }
  }
  return null;
}
