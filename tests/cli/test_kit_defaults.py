"""What a kit is made of: the command line wins, then the song, then the class."""

from __future__ import annotations

import argparse
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.cli.kit_defaults import KitDefaults, kit_defaults, own_tracks_of, songs_among
from tercet.cli.options import tunings_of
from tercet.errors import RequestError
from tercet.song import ClassFile, parse_class, parse_song
from tests.cli.conftest import SMALL_SONG

CLASS = parse_class(
    "tunings: low-g, A4 D4 F#4 B4\nplayers: beginner, improving\nspeeds: 60%, 100%\nformats: mp3, ogg\n"
    "tracks:\n  mine:\n    yours: open\n  deep:\n    yours: string 4\n"
)
SONG = parse_song(SMALL_SONG)
OWN = parse_song(SMALL_SONG.replace("form:", "tracks:\n  mine:\n    yours: roll\nform:"))


def asked(**options: object) -> argparse.Namespace:
    nothing = dict.fromkeys(("tuning", "players", "speeds", "formats"))
    return argparse.Namespace(**{**nothing, **options})


def test_where_nobody_says() -> None:
    plain = KitDefaults(tuning=None, players=None, speeds=(Fraction(1),), formats=("wav",), tracks=())
    assert kit_defaults(None, SONG, asked()) == plain
    assert kit_defaults(ClassFile("a class that says nothing more"), SONG, asked()) == plain


def test_the_class_says() -> None:
    found = kit_defaults(CLASS, SONG, asked())
    assert found.tuning == ("low-g", "A4", "D4", "F#4", "B4")
    assert [tuning.name for tuning in tunings_of(found.tuning)] == ["low-g", "custom"]
    assert found.players == ("beginner", "improving")
    assert found.speeds == (Fraction(3, 5), Fraction(1))
    assert found.formats == ("mp3", "ogg")
    assert found.tracks == CLASS.tracks


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("tuning", ("high-g",)),
        ("players", ("free",)),
        ("speeds", (Fraction(7, 10),)),
        ("formats", ("flac",)),
    ],
)
def test_the_command_line_wins_over_the_class_and_only_there(option: str, value: tuple[object, ...]) -> None:
    found, shared = (kit_defaults(CLASS, SONG, asked(**given)) for given in ({option: value}, {}))
    assert getattr(found, option) == value
    for other in {"tuning", "players", "speeds", "formats", "tracks"} - {option}:
        assert getattr(found, other) == getattr(shared, other)


def test_a_song_wins_over_the_class(tmp_path: Path) -> None:
    assert [(track.name, track.yours) for track in own_tracks_of(OWN, CLASS)] == [
        ("mine", "roll"),
        ("deep", "string 4"),
    ]
    assert own_tracks_of(OWN, None) == OWN.tracks
    assert kit_defaults(CLASS, OWN, asked()).tracks == own_tracks_of(OWN, CLASS)


def test_songs_among_the_files_of_a_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert songs_among(["songs/a.yaml", "songs/class.yaml", "songs/d.yaml"]) == [
        "songs/a.yaml",
        "songs/d.yaml",
    ]
    assert capsys.readouterr().err == "songs/class.yaml is a class file: it holds for the songs beside it\n"
    assert songs_among(["a.yaml"]) == ["a.yaml"]
    assert capsys.readouterr().err == ""
    with pytest.raises(RequestError, match=r"songs/class\.yaml is a class file; name the songs too"):
        songs_among(["songs/class.yaml"])
