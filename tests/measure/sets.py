"""How two sets of a kit, made for players who sound together, agree: in time, in gain, in the tune."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.measure.audio import Track
from tests.measure.midi import MidiFile

__all__ = ["SetFigures", "set_figures"]

NEAR_S = 0.25
"""How far a note may be searched for; notes of the tune lie farther apart than twice this at usual tempos."""


@dataclass(frozen=True, slots=True)
class SetFigures:
    """How a set stands against another.

    Parameters
    ----------
    gain_db, late_frames
        The count-in's level and place against the other's: both kits have the same knock, so it shows what gain and
        what delay the whole track has.
    apart_frames
        How much longer the track is.
    tune_late_s
        For each note of the tune by how much it comes later, in seconds.
    semitones
        By how much the tune lies higher: one figure where it is the same tune.
    """

    gain_db: float
    late_frames: int
    apart_frames: int
    tune_late_s: tuple[float, ...]
    semitones: tuple[int, ...]


def set_figures(
    track: Track, other: Track, midi: MidiFile, other_midi: MidiFile, knock_s: float
) -> SetFigures:
    """Compare one track of two sets by its first knock, which lasts so long, and the tunes of their MIDI files."""
    frames = round(knock_s * track.rate_hz)
    mine, theirs = (one.samples[:frames].mean(axis=1) for one in (track, other))
    size = 2 * frames
    spectrum = np.fft.rfft(mine, size) * np.conj(np.fft.rfft(theirs, size))
    lag = int(np.argmax(np.fft.irfft(spectrum, size)))
    late = lag - size if lag > frames else lag
    moved = np.roll(mine, -late)
    gain = float(np.dot(moved, theirs) / np.dot(theirs, theirs))
    tune, other_tune = _tune(midi), _tune(other_midi)
    return SetFigures(
        gain_db=20.0 * float(np.log10(max(gain, 1e-9))),
        late_frames=late,
        apart_frames=track.length_frames - other.length_frames,
        tune_late_s=tuple(now - then for (now, _), (then, _) in zip(tune, other_tune, strict=True)),
        semitones=tuple(sorted({now - then for (_, now), (_, then) in zip(tune, other_tune, strict=True)})),
    )


def _tune(midi: MidiFile) -> list[tuple[float, int]]:
    """Return onset and key of each sung note: the one nearest to where its syllable stands."""
    notes = [note for layer in ("melody", "between") for note in midi.tracks[layer]]
    found = []
    for at_s, _ in midi.words:
        near = [note for note in notes if abs(note.onset_s - at_s) < NEAR_S]
        last = max(near, key=lambda note: (-round(abs(note.onset_s - at_s), 2), note.velocity))
        found.append((last.onset_s, last.midi))
    return found
