/* Slower, then quicker: the repeated bars climb to the speed that is chosen. */
(function (T, player) {
  "use strict";
  const { byId } = T;
  const from = byId("ladder-from");
  const step = byId("ladder-step");
  const times = byId("ladder-times");
  const go = byId("ladder-go");
  const rungs = byId("rungs");
  const USUAL_FROM = 60;
  let top = null;

  const percentNow = () => (player.ladder ? player.ladder.top : player.speed).percent;

  /* The speeds of the ladder in percent, slowest first. */
  function percents() {
    const lowest = Number(from.value);
    const below = T.page.percents.filter((each) => each >= lowest && each < top && (each - lowest) % Number(step.value) === 0);
    return [...below, top];
  }

  /* Which speeds it can begin with: all that are below the one that is chosen. */
  function offer() {
    if (percentNow() === top) return;
    top = percentNow();
    const wanted = Number(from.value) || USUAL_FROM;
    const below = T.page.percents.filter((each) => each < top);
    from.replaceChildren(...below.map((each) => new Option(T.text("percent", { percent: each }), each)));
    from.value = String(below.filter((each) => each <= wanted).pop() || below[0]);
    from.disabled = !below.length;
  }

  function draw() {
    offer();
    const { ladder } = player;
    const steps = ladder ? [...new Set(ladder.speeds.map((speed) => speed.percent))] : percents();
    const now = ladder && ladder.speeds[player.rung];
    rungs.replaceChildren(...steps.map((percent) => {
      const rung = document.createElement("li");
      rung.textContent = T.text("percent", { percent: percent });
      if (now && now.percent === percent) rung.setAttribute("aria-current", "step");
      return rung;
    }));
    T.press(go, ladder);
    go.textContent = T.text(ladder ? "ladder_stop" : "ladder_go");
    go.setAttribute("aria-disabled", String(!ladder && steps.length < 2));
    [from, step, times].forEach((field) => { field.disabled = Boolean(ladder) || !from.options.length; });
    const { again } = player;
    const bars = T.text("ladder_bars", { bars: again ? T.barsName(again.first, again.last) : T.text("again_whole"), percent: top });
    const each = ladder && ladder.speeds.filter((speed) => speed === now).length;
    const said = ladder ? T.text("ladder_told", {
      percent: now.percent, time: player.rung - ladder.speeds.indexOf(now) + 1, times: each,
    }) : bars;
    byId("ladder-told").setAttribute("aria-live", ladder ? "polite" : "off");
    if (byId("ladder-told").textContent !== said) byId("ladder-told").textContent = said;
    T.useTool("ladder", ladder && T.text("percent", { percent: now.percent }));
  }

  go.addEventListener("click", () => {
    if (player.ladder) player.halt();
    else if (percents().length > 1) player.climb(percents().flatMap((percent) => Array(Number(times.value)).fill(T.speedOf(percent))));
  });
  [from, step, times].forEach((field) => field.addEventListener("change", draw));
  player.heard.push(draw);
})(window.Tercet, window.Tercet.player);
