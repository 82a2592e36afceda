"""Instruments, tunings and what a hand can hold."""

from tercet.neck.reach import has_note, octaves_onto
from tercet.neck.shapes import (
    COMMON_SHAPES,
    Shape,
    chord_shapes,
    common_shape,
    fingers_needed,
    fret_position_mm,
    holdable,
    shape_midis,
    span_mm,
)
from tercet.neck.tunings import LAST_FRET, SCALE_LENGTHS_MM, TUNINGS, Tuning, tuning_named, tuning_of_pitches

__all__ = [
    "COMMON_SHAPES",
    "LAST_FRET",
    "SCALE_LENGTHS_MM",
    "TUNINGS",
    "Shape",
    "Tuning",
    "chord_shapes",
    "common_shape",
    "fingers_needed",
    "fret_position_mm",
    "has_note",
    "holdable",
    "octaves_onto",
    "shape_midis",
    "span_mm",
    "tuning_named",
    "tuning_of_pitches",
]
