"""The simpler part: the tune in single notes and one strum a bar, on the same bars as the whole part."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement, arrange
from tercet.song import Song, read_song
from tercet.theory import TUNINGS, Tuning
from tests.arranging import strategies as made
from tests.arranging.laws import broken_laws, strums, tune
from tests.arranging.written import messages, section, song, strums_of, tune_of

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))
OF_THE_WHOLE_PART = {
    "added notes are whole",
    "the pattern only in long spaces",
    "written strums are played",
}
"""Laws of what a simple part leaves out: added notes, the pattern, written strum rows."""


def simple(melody: str, chords: str, *, meter: str = "4/4", **more: Any) -> Arrangement:
    rows = {name: more.pop(name) for name in ("between_row", "strum_row") if name in more}
    verse = section("verse", melody, chords, meter=meter, **rows)
    return arrange(song(verse, meter=meter, **more), simple=True)


@pytest.mark.parametrize(
    ("melody", "chords", "expected"),
    [
        ("C5:4", "C", ["1 d 4/0 3/0 2/0"]),  # after the downbeat note, on the next pulse
        ("C5:2 E4:2", "C", ["1 d 4/0 3/0 2/0"]),
        ("C5 E4:3", "C", ["2 d 4/0 3/0"]),
        ("C5:3/2 E4:5/2", "C", ["1 d 4/0 3/0 2/0"]),
        ("C5 E4 C5 E4", "C", ["1/2 d 4/0 3/0 2/0"]),  # each pulse has a note: between the first two
        ("C5:4 | =:4", "C | C", ["1 d 4/0 3/0 2/0", "4 d 4/0 3/0 2/0"]),
        (".:2 C5:2", "C", ["0 d 4/0 3/0 2/0 1/3"]),
        ("C5:4", "N.C.", []),
        ("C5:4", "N.C.:2 C:2", ["2 d 4/0 3/0 2/0"]),  # the first place with a chord
        (". || C5:4", "|| C", ["2 d 4/0 3/0 2/0"]),  # a pick-up has none
    ],
)
def test_one_strum_a_bar_where_the_tune_leaves_room(melody: str, chords: str, expected: list[str]) -> None:
    assert strums_of(simple(melody, chords)) == expected


def test_where_there_is_no_time_between_pulses_a_bar_has_no_strum() -> None:
    assert strums_of(simple("C5 E4 C5 E4", "C", tempo=Fraction(121))) == []
    assert strums_of(simple("C5 E4 C5 E4", "C", tempo=Fraction(120))) == ["1/2 d 4/0 3/0 2/0"]
    eighths = "C5:1/2 C:1/2 C:1/2 C:1/2 C:1/2 C:1/2 C:1/2 C:1/2"
    assert strums_of(simple(eighths, "C", tempo=Fraction(60))) == []


def test_the_tune_is_struck_alone_and_keeps_its_layers() -> None:
    made = simple("C5:2[4321] E4 G4[3]", "C")
    assert tune_of(made) == ["1/3", "2/0", "3/7"]
    assert [gesture.layer for gesture in tune(made)] == ["melody", "between", "between"]
    assert {gesture.action for gesture in tune(made)} == {"single"}
    assert made.song.players == "beginner"


def test_nothing_is_added_and_written_strums_are_left_to_the_others() -> None:
    made = simple("C5:4", "C", between_row=". E4 .:2", strum_row="d u d u d u d u", between="fill")
    assert strums_of(made) == ["1 d 4/0 3/0 2/0"]
    assert len(made.gestures) == 2
    assert messages(made) == []


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=lambda tuning: tuning.name)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs(path: Path, tuning: Tuning) -> None:
    written = replace(read_song(path), tuning=tuning.name, players="improving")
    made, whole = arrange(written, simple=True), arrange(written)
    assert made.bars == whole.bars
    assert [(g.start_beat, g.length_beat, g.notes[-1].midi) for g in tune(made)] == [
        (g.start_beat, g.length_beat, g.notes[-1].midi) for g in tune(whole)
    ]
    assert broken_laws(made).keys() <= OF_THE_WHOLE_PART
    counts = Counter(gesture.bar_number for gesture in strums(made))
    assert set(counts.values()) == {1}
    # On a baritone, the tune as written lies so high that some chords can't be held beside it.
    assert len(counts) >= (0.85 if tuning.name == "baritone" else 0.95) * len(made.bars)
    frets = [note.fret or 0 for gesture in strums(made) for note in gesture.notes]
    assert max(frets) <= 4


@settings(max_examples=60)
@given(made.songs(), made.tunings)
def test_random_songs_keep_the_laws(written: Song, tuning: Tuning) -> None:
    arrangement = arrange(written, tuning, simple=True)
    assert broken_laws(arrangement).keys() <= OF_THE_WHOLE_PART
    assert {gesture.action for gesture in arrangement.gestures} <= {"single", "strum"}
    assert {note.part for gesture in tune(arrangement) for note in gesture.notes} <= {"tune"}
    assert max(Counter(gesture.bar_number for gesture in strums(arrangement)).values(), default=0) <= 1
