"""The tempo's own drift: slow, shared, by place, off under a click; bars and tempo map tell the truth about it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate, pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tercet.arranging import Arrangement, arrange
from tercet.performing import Take, lay_out, perform
from tercet.performing.deviation import FEELS, LIMIT_SD, tempo_drift
from tercet.performing.tempo import Swing, phrase_edges
from tercet.song import Feel, read_song
from tercet.theory import tuning_named
from tests.kits import HARBOUR_LANTERNS, ROOT
from tests.performing.pieces import Visit, piece, pieces, tune

FEW = settings(max_examples=25)
SONGS = sorted((ROOT / "songs").glob("*.yaml"))
PULSES, SEEDS = 128, range(120)
DRIFT_HEX = ["0x1.01087c838f5b2p+0", "0x1.002d3d5409261p+0"]


def paces(feel: Feel = "natural", seeds: Sequence[int] = SEEDS, pass_number: int = 1) -> NDArray[np.float64]:
    """Return the tempo of each pulse in many playings, less 1: (seed, pulse)."""
    return np.array(
        [
            [
                tempo_drift(seed, "verse", pass_number, Fraction(pulse), FEELS[feel]) - 1.0
                for pulse in range(PULSES)
            ]
            for seed in seeds
        ]
    )


def quicker_than_8(runs: NDArray[np.float64]) -> float:
    """Return how much of the power of a drift lies in changes that take fewer than eight pulses, there and back."""
    power = (np.abs(np.fft.rfft(runs * np.hanning(runs.shape[1]), axis=1)) ** 2).mean(axis=0)
    return float(power[np.fft.rfftfreq(runs.shape[1]) > 1 / 8].sum() / power[1:].sum())


def beats_of(made: Arrangement, bars: Sequence[int]) -> list[Fraction]:
    """Return at which beat after the first of some bars each of them starts."""
    return [Fraction(0), *accumulate(made.bars[index].length_beat for index in bars)]


def against_the_map_s(
    made: Arrangement, take: Take, bars: Sequence[int]
) -> list[tuple[Fraction, int, float]]:
    """Return beat, string, and how late each gesture's last string is by the take's own tempo map."""
    swing = Swing(made)
    beats = [float(point.take_beat) for point in take.tempo_map]
    times_s = [point.onset_s for point in take.tempo_map]
    starts = beats_of(made, bars)
    lead_beat = take.tempo_map[-1].take_beat - starts[-1]
    last = {(gesture.start_beat, gesture.layer): gesture.notes[-1].string for gesture in made.gestures}
    found = []
    for note in take.notes:
        if last[note.beat, note.layer] != note.string:
            continue
        bar = made.bars[bars[note.bar_index]]
        beat = lead_beat + starts[note.bar_index] + swing.beat(note.beat, note.layer) - bar.start_beat
        place = min(max(bisect_right(beats, float(beat)) - 1, 0), len(beats) - 2)
        along = (float(beat) - beats[place]) / (beats[place + 1] - beats[place])
        due_s = times_s[place] + along * (times_s[place + 1] - times_s[place])
        found.append((note.beat, note.string, note.onset_s - due_s))
    return found


def bar_lengths_s(take: Take) -> list[float]:
    return [bar.end_s - bar.start_s for bar in take.bars]


def test_values_are_the_same_on_every_machine() -> None:
    places = ((1, "verse", 1, Fraction(0)), (7, "chorus", 2, Fraction(-5, 3)))
    assert [tempo_drift(*place).hex() for place in places] == DRIFT_HEX


@pytest.mark.parametrize(("feel", "spread"), [("steady", 0.004), ("natural", 0.008), ("loose", 0.016)])
def test_each_word_has_its_spread(feel: Feel, spread: float) -> None:
    found = paces(feel)
    assert found.std() == pytest.approx(spread, rel=0.1)
    assert np.abs(found).max() <= LIMIT_SD * spread + 1e-12
    assert abs(found.mean()) < 0.25 * spread  # 120 playings that hardly turn are few


def test_it_is_slow_and_a_quick_one_would_be_found() -> None:
    assert quicker_than_8(paces()) < 0.02
    assert np.abs(np.diff(paces(), axis=1)).max() < 0.008
    assert quicker_than_8(np.random.default_rng(5).normal(0.0, 0.008, (120, PULSES))) > 0.5


def test_each_pass_and_seed_drifts_in_its_own_way() -> None:
    for other in (paces(pass_number=2), paces(seeds=range(1000, 1120))):
        assert abs(np.corrcoef(paces().ravel(), other.ravel())[0, 1]) < 0.15


def calm_bars(made: Arrangement) -> list[int]:
    """Return the indices of the bars that touch no last bar of a phrase, nor the last phrase."""
    edges = phrase_edges(made.bars)
    return [
        index
        for index, bar in enumerate(made.bars)
        if bar.start_beat + bar.length_beat <= edges[-2] - made.song.meter.bar_beat
        and not any(
            edge - made.song.meter.bar_beat < bar.start_beat + bar.length_beat and bar.start_beat < edge
            for edge in edges[1:]
        )
    ]


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_no_song_of_ours_leaves_its_tempo_by_more_than_is_noticed(path: Path) -> None:
    made = arrange(read_song(path))
    for seed in range(3):
        drifting, steady = (
            perform(made, lay_out(made), seed=seed, steady_pulse=steady) for steady in (False, True)
        )
        parts = np.divide(bar_lengths_s(steady), bar_lengths_s(drifting))[calm_bars(made)]
        assert 0.002 < np.abs(parts - 1.0).max() < 0.025
        assert drifting.clicks == steady.clicks


@FEW
@given(pieces(), st.booleans())
def test_under_a_click_all_bars_keep_the_beats_of_a_dry_take(made: Arrangement, count_in: bool) -> None:
    timeline = lay_out(made, count_in_bars=int(count_in))
    steady, exact = perform(made, timeline, steady_pulse=True), perform(made, timeline, dry=True)
    assert steady.bars == exact.bars
    assert steady.tempo_map == exact.tempo_map


@FEW
@given(pieces(), st.sampled_from(("1/4", "1", "2")), st.data())
def test_players_are_off_the_drifting_pulse_just_as_off_a_steady_one(
    made: Arrangement, speed: str, data: st.DataObject
) -> None:
    """So the map and the bars are truthful: against them nothing is left but the players' own deviations."""
    bars = data.draw(st.lists(st.integers(0, len(made.bars) - 1), min_size=1, max_size=6))
    timeline = lay_out(made, bars, Fraction(speed))
    alive, steady = (
        perform(made, timeline, seed=3, steady_pulse=steady, closes=False) for steady in (False, True)
    )
    found, expected = (dict_of(against_the_map_s(made, take, bars)) for take in (alive, steady))
    # Within a ritard the map is a chord of its curve, up to 2 ms at full speed.
    assert found == pytest.approx(expected, abs=0.004 / float(Fraction(speed)) if slows(made) else 1e-7)
    assert [bar.end_s for bar in alive.bars[:-1]] == pytest.approx([bar.start_s for bar in alive.bars[1:]])


