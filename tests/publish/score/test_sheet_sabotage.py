"""Each measure of a sheet fails when what it measures is broken: sheets spoilt on purpose, in their files."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache

from tercet.publish.score.pages import SheetLook, sheet_of, sheet_pdf, sheet_svg
from tests.measure.sheets import bars_in_pdf, bars_shown, overlaps, tab_bars
from tests.publish.papers import arranged

PATH = "songs/harbour-lanterns.yaml"
MEASURE = re.compile(r'<g id="m\d+" class="measure">')


@lru_cache(maxsize=1)
def good() -> str:
    return sheet_svg(sheet_of(arranged(PATH), SheetLook(paper=None)))


def arrows_right(svg: str) -> bool:
    return all(
        bar.spanned(arrow)[0] == bar.spanned(arrow)[1] for bar in tab_bars(svg) for arrow in bar.arrows
    )


def test_a_bar_that_is_printed_twice_is_counted_twice() -> None:
    number = re.search(r'<text class="bar-number"[^>]*>3 · 19</text>', good())
    assert number
    spoilt = good().replace(number[0], number[0] * 2)
    assert bars_shown(spoilt).count(3) == 2
    assert bars_shown(good()).count(3) == 1


def test_a_bar_that_is_left_out_is_missed() -> None:
    spoilt = re.sub(r'<text class="bar-number"[^>]*>3 · 19</text>', "", good())
    assert 3 not in bars_shown(spoilt)


def test_a_page_that_is_left_out_is_missed_in_the_pdf() -> None:
    made = sheet_of(arranged("tests/song/examples/every-rule.yaml"))
    whole, cut = bars_in_pdf(sheet_pdf(made)), bars_in_pdf(sheet_pdf(replace(made, pages=made.pages[1:])))
    assert 1 in whole
    assert 1 not in cut


def test_a_text_that_is_moved_onto_another_is_seen() -> None:
    assert overlaps(good()) == []
    words = re.findall(r'<text class="word" x="([\d.]+)" y="([\d.]+)"', good())
    (first, row), second = words[0], next(x for x, y in words[1:] if y == words[0][1])
    spoilt = good().replace(f'class="word" x="{second}" y="{row}"', f'class="word" x="{first}" y="{row}"', 1)
    assert len(overlaps(spoilt)) == 1


def test_text_that_is_set_larger_than_there_is_room_for_is_seen() -> None:
    spoilt = re.sub(r'(<text class="chord"[^>]*font-size=")450', r"\g<1>4500", good())
    assert overlaps(spoilt)


def test_a_wrong_digit_is_read() -> None:
    def digits(svg: str) -> list[dict[int, int]]:
        return [column.frets for bar in tab_bars(svg) for column in bar.columns]

    spoilt = re.sub(r'(<text class="digit"[^>]*>)5</text>', r"\g<1>4</text>", good(), count=1)
    changed = [(old, new) for old, new in zip(digits(good()), digits(spoilt), strict=True) if old != new]
    assert changed == [({1: 5}, {1: 4})]


def test_a_digit_on_the_wrong_line_is_read() -> None:
    def lowered(match: re.Match[str]) -> str:
        return f'{match[1]}{float(match[2]) + 315.0:g}"'

    spoilt = re.sub(r'(<text class="digit" x="[\d.]+" y=")([\d.]+)"(?=[^>]*>5<)', lowered, good(), count=1)
    strings = [column.frets for bar in tab_bars(spoilt) for column in bar.columns]
    assert {2: 5} in strings


def test_an_arrow_that_is_too_short_or_too_long_is_seen() -> None:
    assert arrows_right(good())
    low = next(bar for bar in tab_bars(good()) if bar.arrows and 1 not in bar.spanned(bar.arrows[0])[0])
    arrow = re.search(
        rf'<g id="{low.name}c0r" class="arpeg melody"[^>]*>((?:\s*<use[^>]*/>)+)\s*</g>', good()
    )
    assert arrow
    signs = re.findall(r"<use[^>]*/>", arrow[1])
    shorter = good().replace(arrow[1], "".join(signs[:-1]), 1)
    longer = good().replace(
        arrow[1],
        arrow[1] + re.sub(r"translate\(([\d.]+)", lambda m: f"translate({float(m[1]) + 320}", signs[-1]),
        1,
    )
    assert not arrows_right(shorter)
    assert not arrows_right(longer)
