"""Pictures drawn here: chord diagrams, the fretboard, the handout, the picture of a take, what was heard."""

from tercet.publish.pictures.chord_diagram import chord_diagram_drawing
from tercet.publish.pictures.fretboard import (
    USUAL_FRETS,
    FretboardMap,
    fretboard_picture,
    frets_for,
    tune_places,
)
from tercet.publish.pictures.handout import handout_pictures
from tercet.publish.pictures.heard_picture import heard_picture
from tercet.publish.pictures.shapes_used import ShapeUse, shapes_used
from tercet.publish.pictures.take_picture import take_picture

__all__ = [
    "USUAL_FRETS",
    "FretboardMap",
    "ShapeUse",
    "chord_diagram_drawing",
    "fretboard_picture",
    "frets_for",
    "handout_pictures",
    "heard_picture",
    "shapes_used",
    "take_picture",
    "tune_places",
]
