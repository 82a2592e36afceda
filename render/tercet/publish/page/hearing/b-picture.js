/* The picture of what was heard: the wanted take above, below what was played of it, in the look of the take's picture. */
(function (H) {
  "use strict";
  const WIDTH = 1200;
  const LEFT = 128;
  const RIGHT = 36;
  const SEMITONE = 7;
  /* Written as style: diagrams take the page's inks, and this picture brings its own paper, also where it is dark. */
  const INKS = ["fill", "stroke"];
  const [BARS, BETWEEN, GAP, ROOM] = [28, 14, 34, 30];
  const { layers, paper, text, soft, faint, radius, ink } = H.looks;

  const radiusOf = (level) => H.clip(radius.mf * 2 ** (level / radius.doubled), radius.least, radius.most);

  /* A layer's colour, thinned towards the paper as far as it is soft. */
  function toned(layer, level) {
    const part = ink.least + (1 - ink.least) * H.clip((level - ink.light) / (ink.heavy - ink.light), 0, 1);
    const parts = (colour) => [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
    const full = parts(layers[layer].colour);
    return "rgb(" + parts(paper).map((bare, at) => Math.round(bare + part * (full[at] - bare))).join() + ")";
  }

  function drawn(name, attributes, inside = []) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    Object.entries(attributes).forEach(([key, value]) => {
      if (INKS.includes(key)) made.style[key] = value;
      else made.setAttribute(key, typeof value === "number" ? String(Math.round(100 * value) / 100) : value);
    });
    made.append(...inside);
    return made;
  }

  const label = (x, y, words, anchor = "start") => drawn("text", { x: x, y: y, "font-size": 22, fill: soft, "text-anchor": anchor }, [words]);
  const line = (x1, y1, x2, y2, stroke, width) => drawn("line", { x1: x1, y1: y1, x2: x2, y2: y2, stroke: stroke, "stroke-width": width });

  /* A stroke's marks: what ties its strings, and a head for each, soft ones first. */
  function marks(stroke, field) {
    const points = stroke.strings.map((string) => ({ ...string, x: field.x(string.at), y: field.y(string.midi), r: radiusOf(string.level) }));
    const loud = Math.max(...points.map((point) => point.level));
    const tie = points.length > 1 ? [drawn("polyline", {
      points: points.map(({ x, y }) => x.toFixed(1) + "," + y.toFixed(1)).join(" "),
      fill: "none", stroke: toned(stroke.layer, loud), "stroke-width": Math.max(0.18 * radiusOf(loud), 0.9),
    })] : [];
    return [...tie, ...points.sort((one, other) => one.level - other.level).map((point) => head(stroke, point))];
  }

  function head({ layer, action }, { x, y, r, level }) {
    const tone = toned(layer, level);
    const rim = { fill: tone, stroke: paper, "stroke-width": 1.4 };
    if (action === "chop") {
      return drawn("path", { d: `M${x - r} ${y - r}L${x + r} ${y + r}M${x - r} ${y + r}L${x + r} ${y - r}`, stroke: tone, "stroke-width": Math.max(0.45 * r, 0.9) });
    }
    if (layers[layer].head === "disc") return drawn("circle", { cx: x, cy: y, r: r, ...rim });
    if (layers[layer].head === "ring") return drawn("circle", { cx: x, cy: y, r: r, fill: paper, stroke: tone, "stroke-width": Math.max(0.4 * r, 0.9) });
    const reach = 1.25 * r;
    return drawn("path", { d: `M${x} ${y - reach}l${reach} ${reach}l${-reach} ${reach}l${-reach} ${-reach}z`, ...rim });
  }

  /* The strokes of a field, wanted or as they were heard: when each string, how loud. */
  const wantedMarks = (wanted) => wanted.strokes.map((stroke) => ({
    ...stroke, strings: stroke.strings.map((string) => ({ at: stroke.onset + string.delay, midi: string.midi, level: string.level })),
  }));

  function heardMarks(heard, last) {
    const { strokes } = heard.wanted;
    const top = (stroke) => Math.max(...stroke.strings.map((string) => string.level));
    const levels = last.filter((each) => each.level !== null).map((each) => [each.layer, each.level - top(strokes[each.stroke])]);
    const melody = levels.filter(([layer]) => layer === "melody");
    const shift = levels.length ? H.median((melody.length ? melody : levels).map(([, by]) => by)) : 0;
    return last.filter((each) => each.onset !== null).map((each) => {
      const stroke = strokes[each.stroke];
      const louder = each.level === null ? 0 : each.level - shift - top(stroke);
      const end = stroke.strings.length - 1;
      return { ...stroke, strings: stroke.strings.map((string, at) => ({
        at: stroke.onset + string.delay + each.off,
        midi: at === end && each.verdict === "another note" && each.heard !== null ? each.heard : string.midi,
        level: Math.min(string.level + louder, 12),
      })) };
    });
  }

  function ring(each, field, nameOf) {
    const midi = each.verdict === "another note" && each.heard !== null ? each.heard : each.main;
    const title = drawn("title", {}, [H.word("yours_ring", { bar: each.bar, note: nameOf(each.main), verdict: H.word("yours_" + each.verdict.replace(" ", "_")) })]);
    return drawn("circle", { cx: field.x(each.due + each.off), cy: field.y(midi), r: radius.mf + 4, fill: "none", stroke: text, "stroke-width": 1.6, "stroke-dasharray": "3 4" }, [title]);
  }

  H.picture = (heard, rows, words) => {
    const last = [...new Map(heard.strokes.map((each) => [each.stroke, each])).values()];
    const above = wantedMarks(heard.wanted);
    const below = heardMarks(heard, last);
    const keys = [...above, ...below].flatMap((stroke) => stroke.strings.map((string) => string.midi));
    const low = Math.min(...keys);
    const height = SEMITONE * (Math.max(...keys) - low) + 2 * ROOM;
    const played = rows.filter((row) => row.bars.some(([bar]) => bar >= heard.firstBar && bar <= heard.lastBar));
    const lengths = played.map((row) => row.end - row.start);
    const scale = (1.25 * (WIDTH - LEFT - RIGHT)) / H.median(lengths);
    const shapes = [];
    let top = 8;
    played.forEach((row, n) => {
      const unit = Math.min(scale, (WIDTH - LEFT - RIGHT) / lengths[n]);
      const right = LEFT + unit * lengths[n];
      const numbers = new Set(row.bars.map(([bar]) => bar));
      const inside = (stroke) => numbers.has(stroke.bar);
      row.bars.forEach(([bar, start]) => shapes.push(label(LEFT + (start - row.start) * unit, top + BARS - 8, String(bar))));
      [["wanted", above], ["heard", below]].forEach(([name, strokes], at) => {
        const first = top + BARS + at * (height + BETWEEN);
        const bottom = first + height;
        const field = { x: (time) => LEFT + (time - row.start) * unit, y: (midi) => bottom - ROOM - SEMITONE * (midi - low) };
        shapes.push(label(LEFT - 30, (first + bottom) / 2, words[name], "end"));
        [...row.bars.map(([, start]) => start), row.end].forEach((start) => shapes.push(line(field.x(start), first, field.x(start), bottom, faint, 1.4)));
        [first, bottom].forEach((y) => shapes.push(line(LEFT, y, right, y, faint, 1)));
        shapes.push(...strokes.filter(inside).flatMap((stroke) => marks(stroke, field)));
        if (at) shapes.push(...last.filter((each) => inside(each) && each.verdict !== "played").map((each) => ring(each, field, heard.wanted.nameOf)));
      });
      top += BARS + 2 * height + BETWEEN + GAP;
    });
    const sheet = drawn("rect", { width: WIDTH, height: top, fill: paper });
    return drawn("svg", { viewBox: `0 0 ${WIDTH} ${Math.round(top)}`, role: "img", "aria-label": words.label }, [sheet, ...shapes]);
  };
})(window.TercetHearing);
