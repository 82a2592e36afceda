/* The built-in ukulele, worked out here as the tracks' player does it (tercet.sound has the model and its sources):
   what rings is known by its transform on a circle, and one Fourier transform makes samples of that. */
(function (T) {
  "use strict";
  const TURN = 2 * Math.PI;
  const [WHOLE, TURNS, LOOP, RINGING, TOUCH, SOFT, FIRM, ASIDE] = [0, 1, 2, 3, 4, 5, 6, 7];

  /* ---- Fourier transforms of 2^k points */

  const steps = new Map();

  function stepsOf(size) {
    if (!steps.has(size)) {
      const cosines = new Float64Array(size / 2);
      const sines = new Float64Array(size / 2);
      for (let index = 0; index < size / 2; index += 1) {
        cosines[index] = Math.cos((TURN * index) / size);
        sines[index] = Math.sin((TURN * index) / size);
      }
      steps.set(size, [cosines, sines]);
    }
    return steps.get(size);
  }

  /* Room to work in, used again and again: a complex array of some length, by number. */
  const rooms = [];

  function room(number, length) {
    if (!rooms[number] || rooms[number][0].length < length) {
      rooms[number] = [new Float64Array(length), new Float64Array(length)];
    }
    return rooms[number].map((part) => part.subarray(0, length));
  }

  function swapped(re, im, size) {
    for (let index = 1, other = 0; index < size; index += 1) {
      let bit = size >> 1;
      for (; other & bit; bit >>= 1) other ^= bit;
      other ^= bit;
      if (index < other) {
        const x = re[index];
        const y = im[index];
        re[index] = re[other];
        im[index] = im[other];
        re[other] = x;
        im[other] = y;
      }
    }
  }

  /* From a spectrum to its signal, in place, without dividing by the number of points. */
  function transformed(re, im) {
    const size = re.length;
    swapped(re, im, size);
    const [cosines, sines] = stepsOf(size);
    for (let half = 1, stride = size >> 1; half < size; half <<= 1, stride >>= 1) {
      for (let start = 0; start < size; start += 2 * half) {
        for (let near = start, step = 0; near < start + half; near += 1, step += stride) {
          const far = near + half;
          const x = re[far] * cosines[step] - im[far] * sines[step];
          const y = re[far] * sines[step] + im[far] * cosines[step];
          re[far] = re[near] - x;
          im[far] = im[near] - y;
          re[near] += x;
          im[near] += y;
        }
      }
    }
  }

  /* Few sizes: what is worked out for one of them serves many notes. */
  const SMALLEST = 32768;

  function sizeOf(frames) {
    let size = SMALLEST;
    while (size < frames) size *= 2;
    return size;
  }

  T.stringModel = function (model) {
    const { rate, body, pluck } = model;
    const corner = 1 / (TURN * pluck.corner);
    const khz2 = -1 / (2000 * Math.PI) ** 2;
    const circles = new Map();

    /* What modes of the body do at points of a circle, added to what is there. */
    function addModes(re, im, circle, modes) {
      modes.forEach(([hertz, sharpness, part]) => {
        const own = TURN * hertz;
        const width = own / sharpness;
        const { sigma, step } = circle;
        const x = sigma * width;
        for (let at = 0; at < re.length; at += 1) {
          const omega = at * step;
          const y = omega * width;
          const a = sigma * sigma - omega * omega + x + own * own;
          const b = 2 * sigma * omega + y;
          const scale = part / (a * a + b * b);
          re[at] += (x * a + y * b) * scale;
          im[at] += (y * a - x * b) * scale;
        }
      });
    }

    /* What is heard of a body that moves, in place. */
    function radiate(re, im, circle) {
      body.radiation.forEach((hertz) => {
        const low = TURN * hertz;
        const { sigma, step } = circle;
        const a = sigma + low;
        for (let at = 0; at < re.length; at += 1) {
          const omega = at * step;
          const scale = 1 / (a * a + omega * omega);
          const x = (sigma * a + omega * omega) * scale;
          const y = omega * low * scale;
          const was = re[at];
          re[at] = was * x - im[at] * y;
          im[at] = was * y + im[at] * x;
        }
      });
    }

    function circleOf(frames) {
      const size = sizeOf(frames + model.circle.spare);
      if (circles.has(size)) return circles.get(size);
      const slope = ((model.circle.folded_db / 20) * Math.LN10) / size;
      const [from, highest] = model.circle.falls;
      const points = Math.min(size / 2, Math.floor((size * highest) / rate)) + 1;
      const step = (TURN * rate) / size;
      const circle = {
        size: size,
        points: points,
        sigma: slope * rate,
        step: step,
        weight: new Float64Array(points),
        growth: new Float64Array(size),
      };
      for (let at = 0; at < points; at += 1) {
        const fall = Math.min(Math.max(((at * rate) / size - from) / (highest - from), 0), 1);
        circle.weight[at] = (0.5 + 0.5 * Math.cos(Math.PI * fall)) / size;
      }
      for (let at = 0; at < size; at += 1) circle.growth[at] = Math.exp(slope * at);
      circle.moved = [new Float64Array(points), new Float64Array(points)];
      addModes(...circle.moved, circle, body.modes.slice(0, body.moving));
      circle.body = circle.moved.map((part) => part.slice());
      addModes(...circle.body, circle, body.modes.slice(body.moving));
      for (let at = 0; at < points; at += 1) circle.body[0][at] += body.direct;
      radiate(...circle.body, circle);
      circles.set(size, circle);
      return circle;
    }

    /* From transforms of one or two real sounds at the points of a circle, as complex numbers, to samples: they stand where
       the next ones will. */
    function samples(circle, frames, re, im, otherRe, otherIm) {
      const { size, weight, growth } = circle;
      const [x, y] = room(WHOLE, size);
      x.fill(0);
      y.fill(0);
      for (let at = 0; at < re.length; at += 1) {
        const w = weight[at];
        const a = re[at] * w;
        const b = im[at] * w;
        const c = otherRe ? otherRe[at] * w : 0;
        const d = otherRe ? otherIm[at] * w : 0;
        if (at === 0 || 2 * at === size) {
          x[at] = a;
          y[at] = c;
        } else {
          x[at] = a - d;
          y[at] = b + c;
          x[size - at] = a + d;
          y[size - at] = c - b;
        }
      }
      transformed(x, y);
      for (let at = 0; at < frames; at += 1) {
        x[at] *= growth[at];
        y[at] *= growth[at];
      }
      return [x.subarray(0, frames), y.subarray(0, frames)];
    }

    /* How many turns a wave makes once round a stiff string. */
    function turnsOf(circle, points, string) {
      const { stiffness, hz } = string;
      const unit = Math.sqrt(1 + stiffness) / (TURN * hz);
      const [turnsX, turnsY] = room(TURNS, points);
      const y = -circle.sigma * unit;
      for (let at = 0; at < points; at += 1) {
        const x = at * circle.step * unit;
        let a = 1 + 4 * stiffness * (x * x - y * y);
        let b = 8 * stiffness * x * y;
        let size = Math.sqrt(a * a + b * b);
        const real = 1 + Math.sqrt((size + a) / 2);
        const imaginary = -Math.sqrt(Math.max((size - a) / 2, 0));
        size = real * real + imaginary * imaginary;
        a = (2 * real) / size;
        b = (-2 * imaginary) / size;
        size = Math.sqrt(a * a + b * b);
        a = Math.sqrt((size + a) / 2);
        b /= 2 * a;
        turnsX[at] = x * a - y * b;
        turnsY[at] = x * b + y * a;
      }
      return [turnsX, turnsY];
    }

    /* What comes back after once round a string, by its size's logarithm and its angle, at each point of a circle. */
    function loopOf(circle, string, decay, stretch, turnsX, turnsY) {
      const points = turnsX.length;
      const { sigma, step } = circle;
      const [movedX, movedY] = circle.moved;
      const loss = string.loss * khz2;
      const grows = TURN * stretch;
      const [sizes, angles] = room(LOOP, points);
      for (let at = 0; at < points; at += 1) {
        const omega = at * step;
        const real = decay + loss * (sigma * sigma - omega * omega) + string.bridge * movedX[at];
        const imaginary = loss * 2 * sigma * omega + string.bridge * movedY[at];
        sizes[at] = grows * turnsY[at] - real / string.hz;
        angles[at] = -grows * turnsX[at] - imaginary / string.hz;
      }
      return [sizes, angles];
    }

    /* Add what rings because of such a loop, 1 / (1 - loop), to what is there. */
    function addRing(re, im, part, sizes, angles) {
      for (let at = 0; at < re.length; at += 1) {
        const size = Math.exp(sizes[at]);
        const a = 1 - size * Math.cos(angles[at]);
        const b = size * Math.sin(angles[at]);
        const scale = part / (a * a + b * b);
        re[at] += a * scale;
        im[at] += b * scale;
      }
    }

    /* Two complex factors at each point, the first in place. */
    function multiply(re, im, otherRe, otherIm) {
      for (let at = 0; at < re.length; at += 1) {
        const was = re[at];
        re[at] = was * otherRe[at] - im[at] * otherIm[at];
        im[at] = was * otherIm[at] + im[at] * otherRe[at];
      }
    }

    /* The fall of a string that was drawn aside, in place. */
    function draw(re, im, circle, hz) {
      const a = 1 + (circle.sigma * corner) / hz;
      for (let at = 0; at < re.length; at += 1) {
        const b = (at * circle.step * corner) / hz;
        const scale = 1 / (a * a + b * b);
        const was = re[at];
        re[at] = (was * a + im[at] * b) * scale;
        im[at] = (im[at] * a - was * b) * scale;
      }
    }

    /* How high the end of a sound stands that sinks to nothing by half a cosine over its last frames. */
    const sinking = (left, last) => (left > last ? 1 : 0.5 - 0.5 * Math.cos((Math.PI * (left - 1)) / (last - 1)));

    let pushed = null;

    /* What is heard when the hand pushes the body. */
    function knock() {
      if (pushed) return pushed;
      const { modes, width, frames, gain } = model.knock;
      const circle = circleOf(frames - model.circle.spare);
      const re = new Float64Array(circle.points);
      const im = new Float64Array(circle.points);
      addModes(re, im, circle, modes);
      radiate(re, im, circle);
      touch(re, im, circle, width);
      const [sound] = samples(circle, frames - model.circle.spare, re, im);
      pushed = Float32Array.from(sound, (height) => gain * height);
      return pushed;
    }

    /* The low-pass of a touch, around the moment when the string is let go. */
    function touchOf(circle, points, width) {
      const { sigma, step } = circle;
      const found = room(TOUCH, points);
      for (let at = 0; at < points; at += 1) {
        const omega = at * step;
        const size = Math.exp(0.5 * width * width * (sigma * sigma - omega * omega) - sigma * pluck.let_go);
        const angle = width * width * sigma * omega - omega * pluck.let_go;
        found[0][at] = size * Math.cos(angle);
        found[1][at] = size * Math.sin(angle);
      }
      return found;
    }

    const touch = (re, im, circle, width) => multiply(re, im, ...touchOf(circle, re.length, width));

    const pointsOf = (circle, width) => Math.min(circle.points, Math.ceil(pluck.left / width / circle.step));

    /* A note in its soft and its firm touch, and what the firm one changes by beside its place; up to some frames. */
    function tone(note, wanted) {
      const frames = Math.min(Math.ceil(wanted), note.frames);
      const circle = circleOf(frames);
      const points = pointsOf(circle, note.widths[1]);
      const push = knock();
      const [turnsX, turnsY] = turnsOf(circle, points, note);
      const ringing = room(RINGING, points);
      ringing.forEach((part) => part.fill(0));
      const towards = loopOf(circle, note, ...note.top, turnsX, turnsY);
      addRing(...ringing, model.parts[0], ...towards);
      for (let at = 0; at < points; at += 1) {
        towards[0][at] -= TURN * model.uneven * turnsY[at];
        towards[1][at] += TURN * model.uneven * turnsX[at];
      }
      addRing(...ringing, model.parts[2], ...towards);
      addRing(...ringing, model.parts[1], ...loopOf(circle, note, ...note.along, turnsX, turnsY));
      multiply(...ringing, ...circle.body);
      draw(...ringing, circle, note.hz);
      const soft = room(SOFT, points);
      const firm = room(FIRM, points);
      const aside = room(ASIDE, points);
      for (let at = 0; at < points; at += 1) {
        const x = TURN * turnsX[at];
        const y = TURN * turnsY[at];
        const size = Math.exp(note.place * y);
        const combX = size * Math.cos(note.place * x);
        const combY = -size * Math.sin(note.place * x);
        const grown = Math.exp(-note.aside * y);
        const moveX = 0.5 * (grown - 1 / grown) * Math.cos(note.aside * x);
        const moveY = 0.5 * (grown + 1 / grown) * Math.sin(note.aside * x);
        soft[0][at] = 1 - combX;
        soft[1][at] = -combY;
        aside[0][at] = combX * moveX - combY * moveY;
        aside[1][at] = combX * moveY + combY * moveX;
      }
      multiply(...soft, ...ringing);
      multiply(...aside, ...ringing);
      for (let at = 0; at < points; at += 1) {
        firm[0][at] = soft[0][at] + pluck.thud * circle.body[0][at];
        firm[1][at] = soft[1][at] + pluck.thud * circle.body[1][at];
      }
      const softly = soft.map((part) => part.subarray(0, pointsOf(circle, note.widths[0])));
      touch(...softly, circle, note.widths[0]);
      soft.forEach((part) => part.fill(0, softly[0].length));
      const firmly = touchOf(circle, points, note.widths[1]);
      multiply(...firm, ...firmly);
      multiply(...aside, ...firmly);
      const last = Math.round(model.fade * rate);

      function voiced(sound, which) {
        const gain = note.gains[which];
        const heard = new Float32Array(frames);
        for (let at = 0; at < frames; at += 1) heard[at] = gain * sound[at];
        const under = note.knocks[which] || 0;
        for (let at = 0; at < Math.min(push.length, frames); at += 1) heard[at] += under * push[at];
        for (let at = 0; at < model.rise; at += 1) heard[at] *= at / model.rise;
        for (let at = note.frames - last; at < frames; at += 1) heard[at] *= sinking(note.frames - at, last);
        return heard;
      }

      const touches = samples(circle, frames, ...soft, ...firm).map(voiced);
      const sounds = [...touches, voiced(samples(circle, frames, ...aside)[0], 2)];
      return { sounds: sounds, whole: frames === note.frames };
    }

    /* What an open string rings along with a note: damped sines, from two poles and an amplitude for each meeting. */
    function ring(meetings) {
      const frames = Math.round(model.longest_ring * rate);
      const silent = Math.round(pluck.let_go * rate);
      const heard = new Float32Array(frames);
      meetings.forEach(([px, py, qx, qy, ax, ay]) => {
        [[px, py, 2], [qx, qy, -2]].forEach(([x, y, sign]) => {
          const size = Math.exp(x / rate);
          const turnX = size * Math.cos(y / rate);
          const turnY = size * Math.sin(y / rate);
          let re = ax * sign;
          let im = ay * sign;
          for (let at = silent; at < frames; at += 1) {
            heard[at] += re;
            const next = re * turnX - im * turnY;
            im = re * turnY + im * turnX;
            re = next;
          }
        });
      });
      const last = Math.floor(frames / 3);
      for (let at = frames - last; at < frames; at += 1) heard[at] *= sinking(frames - at, last);
      return heard;
    }

    /* A blow or a chop sinks to nothing over its last part, and is as high as it is said to be. */
    function finished(sound, { length, sinking: part, peak }) {
      const frames = Math.round(length * rate);
      let most = 0;
      for (let at = 0; at < frames; at += 1) {
        const fall = Math.min((frames - at) / (part * frames), 1);
        sound[at] *= 0.5 - 0.5 * Math.cos(Math.PI * fall);
        most = Math.max(most, Math.abs(sound[at]));
      }
      return Float32Array.from(sound, (height) => (peak * height) / most);
    }

    /* A chop on damped strings, from the last string on or, coming up, from the first. */
    function chop(figures, strength, up) {
      const [width, gap] = figures.strengths[strength];
      const frames = Math.round(figures.length * rate);
      const circle = circleOf(frames);
      const force = [new Float64Array(circle.points), new Float64Array(circle.points)];
      const met = up ? figures.strings.slice().reverse() : figures.strings;
      const { points } = circle;
      met.forEach((string, number) => {
        const [turnsX, turnsY] = turnsOf(circle, points, string);
        const hit = room(RINGING, points);
        hit.forEach((part) => part.fill(0));
        addRing(...hit, up ? figures.thinning ** number : 1, ...loopOf(circle, string, ...string.top, turnsX, turnsY));
        const comb = room(SOFT, points);
        for (let at = 0; at < points; at += 1) {
          const size = Math.exp(TURN * figures.place * turnsY[at]);
          comb[0][at] = 1 - size * Math.cos(TURN * figures.place * turnsX[at]);
          comb[1][at] = size * Math.sin(TURN * figures.place * turnsX[at]);
        }
        multiply(...hit, ...comb);
        draw(...hit, circle, string.hz);
        addLater(...force, circle, gap * number, ...hit);
      });
      const slap = figures.slap * met.length;
      addLater(...force, circle, gap * (met.length - 1), new Float64Array(points).fill(slap), new Float64Array(points));
      multiply(...force, ...circle.body);
      touch(...force, circle, width);
      const heard = finished(samples(circle, frames, ...force)[0], figures);
      for (let at = 0; at < model.rise; at += 1) heard[at] *= at / model.rise;
      return heard;
    }

    /* Add something that comes some seconds later to what is there. */
    function addLater(re, im, circle, seconds, otherRe, otherIm) {
      const size = Math.exp(-circle.sigma * seconds);
      for (let at = 0; at < re.length; at += 1) {
        const x = size * Math.cos(at * circle.step * seconds);
        const y = -size * Math.sin(at * circle.step * seconds);
        re[at] += otherRe[at] * x - otherIm[at] * y;
        im[at] += otherRe[at] * y + otherIm[at] * x;
      }
    }

    /* One blow on wood or a bell, higher by a factor; `noise` is its beater's. */
    function struck(figures, higher, noise) {
      const frames = Math.round(figures.length * rate);
      const early = Math.round((pluck.let_go - 6 * figures.width) * rate);
      const circle = circleOf(frames + early);
      const re = new Float64Array(circle.points);
      const im = new Float64Array(circle.points);
      figures.partials.forEach(([hertz, t60, amplitude]) => {
        const omega = TURN * hertz * higher;
        const x = circle.sigma + Math.log(1000) / t60;
        for (let at = 0; at < circle.points; at += 1) {
          const y = at * circle.step;
          const a = x * x - y * y + omega * omega;
          const b = 2 * x * y;
          const scale = (amplitude * omega) / (a * a + b * b);
          re[at] += a * scale;
          im[at] -= b * scale;
        }
      });
      touch(re, im, circle, figures.width);
      const sound = samples(circle, frames + early, re, im)[0].slice(early);
      const most = sound.reduce((high, height) => Math.max(high, Math.abs(height)), 0);
      sound.forEach((_, at) => { sound[at] = sound[at] / most + (at < noise.length ? figures.noise * noise[at] : 0); });
      return finished(sound, figures);
    }

    return { tone: tone, ring: ring, chop: chop, struck: struck };
  };
})(window.Tercet);
