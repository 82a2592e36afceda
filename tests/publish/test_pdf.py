"""From SVG to PDF."""

from __future__ import annotations

import pytest
from reportlab.pdfgen.canvas import Canvas

from tercet.errors import ParameterError
from tercet.publish import svg_text
from tercet.publish.canvas import Disc, Drawing, Ink, Text
from tercet.publish.papers import PAPERS_PT
from tercet.publish.pdf import pdf_bytes
from tests.measure.papers import fonts_of, loose_fonts, pages_text, sizes_pt, words_placed

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="400" height="200">{}</svg>'


def page(*texts: str, bold: bool = False) -> str:
    shapes = tuple(
        Text(20.0, 30.0 * line, text, 20.0, "#000000", bold=bold) for line, text in enumerate(texts, 1)
    )
    return svg_text(
        Drawing(400.0, 200.0, (*shapes, Disc(300.0, 90.0, 9.0, Ink(fill="#9c2a16"))), "#ffffff", "t")
    )


def test_each_picture_is_a_page_with_its_text() -> None:
    made = pdf_bytes([page("Lan-", "terns"), page("Žižek, Ελλάδα, Мир")], title="t")
    assert [text.split("\n")[0] for text in pages_text(made)] == ["Lan-", "Žižek, Ελλάδα, Мир"]
    assert "terns" in pages_text(made)[0]


def test_every_font_is_embedded_and_bold_is_bold() -> None:
    assert fonts_of(pdf_bytes([page("Am", bold=True), page("Am")], title="t")) == {
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
    made = pdf_bytes([page(text, bold=True)], title="t")
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


def test_fonts_that_we_do_not_have_become_ours_in_attributes_styles_and_sheets() -> None:
    body = (
        (
            "<style>g.x {{ font-family: Times, serif; font-weight: 700 }}</style>"
            '<g class="x"><text x="10" y="20" font-size="12">sheet</text></g>'
            '<text x="10" y="60" style="font-family:Courier; font-style: italic" font-size="12">style</text>'
            '<text x="10" y="90" font-family="Georgia" font-weight="600" font-size="12">font-family="Courier"</text>'
        )
        .replace("{{", "{")
        .replace("}}", "}")
    )
    made = pdf_bytes([SVG.format(body)], title="t")
    assert set(fonts_of(made)) == {"NotoSans-Bold", "NotoSans-Italic"}
    assert loose_fonts(made) == []
    assert 'font-family="Courier"' in pages_text(made)[0], "what is sung is never taken for markup"


def test_a_page_is_as_large_as_its_picture_or_as_the_paper() -> None:
    assert sizes_pt(pdf_bytes([page("a")], title="t")) == [(300.0, 150.0)]
    made = pdf_bytes([page("a")], title="t", page_pt=PAPERS_PT["A4"], margin_pt=36.0)
    assert sizes_pt(made) == [PAPERS_PT["A4"]]
    ((_, x, y),) = words_placed(made)
    scale = (PAPERS_PT["A4"][0] - 72.0) / 400.0
    assert x == pytest.approx(36.0 + 20.0 * scale, abs=0.1)
    assert y == pytest.approx((PAPERS_PT["A4"][1] + 200.0 * scale) / 2 - 30.0 * scale, abs=0.1)


def test_the_same_pictures_give_the_same_bytes() -> None:
    pages = [page("Lan-", "terns", bold=True), page("שלום")]
    first = pdf_bytes(pages, title="t", author="a")
    pdf_bytes([page("other words")], title="u")
    assert pdf_bytes(pages, title="t", author="a") == first


@pytest.mark.parametrize(
    "svg", ["no svg", "<svg", "<html/>", SVG.replace('width="400" height="200"', "").format("")]
)
def test_what_is_no_picture_is_refused(svg: str) -> None:
    with pytest.raises(ParameterError, match="a page must"):
        pdf_bytes([svg], title="t")


def test_a_document_needs_pages() -> None:
    with pytest.raises(ParameterError, match="at least one page"):
        pdf_bytes([], title="t")


def test_entities_are_refused() -> None:
    bomb = '<!DOCTYPE svg [<!ENTITY a "boom">]>' + SVG.format('<text x="1" y="20">&a;</text>')
    with pytest.raises(ParameterError, match="a page must be SVG"):
        pdf_bytes([bomb], title="t")
