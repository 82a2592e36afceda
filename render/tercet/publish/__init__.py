"""What is looked at: the picture of a take, chord diagrams, the fretboard, the handout; as SVG, PNG and PDF."""

from tercet.publish.picture_files import PICTURE_ENDINGS, landscape_pdf, picture_maker, png_bytes
from tercet.publish.pictures.chord_diagram import chord_diagram_drawing
from tercet.publish.pictures.fretboard import (
    USUAL_FRETS,
    FretboardMap,
    fretboard_picture,
    frets_for,
    tune_places,
)
from tercet.publish.pictures.handout import handout_pictures
from tercet.publish.pictures.shapes_used import ShapeUse, shapes_used
from tercet.publish.pictures.take_picture import take_picture
from tercet.publish.shapes import Drawing
from tercet.publish.svg import svg_text

__all__ = [
    "PICTURE_ENDINGS",
    "USUAL_FRETS",
    "Drawing",
    "FretboardMap",
    "ShapeUse",
    "chord_diagram_drawing",
    "fretboard_picture",
    "frets_for",
    "handout_pictures",
    "landscape_pdf",
    "picture_maker",
    "png_bytes",
    "shapes_used",
    "svg_text",
    "take_picture",
    "tune_places",
]
