"""What is looked at: the picture of a take, as SVG and PNG."""

from render.publish.canvas import Drawing, svg_text
from render.publish.picture_file import PICTURE_ENDINGS, picture_maker
from render.publish.raster import png_bytes
from render.publish.take_picture import take_picture

__all__ = ["PICTURE_ENDINGS", "Drawing", "picture_maker", "png_bytes", "svg_text", "take_picture"]
