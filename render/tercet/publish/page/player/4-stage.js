/* Front and back: three lines, each drawn as near as it stands. */
(function (T, player) {
  "use strict";
  const lines = T.page.layers.map((layer) => document.querySelector('[data-layer="' + layer.name + '"]'));
  const asItIs = T.byId("as-it-is");
  const tuneOut = T.byId("tune-out");

  function choice(line, place) {
    return line.querySelector('input[value="' + place + '"]');
  }

  lines.forEach((line, index) => {
    line.addEventListener("change", (event) => player.place(index, event.target.value));
  });

  tuneOut.addEventListener("click", () => player.setTuneOut(!player.tuneOut));

  asItIs.addEventListener("click", () => {
    player.setTuneOut(false);
    T.page.layers.forEach((layer, index) => player.place(index, layer.natural));
  });

  function draw() {
    lines.forEach((line, index) => {
      line.dataset.place = player.placeOf(index);
      choice(line, player.placeOf(index)).checked = true;
    });
    T.press(tuneOut, player.tuneOut);
  }

  player.heard.push(draw);
})(window.Tercet, (window.Tercet.player = new window.Tercet.Player()));
