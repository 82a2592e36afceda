/* What somebody plays, said once for all songs; a page's own choice is kept beside it. */
(function () {
  "use strict";
  const { kept, mirror } = window.TercetMine;
  const box = document.getElementById("mine");
  const buttons = [...box.querySelectorAll("button")];
  const drawn = document.querySelector(".songs").dataset.hand;
  const mine = { hand: drawn };
  buttons.forEach(({ dataset }) => { mine[dataset.axis] = mine[dataset.axis] || dataset.value; });
  Object.entries(kept.read().mine || {}).forEach(([axis, value]) => {
    if (buttons.some(({ dataset }) => dataset.axis === axis && dataset.value === value)) mine[axis] = value;
  });
  const chosen = ({ dataset }) => mine[dataset.axis] === dataset.value;

  function draw() {
    document.getElementById("mine-now").textContent = buttons.filter(chosen).map(({ dataset }) => dataset.said).join(" · ");
    buttons.forEach((button) => button.setAttribute("aria-pressed", String(chosen(button))));
  }

  const turn = () => document.querySelectorAll(".chords svg").forEach(mirror);

  buttons.forEach((button) => {
    button.addEventListener("click", () => {
      const { axis, value } = button.dataset;
      kept.write("mine", { ...kept.read().mine, [axis]: value });
      if (chosen(button)) return;
      if (axis === "hand") turn();
      mine[axis] = value;
      draw();
      document.getElementById("mine-told").textContent = document.getElementById("mine-now").textContent;
    });
  });

  if (mine.hand !== drawn) turn();
  box.hidden = false;
  draw();
})();

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
