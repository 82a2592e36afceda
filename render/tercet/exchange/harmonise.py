"""What a tune doesn't say: its key; and plain chords by key and cadence, at most two a bar, in shapes for beginners.

The key is the one whose ratings of the twelve tones are most like the time that the tune gives to them.

The tune is cut into places where a chord may begin: the start of each measure and its middle. Of all ways to go through
the chords of the key the one with the least to say against it is taken (a shortest path): time that the tune spends
outside the chord, chords far from home, shapes that beginners don't know, changes, most of all within a measure, and
steps that sound like going backwards. A tune begins and ends at home; a repeated part ends there or on the dominant.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.exchange.leadsheet import LeadChord, LeadMeasure, LeadNote, LeadSheet
from tercet.neck import COMMON_SHAPES
from tercet.theory import Chord, Key, parse_key
from tercet.theory.key_chords import DOMINANT, KEY_CHORDS, chord_on

__all__ = ["harmonised", "key_of_chords", "key_of_tune"]

_MAJOR_RATINGS = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
_MINOR_RATINGS = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
"""How well each semitone above the tonic fits: probe-tone ratings, Krumhansl and Kessler, 1982."""

_LAST_NOTE = 0.15
"""What a last note on the tonic adds to the correlation: tunes end at home."""

_MAJORS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_MINORS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")


def key_of_tune(notes: Iterable[LeadNote]) -> tuple[Key, Key]:
    """Return the likeliest key of a tune, and the next.

    The time that each pitch class sounds is correlated with the ratings of the twelve major and twelve minor keys;
    a last note on the tonic counts extra.
    """
    weights = [0.0] * 12
    last = None
    for note in notes:
        if note.pitch is not None:
            weights[note.pitch.pitch_class] += float(note.length_quarter)
            last = note.pitch.pitch_class
    scores = []
    for tonic in range(12):
        turned = weights[tonic:] + weights[:tonic]
        home = _LAST_NOTE if tonic == last else 0.0
        scores.append((_correlation(turned, _MAJOR_RATINGS) + home, f"{_MAJORS[tonic]} major"))
        scores.append((_correlation(turned, _MINOR_RATINGS) + home, f"{_MINORS[tonic]} minor"))
    scores.sort(reverse=True)
    return parse_key(scores[0][1]), parse_key(scores[1][1])


def key_of_chords(chords: Sequence[Chord]) -> Key:
    """Return the likeliest key of a song from its chords alone: those of the key, home at the end and at the start.

    >>> from tercet.theory import parse_chord
    >>> str(key_of_chords([parse_chord(name) for name in ("Am", "Dm", "E7", "Am")]))
    'A minor'
    """

    def against(key: Key) -> float:
        costs = KEY_CHORDS[key.minor]
        said = [costs.get(_degree(chord, key), _STRANGE_CHORD) for chord in chords]
        ends = [_degree(chord, key) != (0, "m" if key.minor else "") for chord in (*chords[-1:], *chords[:1])]
        return (
            sum(said) / max(len(said), 1) + _NOT_HOME_LAST * ends[0] + _NOT_HOME_FIRST * ends[-1]
            if ends
            else 0.0
        )

    keys = [parse_key(f"{name} major") for name in _MAJORS] + [parse_key(f"{name} minor") for name in _MINORS]
    return min(keys, key=against)


_STRANGE_CHORD = 1.5
_NOT_HOME_LAST, _NOT_HOME_FIRST = 0.6, 0.3


def _degree(chord: Chord, key: Key) -> tuple[int, str]:
    """Return how many semitones above the tonic a chord stands, and whether it is minor."""
    minor = 3 in chord.quality.intervals and 4 not in chord.quality.intervals
    return (chord.root_class - key.tonic_class) % 12, "m" if minor else ""


def _correlation(one: list[float], other: tuple[float, ...]) -> float:
    """Return Pearson's correlation; 0 when all of one are equal."""
    mean_one, mean_other = sum(one) / len(one), sum(other) / len(other)
    products = sum((a - mean_one) * (b - mean_other) for a, b in zip(one, other, strict=True))
    squares = sum((a - mean_one) ** 2 for a in one) * sum((b - mean_other) ** 2 for b in other)
    return products / float(squares**0.5) if squares else 0.0


