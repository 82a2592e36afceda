"""Text in lines, its width, and stand-ins for it."""

from __future__ import annotations

import pytest

from tercet.publish.paragraphs import fitted, shortened, wrapped
from tercet.publish.score.elements import stand_in
from tercet.publish.shapes import Style, Text
from tercet.publish.typefaces import text_width_em
from tests.measure.text_boxes import _ink

TIMES_EM = {"H": 0.722, "p": 0.5, ".": 0.25}


@pytest.mark.parametrize("text", ["Lanterns", "wait, as we", "Ελλάδα", "שלום", "漢字", "0123"])
@pytest.mark.parametrize("style", ["plain", "bold"])
def test_text_is_never_wider_than_told(text: str, style: str) -> None:
    told = text_width_em(text, "bold" if style == "bold" else "plain")
    measured = _ink(text, bold=style == "bold")[1] / 200
    assert measured <= told + 0.01
    assert told <= measured * 1.2 + 0.01


@pytest.mark.parametrize("width_em", [0.1, 0.5, 0.722, 1.3, 2.49, 17.0, 399.0])
@pytest.mark.parametrize("capital", [True, False])
def test_a_stand_in_is_as_wide_as_asked_or_a_little_wider(width_em: float, *, capital: bool) -> None:
    wide = sum(TIMES_EM[letter] for letter in stand_in(width_em, capital=capital))
    assert wide >= width_em - 1e-3
    assert wide <= max(width_em, 0.722) + 0.26


def test_lines_break_between_words() -> None:
    assert wrapped("one two three four", 10.0, 55.0, 4) == ("one two", "three four")
    assert wrapped("", 10.0, 55.0, 4) == ()


def test_a_word_that_is_too_long_is_cut_and_the_rest_left_out() -> None:
    lines = wrapped("x" * 4000, 10.0, 100.0, 3)
    assert len(lines) == 3
    assert lines[-1].endswith("…")
    assert all(text_width_em(line) * 10.0 <= 100.0 for line in lines)


def test_a_text_is_cut_short_with_three_dots() -> None:
    assert shortened("short", 10.0) == "short"
    cut = shortened("word " * 4000, 10.0)
    assert cut.endswith("…")
    assert text_width_em(cut) <= 10.0


def test_texts_are_made_smaller_then_cut() -> None:
    def fit(text: str, style: Style = "plain") -> Text:
        return fitted(Text(1.0, 2.0, text, 20.0, style=style, name="title"), 300.0, 10.0)

    assert fit("short") == Text(1.0, 2.0, "short", 20.0, name="title")
    assert fit("").size == 20.0
    smaller = fit("m" * 20)
    assert smaller.text == "m" * 20
    assert text_width_em(smaller.text) * smaller.size == pytest.approx(300.0)
    assert fit("m" * 20, "bold").size < smaller.size
    cut = fit("m" * 100)
    assert cut.size == 10.0
    assert cut.text.endswith("m…")
    assert 290.0 < text_width_em(cut.text) * cut.size <= 300.0
