"""The solver on whole tunes: a wider reach never costs more, pruning loses next to nothing, and costs add up.

Tunes are drawn at random, dense ones above all, and taken from our songs. Costs are worked out anew, hand by hand.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.arranging import choices as choices_module
from tercet.arranging import fingering as fingering_module
from tercet.arranging import path as path_module
from tercet.arranging.choices import Choices, Question, choices_for
from tercet.arranging.fingering import Fingered, finger_tune, tune_cost
from tercet.arranging.path import Changes
from tercet.arranging.piece import Piece, piece_of
from tercet.arranging.tune import row_notes
from tercet.neck import COMMON_SHAPES, shape_midis
from tercet.neck.demands import COSTS, LIMITS
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import EVERY_STRING, PricedHands, priced_hands
from tercet.song import Players, Song, read_song
from tercet.song.transpose import drop_pins, transpose_song
from tercet.theory import TUNINGS, Key, parse_chord, spell
from tests.arranging.by_hand import chance, fingers_set, slow_change
from tests.arranging.laws import broken_laws
from tests.arranging.written import arranged, section, shape, song
from tests.neck.hand_rules import faults

ROOT = Path(__file__).parents[2]
SONGS = sorted((ROOT / "songs").glob("*.yaml"))
PLAYERS: tuple[Players, ...] = ("beginner", "improving", "free")
REACHES = (5, 7, 12)

PLAIN = ("C", "F", "G7", "Am", "Dm", "G", "Em", "C7", "D7", "A7", "E7", "Bb", "Gm", "B7")
STRANGE = ("Cmaj7", "F#m7b5", "Ebdim7", "G7sus4", "D9", "Am/G", "C6", "Bbm", "Abaug", "E5", "A13", "N.C.")

MOST_LOST = 0.003
"""Pruning may cost so much more than weighing every hand, as a share."""


def drawn_song(
    number: int,
    *,
    bars: int = 4,
    notes: int = 8,
    chords: Sequence[str] = PLAIN,
    low: int = 60,
    high: int = 79,
    players: Players = "improving",
) -> Song:
    """Return a song with a tune that wanders, so many notes to the bar, a chord a bar."""
    drawn = chance(number)
    midi = drawn.randint(64, 72)
    cells, names = [], []
    for _ in range(bars):
        names.append(drawn.choice(chords))
        cell = []
        for _ in range(notes):
            midi = min(max(midi + drawn.choice((-5, -4, -3, -2, -1, -1, 0, 1, 1, 2, 3, 4, 5)), low), high)
            cell.append(f"{spell(midi, Key('C', 0, False))}:{Fraction(4, notes)}")
        cells.append(" ".join(cell))
    return song(section("verse", " | ".join(cells), " | ".join(names)), players=players, instrument="custom")


def piece(written: Song, tuning: str, highest_fret: int | None = None) -> Piece:
    """Return a song on some strings; with a reach, the same hands but for the highest fret of the tune."""
    made = piece_of(written, TUNINGS[tuning])
    if highest_fret is None:
        return made
    limits = replace(made.hands.limits, highest_fret=highest_fret)
    return replace(made, hands=replace(made.hands, limits=limits))


def fingered(made: Piece, *, exact: bool = False) -> tuple[Fingered, ...]:
    return finger_tune(row_notes(made), made, exact=exact)[0]


def cost(made: Piece, *, exact: bool = False) -> float:
    return tune_cost(fingered(made, exact=exact))


@cache
def our_songs() -> tuple[Song, ...]:
    """Return our songs without the pins that are meant for one tuning."""
    return tuple(drop_pins(read_song(path))[0] for path in SONGS)


# A wider reach


@contextmanager
def each_note_by_itself() -> Iterator[None]:
    """Let no note be played as an equal one before: what is left is one shortest path, of which more is known."""
    with pytest.MonkeyPatch.context() as alone:
        for likeness in ("other hand than in an equal bar", "other fingers than before"):
            alone.setitem(COSTS, likeness, 0.0)
        yield


def costs_by_reach(written: Song, tuning: str, *, exact: bool) -> list[float]:
    with each_note_by_itself():
        return [cost(piece(written, tuning, reach), exact=exact) for reach in REACHES]


def falls(costs: list[float]) -> bool:
    return all(wider <= narrower + 1e-9 for narrower, wider in pairwise(costs))


@pytest.mark.parametrize("exact", [False, True], ids=["pruned", "exact"])
@pytest.mark.parametrize("tuning", TUNINGS)
@pytest.mark.parametrize("notes", [2, 4, 8])
def test_a_wider_reach_never_costs_more(notes: int, tuning: str, exact: bool) -> None:
    for number in range(6):
        written = drawn_song(
            number,
            notes=notes,
            chords=PLAIN + STRANGE,
            low=58,
            high=84,
            players=PLAYERS[number % 3],
        )
        costs = costs_by_reach(written, tuning, exact=exact)
        assert falls(costs), (number, costs)


@pytest.mark.parametrize("exact", [False, True], ids=["pruned", "exact"])
def test_a_wider_reach_never_costs_more_in_our_songs(exact: bool) -> None:
    """Each section by itself: the next one starts from the hand that the cheapest way through this one leaves."""
    for written in our_songs():
        for visit in {visit.section: visit for visit in written.form}.values():
            alone = replace(written, form=(replace(visit, pass_number=1),))
            for tuning in TUNINGS:
                costs = costs_by_reach(alone, tuning, exact=exact)
                assert falls(costs), (written.title, visit.section, tuning, costs)


# Pruning


@cache
def dense_songs() -> tuple[tuple[Song, str], ...]:
    return tuple(
        (drawn_song(number, players=PLAYERS[number % 3]), tuning)
        for number in range(100, 118)
        for tuning in TUNINGS
    )


def lost() -> float:
    """Return by how much more the pruned arrangements cost than the exact ones, as a share; none costs less."""
    pieces = [piece(written, tuning) for written, tuning in dense_songs()]
    with each_note_by_itself():
        pruned, exact = [cost(made) for made in pieces], exact_costs()
    assert all(less >= least - 1e-9 for less, least in zip(pruned, exact, strict=True))
    return sum(pruned) / sum(exact) - 1


@cache
def exact_costs() -> tuple[float, ...]:
    return tuple(cost(piece(written, tuning), exact=True) for written, tuning in dense_songs())


def test_pruning_loses_next_to_nothing_on_dense_tunes() -> None:
    assert 0 <= lost() < MOST_LOST


def test_pruning_loses_next_to_nothing_in_our_songs() -> None:
    """A section that is solved worse may leave a better hand for the next, so a whole song may even cost less."""
    pieces = [
        piece(replace(written, players=PLAYERS[(place + step) % 3]), tuning)
        for place, written in enumerate(our_songs())
        for step, tuning in enumerate(TUNINGS)
    ]
    pruned, exact = sum(map(cost, pieces)), sum(cost(made, exact=True) for made in pieces)
    assert abs(pruned / exact - 1) < MOST_LOST


def test_likeness_costs_little() -> None:
    """Equal bars alike, and a shape always under the same fingers: the tune gets no more than a tenth dearer for it."""
    pieces = [piece(written, tuning) for written, tuning in dense_songs()]
    alike = sum(map(cost, pieces))
    with each_note_by_itself():
        assert sum(map(cost, pieces)) <= alike <= 1.1 * sum(map(cost, pieces))


# Costs add up; no note could be played in a cheaper way


def faults_of_cost(made: Piece) -> list[str]:
    """Return where a tune's costs don't add up, or where another way to play one note would have been cheaper."""
    found, items = [], fingered(made, exact=True)
    neck = priced_hands(made.hands, max(REACHES[1], made.hands.limits.highest_fret))
    for place, item in enumerate(items):
        before, after = _beside(items, place)
        here = item.stroke.cost + _around(made, before, item, after)
        if item.change_cost != pytest.approx(_change(made, before, item)):
            found.append(f"note {place}: the change costs {_change(made, before, item)}")
        for hand, string, own in _ways(item, neck, made):
            stroke = replace(item.stroke, string=string)
            other = replace(item, hand=hand, stroke=stroke)
            if own + _around(made, before, other, after) < here - 1e-9:
                found.append(f"note {place}: {hand} on string {string} would cost less")
    return found


def _beside(items: Sequence[Fingered], place: int) -> tuple[Fingered | None, Fingered | None]:
    return items[place - 1] if place else None, items[place + 1] if place + 1 < len(items) else None


def _ways(item: Fingered, neck: PricedHands, made: Piece) -> list[tuple[Hand, int, float]]:
    """Return the twenty cheapest ways to play a note: hand, string, cost."""
    note = item.note
    reach = made.hands.limits.highest_fret
    held = note.length_beat >= 2 * made.pulse_beat
    question = Question(note.midi, note.chord, None, item.main, None, None, reach, strummed=held)
    choices = choices_for(question, neck, exact=True)
    return [
        (neck.hand(int(choices.hand[row])), 4 - int(choices.column[row]), float(choices.cost[row]))
        for row in np.argsort(choices.cost, kind="stable")[:20]
    ]


def _around(made: Piece, before: Fingered | None, item: Fingered, after: Fingered | None) -> float:
    return _change(made, before, item) + (_change(made, item, after) if after else 0.0)


def _change(made: Piece, before: Fingered | None, item: Fingered) -> float:
    """Return what a change costs, finger by finger, with the time that there is."""
    if before is None:
        return 0.0
    assert before.hand is not None
    assert item.hand is not None
    gap_s = float(item.note.start_beat - before.note.start_beat) * made.beat_s
    crossed = abs(before.stroke.string - item.stroke.string)
    change = slow_change(before.hand, item.hand) + COSTS["string crossed"] * crossed
    hasty = gap_s < made.hands.limits.three_fingers_s and fingers_set(before.hand, item.hand) >= 3
    return min(max(0.5 / gap_s, 0.3), 2.0) * change + COSTS["three fingers in a hurry"] * hasty


def of_mixed_lengths() -> list[Piece]:
    made = []
    for number in range(4):
        cells = ["C5:2 A4:1/2 G:1/2 E", "F4 A:1/4 G:1/4 A:1/2 C5:2", "D5:3/2 B4:1/2 G:2", "E4 G C5:2"]
        chance(number).shuffle(cells)
        written = song(
            section("verse", " | ".join(cells), "C | F | G7 | Am"), tempo=Fraction(90 + 30 * number)
        )
        made.append(piece(written, "low-g" if number % 2 else "high-g", 7))
    return made


def all_faults_of_cost() -> list[str]:
    """Return the faults where each note counts by itself, whatever hand the song had for the same before."""
    with each_note_by_itself():
        return [fault for made in of_mixed_lengths() for fault in faults_of_cost(made)]


def test_costs_add_up_and_no_note_is_played_dearer_than_it_need_be() -> None:
    assert all_faults_of_cost() == []


def test_an_arrangement_says_what_its_tune_costs() -> None:
    written = drawn_song(5)
    assert arrange(written).cost == pytest.approx(cost(piece(written, "high-g")))


# Hands


@pytest.mark.parametrize("players", PLAYERS)
@pytest.mark.parametrize("tuning", TUNINGS)
def test_every_hand_is_one_that_these_players_are_asked_for(tuning: str, players: Players) -> None:
    limits = LIMITS[players]
    for written in (*our_songs(), *(drawn_song(number, chords=PLAIN + STRANGE) for number in range(4))):
        made = piece(replace(written, players=players), tuning)
        known = {tuple(map(int, digits)) for digits in COMMON_SHAPES.values()}
        for item in fingered(made):
            if item.hand is None:
                continue
            by_name = item.hand.frets in known
            widest_mm = 85.0 if by_name else limits.widest_mm
            assert faults(item.hand, written.scale_length_mm, widest_mm) == []
            assert item.stroke.shape == item.hand.frets
            assert by_name or len(set(item.hand.fingers) - {0}) <= limits.most_fingers
            assert by_name or limits.barre or not item.hand.barre


# Tunings that are alike


def moved(arrangement: Arrangement, semitones: int) -> list[Gesture]:
    """Return the gestures on the same strings and frets, sounding so much higher."""
    return [
        replace(g, notes=tuple(replace(note, midi=note.midi + semitones) for note in g.notes))
        for g in arrangement.gestures
    ]


@pytest.mark.parametrize("players", PLAYERS)
def test_a_baritone_plays_a_fourth_lower_what_low_g_plays(players: Players) -> None:
    random_songs = [drawn_song(number, chords=PLAIN + STRANGE, low=55) for number in range(4)]
    for written in (*our_songs(), *random_songs):
        asked = replace(written, players=players, instrument="custom", scale_length_mm=380.0)
        low_g = arrange(asked, TUNINGS["low-g"])
        baritone = arrange(transpose_song(asked, -5)[0], TUNINGS["baritone"])
        assert moved(baritone, 5) == moved(low_g, 0)
        assert baritone.cost == pytest.approx(low_g.cost)


# Shapes that players know


def counterparts() -> list[tuple[str, str, str]]:
    """Return chord, shape and tuning: on a baritone the chord is a fourth lower."""
    known = [
        (name, digits, tuning) for name, digits in COMMON_SHAPES.items() for tuning in ("high-g", "low-g")
    ]
    for name, digits in COMMON_SHAPES.items():
        lower, _ = transpose_song(song(section("verse", "A4:4", name)), -5)
        (cell,) = lower.sections[0].lines[0].rows[1].bars
        assert cell
        known.append((str(cell[0].chord), digits, "baritone"))  # type: ignore[union-attr]
    return known


@pytest.mark.parametrize(("name", "digits", "tuning"), counterparts())
def test_known_shapes_come_out_first(name: str, digits: str, tuning: str) -> None:
    """Wherever a downbeat's note lies on string 1 or 2 of the known shape and on top of it, that shape is played."""
    midis = shape_midis(tuple(map(int, digits)), TUNINGS[tuning])
    assert {midi % 12 for midi in midis} <= parse_chord(name).pitch_classes
    heard = [string for string, midi in ((1, midis[3]), (2, midis[2])) if midi >= max(midis[1 : 5 - string])]
    assert heard
    for string in heard:
        pitch = spell(midis[4 - string], Key("C", 0, False))
        made = arranged(f"{pitch}:4", name, TUNINGS[tuning], players="improving")
        first = made.gestures[0]
        assert (shape(first), first.notes[-1].string, first.action) == (digits, string, "roll")


