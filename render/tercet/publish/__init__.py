"""What is looked at: pictures, printed music and the class page; as SVG, PNG and PDF."""

from tercet.publish.picture_files import PICTURE_ENDINGS, landscape_pdf, picture_maker, png_bytes
from tercet.publish.shapes import Drawing
from tercet.publish.svg import svg_text

__all__ = ["PICTURE_ENDINGS", "Drawing", "landscape_pdf", "picture_maker", "png_bytes", "svg_text"]
