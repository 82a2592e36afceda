"""Time over phrases: what ends them, what ends the piece, what a ritard leaves behind, and who does none of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from statistics import fmean, median

import pytest

from tercet.arranging import Arrangement, arrange
from tercet.performing import Take, interpret, lay_out, perform
from tercet.performing.tempo import Going, Swing, phrase_edges, piece_clock, slows_from
from tercet.song import Feel, read_song
from tercet.theory import tuning_named
from tercet.tracks.practice_forms import TrackOptions, timeline_of
from tercet.tracks.recipes import RECIPES
from tests.kits import HARBOUR_LANTERNS, ROOT
from tests.performing.pieces import Visit, piece, tune

RECIPE_OF = {recipe.name: recipe for recipe in RECIPES}
SONGS = sorted((ROOT / "songs").glob("*.yaml"))
QUARTERS = [tune(beat, 1, str(beat % 4 + 1)) for beat in range(32)]
TWO_PHRASES = (Visit("A", 1, 4), Visit("B", 1, 4))


def bar_lengths_s(take: Take) -> list[float]:
    return [bar.end_s - bar.start_s for bar in take.bars]


def pulse_lengths_s(made: Arrangement, going: Going, beats: Sequence[int]) -> list[float]:
    clock = piece_clock(made, Swing(made), going)
    return [clock.seconds(Fraction(beat + 1)) - clock.seconds(Fraction(beat)) for beat in beats]


def test_the_last_bar_of_a_phrase_lasts_longer_pulse_by_pulse() -> None:
    made = piece(*QUARTERS, visits=TWO_PHRASES, marks={}, tempo=60)
    lengths = pulse_lengths_s(made, Going(phrase_end_part=0.04), range(11, 18))
    assert lengths == pytest.approx([1.0, 1.016, 1.032, 1.048, 1.064, 1.0, 1.0])
    assert sum(lengths[1:5]) == pytest.approx(4 * 1.04)


def test_of_a_short_phrase_its_second_half_lasts_longer() -> None:
    made = piece(*QUARTERS, visits=TWO_PHRASES, marks={2: ",@1", 3: ",@1"}, tempo=60)
    lengths = pulse_lengths_s(made, Going(phrase_end_part=0.03), range(4, 8))
    assert lengths == pytest.approx([1.0, 1.0, 1.02, 1.04])


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_phrases_of_our_songs_end_three_to_five_hundredths_slower(path: Path) -> None:
    """As played, drift and all: the last bar's worth of each phrase against the rest of the phrase."""
    song = read_song(path)
    made = arrange(replace(song, rit="none"))
    clock = interpret(made).clock
    bar_beat = song.meter.bar_beat
    parts = []
    for start, end in pairwise(phrase_edges(made.bars)):
        last = end - bar_beat
        if last - start < bar_beat or waits(made, start, end):
            continue
        tempos = [
            (clock.seconds(to) - clock.seconds(at)) / float(to - at)
            for at, to in ((start, last), (last, end))
        ]
        parts.append(tempos[1] / tempos[0])
    assert len(parts) >= 3
    assert 1.03 < fmean(parts) < 1.05
    assert min(parts) > 1.015


def waits(made: Arrangement, start: Fraction, end: Fraction) -> bool:
    """Whether a ritard or fermata is written between two beats."""
    return any(
        mark.kind in ("rit", "fermata") and start <= bar.start_beat + mark.at_beat < end
        for bar in made.bars
        for mark in bar.marks
    )


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_do_not_just_stop(path: Path) -> None:
    """With rit: none the last bar is a phrase's end like any other."""
    song = read_song(path)
    closing, plain = (arrange(replace(song, rit=rit)) for rit in ("end", "none"))
    last = {made.song.rit: bar_lengths_s(perform(made, lay_out(made)))[-1] for made in (closing, plain)}
    written = slows_from(plain) is not None
    assert last["end"] == last["none"] if written else last["end"] > 1.2 * last["none"]


def test_the_last_ritard_reaches_its_tempo_with_the_last_note() -> None:
    made = piece(*QUARTERS[:28], tune(28, 4), visits=TWO_PHRASES, marks={}, tempo=60)
    lengths = pulse_lengths_s(made, Going(closing_tempo=0.7), range(22, 32))
    assert lengths[:2] == pytest.approx([1.0, 1.0])
    assert all(later > sooner for sooner, later in pairwise(lengths[1:6]))
    assert lengths[6:] == pytest.approx([1 / 0.7] * 4)


