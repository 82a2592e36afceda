"""Notes that no string has: one rule for ear and eye.

By default such a note is moved, by as few octaves as it takes, to where a string has it: what is played is what is
printed, with a sign for each octave behind the fret. A song that is asked to keep them as written sounds them at
their pitch, and leaves their place in the tab empty but for the sign. The rule is applied to the bars as played,
before anything else is worked out, so that hands, staff, tab and sound can't differ.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

from tercet.arranging.model import Arrangement
from tercet.neck import has_note, octaves_onto
from tercet.song import Bar, Note
from tercet.theory import Pitch, Tuning
from tercet.theory.limits import MOST_SEMITONES

__all__ = ["explained", "moved_words", "moves_onto", "onto_neck"]

_OCTAVES = {1: "an octave", 2: "two octaves", 3: "three octaves"}


def moved_words(octaves: int) -> str:
    """Return by how much a note is moved, in words: ``an octave higher``."""
    far = _OCTAVES.get(abs(octaves), f"{abs(octaves)} octaves")
    return f"{far} {'higher' if octaves > 0 else 'lower'}"


def onto_neck(bars: Iterable[Bar], tuning: Tuning, *, as_written: bool = False) -> tuple[Bar, ...]:
    """Return bars as they are played on some strings: notes that none of them has are moved by octaves.

    Parameters
    ----------
    bars
        As `tercet.song.played_bars` gives them.
    tuning
        The strings.
    as_written
        Keep such notes at their pitch, and only mark them.
    """
    return tuple(_bar(bar, tuning, as_written=as_written) for bar in bars)


def _bar(bar: Bar, tuning: Tuning, *, as_written: bool) -> Bar:
    rows = (bar.melody, bar.between or ())
    if not any(_off_neck(note, tuning) for row in rows for note in row):
        return bar
    melody, between = (tuple(_placed(note, tuning, as_written=as_written) for note in row) for row in rows)
    return replace(bar, melody=melody, between=None if bar.between is None else between)


def _off_neck(note: Note, tuning: Tuning) -> int:
    return 0 if note.pitch is None else octaves_onto(tuning, note.pitch.midi)


def _placed(note: Note, tuning: Tuning, *, as_written: bool) -> Note:
    """Return a note where it is played."""
    octaves = _off_neck(note, tuning)
    pitch = note.pitch
    if pitch is None or not octaves or as_written:
        return replace(note, off_neck=octaves)
    return replace(note, pitch=Pitch(pitch.letter, pitch.alter, pitch.octave + octaves), off_neck=octaves)


def moves_onto(midis: Iterable[int], tuning: Tuning) -> tuple[int, ...]:
    """Return the moves after which every one of some notes is on a string, in semitones, the smallest first.

    Of two that are equally small the one up comes first; none goes beyond `MOST_SEMITONES`.
    """
    written = set(midis)
    moves = sorted(range(-MOST_SEMITONES, MOST_SEMITONES + 1), key=lambda move: (abs(move), -move))
    return tuple(move for move in moves if all(has_note(tuning, midi + move) for midi in written))


def explained(arrangement: Arrangement) -> Iterator[str]:
    """Yield what the signs of an arrangement mean, a sentence for each kind; nothing where there are none."""
    kinds = Counter(
        (note.sign, note.off_neck, note.fret is None)
        for gesture in arrangement.gestures
        for note in gesture.notes
        if note.off_neck
    )
    for sign, octaves, empty in sorted(kinds):
        if empty:
            where = "below" if octaves > 0 else "above"
            yield f"{sign} without a fret: no string has this note; it sounds as written, {where} the neck."
        else:
            yield f"{sign} behind a fret: {moved_words(octaves)} than written, where no string has the note."
