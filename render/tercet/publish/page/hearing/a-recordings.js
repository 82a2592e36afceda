/* Recordings: from the microphone or a file to one channel at the rate that is heard, or refused with the reason; takes
   that are kept on this device. */
(function (H) {
  "use strict";
  const F = H.figures.recordings;
  const LARGEST_BYTES = 300e6;
  const RAW = { autoGainControl: false, noiseSuppression: false, echoCancellation: false };
  const BEST = { audioBitsPerSecond: 256000 };
  const KINDS = ["audio/webm;codecs=pcm", "audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"];

  /* ---- what tells nothing is refused: by the name of a sentence of the page, or not */

  function loudest(samples, step) {
    let most = 0;
    for (let first = 0; first + step <= samples.length; first += step) {
      let sum = 0;
      for (let at = first; at < first + step; at += 1) sum += samples[at] * samples[at];
      most = Math.max(most, sum / step);
    }
    return 10 * Math.log10(most + 1e-20);
  }

  function clipped(samples) {
    const top = 0.995 * samples.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
    const size = Math.ceil(samples.length / F.CLIPPED_STEPS);
    return Array.from({ length: F.CLIPPED_STEPS }, (_, n) => samples.subarray(n * size, (n + 1) * size)).every((part) => (
      part.reduce((count, value) => count + (Math.abs(value) > top), 0) > F.MOST_CLIPPED * part.length));
  }

  /* Whether a sound never rises out of itself in the band of strings, and no tone stands out in it. */
  function noise(samples) {
    const band = H.powersByBand(samples, 2048, 2400, H.bands(2048, [200, 4000])).map(([power]) => 10 * Math.log10(power + 1e-20));
    if (H.percentile(band, 98) - H.median(band) >= F.STEADIEST_DB) return false;
    const size = 8192;
    const [low, high] = [200, 2000].map((hz) => (hz * size) / H.RATE_HZ);
    const heights = [];
    H.eachFrame(samples, size, size, Math.ceil(high), (powers) => {
      const some = powers.slice(Math.floor(low) + 1, Math.ceil(high)).map((power) => power + 1e-20);
      heights.push(10 * Math.log10(Math.max(...some) / H.median(some)));
    });
    return H.median(heights) < 17;
  }

  H.refused = (samples) => {
    const length = samples.length / H.RATE_HZ;
    if (length < F.SHORTEST_S) return "yours_short";
    if (length > F.LONGEST_S) return "yours_long";
    if (loudest(samples, H.RATE_HZ / 20) < F.SILENCE_DB) return "yours_silent";
    if (clipped(samples)) return "yours_clipped";
    return noise(samples) ? "yours_noise" : "";
  };

  /* A file's or a take's sound, of one channel; the browser brings it to the rate that is heard. */
  H.samplesOf = async (blob) => {
    if (blob.size > LARGEST_BYTES) throw new Error("yours_long");
    const bytes = await blob.arrayBuffer();
    const sound = await new OfflineAudioContext(1, 1, H.RATE_HZ).decodeAudioData(bytes).catch(() => { throw new Error("yours_unread"); });
    const samples = new Float32Array(sound.length);
    for (let channel = 0; channel < sound.numberOfChannels; channel += 1) {
      const own = sound.getChannelData(channel);
      for (let at = 0; at < samples.length; at += 1) samples[at] += H.clip(own[at] || 0, -8, 8) / sound.numberOfChannels;
    }
    return samples;
  };

  /* A sound as a file of 16 bits (RIFF WAVE), a sixth of what a browser records. */
  H.waveOf = (samples) => {
    const bytes = new DataView(new ArrayBuffer(44 + 2 * samples.length));
    const words = (at, text) => [...text].forEach((letter, n) => bytes.setUint8(at + n, letter.charCodeAt(0)));
    words(0, "RIFF");
    bytes.setUint32(4, 36 + 2 * samples.length, true);
    words(8, "WAVEfmt ");
    bytes.setUint32(16, 16, true);
    [1, 1].forEach((value, n) => bytes.setUint16(20 + 2 * n, value, true));
    [H.RATE_HZ, 2 * H.RATE_HZ].forEach((value, n) => bytes.setUint32(24 + 4 * n, value, true));
    [2, 16].forEach((value, n) => bytes.setUint16(32 + 2 * n, value, true));
    words(36, "data");
    bytes.setUint32(40, 2 * samples.length, true);
    samples.forEach((value, n) => bytes.setInt16(44 + 2 * n, Math.round(32767 * H.clip(value, -1, 1)), true));
    return new Blob([bytes], { type: "audio/wav" });
  };

  /* ---- the microphone */

  H.canRecord = () => Boolean(navigator.mediaDevices && navigator.mediaDevices.getUserMedia && window.MediaRecorder);

  /* Asks for the microphone as it is, without what devices do to voices; `settings` is what this one really does. */
  H.openMicrophone = async () => {
    const stream = await navigator.mediaDevices.getUserMedia({ audio: { ...RAW } });
    const kind = KINDS.find((one) => MediaRecorder.isTypeSupported(one));
    const recorder = new MediaRecorder(stream, kind ? { ...BEST, mimeType: kind } : BEST);
    const parts = [];
    recorder.addEventListener("dataavailable", ({ data }) => parts.push(data));
    const done = new Promise((resolve) => {
      recorder.addEventListener("stop", () => resolve(new Blob(parts, { type: recorder.mimeType })));
    });
    const settings = stream.getAudioTracks()[0].getSettings();
    return {
      left: Object.keys(RAW).filter((name) => settings[name] !== false),
      start: () => recorder.start(),
      stop() {
        if (recorder.state !== "inactive") recorder.stop();
        stream.getTracks().forEach((track) => track.stop());
        return done;
      },
    };
  };

  /* ---- takes of a song, kept in this browser alone; for this visit where it keeps nothing */

  const held = [];
  const asked = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

  async function store(mode) {
    const opening = window.indexedDB.open("tercet-takes", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("takes", { keyPath: "id", autoIncrement: true }).createIndex("song", "song");
    const base = await asked(opening);
    return { base: base, takes: base.transaction("takes", mode).objectStore("takes") };
  }

  async function within(mode, use) {
    const { base, takes } = await store(mode);
    try {
      return await asked(use(takes));
    } finally {
      base.close();
    }
  }

  /* Whether it was kept beyond this visit. */
  H.keepTake = async (take) => {
    try {
      take.id = await within("readwrite", (takes) => takes.add(take));
      return true;
    } catch (_) {
      held.push(take);
      return false;
    }
  };

  H.keptTakes = async (song) => {
    const kept = await within("readonly", (takes) => takes.index("song").getAll(song)).catch(() => []);
    return [...kept, ...held].sort((one, other) => other.when - one.when);
  };

  H.deleteTake = async (take) => {
    if (held.includes(take)) held.splice(held.indexOf(take), 1);
    else await within("readwrite", (takes) => takes.delete(take.id)).catch(() => {});
  };
})(window.TercetHearing);
