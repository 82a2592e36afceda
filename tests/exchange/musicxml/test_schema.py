"""Our MusicXML is valid by the schema of MusicXML 4.0, which the package musicxml brings."""

from __future__ import annotations

import importlib.util
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings

from tercet.arranging import arrange, song_tuning
from tercet.exchange.musicxml import musicxml_bytes
from tercet.song import Song, parse_song, read_song
from tests.exchange.musicxml.test_writer import PINNED
from tests.strategies import songs

SONGS = sorted(Path("songs").glob("*.yaml"))


@lru_cache(maxsize=1)
def schema() -> Any:
    import xmlschema

    spec = importlib.util.find_spec("musicxml")
    assert spec is not None
    assert spec.submodule_search_locations
    path = Path(spec.submodule_search_locations[0]) / "generate_classes" / "musicxml_4_0.xsd"
    assert "Version 4.0" in path.read_text(encoding="utf-8")[:1000]
    return xmlschema.XMLSchema(str(path), allow="local")


def faults(data: bytes) -> list[str]:
    text = re.sub(r"<!DOCTYPE[^>]*>", "", data.decode().partition("?>")[2])
    return [f"{error.path}: {error.reason}" for error in schema().iter_errors(text)]


def exported(song: Song) -> bytes:
    return musicxml_bytes(arrange(song, song_tuning(song)))[0]


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_are_valid(path: Path) -> None:
    assert faults(exported(read_song(path))) == []


def test_pins_frames_and_tuplets_are_valid() -> None:
    assert faults(exported(parse_song(PINNED))) == []


@given(songs())
@settings(max_examples=6)
def test_made_up_songs_are_valid(song: Song) -> None:
    assert faults(exported(song)) == []


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        (b"</duration>", b"</duration><duration>1</duration><duration>1</duration>"),
        (b"<mode>minor</mode>", b"<mode>minor</mode><fifths>0</fifths>"),
        (b"<beats>3</beats>", b"<beats/><beats/>"),
        (b'<arpeggiate direction="up"', b'<arpeggiate direction="left"'),
    ],
)
def test_a_fault_would_be_seen(right: bytes, wrong: bytes) -> None:
    data = exported(read_song("songs/harbour-lanterns.yaml"))
    assert right in data
    assert faults(data.replace(right, wrong)) != []
