"""The rhythm of MIDI notes: one note at a time, onsets and lengths in simple fractions of a quarter.

What was entered (onsets within a tick of a grid) is read exactly. What was played goes beat by beat to the division of
the quarter that fits its notes best, where a simpler division needs less to fit; even swing is taken out and said.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, pairwise
from statistics import median

from tercet.exchange.midi.events import MidiNote
from tercet.wording import counted

__all__ = ["GAP_QUARTER", "Rhythm", "near_place", "rhythm_of", "simplest", "top_line"]

TOLERANCE_QUARTER = Fraction(1, 32)
END_TOLERANCE_QUARTER = Fraction(1, 12)
GAP_QUARTER = Fraction(1, 8)
FINE_TOLERANCE_QUARTER = Fraction(1, 96)
"""For sixteenths and twelfths of a quarter, which lie so close that everything would fit them otherwise."""

_DENOMINATORS = (1, 2, 4, 3, 8, 6, 16, 12)
_FINE = (16, 12)
_FINEST = 16
_ENTERED_DENOMINATORS = (*_DENOMINATORS, 5, 32, 24, 7, 9, 10)
"""Tried in this order for what lies within a tick of them."""

_NEAR_TICKS = Fraction(3, 5)
_FINE_TICK, _MOST_PARTS = Fraction(1, 2000), 480
"""From such ticks on, a place of no more than so many parts of a quarter is meant exactly."""

_ENTERED_SHARE = 0.9
"""Of the onsets, on the grid: then the notes were entered, not played."""

_EXACT_ENDS_SHARE, _MOST_SHORT_GAPS_SHARE = 0.95, 1 / 3
"""Of the ends, on the grid, and of small gaps before the next note: then rests are meant as they stand."""

_LEAST_FOLLOWED = 4
"""Notes that another follows, before they tell how early notes are let go."""

_SHORTEST_OVERLAP_SHARE = Fraction(1, 3)
"""Of the shorter of two notes that overlap: less is the legato of one voice."""

PLAYED_SD_S = 0.015
"""How exactly players place notes (docs: deviations of 5 to 15 ms within a good amateur ensemble)."""

_DIVISIONS = {1: 0.0, 2: 1.0, 4: 3.0, 3: 4.0, 6: 9.0, 8: 10.0}
"""Divisions of a played quarter, and what each costs in squared standard deviations before any was seen."""

_CLASH = 60.0
"""Cost of two notes on one place of a division."""

_EARLY_QUARTER = Fraction(1, 10)
"""So far before a beat a note may be played that belongs to it."""

_SWUNG = (0.55, 0.74)
_THIRD = (0.27, 0.40)
_LEAST_SWUNG = 8
_MOST_THIRDS_SHARE, _MOST_EVEN_SHARE = 0.1, 0.25


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Onsets and lengths in quarters, note by note, and what had to be guessed."""

    places: tuple[Fraction, ...]
    lengths: tuple[Fraction, ...]
    remarks: tuple[str, ...]


def top_line(notes: Sequence[MidiNote], remarks: list[str]) -> list[MidiNote]:
    """Return one note at a time: of notes together the highest, none that lies under a longer one."""
    line: list[MidiNote] = []
    dropped = 0
    for note in notes:
        before = line[-1] if line else None
        if before is not None:
            overlap = before.end_quarter - note.start_quarter
            together = overlap > 0 and note.start_quarter - before.start_quarter <= TOLERANCE_QUARTER
            if together and note.midi > before.midi:
                line.pop()
                dropped += 1
            elif together or (note.midi < before.midi and overlap > _legato(before, note)):
                dropped += 1
                continue
            elif overlap > 0:
                line[-1] = replace(before, end_quarter=note.start_quarter)
        line.append(note)
    if dropped:
        one, many = "note under the top line is left out", "notes under the top line are left out"
        remarks.append(counted(dropped, one, many))
    return line


def _legato(before: MidiNote, note: MidiNote) -> Fraction:
    """Return how far two notes of one voice may overlap."""
    shorter = min(each.end_quarter - each.start_quarter for each in (before, note))
    return max(GAP_QUARTER, shorter * _SHORTEST_OVERLAP_SHARE)


def simplest(place: Fraction, tolerance: Fraction = TOLERANCE_QUARTER) -> tuple[Fraction, bool]:
    """Return the simplest fraction near a place, and whether it lies within the tolerance."""
    part, fits = _simplest_part(place % 1, tolerance)
    return place // 1 + part, fits


