"""Ways to play one note: each keeps the laws of hand and thumb, and pruning takes none that a wider reach gives."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging.choices import HEARD, Choices, Question, choices_for, every_way
from tercet.neck.demands import COSTS, LIMITS, Hands
from tercet.neck.priced_hands import PricedHands, priced_hands
from tercet.song import Pin, Players
from tercet.theory import TUNINGS, parse_chord
from tests.arranging.by_hand import audibility
from tests.arranging.strategies import chord_names
from tests.neck.hand_rules import faults


def board(players: Players = "improving", tuning: str = "high-g", highest_fret: int = 12) -> PricedHands:
    return priced_hands(Hands(TUNINGS[tuning], 380.0, LIMITS[players]), highest_fret)


def question(midi: int, chord: str | None, *, main: bool = True, highest_fret: int = 7) -> Question:
    return Question(midi, parse_chord(chord) if chord else None, None, main, None, None, highest_fret)


def strings_of(choices: Choices) -> set[tuple[int, ...]]:
    return {
        tuple(range(4 - column + struck - 1, 3 - column, -1))
        for column, struck in zip(choices.column.tolist(), choices.struck.tolist(), strict=True)
    }


def broken(choices: Choices, asked: Question, neck: PricedHands) -> list[str]:
    """Return what is wrong with the ways to play a note, worked out from hands and open strings."""
    found = []
    opens = [pitch.midi for pitch in neck.hands.tuning.open_pitches]
    for row in range(len(choices)):
        hand = neck.hand(int(choices.hand[row]))
        column, struck = int(choices.column[row]), int(choices.struck[row])
        midis = [open_midi + fret for open_midi, fret in zip(opens, hand.frets, strict=True)]
        under = midis[column - struck + 1 : column]
        found += [f"{hand}: {fault}" for fault in faults(hand, neck.hands.scale_length_mm)]
        if column - struck + 1 < 0 or midis[column] != asked.midi:
            found.append(f"{hand}: not the note")
        if hand.frets[column] > asked.highest_fret:
            found.append(f"{hand}: out of reach")
        if struck > 1 and (
            asked.chord is None or any(m % 12 not in asked.chord.pitch_classes for m in under)
        ):
            found.append(f"{hand}: no tone of the chord")
        if HEARD[choices.heard[row]] != audibility(asked.midi, tuple(under)):
            found.append(f"{hand}: not heard as it says")
    cells = list(zip(choices.hand.tolist(), choices.column.tolist(), strict=True))
    if len(cells) != len(set(cells)):
        found.append("a hand appears twice")
    return found


questions = st.builds(
    question,
    st.integers(55, 84),
    st.none() | chord_names,
    main=st.booleans(),
    highest_fret=st.sampled_from([5, 7, 12]),
)
boards = st.builds(board, st.sampled_from(list(LIMITS)), st.sampled_from(list(TUNINGS)))


@settings(max_examples=60)
@given(questions, boards)
def test_every_choice_keeps_the_laws(asked: Question, neck: PricedHands) -> None:
    choices = choices_for(asked, neck)
    assert broken(choices, asked, neck) == []
    assert (choices.struck > 1).any() <= asked.main


@settings(max_examples=60)
@given(questions, boards)
def test_pruning_keeps_the_cheapest_and_some_of_each_position(asked: Question, neck: PricedHands) -> None:
    exact, pruned = choices_for(asked, neck, exact=True), choices_for(asked, neck)
    rows = set(zip(exact.hand.tolist(), exact.column.tolist(), exact.cost.tolist(), strict=True))
    kept = set(zip(pruned.hand.tolist(), pruned.column.tolist(), pruned.cost.tolist(), strict=True))
    assert kept <= rows
    if len(exact):
        assert pruned.cost.min() == exact.cost.min()
        positions = neck.table.position
        assert set(positions[pruned.hand].tolist()) == set(positions[exact.hand].tolist())


@settings(max_examples=60)
@given(questions, boards, st.booleans())
def test_a_wider_reach_only_adds_choices(asked: Question, neck: PricedHands, exact: bool) -> None:
    narrow = choices_for(replace(asked, highest_fret=5), neck, exact=exact)
    wide = choices_for(replace(asked, highest_fret=12), neck, exact=exact)

    def ways(choices: Choices) -> set[tuple[int, int, int, float]]:
        columns = (choices.hand, choices.column, choices.struck, choices.cost)
        return set(zip(*(column.tolist() for column in columns), strict=True))

    assert ways(narrow) <= ways(wide)


@pytest.mark.parametrize("players", LIMITS)
@pytest.mark.parametrize(("midi", "chord"), [(72, "C"), (64, "C"), (69, "F"), (71, "G7"), (67, "Bb")])
def test_no_way_is_forgotten(midi: int, chord: str, players: Players) -> None:
    neck = board(players)
    asked = question(midi, chord)
    choices = choices_for(asked, neck, exact=True)
    found = set(zip(choices.hand.tolist(), choices.column.tolist(), strict=True))
    over = neck.chord(parse_chord(chord))
    tones = parse_chord(chord).pitch_classes
    limits = neck.hands.limits
    for row, column in product(np.flatnonzero(over.allowed).tolist(), range(4)):
        hand = neck.hand(row)
        others = [place for place in range(4) if place != column]
        plays = neck.midis[row, column] == midi and hand.frets[column] <= 7 and hand.position <= 7
        idle = all(hand.frets[o] == 0 or int(neck.midis[row, o]) % 12 in tones for o in others)
        near = all(hand.frets[other] <= limits.highest_chord_fret for other in others)
        assert ((row, column) in found) == (plays and idle and near)


def test_what_strokes_cost() -> None:
    neck = board()
    over = neck.chord(parse_chord("C"))
    choices = choices_for(question(72, "C"), neck, exact=True)
    known = [row for row in range(len(choices)) if neck.hand(int(choices.hand[row])).frets == (0, 0, 0, 3)]
    assert {(int(choices.struck[row]), int(choices.column[row])) for row in known} == {(4, 3)}
    by_hand = neck.holding_cost + over.cost(np.arange(len(neck.table)))
    assert [choices.cost[row] for row in known] == [by_hand[choices.hand[row]] for row in known]
    low = choices_for(question(64, "C"), neck, exact=True)
    row = next(row for row in range(len(low)) if neck.hand(int(low.hand[row])).frets == (0, 0, 0, 3))
    assert (low.struck[row], HEARD[low.heard[row]]) == (2, "top")
    expected = by_hand[low.hand[row]] + COSTS["start on string 3"] + COSTS["only one string under the tune"]
    assert low.cost[row] == pytest.approx(expected)
    single = choices_for(question(72, None, main=False), neck, exact=True)
    assert (single.struck == 1).all()
    held = {neck.hand(int(row)).frets for row in single.hand}
    assert held == {(5, 0, 0, 0), (0, 0, 0, 3)}
    fours = single.column == 0
    assert single.cost[fours] == pytest.approx(
        neck.holding_cost[single.hand[fours]] + COSTS["fretted string 4"]
    )


@pytest.mark.parametrize("players", LIMITS)
def test_no_third_is_worth_a_tune_that_is_covered(players: Players) -> None:
    neck = board(players)
    ways = choices_for(question(72, "G7"), neck)  # B, the third, lies a semitone under C
    best = int(ways.cost.argmin())
    last, struck = int(ways.column[best]) + 1, int(ways.struck[best])
    assert struck > 1
    assert 71 not in neck.midis[ways.hand[best], last - struck : last]


@pytest.mark.parametrize("midi", [67, 69])  # G is a tone of the chord, A isn't
def test_a_roll_that_sounds_one_tone_of_the_chord_is_dearer(
    midi: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    neck, asked = board(), question(midi, "Em")
    priced = every_way(asked, neck)
    monkeypatch.setitem(COSTS, "one tone of the chord alone", 0.0)
    extra = priced.cost - every_way(asked, neck).cost
    for row, hand in enumerate(priced.hand.tolist()):
        last, struck = int(priced.column[row]) + 1, int(priced.struck[row])
        sounding = {int(sound) % 12 for sound in neck.midis[hand, last - struck : last]} & {4, 7, 11}
        assert extra[row] == pytest.approx(4.0 if struck > 1 and len(sounding) == 1 else 0.0)
    assert 0 < (extra > 1).sum() < len(extra) / 2


@pytest.mark.parametrize(
    ("pin", "strings"),
    [
        (Pin("roll"), {(4, 3, 2, 1), (3, 2, 1), (2, 1), (3, 2), (4, 3, 2), (4, 3)}),
        (Pin("roll", (3, 2, 1)), {(3, 2, 1)}),
        (Pin("alone"), {(1,), (2,), (3,), (4,)}),
        (Pin("alone", (4,)), {(4,)}),
    ],
)
def test_pins(pin: Pin, strings: set[tuple[int, ...]]) -> None:
    asked = replace(question(72, "C", highest_fret=12), pin=pin)
    found = strings_of(choices_for(asked, board("free")))
    assert found
    assert found <= strings


def test_positions_and_shapes_that_the_song_asks_for() -> None:
    neck = board("free")
    asked = replace(question(72, "C", highest_fret=12), position=(2, 8))
    assert set(choices_for(asked, neck).column.tolist()) == {2}
    assert not len(choices_for(replace(asked, position=(2, 7)), neck))
    shaped = replace(question(72, "C"), chord_frets=(5, 4, 3, None))
    frets = {neck.hand(int(row)).frets for row in choices_for(shaped, neck).hand}
    assert frets == {(5, 4, 3, 3), (5, 4, 3, 0)}


def test_no_choice_where_no_string_has_the_note() -> None:
    assert len(choices_for(question(40, "C"), board())) == 0
    assert len(choices_for(question(100, None), board(), exact=True)) == 0


@pytest.mark.parametrize(
    ("tune", "others", "heard"),
    [
        (72, (67, 60, 64), "top"),
        (67, (67, 60), "unison"),
        (64, (67, 60), "masked"),
        (60, (72,), "octave"),
        (60, (72, 67), "masked"),
        (64, (76, 64), "octave"),
        (60, (), "top"),
    ],
)
def test_how_a_tune_is_heard(tune: int, others: tuple[int, ...], heard: str) -> None:
    assert audibility(tune, others) == heard


# Sabotage: a way made wrong is caught


def test_a_roll_over_a_strange_tone_is_caught() -> None:
    neck = board()
    asked = question(72, "C")
    choices = choices_for(asked, neck, exact=True)
    over_dm = replace(asked, chord=parse_chord("Dm"))
    assert any("no tone of the chord" in fault for fault in broken(choices, over_dm, neck))


def test_the_wrong_string_is_caught() -> None:
    neck = board()
    choices = choices_for(question(72, "C"), neck, exact=True)
    moved = replace(choices, column=choices.column - 1, struck=np.maximum(choices.struck - 1, 1))
    assert any("not the note" in fault for fault in broken(moved, question(72, "C"), neck))


def test_a_masked_roll_called_clear_is_caught() -> None:
    neck = board()
    asked = replace(question(64, "C"), pin=Pin("roll", (4, 3, 2)))
    choices = choices_for(asked, neck)
    assert set(choices.heard.tolist()) == {HEARD.index("masked")}
    clear = replace(choices, heard=np.zeros_like(choices.heard))
    assert any("not heard as it says" in fault for fault in broken(clear, asked, neck))
