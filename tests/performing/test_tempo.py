"""Beats to seconds: tempo, ritards against an integral added up by hand, fermatas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from tercet.performing.tempo import Clock, Swing, piece_clock
from tests.performing.checks import integrated_s
from tests.performing.pieces import Stroke, Visit, piece, strum, tune

QUARTERS = tuple(tune(beat, 1) for beat in range(16))


def clock(
    *strokes: Stroke,
    marks: Mapping[int, str] | None = None,
    meter: str = "4/4",
    swing: str = "1/2",
    visits: Sequence[Visit] = (Visit("verse", 1, 4),),
    tempo: int = 60,
) -> Clock:
    made = piece(*strokes, marks=marks, meter=meter, swing=swing, visits=visits, tempo=tempo)
    return piece_clock(made, Swing(made))


def at(made: Clock, *beats: str | int) -> list[float]:
    return [made.seconds(Fraction(beat)) for beat in beats]


def slowing_s(beats: float, part: float = 1.0) -> float:
    """Return how long the first part of a ritard over some beats of a second lasts: 1/tempo added up."""
    x = np.linspace(0.0, part, 20_001)
    return integrated_s(np.cbrt(1.0 + (0.6**3 - 1.0) * x), beats * part, 1.0)


@pytest.mark.parametrize(
    ("meter", "tempo", "beat_s"),
    [("3/4", 90, 2 / 3), ("6/8", 50, 0.4), ("2/2", 100, 0.6), ("5/8", 240, 0.25)],
)
def test_tempo_counts_pulses(meter: str, tempo: int, beat_s: float) -> None:
    assert at(clock(meter=meter, tempo=tempo), 0, 1, "7/2") == pytest.approx(
        [0.0, beat_s, 3.5 * beat_s], abs=1e-9
    )


def test_after_the_end_the_tempo_goes_on() -> None:
    assert at(clock(), 16, 18) == [16.0, 18.0]


def test_ritard_follows_its_curve_to_the_last_note() -> None:
    """The curve spans beats 12 to 15, where the last note is struck; that note goes at 0.6 of the tempo."""
    made = clock(*QUARTERS, marks={4: "rit@1"})
    assert at(made, 12) == [12.0]
    assert at(made, 13, 14, 15) == pytest.approx(
        [12.0 + slowing_s(3.0, part) for part in (1 / 3, 2 / 3, 1.0)], abs=1e-6
    )
    assert made.seconds(Fraction(15)) == pytest.approx(12.0 + 3.0 * 1.2245, abs=1e-3)
    assert made.seconds(Fraction(16)) == pytest.approx(12.0 + slowing_s(3.0) + 1.0 / 0.6, abs=1e-6)


def test_ritard_over_one_note_is_the_curve_alone() -> None:
    made = clock(tune(8, 8), marks={3: "rit@1"})
    assert at(made, 12, 16) == pytest.approx([8.0 + slowing_s(8.0, 0.5), 8.0 + slowing_s(8.0)], abs=1e-6)


def test_ritard_ends_at_a_tempo() -> None:
    made = clock(*QUARTERS, marks={2: "rit@1", 3: "a-tempo@1"})
    back_s = 4.0 + slowing_s(3.0) + 1.0 / 0.6
    assert at(made, 8, 9, 16) == pytest.approx([back_s, back_s + 1.0, back_s + 8.0], abs=1e-6)


def test_a_tempo_may_be_written_at_the_place_of_a_new_ritard() -> None:
    made = clock(*QUARTERS, marks={1: "rit@1", 2: "rit@1 a-tempo@1"})
    assert made.seconds(Fraction(5)) - made.seconds(Fraction(4)) < 1.05


def test_ritard_ends_with_its_section_also_where_it_comes_again() -> None:
    for visits in ((Visit("A", 1, 2), Visit("B", 1, 2)), (Visit("A", 1, 2), Visit("A", 2, 2))):
        made = clock(*QUARTERS, marks={2: "rit@1"}, visits=visits)
        assert made.seconds(Fraction(9)) - made.seconds(Fraction(8)) == pytest.approx(1.0)
        assert made.seconds(Fraction(16)) == pytest.approx(4.0 + slowing_s(3.0) + 1.0 / 0.6 + 8.0, abs=1e-6)


def test_ritard_ends_before_the_next_sections_pickup() -> None:
    visits = (Visit("A", 1, 2), Visit("B", 1, 2, Fraction(1)))
    made = clock(*QUARTERS, marks={2: "rit@1"}, visits=visits)
    end_s = 4.0 + slowing_s(2.0) + 1.0 / 0.6
    assert at(made, 7, 8, 9) == pytest.approx([end_s, end_s + 1.0, end_s + 2.0], abs=1e-6)


def test_ritard_in_a_pickup_belongs_to_the_section_that_follows() -> None:
    visits = (Visit("A", 1, 2), Visit("B", 1, 2, Fraction(1)))
    made = clock(*QUARTERS, marks={2: "rit@4", 3: "a-tempo@3"}, visits=visits)
    assert at(made, 7, 10) == pytest.approx([7.0, 7.0 + slowing_s(2.0) + 1.0 / 0.6], abs=1e-6)


def test_a_second_ritard_within_the_first_changes_nothing() -> None:
    one, two = (clock(*QUARTERS, marks={3: "rit@1", 4: mark}) for mark in ("", "rit@2"))
    assert at(one, 10, 14, 16) == at(two, 10, 14, 16)


def test_fermata_adds_half_of_its_note() -> None:
    made = clock(tune(0, 4), tune(4, 2), tune(6, 2), marks={2: "fermata@1"})
    assert at(made, 4, 5, 6, 8) == [4.0, 5.0, 7.0, 9.0]


def test_fermata_waits_after_the_last_place_of_a_stroke_under_its_note() -> None:
    """Whoever strums there, and whether anybody does: the sets of a mixed class stay together."""
    for strums in ((), (strum(1, 1), strum(2, 1)), (strum(1, 1), strum(2, 1), strum(3, 1))):
        made = clock(tune(0, 4), *strums, tune(4, 4), marks={1: "fermata@1"})
        assert at(made, 1, 2, 3, 4, 5) == [1.0, 2.0, 3.0, 6.0, 7.0]


def test_fermata_on_a_swung_stroke_does_not_move_it() -> None:
    played = piece(tune(0, 2), strum("3/2", "1/2"), tune(2, 2), marks={1: "fermata@1"}, swing="2/3", tempo=60)
    eighths = replace(played, song=replace(played.song, strum=("d", "u") * 4))
    made = piece_clock(eighths, Swing(eighths))
    assert at(made, "5/3", 2) == pytest.approx([5 / 3, 3.0], abs=1e-9)


def test_fermata_within_a_tied_note_adds_half_of_what_remains() -> None:
    made = clock(tune(0, 8), tune(8, 8), marks={2: "fermata@1"})
    assert at(made, 4, 6, 8, 9) == [4.0, 6.0, 10.0, 11.0]


def test_fermata_in_a_rest_holds_a_pulse() -> None:
    assert at(clock(tune(0, 1), marks={1: "fermata@3"}), 2, 3, 4) == [2.0, 3.5, 4.5]
    assert at(clock(meter="6/8", marks={1: "fermata@4"}), 3, 6, 7) == pytest.approx(
        [1.0, 2.5, 2.5 + 1 / 3], abs=1e-9
    )


def test_fermata_adds_at_most_two_seconds() -> None:
    made = clock(tune(0, 16), marks={1: "fermata@1"})
    assert at(made, 8, 16) == [8.0, 18.0]


def test_two_fermatas_on_one_note_wait_once() -> None:
    made = clock(tune(0, 4), tune(4, 4), marks={1: "fermata@1 fermata@3"})
    assert at(made, 4) == [6.0]


def test_fermata_does_not_last_beyond_the_piece() -> None:
    made = clock(marks={4: "fermata@4"})
    assert at(made, 16) == [16.5]


def test_last_note_with_ritard_and_fermata_is_long_but_not_absurd() -> None:
    """Three beats at 84: as written 2.1 s, at the ritard's last tempo 3.6 s, and half of 2.1 s more."""
    made = clock(tune(0, 1), tune(1, 2), tune(3, 3), marks={1: "rit@1", 2: "fermata@1"}, meter="3/4",
                 visits=[Visit("A", 1, 2)], tempo=84)  # fmt: skip
    last_s = made.seconds(Fraction(6)) - made.seconds(Fraction(3))
    assert last_s == pytest.approx(3 * 60 / 84 * (1 / 0.6 + 0.5), abs=1e-6)
    assert 4.0 < last_s < 5.0


def test_fermata_within_a_ritard_adds_to_it() -> None:
    plain = clock(*QUARTERS, marks={4: "rit@1"})
    held = clock(*QUARTERS, marks={4: "rit@1 fermata@2"})
    differ = [b - a for a, b in zip(at(plain, 13, 14, 15, 16), at(held, 13, 14, 15, 16), strict=True)]
    assert differ == pytest.approx([0.0, 0.5, 0.5, 0.5], abs=1e-9)


def test_time_never_stands_still() -> None:
    made = clock(*QUARTERS, marks={1: "fermata@2 rit@3", 3: "a-tempo@2 fermata@4", 4: "rit@1 fermata@4"})
    seconds = at(made, *(Fraction(place, 8).__str__() for place in range(140)))
    assert all(later > sooner for sooner, later in pairwise(seconds))
