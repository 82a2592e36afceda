/* The words of the page, from the one table that a translator changes. */

const table = await (await fetch("page/english.json")).json();

export function text(name, values = {}) {
  return table[name].replace(/\{(\w+)\}/g, (_, place) => String(values[place]));
}

/* An element with attributes and what is in it; a text is only ever text. */
export function made(tag, attributes = {}, ...inside) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...inside.filter((each) => each !== null && each !== undefined));
  return element;
}

/* A sentence of the desk's, in which what is to be typed stands between backticks. */
export function sentence(plain) {
  return plain.split("`").map((part, place) => (place % 2 ? made("code", {}, part) : document.createTextNode(part)));
}

/* Other ways to play something, each to be heard and to be taken. */
export function ways_of(ways, hear, take) {
  return ways.map((way) => made("p", { class: "tools way" },
    made("span", {}, way.about),
    made("button", { type: "button", "aria-label": `${text("advice_hear")}: ${way.about}`, onclick: () => hear(way) }, text("advice_hear")),
    made("button", { type: "button", "aria-label": `${text("advice_take")}: ${way.about}`, onclick: () => take(way) }, text("advice_take"))));
}

/* What the desk drew, as nodes: its own drawing, in which every text is escaped. */
export function drawn(svg) {
  return new DOMParser().parseFromString(`<div>${svg}</div>`, "text/html").body.firstChild.childNodes;
}

/* Marks the elements of a drawing that show what sounds, by their names, and no others. */
export function mark_sounding(drawing, names) {
  const wanted = new Set(names);
  for (const each of drawing.querySelectorAll(".now")) if (!wanted.has(each.id)) each.classList.remove("now");
  for (const name of wanted) document.getElementById(name)?.classList.add("now");
}

export function by_id(id) {
  return document.getElementById(id);
}

let telling = 0;

/* Says something for a few seconds, to eyes and to screen readers. */
export function tell(sentence) {
  const told = by_id("told");
  told.textContent = sentence;
  clearTimeout(telling);
  telling = setTimeout(() => { told.textContent = ""; }, 8000);
}

export function date_text(seconds) {
  return new Date(seconds * 1000).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
}