@pytest.mark.parametrize("marks", [{8: "rit@1"}, {8: "a-tempo@1"}, {7: "rit@1", 8: "a-tempo@2"}])
def test_what_is_written_at_the_end_is_all_that_happens_there(marks: dict[int, str]) -> None:
    made = piece(*QUARTERS, visits=TWO_PHRASES, marks=marks)
    with_it, without = (pulse_lengths_s(made, Going(closing_tempo=tempo), range(32)) for tempo in (0.7, 1.0))
    assert with_it == without


def test_after_a_ritard_that_is_not_the_last_the_tempo_is_back_with_the_next_phrase() -> None:
    """A breath after bar 2; the ritard of bar 2 has no a-tempo."""
    made = piece(*QUARTERS, visits=(Visit("A", 1, 8),), marks={2: "rit@1", 3: ",@1"}, tempo=60)
    lengths = pulse_lengths_s(made, Going(), range(32))
    assert lengths[7] > 1.5
    assert lengths[8:] == pytest.approx([1.0] * 24)


def test_a_breath_before_the_last_note_of_a_section_does_not_end_its_ritard() -> None:
    made = piece(*QUARTERS, visits=TWO_PHRASES, marks={4: "rit@1 ,@4"}, tempo=60)
    assert pulse_lengths_s(made, Going(), [15, 16]) == pytest.approx([1 / 0.6, 1.0])


def test_where_a_ritard_is_written_the_phrase_end_adds_nothing() -> None:
    made = piece(*QUARTERS, visits=TWO_PHRASES, marks={4: "rit@1"})
    with_it, without = (pulse_lengths_s(made, Going(phrase_end_part=part), range(16)) for part in (0.04, 0.0))
    assert with_it == without


@pytest.mark.parametrize(("feel", "moves"), [("steady", False), ("natural", True), ("loose", True)])
def test_steady_players_keep_their_tempo_up_to_the_end(feel: Feel, moves: bool) -> None:
    made = piece(*QUARTERS, visits=TWO_PHRASES, marks={}, tempo=60)
    lengths = bar_lengths_s(perform(replace_feel(made, feel), lay_out(made)))
    assert (lengths[-1] > 1.2 * lengths[-3]) == moves
    assert moves or max(lengths) < 1.02 * median(lengths)


def replace_feel(made: Arrangement, feel: Feel) -> Arrangement:
    return replace(made, song=replace(made.song, feel=feel))


def test_all_sets_of_a_class_end_together() -> None:
    song = read_song(HARBOUR_LANTERNS)
    takes = [
        perform(made, lay_out(made))
        for tuning in ("high-g", "low-g")
        for simple in (False, True)
        for made in [arrange(song, tuning_named(tuning), simple=simple)]
    ]
    assert all(take.bars == takes[0].bars for take in takes)


@pytest.mark.parametrize("name", ["loop", "ladder", "learn", "build-up", "contrast"])
def test_what_comes_round_again_keeps_its_tempo_to_the_end(name: str) -> None:
    made = arrange(replace(read_song(HARBOUR_LANTERNS), rit="end"))
    end = made.bars[-1].start_beat + made.bars[-1].length_beat
    passages = timeline_of(
        RECIPE_OF[name], made, TrackOptions(bars="" if name != "loop" else "30-48")
    ).passages
    at_the_end = [passage for passage in passages if passage.end_beat == end]
    assert all(passage.source.goes_round for passage in at_the_end)
    before = [passage for passage in passages if passage.end_beat <= (slows_from(made) or end)]
    assert not any(passage.source.goes_round for passage in before)


def test_the_strings_under_the_tune_vary_from_stroke_to_stroke() -> None:
    made = arrange(read_song(HARBOUR_LANTERNS))
    take = perform(made, lay_out(made))
    by_gesture: dict[int, list[float]] = {}
    for note in take.notes:
        if note.action == "roll":
            by_gesture.setdefault(note.gesture, []).append(note.level_db)
    under = [levels[-2] - levels[-1] for levels in by_gesture.values() if len(levels) == 4]
    assert max(under) <= -3.0 + 1e-6
    assert 0.4 < (fmean(each * each for each in under) - fmean(under) ** 2) ** 0.5 < 1.6


def test_a_loop_of_the_last_bars_leaves_a_written_ritard_out_too() -> None:
    made = piece(*QUARTERS, visits=TWO_PHRASES, marks={2: "rit@3 a-tempo@4", 7: "rit@1"}, tempo=60)
    lengths = pulse_lengths_s(made, Going(closes=False, closing_tempo=0.7), range(32))
    assert lengths[6] > 1.2
    assert lengths[7:] == pytest.approx([1.0] * 25)
    assert slows_from(made) == 24