_UNKNOWN_SHAPE = 0.5
"""The unit of all costs is that of `KEY_CHORDS`."""

_CHANGE_AT_BAR = 0.5
_CHANGE_WITHIN = 1.1
_NOT_HOME = 4.0
_NOT_HOME_AT_A_REPEAT = 1.0
_ON_THE_PLACE = 1.5
"""How much more a note counts that is struck where the chord begins."""

_SEVENTH = 0.5
"""What the seventh of the dominant costs as a note of the tune, compared with a strange one."""

_STEPS = {(7, 0): -0.5, (7, 5): 0.5, (7, 2): 0.6, (7, 9): 0.1, (5, 0): -0.05, (2, 7): -0.15, (2, 0): 0.2}
"""What speaks against going from one degree to another, both in semitones above the tonic."""

_SPLITS: dict[tuple[int, int], Fraction] = {
    (4, 4): Fraction(2), (2, 2): Fraction(2), (2, 4): Fraction(1), (3, 4): Fraction(2), (6, 8): Fraction(3, 2),
    (9, 8): Fraction(3), (12, 8): Fraction(3), (5, 4): Fraction(3), (6, 4): Fraction(3),
}  # fmt: skip
"""Where the second chord of a measure may begin, in quarters."""


@dataclass(frozen=True, slots=True)
class _Place:
    """A place where a chord may begin: its measure, where in it, how long until the next, and what must come there."""

    measure: int
    start_quarter: Fraction
    length_quarter: Fraction
    notes: tuple[LeadNote, ...]
    ends_part: bool
    ends_tune: bool


@dataclass(frozen=True, slots=True)
class _Option:
    """A chord of the key: its degree in semitones above the tonic, what speaks against it, its seventh if dominant."""

    chord: Chord
    degree: int
    cost: float
    seventh: Chord | None = None


def harmonised(sheet: LeadSheet, key: Key) -> LeadSheet:
    """Return a sheet with proposed chords, and a remark that says so.

    A sheet that has chord symbols stays as it is, which is said. A pick-up stays without a chord.
    """
    if any(chord.chord for measure in sheet.measures for chord in measure.chords):
        return replace(sheet, remarks=(*sheet.remarks, "the tune has chord symbols, so none were proposed"))
    places = list(_places(sheet.measures))
    if not places:
        return sheet
    options = _options(key)
    chosen = _cheapest(places, options)
    chords: dict[int, list[LeadChord]] = {}
    before = None
    for place, chord in zip(places, _named(chosen), strict=True):
        if chord != before:
            chords.setdefault(place.measure, []).append(LeadChord(place.start_quarter, chord))
        before = chord
    measures = tuple(
        replace(measure, chords=tuple(chords.get(index, ()))) for index, measure in enumerate(sheet.measures)
    )
    names = ", ".join(dict.fromkeys(str(chord.chord) for row in chords.values() for chord in row))
    said = f"all chords are proposals, found from the tune and its key, {key} ({names}): change any that sound wrong"
    return replace(sheet, measures=measures, remarks=(*sheet.remarks, said))


def _named(chosen: Sequence[_Option]) -> Iterator[Chord]:
    """Yield the chord of each place: a dominant that goes home, or whose triad is hard to hold, takes its seventh."""
    for index, option in enumerate(chosen):
        following = next((each for each in chosen[index:] if each is not option), None)
        goes_home = following is not None and following.degree == 0
        hard = str(option.chord) not in COMMON_SHAPES
        yield option.seventh if option.seventh and (goes_home or hard) else option.chord


