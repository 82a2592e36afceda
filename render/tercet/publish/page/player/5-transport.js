/* Play, stop, where in the song, counted in or not, and which bars again and again. */
(function (T, player) {
  "use strict";
  const { byId } = T;
  const go = byId("go");
  const slider = byId("position");
  const where = byId("where");
  const told = byId("told");
  const count = byId("count");
  const from = byId("loop-from");
  const to = byId("loop-to");
  const whole = byId("loop-off");
  const some = byId("loop-on");
  const steps = [[byId("slower"), -1], [byId("quicker"), 1]];
  const bars = T.page.bars;
  const TOLD_MS = 6000;
  const HELD_MS = 500;
  const NEXT_MS = 180;

  const visit = (bar) => T.page.visits.find((one) => bar <= one.last).name;

  T.barName = (bar) => T.text(bars[bar].number ? "bar_name" : "pickup_name", { bar: bars[bar].number, section: visit(bar) });

  /* Loops */

  function option(bar) {
    const element = document.createElement("option");
    element.value = String(bar);
    element.textContent = T.barName(bar);
    return element;
  }

  T.later(() => {
    from.append(...bars.map((_, bar) => option(bar)));
    to.append(...bars.map((_, bar) => option(bar)));
    to.value = String(bars.length - 1);
  });

  function askedLoop() {
    const ends = [Number(from.value), Number(to.value)];
    return { first: Math.min(...ends), last: Math.max(...ends) };
  }

  T.pickLoop = (first, last) => {
    from.value = String(Math.min(first, last));
    to.value = String(Math.max(first, last));
    some.checked = true;
    player.setLoop(askedLoop());
    const said = T.text("loop_told", { from: T.barName(askedLoop().first), to: T.barName(askedLoop().last) });
    told.textContent = said;
    setTimeout(() => { if (told.textContent === said) told.textContent = ""; }, TOLD_MS);
  };

  [from, to].forEach((select) => {
    select.addEventListener("change", () => {
      const loop = askedLoop();
      T.pickLoop(loop.first, loop.last);
    });
  });
  some.addEventListener("change", () => T.pickLoop(askedLoop().first, askedLoop().last));
  whole.addEventListener("change", () => player.setLoop(null));
  document.querySelectorAll("[data-visit]").forEach((button) => {
    const { first, last } = T.page.visits[Number(button.dataset.visit)];
    button.addEventListener("click", () => T.pickLoop(first, last));
  });

  /* Play, count-in, position */

  T.toggle = () => {
    if (player.busy) player.halt();
    else player.play();
  };
  go.addEventListener("click", T.toggle);
  T.playOrPause = () => { if (!T.kitToggles()) T.toggle(); };

  /* Space plays, wherever the reader is: but in a field, and on what somebody came to with the Tab key, it does what it does there. */
  const FIELDS = "select, textarea, audio, summary, input:not([type=radio], [type=checkbox], [type=range])";
  const PRESSED = "button:not(.bar), [type=radio], [type=checkbox]";
  let taken = false;
  let byKeys = false;
  document.addEventListener("pointerdown", () => { byKeys = false; });
  document.addEventListener("keydown", (event) => {
    const { target } = event;
    if (event.key === "Tab" || event.key.startsWith("Arrow")) byKeys = true;
    if (event.key !== " " || event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return;
    if (target.matches(FIELDS) || (byKeys && target.matches(PRESSED))) return;
    event.preventDefault();
    taken = true;
    if (!event.repeat) T.playOrPause();
  });
  document.addEventListener("keyup", (event) => {
    if (event.key === " " && taken) event.preventDefault();
    taken = false;
  });

  byId("back").addEventListener("click", () => player.go(player.speed.startOf(player.loop ? player.loop.first : 0)));

  /* The next speed up or down, in percent; undefined where there is none. */
  const nextSpeed = (by) => T.page.percents[T.page.percents.indexOf(player.speed.percent) + by];

  /* A press is one step; held down it goes on, as a held key does, until it is let go or slips off. */
  steps.forEach(([button, by]) => {
    let held = false;
    let timer;

    function step() {
      const percent = nextSpeed(by);
      if (!percent) return;
      player.setSpeed(T.speedOf(percent));
      T.kept.writeSong("speed", percent);
    }

    function goOn() {
      held = true;
      step();
      timer = setTimeout(goOn, NEXT_MS);
    }

    button.addEventListener("pointerdown", (event) => {
      held = false;
      clearTimeout(timer);
      if (!event.button) timer = setTimeout(goOn, HELD_MS);
    });
    ["pointerup", "pointerleave", "pointercancel"].forEach((kind) => button.addEventListener(kind, () => clearTimeout(timer)));
    button.addEventListener("click", (event) => {
      if (!held || !event.detail) step();
    });
  });

  count.addEventListener("change", () => {
    player.countBars = Number(count.value);
    T.kept.write("count", count.value);
  });

  let dragged = false;
  slider.addEventListener("input", () => {
    dragged = true;
    say(Number(slider.value));
  });
  slider.addEventListener("change", () => {
    dragged = false;
    player.go(Number(slider.value));
  });

  function say(ms) {
    const bar = player.speed.barAt(ms);
    const { number } = bars[bar];
    const place = number ? T.text("where", { bar: number, bars: bars[bars.length - 1].number, section: visit(bar) }) : T.barName(bar);
    where.textContent = place;
    byId("time").textContent = T.clock(ms) + " / " + T.clock(player.speed.length);
    slider.setAttribute("aria-valuetext", place + ", " + T.clock(ms));
  }

  T.showPosition = (ms) => {
    if (dragged) return;
    slider.value = String(Math.round(ms));
    say(ms);
  };

  /* A phone on a stand doesn't fall asleep while it plays, where the browser knows how. */
  let awake = null;
  function keepAwake(on) {
    if (!navigator.wakeLock || on === Boolean(awake)) return;
    if (!on) awake.then((lock) => lock && lock.release());
    awake = on ? navigator.wakeLock.request("screen").catch(() => null) : null;
  }

  function draw() {
    const on = player.busy;
    keepAwake(on);
    go.dataset.state = player.state;
    go.querySelector(".does").textContent = T.text(on ? "stop" : "play");
    if (player.state === "loading") told.textContent = T.text("loading");
    else if (player.state === "lost") told.textContent = T.text("lost");
    else if (told.textContent === T.text("loading")) told.textContent = "";
    slider.max = String(player.speed.length);
    slider.step = String(Math.max(100, Math.round(player.speed.length / 200)));
    byId("speed").textContent = T.text("percent", { percent: player.speed.percent });
    steps.forEach(([button, by]) => { button.setAttribute("aria-disabled", String(!nextSpeed(by))); });
    whole.checked = !player.loop;
    some.checked = Boolean(player.loop);
    T.showPosition(player.position().ms);
  }

  const before = T.kept.read();
  if (["0", "1", "2"].includes(before.count)) count.value = before.count;
  player.countBars = Number(count.value);
  T.silence.stems = () => {
    if (player.busy) player.halt();
  };
  player.heard.push(draw);
})(window.Tercet, window.Tercet.player);
