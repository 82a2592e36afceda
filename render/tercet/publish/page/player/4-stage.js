/* Front and back: three lines, each drawn as near as it stands. */
(function (T, player) {
  "use strict";
  const lines = T.page.layers.map((layer) => document.querySelector('[data-layer="' + layer.name + '"]'));
  const asItIs = document.getElementById("as-it-is");

  function choice(line, place) {
    return line.querySelector('input[value="' + place + '"]');
  }

  lines.forEach((line, index) => {
    line.addEventListener("change", (event) => player.place(index, event.target.value));
  });

  asItIs.addEventListener("click", () => {
    T.page.layers.forEach((layer, index) => player.place(index, layer.natural));
  });

  function draw() {
    lines.forEach((line, index) => {
      line.dataset.place = player.places[index];
      choice(line, player.places[index]).checked = true;
    });
  }

  player.heard.push(draw);
  draw();
})(window.Tercet, (window.Tercet.player = new window.Tercet.Player()));
