"""Which style suits a song, by its figures and its players."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from tercet.arranging.advice import advise
from tercet.arranging.style_advice import StyleAdvice, style_advice
from tercet.errors import RequestError
from tercet.theory import TUNINGS
from tests.arranging.written import section, song

FLOWING = "G4 A4 B4 C5 | D5 C5 B4 A4 | G4 A4 B4 A4 | G4:2 G4:2"
CALM = "A4:4 | C5:4 | Bb4:2 A4:2 | A4:4"
LOW = "C4:4 | D4:4 | C4:2 D4:2 | C4:4"


def advised(melody: str, chords: str = "C | C | C | C", tuning: str = "high-g", **more: Any) -> StyleAdvice:
    """Return the advice on a section of one line."""
    return style_advice(song(section("verse", melody, chords), **more), TUNINGS[tuning])


@pytest.mark.parametrize(
    ("melody", "more", "style"),
    [
        (FLOWING, {"tempo": Fraction(112)}, "ringing"),
        (FLOWING, {"tempo": Fraction(250)}, "plain"),
        (FLOWING, {"tempo": Fraction(240), "players": "free"}, "ringing"),
        (FLOWING, {"tempo": Fraction(112), "players": "beginner"}, "rolls"),
        (FLOWING, {"tempo": Fraction(160), "players": "beginner"}, "plain"),
        (CALM, {"chords": "F | F | F | F"}, "broken"),
        (CALM, {"chords": "F | F | F | F", "players": "beginner"}, "rolls"),
        (LOW, {}, "rolls"),  # nothing lies below
    ],
)
def test_pace_place_and_players_decide(melody: str, more: dict[str, Any], style: str) -> None:
    advice = advised(melody, **more)
    assert advice.style == style, advice
    assert f"{advice.notes_a_second:.1f} a second" in advice.reason


def test_the_figures_are_those_of_the_tune() -> None:
    advice = advised("C4:2 C4 F4 | C5 D5 C5:2", "C | C", tempo=Fraction(60))
    assert advice.notes_a_second == 6 / 8
    assert advice.held_long == 2 / 6
    assert advice.leaps == 2 / 5
    # C4 lies on string 3 alone; all others have a choice
    assert advice.different_strings == 4 / 5


def test_strings_decide_too() -> None:
    shares = [advised("C5 D5 C5 D5", "C", name).different_strings for name in ("high-g", "low-g")]
    assert shares == [1, 0]  # a high string 4 has both notes, a low one neither


def test_a_song_without_a_tune_has_none() -> None:
    with pytest.raises(RequestError, match="no tune"):
        advised(".:4", "C")


def test_keys_are_weighed_without_the_rolls_that_a_style_has_not() -> None:
    verse = section("verse", "G4:2 E4 G4 | A4:2 G4:2", "C | F")
    keys = {style: advise(song(verse, style=style), [TUNINGS["high-g"]])[0] for style in ("rolls", "plain")}
    assert keys["rolls"].tunings[0].wanted > 0
    assert keys["plain"].tunings[0].wanted == 0
    assert keys["plain"].tunings[0].parts["wanted rolls that aren't heard"] == 0
