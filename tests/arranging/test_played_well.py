"""Our songs under a teacher's hands: what is measured from the strokes alone keeps its bounds, each loss is seen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from tercet.arranging import arrange, choices, chord_hands
from tercet.arranging import fingering as fingering_module
from tercet.neck import demands, priced_hands
from tercet.neck.priced_hands import PricedHands
from tercet.publish.pictures.shapes_used import shapes_used
from tercet.song import Players, Song, parse_song, read_song
from tercet.song.transpose import drop_pins
from tercet.theory import TUNINGS
from tests.arranging.strokes import strokes_of
from tests.measure.hands import TAUGHT, Figures, measured

ROOT = Path(__file__).parents[2]
SONGS = sorted((ROOT / "songs").glob("*.yaml"))
TABS = sorted((ROOT / "benchmarks" / "expert_tabs").glob("*.yaml"))
OPEN_MIDIS = [pitch.midi for pitch in TUNINGS["high-g"].open_pitches]
PLAYERS: tuple[Players, ...] = ("beginner", "improving", "free")

JIG = """\
title: Jig
meter: 6/8
tempo: 60
sections:
  verse: |
    chords   G:3 D:3         | D:3 Bm:3        | G               | C:3 D:3
    melody   G4 A B D5 B4 G  | F#4 A D5 F# D A4 | G4 B D5 G:2 D   | C5 E G F# A4 D
"""

ALL_SHAPES = """\
title: A bar of rest over each chord with a shape that is taught
meter: 4/4
tempo: 60
sections:
  verse: |
    chords   C   | F   | G7  | G   | Am  | Dm  | D   | A   | A7  | D7  | E7  | Em  | Gm  | Bb  | C7  | Fm  | B7
    melody   .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4 | .:4
"""

WALTZ = """\
title: First Waltz
key: G major
meter: 3/4
tempo: 108
players: beginner
sections:
  verse: |
    chords   G        | C        | G       | D7        | G        | C        | Am       | G    |
    melody   G4 A B   | C5 B4 G  | B4 A G  | C5 F#4 F# | B4 A G   | C5 G4 C5 | A4 E A   | G4:3 |

    chords   G        | G        | C       | C        | D7       | Am      | G       | G      |
    melody   B4 G A   | G4 A G   | E4 G C5 | C5:2 G4  | A4 C5 A4 | A4 E A   | G4 A B  | G4:3  |
"""

FROM_CHORD_TO_CHORD = """\
title: Every note lies in the shape that is taught for its chord
key: G major
meter: 3/4
tempo: 108
players: beginner
sections:
  verse: |
    chords   Am       | G        | D7     | C        | G        | D7     | C        | C
    melody   A4 C5 E4 | B4 B4 D4 | C5 C C | G4 C5 E4 | G4 D4 B4 | C5 C C | G4 C5 E4 | C5 C C
"""

EQUAL_BARS = """\
title: Bars 2 and 5 are equal, and so are the notes beside them
meter: 3/4
tempo: 80
sections:
  near: |
    chords   G7       | G7       | G7       | G7       | G7       | G7
    melody   A4 F5 E5 | G4 E4 E4 | G4 A5 A5 | A4 G4 E5 | G4 E4 E4 | G4 C6 A4

  far: |
    chords   G7       | F        | F        | G7       | F        | F
    melody   G4 G4 D5 | E4 C5 D5 | B4 B4 F4 | C5 B4 D5 | E4 C5 D5 | B4 G5 G5
