"""Files of pictures: PNG, decoded byte by byte."""

from __future__ import annotations

import numpy as np
import pytest

from tercet.publish import Drawing, png_bytes
from tercet.publish.picture_files import ZOOM
from tercet.publish.pictures import take_picture
from tercet.publish.shapes import Ink, Path, Style, Text
from tests.measure.picture import pixels_of, size_of_png
from tests.publish.drawn import taken, three_layers

SQUARE = Path(((2.0, 2.0), (6.0, 2.0), (6.0, 6.0), (2.0, 6.0)), Ink(fill="#ff0000"), closed=True)


def test_pixels_are_where_the_shapes_are() -> None:
    pixels = pixels_of(png_bytes(Drawing(12.0, 8.0, (SQUARE,), "#ffffff", "A square")))
    expected = np.full((16, 24, 4), 255, np.uint8)
    expected[4:12, 4:12, 1:3] = 0
    assert np.array_equal(pixels, expected)


def test_text_is_drawn_with_the_font_that_comes_along() -> None:
    def inked(text: str, style: Style = "plain") -> int:
        line = Text(2.0, 16.0, text, 16.0, "#000000", style=style)
        pixels = pixels_of(png_bytes(Drawing(60.0, 24.0, (line,), "#ffffff", "Text"), zoom=1.0))
        return int((255 - pixels[..., 0].astype(int)).sum())

    assert inked(" ") == 0
    assert inked("iii") > 5000
    assert inked("iii") < inked("mmm") < inked("mmm", "bold")
    assert inked("żЖα") > inked("iii")


def test_a_take_s_picture_has_the_promised_size_and_is_not_blank() -> None:
    made = three_layers()
    drawing = take_picture(taken(made), made)
    data = png_bytes(drawing)
    width, height = size_of_png(data)
    assert width == ZOOM * drawing.width == 2400
    assert abs(height - ZOOM * drawing.height) <= 1
    small = pixels_of(png_bytes(drawing, zoom=0.12))
    background = tuple(int(drawing.background[place : place + 2], 16) for place in (1, 3, 5))
    inked = (small[..., :3] != background).any(axis=2)
    assert 0.03 < inked.mean() < 0.5


def test_the_look_at_pixels_sees_a_blank_page() -> None:
    pixels = pixels_of(png_bytes(Drawing(30.0, 20.0, (), "#fbf7ee", "Nothing"), zoom=1.0))
    assert (pixels == (0xFB, 0xF7, 0xEE, 0xFF)).all()


def test_a_very_tall_picture_gets_fewer_pixels_a_unit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.publish.picture_files.MOST_PIXELS", 10_000.0)
    data = png_bytes(Drawing(10.0, 4000.0, (SQUARE,), "#ffffff", "Tall"))
    assert size_of_png(data) == (5, 2000)
