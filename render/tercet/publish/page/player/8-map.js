/* The picture of the take is a map: a place in it is a place in time. */
(function (T, player) {
  "use strict";
  const map = T.byId("map");
  if (!map) return;
  const rows = T.page.map.rows;
  const { width, height, percent } = T.page.map;
  const drawn = () => T.speedOf(percent);
  const hand = document.createElement("div");
  hand.className = "hand";
  map.append(hand);

  map.addEventListener("click", (event) => {
    const frame = map.getBoundingClientRect();
    const x = ((event.clientX - frame.left) / frame.width) * width;
    const y = ((event.clientY - frame.top) / frame.height) * height;
    const row = rows.find(([, top, , tall]) => y >= top && y <= top + tall);
    if (!row) return;
    const [left, , wide, , start, end] = row;
    const part = Math.min(Math.max((x - left) / wide, 0), 0.999);
    player.go(player.speed.at(drawn().placeOf(start + part * (end - start))));
  });

  T.showOnMap = (ms) => {
    const at = drawn().at(player.speed.placeOf(ms));
    const row = rows.find(([, , , , , end]) => at < end) || rows[rows.length - 1];
    const [left, top, wide, tall, start, end] = row;
    const part = Math.min(Math.max((at - start) / (end - start), 0), 1);
    hand.style.left = (100 * (left + part * wide)) / width + "%";
    hand.style.top = (100 * top) / height + "%";
    hand.style.height = (100 * tall) / height + "%";
  };
})(window.Tercet, window.Tercet.player);
