"""The notes that the song adds itself, as its `between` row says."""

from __future__ import annotations

import pytest

from tercet.arranging import arrange
from tercet.theory import TUNINGS
from tests.arranging.laws import broken_laws
from tests.arranging.written import arranged, messages, section, shape, song, struck, tune_of


def added_of(made: object) -> list[str]:
    return [
        f"{gesture.start_beat} {struck(gesture)}"
        for gesture in made.gestures  # type: ignore[attr-defined]
        if gesture.notes[-1].part == "added"
    ]


def test_added_notes_are_played_where_the_hand_is() -> None:
    made = arranged("C5:4", "C", between=". G4 E C")
    assert added_of(made) == ["1 4/0", "2 2/0", "3 3/0"]
    assert tune_of(made) == ["4/0 3/0 2/0 1/3"]
    assert {shape(gesture) for gesture in made.gestures if gesture.layer == "between"} == {"0003"}
    assert messages(made) == []


def test_added_notes_keep_off_the_string_that_rings() -> None:
    made = arranged("A4:4[alone]", "F", between=". A4 Bb4 C5")
    assert added_of(made) == ["1 4/2", "2 4/3", "3 4/5"]
    assert not broken_laws(made)


def test_an_added_note_on_an_onset_of_the_tune_makes_it_a_single_note() -> None:
    made = arranged("C5:4", "C", between="E4 .:3")
    assert [f"{gesture.start_beat} {struck(gesture)}" for gesture in made.gestures][:2] == ["0 1/3", "0 2/0"]
    assert messages(made) == []


def test_a_pinned_roll_on_an_added_note_is_told() -> None:
    made = arranged("C5:4[4321]", "C", between="E4 .:3")
    assert tune_of(made) == ["4/0 3/0 2/0 1/3"]
    assert added_of(made) == []
    assert messages(made) == [
        "the added E4 is left out: no hand has a string for it together with the tune's C5"
    ]
    assert (made.problems[0].line, made.problems[0].column, made.problems[0].unplayable) == (3, 1, False)


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        ("C5[2]", "2/8"),
        ("s4f5", "4/5"),
        ("C5[3]", "3/12"),
        ("C5[alone]", "4/5"),
        ("s1f3", None),
        ("C5[32]", None),
    ],
)
def test_pins_of_added_notes(word: str, expected: str | None) -> None:
    made = arranged("A4:4[1]", "N.C.", between=f". {word} .:2")
    if expected is None:
        assert "can't be kept" in messages(made)[0] or "takes a string" in messages(made)[0]
        assert made.gestures[1].notes[0].midi == 72
    else:
        assert added_of(made) == [f"1 {expected}"]
        assert messages(made) == []


def test_an_added_note_that_no_string_has_is_moved_and_told() -> None:
    made = arranged("C5:4", "C", between=". C3 .:2")
    assert added_of(made) == ["1 3/0"]
    assert made.gestures[1].notes[0].shown == "0*"
    assert messages(made)[0].startswith("C3 (131 Hz) lies below the lowest string (C4)")
    assert not made.problems[0].unplayable


def test_an_added_note_that_no_string_has_may_stay_as_written() -> None:
    made = arranged("C5:4", "C", between=". C3 .:2", as_written=True)
    note = made.gestures[1].notes[0]
    assert (note.midi, note.fret, note.shown) == (48, None, "*")
    assert made.problems[0].unplayable


def test_an_added_note_that_needs_the_tunes_finger_is_told() -> None:
    made = arranged("A5:4[1]", "N.C.", between=". s2f1 .:2")
    assert added_of(made) == ["1 2/1"]
    assert messages(made)[-1] == "the added F4 takes a string or a finger from the tune, which should ring on"


def test_what_is_told_once_for_all_passes_and_rows_are_kept_on_each() -> None:
    verse = section("verse", "A4:4[1] | C5:4", "N.C. | C", between=". A4[1] .:2 | . E4 .:2")
    made = arrange(song(verse, form="verse verse"))
    assert len(made.problems) == 1
    assert [text.split()[0] for text in added_of(made)] == ["1", "5", "9", "13"]


def test_before_the_tune_the_hand_is_open() -> None:
    made = arranged(".:4", "C", TUNINGS["low-g"], between="G3 C4 .:2")
    assert added_of(made) == ["0 4/0", "1 3/0"]
