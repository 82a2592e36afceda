/* What practice tools share: their handle says which is in use, only one sounds at a time, and all end when they are left. */
(function (T) {
  "use strict";
  const handle = T.byId("handle-practise");
  const used = {};
  T.toolStops = {};

  T.useTool = (name, shown) => {
    used[name] = shown;
    T.byId("now-practise").textContent = Object.values(used).find(Boolean) || T.text("practise_idle");
  };

  T.stopTools = (but) => {
    Object.keys(T.toolStops).filter((name) => name !== but).forEach((name) => T.toolStops[name]());
  };

  const stems = T.silence.stems;
  T.silence.stems = () => {
    stems();
    T.stopTools();
  };

  /* The drawer is shut, the board is opened, the window is put away: no microphone stays open, no string goes on sounding. */
  function left() {
    if (!T.toolStops.tuner) return;
    const shut = handle.offsetParent && handle.getAttribute("aria-expanded") === "false";
    if (shut || document.hidden || document.body.classList.contains("boarded")) T.toolStops.tuner();
  }
  const watch = new MutationObserver(left);
  watch.observe(handle, { attributes: true, attributeFilter: ["aria-expanded"] });
  watch.observe(document.body, { attributes: true, attributeFilter: ["class"] });
  document.addEventListener("visibilitychange", left);
})(window.Tercet);
