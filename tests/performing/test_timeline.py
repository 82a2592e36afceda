"""Laying out: chosen bars, count-in and pick-up, the silence before the start, the tempo map."""

from __future__ import annotations

from fractions import Fraction
from functools import partial
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import Arrangement
from tercet.errors import ParameterError, RequestError
from tercet.performing import Click, PlayedBar, Span, TempoPoint, Timeline, lay_out, perform
from tercet.performing.timeline import bars_between
from tests.performing.pieces import Visit, piece, pieces, tune

steady = partial(perform, steady_pulse=True)

WHOLE = piece(*(tune(beat, 1) for beat in range(16)), tempo=120)


def with_pickup(beats: str, meter: str = "4/4") -> Arrangement:
    return piece(tune(0, beats), meter=meter, tempo=60, visits=[Visit("A", 1, 2, Fraction(beats))])


def test_a_whole_piece_is_one_span() -> None:
    assert lay_out(WHOLE) == Timeline((Span(0, 3, Fraction(1)),), 1)


def test_neighbours_make_one_span_and_jumps_begin_another() -> None:
    made = lay_out(WHOLE, [2, 3, 0, 1, 1], Fraction(1, 2), 2)
    half = Fraction(1, 2)
    assert made == Timeline((Span(2, 3, half), Span(0, 1, half), Span(1, 1, half)), 2)


