"""What is said of a song's bars beside its text."""

from __future__ import annotations

from pathlib import Path

import pytest

from tercet.arranging import Arrangement
from tercet.arranging.report import report_of
from tercet.kit.options import PlayOptions
from tercet.kit.ready import arranged
from tercet.kit.song_view import bar_marks, take_of_whole
from tercet.song import parse_song, read_song
from tests.kits import ROOT, SHORT_SONG

SONGS = sorted((ROOT / "songs").glob("*.yaml"))


def hard_bars(arrangement: Arrangement) -> dict[str, list[int]]:
    """Return the bars of each hard thing that is said."""
    found: dict[str, list[int]] = {}
    for bar, marks in bar_marks(arrangement, take_of_whole(arrangement)).items():
        for mark in marks:
            if mark["kind"] == "hard":
                found.setdefault(mark["text"], []).append(bar)
    return found


def test_a_short_song_has_one_hardest_bar() -> None:
    arrangement = arranged(parse_song(SHORT_SONG, "short.yaml"), PlayOptions())
    assert len(hard_bars(arrangement)["one of the hardest bars"]) == 1


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_changes_that_come_too_soon_are_marked(path: Path) -> None:
    arrangement = arranged(read_song(path), PlayOptions())
    soon = [bar for text, bars in hard_bars(arrangement).items() if "comes soon" in text for bar in bars]
    numbers = {bar.number: index for index, bar in enumerate(arrangement.bars)}
    wanted = {numbers[change.bar_number] for change in report_of(arrangement).hasty_changes}
    assert set(soon) == wanted
