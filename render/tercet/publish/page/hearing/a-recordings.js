/* Recordings: what is refused, with the reason; takes that are kept on this device. */
(function (H) {
  "use strict";
  const F = H.figures.recordings;

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
