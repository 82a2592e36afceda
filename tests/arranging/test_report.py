"""The report says what a player meets, and nothing that isn't there."""

from __future__ import annotations

import json
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.arranging import Arrangement, arrange
from tercet.arranging.report import (
    HARDNESS,
    Change,
    HighFret,
    Masked,
    WideHand,
    as_json,
    frets_text,
    report_of,
)
from tercet.song import Players, parse_song, read_song
from tests.arranging.written import arranged

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))

PINNED = """\
title: Two hands
meter: 4/4
tempo: 60
strum: . . d x
form: verse*2
sections:
  verse: |
    chords  C[0003]       | F[2010]
    melody  C5:4[4321]    | A4[4321] A[1] F[2] .

    chords  C[0003]
    melody  E4[432] C5:3[1]
"""


def pinned() -> Arrangement:
    return arrange(parse_song(PINNED))


def test_the_hand_line_by_line() -> None:
    lines = report_of(pinned()).lines
    assert [(line.section, line.line, line.first_bar, line.last_bar) for line in lines] == [
        ("verse", 1, 1, 2),
        ("verse", 2, 3, 3),
    ]
    first, second = lines
    assert [(hand.bar_number, hand.shape, hand.strokes) for hand in first.hands] == [
        (1, "0003", ("[4321]", "d", "x")),
        (2, "2010", ("[4321]", "[1]", "[2]", "x")),
    ]
    assert (first.rolls, first.singles, first.strums) == (2, 2, 3)
    assert [hand.strokes for hand in second.hands] == [("[432]", "[1]", "d", "x")]


def test_fingers_stand_beside_the_shape() -> None:
    hands = report_of(pinned()).lines[0].hands
    for hand in hands:
        assert [sign != "0" for sign in hand.fingers] == [fret != "0" for fret in hand.shape]


def test_widest_stretch_and_highest_fret() -> None:
    report = report_of(arranged("C5:4[4321]|D5:2[1] .:2", "C[0003]|G[0235]", strum_row=". . . .|. . . ."))
    assert report.highest_fret == HighFret(2, "verse", 1, 5)
    # Frets 2 to 5 of 380 mm: 380 · (2^(−2/12) − 2^(−5/12)).
    width_mm = 380 * (2 ** (-2 / 12) - 2 ** (-5 / 12))
    assert report.widest_stretch is not None
    assert report.widest_stretch == WideHand(2, "verse", "0235", report.widest_stretch.width_mm)
    assert report.widest_stretch.width_mm == pytest.approx(width_mm)


def test_the_fastest_change_has_most_fingers_in_least_time() -> None:
    # Two fingers from 0003 to 2010 in the two seconds after the strum, when the hand is free.
    assert report_of(pinned()).fastest_change == Change(2, "verse", "0003", "2010", 2, 2000.0)
    # Without it they have four, and the one from there to 0003 has two: alike, so the first.
    unstrummed = arrange(parse_song(PINNED.replace("strum: . . d x", "strum: . . . x")))
    assert report_of(unstrummed).fastest_change == Change(2, "verse", "0003", "2010", 2, 4000.0)
    # Struck half a beat before the next line, the second has less time.
    pressed = arrange(parse_song(PINNED.replace("A4[4321] A[1] F[2] .", "A4[4321] A:2.5[1] F:1/2[2]")))
    assert report_of(pressed).fastest_change == Change(3, "verse", "2010", "0003", 1, 500.0)


def test_changes_that_the_songs_own_strums_leave_no_time_for_are_told() -> None:
    def hasty(strum_row: str, players: Players) -> tuple[Change, ...]:
        tune, chords, tempo = "C5:4[4321]|B4:4[4321]", "C[0003]|G7[0212]", Fraction(60)
        held = arranged(tune, chords, strum_row=strum_row, players=players, tempo=tempo)
        return report_of(held).hasty_changes

    eighths = ". . . . . . . u|. . . . . . . ."
    assert hasty(eighths, "beginner") == (Change(2, "verse", "0003", "0212", 3, 500.0),)
    assert hasty(eighths, "improving") == hasty(eighths.replace("u", "x"), "beginner") == ()


