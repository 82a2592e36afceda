/* The metronome: it clicks on the song's pulses, along with the music or alone, at the speed that is chosen. */
(function (T, player) {
  "use strict";
  const { byId } = T;
  const along = byId("click-along");
  const alone = byId("click-alone");
  const level = byId("click-level");
  const AHEAD_S = 2.5;
  const SOON_S = 0.1;
  const GLIDE_S = 0.04;
  let going = null;

  /* A bar's clicks, and how long it lasts, in seconds: those of the count-in. */
  function pattern(speed) {
    const strokes = (speed.count.bar || speed.count.pickup)[0];
    return { strokes: strokes.map(([ms, first]) => [(ms - strokes[0][0]) / 1000, first]), bar_s: -strokes[0][0] / 1000 };
  }

  function ahead() {
    if (!going) return;
    const { strokes, bar_s } = going;
    const now = player.context.currentTime;
    for (;; going.next += 1) {
      const [at, first] = strokes[going.next % strokes.length];
      const when = player.onFrame(going.start + bar_s * Math.floor(going.next / strokes.length) + at);
      if (when > now + AHEAD_S) return;
      if (when >= now) player.clickAt(when, first);
    }
  }

  function draw() {
    along.checked = player.clicking;
    T.press(alone, going);
    alone.textContent = T.text(going ? "click_stop" : "click_alone");
    T.useTool("metronome", (going || player.clicking) && T.text("metronome"));
  }

  function stop() {
    if (!going) return;
    going = null;
    player.stopClicks();
    draw();
  }

  async function start() {
    const { speed } = player;
    going = { speed: speed, ...pattern(speed), start: Infinity, next: 0 };
    const mine = going;
    T.stopTools("metronome");
    player.halt();
    T.silence.kit();
    player.ready();
    draw();
    if (!T.speedFacts) await T.source.ready(speed);
    if (going !== mine) return;
    player.level(0);
    going.start = player.context.currentTime + SOON_S;
    ahead();
  }

  const part = () => Number(level.value) / 100;

  alone.addEventListener("click", () => { if (going) stop(); else start(); });
  along.addEventListener("change", () => player.setClicking(along.checked));
  level.addEventListener("input", () => {
    player.clickPart = part();
    player.level(GLIDE_S);
    T.kept.write("click", part());
  });
  const tick = player.tick.bind(player);
  player.tick = () => {
    tick();
    ahead();
  };

  player.heard.push(() => {
    if (player.busy) stop();
    else if (going && going.speed !== player.speed) {
      player.stopClicks();
      start();
    }
    draw();
  });
  T.toolStops.metronome = stop;

  const before = T.kept.read().click;
  if (before >= 0 && before <= 1) level.value = String(100 * before);
  player.clickPart = part();
})(window.Tercet, window.Tercet.player);
