/* What is played now: the line's shapes, its words, whose turn it is; and the hand that moves everything along. */
(function (T, player) {
  "use strict";
  const shapes = T.byId("now-shapes");
  const words = T.byId("now-words");
  const turn = T.byId("turn");
  const drawings = [...document.querySelectorAll("#shapes > svg")];
  let line = -1;
  let sung = [];
  let last = "";

  function showLine(index) {
    if (index === line) return;
    line = index;
    shapes.replaceChildren(...T.page.lines[index].shapes.map((shape) => {
      const item = document.createElement("li");
      item.append(drawings[shape].cloneNode(true));
      return item;
    }));
    sung = T.page.words.filter((word) => word[0] === index);
    words.replaceChildren();
    sung.forEach((word) => {
      const syllable = document.createElement("span");
      syllable.textContent = word[1].replace(/-$/, "\u00ad");
      words.append(syllable);
      if (!word[1].endsWith("-")) words.append(" ");
    });
    words.hidden = !sung.length;
  }

  function onsetOf(word) {
    const [, , note, bar, part] = word;
    return note >= 0 && player.speed.onset[note] >= 0 ? player.speed.onset[note] : player.speed.at({ bar: bar, part: part / 1000 });
  }

  function showNow(ms, going) {
    const { speed } = player;
    const struck = speed.struckBy(ms);
    let shape = -1;
    for (let index = struck; index >= 0 && shape < 0; index -= 1) {
      const note = T.page.notes[speed.order[index]];
      if (T.page.bars[note[0]].line !== line) break;
      shape = T.page.gestures[note[3]];
    }
    let syllable = -1;
    sung.forEach((word, index) => { if (onsetOf(word) <= ms) syllable = index; });
    [...shapes.children].forEach((item, index) => item.classList.toggle("sounding", going && index === shape));
    [...words.children].forEach((item, index) => {
      item.classList.toggle("sung", going && index === syllable);
    });
  }

  T.showTurn = (whose, detail) => {
    turn.hidden = !whose;
    [turn, T.byId("board-turn")].forEach((place) => {
      place.dataset.whose = whose || "";
      place.textContent = whose ? T.text("turn_" + whose.replace("-", "_")) : "";
      if (!whose || !detail) return;
      const small = document.createElement("small");
      small.textContent = detail;
      place.append(small);
    });
  };

  function draw() {
    const { ms, counting } = player.position();
    const going = player.state === "playing";
    const bar = player.speed.barAt(ms);
    showLine(T.page.bars[bar].line);
    showNow(ms, going && !counting);
    T.showPosition(ms);
    T.showOnMap(ms);
    T.markBar(bar);
    T.markNotes(going && !counting ? player.speed.soundingAt(ms) : []);
    const now = counting ? "count-in" : "";
    if (now !== last) {
      T.showTurn(now);
      last = now;
    }
  }

  T.showLineOfBar = (bar) => showLine(T.page.bars[bar].line);

  function frame() {
    if (player.state === "playing") draw();
    requestAnimationFrame(frame);
  }

  setInterval(() => player.tick(), 200);
  player.heard.push(() => {
    T.forgetLine();
    if (!T.kitPlays()) draw();
  });
  requestAnimationFrame(frame);
})(window.Tercet, window.Tercet.player);
