"""Which strings are free when another is struck, and until when they may ring along with it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from operator import attrgetter

from tercet.performing.model import FreeString, TakeNote
from tercet.theory.tunings import Tuning

__all__ = ["LONGEST_S", "with_free_strings"]

LONGEST_S = 1.2
"""A string that rings along is followed for so long; it begins 29 dB down, and is some 55 dB down by then."""

SWELL_S = 0.05
"""One that is touched sooner than this had no time to ring along: it swells."""


def with_free_strings(notes: Sequence[TakeNote], tuning: Tuning) -> tuple[TakeNote, ...]:
    """Return a take's notes, each with the strings that are free to ring along with it.

    A string is stopped while a fretted note or a chop sounds on it. Otherwise it is free until it is struck again, by
    whichever layer. The second voice has a ukulele of its own. Whoever plays some of the notes alone hears them ring as
    in the whole.

    Parameters
    ----------
    notes
        All of a take, in order of onset.
    tuning
        Of the instrument.
    """
    by_string: dict[tuple[bool, int], list[TakeNote]] = {}
    for note in notes:
        by_string.setdefault(note.own_string, []).append(note)
    open_midis = {string: tuning.open_midi(string) for string in range(1, 5)}

    def beside(note: TakeNote) -> Iterator[FreeString]:
        second, own = note.own_string
        for string, open_midi in open_midis.items():
            others = by_string.get((second, string), ())
            at = bisect_right(others, note.onset_s, key=_onset_s)
            length_s = others[at].onset_s - note.onset_s if at < len(others) else LONGEST_S
            stopped = bool(at) and _stops(others[at - 1], open_midi, note.onset_s)
            if string != own and not stopped and length_s >= SWELL_S:
                yield FreeString(string, open_midi, min(length_s, LONGEST_S))

    return tuple(note if note.action == "chop" else replace(note, free=tuple(beside(note))) for note in notes)


_onset_s = attrgetter("onset_s")


def _stops(before: TakeNote, open_midi: int, at_s: float) -> bool:
    """Return whether a note still keeps its string from ringing open at a moment."""
    sounds = before.onset_s + before.length_s > at_s
    return sounds and (before.action == "chop" or before.midi != open_midi)