def slows(made: Arrangement) -> bool:
    return any(mark.kind == "rit" for bar in made.bars for mark in bar.marks)


def dict_of(found: list[tuple[Fraction, int, float]]) -> dict[tuple[int, Fraction, int], float]:
    """Return lateness by place, the times that a place is played counted."""
    counted: dict[tuple[Fraction, int], int] = {}
    by_place = {}
    for beat, string, late_s in found:
        counted[beat, string] = counted.get((beat, string), 0) + 1
        by_place[counted[beat, string], beat, string] = late_s
    return by_place


@FEW
@given(pieces(), st.sampled_from(("1/4", "3/5", "2")), st.data())
def test_every_bar_lasts_as_long_wherever_it_is_played_and_speed_stretches_it(
    made: Arrangement, speed: str, data: st.DataObject
) -> None:
    bars = data.draw(st.lists(st.integers(0, len(made.bars) - 1), min_size=1, max_size=8))
    whole = bar_lengths_s(perform(made, lay_out(made)))
    chosen = bar_lengths_s(perform(made, lay_out(made, bars, Fraction(speed))))
    assert chosen == pytest.approx([whole[index] / float(Fraction(speed)) for index in bars], abs=1e-6)


def test_what_comes_later_in_the_song_changes_no_earlier_bar() -> None:
    visits = (Visit("verse", 1, 4), Visit("chorus", 1, 2), Visit("verse", 2, 4))
    longer, shorter = (
        perform(made, lay_out(made), closes=False).bars
        for made in (piece(visits=(*visits, Visit("coda", 1, 9))), piece(visits=visits[:2]))
    )
    assert shorter == longer[:6]
    assert longer[0].end_s - longer[0].start_s != longer[6].end_s - longer[6].start_s


def test_a_pickup_drifts_like_the_section_it_leads_into() -> None:
    visits = [Visit("verse", 1, 2, Fraction(3, 2))]
    take = perform(made := piece(tune(0, 1), visits=visits), lay_out(made))
    half, quarter = (
        float(later.take_beat - sooner.take_beat) * 0.5 / (later.onset_s - sooner.onset_s)
        for sooner, later in pairwise(take.tempo_map[1:4])
    )
    assert half == pytest.approx(tempo_drift(1, "verse", 1, Fraction(-3, 2)), abs=1e-7)
    assert quarter == pytest.approx(tempo_drift(1, "verse", 1, Fraction(-1, 2)), abs=1e-7)


def test_a_mixed_class_stays_together() -> None:
    song = read_song(HARBOUR_LANTERNS)
    takes = [
        perform(made, lay_out(made))
        for tuning in ("high-g", "low-g", "baritone")
        for players in ("beginner", "free")
        for made in [arrange(replace(song, players=players), tuning_named(tuning))]
    ]
    assert all(take.bars == takes[0].bars and take.tempo_map == takes[0].tempo_map for take in takes)
