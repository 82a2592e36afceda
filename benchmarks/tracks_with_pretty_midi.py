"""One WAV file for each MIDI file of a folder, with pretty_midi and soundfile: what `kit.py` compares with.

Run as ``python tracks_with_pretty_midi.py MIDI-FOLDER FONT.sf2 FOLDER``. `PrettyMIDI.fluidsynth` makes the audio, as
its documentation shows.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pretty_midi
import soundfile

RATE_HZ = 48_000


def main() -> None:
    """Write the files."""
    midi_folder, font, folder = map(Path, sys.argv[1:])
    folder.mkdir(parents=True, exist_ok=True)
    for path in sorted(midi_folder.glob("*.mid")):
        samples = pretty_midi.PrettyMIDI(str(path)).fluidsynth(fs=RATE_HZ, sf2_path=str(font))
        soundfile.write(folder / f"{path.stem}.wav", samples, RATE_HZ, subtype="PCM_16")


if __name__ == "__main__":
    main()
