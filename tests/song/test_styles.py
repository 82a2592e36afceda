"""Styles of a song: which holds where, how they are written, and what is said of those that can't be meant."""

from __future__ import annotations

from typing import get_args

import pytest

from tercet.errors import SongError
from tercet.song import SectionStyle, Song, Style, parse_song, write_song
from tercet.song.styles import STYLES

SONG = """title: Styles
form: verse*3 chorus
style: {}
sections:
  verse: |
    chords   C | G
  chorus: |
    chords   F | C
"""


def styles_of(song: Song) -> list[str]:
    """Return the style of each playing of a section."""
    return [song.style_of(visit.section, visit.pass_number) for visit in song.form]


def test_every_style_has_its_row() -> None:
    assert tuple(STYLES) == get_args(Style)


def test_without_the_setting_chords_come_as_rolls() -> None:
    song = parse_song(SONG.replace("style: {}\n", ""))
    assert styles_of(song) == ["rolls"] * 4
    assert "style" not in write_song(song)


@pytest.mark.parametrize(
    ("setting", "expected"),
    [
        ("ringing", "ringing ringing ringing ringing"),
        ("{verse: plain}", "plain plain plain rolls"),
        ("{verse: plain, verse@2: broken}", "plain broken plain rolls"),
        ("{verse@last: broken, verse: plain, verse@3: ringing, chorus: broken}", "plain plain broken broken"),
        ("{chorus@1: plain}", "rolls rolls rolls plain"),
    ],
)
def test_a_pass_wins_over_its_section_and_the_last_over_both(setting: str, expected: str) -> None:
    song = parse_song(SONG.replace("{}", setting))
    assert styles_of(song) == expected.split()
    written = write_song(song)
    assert f"\nstyle: {setting}\n" in written
    assert parse_song(written) == song


def test_they_may_stand_one_to_a_line() -> None:
    song = parse_song(SONG.replace("{}", "\n  verse: plain\n  verse@2: broken"))
    assert song.section_styles == (SectionStyle("verse", None, "plain"), SectionStyle("verse", 2, "broken"))


@pytest.mark.parametrize(
    ("setting", "mended"),
    [
        ("riging", "ringing"),
        ("Broken", "broken"),
        ("campanella", "ringing"),
        ("arpeggio", "broken"),
        ("easy", "plain"),
        ("{verse: riging}", "{verse: ringing}"),
        ("{vers@2: plain}", "{verse@2: plain}"),
    ],
)
def test_a_slip_is_shown_with_what_is_meant(setting: str, mended: str) -> None:
    with pytest.raises(SongError, match=r"must be rolls, ringing, broken or plain|no section") as caught:
        parse_song(SONG.replace("{}", setting))
    (mistake,) = caught.value.mistakes
    (edit,) = mistake.edits
    line = SONG.replace("{}", setting).splitlines()[edit.line - 1]
    assert line[: edit.column - 1] + edit.text + line[edit.end_column - 1 :] == f"style: {mended}"


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ("{bridge: plain}", "there is no section `bridge`"),
        ("{verse@4: plain}", "`verse` is played 3 times, so it has no pass 4"),
        ("{verse@0: plain}", "`verse@0` doesn't name a section or a pass"),
        ("{verse 2: plain}", "`verse 2` doesn't name a section or a pass"),
        ("{}", "must be a style, or name sections"),
        ("loud", "must be rolls, ringing, broken or plain"),
    ],
)
def test_what_can_not_be_meant_is_told(setting: str, message: str) -> None:
    with pytest.raises(SongError, match="mistake") as caught:
        parse_song(SONG.replace("{}", setting))
    (mistake,) = caught.value.mistakes
    assert message in mistake.message
    assert mistake.mend
