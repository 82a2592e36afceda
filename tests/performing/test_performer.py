"""A take: what is played when, how long and how loud, and by which string."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tercet.arranging import Arrangement
from tercet.performing import Take, TakeNote, covered_notes, lay_out, perform
from tests.performing.checks import gestures_of, overlaps, roll_faults
from tests.performing.golden import GOLDEN, four_bars, take_text
from tests.performing.pieces import Visit, added, chop, piece, strum, tune

ONE_BAR = (Visit("verse", 1, 1),)


def dry(made: Arrangement, bars: list[int] | None = None, speed: str = "1", count_in_bars: int = 1) -> Take:
    return perform(made, lay_out(made, bars, Fraction(speed), count_in_bars), dry=True)


def note_of(take: Take, string: int, beat: int | str = 0) -> TakeNote:
    (found,) = (note for note in take.notes if note.string == string and note.beat == Fraction(beat))
    return found


def test_four_bars_as_a_person_reads_them() -> None:
    made = four_bars()
    assert take_text(perform(made, lay_out(made))) == GOLDEN.read_text(encoding="utf-8")


def test_last_string_is_struck_on_the_beat_and_all_before_it() -> None:
    take = dry(piece(tune(0, 2, "4321"), visits=ONE_BAR))
    step_s = 0.022 * (0.5 / 0.6) ** 0.5
    assert [note.string for note in take.notes] == [4, 3, 2, 1]
    assert [note.onset_s for note in take.notes] == pytest.approx(
        [2.0 - 3 * step_s, 2.0 - 2 * step_s, 2.0 - step_s, 2.0]
    )
    assert [note.onset_s + note.length_s for note in take.notes] == pytest.approx([4.0, 4.0, 4.0, 3.0])
    assert [note.part for note in take.notes] == ["chord", "chord", "chord", "tune"]
    assert [note.midi for note in take.notes] == [67, 60, 64, 72]


@pytest.mark.parametrize(
    ("tempo", "speed", "mark", "step_s"),
    [
        (100, "1", "mf", 0.022),
        (100, "1", "f", 0.0196),
        (100, "1", "fff", 0.015),
        (100, "1", "p", 0.0268),
        (100, "1", "ppp", 0.030),
        (64, "1", "mf", 0.0275),
        (128, "1/2", "mf", 0.0275),
        (100, "1/4", "mf", 0.030),
        (200, "1", "mf", 0.0155563),
        (400, "2", "mf", 0.015),
    ],
)
def test_rolls_are_wider_when_soft_or_slow(tempo: int, speed: str, mark: str, step_s: float) -> None:
    take = dry(piece(tune(0, 2, "4321"), tempo=tempo, marks={1: f"{mark}@1"}, visits=ONE_BAR), speed=speed)
    assert take.notes[3].onset_s - take.notes[2].onset_s == pytest.approx(step_s, abs=1e-6)
    assert roll_faults(take.notes) == []


def test_strums_are_quicker_than_rolls_and_go_both_ways() -> None:
    take = dry(piece(strum(0, 1, "432"), strum(1, 1, "234"), tempo=100, visits=ONE_BAR))
    down, up = gestures_of(take.notes).values()
    assert [note.string for note in down] == [4, 3, 2]
    assert [note.string for note in up] == [2, 3, 4]
    assert [note.onset_s for note in down] == pytest.approx([2.4 - 0.0242, 2.4 - 0.0121, 2.4])


def test_chop_is_damped_at_once() -> None:
    take = dry(piece(chop(0, 1), visits=ONE_BAR))
    assert [note.length_s for note in take.notes] == [0.03] * 3
    assert {note.action for note in take.notes} == {"chop"}


def test_roll_waits_for_the_gesture_before() -> None:
    """A roll that follows an eighth at 400 a minute has 75 ms: it takes 60 % of them."""
    take = dry(piece(tune(0, "1/2", "1"), tune("1/2", 1, "4321"), tempo=400, visits=ONE_BAR))
    single, *rolled = take.notes
    assert rolled[0].onset_s - single.onset_s == pytest.approx(0.4 * 0.075)
    assert roll_faults(take.notes, hurried=True) == []


def test_gestures_of_one_moment_do_not_hurry_each_other() -> None:
    take = dry(piece(tune(0, 1, "321"), added(0, 1, "4"), visits=ONE_BAR))
    assert roll_faults(take.notes) == []
    assert note_of(take, 4).onset_s == note_of(take, 1).onset_s == 2.0


def test_a_string_sounds_one_note_at_a_time() -> None:
    take = dry(piece(tune(0, 4, "1"), strum(1, 1, "21"), tune(2, 2, "1"), visits=ONE_BAR))
    assert note_of(take, 1, 0).length_s == pytest.approx(note_of(take, 1, 1).onset_s - 2.0)
    assert note_of(take, 1, 1).length_s == pytest.approx(0.5)
    assert overlaps(take.notes) == []


def test_notes_of_the_tune_last_as_written_where_their_string_is_left_alone() -> None:
    take = dry(
        piece(tune(0, 3, "1"), strum(1, 1, "432"), strum(2, 1, "432"), added(2, 1, "2"), visits=ONE_BAR)
    )
    assert note_of(take, 1).length_s == pytest.approx(1.5)


@pytest.mark.parametrize("seed", range(8))
def test_of_two_notes_at_one_moment_on_one_string_the_tunes_sounds(seed: int) -> None:
    made = piece(tune(0, 2, "432", "0003"), added(0, 2, "2", "0050"), strum(0, 1, "43"), visits=ONE_BAR)
    take = perform(made, lay_out(made), seed=seed)
    assert sorted(note.string for note in take.notes) == [2, 3, 4]
    assert {note.layer for note in take.notes} == {"melody"}
    assert min(note.length_s for note in take.notes) > 0.9


def test_added_note_goes_before_a_chord() -> None:
    take = dry(piece(strum(0, 1, "21"), added(0, 1, "2", "0050"), visits=ONE_BAR))
    assert note_of(take, 2).layer == "between"
    assert note_of(take, 1).layer == "strums"


def test_levels_and_velocities_of_a_roll() -> None:
    take = dry(piece(tune(0, 1, "21"), visits=ONE_BAR))
    assert [note.level_db for note in take.notes] == pytest.approx([-6.9732, -0.9732], abs=1e-4)
    assert [note.velocity for note in take.notes] == [43, 60]


def test_notes_know_where_they_belong() -> None:
    made = piece(tune(0, 1, "1"), tune(5, 1, "43"), visits=[Visit("A", 1, 1), Visit("A", 2, 1)])
    take = dry(made, [1, 0])
    places = [(n.bar_index, n.section, n.pass_number, n.gesture, int(n.beat), n.fret) for n in take.notes]
    assert places == [
        (0, "A", 2, 0, 5, 0),
        (0, "A", 2, 0, 5, 0),
        (1, "A", 1, 1, 0, 3),
    ]


def test_swing_moves_onsets_and_ends() -> None:
    take = dry(piece(tune(0, "1/2", "1"), strum("1/2", 1, "43"), tempo=60, swing="2/3", visits=ONE_BAR))
    assert note_of(take, 1).length_s == pytest.approx(2 / 3)
    struck = note_of(take, 3, "1/2")
    assert struck.onset_s == pytest.approx(4 + 2 / 3)
    assert struck.length_s == pytest.approx(3 + 1 / 3)  # rings to the end of the bar


@pytest.mark.parametrize("seed", range(8))
def test_swung_strum_that_meets_a_triplet_of_the_tune_leaves_it_its_string(seed: int) -> None:
    thirds = [tune(Fraction(place, 3), "1/3", "1") for place in range(3)]
    made = piece(*thirds, strum("1/2", "1/2", "21"), tempo=60, swing="2/3", visits=ONE_BAR)
    take = perform(made, lay_out(made), seed=seed, closes=False)
    assert note_of(take, 1, "2/3").length_s == pytest.approx(1 / 3, abs=0.02)
    assert [note.string for note in take.notes if note.layer == "strums"] == [2]


def test_held_notes_end_where_the_playing_jumps() -> None:
    """Bars 1 and 2, then bar 2 again: what rings on from bar 1 and what is tied into bar 3 stops with each bar 2."""
    made = piece(tune(0, 4, "1"), tune(4, 6, "2"), tune(10, 6, "1"), tempo=60)
    take = dry(made, [0, 1, 1])
    assert [(note.string, note.onset_s, note.length_s) for note in take.notes] == [
        (1, 4.0, 8.0),
        (2, 8.0, 4.0),
        (2, 12.0, 4.0),
    ]
    assert take.length_s == 16.0


def test_a_roll_after_a_jump_waits_for_the_last_gesture_before_it() -> None:
    made = piece(tune(0, 1, "4321"), tune("15/4", "1/4", "2"), tempo=200, visits=ONE_BAR)
    take = dry(made, [0, 0])
    first_s, again_s = (struck[0].onset_s for struck in gestures_of(take.notes).values() if len(struck) == 4)
    late = next(note for note in take.notes if note.beat == Fraction(15, 4))
    assert again_s - late.onset_s == pytest.approx(0.4 * 0.075)
    assert first_s == pytest.approx(1.2 - 3 * 0.022 * 0.5**0.5)


@pytest.mark.parametrize("seed", range(5))
def test_last_notes_end_together_with_the_take(seed: int) -> None:
    made = piece(tune(0, 4, "21"), strum(1, 3, "43"), visits=ONE_BAR)
    take = perform(made, lay_out(made), seed=seed)
    assert {round(note.onset_s + note.length_s, 9) for note in take.notes} == {round(take.length_s, 9)}


def test_a_take_without_notes_is_silent() -> None:
    take = dry(piece(visits=ONE_BAR))
    assert take.notes == ()
    assert take.length_s == 4.0


def test_a_loud_note_rings_on_no_longer_than_the_tune_can_be_heard_beside_it() -> None:
    """E4 over which C5 rings, once both are marked alike, once E4 is five marks softer."""
    strokes = (tune(0, "1/2", "1"), tune("1/2", 2, "2"), tune("5/2", "3/2", "4"))
    even, uneven = (
        dry(piece(*strokes, visits=ONE_BAR, marks={1: marks})) for marks in ("f@1", "ff@1 pp@1.5")
    )
    assert note_of(even, 1).length_s == pytest.approx(2.0)
    assert note_of(uneven, 1).length_s == pytest.approx(0.25)
    assert covered_notes(uneven) == ()