@pytest.mark.parametrize(
    ("speed", "count_in_bars", "message"),
    [
        (Fraction(1, 5), 1, r"speed must be 25% to 200% \(got 20%\)"),
        (Fraction(9, 4), 1, r"speed must be 25% to 200% \(got 225%\)"),
        (Fraction(1), 9, r"count-in must be 0 to 8 bars \(got 9\)"),
        (Fraction(1), -1, r"count-in must be 0 to 8 bars \(got -1\)"),
    ],
)
def test_values_out_of_range(speed: Fraction, count_in_bars: int, message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        lay_out(WHOLE, speed=speed, count_in_bars=count_in_bars)


@pytest.mark.parametrize("index", [-1, 4])
def test_bars_that_are_not_there(index: int) -> None:
    with pytest.raises(ParameterError, match=rf"a bar's index must be 0 to 3 \(got {index}\)"):
        lay_out(WHOLE, [0, index])


@given(pieces(), st.data())
@settings(max_examples=40)
def test_bars_between_are_those_that_share_time(made: Arrangement, data: st.DataObject) -> None:
    end = made.bars[-1].start_beat + made.bars[-1].length_beat
    halves = st.integers(0, int(2 * end)).map(lambda half: min(Fraction(half, 2), end))
    low, high = sorted(data.draw(st.tuples(halves, halves).filter(lambda pair: pair[0] != pair[1])))
    shared = [bar for bar in made.bars if bar.start_beat < high and bar.start_beat + bar.length_beat > low]
    assert list(bars_between(made, low, high)) == shared


def test_no_bars_at_all() -> None:
    with pytest.raises(RequestError, match="no bars are chosen"):
        lay_out(WHOLE, [])
    with pytest.raises(ParameterError, match="at least one span"):
        perform(WHOLE, Timeline(()))


def test_count_in_of_one_bar() -> None:
    take = steady(WHOLE, lay_out(WHOLE))
    assert take.clicks == (Click(0.0, True), Click(0.5, False), Click(1.0, False), Click(1.5, False))
    assert take.bars[0] == PlayedBar(1, "verse", 1, 2.0, 4.0)
    assert take.length_s == 10.0


def test_count_in_goes_at_the_speed_of_the_first_span() -> None:
    take = steady(WHOLE, lay_out(WHOLE, speed=Fraction(1, 2), count_in_bars=2))
    assert [click.onset_s for click in take.clicks] == [float(beat) for beat in range(8)]
    assert [click.first for click in take.clicks] == [True, False, False, False] * 2
    assert take.bars[0].start_s == 8.0


@pytest.mark.parametrize(
    ("meter", "pickup", "bars", "clicks_s", "start_s"),
    [
        ("4/4", "1", 1, [0, 1, 2], 3.0),
        ("4/4", "3/2", 1, [0, 1, 2], 2.5),
        ("4/4", "5/2", 1, [0, 1], 1.5),
        ("4/4", "3", 1, [0, 1, 2, 3, 4], 5.0),
        ("3/4", "1", 2, [0, 1, 2, 3, 4], 5.0),
        ("3/4", "2", 1, [0, 1, 2, 3], 4.0),
        ("6/8", "1", 1, [0, 1], 5 / 3),
        ("6/8", "3", 1, [0, 1, 2], 3.0),
        ("1/4", "0", 1, [0, 1], 2.0),
    ],
)
def test_count_in_and_pickup_fill_whole_bars(
    meter: str, pickup: str, bars: int, clicks_s: list[int], start_s: float
) -> None:
    """A count of less than two pulses tells no tempo: then a bar more is counted."""
    made = with_pickup(pickup, meter) if pickup != "0" else piece(meter=meter, tempo=60)
    take = steady(made, lay_out(made, count_in_bars=bars))
    assert [click.onset_s for click in take.clicks] == pytest.approx(clicks_s)
    assert take.bars[0].start_s == pytest.approx(start_s)
    first_full = take.bars[1 if pickup != "0" else 0]
    bar_s = {"4/4": 4.0, "3/4": 3.0, "6/8": 2.0, "1/4": 1.0}[meter]
    assert first_full.start_s / bar_s == pytest.approx(round(first_full.start_s / bar_s))


def test_chosen_bars_have_no_pickup() -> None:
    made = with_pickup("1")
    take = steady(made, lay_out(made, [1]))
    assert len(take.clicks) == 4
    assert take.bars == (PlayedBar(1, "A", 1, 4.0, 8.0),)


@pytest.mark.parametrize(
    ("tempo", "speed", "lead"), [(120, "1", "1/2"), (120, "2", "1"), (120, "1/2", "1/4"), (400, "2", "4")]
)
def test_without_count_in_a_part_of_a_beat_is_silent(tempo: int, speed: str, lead: str) -> None:
    made = piece(tune(0, 1, "4321"), tempo=tempo)
    take = steady(made, lay_out(made, speed=Fraction(speed), count_in_bars=0))
    assert take.clicks == ()
    assert take.tempo_map[:2] == (
        TempoPoint(Fraction(0), 0.0),
        TempoPoint(Fraction(lead), take.bars[0].start_s),
    )
    assert take.bars[0].start_s == pytest.approx(float(Fraction(lead)) * 60 / tempo / float(Fraction(speed)))
    assert 0.16 <= take.bars[0].start_s < 0.32
    assert take.notes[0].onset_s > 0.0


def test_tempo_map_has_each_pulse_and_each_change() -> None:
    made = piece(
        *(tune(beat, 1) for beat in range(8)), tempo=60, visits=[Visit("A", 1, 2)], marks={2: "rit@1"}
    )
    take = steady(made, lay_out(made, [1, 0]))
    beats = [point.take_beat for point in take.tempo_map]
    quarters = [4 + Fraction(place, 4) for place in range(12)]
    assert beats == [Fraction(0), *quarters, *map(Fraction, (7, 8, 9, 10, 11, 12))]
    slow_s = take.tempo_map[-5].onset_s
    assert [point.onset_s - slow_s for point in take.tempo_map[-5:]] == pytest.approx([0, 1, 2, 3, 4])
    assert take.tempo_map[-1].onset_s == take.length_s
    assert all(a.onset_s < b.onset_s and a.take_beat < b.take_beat for a, b in pairwise(take.tempo_map))


def test_spans_may_differ_in_speed() -> None:
    take = steady(WHOLE, Timeline((Span(0, 0, Fraction(1, 2)), Span(0, 0, Fraction(1))), 1))
    assert [(bar.start_s, bar.end_s) for bar in take.bars] == [(4.0, 8.0), (8.0, 10.0)]
    assert [note.onset_s for note in perform(WHOLE, Timeline((Span(3, 3),), 1), dry=True).notes] == [
        2.0,
        2.5,
        3.0,
        3.5,
    ]
