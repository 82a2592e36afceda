/* Which set of the song this page is for: what was chosen last time is unpacked before all else begins. */
window.TercetSet = (function () {
  "use strict";
  const byId = (id) => document.getElementById(id);
  const read = (name) => JSON.parse(byId(name).textContent);
  const page = read("facts");
  let at = 0;
  let failed = false;
  let sound = null;

  const { kept, mirror } = window.TercetMine;
  const told = kept.read();
  const wanted = { hand: page.hand, part: "song", ...told.mine, key: (told.keys || {})[page.title] };

  /* The set that has most of what is wanted, an instrument before all else. */
  function best() {
    let left = page.sets.filter((one) => one.key === (wanted.key ?? page.sets[0].key));
    if (!left.length) left = page.sets;
    ["tuning", "players"].forEach((axis) => {
      const found = left.filter((one) => one[axis] === wanted[axis]);
      if (found.length) left = found;
    });
    return page.sets.indexOf(left[0]);
  }

  function unpacked(text) {
    const letters = window.atob(text);
    const bytes = Uint8Array.from(letters, (letter) => letter.charCodeAt(0));
    const plain = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return new Response(plain).text();
  }

  /* How it sounds is most of what there is to read: it waits until somebody asks. */
  function heard() {
    sound = sound || read("sound");
    return sound;
  }

  /* The page's own text as elements. */
  const parsed = (text) => [...new DOMParser().parseFromString(text, "text/html").body.children];

  /* The parts of the page that stand for a set, in the place of those that are there. */
  function put(text) {
    heard();
    parsed(text).forEach((part) => byId(part.id).replaceWith(part));
    Object.assign(page, read("facts"));
    Object.assign(sound, read("sound"));
  }

  return {
    page: page,
    sound: heard,
    parsed: parsed,
    kept: kept,
    mirror: mirror,
    wanted: wanted,
    current: () => page.sets[at],
    failed: () => failed,
    unpacked: unpacked,

    begin(run) {
      const number = best();
      if (!number) {
        run();
        return;
      }
      new Promise((resolve) => resolve(unpacked(document.querySelector('[data-set="' + number + '"]').textContent))).then((text) => {
        put(text);
        at = number;
      }).catch(() => { failed = true; }).then(run);
    },
  };
})();
