"""Shapes as PDF."""

from __future__ import annotations

import pytest
from reportlab.pdfgen.canvas import Canvas

from tercet.errors import ParameterError
from tercet.publish.pdf import pdf_bytes
from tercet.publish.picture_files import PAPERS_PT
from tercet.publish.shapes import Disc, Drawing, Group, Ink, Outline, Path, Placing, Shape, Sign, Style, Text
from tests.measure.papers import fonts_of, loose_fonts, pages_text, painted, sizes_pt, words_placed


def page(*texts: str, style: Style = "plain") -> Drawing:
    shapes = tuple(
        Text(20.0, 30.0 * line, text, 20.0, "#000000", style=style) for line, text in enumerate(texts, 1)
    )
    return drawing(*shapes, Disc(300.0, 90.0, 9.0, Ink(fill="#9c2a16")))


def drawing(*shapes: Shape, background: str = "#ffffff") -> Drawing:
    return Drawing(
        400.0, 200.0, shapes, background, "t", ink="#0000ff", signs={"E050": "M0 0 H500 V500 H0 Z"}
    )


def test_each_picture_is_a_page_with_its_text() -> None:
    made = pdf_bytes([page("Lan-", "terns"), page("Žižek, Ελλάδα, Мир")], title="t")
    assert [text.split("\n")[0] for text in pages_text(made)] == ["Lan-", "Žižek, Ελλάδα, Мир"]
    assert "terns" in pages_text(made)[0]


def test_every_font_is_embedded_and_bold_is_bold() -> None:
    assert fonts_of(pdf_bytes([page("Am", style="bold"), page("Am")], title="t")) == {
        "NotoSans-Bold": True,
        "NotoSans-Regular": True,
    }
    plain = pdf_bytes([page("Am")], title="t")
    assert fonts_of(plain) == {"NotoSans-Regular": True}


def test_the_measure_sees_a_font_that_is_not_embedded() -> None:
    from io import BytesIO

    buffer = BytesIO()
    canvas = Canvas(buffer)
    canvas.drawString(10, 10, "Helvetica isn't embedded")
    canvas.save()
    assert loose_fonts(buffer.getvalue()) == ["Helvetica"]


@pytest.mark.parametrize(
    ("text", "font", "read"),
    [
        ("שלום", "Heebo-Regular", "שלום"),
        ("مرحبا", "NotoSansArabic-Regular", "ﻣﺮﺣﺒﺎ"),
        ("你好 こんにちは 안녕", "NotoSansCJKJP-Regular", "你好 こんにちは 안녕"),
    ],
)
def test_words_in_other_scripts_are_set_in_fonts_that_have_them(text: str, font: str, read: str) -> None:
    made = pdf_bytes([page(text, style="bold")], title="t")
    assert font.split("-", maxsplit=1)[0] in {name.split("-")[0] for name in fonts_of(made)}
    assert loose_fonts(made) == []
    assert read in pages_text(made)[0]


def test_a_line_in_several_scripts_is_set_run_by_run() -> None:
    made = pdf_bytes([page("one שלום two 你好 three")], title="t")
    assert {name.split("-")[0] for name in fonts_of(made)} == {"NotoSans", "Heebo", "NotoSansCJKJP"}
    placed = {text: x for text, x, _ in words_placed(made)}
    order = [placed[word] for word in ("one", "שלום", "two", "你好", "three")]
    assert order == sorted(order)
    assert len(set(order)) == 5


def test_a_sign_that_no_font_has_does_not_stop_the_page() -> None:
    assert "after" in pages_text(pdf_bytes([page("\U0001f3b5 after")], title="t"))[0]


def test_every_style_is_a_face_of_its_own() -> None:
    made = pdf_bytes([page("font-family", style="italic"), page("<b>", style="bold")], title="t")
    assert set(fonts_of(made)) == {"NotoSans-Bold", "NotoSans-Italic"}
    assert "<b>" in pages_text(made)[1], "what is sung is never taken for markup"


def test_a_page_is_as_large_as_its_picture_or_as_the_paper() -> None:
    assert sizes_pt(pdf_bytes([page("a")], title="t")) == [(300.0, 150.0)]
    made = pdf_bytes([page("a")], title="t", page_pt=PAPERS_PT["A4"], margin_pt=36.0)
    assert sizes_pt(made) == [PAPERS_PT["A4"]]
    ((_, x, y),) = words_placed(made)
    scale = (PAPERS_PT["A4"][0] - 72.0) / 400.0
    assert x == pytest.approx(36.0 + 20.0 * scale, abs=0.1)
    assert y == pytest.approx((PAPERS_PT["A4"][1] + 200.0 * scale) / 2 - 30.0 * scale, abs=0.1)


def test_the_same_pictures_give_the_same_bytes() -> None:
    pages = [page("Lan-", "terns", style="bold"), page("שלום")]
    first = pdf_bytes(pages, title="t", author="a")
    pdf_bytes([page("other words")], title="u")
    assert pdf_bytes(pages, title="t", author="a") == first


def test_a_document_needs_pages() -> None:
    with pytest.raises(ParameterError, match="at least one page"):
        pdf_bytes([], title="t")


SQUARE = ((0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0))
RED, GREEN, BLUE = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


@pytest.mark.parametrize(
    ("shape", "colour", "width"),
    [
        (Path(SQUARE, Ink(fill="#ff0000"), closed=True), RED, 0.0),
        (Path((SQUARE[0], SQUARE[2]), Ink(stroke="#00ff00", width=3.0)), GREEN, 3.0),
        (Disc(10.0, 10.0, 10.0, Ink(fill="#ff0000")), RED, 0.0),
        (Outline("M0 0 L20 0 L20 20 L0 20 Z", filled=True), BLUE, 0.0),
        (Outline("M0 0 L20 20", 3.0), BLUE, 3.0),
        (Sign("E050", 0.0, 20.0, 0.04), BLUE, 0.0),
        (Group((Sign("E050", 0.0, 20.0, 0.04),), colour="#ff0000"), RED, 0.0),
        (Group((Group((Outline("M0 0 H20 V20 H0 Z", filled=True),)),), colour="#ff0000"), RED, 0.0),
    ],
)
def test_every_shape_is_painted_where_it_lies_and_in_its_colour(
    shape: Shape, colour: tuple[float, ...], width: float
) -> None:
    (there,) = painted(pdf_bytes([drawing(shape)], title="t", unit_pt=1.0))
    assert there.colour == colour
    assert there.width == pytest.approx(width)
    assert there.box == pytest.approx((0.0, 180.0, 20.0, 200.0))
    turned = Group((shape,), turned=(90.0, 20.0, 0.0))
    moved = Group((turned,), placing=Placing(100.0, 50.0, 2.0))
    (there,) = painted(pdf_bytes([drawing(moved)], title="t", unit_pt=1.0))
    assert there.colour == colour
    assert there.width == pytest.approx(2.0 * width)
    assert there.box == pytest.approx((100.0, 150.0, 140.0, 190.0))


def test_paper_that_is_not_white_is_painted() -> None:
    (paper,) = painted(pdf_bytes([drawing(background="#00ff00")], title="t"))
    assert paper.colour == GREEN
    assert paper.box == pytest.approx((0.0, 0.0, 300.0, 150.0))
    assert painted(pdf_bytes([drawing()], title="t")) == []