@lru_cache(maxsize=4096)
def _simplest_part(place: Fraction, tolerance: Fraction) -> tuple[Fraction, bool]:
    for denominator in _DENOMINATORS:
        near = Fraction(round(place * denominator), denominator)
        allowed = min(tolerance, FINE_TOLERANCE_QUARTER) if denominator in _FINE else tolerance
        if abs(near - place) <= allowed:
            return near, True
    return Fraction(round(place * _FINEST), _FINEST), False


def rhythm_of(notes: Sequence[MidiNote], tick_quarter: Fraction, tempo_quarters: Fraction) -> Rhythm:
    """Return the rhythm of a line of notes in order of time.

    Parameters
    ----------
    notes
        One at a time.
    tick_quarter
        The finest step of the file.
    tempo_quarters
        Quarters a minute.
    """
    near = _nearness(tick_quarter)
    entered = [_entered(note.start_quarter, near) for note in notes]
    finest = _MOST_PARTS if tick_quarter <= _FINE_TICK else _FINEST
    on_grid = sum(place is not None and place.denominator <= finest for place in entered)
    remarks: list[str] = []
    if on_grid >= _ENTERED_SHARE * len(notes):
        places = _loose_to_grid(notes, entered, remarks)
    else:
        places = _played(notes, tempo_quarters, remarks)
    places = _in_order(places)
    return Rhythm(tuple(places), tuple(_lengths(notes, places, near)), tuple(remarks))


# ---- entered


def near_place(place: Fraction, tick_quarter: Fraction) -> Fraction:
    """Return where something stands that was entered, or else the simplest place near it."""
    found = _entered(place, _nearness(tick_quarter))
    return simplest(place)[0] if found is None else found


def _nearness(tick_quarter: Fraction) -> Fraction:
    return min(tick_quarter * _NEAR_TICKS, FINE_TOLERANCE_QUARTER)


def _entered(place: Fraction, near: Fraction) -> Fraction | None:
    """Return the part of a quarter that a place is within a tick of, or None.

    Where ticks are fine, what lies on a plain part of a quarter by no more than chance lies there exactly.
    """
    part = _entered_part(place % 1, near)
    if part is None and near <= _FINE_TICK * _NEAR_TICKS and place.denominator <= _MOST_PARTS:
        return place
    return None if part is None else place // 1 + part


@lru_cache(maxsize=4096)
def _entered_part(place: Fraction, near: Fraction) -> Fraction | None:
    for denominator in _ENTERED_DENOMINATORS:
        found = Fraction(round(place * denominator), denominator)
        if abs(found - place) <= near:
            return found
    return None


def _loose_to_grid(
    notes: Sequence[MidiNote], entered: Sequence[Fraction | None], remarks: list[str]
) -> list[Fraction]:
    places = []
    loose = 0
    for note, found in zip(notes, entered, strict=True):
        place, fits = (found, True) if found is not None else simplest(note.start_quarter)
        loose += not fits
        places.append(place)
    if loose:
        notes_moved = (
            f"of {counted(len(notes), 'note')} {{}} near any simple fraction of a quarter, and {{}} moved to "
        )
        moved = counted(loose, notes_moved.format("isn't", "was"), notes_moved.format("aren't", "were"))
        remarks.append(f"{moved}the nearest sixteenth of a quarter (played freely?): check the rhythm")
    return places


def _in_order(places: Sequence[Fraction]) -> list[Fraction]:
    """Return the onsets, those that fall together pushed apart."""
    apart: list[Fraction] = []
    for place in places:
        together = bool(apart) and place <= apart[-1]
        apart.append(apart[-1] + Fraction(1, _FINEST) if together else place)
    return apart


def _lengths(notes: Sequence[MidiNote], places: Sequence[Fraction], near: Fraction) -> list[Fraction]:
    """Return how long each note lasts; small gaps are closed unless the file's ends lie on the grid themselves."""
    exact = [_entered(note.end_quarter, near) for note in notes]
    following = [*places[1:], None]
    gaps = [
        later is not None and end is not None and 0 < later - end <= _reach(end - place)
        for place, end, later in zip(places, exact, following, strict=True)
    ]
    on_grid = sum(end is not None and end.denominator <= _FINEST for end in exact)
    trusted = on_grid >= _EXACT_ENDS_SHARE * len(notes) and sum(gaps) <= _MOST_SHORT_GAPS_SHARE * len(notes)
    if trusted:
        meant = [note.end_quarter if end is None else end for note, end in zip(notes, exact, strict=True)]
    else:
        meant = _meant_ends(notes, places)
    lengths = []
    for place, end, sure, later in zip(places, meant, exact, following, strict=True):
        until = end if trusted and sure is not None else simplest(end, END_TOLERANCE_QUARTER)[0]
        until = until if until > place else place + Fraction(1, _FINEST)
        if later is not None:
            reach = Fraction(0) if trusted and sure is not None else _reach(until - place)
            until = later if later - until <= reach else until
        lengths.append(until - place)
    return lengths