def _options(key: Key) -> list[_Option]:
    options = []
    for (degree, quality), cost in KEY_CHORDS[key.minor].items():
        chord = chord_on(key, degree, quality)
        seventh = chord_on(key, degree, "7") if (degree, quality) == (DOMINANT, "") else None
        known = str(chord) in COMMON_SHAPES or str(seventh) in COMMON_SHAPES
        options.append(_Option(chord, degree, cost + (0.0 if known else _UNKNOWN_SHAPE), seventh))
    return options


def _places(measures: Sequence[LeadMeasure]) -> Iterator[_Place]:
    """Yield the places of all measures with their notes; a pick-up has none, at the start or after a short measure."""
    short = [measure.length_quarter < measure.nominal_quarter for measure in measures]
    for index, measure in enumerate(measures):
        if short[index] and (index == 0 or short[index - 1]) and index + 1 < len(measures):
            continue
        split = _SPLITS.get(measure.meter, measure.length_quarter)
        edges = [Fraction(0), split] if split < measure.length_quarter else [Fraction(0)]
        following = measures[index + 1] if index + 1 < len(measures) else None
        ends_part = bool(measure.repeat_times or measure.fine or (following and following.repeat_start))
        for low, high in zip(edges, [*edges[1:], measure.length_quarter], strict=True):
            is_last = high == measure.length_quarter
            yield _Place(
                index,
                low,
                high - low,
                tuple(note for note in measure.notes if note.start_quarter < high and note.end_quarter > low),
                ends_part and is_last,
                following is None and is_last,
            )


def _misfit(place: _Place, option: _Option) -> float:
    """Return how many quarters the tune spends outside a chord, notes on the place itself counting more."""
    tones = option.chord.pitch_classes
    seventh = (option.chord.root_class + 10) % 12 if option.seventh else None
    strange = 0.0
    for note in place.notes:
        if note.pitch is None:
            continue
        low = max(note.start_quarter, place.start_quarter)
        high = min(note.end_quarter, place.start_quarter + place.length_quarter)
        weight = float(high - low) * (_ON_THE_PLACE if low == place.start_quarter else 1.0)
        if note.pitch.pitch_class == seventh:
            strange += _SEVENTH * weight
        elif note.pitch.pitch_class not in tones:
            strange += weight
    return strange


def _at_home(place: _Place, option: _Option, *, first: bool) -> float:
    """Return what speaks against a chord where the tune, or a part of it, begins or ends."""
    if option.degree == 0:
        return 0.0
    if place.ends_tune:
        return _NOT_HOME
    if first:
        return _NOT_HOME_AT_A_REPEAT
    return (0.3 if option.degree == 7 else _NOT_HOME_AT_A_REPEAT) if place.ends_part else 0.0


def _step(before: _Option, after: _Option, place: _Place) -> float:
    if before is after:
        return 0.0
    change = _CHANGE_WITHIN if place.start_quarter else _CHANGE_AT_BAR
    return change + _STEPS.get((before.degree, after.degree), 0.0)


def _cheapest(places: Sequence[_Place], options: Sequence[_Option]) -> list[_Option]:
    """Return the chord at each place along the way with the least cost."""

    def own(index: int, option: _Option) -> float:
        place = places[index]
        share = float(place.length_quarter) / 2
        return _misfit(place, option) + share * option.cost * 0.5 + _at_home(place, option, first=index == 0)

    costs = [own(0, option) for option in options]
    came_from: list[list[int]] = []
    for index in range(1, len(places)):
        place = places[index]
        best = [
            min(range(len(options)), key=lambda at: costs[at] + _step(options[at], option, place))
            for option in options
        ]
        costs = [
            costs[at] + _step(options[at], option, place) + own(index, option)
            for at, option in zip(best, options, strict=True)
        ]
        came_from.append(best)
    at = min(range(len(options)), key=costs.__getitem__)
    way = [at]
    for best in reversed(came_from):
        at = best[at]
        way.append(at)
    return [options[at] for at in reversed(way)]
