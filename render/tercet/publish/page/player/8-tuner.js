/* The tuner: each open string to tune by ear, or what the microphone hears, which is worked out here and goes nowhere. */
(function (T, player) {
  "use strict";
  const { byId } = T;
  const strings = T.page.strings;
  const listen = byId("listen");
  const AGAIN_S = 2.4;
  const PEAK = 0.3;
  const SAMPLES = 8192;
  const EVERY_MS = 90;
  const IN_TUNE = 3;
  const A_LITTLE = 15;
  const SCALE = 50;
  const RAW = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
  let sounding = null;
  let ear = null;

  const nameOf = (string) => T.text("string_name", { string: string.string, name: string.name });

  /* ---- by ear */

  function openTone(string, rate) {
    const sound = T.openString(string, Math.round(AGAIN_S * rate), rate);
    const most = sound.reduce((highest, height) => Math.max(highest, Math.abs(height)), 0);
    const last = 0.1 * rate;
    return sound.map((height, at) => (PEAK / most) * height * Math.min(1, (sound.length - at) / last));
  }

  const buttons = strings.map((string) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.setAttribute("aria-label", T.text("string_hear", { name: nameOf(string) }));
    const name = document.createElement("strong");
    name.textContent = string.name;
    button.append(string.string + " ", name);
    button.addEventListener("click", () => {
      const again = sounding && sounding.string === string;
      stop();
      if (!again) sound(string);
    });
    return button;
  });
  byId("strings").append(...buttons);

  function sound(string) {
    T.stopTools("tuner");
    player.halt();
    T.silence.kit();
    player.ready();
    const { context } = player;
    const tone = openTone(string, context.sampleRate);
    const buffer = context.createBuffer(1, tone.length, context.sampleRate);
    buffer.getChannelData(0).set(tone);
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.loop = true;
    const gain = context.createGain();
    source.connect(gain);
    gain.connect(context.destination);
    source.start();
    sounding = { string: string, source: source, gain: gain };
    draw();
  }

  function stopSound() {
    if (!sounding) return;
    const now = player.context.currentTime;
    sounding.gain.gain.setTargetAtTime(0, now, 0.01);
    sounding.source.stop(now + 0.1);
    sounding = null;
  }

  /* ---- by microphone */

  const tell = (key) => { byId("heard-words").textContent = key && T.text(key); };

  function verdict(cents) {
    if (Math.abs(cents) <= IN_TUNE) return "tune_in";
    if (cents < 0) return cents < -A_LITTLE ? "tune_low" : "tune_low_little";
    return cents > A_LITTLE ? "tune_high" : "tune_high_little";
  }

  /* The middle of the last few readings of one string: a pluck's first moment is sharp. */
  function steady(found) {
    const { readings } = ear;
    if (readings.length && readings[0].string !== found.string) readings.length = 0;
    readings.push(found);
    if (readings.length > 5) readings.shift();
    const sorted = readings.map(({ cents }) => cents).sort((one, other) => one - other);
    return { string: found.string, cents: sorted[sorted.length >> 1] };
  }

  function hear() {
    if (!ear || !ear.analyser) return;
    ear.analyser.getFloatTimeDomainData(ear.samples);
    const found = T.heardString(ear.samples, ear.context.sampleRate, strings.map(({ hz }) => hz));
    byId("heard").classList.toggle("silent", !found);
    if (!found) {
      ear.readings = [];
      return;
    }
    const { string, cents } = steady(found);
    const rounded = Math.round(cents);
    byId("heard-string").textContent = strings[string].string + " " + strings[string].name;
    byId("heard-cents").textContent = T.text("cents", { cents: (rounded > 0 ? "+" : "") + String(rounded).replace("-", "−") });
    byId("needle").style.left = 50 + (50 * Math.min(Math.max(cents, -SCALE), SCALE)) / SCALE + "%";
    byId("heard").dataset.verdict = verdict(cents);
    const said = T.text("string_verdict", { name: nameOf(strings[string]), verdict: T.text(verdict(cents)) });
    if (byId("heard-words").textContent !== said) byId("heard-words").textContent = said;
  }

  /* Which sentence says why there is no microphone. */
  function reason(error) {
    if (error.name === "NotAllowedError" || error.name === "SecurityError") return "listen_refused";
    return error.name === "NotFoundError" ? "listen_none" : "listen_lost";
  }

  async function open() {
    T.stopTools("tuner");
    player.halt();
    T.silence.kit();
    if (!navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) {
      tell("listen_closed");
      return;
    }
    const mine = { readings: [], samples: new Float32Array(SAMPLES) };
    ear = mine;
    tell("listen_asking");
    draw();
    try {
      mine.stream = await navigator.mediaDevices.getUserMedia({ audio: RAW });
      if (ear !== mine) {
        release(mine);
        return;
      }
      mine.context = new (window.AudioContext || window.webkitAudioContext)();
      mine.analyser = mine.context.createAnalyser();
      mine.analyser.fftSize = SAMPLES;
      mine.context.createMediaStreamSource(mine.stream).connect(mine.analyser);
      mine.timer = setInterval(hear, EVERY_MS);
      tell("listen_on");
    } catch (error) {
      release(mine);
      if (ear !== mine) return;
      ear = null;
      tell(reason(error));
    }
    draw();
  }

  function release({ stream, context, timer }) {
    clearInterval(timer);
    if (stream) stream.getTracks().forEach((track) => track.stop());
    if (context) context.close();
  }

  function stop() {
    stopSound();
    if (ear) {
      release(ear);
      ear = null;
      tell("");
    }
    draw();
  }

  function draw() {
    buttons.forEach((button, index) => T.press(button, sounding && sounding.string === strings[index]));
    T.press(listen, ear);
    listen.textContent = T.text(ear ? "listen_stop" : "listen");
    byId("heard").hidden = !ear || !ear.analyser;
    T.useTool("tuner", (ear || sounding) && T.text("tuner"));
  }

  listen.addEventListener("click", () => { if (ear) stop(); else open(); });
  player.heard.push(() => { if ((ear || sounding) && player.busy) stop(); });
  T.toolStops.tuner = stop;
  window.addEventListener("pagehide", stop);
  draw();
})(window.Tercet, window.Tercet.player);
