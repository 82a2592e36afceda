"""The examples of docs/format.md: songs parse, and messages are the real ones.

``python tests/remake_goldens.py`` writes the messages into the page.
"""

from __future__ import annotations

import pytest

from tercet.errors import SongError
from tercet.song import ROW_NAMES, class_schema, parse_class, parse_song, played_bars, song_schema
from tercet.song.note_choice import DIMENSIONS
from tercet.song.track_settings import OWN_FORMS, TRACK_SETTINGS
from tercet.theory import DYNAMIC_MARKS
from tercet.theory.chords import QUALITIES
from tests.remake_goldens import FORMAT_PAGE, Example, examples_of, message_of_text

PAGE = FORMAT_PAGE.read_text(encoding="utf-8")
EXAMPLES = examples_of(PAGE)


def chosen(*kinds: str) -> list[Example]:
    return [example for example in EXAMPLES if example.kind in kinds]


def test_the_page_has_examples_of_every_kind() -> None:
    assert {example.kind for example in EXAMPLES} == {"yaml", "yaml class", "music", "yaml wrong", "text"}
    assert len(chosen("yaml", "music")) >= 16


@pytest.mark.parametrize("example", chosen("yaml", "music"), ids=lambda example: f"line-{example.line}")
def test_song(example: Example) -> None:
    assert len(played_bars(parse_song(example.song))) > 0


@pytest.mark.parametrize("example", chosen("yaml class"), ids=lambda example: f"line-{example.line}")
def test_class(example: Example) -> None:
    assert parse_class(example.text).name


@pytest.mark.parametrize("example", chosen("yaml wrong"), ids=lambda example: f"line-{example.line}")
def test_message(example: Example) -> None:
    shown = EXAMPLES[EXAMPLES.index(example) + 1]
    assert shown.kind == "text"
    with pytest.raises(SongError, match="mistake"):
        parse_song(example.song)
    assert message_of_text(example.song) == shown.text


def test_nothing_is_left_out() -> None:
    for name in [
        *song_schema()["properties"],
        *class_schema()["properties"],
        *(part.name for part in TRACK_SETTINGS),
    ]:
        assert f"| `{name}` |" in PAGE
    for row in ROW_NAMES:
        assert f"| `{row}` |" in PAGE
    for mark in (*DYNAMIC_MARKS, "louder", "softer", "rit", "a-tempo", "fermata", "accent", ","):
        assert f"`{mark}`" in PAGE
    for word in [*OWN_FORMS, *(word for words in DIMENSIONS.values() for word in words)]:
        assert f"`{word}`" in PAGE
    for quality in QUALITIES:
        assert f"`C{quality.name}`" in PAGE
