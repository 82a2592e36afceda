"""How long strings ring, one reason to end at a time."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tercet.arranging import Arrangement
from tercet.performing.string_times import note_ends
from tercet.song import ChordSpan
from tercet.theory import parse_chord
from tests.performing.pieces import Stroke, Visit, added, chop, piece, strum, tune

ONE_BAR = [Visit("verse", 1, 1)]


def ends(*strokes: Stroke, visits: list[Visit] | None = None, mark: str = "") -> list[list[Fraction]]:
    """Return where the notes of each gesture end, string 4 first."""
    return ends_in(piece(*strokes, visits=visits or ONE_BAR, marks={1: mark} if mark else None))


def ends_in(made: Arrangement) -> list[list[Fraction]]:
    return [
        [end for _, end in sorted(zip(gesture.notes, found, strict=True), key=lambda pair: -pair[0].string)]
        for gesture, found in zip(made.gestures, note_ends(made), strict=True)
    ]


@pytest.mark.parametrize(
    ("gestures", "first"),
    [
        ((tune(0, 2, "4321"),), [4, 4, 4, 2]),  # the tune as written, what is under it to the end
        ((tune(0, 2, "4321"), tune(3, 1, "2")), [4, 4, 3, 2]),  # struck again
        ((tune(0, 1, "4321", "2003"), tune(2, 1, "1", "2002")), [4, 4, 4, 1]),  # the hand keeps its frets
        ((tune(0, 1, "4321", "2003"), tune(2, 1, "1", "0002")), [2, 4, 4, 1]),  # a finger is lifted
        ((tune(0, 1, "4321", "2003"), tune(2, 1, "1", "2202")), [4, 2, 4, 1]),  # or added
        ((strum(0, 1, "432"), added(2, 1, "3", "0203")), [4, 2, 4]),
        ((strum(0, 1, "432"), chop(2, "1/2", "432")), [2, 2, 2]),  # all are damped
        ((strum(0, 1, "432"), chop(2, "1/2", "43")), [2, 2, 2]),
        ((chop(0, "1/2", "432"),), [Fraction(1, 2)] * 3),  # never rings
        ((added(0, 1, "3"),), [1]),
        ((strum(0, 1, "43"), strum(0, 1, "21")), [4, 4]),  # at the same moment
    ],
)
def test_what_ends_a_string(gestures: tuple[Stroke, ...], first: list[int]) -> None:
    assert ends(*gestures)[0] == first


def test_a_playing_of_a_section_and_the_piece_end_it() -> None:
    both = [Visit("verse", 1, 1), Visit("verse", 2, 1)]
    assert ends(strum(2, 1, "43"), strum(6, 1, "43"), visits=both) == [[4, 4], [8, 8]]


def test_a_written_length_is_kept_over_the_end_of_a_section() -> None:
    both = [Visit("verse", 1, 1), Visit("verse", 2, 1)]
    assert ends(tune(2, 4, "21"), visits=both) == [[6, 6]]


def test_a_breath_ends_it() -> None:
    assert ends(strum(0, 1, "43"), mark=",@3") == [[2, 2]]


def test_another_chord_ends_it() -> None:
    made = piece(strum(0, 1, "43"), visits=ONE_BAR)
    (bar,) = made.bars
    spans = (
        ChordSpan(Fraction(0), Fraction(3), parse_chord("C")),
        ChordSpan(Fraction(3), Fraction(1), parse_chord("G")),
    )
    assert ends_in(replace(made, bars=(replace(bar, chords=spans),))) == [[3, 3]]


def phrased(*strokes: Stroke, phrases: list[int], visits: list[Visit] | None = None) -> list[list[Fraction]]:
    made = piece(*strokes, visits=visits or ONE_BAR)
    placed = [replace(gesture, phrase=phrase) for gesture, phrase in zip(made.gestures, phrases, strict=True)]
    return ends_in(replace(made, gestures=tuple(placed)))


def test_the_tune_takes_breath_before_the_next_phrase_and_the_next_section() -> None:
    notes = (tune(0, 2, "1"), tune(2, "1/2", "1"), tune(3, 1, "1"))
    assert phrased(*notes, phrases=[0, 1, 1]) == [[Fraction(7, 4)], [Fraction(5, 2)], [4]]
    both = [Visit("verse", 1, 1), Visit("verse", 2, 1)]
    assert phrased(*notes, phrases=[0, 0, 0], visits=both)[-1] == [Fraction(15, 4)]


def test_a_short_note_gives_up_a_quarter_of_itself_and_a_chord_rings_on() -> None:
    made = phrased(tune(0, "1/2", "21"), tune("1/2", 1, "1"), phrases=[0, 1])
    assert made == [[4, Fraction(3, 8)], [Fraction(3, 2)]]


@pytest.mark.parametrize(
    ("after", "end"),
    [
        ([tune(1, 3, "2")], 4),  # a sixth lower, to the end
        ([tune(1, 1, "2"), tune(2, 2, "4")], 4),  # over two notes
        ([tune(1, 1, "2"), tune(2, 2, "1")], 2),  # its string is needed again
        ([tune(1, 1, "2"), strum(2, 1, "21"), tune(3, 1, "2")], 2),  # for a strum, too
        ([tune(1, 1, "2"), chop(2, "1/2", "432"), tune(3, 1, "2")], 2),  # all are damped
        ([tune(1, 3, "2", "0001")], 1),  # the hand takes another fret on it
        ([tune(1, 1, "2"), tune(2, 2, "2", "0000")], 2),  # or lets it go
        ([tune(1, 3, "432")], 4),  # a roll beside it
        ([tune(1, 3, "4321")], 1),  # a roll over it
        ([tune(1, 3, "2", "0073")], 1),  # a semitone lower: B4
        ([tune(1, 3, "2", "0083")], 1),  # the same pitch
        ([tune(1, 1, "2"), tune(2, 2, "2", "0053")], 4),  # a third lower: A4
        ([tune(1, 1, "2"), tune(2, 2, "2", "0063")], 2),  # a tone lower, two notes later: Bb4
        ([tune(1, 1, "2"), added(2, 1, "2", "0073"), tune(3, 1, "4")], 2),  # an added note, a semitone lower
        ([tune(2, 2, "2")], 1),  # a rest
        ([tune(1, 1, "2"), tune(3, 1, "2")], 2),  # a rest after the next note
    ],
)
def test_the_tune_rings_on_over_leaps_until_its_string_is_needed(after: list[Stroke], end: int) -> None:
    """From C5 on string 1, of one beat."""
    assert ends(tune(0, 1, "1"), *after)[0] == [end]


def test_the_tune_rings_over_no_breath_and_no_end_of_a_section() -> None:
    leaps = (tune(0, 1, "1"), tune(1, 1, "2"), tune(2, 1, "1"), tune(3, 1, "2"))
    assert phrased(*leaps, phrases=[0, 0, 1, 1])[:2] == [[Fraction(7, 4)], [Fraction(7, 4)]]
    both = [Visit("verse", 1, 1), Visit("verse", 2, 1)]
    assert phrased(*leaps, tune(4, 4, "1"), phrases=[0] * 5, visits=both)[2] == [Fraction(15, 4)]


def test_a_note_that_no_string_has_lasts_as_written() -> None:
    made = piece(tune(0, 1, "1"), tune(1, 3, "2"), visits=ONE_BAR)
    first, second = made.gestures
    nowhere = replace(first, notes=(replace(first.notes[0], fret=None),))
    assert ends_in(replace(made, gestures=(nowhere, second)))[0] == [1]
