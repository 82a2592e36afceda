"""Whether the tune can be heard: each of its notes against all else that sounds in its critical bands.

A note of the tune is heard by its lowest partials. Around each of them the ear adds up what lies in a critical band,
as wide as an equivalent rectangular bandwidth (ERB, Glasberg & Moore 1990, Hear. Res. 47) and of the rounded
exponential's shape (Patterson et al. 1982, J. Acoust. Soc. Am. 72(6)). A note whose partials together don't stand clear
of what else lies in their bands during its first 300 ms is covered: another string is taken for the tune, or none is.

A plucked string is modelled by what all have in common: partials that fall by 9 dB an octave, a sound that falls by
60 dB in 3 s. Levels are those of the take, which any sound plays as they are.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import exp, log10
from typing import NamedTuple

from tercet.performing.levels import LEVEL_DIGITS, velocity_of_level
from tercet.performing.model import Take, TakeNote
from tercet.song import Layer

__all__ = [
    "MOST_LOWERED_DB",
    "Covered",
    "StrokePlace",
    "cleared",
    "clearing_db",
    "covered_notes",
    "erb_hz",
    "ringing_too_long",
]

HEARING_S = 0.3
"""The time in which a note is found or missed."""

OVERLAP_S = 0.05
"""Notes of the tune that follow each other overlap by no more than this."""

CLEAR_DB = 10.0
"""A note that stands this far above the rest of its bands is twice as loud as that (Stevens 1955, J. Acoust. Soc. Am.
27(5)) and leads. That it is there at all is heard from about −4 dB on: the tune is to lead, not only to be there."""

PARTIALS = 5
FALL_DB_PER_DECADE = 30.0
"""Partial n lies 30 · log10(n) dB below the first: 9 dB an octave."""

DECAY_DB_PER_S = 20.0
LONGEST_RING_S = 4.0

MOST_LOWERED_DB = 9.0
"""Nothing is lowered by more than this: what would need more is better fingered otherwise."""

OVER_CLEAR_DB = 0.1
"""A little more than needed, so that what is cleared is clear."""

LOWERED_SHARE = 0.1
"""Only strings that hold at least this part of what covers a note are lowered."""


class StrokePlace(NamedTuple):
    """Where a string is struck."""

    section: str
    pass_number: int
    string: int
    beat: float
    layer: Layer


@dataclass(frozen=True, slots=True)
class Covered:
    """A note of the tune that can't be made out.

    Parameters
    ----------
    note
        The note.
    margin_db
        How far it stands above what covers it, all its bands together; less than `CLEAR_DB`.
    by
        What covers it, the worst first.
    share
        Which part of all that lies in its bands these make up, at most 1.
    """

    note: TakeNote
    margin_db: float
    by: tuple[TakeNote, ...]
    share: float


def erb_hz(hertz: float) -> float:
    """Return the width of the critical band at a frequency: ``24.7 · (4.37 · f/1000 + 1)``.

    >>> round(erb_hz(1000.0), 1)
    132.6
    """
    return 24.7 * (4.37 * hertz / 1000.0 + 1.0)


def covered_notes(take: Take) -> tuple[Covered, ...]:
    """Return the notes of the tune that are covered, in order.

    A string that sounds the same pitch adds to the tune. The tune covers itself only where a note of it rings on over
    a later one.
    """
    onsets_s = [note.onset_s for note in take.notes]
    found = (_judged(note, _beside(note, take.notes, onsets_s)) for note in take.notes if note.part == "tune")
    return tuple(covered for covered in found if covered is not None)


def ringing_too_long(take: Take) -> Iterator[tuple[TakeNote, TakeNote]]:
    """Yield each note of the tune that rings on over a later one which is covered then, and the later one."""
    onsets_s = [note.onset_s for note in take.notes]
    ringing: list[TakeNote] = []
    for note in take.notes:
        if note.part != "tune":
            continue
        ringing = [other for other in ringing if _rings_over(other, note)]
        if ringing and _judged(note, _beside(note, take.notes, onsets_s)) is not None:
            yield from ((other, note) for other in ringing)
        ringing.append(note)


def clearing_db(covered: Iterable[Covered]) -> dict[StrokePlace, float]:
    """Return by how much each string that covers the tune is to be lowered, in dB, so that nothing covers it."""
    lowered: dict[StrokePlace, float] = {}
    for each in covered:
        for note in each.by:
            place = _place(note)
            need_db = _need_db(each)
            lowered[place] = max(lowered.get(place, 0.0), need_db)
    return lowered


def cleared(take: Take, lowered_db: dict[StrokePlace, float]) -> Take:
    """Return a take with what covers its tune lowered, and nothing else changed."""
    notes = tuple(
        _lowered(note, lowered_db[_place(note)]) if _place(note) in lowered_db else note
        for note in take.notes
    )
    return replace(take, notes=notes)


def _lowered(note: TakeNote, by_db: float) -> TakeNote:
    level_db = round(note.level_db - by_db, LEVEL_DIGITS)
    return replace(note, level_db=level_db, velocity=velocity_of_level(level_db))


def _need_db(covered: Covered) -> float:
    """Return by how much what covers a note is to be lowered, the rest of its bands left as it is."""
    wanted = 10.0 ** ((covered.margin_db - CLEAR_DB - OVER_CLEAR_DB) / 10.0)
    left = (wanted - 1.0 + covered.share) / covered.share
    return min(-10.0 * log10(left), MOST_LOWERED_DB) if left > 0.0 else MOST_LOWERED_DB


def _place(note: TakeNote) -> StrokePlace:
    return StrokePlace(note.section, note.pass_number, note.string, float(note.beat), note.layer)


def _beside(
    note: TakeNote, notes: Sequence[TakeNote], onsets_s: Sequence[float]
) -> list[tuple[TakeNote, float]]:
    """Return what sounds beside a note of the tune on other pitches, each with its power."""
    first = bisect_left(onsets_s, note.onset_s - LONGEST_RING_S)
    last = bisect_left(onsets_s, note.onset_s + HEARING_S)
    return [
        (other, power)
        for other in notes[first:last]
        if other.midi != note.midi and (other.part != "tune" or _rings_over(other, note))
        for power in [_power_beside(other, note)]
        if power > 0.0
    ]


def _rings_over(other: TakeNote, note: TakeNote) -> bool:
    """Whether a note of the tune that came before rings on over a later one, by more than players are off the beat.

    Where the style lets the tune ring, that is what it is for, and nothing is covered by it.
    """
    return not other.rings and other.onset_s < note.onset_s < other.onset_s + other.length_s - OVERLAP_S


def _power_beside(other: TakeNote, note: TakeNote) -> float:
    """Return the mean power of another note over the first `HEARING_S` of one, or all of a shorter one, against mf."""
    heard_s = min(HEARING_S, note.length_s)
    start_s = max(other.onset_s - note.onset_s, 0.0)
    end_s = min(other.onset_s + other.length_s - note.onset_s, heard_s)
    if end_s <= start_s:
        return 0.0
    rung_s = max(note.onset_s - other.onset_s, 0.0)
    level_db = other.level_db - DECAY_DB_PER_S * rung_s
    return float(10.0 ** (level_db / 10.0)) * (end_s - start_s) / heard_s


def _judged(note: TakeNote, others: Sequence[tuple[TakeNote, float]]) -> Covered | None:
    """Return a note as covered by others (each with its power), or None if it stands clear."""
    centres_hz = [partial * _hertz(note) for partial in range(1, PARTIALS + 1)]
    own = 10.0 ** (note.level_db / 10.0) * sum(_partial_power(partial) for partial in range(1, PARTIALS + 1))
    parts = [
        power * sum(_within_band(_hertz(other), centre_hz) for centre_hz in centres_hz)
        for other, power in others
    ]
    rest = sum(parts)
    if rest <= 0.0 or 10.0 * log10(own / rest) >= CLEAR_DB:
        return None
    worst = sorted(zip(parts, range(len(others)), strict=True), reverse=True)
    covering = [(part, place) for part, place in worst if part >= LOWERED_SHARE * rest]
    by = tuple(others[place][0] for _, place in covering)
    return Covered(note, 10.0 * log10(own / rest), by, sum(part for part, _ in covering) / rest)


def _within_band(first_hz: float, centre_hz: float) -> float:
    """Return what a note of power 1 adds to the band around a frequency."""
    width_hz = erb_hz(centre_hz)
    nearest = max(round(centre_hz / first_hz), 1)
    total = 0.0
    for partial in range(max(nearest - 1, 1), nearest + 2):
        steep = 4.0 * abs(partial * first_hz - centre_hz) / width_hz
        total += _partial_power(partial) * (1.0 + steep) * exp(-steep)
    return total


def _partial_power(partial: int) -> float:
    return float(10.0 ** (-FALL_DB_PER_DECADE * log10(partial) / 10.0))


def _hertz(note: TakeNote) -> float:
    return float(440.0 * 2.0 ** ((note.midi - 69) / 12.0))