# The same everywhere


def test_every_process_fingers_dense_tunes_alike() -> None:
    program = (
        "import hashlib; from tests.arranging.test_solver import *\n"
        "print(hashlib.sha256(fingerings().encode()).hexdigest())"
    )
    sums = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": number},
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
        ).stdout.strip()
        for number in ("1", "4711")
    }
    assert sums == {hashlib.sha256(fingerings().encode()).hexdigest()}


def fingerings() -> str:
    return repr([fingered(piece(drawn_song(number), "high-g")) for number in range(4)])


# Sabotage: a solver made wrong in one way is caught, by the check that is named


def laws_broken() -> set[str]:
    return {law for number in range(6) for law in broken_laws(arrange(drawn_song(number, notes=2)))}


def hands_with(wrong: Callable[[Hand], Hand], monkeypatch: pytest.MonkeyPatch) -> None:
    right = PricedHands.hand
    monkeypatch.setattr(PricedHands, "hand", lambda self, row: wrong(right(self, row)))
    monkeypatch.setattr(PricedHands, "row_of", lambda self, hand: 0)


def crossed(hand: Hand) -> Hand:
    four, three, two, one = (5 - finger if finger else 0 for finger in hand.fingers)
    return replace(hand, fingers=(four, three, two, one))


def flat(hand: Hand) -> Hand:
    four, three, two, one = (1 if fret else 0 for fret in hand.frets)
    return replace(hand, fingers=(four, three, two, one))


