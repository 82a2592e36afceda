"""Which strings are free: stopped ones, chopped ones, the second voice's own, and until when."""

from __future__ import annotations

import dataclasses

import pytest

from tercet.performing import TakeNote
from tercet.performing.free_strings import LONGEST_S, with_free_strings
from tercet.performing.model import FreeString
from tercet.song import SECOND
from tercet.theory.tunings import TUNINGS
from tests.sound.takes import note

HIGH_G = TUNINGS["high-g"]


def struck(onset_s: float, length_s: float, string: int, fret: int, **other: object) -> TakeNote:
    one = note(onset_s, length_s, HIGH_G.open_midi(string) + fret, string)
    return dataclasses.replace(one, fret=fret, **other)  # type: ignore[arg-type]


def free(others: list[TakeNote], one: TakeNote) -> dict[int, float]:
    """Return which strings are free beside a note, and for how long."""
    ordered = sorted([*others, one], key=lambda each: each.onset_s)
    found = with_free_strings(ordered, HIGH_G)[ordered.index(one)].free
    assert all(
        each == FreeString(each.string, HIGH_G.open_midi(each.string), each.length_s) for each in found
    )
    return {each.string: each.length_s for each in found}


def test_all_others_are_free_where_nothing_else_is_played() -> None:
    assert free([], struck(1.0, 0.5, 2, 5)) == dict.fromkeys((1, 3, 4), LONGEST_S)


def test_a_fretted_string_is_free_again_when_its_note_has_ended() -> None:
    fretted = struck(0.0, 1.0, 3, 2)
    assert 3 not in free([fretted], struck(0.9, 0.5, 1, 0))
    assert 3 in free([fretted], struck(1.0, 0.5, 1, 0))


def test_a_string_that_rings_open_is_free_and_a_chopped_one_is_not() -> None:
    assert 3 in free([struck(0.0, 9.0, 3, 0)], struck(1.0, 0.5, 1, 0))
    assert 3 not in free([struck(0.0, 9.0, 3, 0, action="chop")], struck(1.0, 0.5, 1, 0))
    assert not free([], struck(1.0, 0.03, 1, 0, action="chop"))


def test_a_string_rings_along_until_it_is_touched_again_by_whichever_layer() -> None:
    later = [struck(1.4, 0.5, 3, 0, layer="strums"), struck(1.9, 0.5, 3, 4)]
    assert free(later, struck(1.0, 0.5, 1, 0))[3] == pytest.approx(0.4)
    assert 3 not in free([struck(1.03, 0.5, 3, 0)], struck(1.0, 0.5, 1, 0))


def test_the_second_voice_has_strings_of_its_own() -> None:
    other = struck(0.0, 9.0, 3, 2, layer=SECOND)
    assert 3 in free([other], struck(1.0, 0.5, 1, 0))
    assert 3 not in free([other], struck(1.0, 0.5, 1, 0, layer=SECOND))
