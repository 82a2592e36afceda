"""The types: values that compare, hash, pickle and print, and the few things that they work out."""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError, fields, is_dataclass, replace
from fractions import Fraction

import pytest

from tercet import song as package
from tercet.song import (
    Bar,
    ChordSpan,
    Dynamics,
    Line,
    Mark,
    Meter,
    Note,
    OwnTrack,
    Pin,
    Row,
    Section,
    Song,
    Source,
    Syllable,
    TrackPlace,
    Visit,
)
from tercet.theory import Pitch, parse_chord

ONE = Fraction(1)
NOTE = Note(Fraction(0), ONE, Pitch("A", 0, 4))
SPAN = ChordSpan(Fraction(0), Fraction(3), parse_chord("Am"))
ROW = Row("melody", (), ((NOTE,), None))
SECTION = Section("verse", (Line((ROW,)), Line((ROW,))), ONE)
VALUES = (
    Source(3, 5, 2),
    OwnTrack("open-yours", yours="open"),
    TrackPlace("yours", Source(3, 5, 2), "    yours: open"),
    Pin("roll", (3, 2, 1)),
    NOTE,
    SPAN,
    Mark(ONE, "dynamic", "mf", "strums"),
    Syllable("lan", joined=True),
    ROW,
    Line((ROW,)),
    SECTION,
    Meter(6, 8),
    Dynamics(),
    Visit("verse", 1, last=True),
    Song("One", (SECTION,), (Visit("verse", 1, last=True),)),
    Bar(1, "verse", 1, 1, 0, Fraction(0), Fraction(3), (SPAN,), (NOTE,)),
)


@pytest.mark.parametrize("value", VALUES, ids=lambda value: type(value).__name__)
def test_values(value: object) -> None:
    assert is_dataclass(value)
    assert pickle.loads(pickle.dumps(value)) == value  # noqa: S301 - our own bytes
    assert copy.deepcopy(value) == value
    assert hash(value) == hash(copy.deepcopy(value))
    assert repr(value).startswith(type(value).__name__)
    with pytest.raises(FrozenInstanceError, match="cannot assign to field"):
        setattr(value, fields(value)[0].name, None)


@pytest.mark.parametrize(
    ("meter", "bar", "pulse", "pulses"),
    [
        (Meter(4, 4), 4, 1, 4),
        (Meter(3, 4), 3, 1, 3),
        (Meter(6, 8), 6, 3, 2),
        (Meter(9, 8), 9, 3, 3),
        (Meter(12, 8), 12, 3, 4),
        (Meter(2, 2), 2, 1, 2),
        (Meter(5, 8), 5, 1, 5),
        (Meter(3, 8), 3, 1, 3),
        (Meter(6, 4), 6, 1, 6),
    ],
    ids=str,
)
def test_meter(meter: Meter, bar: int, pulse: int, pulses: int) -> None:
    assert meter.bar_beat == bar
    assert meter.pulse_beat == pulse
    assert meter.pulses == pulses
    assert str(meter) == f"{meter.upper}/{meter.lower}"


def test_what_is_worked_out() -> None:
    assert Note(Fraction(0), ONE).is_rest
    assert not NOTE.is_rest
    assert not Note(Fraction(0), ONE, position=(1, 3)).is_rest
    assert Syllable("").holds
    assert not Syllable("a").holds
    assert Line(()).bar_count == 0
    assert SECTION.bar_count == 4
    marks = Dynamics("ff", "p", "ppp", second="mp")
    assert [marks.of(layer) for layer in package.LAYERS] == ["ff", "mp", "p", "ppp"]
    assert [Dynamics(melody).of("second") for melody in ("ff", "mf", "ppp")] == ["f", "mp", "ppp"]


def test_a_song_has_a_second_voice_only_where_it_asks_for_one() -> None:
    plain = package.Song("A", (SECTION,), ())
    assert plain.layers == ("melody", "between", "strums")
    assert replace(plain, second="low").layers == package.LAYERS == ("melody", "second", "between", "strums")


def test_places_do_not_count() -> None:
    assert Note(Fraction(0), ONE, source=Source(1, 2)) == Note(Fraction(0), ONE, source=Source(9, 9))


def test_section_by_name() -> None:
    song = Song("One", (SECTION,), (Visit("verse", 1, last=True),))
    assert song.section("verse") is SECTION
    with pytest.raises(KeyError, match="chorus"):
        song.section("chorus")


def test_package_has_what_it_says() -> None:
    for name in package.__all__:
        assert getattr(package, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        package.nothing  # noqa: B018
