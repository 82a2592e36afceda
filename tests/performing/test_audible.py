"""Whether the tune can be heard, judged on takes made by hand, and what `--clear` lowers."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.performing import TakeNote, cleared, clearing_db, covered_notes
from tercet.performing.audible import MOST_LOWERED_DB, erb_hz, ringing_too_long
from tests.sound.takes import note, take


def tune_note(midi: int = 64, level_db: float = 0.0, onset_s: float = 1.0) -> TakeNote:
    return replace(note(onset_s, 0.8, midi, 2), level_db=level_db)


def chord_note(
    midi: int, level_db: float = 0.0, onset_s: float = 1.0, length_s: float = 0.8, string: int = 3
) -> TakeNote:
    made = note(onset_s, length_s, midi, string, "strums", action="strum")
    return replace(made, part="chord", level_db=level_db)


def margin_db(*others: TakeNote) -> float | None:
    """Return the margin of a tune note beside others; None where it stands clear."""
    notes = sorted((tune_note(), *others), key=lambda each: each.onset_s)
    covered = covered_notes(take(notes, 3.0))
    return covered[0].margin_db if covered else None


def test_alone_or_beside_soft_strings_the_tune_stands_clear() -> None:
    assert margin_db() is None
    assert margin_db(chord_note(65, -14.0)) is None


def test_a_near_pitch_covers_and_a_far_one_does_not() -> None:
    assert margin_db(chord_note(65, -4.0)) is not None
    assert margin_db(chord_note(85, -4.0)) is None


def test_the_louder_the_cover_the_smaller_the_margin() -> None:
    margins = [margin_db(chord_note(65, level_db)) for level_db in (0.0, 3.0, 6.0)]
    assert margins[0] is not None
    assert margins[1] == pytest.approx(margins[0] - 3.0)
    assert margins[2] == pytest.approx(margins[0] - 6.0)


def test_a_string_struck_before_has_died_away_by_20_db_a_second() -> None:
    now, before = margin_db(chord_note(65, 6.0)), margin_db(chord_note(65, 6.0, 0.8, 2.0))
    assert now is not None
    assert before == pytest.approx(now + 4.0)


@pytest.mark.parametrize(("onset_s", "length_s"), [(0.2, 0.5), (1.4, 0.5)])
def test_what_is_over_or_comes_later_does_not_cover(onset_s: float, length_s: float) -> None:
    assert margin_db(chord_note(65, 6.0, onset_s, length_s)) is None


def test_half_the_time_covers_half() -> None:
    whole, half = margin_db(chord_note(65, 3.0)), margin_db(chord_note(65, 3.0, 1.15))
    assert whole is not None
    assert half == pytest.approx(whole + 3.01, abs=0.01)


def test_the_same_pitch_and_the_tune_itself_do_not_cover() -> None:
    assert margin_db(chord_note(64, 6.0)) is None
    assert covered_notes(take([tune_note(), tune_note(65, 6.0, 1.1)], 3.0)) == ()


def test_covers_come_worst_first_and_faint_ones_are_left_out() -> None:
    notes = [tune_note(), chord_note(65, 2.0), chord_note(63, 5.0, string=4), chord_note(40, -20.0, string=1)]
    (covered,) = covered_notes(take(notes, 3.0))
    assert [each.midi for each in covered.by] == [63, 65]


def test_clearing_lowers_just_what_covers_and_only_so_far() -> None:
    notes = [tune_note(), chord_note(65, -2.0), chord_note(90, -20.0, string=1)]
    whole = take(notes, 3.0)
    lowered = clearing_db(covered_notes(whole))
    clear = cleared(whole, lowered)
    assert covered_notes(clear) == ()
    assert [new.level_db == old.level_db for new, old in zip(clear.notes, notes, strict=True)] == [
        True,
        False,
        True,
    ]
    assert 0.0 < notes[1].level_db - clear.notes[1].level_db < MOST_LOWERED_DB
    assert set(clearing_db(covered_notes(take([tune_note(), chord_note(65, 20.0)], 3.0))).values()) == {
        MOST_LOWERED_DB
    }


@given(
    st.lists(
        st.tuples(st.integers(52, 78), st.floats(-24.0, 6.0), st.floats(0.0, 0.3)), min_size=1, max_size=4
    )
)
def test_what_was_cleared_is_clear(covers: list[tuple[int, float, float]]) -> None:
    """However many cover the tune and however unequally: none does afterwards, unless one is as low as may be.

    Where one string alone is lowered, half a decibel less would leave the tune covered.
    """
    struck = [
        chord_note(midi, level_db, 1.0 + later_s, string=string)
        for string, (midi, level_db, later_s) in zip((1, 3, 4, 2), covers, strict=False)
    ]
    whole = take(sorted((tune_note(), *struck), key=lambda each: each.onset_s), 3.0)
    lowered = clearing_db(covered_notes(whole))
    assert all(0.0 < by_db <= MOST_LOWERED_DB for by_db in lowered.values())
    if MOST_LOWERED_DB in lowered.values():
        return
    assert covered_notes(cleared(whole, lowered)) == ()
    for place, by_db in lowered.items():
        if len(lowered) == 1 and by_db > 0.5:
            assert covered_notes(cleared(whole, {place: by_db - 0.5}))


def test_critical_bands_widen_with_frequency() -> None:
    assert [round(erb_hz(hertz)) for hertz in (100, 440, 1000, 4000)] == [35, 72, 133, 456]


def rung_over(midi: int, level_db: float, end_s: float = 3.0) -> list[tuple[int, int]]:
    """Return what rings too long, from 0.6 s on, over a note of the tune at 1 s, each by its pitch."""
    before = replace(note(0.6, end_s - 0.6, midi, 1), level_db=level_db)
    made = take([before, tune_note()], 3.0)
    assert bool(covered_notes(made)) == bool(list(ringing_too_long(made)))
    return [(one.midi, other.midi) for one, other in ringing_too_long(made)]


def test_a_note_of_the_tune_that_rings_on_may_cover_a_later_one() -> None:
    assert rung_over(67, 12.0) == [(67, 64)]
    assert rung_over(67, -12.0) == []
    assert rung_over(67, 12.0, end_s=1.03) == []  # it only overlaps
    assert rung_over(64, 12.0) == []  # the same pitch adds to it
