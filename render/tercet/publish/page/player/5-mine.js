/* What the reader plays: instrument, part, key and hand, chosen once. Another set begins the page anew. */
(function (T, player) {
  "use strict";
  const set = window.TercetSet;
  const box = T.byId("mine");
  const buttons = [...box.querySelectorAll("button")];
  const layers = T.page.layers.map(({ name }) => name);
  const { hand, part } = set.wanted;
  const mine = { hand, part: layers.includes("second") ? part : "song", ...set.current() };
  const chosen = (button) => String(mine[button.dataset.axis]) === button.dataset.value;

  function sentence() {
    return buttons.filter(chosen).map((button) => button.dataset.said).join(" · ");
  }

  function draw() {
    T.byId("mine-now").textContent = sentence();
    buttons.forEach((button) => T.press(button, chosen(button)));
  }

  function mirrorAll() {
    document.querySelectorAll("#shapes > svg, #now-shapes svg, #board .shapes svg").forEach(set.mirror);
  }

  /* The own part stands in front, the others behind it. */
  function takePart() {
    const second = mine.part === "second";
    T.page.layers.forEach(({ name, natural }, index) => {
      const behind = name === "second" ? "front" : "back";
      player.place(index, second && natural !== "out" ? behind : natural);
    });
    const shown = document.querySelector('input[name="whose"][value="' + mine.part + '"]');
    if (shown && !shown.checked) shown.click();
  }

  function keep({ axis, value }) {
    const told = set.kept.read();
    if (axis === "key") set.kept.write("keys", { ...told.keys, [T.page.title]: Number(value) });
    else set.kept.write("mine", { ...told.mine, [axis]: value });
  }

  /* Where the reader was, for when the page begins anew. */
  function again(button) {
    try {
      window.history.replaceState({ ...window.history.state, pressed: [button.dataset.axis, button.dataset.value] }, "");
    } finally {
      window.location.reload();
    }
  }

  buttons.forEach((button) => {
    button.addEventListener("click", () => {
      const { axis, value } = button.dataset;
      T.byId("mine-ask").hidden = true;
      keep(button.dataset);
      if (chosen(button)) return;
      if (axis === "hand") mirrorAll();
      else if (axis !== "part") {
        again(button);
        return;
      }
      mine[axis] = value;
      if (axis === "part") takePart();
      draw();
      T.byId("mine-told").textContent = T.text("mine_told", { mine: sentence() });
    });
  });

  box.hidden = false;
  draw();
  if (mine.hand !== T.page.hand) mirrorAll();
  T.takePart = takePart;

  const { pressed } = window.history.state || {};
  if (pressed) {
    window.history.replaceState({ ...window.history.state, pressed: null }, "");
    const there = buttons.find(({ dataset }) => dataset.axis === pressed[0] && dataset.value === pressed[1]);
    box.open = true;
    if (there) there.focus();
    T.byId("mine-told").textContent = T.text("mine_told", { mine: sentence() });
  } else if (T.page.sets.length > 1 && !T.kept.read().mine) {
    box.open = true;
    T.byId("mine-ask").hidden = false;
  }
  if (set.failed()) {
    box.open = true;
    T.byId("mine-old").hidden = false;
  }

  /* Who plays without answering has answered: the page asks once. */
  player.heard.push(() => {
    if (player.state !== "playing" || T.byId("mine-ask").hidden) return;
    T.byId("mine-ask").hidden = true;
    box.open = false;
    set.kept.write("mine", {});
  });
})(window.Tercet, window.Tercet.player);
