"""What mido plays of a MIDI file, to hold our reader against it: the tracks in which one note sounds at a time.

MIDI is played, not written: an onset is the same if it lies within a sixteenth of a quarter, a length isn't compared.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import mido

from tercet.exchange import Choice, read_tune
from tests.exchange.heard import Heard, Imported, from_the_first, imported, verdict_of_song

ONSET_TOLERANCE_QUARTER = Fraction(1, 16)
OVERLAP_QUARTER = Fraction(1, 8)
"""As long as a note of one line may still sound when the next has begun."""

_DRUMS = 9


def single_lines(file: Path) -> Iterator[tuple[int, list[Heard]]]:
    """Yield the number, from 1, of every track that is one line, and the notes that mido plays of it."""
    try:
        read = mido.MidiFile(file)
    except (OSError, EOFError, ValueError, KeyError, IndexError):
        return
    if read.type == 2 or not 0 < read.ticks_per_beat < 0x8000:
        return
    for number, track in enumerate(read.tracks, 1):
        notes = sorted(_notes(track, read.ticks_per_beat))
        alone = all(
            before[0] < after[0] and before[0] + before[2] <= after[0] + OVERLAP_QUARTER
            for before, after in pairwise(notes)
        )
        if notes and alone:
            yield number, from_the_first([(midi, start, length) for start, midi, length in notes])


def _notes(track: mido.MidiTrack, ticks: int) -> Iterator[tuple[Fraction, int, Fraction]]:
    now, sounding = 0, dict[tuple[int, int], int]()
    for message in track:
        now += message.time
        if message.type not in ("note_on", "note_off") or message.channel == _DRUMS:
            continue
        key = (message.channel, message.note)
        if key in sounding:
            start = sounding.pop(key)
            yield Fraction(start, ticks), message.note, Fraction(now - start, ticks)
        if message.type == "note_on" and message.velocity:
            sounding[key] = now


def played_by_us(file: Path, track: int) -> Imported:
    """Return what the song plays that is written of a track."""
    return imported(read_tune(file, Choice(part=str(track))))


def verdict_of_track(ours: Imported, theirs: Sequence[Heard]) -> str:
    """Return ``"exact"``, or where the written song first plays another note, or one at another place."""
    return verdict_of_song(_onsets(ours.notes), _onsets(theirs), ONSET_TOLERANCE_QUARTER, ours.remarks)


def _onsets(notes: Sequence[Heard]) -> list[Heard]:
    return [(midi, start, Fraction(0)) for midi, start, _ in notes]
