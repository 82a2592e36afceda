"""Laws of every take, on random pieces: strings, order, places, choice of bars, speed."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import Arrangement
from tercet.performing import Take, TakeNote, TempoPoint, lay_out, perform
from tests.performing.checks import gestures_of, layer_levels_db, overlaps, roll_faults
from tests.performing.pieces import pieces

FEW = settings(max_examples=25)
Key = tuple[Fraction, str, int, int]


def play(
    made: Arrangement,
    bars: list[int] | None = None,
    speed: str = "1",
    count_in_bars: int = 1,
    seed: int = 3,
    closes: bool = True,
) -> Take:
    return perform(made, lay_out(made, bars, Fraction(speed), count_in_bars), seed=seed, closes=closes)


def tops(take: Take, made: Arrangement) -> list[TakeNote]:
    """Return the last string of each gesture, which is struck at its time (where no other took its string)."""
    last = {(gesture.start_beat, gesture.layer, gesture.notes[-1].string) for gesture in made.gestures}
    return [note for note in take.notes if (note.beat, note.layer, note.string) in last]


def late_s(
    made: Arrangement, bars: list[int] | None = None, speed: str = "1", seed: int = 3
) -> dict[Key, float]:
    """Return how late each gesture is in its bar, compared with a dry take; the tempo doesn't drift."""
    timeline = lay_out(made, bars, Fraction(speed))
    human = perform(made, timeline, seed=seed, steady_pulse=True)
    exact = perform(made, timeline, dry=True)
    due_s = {note.gesture: note.onset_s for note in tops(exact, made)}
    return {
        (note.beat, note.layer, note.string, note.midi): note.onset_s - due_s[note.gesture]
        for note in tops(human, made)
    }


@FEW
@given(pieces(), st.booleans(), st.sampled_from(("1/4", "1/2", "1", "2")), st.integers(0, 2))
def test_a_take_is_well_made(made: Arrangement, dry: bool, speed: str, count_in_bars: int) -> None:
    take = perform(made, lay_out(made, None, Fraction(speed), count_in_bars), dry=dry)
    assert overlaps(take.notes) == []
    assert [(note.onset_s, note.string) for note in take.notes] == sorted(
        (n.onset_s, n.string) for n in take.notes
    )
    assert all(note.onset_s >= 0.0 and note.length_s > 0.0 for note in take.notes)
    assert all(1 <= note.velocity <= 127 and 1 <= note.string <= 4 for note in take.notes)
    assert all(note.onset_s + note.length_s <= take.length_s + 0.0301 for note in take.notes)
    assert take.tempo_map[0] == TempoPoint(Fraction(0), 0.0)
    assert take.tempo_map[-1].onset_s == take.length_s == take.bars[-1].end_s
    assert all(a.onset_s < b.onset_s and a.take_beat < b.take_beat for a, b in pairwise(take.tempo_map))
    assert all(bar.end_s == pytest.approx(following.start_s) for bar, following in pairwise(take.bars))
    assert [click.onset_s for click in take.clicks] == sorted({click.onset_s for click in take.clicks})
    assert all(click.onset_s < take.bars[0].start_s for click in take.clicks)
    assert bool(take.clicks) == (count_in_bars > 0)


@FEW
@given(pieces())
def test_every_note_of_the_tune_is_played_and_rolls_are_rolls(made: Arrangement) -> None:
    take = play(made)
    written = {gesture.start_beat for gesture in made.gestures if gesture.notes[-1].part == "tune"}
    assert {note.beat for note in take.notes if note.part == "tune"} == written
    assert roll_faults(take.notes, hurried=True) == []


@FEW
@given(pieces())
def test_a_gesture_starts_after_the_one_before_was_struck(made: Arrangement) -> None:
    take = perform(made, lay_out(made), dry=True)
    moments = sorted({note.onset_s for note in tops(take, made)})
    starts = {number: struck[0].onset_s for number, struck in gestures_of(take.notes).items()}
    for note in tops(take, made):
        before = moments.index(note.onset_s) - 1
        assert before < 0 or starts[note.gesture] > moments[before]