def test_the_tunes_to_be_sabotaged_are_sound() -> None:
    assert laws_broken() == set()


@pytest.mark.parametrize("wrong", [crossed, flat])
def test_fingers_that_no_hand_has_are_caught(
    wrong: Callable[[Hand], Hand], monkeypatch: pytest.MonkeyPatch
) -> None:
    hands_with(wrong, monkeypatch)
    other_fingers_to_set = {"strums leave the hand time"}
    assert laws_broken() - other_fingers_to_set == {"fingers can hold it"}


def test_a_roll_over_a_strange_tone_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    right = choices_module._rolls

    def wrong(question: Question, board: PricedHands, held: Any) -> Choices:
        return right(question, board, replace(held, tones=np.full_like(held.tones, EVERY_STRING)))

    monkeypatch.setattr(choices_module, "_rolls", wrong)
    assert "strings under the tune are chord tones" in laws_broken()


def test_a_masked_roll_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(choices_module, "HEARD", ("masked", "unison", "octave", "top"))
    monkeypatch.setattr(fingering_module, "HEARD", ("top", "unison", "octave", "top"))
    monkeypatch.setitem(COSTS, "masked", -6.0)
    assert "the tune is on top" in laws_broken()


def test_the_tune_on_the_wrong_string_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    right = choices_for

    def wrong(question: Question, board: PricedHands, *, exact: bool, ways: Choices) -> Choices:
        choices = right(question, board, exact=exact, ways=ways)
        if question.pin is None:  # which strings are struck is asked first; then the hands for them are
            return choices
        return replace(choices, column=(choices.column + 1) % 4, struck=np.ones_like(choices.struck))

    monkeypatch.setattr(fingering_module, "choices_for", wrong)
    assert "strings sound what they say" in laws_broken()


