/* The kit's tracks: plain recordings, and whose turn it is in each. */
(function (T, player) {
  "use strict";
  const audio = T.byId("track");
  if (!audio) return;
  const tracks = T.page.kit;
  const links = [...document.querySelectorAll("[data-track]")];
  const title = T.byId("track-title");
  let chosen = null;

  function current(spans, seconds) {
    return spans.find((span) => seconds >= span.start_s && seconds < span.end_s);
  }

  function draw() {
    const going = chosen !== null && !audio.paused;
    links.forEach((link, index) => {
      if (going && index === chosen) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    });
    if (chosen === null) return;
    const track = tracks[chosen];
    const turn = current(track.turns, audio.currentTime);
    T.showTurn(going && turn ? turn.whose : "", turn && turn.step);
    const bar = current(track.bars, audio.currentTime);
    if (going && bar) {
      T.showLineOfBar(bar.index);
      T.markBar(bar.index);
    }
  }

  links.forEach((link, index) => {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      T.silence.stems();
      if (chosen !== index) {
        chosen = index;
        audio.src = link.getAttribute("href");
        title.textContent = tracks[index].title;
        T.byId("track-player").hidden = false;
      }
      audio.play().catch(() => { T.byId("told").textContent = T.text("lost"); });
    });
  });

  T.kitPlays = () => chosen !== null && !audio.paused;
  let inHand = false;
  T.silence.kit = () => {
    inHand = false;
    audio.pause();
  };
  audio.addEventListener("play", () => {
    inHand = true;
    T.silence.stems();
  });
  /* Space goes on with whatever played last: true where that was a track. */
  T.kitToggles = () => {
    if (inHand) (audio.paused ? () => audio.play() : () => audio.pause())();
    return inHand;
  };
  ["play", "pause", "seeked", "ended"].forEach((kind) => audio.addEventListener(kind, draw));
  audio.addEventListener("error", () => { T.byId("told").textContent = T.text("lost"); });

  function frame() {
    if (T.kitPlays()) draw();
    requestAnimationFrame(frame);
  }
  requestAnimationFrame(frame);
})(window.Tercet, window.Tercet.player);
