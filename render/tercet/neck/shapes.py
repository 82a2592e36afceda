"""What a left hand can hold: four frets, the fingers that they take, and whether that is in reach.

A *shape* is four frets, string 4 first, as chord shapes are written: C is 0003 on a high-g ukulele. 0 is an
open string. Distances along the neck follow equal temperament: fret n lies at ``L · (1 − 2^(−n/12))`` from the
nut of a string of length L.
"""

from __future__ import annotations

from functools import lru_cache

from tercet.theory import Chord, Tuning, parse_chord

__all__ = [
    "COMMON_SHAPES",
    "TAUGHT_SHAPES",
    "Shape",
    "common_shape",
    "fingers_needed",
    "fret_position_mm",
    "holdable",
    "shape_midis",
    "span_mm",
    "taught_fingers",
]

Shape = tuple[int, int, int, int]
"""Frets, string 4 first."""

SPAN_LIMIT_MM = 85.0
"""Widest stretch between the lowest and highest finger that a hand is asked for."""

_C_TUNING_ROOT = 9
"""Pitch class of string 1 in the tunings that `COMMON_SHAPES` is written for (A)."""

TAUGHT_SHAPES: dict[str, str] = {
    "C": "0003/0003",
    "F": "2010/2010",
    "G7": "0212/0213",
    "G": "0232/0132",
    "Am": "2000/2000",
    "Dm": "2210/2310",
    "D": "2220/1230",
    "A": "2100/2100",
    "A7": "0100/0100",
    "D7": "2223/1112",
    "E7": "1202/1203",
    "Em": "0432/0321",
    "Gm": "0231/0231",
    "Bb": "3211/3211",
    "B7": "2322/1211",
    "C7": "0001/0001",
    "Fm": "1013/1024",
}
"""The shapes that players know by name on a G-C-E-A ukulele, high or low fourth string alike: frets, then the fingers
that teachers put on them, string 4 first. Strings that lie as far apart elsewhere take the same shapes."""

COMMON_SHAPES: dict[str, str] = {name: shape.partition("/")[0] for name, shape in TAUGHT_SHAPES.items()}
"""The frets of the taught shapes, by the chord's name."""


def _digits(text: str) -> Shape:
    four, three, two, one = (int(digit) for digit in text)
    return (four, three, two, one)


_TAUGHT_FINGERS = {
    _digits(frets): _digits(fingers)
    for frets, _, fingers in (shape.partition("/") for shape in TAUGHT_SHAPES.values())
}


@lru_cache(maxsize=16384)
def fret_position_mm(fret: int, scale_length_mm: float) -> float:
    """Return how far a fret lies from the nut in mm: ``L · (1 − 2^(−fret/12))``."""
    return float(scale_length_mm * (1.0 - 2.0 ** (-fret / 12.0)))


@lru_cache(maxsize=16384)
def span_mm(frets: tuple[int, ...], scale_length_mm: float) -> float:
    """Return the distance in mm between the lowest and the highest fretted string; 0 with at most one."""
    pressed = [fret for fret in frets if fret > 0]
    if len(pressed) < 2:
        return 0.0
    return fret_position_mm(max(pressed), scale_length_mm) - fret_position_mm(min(pressed), scale_length_mm)


@lru_cache(maxsize=16384)
def fingers_needed(frets: tuple[int, ...]) -> int:
    """Return how many fingers a shape takes, 0 to 4, the index finger lying across strings where that helps.

    The index finger may lie flat over all strings from one end of the lowest fret to the other, if no open
    string lies between its first and its last string.
    """
    pressed = [(fret, place) for place, fret in enumerate(frets) if fret > 0]
    if not pressed:
        return 0
    lowest = min(fret for fret, _ in pressed)
    at_lowest = [place for fret, place in pressed if fret == lowest]
    covered = frets[at_lowest[0] : at_lowest[-1] + 1]
    if len(at_lowest) > 1 and all(fret > 0 for fret in covered):
        return 1 + len(pressed) - len(at_lowest)
    return len(pressed)


@lru_cache(maxsize=16384)
def holdable(frets: tuple[int, ...], scale_length_mm: float) -> bool:
    """Whether a hand can hold a shape: at most four fingers, at most `SPAN_LIMIT_MM`, four frets below fret 5.

    From fret 5 on the frets are narrow enough for five.
    """
    pressed = [fret for fret in frets if fret > 0]
    if not pressed:
        return True
    widest = 5 if min(pressed) >= 5 else 4
    return (
        fingers_needed(frets) <= 4
        and max(pressed) - min(pressed) < widest
        and span_mm(frets, scale_length_mm) <= SPAN_LIMIT_MM
    )


def shape_midis(shape: tuple[int, ...], tuning: Tuning) -> tuple[int, ...]:
    """Return the MIDI key numbers that a shape sounds, string 4 first."""
    return tuple(pitch.midi + fret for pitch, fret in zip(tuning.open_pitches, shape, strict=True))


@lru_cache(maxsize=512)
def _common_by_tones(tuning: Tuning) -> dict[tuple[frozenset[int], int], Shape]:
    """Return the common shapes of a tuning by (pitch classes, root class); none where the strings lie otherwise.

    Any tuning whose strings lie as far from each other as G-C-E-A (a baritone's do) takes the same shapes for
    chords that are moved along.
    """
    classes = [pitch.midi % 12 for pitch in tuning.open_pitches]
    moved = (classes[3] - _C_TUNING_ROOT) % 12
    if [(pc - moved) % 12 for pc in classes] != [7, 0, 4, 9]:
        return {}
    table = {}
    for name, digits in COMMON_SHAPES.items():
        chord = parse_chord(name)
        tones = frozenset((pc + moved) % 12 for pc in chord.pitch_classes)
        table[tones, (chord.root_class + moved) % 12] = _digits(digits)
    return table


def common_shape(chord: Chord, tuning: Tuning) -> Shape | None:
    """Return the shape that players know by the chord's name in a tuning, or None."""
    return _common_by_tones(tuning).get((chord.pitch_classes, chord.root_class))


def taught_fingers(shape: tuple[int, ...]) -> Shape | None:
    """Return the fingers that teachers put on a shape that players know by name, in any tuning; None for others.

    >>> taught_fingers((0, 2, 1, 2))
    (0, 2, 1, 3)
    """
    return _TAUGHT_FINGERS.get((shape[0], shape[1], shape[2], shape[3]))