def test_rolls_left_out_are_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(choices_module, "_may_roll", lambda question: False)
    with pytest.raises(AssertionError, match="single"):
        test_known_shapes_come_out_first("F", "2010", "high-g")


def test_changes_that_cost_nothing_are_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        Changes, "between", lambda self, before, after, gap_s: np.zeros((len(before), len(after)))
    )
    assert all_faults_of_cost() != []


def test_a_hurry_that_is_always_the_same_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(path_module, "hurry", lambda gap_s: 2.0)
    assert all_faults_of_cost() != []


def test_dear_notes_are_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """A first note that is the last of its choices, not the cheapest."""
    right = path_module.cheapest_path
    monkeypatch.setattr(
        fingering_module,
        "cheapest_path",
        lambda steps, *more: (len(steps[0].choices) - 1, *right(steps, *more)[1:]),
    )
    assert any("would cost less" in fault for fault in all_faults_of_cost())


def test_pruning_to_one_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(choices_module, "KEPT_IN_A_STRATUM", 1)
    assert lost() > MOST_LOST


def test_pruning_without_kinds_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """The cheapest few of all: a wider reach crowds out what a narrow one has, and costs more."""

    def wrong(choices: Choices, *asked: object) -> Choices:
        return choices.taken(np.sort(np.argsort(choices.cost, kind="stable")[:3]))

    monkeypatch.setattr(choices_module, "_pruned", wrong)
    assert lost() > MOST_LOST
    reached = [
        costs_by_reach(drawn_song(number, chords=PLAIN + STRANGE), tuning, exact=False)
        for number in range(8)
        for tuning in TUNINGS
    ]
    assert not all(map(falls, reached))


def test_each_note_says_what_was_asked_of_it_and_in_what_time() -> None:
    made = piece_of(read_song(SONGS[0]), TUNINGS["high-g"])
    board = priced_hands(made.hands, made.hands.limits.highest_fret)
    fingered = finger_tune(row_notes(made), made)[0]
    for before, item in pairwise(fingered):
        assert item.asked is not None
        choices = choices_for(item.asked, board)
        assert item.hand in [board.hand(int(row)) for row in choices.hand]
        gap_beat = item.note.start_beat - before.note.start_beat
        assert item.gap_s == pytest.approx(float(gap_beat) * made.beat_s)
