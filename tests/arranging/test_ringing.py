"""The tune from string to string, its notes ringing over one another, where the style is `ringing`."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.arranging.pinning import pin_song
from tercet.arranging.report import different_strings, report_of
from tercet.performing import covered_notes, lay_out, perform
from tercet.performing.string_times import note_ends
from tercet.song import parse_song
from tercet.theory import TUNINGS
from tests.arranging.laws import broken_laws
from tests.arranging.written import arranged, section, song, tune_of

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))


def ringing(melody: str, chords: str, **more: Any) -> Arrangement:
    """Arrange a section of one line in which notes ring over one another."""
    return arranged(melody, chords, style="ringing", **more)


def tune_gestures(arrangement: Arrangement) -> list[Gesture]:
    """Return the strokes of the tune."""
    return [gesture for gesture in arrangement.gestures if gesture.notes[-1].part == "tune"]


def ends_of_tune(arrangement: Arrangement) -> list[Fraction]:
    """Return where each note of the tune ends, in beats."""
    ends = zip(arrangement.gestures, note_ends(arrangement), strict=True)
    return [each[-1] for gesture, each in ends if gesture.notes[-1].part == "tune"]


def in_style(path: Path, style: str) -> Arrangement:
    """Arrange one of our songs in a style."""
    text = path.read_text(encoding="utf-8")
    return arrange(parse_song(text.replace("\ntempo", f"\nstyle: {style}\ntempo", 1)))


@pytest.mark.parametrize(
    ("melody", "chords", "expected"),
    [
        ("G4 A4 B4 C5", "C", ["4/0", "1/0", "4/4", "1/3"]),  # up a scale, by turns on the outer strings
        ("C5 B4 A4 G4", "C", ["1/3", "4/4", "1/0", "4/0"]),
        ("C4 C4 E4 C4", "C", ["3/0", "3/0", "2/0", "3/0"]),  # but for one that lies on one string alone
    ],
)
def test_neighbouring_notes_lie_on_different_strings(melody: str, chords: str, expected: list[str]) -> None:
    arrangement = ringing(melody, chords)
    assert tune_of(arrangement) == expected
    assert broken_laws(arrangement) == {}


def test_even_a_note_that_comes_again_changes_the_string() -> None:
    assert sorted(set(tune_of(ringing("A4 A4 A4 A4", "F")))) == ["1/0", "4/2"]
    assert different_strings(tune_gestures(ringing("A4 A4 A4 A4", "F"))) == 1


def test_only_what_is_held_long_is_rolled() -> None:
    actions = [gesture.action for gesture in tune_gestures(ringing("C5:2 A4 G4", "C"))]
    assert actions == ["roll", "single", "single"]
    assert tune_gestures(arranged("C5 A4 G4 A4", "C"))[0].action == "roll"
    assert tune_gestures(ringing("C5 A4 G4 A4", "C"))[0].action == "single"


def test_pins_are_kept_as_they_are() -> None:
    arrangement = ringing("C5[4321] B4[1] A4[1] G4", "C")
    assert tune_of(arrangement)[:3] == ["4/0 3/0 2/0 1/3", "1/2", "1/0"]


@pytest.mark.parametrize(
    ("melody", "chords", "ends"),
    [
        ("G4 A4 B4 C5", "C", [2, 3, 3, 4]),  # until its string is struck; B4 until C5, a semitone away
        ("C4 E4 G4 C5", "C", [4, 4, 4, 4]),  # all of the chord, to the end
        ("E4 G4 .:2", "N.C.", [2, 2]),  # a rest is a rest
        ("G4 C5 | F4 C5", "C | F", None),
    ],
)
def test_a_note_lasts_until_it_is_in_the_way(melody: str, chords: str, ends: list[int] | None) -> None:
    arrangement = ringing(melody, chords, **({"meter": "2/4"} if ends is None else {}))
    found = ends_of_tune(arrangement)
    if ends is None:
        assert found[0] == 2  # G isn't of the chord that comes
        assert found[1] > 2  # C is
    else:
        assert found == ends


def test_a_breath_ends_what_rings() -> None:
    whole, breathing = (ringing("C4 E4 G4 C5", "C", marks=marks) for marks in ("", ",@3"))
    assert ends_of_tune(whole)[:2] == [4, 4]
    assert max(ends_of_tune(breathing)[:2]) <= 2


def test_what_rings_is_there_only_where_the_style_asks() -> None:
    assert ends_of_tune(arranged("G4 A4 G4 A4", "C"))[:3] == [1, 2, 3]
    assert ends_of_tune(ringing("G4 A4 G4 A4", "C"))[:3] == [2, 3, 4]


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_reach_the_share_and_keep_their_tune(path: Path) -> None:
    rolled, rung = in_style(path, "rolls"), in_style(path, "ringing")
    assert broken_laws(rung) == {}
    assert different_strings(tune_gestures(rung)) >= 0.7
    assert different_strings(tune_gestures(rolled)) < different_strings(tune_gestures(rung))
    tunes = [
        [(each.start_beat, each.length_beat, each.notes[-1].midi, each.layer) for each in tune_gestures(one)]
        for one in (rolled, rung)
    ]
    assert tunes[0] == tunes[1]
    assert covered_notes(perform(rung, lay_out(rung))) == ()


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_notes_do_ring_over_one_another(path: Path) -> None:
    rung = in_style(path, "ringing")
    tune, ends = tune_gestures(rung), ends_of_tune(rung)
    over = [end > after.start_beat for end, (_, after) in zip(ends, pairwise(tune), strict=False)]
    assert sum(over) >= len(over) / 10


@pytest.mark.parametrize("tuning", ["low-g", "baritone"])
def test_other_strings_ring_as_far_as_they_allow(tuning: str) -> None:
    rung = arrange(
        song(section("verse", "C4 D4 E4 F4 | G4 A4 B4 C5", "C | C"), style="ringing"), TUNINGS[tuning]
    )
    rolled = arrange(song(section("verse", "C4 D4 E4 F4 | G4 A4 B4 C5", "C | C")), TUNINGS[tuning])
    assert different_strings(tune_gestures(rung)) > different_strings(tune_gestures(rolled))


def test_the_report_says_the_share() -> None:
    verse = section("verse", "G4 A4 B4 C5", "C")
    (use,) = report_of(arrange(song(verse, style="ringing"))).styles
    assert (use.section, use.pass_number, use.style, use.notes, use.different_strings) == (
        "verse",
        1,
        "ringing",
        4,
        1.0,
    )
    assert report_of(arrange(song(verse))).styles == ()


@pytest.mark.parametrize("style", ["ringing", "broken", "plain"])
def test_a_pinned_song_is_played_as_before(style: str) -> None:
    text = SONGS[2].read_text(encoding="utf-8").replace("\ntempo", f"\nstyle: {style}\ntempo", 1)
    assert pin_song(text).changed == ()


@pytest.mark.parametrize(
    ("melody", "chords", "tuning"),
    [
        ("Ab4:4 | A4:4", "A[0000] | A[0000]", "high-g"),
        ("G4:2 Ab4:2 | D5:2 D4:2", "Dm[x210] | Dm[x210]", "baritone"),
        ("Eb4:1 Ab4:3 | A5:4", "F[2010] | F[2010]", "low-g"),
    ],
)
def test_a_shape_that_is_written_sounds_as_written_beside_what_rings(
    melody: str, chords: str, tuning: str
) -> None:
    assert broken_laws(ringing(melody, chords, tuning=TUNINGS[tuning], players="free")) == {}
