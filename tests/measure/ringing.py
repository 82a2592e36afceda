"""Whether the tune rings on in a MIDI file: over leaps while its string stays free, and nowhere else."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from tests.measure.midi import MidiFile, MidiNote, written_time_s
from tests.measure.song_text import SongText, TuneNote

__all__ = ["Hand", "Ringing", "hands_of", "ringing_of"]

NEAR_S = 0.06
"""A note is looked for so far from its place; players overlap by no more than this."""

RUNG_S = 0.08
"""What rings on is heard so long over the next note, or over half of that if it is shorter."""

THIRD_SEMITONES = 3

Hand = tuple[str, tuple[str, ...]]
"""A shape, string 4 first, and the strings that each stroke with it strikes: ``("0003", ("432",))``."""


@dataclass(frozen=True, slots=True)
class Ringing:
    """What is counted in one file.

    Parameters
    ----------
    free
        Notes of the tune that the next follows at once, a third or more away and within the phrase, while their string
        isn't struck and the left hand keeps its fret.
    rung
        Those of them that sound on over the next note.
    left_s
        For each of the others how long the next note lasts: so long its string stays free and silent.
    blurred
        Notes that sound on where they shouldn't: over one nearer than a third, in a rest, or over a breath.
    """

    free: int
    rung: int
    left_s: tuple[float, ...]
    blurred: int


def hands_of(lines: Sequence[Mapping[str, object]]) -> dict[int, list[Hand]]:
    """Return what the hands do in each bar by its number, from the lines of ``check --json``."""
    bars: dict[int, list[Hand]] = defaultdict(list)
    for line in lines:
        for hand in line["hands"]:  # type: ignore[attr-defined]
            struck = tuple(re.findall(r"\[(\d+)", " ".join(hand["strokes"])))
            bars[hand["bar_number"]].append((hand["shape"], struck))
    return bars


def ringing_of(
    file: MidiFile, song: SongText, edges: Sequence[Fraction], hands: Mapping[int, Sequence[Hand]]
) -> Ringing:
    """Count in a file that was made of a song with one bar of count-in; `edges` are its phrases'."""
    struck = _struck(song, hands)
    free = rung = blurred = 0
    left_s = []
    for (note, played), (after, following) in pairwise(_played(file, song)):
        if played is None or following is None:
            continue
        over_s = played.end_s - following.onset_s
        written_end = note.beat + note.length_beat
        if any(note.beat < edge <= after.beat for edge in edges) or written_end < after.beat:
            silent_s = written_time_s(file, song, min(written_end, after.beat))
            blurred += played.end_s > silent_s + NEAR_S
        elif 0 < abs(note.midi - after.midi) < THIRD_SEMITONES:
            blurred += over_s > NEAR_S
        elif abs(note.midi - after.midi) >= THIRD_SEMITONES and _is_free(struck.get(note), struck.get(after)):
            free += 1
            heard = over_s >= min(RUNG_S, 0.5 * (following.end_s - following.onset_s))
            rung += heard
            if not heard:
                left_s.append(following.end_s - following.onset_s)
    return Ringing(free, rung, tuple(left_s), blurred)


def _is_free(before: tuple[str, str] | None, after: tuple[str, str] | None) -> bool:
    """Whether the string of one stroke stays as it is under the next; not where a stroke isn't known."""
    if before is None or after is None:
        return False
    string = before[1][-1]
    return string not in after[1] and before[0][4 - int(string)] == after[0][4 - int(string)]


def _struck(song: SongText, hands: Mapping[int, Sequence[Hand]]) -> dict[TuneNote, tuple[str, str]]:
    """Return shape and strings of each note of the tune, in bars where nothing but the tune is struck by the thumb."""
    bars: dict[int, list[TuneNote]] = defaultdict(list)
    for note in song.tune:
        bars[int((note.beat - song.pickup_beat) // song.bar_beat) + 1].append(note)
    found: dict[TuneNote, tuple[str, str]] = {}
    for number, notes in bars.items():
        strokes = [
            (shape, strings)
            for shape, struck in hands.get(number, ())
            for strings in struck
            if len(shape) == 4
        ]
        if len(strokes) == len(notes):
            found.update(zip(notes, strokes, strict=True))
    return found


def _played(file: MidiFile, song: SongText) -> Iterator[tuple[TuneNote, MidiNote | None]]:
    """Yield each note of the tune and what is played of it: the loudest of its pitch near its place."""
    notes = [note for layer in ("melody", "between") for note in file.tracks.get(layer, ())]
    for written in song.tune:
        due_s = written_time_s(file, song, song.swung(written.beat))
        near = [note for note in notes if note.midi == written.midi and abs(note.onset_s - due_s) <= NEAR_S]
        yield written, max(near, key=lambda note: note.velocity, default=None)
