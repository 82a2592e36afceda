"""The curves over phrase and bar: small, each by its place alone, their sum what is played."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from tercet.performing import lay_out, perform
from tercet.performing.levels import STEP_DB
from tercet.performing.shaping import (
    CEILING_DB,
    FLOOR_DB,
    Shaping,
    bounded_db,
    metric_accent_db,
    phrase_arch_db,
    phrase_end_db,
)
from tercet.song import Meter
from tercet.theory import MARK_LEVEL_DB
from tests.performing.pieces import Visit, piece, strum, tune

LONG = (Visit("verse", 1, 4),)


def test_an_arch_rises_once_and_falls_once_around_nothing() -> None:
    arch = [phrase_arch_db(place / 100) for place in range(101)]
    assert [sooner <= later for sooner, later in pairwise(arch)] == [True] * 60 + [False] * 40
    assert (arch[0], arch[60], arch[100]) == (-1.5, 1.5, -1.5)
    assert abs(sum(arch) / len(arch)) < 0.04
    assert max(abs(later - sooner) for sooner, later in pairwise(arch)) < 0.12


def test_outside_a_phrase_an_arch_stays_at_its_edge() -> None:
    assert phrase_arch_db(-0.5) == phrase_arch_db(1.5) == -1.5


@pytest.mark.parametrize(
    ("meter", "accents"),
    [
        (Meter(4, 4), {"0": 0.8, "1": 0.0, "2": 0.3, "3": 0.0, "1/2": -0.4, "-1": 0.0, "-1/2": -0.4}),
        (Meter(3, 4), {"0": 0.8, "1": 0.0, "2": 0.0, "5/2": -0.4, "-1": 0.0}),
        (Meter(6, 8), {"0": 0.8, "1": -0.4, "3": 0.0, "4": -0.4}),
        (Meter(12, 8), {"0": 0.8, "3": 0.0, "6": 0.3, "9": 0.0}),
        (Meter(5, 8), {"0": 0.8, "3": 0.0, "1/2": -0.4}),
    ],
)
def test_metric_accents(meter: Meter, accents: dict[str, float]) -> None:
    assert {beat: metric_accent_db(Fraction(beat), meter) for beat in accents} == accents


def test_only_what_ends_within_the_last_pulse_is_let_go_of() -> None:
    ends = {
        beat: phrase_end_db(Fraction(beat), Fraction(12), Fraction(1)) for beat in ("12", "23/2", "11", "4")
    }
    assert ends == {"12": -1.0, "23/2": -1.0, "11": 0.0, "4": 0.0}


def test_levels_are_held_between_floor_and_ceiling() -> None:
    assert (bounded_db(90.0), bounded_db(-90.0), bounded_db(3.0)) == (CEILING_DB, FLOOR_DB, 3.0)
    loudest, softest = max(MARK_LEVEL_DB.values()), min(MARK_LEVEL_DB.values())
    assert loudest + STEP_DB == CEILING_DB, "an accent on the loudest mark is heard, and no more"
    assert softest - 2.5 * STEP_DB == FLOOR_DB, "what is softened under the softest mark is heard still"


def test_curves_of_a_phrase_add_up() -> None:
    made = piece(tune(0, 1), tune(9, 1), tune(15, 1), strum(9, 1), visits=LONG, marks={})
    shaping = Shaping(made)
    first, middle, behind, last = (shaping.at(gesture) for gesture in made.gestures)
    assert first == pytest.approx(-1.5 + 0.8)
    assert middle == pytest.approx(phrase_arch_db(9 / 16))
    assert behind == pytest.approx(0.5 * phrase_arch_db(9 / 16))
    assert last == pytest.approx(phrase_arch_db(15 / 16) - 1.0)


def test_a_strum_that_comes_up_is_lighter() -> None:
    made = piece(strum(9, 1), visits=LONG, marks={})
    down = made.gestures[0]
    shaping = Shaping(made)
    assert shaping.at(replace(down, up=True)) == pytest.approx(shaping.at(down) - 1.5)


def test_every_phrase_is_shaped_alike_wherever_it_lies() -> None:
    """Breaths before the last beats of bars 2 and 3: phrases of seven, four and five beats."""
    beats = (1, 3, 6, 9, 12, 15)
    made = piece(*(tune(beat, 1) for beat in beats), visits=LONG, marks={2: ",@4", 3: ",@4"})
    shaping = Shaping(made)
    found = [shaping.at(gesture) for gesture in made.gestures]
    along = [1 / 7, 3 / 7, 6 / 7, 2 / 4, 1 / 5, 4 / 5]
    let_go = [0.0, 0.0, -1.0, 0.0, 0.0, -1.0]
    accents = [metric_accent_db(Fraction(beat % 4), Meter(4, 4)) for beat in beats]
    expected = [
        phrase_arch_db(place) + end + accent
        for place, end, accent in zip(along, let_go, accents, strict=True)
    ]
    assert found == pytest.approx(expected)


def test_what_is_between_swells_with_the_tune_and_the_strums_half_as_much() -> None:
    strokes = [
        stroke
        for beat in (1, 9)
        for stroke in (tune(beat, 1), tune(beat, 1, layer="between"), strum(beat, 1, "43"))
    ]
    made = piece(*strokes, visits=LONG, marks={})
    levels: dict[str, list[float]] = {}
    for gesture in made.gestures:
        levels.setdefault(gesture.layer, []).append(Shaping(made).at(gesture))
    swell = {layer: later - sooner for layer, (sooner, later) in levels.items()}
    assert swell["melody"] == pytest.approx(phrase_arch_db(9 / 16) - phrase_arch_db(1 / 16))
    assert swell["between"] == pytest.approx(swell["melody"])
    assert swell["strums"] == pytest.approx(0.5 * swell["melody"])


def test_a_breath_starts_another_arch() -> None:
    whole, parted = (
        Shaping(piece(tune(8, 1), visits=LONG, marks=marks)).at(piece(tune(8, 1), visits=LONG).gestures[0])
        for marks in ({}, {2: ",@4"})
    )
    assert parted < whole - 1.0


def test_a_take_is_shaped_and_a_dry_one_is_not() -> None:
    made = piece(*(tune(beat, 1) for beat in range(16)), visits=LONG, marks={})
    shaping = Shaping(made)
    dry = perform(made, lay_out(made), dry=True)
    assert all(note.level_db == note.mark_db for note in dry.notes)
    runs = [perform(made, lay_out(made), seed=seed).notes for seed in range(40)]
    for place, gesture in enumerate(made.gestures):
        mean_db = sum(notes[place].level_db - notes[place].mark_db for notes in runs) / len(runs)
        assert mean_db == pytest.approx(shaping.at(gesture), abs=0.35)


def test_along_a_hairpin_levels_rise_once_shape_and_deviation_are_taken_off() -> None:
    made = piece(*(tune(beat, 1) for beat in range(16)), visits=LONG, marks={1: "p@1 louder@1", 4: "f@4"})
    marks = [note.mark_db for note in perform(made, lay_out(made)).notes]
    assert all(later > sooner for sooner, later in pairwise(marks))
    assert marks[-1] - marks[0] == pytest.approx(12.0)
