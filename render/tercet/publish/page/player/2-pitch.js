/* How high a sound is: McLeod & Wyvill's normalised square difference ("A smarter way to find pitch", 2005), and which string that is. */
(function (T) {
  "use strict";
  const LEAST_RMS = 0.0006;
  const LEAST_CLEAR = 0.6;
  const FIRST_PART = 0.9;
  const BEYOND = 1.35;
  const AS_CLEAR = 0.85;

  const cents = (hz, from) => 1200 * Math.log2(hz / from);

  /* Twice what a sound has in common with itself some samples later, as a part of all that is there: 1 where it repeats. */
  function likeness(sound, lag) {
    let shared = 0;
    let all = 0;
    for (let at = lag; at < sound.length; at += 1) {
      const now = sound[at];
      const before = sound[at - lag];
      shared += now * before;
      all += now * now + before * before;
    }
    return all ? (2 * shared) / all : 0;
  }

  /* The top of the parabola through three neighbouring values, as a distance from the middle one. */
  function summit(before, here, after) {
    const bend = before - 2 * here + after;
    return bend < 0 ? (0.5 * (before - after)) / bend : 0;
  }

  /* The period in samples: the first likeness that is nearly the greatest; else where it would be a longer one, an octave too low. */
  function roughPeriod(sound, shortest, longest) {
    const found = [];
    for (let lag = 0; lag <= longest + 1; lag += 1) found.push(likeness(sound, lag));
    const tops = [];
    let fallen = false;
    for (let lag = 1; lag <= longest; lag += 1) {
      if (found[lag] < 0) fallen = true;
      if (fallen && lag >= shortest && found[lag] > 0 && found[lag] >= found[lag - 1] && found[lag] > found[lag + 1]) tops.push(lag);
    }
    const most = Math.max(...tops.map((lag) => found[lag]), 0);
    const lag = tops.find((each) => found[each] >= FIRST_PART * most);
    if (!lag || found[lag] < LEAST_CLEAR) return null;
    return { period: lag + summit(found[lag - 1], found[lag], found[lag + 1]), clear: found[lag] };
  }

  /* The same over two, four, eight periods: what is off at one of them is an eighth of that at eight. */
  function finePeriod(sound, { period, clear }) {
    let fine = period;
    for (let times = 2; times * fine < sound.length / 2; times *= 2) {
      let lag = Math.round(times * fine);
      let three = [-1, 0, 1].map((by) => likeness(sound, lag + by));
      for (let steps = 0; steps < 2 && (three[0] > three[1] || three[2] > three[1]); steps += 1) {
        lag += three[0] > three[1] ? -1 : 1;
        three = [-1, 0, 1].map((by) => likeness(sound, lag + by));
      }
      if (three[1] < AS_CLEAR * clear || three[0] > three[1] || three[2] > three[1]) break;
      fine = (lag + summit(...three)) / times;
    }
    return fine;
  }

  /* The loudest string: its index among some frequencies in Hz, and how many cents it is above; null where nothing is clear. */
  T.heardString = function (samples, rate, strings) {
    const mean = samples.reduce((sum, height) => sum + height, 0) / samples.length;
    const sound = Float64Array.from(samples, (height) => height - mean);
    const power = sound.reduce((sum, height) => sum + height * height, 0) / sound.length;
    if (power < LEAST_RMS ** 2) return null;
    const shortest = Math.floor(rate / (Math.max(...strings) * BEYOND));
    const longest = Math.ceil((rate / Math.min(...strings)) * BEYOND);
    const rough = roughPeriod(sound, shortest, longest);
    if (!rough) return null;
    const hz = rate / finePeriod(sound, rough);
    const away = strings.map((string) => cents(hz, string));
    const nearest = away.reduce((best, each, index) => (Math.abs(each) < Math.abs(away[best]) ? index : best), 0);
    return { string: nearest, cents: away[nearest], hz: hz };
  };
})(window.Tercet);