"""


def figures_of(songs: list[Song], players: Players) -> Figures:
    figures = Figures()
    for song in songs:
        arrangement = arrange(replace(song, players=players), TUNINGS["high-g"])
        figures.add(measured(strokes_of(arrangement), OPEN_MIDIS, players))
    return figures


@pytest.fixture(scope="module")
def songs() -> list[Song]:
    return [read_song(path) for path in SONGS]


@pytest.fixture
def forgotten() -> Iterator[None]:
    """Let nothing that is known of hands outlive a test that changes what they cost."""
    for cached in (priced_hands.priced_hands, chord_hands.chord_hand):
        cached.cache_clear()
    yield
    for cached in (priced_hands.priced_hands, chord_hands.chord_hand):
        cached.cache_clear()


@pytest.mark.parametrize("players", PLAYERS)
def test_our_songs_keep_the_bounds(songs: list[Song], players: Players) -> None:
    figures = figures_of(songs, players)
    assert figures.found["untaught fingers"] == 0
    assert figures.among["untaught fingers"] > 200
    assert figures.percent("other fingering") <= 3
    assert figures.found["hasty change"] == 0
    assert figures.percent("grip for one note") <= 1
    assert figures.percent("thirdless, avoidable") <= 5
    assert figures.percent("equal bar, other hand") <= 3
    assert figures.percent("no two tones, avoidable") <= 2
    assert players != "free" or figures.percent("seventh missing") <= 15


def taught_shapes_met(song: Song) -> set[str]:
    """The shapes with a name that beginners hold in a song, each with the fingers that are taught."""
    arrangement = arrange(drop_pins(replace(song, players="beginner"))[0], TUNINGS["high-g"])
    held = [(gesture.shape, gesture.fingers) for gesture in arrangement.gestures]
    shown = [(used.frets, used.fingers) for used in shapes_used(arrangement)]
    met = set()
    for frets, fingers in (*held, *shown):
        shape = "".join(map(str, frets))
        if fingers and shape in TAUGHT:
            assert "".join(map(str, fingers)) == TAUGHT[shape]
            met.add(shape)
    return met


@pytest.mark.parametrize("path", [*SONGS, *TABS], ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_taught_shape_has_its_fingers_for_beginners(path: Path) -> None:
    assert taught_shapes_met(read_song(path))


def test_all_taught_shapes_appear_with_their_fingers_for_beginners() -> None:
    assert taught_shapes_met(parse_song(ALL_SHAPES)) == set(TAUGHT)


@pytest.mark.parametrize("players", PLAYERS)
def test_a_quick_jig_has_fewer_rolls(players: Players) -> None:
    slow = replace(parse_song(JIG), players=players)
    rolls = [
        sum(gesture.action == "roll" for gesture in arrange(song, TUNINGS["high-g"]).gestures)
        for song in (slow, replace(slow, tempo=Fraction(112)))
    ]
    assert rolls[1] <= 0.7 * rolls[0]


def test_beginners_hold_the_shapes_they_are_taught_and_stretch_for_no_single_note() -> None:
    song = parse_song(WALTZ)
    figures = figures_of([song], "beginner")
    assert figures.among["other than taught"] >= 12
    assert figures.found["other than taught"] == 0
    assert figures.among["stretch beyond need"] >= 20
    assert figures.found["stretch beyond need"] == 0
    among_chords = figures_of([parse_song(FROM_CHORD_TO_CHORD)], "beginner")
    assert among_chords.among["other than taught"] == 19
    assert among_chords.found["other than taught"] == 0
    tune = [stroke for stroke in strokes_of(arrange(song, TUNINGS["high-g"])) if stroke["tune"]]
    a_over_g = [stroke for stroke in tune if stroke["chord"] == "G" and stroke["midis"][-1] == 69]
    assert {(tuple(stroke["shape"]), tuple(stroke["strings"])) for stroke in a_over_g} == {
        ((0, 2, 3, 0), (1,))
    }


# Sabotage: each row of what is measured goes wrong when its cause is taken away


@pytest.mark.usefixtures("forgotten")
def test_hands_without_taught_fingers_are_seen(songs: list[Song], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(PricedHands, "as_taught", property(lambda self: np.ones(len(self.table), np.bool_)))
    monkeypatch.setitem(demands.COSTS, "unusual fingers", 0.0)
    monkeypatch.setitem(demands.COSTS, "other fingers than before", 0.0)
    figures = figures_of(songs, "improving")
    assert figures.percent("untaught fingers") > 10
    assert figures.percent("other fingering") > 3


@pytest.mark.usefixtures("forgotten")
@pytest.mark.parametrize(
    ("cost", "row"),
    [
        ("three fingers in a hurry", "hasty change"),
        ("most telling tone not struck", "thirdless, avoidable"),
        ("seventh not struck", "seventh missing"),
    ],
)
def test_a_weight_that_is_gone_is_seen(
    songs: list[Song], monkeypatch: pytest.MonkeyPatch, cost: str, row: str
) -> None:
    players: Players = "beginner" if row == "hasty change" else "free"
    before = figures_of(songs, players)
    for cached in (priced_hands.priced_hands, chord_hands.chord_hand):
        cached.cache_clear()
    monkeypatch.setitem(demands.COSTS, cost, 0.0)
    assert figures_of(songs, players).found[row] > before.found[row]


@pytest.mark.usefixtures("forgotten")
def test_hands_without_a_fret_of_room_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """G lies a fret further up than C by its index finger alone: nobody moves the hand along the neck for it."""
    monkeypatch.setattr(
        PricedHands,
        "_position_code",
        property(lambda self: self.table.position * 4 + (self.table.count == 0)),
    )
    assert figures_of([parse_song(FROM_CHORD_TO_CHORD)], "beginner").found["other than taught"] > 0


@pytest.mark.usefixtures("forgotten")
def test_strings_heard_where_none_is_struck_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(priced_hands.OverChord, "unheard_cost", priced_hands.OverChord.cost)
    assert figures_of([parse_song(WALTZ)], "beginner").found["stretch beyond need"] > 0


@pytest.mark.usefixtures("forgotten")
def test_fingers_that_are_glad_to_be_idle_are_seen(
    songs: list[Song], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(demands.COSTS, "idle finger", -1.0)
    assert figures_of(songs, "free").percent("grip for one note") > 1


def test_rolls_that_never_have_time_to_think_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fingering_module, "is_wanted", lambda note, piece: note.spot.place.bar_beat == 0)
    monkeypatch.setattr(fingering_module, "STEADY_ROLLS_APART_S", 0.0)
    with pytest.raises(AssertionError):
        test_a_quick_jig_has_fewer_rolls("improving")


@pytest.mark.parametrize("players", PLAYERS)
def test_bars_that_forget_the_ones_before_are_seen(players: Players, monkeypatch: pytest.MonkeyPatch) -> None:
    """Music further off than the notes beside them would lead equal bars elsewhere."""
    song = parse_song(EQUAL_BARS)
    figures = figures_of([song], players)
    assert figures.among["equal bar, other hand"] == 2
    assert figures.found["equal bar, other hand"] == 0
    monkeypatch.setitem(demands.COSTS, "other hand than in an equal bar", 0.0)
    assert figures_of([song], players).found["equal bar, other hand"] > 0


def test_chords_that_are_never_rolled_are_seen(songs: list[Song], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(choices, "_may_roll", lambda question: False)
    assert figures_of(songs, "free").percent("no two tones, avoidable") > 2
