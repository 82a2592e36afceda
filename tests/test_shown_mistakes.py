"""How mistakes are shown to a person: place, sentence, the music as it stands with the slip marked, what to write."""

from __future__ import annotations

from typing import Any

import pytest

from tercet.errors import Edit, Mistake, SongError, marked, shown_mistakes


def slip(text: str, start: int, end: int, write: str | None = None, **fields: Any) -> Mistake:
    """Return a mistake of line 7 whose slip is part of its text, from 0; what to write takes its place."""
    edits = () if write is None else (Edit(7, start + 1, 7, end + 1, write),)
    told = {
        "message": "wrong",
        "line": 7,
        "column": start + 1,
        "width": end - start,
        "edits": edits,
        **fields,
    }
    return Mistake(text=text, **told)


def lines_of(*mistakes: Mistake) -> list[str]:
    return shown_mistakes(mistakes).splitlines()


@pytest.mark.parametrize(
    ("fields", "place"),
    [
        ({}, ""),
        ({"line": 3}, "line 3"),
        ({"line": 3, "row": "tempo"}, "line 3, tempo"),
        ({"line": 7, "row": "melody 2", "section": "verse", "bar": 3}, "line 7, verse, bar 3, melody 2"),
        ({"line": 7, "row": "melody", "section": "verse", "bar": 0}, "line 7, verse, pick-up, melody"),
        ({"line": 7, "row": "melody", "section": "verse"}, "line 7, verse, melody"),
    ],
)
def test_the_place_as_a_person_says_it(fields: dict[str, Any], place: str) -> None:
    assert Mistake("wrong", **fields).place == place


def test_of_a_bar_only_that_bar_is_shown() -> None:
    row = "    melody   F4 D   | G4:3"
    assert lines_of(slip(row, 16, 17, "D:2", shown=(14, 18), section="verse", bar=1, row="melody")) == [
        "line 7, verse, bar 1, melody: wrong",
        "    now:    F4 »D«",
        "    write:  F4 D:2",
    ]


def test_slips_of_one_bar_share_what_is_shown() -> None:
    row = "    melody   c4 E g | G4:3"
    first = slip(row, 13, 15, "C4", shown=(14, 20), message="note letters are capitals")
    second = slip(row, 18, 19, "G", shown=(14, 20), message="note letters are capitals")
    other = slip(row, 22, 26, shown=(23, 27), mend="sing it", message="odd")
    assert lines_of(first, second, other) == [
        "line 7: note letters are capitals",
        "    now:    »c4« E »g«",
        "    write:  C4 E G",
        "line 7: odd",
        "    now:    »G4:3«",
        "    how:    sing it",
    ]


def test_what_only_the_writer_can_know_is_a_gap() -> None:
    row = "melody c4 x"
    shown = lines_of(
        slip(row, 7, 9, "C4"), slip(row, 10, 11, message="`x` isn't a note", mend="write a note")
    )
    assert shown[2:] == ["    now:    melody »c4« »x«", "    write:  melody C4 …", "    how:    write a note"]


def test_nothing_is_written_where_the_whole_bar_is_in_doubt() -> None:
    row = "melody c4 x"
    shown = lines_of(slip(row, 7, 11, message="too long", mend="shorten it"), slip(row, 7, 9, "C4"))
    assert shown[2:] == ["    now:    melody »c4 x«", "    how:    shorten it"]


def test_what_goes_away_and_what_becomes_two_lines() -> None:
    assert lines_of(slip("    %", 4, 5, ""))[-1] == "    how:    leave it out"
    text = "    chords C # home"
    edits = (Edit(7, 1, 7, 1, "    # home\n"), Edit(7, 13, 7, 20, ""))
    assert lines_of(Mistake("wrong", 7, 14, text=text, width=6, edits=edits))[2:] == [
        "    write:  # home",
        "            chords C",
    ]


def test_an_edit_beyond_the_line_is_told_in_words() -> None:
    edits = (Edit(7, 1, 7, 2, "  "), Edit(8, 1, 8, 2, "  "))
    mistake = Mistake("a tab stands here", 7, 1, text="\tchords C", edits=edits, mend="put spaces there")
    assert lines_of(mistake) == [
        "line 7: a tab stands here",
        "    now:    » «chords C",
        "    how:    put spaces there",
    ]


@pytest.mark.parametrize("length", [20, 200, 1900])
def test_long_lines_lose_what_stands_far_from_the_slip(length: int) -> None:
    text = f"{'a ' * length}SLIP{' b' * length}"
    now, write = lines_of(slip(text, 2 * length, 2 * length + 4, "MEND"))[1:]
    assert "»SLIP« b" in now
    assert "a MEND b" in write
    assert max(len(now), len(write)) < 150
    assert ("…" in now) == (length > 20)
    assert len(marked("x" * 1000, [(0, 1000)])) < 70


def test_wide_letters_tabs_and_what_cannot_be_shown() -> None:
    text = "title:\t歌 \x1b[31m x"
    now, write = lines_of(slip(text, 7, 8, "\x9bうた"))[1:]
    assert now == "    now:    title: »歌« �[31m x"
    assert write == "    write:  title: �うた �[31m x"


def test_marks_that_touch_become_one() -> None:
    assert marked("abcdef", [(0, 2), (2, 3), (4, 5)]) == "»abc«d»e«f"
    assert marked("abc", [(3, 3)]) == "abc»«"


def test_count_and_first_place_come_last() -> None:
    late, early, whole = Mistake("b", 9, 1, "form"), Mistake("a", 3, 1, "tempo"), Mistake("the file is odd")
    assert str(SongError("kettle.yaml", (late, early))).splitlines() == [
        "line 3, tempo: a",
        "line 9, form: b",
        "2 mistakes in kettle.yaml; the first: line 3, tempo",
    ]
    assert str(SongError("a\nb.yaml", (early,))).splitlines()[-1] == "1 mistake in a�b.yaml: line 3, tempo"
    assert str(SongError("a.yaml", (whole,))).splitlines() == ["the file is odd", "1 mistake in a.yaml"]
    more = SongError("a.yaml", (early,), more=True)
    assert str(more).splitlines()[1:] == [
        "there may be more; mend these first",
        "1 mistake in a.yaml: line 3, tempo",
    ]
