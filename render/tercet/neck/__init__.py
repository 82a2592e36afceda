"""Hand shapes, and what a hand can hold."""

from tercet.neck.notes import has_note, octaves_onto
from tercet.neck.shapes import (
    COMMON_SHAPES,
    Shape,
    common_shape,
    fingers_needed,
    fret_position_mm,
    holdable,
    shape_midis,
    span_mm,
)

__all__ = [
    "COMMON_SHAPES",
    "Shape",
    "common_shape",
    "fingers_needed",
    "fret_position_mm",
    "has_note",
    "holdable",
    "octaves_onto",
    "shape_midis",
    "span_mm",
]