@FEW
@given(pieces())
def test_the_same_take_again(made: Arrangement) -> None:
    assert play(made) == play(made)


@FEW
@given(pieces(), st.sampled_from(("1/4", "3/5", "2")))
def test_deviations_do_not_depend_on_speed(made: Arrangement, speed: str) -> None:
    assert late_s(made, speed=speed) == pytest.approx(late_s(made), abs=1e-9)


@FEW
@given(pieces(), st.data())
def test_deviations_do_not_depend_on_the_choice_and_order_of_bars(
    made: Arrangement, data: st.DataObject
) -> None:
    chosen = data.draw(st.lists(st.integers(0, len(made.bars) - 1), min_size=1, max_size=6))
    whole, part = late_s(made), late_s(made, chosen)
    assert part == pytest.approx({key: whole[key] for key in part}, abs=1e-9)


@FEW
@given(pieces(), st.data())
def test_bars_played_twice_are_played_alike(made: Arrangement, data: st.DataObject) -> None:
    bar = data.draw(st.integers(0, len(made.bars) - 1))
    take = play(made, [bar, bar, bar])
    starts = [played_bar.start_s for played_bar in take.bars]
    played = [[note for note in tops(take, made) if note.bar_index == index] for index in range(3)]
    onsets = [[note.onset_s - starts[index] for note in played[index]] for index in range(3)]
    assert onsets[1] == pytest.approx(onsets[0], abs=1e-9)
    assert onsets[2] == pytest.approx(onsets[0], abs=1e-9)
    assert len({tuple((note.level_db, note.string, note.layer) for note in notes) for notes in played}) == 1


@FEW
@given(pieces(), st.data())
def test_what_comes_later_changes_nothing_earlier(made: Arrangement, data: st.DataObject) -> None:
    """Gestures from a bar on are taken away, where no ritard, last one or fermata looks ahead."""
    calm = replace(made, bars=tuple(replace(bar, marks=()) for bar in made.bars))
    cut = calm.bars[data.draw(st.integers(0, len(calm.bars) - 1))].start_beat
    shorter = replace(calm, gestures=tuple(gesture for gesture in calm.gestures if gesture.start_beat < cut))
    before = [note for note in play(calm, closes=False).notes if note.beat < cut]
    after = list(play(shorter, closes=False).notes)
    assert [(note.onset_s, note.level_db, note.string) for note in before] == [
        (note.onset_s, note.level_db, note.string) for note in after
    ]


@FEW
@given(pieces(), st.integers(1, 3))
def test_a_longer_song_starts_alike(made: Arrangement, more: int) -> None:
    calm = replace(made, bars=tuple(replace(bar, marks=()) for bar in made.bars))
    last = calm.bars[-1]
    ahead = tuple(
        replace(
            last,
            number=last.number + place,
            section_bar=last.section_bar + place,
            line=last.line + place,
            start_beat=last.start_beat + place * last.length_beat,
        )
        for place in range(1, more + 1)
    )
    longer = replace(calm, bars=calm.bars + ahead)
    assert [(note.onset_s, note.level_db) for note in play(longer, closes=False).notes] == [
        (note.onset_s, note.level_db) for note in play(calm, closes=False).notes
    ]


@FEW
@given(pieces(), st.sampled_from(("1/2", "2")))
def test_dry_speed_stretches_time_and_nothing_else(made: Arrangement, speed: str) -> None:
    one, other = (perform(made, lay_out(made, None, Fraction(pace), 1), dry=True) for pace in ("1", speed))
    factor = float(1 / Fraction(speed))
    assert [note.onset_s for note in tops(other, made)] == pytest.approx(
        [note.onset_s * factor for note in tops(one, made)]
    )
    assert other.length_s == pytest.approx(one.length_s * factor)
    assert layer_levels_db(other.notes) == layer_levels_db(one.notes)


@FEW
@given(pieces())
def test_deviations_are_small_and_another_seed_gives_others(made: Arrangement) -> None:
    one, other = late_s(made), late_s(made, seed=4)
    assert all(abs(late) < 1.4 * 0.022 for late in one.values())
    assert not one or one != other
