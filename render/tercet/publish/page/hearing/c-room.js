/* Record yourself: what stands on the page when it is asked for. A take is recorded or chosen, kept on this device, heard
   beside the model, and held against the song. */
(function (H, T) {
  "use strict";
  const { player } = T;
  const word = (name, values) => T.text(name, values);
  H.word = word;
  const room = T.byId("yours-room");
  const LAYERS = T.page.layers.filter((layer) => layer.name !== "second" && layer.natural !== "out").map((layer) => layer.name);
  const AFTER_END_MS = 1500;
  const EVERY_MS = 50;
  const BEFORE_S = 0.2;
  let facts = null;
  let recording = null;
  let sounding = null;
  let looked = 0;

  const look = new CSSStyleSheet();
  look.replaceSync(`
    #yours-room fieldset { margin: .5rem 0; }
    #yours-room legend { font-weight: 600; }
    #yours-room .row { display: flex; flex-wrap: wrap; align-items: center; gap: .4rem .75rem; margin: .4rem 0; }
    #yours-takes li { display: flex; flex-wrap: wrap; align-items: center; gap: .3rem .75rem; border-top: 1px solid var(--line); padding: .3rem 0; }
    #yours-takes .name { flex: 1 1 12rem; min-width: 0; overflow-wrap: anywhere; }
    #yours-told { min-height: 1.5rem; }
    #yours-told:empty { min-height: 0; }
    .told-first { background: var(--card); border-radius: .5rem; padding: .8rem 1rem; margin: .6rem 0; }
    .told-first b { display: block; font-size: .9rem; color: var(--soft); }
    .told-first p { font-size: 1.2rem; }
    .picture-heard { overflow-x: auto; }
    .picture-heard svg { display: block; width: 100%; min-width: 40rem; height: auto; }
    #yours-report ul { padding-inline-start: 1.2rem; list-style: disc; }
    #yours-report summary { padding: .6rem 0; cursor: pointer; }
  `);
  document.adoptedStyleSheets = [...document.adoptedStyleSheets, look];

  function element(kind, words = "", more = {}) {
    const made = document.createElement(kind);
    made.textContent = words;
    Object.assign(made, more);
    return made;
  }

  function button(words, press, className = "quiet") {
    const made = element("button", words, { type: "button", className: className });
    made.addEventListener("click", press);
    return made;
  }

  function row(...parts) {
    const made = element("div", "", { className: "row" });
    made.append(...parts);
    return made;
  }

  /* Boxes to tick, one a layer. */
  function boxes(title, checked) {
    const made = element("fieldset");
    const ticks = LAYERS.map((name) => {
      const label = element("label", "", { className: "check" });
      const box = element("input", "", { type: "checkbox", checked: checked, value: name });
      label.append(box, element("span", word("layer_" + name)));
      return { label: label, box: box };
    });
    const rest = row(...ticks.map(({ label }) => label));
    made.append(element("legend", title), rest);
    return { made: made, chosen: () => ticks.filter(({ box }) => box.checked).map(({ box }) => box.value) };
  }

  const plays = boxes(word("yours_plays"), true);
  const along = boxes(word("yours_along"), false);
  along.made.append(element("p", word("yours_headphones"), { className: "small" }));
  const go = button(word("yours_record"), () => { if (recording) finish(); else record(); });
  const told = element("p", "", { id: "yours-told" });
  told.setAttribute("role", "status");
  const list = element("ul", "", { id: "yours-takes" });
  const all = button(word("yours_delete_all"), deleteAll, "link");
  const report = element("div", "", { id: "yours-report" });
  const file = element("input", "", { type: "file", accept: "audio/*,video/*", id: "yours-file", hidden: true });
  const choose = button(word("yours_choose"), () => file.click());

  const tell = (name, values) => { told.textContent = name ? word(name, values) : ""; };
  const rest = () => new Promise((resolve) => { setTimeout(resolve); });

  /* ---- takes */

  async function draw() {
    const takes = await H.keptTakes(T.page.song);
    list.replaceChildren(...takes.map((take) => {
      const item = element("li");
      const name = take.name || new Date(take.when).toLocaleString();
      const spoken = (made, key) => {
        made.setAttribute("aria-label", word(key, { name: name }));
        return made;
      };
      item.append(
        element("span", name, { className: "name", dir: "auto" }),
        spoken(button(word("yours_hear"), () => held(take)), "yours_hear_said"),
        spoken(button(word("yours_save"), () => save(take, name), "link"), "yours_save_said"),
        spoken(button(word("loop_delete"), async () => {
          await H.deleteTake(take);
          if (report.take === take.when) report.replaceChildren();
          tell("loop_deleted", { name: name });
          await draw();
          go.focus();
        }, "link"), "loop_delete_said"),
      );
      return item;
    }));
    all.hidden = takes.length < 2;
  }

  /* As a file, for a teacher for example. */
  function save(take, name) {
    const link = element("a", "", { href: URL.createObjectURL(take.blob), download: take.name || T.page.title + ", " + name + ".wav" });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  async function deleteAll() {
    for (const take of await H.keptTakes(T.page.song)) await H.deleteTake(take);
    report.replaceChildren();
    tell("yours_deleted_all");
    await draw();
    go.focus();
  }

  /* ---- the microphone */

  function reason(error) {
    if (error.name === "NotAllowedError" || error.name === "SecurityError") return "yours_refused";
    return error.name === "NotFoundError" ? "yours_none" : "yours_lost";
  }

  async function record() {
    quiet();
    T.stopTools();
    player.halt();
    T.silence.kit();
    const mine = { heard: along.chosen(), plays: plays.chosen(), was: { places: [...player.places], out: player.tuneOut, loop: player.loop } };
    recording = mine;
    tell("listen_asking");
    show();
    try {
      mine.microphone = await H.openMicrophone();
    } catch (error) {
      if (recording === mine) recording = null;
      tell(reason(error));
      show();
      return;
    }
    if (recording !== mine) {
      mine.microphone.stop();
      return;
    }
    const { left } = mine.microphone;
    mine.settings = left.length ? word("yours_still_on", { what: left.map((name) => word("yours_" + name)).join(", ") }) : word("yours_all_off");
    told.textContent = mine.settings;
    player.setTuneOut(false);
    player.setLoop(null);
    T.page.layers.forEach((layer, index) => player.place(index, mine.heard.includes(layer.name) ? layer.natural : "out"));
    player.go(player.speed.startOf(0));
    mine.count = player.countBars;
    player.countBars = Math.max(player.countBars, 1);
    show();
    await player.play();
    if (recording !== mine) return;
    mine.microphone.start();
    mine.began = performance.now();
    mine.timer = setInterval(watch, EVERY_MS);
  }

  /* Without a layer to play along with, only the count-in is heard; with one the take ends with the song. */
  function watch() {
    const mine = recording;
    if (mine.from === undefined) {
      if (player.state === "playing" && player.position().counting) return;
      mine.from = Math.max((performance.now() - mine.began) / 1000 - BEFORE_S, 0);
      if (!mine.heard.length) {
        player.halt();
        giveBack(mine);
      }
    } else if (mine.heard.length && player.state === "still") {
      clearInterval(mine.timer);
      mine.timer = setTimeout(finish, AFTER_END_MS);
    }
  }

  /* The lines stand again where they stood. */
  function giveBack(mine) {
    if (mine.given || mine.count === undefined) return;
    mine.given = true;
    player.countBars = mine.count;
    player.setTuneOut(mine.was.out);
    mine.was.places.forEach((place, index) => player.place(index, place));
    player.setLoop(mine.was.loop);
  }

  async function finish() {
    const mine = recording;
    recording = null;
    clearTimeout(mine.timer);
    clearInterval(mine.timer);
    player.halt();
    giveBack(mine);
    show();
    tell("");
    if (!mine.microphone || mine.began === undefined) {
      if (mine.microphone) mine.microphone.stop();
      return;
    }
    const samples = await H.samplesOf(await mine.microphone.stop()).catch(() => new Float32Array(1));
    const wave = H.waveOf(samples.subarray(Math.round((mine.from || 0) * H.RATE_HZ)));
    const take = { song: T.page.song, when: Date.now(), name: "", plays: mine.plays, settings: mine.settings, blob: wave };
    const kept = await H.keepTake(take);
    await draw();
    await held(take, kept ? "" : word("yours_denied"));
  }

  file.addEventListener("change", async () => {
    const [blob] = file.files;
    file.value = "";
    if (!blob) return;
    const take = { song: T.page.song, when: Date.now(), name: blob.name, plays: plays.chosen(), settings: "", blob: blob };
    if (!(await held(take))) return;
    if (!(await H.keepTake(take))) tell("yours_denied");
    await draw();
  });

  /* ---- held against the song */

  /* Whether something was heard in it. */
  async function held(take, more = "") {
    quiet();
    looked += 1;
    const mine = looked;
    report.replaceChildren();
    tell("yours_listening");
    try {
      facts = facts || JSON.parse(await window.TercetSet.unpacked(T.page.wanted));
      const samples = await H.samplesOf(take.blob);
      const refused = H.refused(samples);
      if (refused) throw new Error(refused);
      await rest();
      const layers = take.plays.length ? take.plays : LAYERS;
      const heard = await H.hear(samples, H.wantedTake(facts, layers), rest);
      if (mine !== looked) return false;
      if (!heard) throw new Error("yours_nothing");
      told.textContent = more;
      report.take = take.when;
      report.replaceChildren(...reported(take, heard, samples));
      return true;
    } catch (error) {
      if (mine === looked) tell(T.page.text[error.message] ? error.message : "yours_unread");
      return false;
    }
  }

  function first(title, words, ...more) {
    const made = element("div", "", { className: "told-first" });
    made.append(...(title ? [element("b", title)] : []), element("p", words, { dir: "auto" }), ...more);
    return made;
  }

  const barAt = (number) => facts.bars.findIndex(([each]) => each === number);

  function reported(take, heard, samples) {
    const advice = H.advise(heard);
    H.latest = { heard: heard, advice: advice };
    const title = element("h3", word("yours_report"));
    if (advice.unsure) return [title, first("", word("yours_unsure", { title: T.page.title })), beside(heard, samples, heard.firstBar)];
    const next = advice.next;
    const bars = next ? next.bars : [];
    const repeat = bars.length ? [button(word("week_repeat", { bars: T.barsName(barAt(bars[0]), barAt(bars[bars.length - 1])) }), () => practise(next))] : [];
    const words = { wanted: word("yours_wanted"), heard: word("yours_heard"), label: word("yours_picture") };
    const picture = element("div", "", { className: "picture-heard", tabIndex: 0 });
    picture.setAttribute("role", "group");
    picture.setAttribute("aria-label", words.label);
    picture.append(H.picture(heard, facts.rows, words));
    const details = element("details");
    const lines = element("ul");
    lines.append(...detailed(heard).map((one) => element("li", one)));
    details.append(element("summary", word("heard_details")), lines);
    if (advice.others.length) {
      const others = element("ul");
      others.append(...advice.others.map((one) => element("li", one.sentence)));
      details.append(element("p", word("heard_others")), others);
    }
    if (take.settings) details.append(element("p", take.settings));
    return [
      title,
      first(word("heard_well"), advice.well),
      first(word("heard_next"), next ? next.sentence : word("heard_nothing"), ...repeat),
      beside(heard, samples, bars.length ? bars[0] : heard.firstBar),
      picture,
      details,
      element("p", word("heard_note"), { className: "small" }),
    ];
  }

  function detailed(heard) {
    const fine = (value, digits = 0) => value.toFixed(digits);
    const { lu, uncertainty, wanted, why } = heard.front;
    const front = lu === null ? word("heard_front_untold", { why: H.said(why) })
      : word("heard_front", { lu: fine(lu, 1), uncertainty: fine(uncertainty, 1), wanted: fine(wanted, 1) });
    const signed = (cents) => ["−", "", "+"][Math.sign(Math.round(cents)) + 1] + fine(Math.abs(cents));
    return [
      word("heard_tempo", { tempo: fine(heard.tempo), first: heard.firstBar, last: heard.lastBar }),
      front,
      ...heard.tuning.map((string) => word("heard_tuning", { string: string.string, cents: signed(string.cents), uncertainty: fine(string.uncertainty) })),
      ...heard.repeats.map((repeat) => word("heard_repeat", { after: repeat.after, to: repeat.to })),
      ...heard.pauses.map((pause) => word("heard_pause", { length: fine(pause.length, 1), bar: pause.bar })),
    ];
  }

  /* The bars again and again, as slowly as is advised. */
  function practise(claim) {
    const percent = claim.speed ? parseInt(claim.speed, 10) : player.speed.percent;
    const slower = T.page.percents.filter((each) => each <= percent).pop() || T.page.percents[0];
    quiet();
    player.halt();
    player.setSpeed(T.speedOf(slower));
    T.pickLoop(barAt(claim.bars[0]), barAt(claim.bars[claim.bars.length - 1]));
    player.play();
  }

  /* ---- what was played and the model, one beside the other from the same bar */

  function beside(heard, samples, bar) {
    const struck = heard.strokes.find((each) => each.bar === bar && each.onset !== null) || heard.strokes.find((each) => each.onset !== null);
    const own = button(word("yours_own"), () => {
      const again = sounding && sounding.button === own;
      quiet();
      if (!again) sound(own, samples, Math.max(struck.onset - BEFORE_S, 0));
    });
    own.setAttribute("aria-pressed", "false");
    const model = button(word("yours_model"), () => {
      quiet();
      player.halt();
      player.setLoop(null);
      player.goToBar(barAt(struck.bar));
      player.play();
    });
    return row(element("span", word("yours_from", { bar: T.barName(barAt(struck.bar)) })), own, model);
  }

  function sound(pressed, samples, from) {
    player.halt();
    T.silence.kit();
    player.ready();
    const { context } = player;
    const buffer = context.createBuffer(1, samples.length, H.RATE_HZ);
    buffer.copyToChannel(samples, 0);
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(context.destination);
    source.onended = () => { if (sounding && sounding.source === source) quiet(); };
    source.start(0, from);
    sounding = { source: source, button: pressed };
    T.press(pressed, true);
  }

  function quiet() {
    if (!sounding) return;
    const { source, button: pressed } = sounding;
    sounding = null;
    source.stop();
    T.press(pressed, false);
  }

  /* ---- all of it */

  function show() {
    T.press(go, recording);
    go.textContent = word(recording ? "yours_stop" : "yours_record");
    T.useTool("yours", recording && word("yours_open"));
    [...plays.made.elements, ...along.made.elements, choose].forEach((field) => { field.disabled = Boolean(recording); });
  }

  player.heard.push(() => { if (player.state === "playing" || player.state === "loading") quiet(); });
  T.toolStops.yours = () => {
    quiet();
    if (recording) finish();
  };
  document.addEventListener("visibilitychange", () => { if (document.hidden && recording) finish(); });
  window.addEventListener("pagehide", () => { if (recording && recording.microphone) recording.microphone.stop(); });

  const microphone = H.canRecord();
  room.append(
    element("p", word("yours_private"), { className: "hint" }),
    plays.made,
    ...(microphone ? [along.made] : [element("p", word("yours_closed"))]),
    row(...(microphone ? [go] : []), choose, file),
    told,
    list,
    all,
    report,
  );
  show();
  draw();
  (microphone ? go : choose).focus();
})(window.TercetHearing, window.Tercet);