def test_each_stroke_has_its_place_in_the_bar() -> None:
    hands = report_of(pinned()).lines[0].hands
    assert [(hand.bar_number, hand.beats) for hand in hands] == [
        (1, (1.0, 3.0, 4.0)),
        (2, (1.0, 2.0, 3.0, 4.0)),
    ]


def test_open_strings_alone_are_no_hard_place() -> None:
    report = report_of(arranged("G4:2[4] E4:2[2]", "N.C.", strum_row=". . . ."))
    assert (report.widest_stretch, report.fastest_change, report.highest_fret) == (None, None, None)
    assert report.totals.audible_rolls == 1.0
    assert report.totals.shift_per_bar == 0.0


def test_a_masked_roll_is_named_and_lowers_the_audible_share() -> None:
    arrangement = arranged("F4:4[432]|C5:4[4321]", "F|C")
    report = report_of(arrangement)
    masked = [gesture for gesture in arrangement.gestures if gesture.heard == "masked"]
    assert report.masked == (Masked(1, "verse", "F4", "[432]"),)
    assert len(masked) == 1
    assert report.totals.audible_rolls == 0.5
    assert report.hardest_bars[0].masked + report.hardest_bars[1].masked == HARDNESS["masked roll"]


def test_every_bar_is_ranked_and_its_parts_add_up() -> None:
    for path in SONGS:
        arrangement = arrange(read_song(path))
        bars = report_of(arrangement).hardest_bars
        assert [bar.rank for bar in bars] == list(range(1, len(arrangement.bars) + 1))
        assert sorted(bar.bar_number for bar in bars) == [bar.number for bar in arrangement.bars]
        assert all(
            bar.cost == pytest.approx(bar.changes + bar.stretch + bar.height + bar.speed + bar.masked)
            for bar in bars
        )
        assert [bar.cost for bar in bars] == pytest.approx(sorted((bar.cost for bar in bars), reverse=True))


def test_a_bar_twice_as_fast_is_harder() -> None:
    slow = report_of(pinned()).hardest_bars
    quick = report_of(arrange(parse_song(PINNED.replace("tempo: 60", "tempo: 120")))).hardest_bars
    costs = {bar.bar_number: bar.cost for bar in slow}
    assert all(bar.cost >= costs[bar.bar_number] for bar in quick)
    assert quick[0].changes == pytest.approx(
        2 * next(bar.changes for bar in slow if bar.bar_number == quick[0].bar_number)
    )


def test_totals_count_what_is_played() -> None:
    for path in SONGS:
        arrangement = arrange(read_song(path))
        report = report_of(arrangement)
        actions = Counter(gesture.action for gesture in arrangement.gestures)
        assert report.totals.rolls == actions["roll"]
        assert report.totals.singles == actions["single"]
        assert report.totals.strums == actions["strum"] + actions["chop"]
        assert report.totals.cost == arrangement.cost
        first_pass = [bar.number for bar in arrangement.bars if bar.pass_number == 1]
        strokes = [stroke for line in report.lines for hand in line.hands for stroke in hand.strokes]
        assert len(strokes) == sum(gesture.bar_number in first_pass for gesture in arrangement.gestures)


def test_as_json_is_plain_and_whole() -> None:
    report = report_of(pinned())
    plain = as_json(report)
    assert json.loads(json.dumps(plain)) == plain
    assert plain["lines"][0]["hands"][0]["shape"] == "0003"
    assert plain["totals"]["bars"] == 6
    assert set(plain) == {
        "lines",
        "widest_stretch",
        "fastest_change",
        "hasty_changes",
        "highest_fret",
        "masked",
        "hardest_bars",
        "totals",
        "styles",
    }


@pytest.mark.parametrize(
    ("shape", "text"),
    [((0, 0, 0, 3), "0003"), ((None, 2, 2, 3), "x223"), ((9, 9, 9, 12), "9.9.9.12"), ((), "")],
)
def test_shapes_are_written_as_in_the_song_file(shape: tuple[int | None, ...], text: str) -> None:
    assert frets_text(shape) == text
