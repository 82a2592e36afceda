"""What may be asked: values in their exact form, mistakes that name the option; then the class file fills in."""

from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError, fields
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tercet.errors import ParameterError, RequestError
from tercet.kit import Event, KitOptions, OptionError, PlayOptions
from tercet.kit.one_track import OneTrack
from tercet.kit.options import tunings_of, with_class
from tercet.kit.pages import PageOptions
from tercet.kit.sources import own_tracks_of, sources_of
from tercet.song import ClassFile, parse_class, parse_song
from tercet.theory import TUNINGS
from tests.cli.conftest import SMALL_SONG

CLASS = parse_class(
    "tunings: low-g, A4 D4 F#4 B4\nplayers: beginner, improving\nkeys: 0, +3\nspeeds: 60%, 100%\nformats: mp3, ogg\n"
    "tracks:\n  mine:\n    yours: open\n  deep:\n    yours: string 4\n"
)
OWN = parse_song(SMALL_SONG.replace("form:", "tracks:\n  mine:\n    yours: roll\nform:"))
SHARED = ("tunings", "players", "keys", "speeds", "formats")


def filled(**options: Any) -> dict[str, object]:
    found = with_class(KitOptions(**options), CLASS)
    return {name: getattr(found, name) for name in SHARED}


def carried(value: object) -> object:
    return pickle.loads(pickle.dumps(value))  # noqa: S301 - as it was pickled just now


def test_where_nobody_says() -> None:
    plain = KitOptions(speeds=(1,), formats=("wav",))
    assert with_class(KitOptions(), None) == plain
    assert with_class(KitOptions(), ClassFile("a class that says nothing more")) == plain


def test_the_class_says() -> None:
    found = with_class(KitOptions(), CLASS)
    assert [str(tuning.name) for tuning in tunings_of(found.tunings)] == ["low-g", "custom"]
    assert found.players == ("beginner", "improving")
    assert found.keys == (0, 3)
    assert found.speeds == (Fraction(3, 5), Fraction(1))
    assert found.formats == ("mp3", "ogg")


@pytest.mark.parametrize(
    ("option", "value", "exact"),
    [
        ("tunings", ("high-g",), (TUNINGS["high-g"],)),
        ("players", ("free",), ("free",)),
        ("keys", "-2, 0", (-2, 0)),
        ("speeds", ("70%",), (Fraction(7, 10),)),
        ("formats", ("flac",), ("flac",)),
    ],
)
def test_what_is_asked_wins_over_the_class_and_only_there(option: str, value: object, exact: object) -> None:
    found, shared = filled(**{option: value}), filled()
    assert found[option] == exact
    assert {**found, option: None} == {**shared, option: None}


def test_a_song_wins_over_the_class() -> None:
    assert [(track.name, track.yours) for track in own_tracks_of(OWN, CLASS)] == [
        ("mine", "roll"),
        ("deep", "string 4"),
    ]
    assert own_tracks_of(OWN, None) == OWN.tracks


def test_songs_among_the_files_of_a_folder() -> None:
    told: list[Event] = []
    found = sources_of(["songs/a.yaml", "songs/class.yaml", "songs/d.yaml"], told.append)
    assert [source.given for source in found] == [Path("songs/a.yaml"), Path("songs/d.yaml")]
    assert [event.text for event in told] == [
        "songs/class.yaml is a class file: it holds for the songs beside it"
    ]
    with pytest.raises(RequestError, match=r"songs/class\.yaml is a class file; name the songs too"):
        sources_of(["songs/class.yaml"], told.append)
    with pytest.raises(RequestError, match="name at least one song"):
        sources_of([], told.append)


# ---- exact forms


@pytest.mark.parametrize("speeds", ["70%,1", ("70%", 1.0), ["0.7", "100%"], (Fraction(7, 10), 1, "70%")])
def test_speeds_are_one_value_however_they_are_written(speeds: Any) -> None:
    assert KitOptions(speeds=speeds) == KitOptions(speeds=(Fraction(7, 10), Fraction(1)))


