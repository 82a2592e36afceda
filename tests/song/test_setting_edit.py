"""One setting changed in a song's text: everything else stays to the letter."""

from __future__ import annotations

import pytest

from tercet.errors import Edit, RequestError
from tercet.song import parse_song
from tercet.song.setting_edit import set_setting, settings_of_text

TEXT = """\
# a remark: not a setting
title: "Who's \\"there\\"?"   # asked
key: C major
tempo: 88                 # pulses a minute
dynamics: {melody: f, between: mp, strums: p}
form:
  a a
sections:
  a: |
    chords C
    melody C4 E G C5
"""


def edited(text: str, edit: Edit | None) -> str:
    if edit is None:
        return text
    lines = text.splitlines(keepends=True)
    start = sum(map(len, lines[: edit.line - 1])) + edit.column - 1
    end = sum(map(len, lines[: edit.end_line - 1])) + edit.end_column - 1
    return text[:start] + edit.text + text[end:]


def test_settings_are_read_without_quotes_and_remarks() -> None:
    assert settings_of_text(TEXT) == {
        "title": 'Who\'s "there"?',
        "key": "C major",
        "tempo": "88",
        "dynamics": "{melody: f, between: mp, strums: p}",
        "form": None,
    }


def test_a_value_is_changed_and_its_remark_stays() -> None:
    after = edited(TEXT, set_setting(TEXT, "tempo", "120"))
    assert after == TEXT.replace("tempo: 88 ", "tempo: 120 ")


@pytest.mark.parametrize(
    "title", ["Plain", "Yes", "a: b # c", 'say "no"', "Ünïcode — dash", "  two   spaces "]
)
def test_any_title_reads_as_it_was_given(title: str) -> None:
    after = edited(TEXT, set_setting(TEXT, "title", title))
    assert parse_song(after).title == " ".join(title.split())
    assert settings_of_text(after)["title"] == " ".join(title.split())


def test_a_setting_that_is_missing_comes_in_its_place() -> None:
    after = edited(TEXT, set_setting(TEXT, "players", "beginner"))
    names = [line.partition(":")[0] for line in after.splitlines()]
    assert names[names.index("players") - 1] == "tempo"
    assert parse_song(after).players == "beginner"


def test_the_first_setting_stands_after_the_remarks() -> None:
    text = "# hello\nsections:\n  a: |\n    chords C\n    melody C4 E G C5\n"
    assert edited(text, set_setting(text, "title", "One")).splitlines()[:2] == ["# hello", "title: One"]


def test_an_empty_value_takes_the_line_out() -> None:
    assert edited(TEXT, set_setting(TEXT, "tempo", "")) == TEXT.replace(
        "tempo: 88                 # pulses a minute\n", ""
    )
    assert set_setting(TEXT, "players", "") is None


def test_what_is_so_already_needs_no_edit() -> None:
    assert set_setting(TEXT, "key", "C major") is None
    assert set_setting(TEXT, "title", 'Who\'s "there"?') is None


def test_a_text_with_mistakes_is_edited_too() -> None:
    text = TEXT.replace("C4 E G C5", "H9 nonsense")
    assert "meter: 3/4\n" in edited(text, set_setting(text, "meter", "3/4"))


@pytest.mark.parametrize(("name", "message"), [("form", "several lines"), ("colour", "no setting colour")])
def test_what_cannot_be_set_so_is_refused(name: str, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        set_setting(TEXT, name, "x")
