"""A piece that is too dense to engrave is refused at once, and one that is played long but printed once is not."""

from __future__ import annotations

import pytest

from tercet.arranging import arrange, song_tuning
from tercet.errors import RequestError
from tercet.publish.score.engraving import engrave
from tercet.publish.score.mei import MOST_PRINTED
from tercet.song import Song
from tercet.song.reader import parse_song
from tests.yardstick import at_most

BAR = " ".join(["C4", "D", "E", "F", "G", "A", "G", "F"] * 2)


def dense(lines: int, form: str = "") -> Song:
    rows = "".join(
        f"    chords  C{' |' * 16}\n    melody  {' | '.join([BAR] * 16)}\n\n" for _ in range(lines)
    )
    return parse_song(
        f"title: Dense\nkey: C major\nmeter: 16/16\ntempo: 100\n{form}sections:\n  tune: |\n{rows}"
    )


def test_a_dense_song_is_refused_before_anything_is_drawn() -> None:
    song = dense(45)
    arrangement = arrange(song, song_tuning(song))
    with (
        at_most(100),
        pytest.raises(RequestError, match=f"has 11520 notes to print, and at most {MOST_PRINTED}"),
    ):
        engrave(arrangement)


def test_what_is_played_again_and_again_counts_once() -> None:
    song = dense(1, "form: tune*50\n")
    assert engrave(arrange(song, song_tuning(song))).systems
