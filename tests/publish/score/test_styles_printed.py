"""Styles on paper: named beside the section, and strings behind the tune small."""

from __future__ import annotations

from typing import Any

import pytest

from tercet.arranging import Arrangement, arrange
from tercet.publish.score.elements import ScoreLook
from tercet.publish.score.engraver_svg import NEARNESS
from tercet.publish.score.mei import score_of
from tercet.song import SectionStyle
from tests.arranging.written import section, song


def headings(arrangement: Arrangement) -> list[str]:
    """Return the names of sections that are printed."""
    texts = score_of(arrangement, ScoreLook()).texts.values()
    return [text.text for text in texts if text.kind == "section"]


def in_style(**more: Any) -> Arrangement:
    """Arrange a verse that is played twice."""
    return arrange(song(section("verse", "A4:4 | C5:4", "F | C"), form="verse verse", **more))


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, ["verse"]),
        ({"style": "broken"}, ["verse (broken)"]),
        (
            {"section_styles": (SectionStyle("verse", 2, "plain"),)},
            ["verse, first time", "verse, second time (plain)"],
        ),
    ],
)
def test_a_section_says_its_style_where_it_isnt_the_usual_one(
    more: dict[str, Any], expected: list[str]
) -> None:
    assert headings(in_style(**more)) == expected


def test_strings_behind_the_tune_are_smaller_than_its_notes() -> None:
    assert 'type="between under"' in score_of(in_style(style="broken"), ScoreLook()).mei
    assert 'type="between under"' not in score_of(in_style(), ScoreLook()).mei
    assert NEARNESS["between", "under"][0] < NEARNESS["between", "struck"][0]
