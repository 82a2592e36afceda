"""What is looked at: the picture of a take, chord diagrams; as SVG and PNG."""

from render.publish.canvas import Drawing, svg_text
from render.publish.chord_diagram import chord_diagram, chord_diagram_drawing
from render.publish.picture_file import PICTURE_ENDINGS, picture_maker
from render.publish.raster import png_bytes
from render.publish.shapes_used import LineShapes, ShapeUse, shapes_by_line, shapes_used
from render.publish.take_picture import take_picture

__all__ = [
    "PICTURE_ENDINGS",
    "Drawing",
    "LineShapes",
    "ShapeUse",
    "chord_diagram",
    "chord_diagram_drawing",
    "picture_maker",
    "png_bytes",
    "shapes_by_line",
    "shapes_used",
    "svg_text",
    "take_picture",
]
