/* The engraved music: bars to pick, and notes that are marked while they sound. */
(function (T, player) {
  "use strict";
  const music = document.querySelector(".music");
  const scores = { song: scoreOf(T.page), second: T.page.second && scoreOf(T.page.second) };
  const views = [...document.querySelectorAll(".music .score")].map((element) => (
    { element: element, prefix: element.dataset.prefix, score: scores[element.dataset.part || "song"] }));
  const picks = T.byId("pick");
  const follow = T.byId("follow");
  let begun = null;
  let board = null;
  let seen = null;

  /* A score: its printed bars, by bar as played and the other way round, what shows each note, and the bars in words. */
  function scoreOf({ printed, marks, spoken }) {
    const played = new Map();
    printed.forEach((names, bar) => {
      names.forEach((name) => played.set(name, [...(played.get(name) || []), bar]));
    });
    return { printed: printed, marks: marks, spoken: spoken, played: played };
  }

  const find = (view, name) => T.byId(view.prefix + name);
  const picking = () => document.body.matches(".picking");
  const shown = () => board || seen;

  /* Of the playings of a printed bar: the one being played, or the next to come, or the first. */
  function meant(name) {
    const bars = shown().score.played.get(name);
    const now = player.speed.barAt(player.position().ms);
    return bars.find((bar) => bar >= now && T.page.bars[bar].pass === T.page.bars[now].pass)
      || bars.find((bar) => bar >= now) || bars[0];
  }

  function lastMeant(name, first) {
    const bars = shown().score.played.get(name);
    return bars.find((bar) => bar >= first) || bars[0];
  }

  function pick(name) {
    if (!picking()) {
      player.goToBar(meant(name));
      return;
    }
    if (begun === null) {
      begun = meant(name);
      T.byId("told").textContent = T.text("pick_last", { bar: T.barName(begun) });
      return;
    }
    T.pickLoop(begun, lastMeant(name, begun));
    stopPicking();
  }

  function stopPicking() {
    begun = null;
    T.press(picks, false);
    document.body.classList.remove("picking");
  }

  picks.addEventListener("click", () => {
    if (picking()) {
      stopPicking();
      return;
    }
    T.press(picks, true);
    document.body.classList.add("picking");
    T.shutDrawers();
    handUntil = performance.now() + HAND_MS;
    T.byId("told").textContent = T.text("pick_first");
    const view = shown();
    if (view && view.buttons) view.buttons.find((button) => button.tabIndex === 0).focus({ preventScroll: true });
  });

  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !picking() || event.defaultPrevented) return;
    event.preventDefault();
    stopPicking();
    T.byId("told").textContent = "";
  });

  /* Buttons over the bars, laid out once for each view; places in parts of the picture, so that any size fits. */
  function layButtons(view) {
    const frame = view.element.getBoundingClientRect();
    const holder = document.createElement("div");
    holder.className = "bars";
    holder.setAttribute("role", "group");
    holder.setAttribute("aria-label", T.text("bars_label"));
    view.score.played.forEach((bars, name) => {
      const measure = find(view, name);
      const staves = measure ? [...measure.querySelectorAll(".staff")].map((staff) => staff.getBoundingClientRect()) : [];
      if (!staves.length || !frame.width) return;
      const box = {
        left: Math.min(...staves.map((staff) => staff.left)), right: Math.max(...staves.map((staff) => staff.right)),
        top: Math.min(...staves.map((staff) => staff.top)), bottom: Math.max(...staves.map((staff) => staff.bottom)),
      };
      const button = document.createElement("button");
      button.type = "button";
      button.className = "bar";
      button.dataset.bar = name;
      button.tabIndex = -1;
      button.setAttribute("aria-label", view.score.spoken[bars[0]] + (bars.length > 1 ? " " + T.text("bars_too", { bars: bars.slice(1).map((bar) => T.page.bars[bar].number).join(", ") }) : ""));
      button.style.left = (100 * (box.left - frame.left)) / frame.width + "%";
      button.style.top = (100 * (box.top - frame.top)) / frame.height + "%";
      button.style.width = (100 * (box.right - box.left)) / frame.width + "%";
      button.style.height = (100 * (box.bottom - box.top)) / frame.height + "%";
      holder.append(button);
    });
    view.buttons = [...holder.children];
    if (view.buttons.length) view.buttons[0].tabIndex = 0;
    holder.addEventListener("click", (event) => {
      if (event.target.dataset.bar) pick(event.target.dataset.bar);
    });
    holder.addEventListener("keydown", (event) => move(view, event));
    holder.addEventListener("focusin", (event) => {
      view.buttons.forEach((button) => { button.tabIndex = button === event.target ? 0 : -1; });
    });
    view.element.append(holder);
  }

  function move(view, event) {
    const at = view.buttons.indexOf(event.target);
    const next = { ArrowRight: at + 1, ArrowDown: at + 1, ArrowLeft: at - 1, ArrowUp: at - 1, Home: 0, End: view.buttons.length - 1 }[event.key];
    if (next === undefined || !view.buttons[next]) return;
    event.preventDefault();
    view.buttons[next].focus();
  }

  /* Music is what browsers without script show, and to others text: that costs a phone nothing until it can play. Then what
     is seen is laid out, a few lines at a time; what isn't, when it is asked for. A set that was packed has elements. */
  const LINES_A_TIME = 2;

  function unfold(view, lines) {
    const { element } = view;
    if (!view.folded) {
      const text = element.querySelector("noscript");
      view.folded = text.children.length ? [...text.children] : text.textContent.split(/\n(?=<svg)/);
      text.remove();
    }
    element.append(...view.folded.splice(0, lines).flatMap((line) => (line.matches ? line : window.TercetSet.parsed(line))));
    return view.folded.length;
  }

  function goOn(view) {
    if (view !== shown()) view.unfolding = false;
    else if (unfold(view, LINES_A_TIME)) {
      requestAnimationFrame(() => goOn(view));
      return;
    } else {
      layButtons(view);
      player.tell();
    }
    document.body.classList.add("laid");
  }

  T.wholeMusic = (selector) => {
    views.filter(({ element }) => element.matches(selector)).forEach((view) => unfold(view, Infinity));
  };

  function lay() {
    seen = views.find(({ element }) => element.offsetParent);
    if (board || !seen) document.body.classList.add("laid");
    else if (!seen.buttons && !seen.unfolding) {
      seen.unfolding = true;
      goOn(seen);
    }
    mark();
  }

  /* Marks */

  let marked = [];
  let line = null;

  function mark() {
    const loop = player.loop;
    const view = shown();
    if (!view || !view.buttons) return;
    view.buttons.forEach((button) => {
      const inside = loop && view.score.played.get(button.dataset.bar).some((bar) => bar >= loop.first && bar <= loop.last);
      button.classList.toggle("in-loop", Boolean(inside));
    });
  }

  T.markBar = (bar) => {
    const view = shown();
    if (!view || !view.buttons) return;
    const names = bar < 0 ? [] : view.score.printed[bar];
    view.buttons.forEach((button) => button.classList.toggle("here", names.includes(button.dataset.bar)));
    const first = view.buttons.find((button) => button.dataset.bar === names[0]);
    if (first && first.style.top !== line) {
      line = first.style.top;
      owed = true;
    }
    if (first && owed && following()) keepInSight(first);
  };

  /* The line that is played stays at one height, under the shapes and words, with the next lines below it. A hand that
     scrolls goes first: for some seconds nothing is pulled away from it. */
  const HAND_MS = 6000;
  const SCROLLING = ["PageUp", "PageDown", "ArrowUp", "ArrowDown", "Home", "End", "Tab"];
  let owed = false;
  let handUntil = 0;

  function hand() {
    handUntil = performance.now() + HAND_MS;
    owed = true;
  }
  ["wheel", "touchmove"].forEach((kind) => window.addEventListener(kind, hand, { passive: true }));
  window.addEventListener("keydown", (event) => { if (SCROLLING.includes(event.key)) hand(); });
  window.addEventListener("pointerdown", (event) => { if (event.target === document.documentElement) hand(); });

  function following() {
    return follow.checked && (player.state === "playing" || T.kitPlays()) && performance.now() >= handUntil
      && !picking();
  }

  function keepInSight(button) {
    owed = false;
    const now = T.byId("now");
    const stuck = getComputedStyle(now).position === "sticky" ? now.getBoundingClientRect().height : 0;
    const away = find(shown(), button.dataset.bar).closest("svg").getBoundingClientRect().top - stuck - 8;
    if (Math.abs(away) > 8) window.scrollBy({ top: away, behavior: T.calm() ? "auto" : "smooth" });
  }

  /* While the board is open its lines are what is marked. */
  T.boardView = (element, prefix, part) => {
    board = element && { element: element, prefix: prefix, score: scores[part], buttons: [] };
    return board;
  };

  T.forgetLine = () => { line = null; };

  T.markNotes = (notes) => {
    const wanted = new Map();
    const view = shown();
    if (view) {
      notes.forEach((note) => {
        view.score.marks[note].forEach((name) => wanted.set(view.prefix + name, T.page.layers[T.page.notes[note][1]].name));
      });
    }
    marked.filter((id) => !wanted.has(id)).forEach((id) => {
      const element = T.byId(id);
      if (element) element.classList.remove("sounds", ...T.page.layers.map((layer) => layer.name + "-now"));
    });
    wanted.forEach((layer, id) => {
      const element = T.byId(id);
      if (element) element.classList.add("sounds", layer + "-now");
    });
    marked = [...wanted.keys()];
  };

  document.querySelectorAll('input[name="whose"]').forEach((choice) => {
    choice.addEventListener("change", () => {
      T.markNotes([]);
      stopPicking();
      music.dataset.whose = choice.value;
      line = null;
      lay();
      player.tell();
    });
  });

  follow.addEventListener("change", () => T.kept.write("follow", follow.checked));
  if (T.kept.read().follow === false) follow.checked = false;
  window.addEventListener("resize", lay);
  window.addEventListener("beforeprint", () => T.wholeMusic(".wide"));
  player.heard.push(mark);
  T.later(() => {
    lay();
    if (window.TercetSet.wanted.part === "second") T.takePart();
  });
})(window.Tercet, window.Tercet.player);
