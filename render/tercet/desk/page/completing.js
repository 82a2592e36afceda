/* What the editor offers while one types: only words that the desk knows, each with what it means. */

import { ROW } from "./rows.js";

/* `vocabulary` is the desk's: settings with what they may be, rows, chords of the key, marks. */
export function completions(context, vocabulary) {
  if (!vocabulary) return null;
  const line = context.state.doc.lineAt(context.pos);
  const before = line.text.slice(0, context.pos - line.from);
  const row = ROW.exec(line.text);
  if (row && before.length > row[0].length) return in_row(context, row[2], vocabulary);
  const value = /^([A-Za-z][\w-]*):\s+(\S*)$/.exec(before);
  if (value) return of_setting(context, value, vocabulary);
  const word = context.matchBefore(/[\w-]+/);
  if (!word && !context.explicit) return null;
  const from = word ? word.from : context.pos;
  const indented = /^\s+[\w-]*$/.test(before);
  if (!indented && from !== line.from) return null;
  const names = indented ? vocabulary.rows : vocabulary.settings;
  return { from, options: names.map(({ name, about }) => ({ label: name, detail: about, apply: indented ? `${name} ` : `${name}: ` })), validFor: /^[\w-]*$/ };
}

function in_row(context, row, vocabulary) {
  const word = context.matchBefore(/[^\s|]+/);
  if (!word && !context.explicit) return null;
  const from = word ? word.from : context.pos;
  const offered = { chords: vocabulary.chords, marks: vocabulary.marks, strum: vocabulary.strums }[row];
  if (!offered) return null;
  return { from, options: offered.map(({ name, about }, place) => ({ label: name, detail: about, boost: -place / 100 })), validFor: /^[^\s|:@]*$/ };
}

function of_setting(context, [, name, begun], vocabulary) {
  const setting = vocabulary.settings.find((each) => each.name === name);
  const from = context.pos - begun.length;
  if (name === "form") return { from, options: sections_of(context.state.doc).map((label) => ({ label })), validFor: /^[\w-]*$/ };
  if (!setting || !setting.values.length) return null;
  return { from, options: setting.values.map((label) => ({ label })), validFor: /^[\w/ #-]*$/ };
}

export function sections_of(doc) {
  const names = [];
  for (let number = 1; number <= doc.lines; number += 1) {
    const found = /^\s+([\p{L}][\w-]*):\s*\|?[-+]?\s*$/u.exec(doc.line(number).text);
    if (found) names.push(found[1]);
  }
  return names;
}
