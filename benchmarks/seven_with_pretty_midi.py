"""Seven WAV files from one MIDI file with pretty_midi and soundfile: what `three_minutes.py` compares with.

Run as ``python seven_with_pretty_midi.py SONG.mid FONT.sf2 FOLDER``. For each choice of layers the other instruments
are left out, and `PrettyMIDI.fluidsynth` makes the audio, as its documentation shows.
"""

from __future__ import annotations

import copy
import sys
from pathlib import Path

import pretty_midi
import soundfile

RATE_HZ = 48_000
LAYERS = ("melody", "between", "strums")


def main() -> None:
    """Write the seven files."""
    midi_path, font, folder = map(Path, sys.argv[1:])
    folder.mkdir(parents=True, exist_ok=True)
    song = pretty_midi.PrettyMIDI(str(midi_path))
    choices = [LAYERS, *([other for other in LAYERS if other != layer] for layer in LAYERS), *zip(LAYERS)]
    for number, layers in enumerate(choices, 1):
        chosen = copy.copy(song)
        chosen.instruments = [each for each in song.instruments if each.name in (*layers, "count-in")]
        samples = chosen.fluidsynth(fs=RATE_HZ, sf2_path=str(font))
        soundfile.write(folder / f"{number:02}.wav", samples, RATE_HZ, subtype="PCM_16")


if __name__ == "__main__":
    main()