@pytest.mark.parametrize(
    "tunings",
    [
        ("low-g", "A4", "D4", "F#4", "B4", "high-g"),
        ["high-g", ("A4", "D4", "F#4", "B4"), "low-g"],
        [TUNINGS["low-g"], "A4 D4 F#4 B4", "high-g"],
        ["A4,D4,F#4,B4", "high-g,low-g"],
    ],
)
def test_tunings_are_one_value_however_they_are_written(tunings: Any) -> None:
    assert [tuning.name for tuning in tunings_of(KitOptions(tunings=tunings).tunings)] == [
        "high-g",
        "low-g",
        "custom",
    ]


def test_one_tuning_and_one_kind_of_players_make_one_set() -> None:
    play = PlayOptions(tuning="low-g", players="free", transpose=2)
    kit = KitOptions(play=play)
    assert kit == KitOptions(play=PlayOptions(transpose=2), tunings=["low-g"], players=["free"])


def test_options_are_frozen_and_go_to_other_processes() -> None:
    for options in (PlayOptions(tuning="low-g"), KitOptions(speeds=["70%"]), PageOptions(), OneTrack("echo")):
        copied = carried(options)
        assert (copied, hash(copied)) == (options, hash(options))
        with pytest.raises((FrozenInstanceError, AttributeError)):
            setattr(options, fields(options)[0].name, None)


# ---- mistakes


@pytest.mark.parametrize(
    ("kind", "values", "option", "says"),
    [
        (PlayOptions, {"transpose": 25}, "transpose", "transpose must be -24 to 24 semitones (got 25)"),
        (
            PlayOptions,
            {"tuning": "guitar"},
            "tuning",
            "tuning must be high-g, low-g or baritone, or four notes",
        ),
        (PlayOptions, {"tuning": "high-g,low-g"}, "tuning", "tuning: name one tuning (got high-g, low-g)"),
        (PlayOptions, {"players": "pro"}, "players", "players must be beginner, improving or free (got pro)"),
        (PlayOptions, {"feel": "sad"}, "feel", "feel must be steady, natural or loose (got sad)"),
        (PlayOptions, {"front": 25}, "front", "front must be 0 to 24 LU (got 25)"),
        (PlayOptions, {"front": float("nan")}, "front", "front must be a number of LU"),
        (PlayOptions, {"count_in_bars": 9}, "count_in_bars", "count_in_bars must be 0 to 8 bars (got 9)"),
        (PlayOptions, {"bits": 8}, "bits", "bits must be 16 or 24 (got 8)"),
        (KitOptions, {"speeds": ["300%"]}, "speed", "speed must be 25% to 200% (got 300%)"),
        (KitOptions, {"speeds": ["fast"]}, "speed", "speed must be a percentage such as 70% (got fast)"),
        (KitOptions, {"players": ["free", "free"]}, "players", "players: free appears twice: remove one"),
        (KitOptions, {"tunings": ["low-g"] * 2}, "tuning", "tuning: low-g appears twice: remove one"),
        (
            KitOptions,
            {"keys": "0,13"},
            "keys",
            "keys must be semitones from the song's key, -11 to +11, such as 0,-2",
        ),
        (KitOptions, {"keys": "A minor"}, "keys", "keys must be semitones from the song's key"),
        (KitOptions, {"keys": [-3, 0, 9]}, "keys", "keys: -3 and +9 are one key: remove one"),
        (KitOptions, {"formats": ["aiff"]}, "formats", "formats must be among wav, flac, mp3"),
        (KitOptions, {"jobs": 0}, "jobs", "jobs must be 1 or more (got 0)"),
        (KitOptions, {"jobs": 2, "cluster": "tcp://x"}, "cluster", "cluster: its workers say how many jobs"),
        (PageOptions, {"speeds": ["3"]}, "speed", "speed must be 25% to 200%"),
        (OneTrack, {"name": "echo", "only": ("melody",)}, "track", "track echo already chooses the layers"),
        (OneTrack, {"speed": "0"}, "speed", "speed must be 25% to 200%"),
    ],
)
def test_a_value_out_of_its_range_names_its_option(
    kind: type, values: dict[str, Any], option: str, says: str
) -> None:
    with pytest.raises(OptionError) as raised:
        kind(**values)
    assert raised.value.option == option
    assert str(raised.value).startswith(says)
    assert isinstance(raised.value, ParameterError)
    assert str(carried(raised.value)) == str(raised.value)
