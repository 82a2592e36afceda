/* Templates: what a stroke's spectrum looks like on the axis of pitches, and how well what newly sounds fits it. */
(function (H) {
  "use strict";
  const F = H.figures.templates;
  const { BINS_AN_OCTAVE } = H.figures.spectra;
  const lengthOf = (values) => Math.sqrt(values.reduce((sum, value) => sum + value * value, 0));

  H.pitchTemplate = (midi, cents, windowFrames = F.WINDOW_FRAMES) => {
    const base = H.hzOf(midi, cents);
    const sum = new Float64Array(H.axis.length);
    for (let partial = 1; partial <= F.PARTIALS; partial += 1) {
      const hz = base * partial;
      if (hz > H.axis[H.axis.length - 1]) break;
      const width = Math.max(0.6 * hz * (2 ** (1 / BINS_AN_OCTAVE) - 1), (1.3 * H.RATE_HZ) / windowFrames);
      H.axis.forEach((centre, at) => { sum[at] += Math.exp(-0.5 * ((centre - hz) / width) ** 2) / partial; });
    }
    const length = lengthOf(sum);
    return sum.map((value) => value / length);
  };

  H.strokeTemplates = (strokes, cents) => {
    const alone = new Map();
    const of = (midi) => {
      if (!alone.has(midi)) alone.set(midi, H.pitchTemplate(midi, cents));
      return alone.get(midi);
    };
    return strokes.map((stroke) => {
      const made = new Float64Array(H.axis.length);
      const top = Math.max(...stroke.strings.map((string) => string.level));
      if (stroke.action === "chop") made.fill(1);
      else {
        stroke.strings.forEach((string) => {
          const part = 10 ** ((string.level - top) / 40);
          of(string.midi).forEach((value, at) => { made[at] += part * value; });
        });
      }
      const roots = made.map(Math.sqrt);
      const length = lengthOf(roots);
      return roots.map((value) => value / length);
    });
  };

  /* What newly sounds at each time, and the recording's colour, taken out of it. */
  H.newlySounding = (samples, times) => {
    const size = F.WINDOW_FRAMES;
    const frame = (seconds) => H.even(seconds * H.RATE_HZ);
    const found = Array.from(times, (time) => (
      H.newAmplitudes(samples, frame(time - F.BEFORE_S - size / H.RATE_HZ), frame(time + F.AFTER_S), size, F.TRANSFORM, F.TAKEN_OUT)));
    const mean = H.axis.map((_, at) => Math.max(H.mean(found.map(({ all }) => all[at])), 1e-9));
    const smooth = H.smoothed(mean, 2 * (BINS_AN_OCTAVE >> 1) + 1);
    const most = Math.max(...smooth);
    const colour = smooth.map((value) => (value / most) ** F.WHITE);
    return { colour: colour, amplitudes: found.map(({ fresh }) => fresh.map((value, at) => value / colour[at])) };
  };

  /* How well what newly sounds fits each template, (onsets, strokes), from 0 to 1. */
  H.fits = ({ amplitudes }, templates) => amplitudes.map((one) => {
    const roots = one.map((value) => Math.sqrt(Math.max(value, 0)));
    const length = lengthOf(roots) + 1e-9;
    return Float64Array.from(templates, (template) => {
      let sum = 0;
      for (let at = 0; at < roots.length; at += 1) sum += roots[at] * template[at];
      return sum / length;
    });
  });
})(window.TercetHearing);
