"""What a page plays, as samples: rendered by the browser's own audio engine, without a loudspeaker.

The page asks for an `AudioContext` and gets an offline one: everything else is the page as it is. Between two moments
of the audio's own time a test can press what a student presses.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from playwright.sync_api import Page

__all__ = [
    "OFFLINE",
    "RATE_HZ",
    "Samples",
    "left_over_db",
    "level_db",
    "parts_of",
    "play",
    "rendered",
    "rendered_sides",
    "samples_of",
    "sending",
    "set_speed",
    "stems_of",
]

RATE_HZ = 48_000
Samples = NDArray[np.float32]

OFFLINE = """
window.audioLength = 20;
window.audioSides = 1;
window.AudioContext = function () {
  const context = new OfflineAudioContext(window.audioSides, 48000 * window.audioLength, 48000);
  context.resume = () => Promise.resolve();
  window.offline = context;
  return context;
};
"""
"""Run before the page's own script."""

SENT = """
const sent = (sound) => {
  const bytes = new Uint8Array(new Float32Array(sound).buffer);
  let text = "";
  for (let at = 0; at < bytes.length; at += 9999) text += String.fromCharCode(...bytes.subarray(at, at + 9999));
  return btoa(text);
};
"""


def sending(script: str) -> str:
    """Return a script, a function of one argument, in which `sent(samples)` is a text that `samples_of` reads."""
    return f"(() => {{{SENT}return {script.strip()}}})()"


_RENDER = sending("""
async (steps) => {
  const context = window.offline;
  const go = () => OfflineAudioContext.prototype.resume.call(context);
  const times = new Set(Object.keys(steps).map(Number));
  for (let second = 1; second < window.audioLength; second += 1) times.add(second);
  for (const time of times) {
    context.suspend(time).then(() => {
      if (steps[time]) document.querySelector(steps[time]).click();
      Tercet.player.tick();
      go();
    });
  }
  const late = new Promise((_, reject) => setTimeout(() => reject(new Error("no sound within a minute")), 60000));
  const buffer = await Promise.race([context.startRendering(), late]);
  return Array.from({ length: buffer.numberOfChannels }, (_, side) => sent(buffer.getChannelData(side)));
}
""")

_STEM = sending("""
async ([percent, part]) => {
  const speed = Tercet.speedOf(percent);
  let samples;
  if (Tercet.speedFacts) {
    const frames = Math.ceil(speed.length * 48);
    const context = new OfflineAudioContext(1, frames, 48000);
    const source = context.createBufferSource();
    const buffer = context.createBuffer(1, frames, 48000);
    buffer.getChannelData(0).set(Tercet.partSound(speed, part, 0, frames));
    source.buffer = buffer;
    source.connect(Tercet.source.entrance(context, part, context.destination));
    source.start();
    samples = (await context.startRendering()).getChannelData(0);
  } else {
    const stem = (await Tercet.source.load(speed)).parts[part];
    samples = stem.buffer.getChannelData(0).slice(stem.begins);
  }
  return sent(samples);
}
""")
"""A part as a page works it out, in its room; or as the page decoded, laid out and aligned its stem."""


def play(page: Page, heard_s: int = 20) -> None:
    """Press Play and wait until the sound stands on the clock; so many seconds of it are rendered."""
    page.evaluate("(seconds) => { window.audioLength = seconds; }", heard_s)
    page.click("#go")
    page.wait_for_function("() => Tercet.player.state === 'playing'")


def set_speed(page: Page, percent: int) -> None:
    """Press Slower or Quicker until a speed is reached."""
    for _ in range(20):
        now = float(page.evaluate("Tercet.player.speed.percent"))
        if now == percent:
            return
        page.click("#slower" if now > percent else "#quicker")
    raise AssertionError(f"no {percent} % on the page")


def rendered(page: Page, steps: Mapping[float, str] | None = None) -> Samples:
    """Return all that is heard from the moment Play was pressed; `steps` name what is clicked at which second."""
    (heard,) = _rendered(page, steps or {})
    return heard


def rendered_sides(page: Page) -> Samples:
    """Return all that is heard left and right from the moment Play was pressed, (frames, 2)."""
    return np.stack(_rendered(page, {}), axis=1)


def _rendered(page: Page, steps: Mapping[float, str]) -> list[Samples]:
    sides = page.evaluate(_RENDER, {str(time): selector for time, selector in steps.items()})
    return [samples_of(side) for side in sides]


def parts_of(page: Page, speed: str) -> dict[str, Samples]:
    """Return what a page has of each part at a speed in percent, all equally long."""
    names = page.evaluate("() => Tercet.page.parts.map((part) => part.name)")
    stems = [samples_of(page.evaluate(_STEM, [float(speed), place])) for place in range(len(names))]
    length = max(map(len, stems))
    return {name: np.pad(stem, (0, length - len(stem))) for name, stem in zip(names, stems, strict=True)}


def stems_of(page: Page, speed: str) -> list[Samples]:
    """Return what a page has of each layer at a speed, in the order of the layers."""
    parts = parts_of(page, speed)
    layer_of = page.evaluate("() => Tercet.page.parts.map((part) => part.layer)")
    silence = np.zeros(len(next(iter(parts.values()))), np.float32)
    return [
        sum((stem for stem, of in zip(parts.values(), layer_of, strict=True) if of == layer), silence)
        for layer in range(3)
    ]


def samples_of(text: Any) -> Samples:
    """Return samples that a page sent as text."""
    return np.frombuffer(base64.b64decode(text), np.float32)


def level_db(samples: Samples) -> float:
    """Return the mean level of samples in dB of full scale."""
    return float(10.0 * np.log10(np.mean(samples.astype(np.float64) ** 2) + 1e-20))


def left_over_db(heard: Samples, expected: Samples) -> float:
    """Return how far what is heard differs from what is expected, in dB of what is expected."""
    length = min(len(heard), len(expected))
    return level_db(heard[:length] - expected[:length]) - level_db(expected[:length])
