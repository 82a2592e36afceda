/* The list of songs: a first line at a time, pressed again it stops. */
(function () {
  "use strict";
  const audio = new Audio();
  const links = [...document.querySelectorAll(".first-line")];
  let sounding = null;

  function draw() {
    links.forEach((link) => {
      const on = link === sounding;
      link.classList.toggle("on", on);
      link.querySelector(".does").textContent = on ? link.dataset.stop : link.dataset.play;
    });
  }

  function stop() {
    audio.pause();
    sounding = null;
    draw();
  }

  links.forEach((link) => {
    link.setAttribute("role", "button");
    link.addEventListener("keydown", (event) => {
      if (event.key !== " ") return;
      event.preventDefault();
      link.click();
    });
    link.addEventListener("click", (event) => {
      event.preventDefault();
      if (link === sounding) {
        stop();
        return;
      }
      sounding = link;
      audio.src = link.href;
      audio.play().catch(() => { if (link === sounding) stop(); });
      draw();
    });
  });
  audio.addEventListener("ended", stop);
})();
