/* Bars that the student has given a name: kept on this device for this song, played, renamed and deleted by one press. */
(function (T, player) {
  "use strict";
  const { byId } = T;
  const list = byId("loops");
  const field = byId("loop-name");
  const LONGEST_NAME = 40;
  const MOST = 60;
  let renaming = null;

  const whole = (bar) => Number.isInteger(bar) && bar >= 0 && bar < T.page.bars.length;
  const cut = (name) => name.trim().slice(0, LONGEST_NAME);

  /* What another page, or a hand, left there may be anything. */
  function kept() {
    const { loops } = T.kept.song();
    if (!Array.isArray(loops)) return [];
    const sound = (one) => Array.isArray(one) && typeof one[0] === "string" && whole(one[1]) && whole(one[2]) && one[1] <= one[2];
    return loops.filter(sound).map(([name, first, last]) => ({ name: cut(name), first: first, last: last })).slice(0, MOST);
  }

  let loops = kept();

  const labelOf = (loop) => loop.name || T.barsName(loop.first, loop.last);

  function keep() {
    T.kept.writeSong("loops", loops.map((loop) => [loop.name, loop.first, loop.last]));
    if (T.kept.denied) byId("loops-told").textContent = T.text("loops_denied");
  }

  function element(kind, text, className) {
    const made = document.createElement(kind);
    made.className = className || "";
    made.textContent = text;
    return made;
  }

  function button(text, said, className, press) {
    const made = element("button", text, className);
    made.type = "button";
    if (said) made.setAttribute("aria-label", said);
    made.addEventListener("click", press);
    return made;
  }

  function play(loop) {
    T.pickLoop(loop.first, loop.last);
    if (player.state === "still" || player.state === "lost") player.play();
  }

  /* The row in which a name is written anew: Enter keeps it, and so does going elsewhere; Escape doesn't. */
  function renamed(loop) {
    const input = document.createElement("input");
    input.type = "text";
    input.maxLength = LONGEST_NAME;
    input.value = loop.name;
    input.setAttribute("aria-label", T.text("loop_name"));
    const done = (name, stay) => {
      if (renaming !== loop) return;
      renaming = null;
      if (name) loop.name = name;
      keep();
      draw();
      if (stay) list.querySelectorAll(".loop-play")[loops.indexOf(loop)].focus();
    };
    input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== "Escape") return;
      event.preventDefault();
      event.stopPropagation();
      done(event.key === "Enter" ? cut(input.value) : "", true);
    });
    input.addEventListener("blur", () => done(cut(input.value), false));
    return input;
  }

  function row(loop) {
    const item = document.createElement("li");
    if (renaming === loop) {
      item.append(renamed(loop));
      return item;
    }
    const press = button("", "", "quiet loop-play", () => play(loop));
    const now = player.loop;
    T.press(press, now && now.first === loop.first && now.last === loop.last);
    const name = element("strong", labelOf(loop));
    name.dir = "auto";
    press.append(name, " ");
    if (loop.name) press.append(element("small", T.barsName(loop.first, loop.last)));
    item.append(
      press,
      button(T.text("loop_rename"), T.text("loop_rename_said", { name: labelOf(loop) }), "link", () => {
        renaming = loop;
        draw();
        list.querySelector("input").select();
      }),
      button(T.text("loop_delete"), T.text("loop_delete_said", { name: labelOf(loop) }), "link", () => {
        const at = loops.indexOf(loop);
        loops = loops.filter((one) => one !== loop);
        keep();
        draw();
        const left = list.querySelectorAll(".loop-play");
        (left[Math.min(at, left.length - 1)] || field).focus();
        byId("loops-told").textContent = T.text("loop_deleted", { name: labelOf(loop) });
      }),
    );
    return item;
  }

  function draw() {
    list.replaceChildren(...loops.map(row));
  }

  byId("loop-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const ends = [Number(byId("loop-from").value), Number(byId("loop-to").value)];
    const bars = player.loop || { first: Math.min(...ends), last: Math.max(...ends) };
    if (loops.length >= MOST) return;
    loops = [...loops, { name: cut(field.value), first: bars.first, last: bars.last }];
    field.value = "";
    keep();
    draw();
    if (!T.kept.denied) byId("loops-told").textContent = T.text("loop_kept", { name: labelOf(loops[loops.length - 1]) });
  });

  const week = byId("week-loop");
  if (week) week.addEventListener("click", () => play({ first: Number(week.dataset.first), last: Number(week.dataset.last) }));

  let drawn = null;
  player.heard.push(() => {
    if (player.loop === drawn || renaming) return;
    drawn = player.loop;
    [...list.children].forEach((item, index) => {
      const { first, last } = loops[index];
      T.press(item.firstChild, drawn && drawn.first === first && drawn.last === last);
    });
  });
  draw();
})(window.Tercet, window.Tercet.player);