def _meant_ends(notes: Sequence[MidiNote], places: Sequence[Fraction]) -> list[Fraction]:
    """Return where notes would end if all were held as long as those are meant to be that others follow at once.

    Programs let go early by a share of each note, or by the same time; what varies less is made up for.
    """
    shares, times = [], []
    for note, later in pairwise(notes):
        time = later.start_quarter - note.end_quarter
        length = note.end_quarter - note.start_quarter
        if time <= _reach(length):
            shares.append(float(length / (later.start_quarter - note.start_quarter)))
            times.append(float(time))
    if len(shares) < _LEAST_FOLLOWED:
        return [note.end_quarter for note in notes]
    share, time_quarter = median(shares), median(times)
    by_share = median(abs(each - share) / share for each in shares)
    by_time = median(abs(each - time_quarter) / max(abs(time_quarter), 1e-9) for each in times)
    shown = [note.end_quarter - note.start_quarter for note in notes]
    if by_share <= by_time or not time_quarter:
        held = [length / Fraction(share).limit_denominator(1000) for length in shown]
    else:
        held = [length + Fraction(time_quarter).limit_denominator(1000) for length in shown]
    return [
        note.end_quarter if _on_eighths(note.end_quarter) else place + length
        for note, place, length in zip(notes, places, held, strict=True)
    ]


def _on_eighths(end: Fraction) -> bool:
    """Return whether a note ends on an eighth already."""
    return (2 * end).denominator == 1


def _reach(length_quarter: Fraction) -> Fraction:
    return max(GAP_QUARTER, length_quarter / 4)


# ---- played


def _played(notes: Sequence[MidiNote], tempo_quarters: Fraction, remarks: list[str]) -> list[Fraction]:
    """Return the onsets of notes that were played, by the beats that they fall in."""
    beats = [
        (beat, [float(note.start_quarter - beat) for note in group])
        for beat, group in groupby(notes, key=_beat_of)
    ]
    swing = _swing(beats)
    if swing is not None:
        beats = [(beat, [_straight(place, swing) for place in places]) for beat, places in beats]
        remarks.append(
            f"swung eighths are written straight: write `swing: {_nearest_part(swing)}` in the song to swing them"
        )
    sd_quarter = PLAYED_SD_S * float(tempo_quarters) / 60
    costs = dict(_DIVISIONS)
    chosen = [_division(places, costs, sd_quarter) for _, places in beats]
    seen = Counter(chosen)
    rare = {
        division: -2 * math.log((seen[division] + 0.5) / (len(chosen) + 0.5 * len(costs)))
        for division in costs
    }
    costs = {division: cost / 2 + rare[division] for division, cost in costs.items()}
    found = []
    for beat, places in beats:
        division = _division(places, costs, sd_quarter)
        found += [beat + Fraction(round(place * division), division) for place in places]
    remarks.append("the notes don't sit on a grid, as if they were played live: check the rhythm")
    return found


def _beat_of(note: MidiNote) -> int:
    return math.floor(note.start_quarter + _EARLY_QUARTER)


def _division(places: Sequence[float], costs: dict[int, float], sd_quarter: float) -> int:
    """Return into how many parts a beat is divided."""

    def cost(division: int) -> float:
        slots = [round(place * division) for place in places]
        off = sum(
            ((place - slot / division) / sd_quarter) ** 2 for place, slot in zip(places, slots, strict=True)
        )
        return off + costs[division] + _CLASH * (len(slots) - len(set(slots)))

    return min(costs, key=cost)


def _swing(beats: Sequence[tuple[int, list[float]]]) -> float | None:
    """Return where the second eighth of the beats falls, when most are late and none makes triplets."""
    seconds = [places[-1] for _, places in beats if len(places) <= 2 and 0.3 < places[-1] < _SWUNG[1]]
    late = [place for place in seconds if place >= _SWUNG[0]]
    thirds = sum(any(_THIRD[0] < place < _THIRD[1] for place in places) for _, places in beats)
    if len(late) < _LEAST_SWUNG or thirds > _MOST_THIRDS_SHARE * len(late):
        return None
    if len(seconds) - len(late) > _MOST_EVEN_SHARE * len(seconds):
        return None
    return sum(late) / len(late)


def _straight(place: float, swing: float) -> float:
    return place / swing / 2 if place < swing else 0.5 + (place - swing) / (1 - swing) / 2


def _nearest_part(swing: float) -> Fraction:
    return Fraction(swing).limit_denominator(12)
