"""Draw a roll, a strum and a note of the built-in ukulele as spectrograms: the pictures of docs/sound.md.

Run as ``.venv/bin/python benchmarks/spectrograms.py -o PICTURE.png``; in an older checkout for the one before.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from measuring import ROOT, asked, counted, parser_of
from numpy.typing import NDArray
from PIL import Image, ImageDraw

sys.path.insert(0, str(ROOT))

from tercet.arranging import arrange
from tercet.performing import lay_out, perform
from tercet.song import Layer, parse_song
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.sampler import UkuleleSampler

GESTURES: dict[str, tuple[Layer, str, str]] = {
    "a roll": ("melody", "C5:4[4321]", ". . . ."),
    "a strum up": ("strums", ".:4", "u . . ."),
    "a note, C5 on string 1, damped after 0.6 s": ("melody", "C5:1[1] .:3", ". . . ."),
}
"""What is drawn: its layer, the melody and the strums of its bar."""

SONG = """title: A gesture
key: C major
meter: 4/4
tempo: 100
dynamics: {{melody: ff, strums: f}}
sections:
  verse: |
    chords   C[0003]
    melody   {melody}
    strum    {strum}
"""

LENGTH_S, HIGHEST_HZ, RANGE_DB = 1.6, 6_000.0, 90.0
WINDOW_S, STEP_S = 0.03, 0.004
WIDTH, HEIGHT, MARGIN = 400, 300, 28


def sounds() -> dict[str, NDArray[np.float32]]:
    """Return what is drawn, (frames,) each."""
    drawn = {}
    for name, (layer, melody, strum) in GESTURES.items():
        arrangement = arrange(parse_song(SONG.format(melody=melody, strum=strum)))
        take = perform(arrangement, lay_out(arrangement, count_in_bars=0), dry=True)
        drawn[name] = UkuleleSampler().stems(take, [layer])[layer][:, 0]
    return drawn


def spectrogram(sound: NDArray[np.float32]) -> Image.Image:
    """Return a spectrogram from left to right in time, from below up to `HIGHEST_HZ`; darker is louder."""
    size, hop = round(WINDOW_S * SAMPLE_RATE_HZ), round(STEP_S * SAMPLE_RATE_HZ)
    starts = np.arange(0, round(LENGTH_S * SAMPLE_RATE_HZ) - size, hop)
    pieces = np.stack([sound[start : start + size] for start in starts]) * np.hanning(size)
    power = np.abs(np.fft.rfft(pieces, 4 * size)) ** 2
    levels = 10.0 * np.log10(power[:, : round(HIGHEST_HZ * 4 * size / SAMPLE_RATE_HZ)].T[::-1] + 1e-12)
    grey = 255.0 * np.clip((levels.max() - levels) / RANGE_DB, 0.0, 1.0)
    return Image.fromarray(grey.astype(np.uint8)).resize((WIDTH, HEIGHT))


def main() -> int:
    """Draw the picture."""
    parser = parser_of("Draw the built-in ukulele as spectrograms.", 1)
    parser.add_argument("-o", dest="output", type=Path)
    given = asked(parser)
    drawn = sounds()
    counted("sounds drawn", len(drawn))
    picture = Image.new("L", (len(drawn) * (WIDTH + MARGIN) + MARGIN, HEIGHT + 2 * MARGIN), 255)
    pen = ImageDraw.Draw(picture)
    for column, (name, sound) in enumerate(drawn.items()):
        left = MARGIN + column * (WIDTH + MARGIN)
        picture.paste(spectrogram(sound), (left, MARGIN))
        pen.text((left, 8), f"{name}: 0 to {LENGTH_S:g} s, up to {HIGHEST_HZ / 1000:g} kHz", fill=0)
        pen.rectangle((left, MARGIN, left + WIDTH, MARGIN + HEIGHT), outline=128)
    if given.output:
        picture.save(given.output, optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
