"""Hand shapes, and what a hand can hold."""

from tercet.neck.fingers import FingersFault, fault_of_fingers, fault_of_stretch
from tercet.neck.notes import has_note, octaves_onto
from tercet.neck.shapes import (
    COMMON_SHAPES,
    TAUGHT_SHAPES,
    Shape,
    common_shape,
    fingers_needed,
    fret_position_mm,
    holdable,
    shape_midis,
    span_mm,
    taught_fingers,
)

__all__ = [
    "COMMON_SHAPES",
    "TAUGHT_SHAPES",
    "FingersFault",
    "Shape",
    "common_shape",
    "fault_of_fingers",
    "fault_of_stretch",
    "fingers_needed",
    "fret_position_mm",
    "has_note",
    "holdable",
    "octaves_onto",
    "shape_midis",
    "span_mm",
    "taught_fingers",
]
