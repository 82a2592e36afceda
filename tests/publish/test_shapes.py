"""Shapes as SVG."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from tercet.publish.shapes import Disc, Drawing, Group, Ink, Path, Text
from tercet.publish.svg import svg_text
from tests.measure.picture import SVG


def drawing(*shapes: Path | Disc | Text | Group, title: str = "A drawing") -> Drawing:
    return Drawing(20.0, 10.0, shapes, "#ffffff", title)


def only(svg: str, tag: str) -> ET.Element:
    (element,) = ET.fromstring(svg).iter(f"{SVG}{tag}")
    return element


def test_a_drawing_says_its_size_and_what_it_is() -> None:
    root = ET.fromstring(svg_text(drawing()))
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("20", "10", "0 0 20 10")
    assert root.findtext(f"{SVG}title") == "A drawing"


def test_an_open_and_a_closed_path() -> None:
    points = ((0.0, 1.0), (2.5, -0.001), (100.0, 1 / 3))
    line = only(
        svg_text(drawing(Path(points, Ink(stroke="#000000", width=2.0, dash=(3.0, 1.5))))), "polyline"
    )
    assert line.get("points") == "0,1 2.5,0 100,0.33"
    assert (line.get("fill"), line.get("stroke-dasharray"), line.get("stroke-width")) == (
        "none",
        "3 1.5",
        "2",
    )
    area = only(svg_text(drawing(Path(points, Ink(fill="#123456"), closed=True))), "polygon")
    assert (area.get("fill"), area.get("stroke")) == ("#123456", None)


def test_a_group_holds_its_shapes_and_is_named() -> None:
    disc = Disc(1.0, 2.0, 3.0, Ink(fill="#000000"), name="head")
    group = only(svg_text(drawing(Group((disc,), "note", "string 1"))), "g")
    assert group.get("class") == "note"
    assert group.findtext(f"{SVG}title") == "string 1"
    circle = group.find(f"{SVG}circle")
    assert circle is not None
    assert [circle.get(name) for name in ("cx", "cy", "r", "class")] == ["1", "2", "3", "head"]


@pytest.mark.parametrize("text", ["<&>", "</text><script>x</script>", "\"'", "]]>", "Ж♭"])
def test_text_stays_text(text: str) -> None:
    svg = svg_text(drawing(Text(1.0, 2.0, text, 12.0, "#000000", "middle", "bold"), title=text))
    root = ET.fromstring(svg)
    assert {element.tag.removeprefix(SVG) for element in root.iter()} == {
        "svg",
        "title",
        "desc",
        "rect",
        "text",
    }
    assert root.findtext(f"{SVG}text") == text
    assert root.findtext(f"{SVG}title") == text


def test_characters_that_xml_does_not_know_are_replaced() -> None:
    svg = svg_text(drawing(Text(1.0, 2.0, "bell\x07 \x0b", 12.0, "#000000")))
    assert only(svg, "text").text == "bell\ufffd \ufffd"
