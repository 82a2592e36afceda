"""Tracks of a song with an intro, turnarounds and a tag: what is practised by itself is what the song writes."""

from __future__ import annotations

import pytest

from tercet.arranging import Arrangement, arrange
from tercet.song import parse_song
from tercet.tracks.practice_forms import TrackOptions, timeline_of
from tercet.tracks.recipes import recipe_named

SONG = """title: Two Hills
meter: 3/4
form: verse*2 chorus verse
intro: 2
turnaround: 2
ending: tag
sections:
  verse: |
    chords           | C      | F      | G7      | C
    melody    G4     | E4 G E | A4:2 G | F4 D B3 | C4:2 .
  chorus: |
    chords    F      | C      | F      | G7
    melody    A4:2 F | G4:3   | A4:2 F | G4:2 .
"""


@pytest.fixture(scope="module")
def arrangement() -> Arrangement:
    return arrange(parse_song(SONG))


def bars(arrangement: Arrangement, name: str, chosen: str = "") -> list[tuple[float, float]]:
    """Return from which to which bar the passages of a track go, by bar lines from 0, each once."""
    timeline = timeline_of(recipe_named(name), arrangement, TrackOptions(bars=chosen))
    ranges = [
        (round(float(each.start_beat) / 3, 2), round(float(each.end_beat) / 3, 2))
        for each in timeline.passages
    ]
    return list(dict.fromkeys(ranges))


def test_the_whole_piece_has_them(arrangement: Arrangement) -> None:
    assert bars(arrangement, "demo") == [(0, 24)]


@pytest.mark.parametrize("name", ["ladder", "build-up"])
def test_sections_are_practised_as_written(arrangement: Arrangement, name: str) -> None:
    """The verse with its pick-up, up to the turnaround's bar line or pick-up; then the chorus."""
    verse, chorus = bars(arrangement, name)
    assert verse == (1.67, 6)
    assert chorus == (12, 16)


def test_a_loop_is_the_first_written_section(arrangement: Arrangement) -> None:
    assert bars(arrangement, "loop") == [(1.67, 6)]


def test_phrases_are_compared_as_written(arrangement: Arrangement) -> None:
    """Each once; one that begins with a pick-up belongs to what it leads into."""
    assert [round(start) for start, _ in bars(arrangement, "contrast")] == [2, 12]


def test_who_chooses_them_gets_them(arrangement: Arrangement) -> None:
    for name in ("ladder", "loop", "build-up"):
        assert bars(arrangement, name, "tag") == [(22, 24)]
    assert bars(arrangement, "turns-phrases", "intro")[0][0] == 0
