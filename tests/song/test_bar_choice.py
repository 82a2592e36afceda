"""Choosing bars: numbers, ranges, sections, passes."""

from __future__ import annotations

import pytest

from tercet.errors import RequestError
from tercet.song import bar_indices, parse_song, played_bars
from tercet.song.bar_choice import says_bars

BARS = played_bars(
    parse_song(
        "title: One\nmeter: 3/4\nform: verse chorus verse\nsections:\n"
        "  verse: |\n    chords | C | F | G |\n    melody G4 | C5:3 | F4:3 | G4:3 |\n"
        "  chorus: |\n    chords C | G\n"
    )
)


@pytest.mark.parametrize(
    ("text", "indices"),
    [
        ("0", (0,)),
        ("1", (1,)),
        ("2-4", (2, 3, 4)),
        (" 2 – 4 ", (2, 3, 4)),
        ("0-8", tuple(range(9))),
        ("verse", (0, 1, 2, 3)),
        ("verse:2", (2,)),
        ("verse:2-3", (2, 3)),
        ("verse:0-1", (0, 1)),
        ("verse@2", (6, 7, 8)),
        ("verse@2:3", (8,)),
        ("verse@last:1-2", (6, 7)),
        ("chorus", (4, 5)),
        ("chorus: 2", (5,)),
    ],
)
def test_choice(text: str, indices: tuple[int, ...]) -> None:
    assert bar_indices(text, BARS) == indices


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("9", r"there is no bar 9, asked for by `9`: the piece has bars 0 to 8"),
        ("7-12", r"there is no bar 12, asked for by `7-12`: the piece has bars 0 to 8"),
        ("5-3", r"`5-3` ends before it starts; did you mean 3-5"),
        ("verse:4", r"there is no bar 4, asked for by `verse:4`: verse has bars 0 to 3"),
        ("verse@2:0", r"there is no bar 0, asked for by `verse@2:0`: verse has bars 1 to 3"),
        ("verse@3", r"`verse` is played twice, so it has no pass 3"),
        ("chorus@2:1", r"`chorus` is played once, so it has no pass 2"),
        ("vers:2", r"no section `vers` is played; did you mean verse\?"),
        ("bridge", r"no section `bridge` is played; sections are verse, chorus"),
        ("verse:a-b", r"`a-b` in `verse:a-b` doesn't say which bars; write bars as 7, 5-8"),
        ("", r"`` doesn't say which bars"),
        ("@2", r"`@2` doesn't say which bars"),
    ],
)
def test_what_is_not_there(text: str, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        bar_indices(text, BARS)


@pytest.mark.parametrize("text", ["0", "5-8", " 2 – 4 ", "verse", "verse:3-4", "part-2@last: 1", "x@2"])
def test_says_bars(text: str) -> None:
    assert says_bars(text)


@pytest.mark.parametrize("text", ["", "5-", "-5", "verse:", "verse:x", "1-2-3", "two words", "verse@", "3,4"])
def test_says_no_bars(text: str) -> None:
    assert not says_bars(text)
