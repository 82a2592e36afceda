/* What somebody plays, in a song's page and in the list: how it is kept, and shapes for the other hand. */
window.TercetMine = (function () {
  "use strict";

  /* What the reader chose last time: the only thing that is kept, and only in this browser; for this visit where it keeps nothing.
     What is found there may be anything. */
  const plain = (value) => (value && typeof value === "object" ? value : {});
  const kept = {
    denied: false,
    plain: plain,
    read() {
      if (!kept.denied) {
        try {
          return plain(JSON.parse(window.localStorage.getItem("tercet")));
        } catch (_) {
          kept.denied = true;
        }
      }
      return plain(plain(window.history.state).tercet);
    },
    write(name, value) {
      const all = { ...kept.read(), [name]: value };
      try {
        window.localStorage.setItem("tercet", JSON.stringify(all));
        kept.denied = false;
      } catch (_) {
        kept.denied = true;
        window.history.replaceState({ ...window.history.state, tercet: all }, "");
      }
    },
  };

  /* A diagram as the other hand sees it: the neck is turned round, what is written on it isn't. */
  function mirror(svg) {
    const width = svg.viewBox.baseVal.width;
    const across = (x) => String(Math.round(100 * (width - x)) / 100);
    svg.querySelectorAll("[points]").forEach((line) => {
      line.setAttribute("points", line.getAttribute("points").replace(/(\S+),/g, (_, x) => across(x) + ","));
    });
    svg.querySelectorAll("circle").forEach((disc) => disc.setAttribute("cx", across(disc.getAttribute("cx"))));
    svg.querySelectorAll("text").forEach((text) => {
      text.setAttribute("x", across(text.getAttribute("x")));
      const anchor = text.getAttribute("text-anchor");
      if (anchor === "end") text.removeAttribute("text-anchor");
      else if (!anchor) text.setAttribute("text-anchor", "end");
    });
  }

  return { kept: kept, mirror: mirror };
})();
