/* Drawers on a narrow window: one open at a time above the bar; what is set in each is told on its handle. */
(function (T, player) {
  "use strict";
  const handles = [...document.querySelectorAll(".drawer")];
  const panel = (handle) => T.byId(handle.getAttribute("aria-controls"));
  const names = (layers) => layers.map((layer) => T.text("layer_" + layer.name)).join(", ");

  function open(wanted) {
    handles.forEach((handle) => {
      handle.setAttribute("aria-expanded", String(handle === wanted));
      panel(handle).classList.toggle("open", handle === wanted);
    });
  }

  T.shutDrawers = () => open(null);

  handles.forEach((handle) => {
    handle.addEventListener("click", () => open(handle.getAttribute("aria-expanded") === "true" ? null : handle));
  });

  document.addEventListener("keydown", (event) => {
    const handle = handles.find((one) => one.getAttribute("aria-expanded") === "true");
    if (event.key !== "Escape" || !handle || event.defaultPrevented) return;
    event.preventDefault();
    if (panel(handle).contains(document.activeElement)) handle.focus();
    open(null);
  });

  function lines() {
    const out = T.page.layers.filter((layer, index) => player.placeOf(index) === "out" && layer.natural !== "out");
    if (out.length) return T.text("stage_out", { layers: names(out) });
    return T.text(T.page.layers.some((layer, index) => player.placeOf(index) !== layer.natural) ? "stage_changed" : "stage_as_it_is");
  }

  /* Bars in few words, by their numbers; what stands before bar 1 has none. */
  T.barsName = (...ends) => {
    const [first, last] = ends.map((bar) => T.page.bars[bar].number);
    if (!first) return T.text(last ? "again_from_pickup" : "again_pickup", { last: last });
    return T.text(first === last ? "again_bar" : "again_bars", { first: first, last: last });
  };

  const again = () => (player.loop ? T.barsName(player.loop.first, player.loop.last) : T.text("again_whole"));

  function draw() {
    T.byId("now-stage").textContent = lines();
    T.byId("now-again").textContent = again();
  }

  player.heard.push(draw);
})(window.Tercet, window.Tercet.player);
