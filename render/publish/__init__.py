"""What is looked at: the picture of a take, chord diagrams, the fretboard, the handout; as SVG, PNG and PDF."""

from render.publish.canvas import Drawing, svg_text
from render.publish.chord_diagram import chord_diagram, chord_diagram_drawing
from render.publish.fretboard import USUAL_FRETS, FretboardMap, fretboard_picture, frets_for, tune_places
from render.publish.handout import handout_pictures
from render.publish.pdf import pdf_bytes
from render.publish.picture_file import PAPERS_PT, PICTURE_ENDINGS, landscape_pdf, picture_maker
from render.publish.raster import png_bytes
from render.publish.shapes_used import LineShapes, ShapeUse, shapes_by_line, shapes_used
from render.publish.take_picture import take_picture

__all__ = [
    "PAPERS_PT",
    "PICTURE_ENDINGS",
    "USUAL_FRETS",
    "Drawing",
    "FretboardMap",
    "LineShapes",
    "ShapeUse",
    "chord_diagram",
    "chord_diagram_drawing",
    "fretboard_picture",
    "frets_for",
    "handout_pictures",
    "landscape_pdf",
    "pdf_bytes",
    "picture_maker",
    "png_bytes",
    "shapes_by_line",
    "shapes_used",
    "svg_text",
    "take_picture",
    "tune_places",
]
