"""The hardest bars: those of the report, each music once, in stretches that can be practised."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import Arrangement, HardStretch, arrange, hardest_bars
from tercet.arranging.report import report_of
from tercet.errors import ParameterError
from tercet.song import Song, parse_song, read_song
from tercet.theory import TUNINGS, Tuning
from tests.arranging import strategies as made
from tests.arranging.laws import written as notes_written
from tests.arranging.written import arranged, section, song

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))

EASY = "E4:4[2]"
HARD = "D5[1] A4[1] D5[1] A4[1]"
HARDER = "D5:1/2[1] A4:1/2[1] D5:1/2[1] A4:1/2[1] D5:1/2[1] A4:1/2[1] D5:1/2[1] A4:1/2[1]"


def bars_of(stretches: tuple[HardStretch, ...]) -> list[tuple[int, int]]:
    return [(stretch.first, stretch.last) for stretch in stretches]


def music_of(arrangement: Arrangement, index: int) -> object:
    """Return what the hands do in a bar, but for the strums and the next section's pick-up."""
    bar = arrangement.bars[index]
    inside = [
        gesture
        for gesture in arrangement.gestures
        if bar.start_beat <= gesture.start_beat < bar.start_beat + bar.length_beat
        and gesture.layer != "strums"
    ]
    own = [gesture for gesture in inside if gesture.start_beat - bar.start_beat < bar.pickup_from]
    return [
        (gesture.start_beat - bar.start_beat, gesture.length_beat, gesture.shape, gesture.notes)
        for gesture in own or inside
    ]


def faults(stretches: tuple[HardStretch, ...], arrangement: Arrangement, count: int) -> list[str]:
    """Return what is wrong with a choice of hard bars."""
    found = []
    costs = {bar.bar_number: bar.cost for bar in report_of(arrangement).hardest_bars}
    music = [music_of(arrangement, index) for index in range(len(arrangement.bars))]
    alike = [[other for other, played in enumerate(music) if played == own] for own in music]
    cost = [
        max(costs[arrangement.bars[other].number] for other in same) if played else 0.0  # strums aren't hard
        for same, played in zip(alike, music, strict=True)
    ]
    indices = [index for stretch in stretches for index in range(stretch.first, stretch.last + 1)]
    if indices != sorted(set(indices)) or not set(indices) <= set(range(len(music))):
        found.append("out of order")
    if any(not 1 <= stretch.last + 1 - stretch.first <= 2 for stretch in stretches):
        found.append("too long")
    if not stretches:
        found.append("nothing chosen")
    opening = arrangement.bars[0].section_bar == 0 and indices[:1] == [0]
    joined = opening and (len(indices) > count or not music[1])
    chosen = [index for index in indices if not (joined and index == 1)]
    if len(chosen) > count:
        found.append("too many")
    if any(index != alike[index][0] for index in chosen):
        found.append("not where it first comes")
    if any(music[one] == music[other] for one in chosen for other in chosen if one != other):
        found.append("the same music twice")
    struck = [index for index, played in enumerate(music) if played]
    if struck and not set(chosen) <= set(struck) and not opening:
        found.append("a bar in which nothing is struck")
    left = [index for index in struck if all(music[index] != music[other] for other in chosen)]
    if len(chosen) < count and left:
        found.append("too few")
    if any(
        round(cost[index], 6) > round(min((cost[other] for other in chosen), default=0.0), 6)
        for index in left
    ):
        found.append("a harder bar is left out")
    return found + stretch_faults(stretches, arrangement, cost)


def stretch_faults(
    stretches: tuple[HardStretch, ...], arrangement: Arrangement, cost: list[float]
) -> list[str]:
    """Return what is wrong with the cost of stretches, and with the note that they lead into."""
    found = []
    for stretch in stretches:
        if round(stretch.cost, 6) != round(max(cost[stretch.first : stretch.last + 1]), 6):
            found.append(f"{stretch} isn't so hard")
        if stretch.into_beat != _next_note(arrangement, stretch.last + 1):
            found.append(f"{stretch} leads elsewhere")
    return found


def _next_note(arrangement: Arrangement, index: int) -> Fraction | None:
    """Return where the first note of the tune in a bar is struck."""
    if index >= len(arrangement.bars):
        return None
    bar = arrangement.bars[index]
    starts = [start_beat for start_beat, _, _ in notes_written(arrangement.bars, "melody")]
    return next((beat for beat in starts if bar.start_beat <= beat < bar.start_beat + bar.length_beat), None)


# Made-up songs


@pytest.mark.parametrize(
    ("bars", "count", "expected"),
    [
        ((EASY, HARD, EASY), 1, [(1, 1)]),
        ((EASY, HARD, EASY, HARDER), 1, [(3, 3)]),
        ((EASY, HARD, EASY, HARDER), 2, [(1, 1), (3, 3)]),
        ((EASY, HARD, EASY, HARD), 1, [(1, 1)]),  # the first of two alike
        ((HARD, HARD, HARD, EASY), 1, [(0, 0)]),  # though the others need a change of hand into them
        ((EASY, HARD, HARDER, EASY), 2, [(1, 2)]),  # together
        ((EASY, EASY, EASY), 4, [(0, 0)]),  # there is just one
        ((".:4", EASY, ".:4"), 4, [(1, 1)]),
        ((".:4", ".:4"), 4, [(0, 0)]),  # at least one
    ],
)
def test_which_bars(bars: tuple[str, ...], count: int, expected: list[tuple[int, int]]) -> None:
    arrangement = arranged("|".join(bars), "|".join(["N.C."] * len(bars)), players="free")
    assert bars_of(hardest_bars(arrangement, count)) == expected


def test_long_rows_of_hard_bars_are_cut_by_twos() -> None:
    different = [f"{note}5[1] A4[1] {note}5[1] A4[1]" for note in ("C", "D", "E", "F", "G")]
    arrangement = arranged("|".join([EASY, *different]), "|".join(["N.C."] * 6), players="free")
    assert bars_of(hardest_bars(arrangement, 5)) == [(1, 2), (3, 4), (5, 5)]


@pytest.mark.parametrize(
    ("after", "into_beat"),
    [("E4:4[2]", 4), (". E4:3[2]", 5), (".:4", None), ("E4:4[2]|.:4", 4)],
)
def test_the_note_that_a_stretch_leads_into(after: str, into_beat: int | None) -> None:
    count = after.count("|") + 2
    arrangement = arranged(f"{HARD}|{after}", "|".join(["N.C."] * count), players="free")
    assert hardest_bars(arrangement, 1)[0].into_beat == into_beat


def test_a_tied_note_is_not_struck_again() -> None:
    arrangement = arranged("D5[1] A4[1] D5[1] A4[1]|=:3 E4[2]", "N.C.|N.C.", players="free")
    assert hardest_bars(arrangement, 1)[0] == HardStretch(
        0, 0, Fraction(7), hardest_bars(arrangement, 1)[0].cost
    )


def test_nothing_follows_the_last_bar() -> None:
    arrangement = arranged(f"{EASY}|{HARD}", "N.C.|N.C.", players="free")
    assert [stretch.into_beat for stretch in hardest_bars(arrangement, 1)] == [None]


def test_passes_and_sections_with_the_same_music_count_once_other_endings_twice() -> None:
    verse = section("verse", f"{EASY}|{HARD}", "N.C.|N.C.", melody_2=f"|{HARDER}")
    bridge = section("bridge", f"{HARD}|{EASY}", "N.C.|N.C.")
    arrangement = arrange(song(verse, bridge, form="verse verse bridge verse", players="free"))
    assert bars_of(hardest_bars(arrangement, 2)) == [(1, 1), (3, 3)]
    assert bars_of(hardest_bars(arrangement, 9)) == [(0, 1), (3, 3)]


def test_the_pick_up_of_what_follows_makes_no_other_bar() -> None:
    verse = section("verse", "D5[1] A4[1] D5[1] .", "N.C.")
    refrain = section("refrain", "C4[3] || E4:4[2]", "|| N.C.")
    arrangement = arrange(song(verse, refrain, form="verse refrain verse verse", players="free"))
    # Bars 1, 3 and 4 are the verse, the first with the refrain's pick-up in its end.
    assert (
        len([bar for bar in hardest_bars(arrangement, 9) if arrangement.bars[bar.first].section == "verse"])
        == 1
    )


def test_a_pick_up_at_the_start_is_practised_with_its_bar() -> None:
    text = "D5:1/2[1] A4:1/2[1] || E4:4[2] | G4:4[4]"
    arrangement = arranged(text, "|| N.C. | N.C.", players="free")
    assert arrangement.bars[0].section_bar == 0
    assert bars_of(hardest_bars(arrangement, 1)) == [(0, 1)]


@pytest.mark.parametrize("count", [0, -1])
def test_no_bars_can_not_be_chosen(count: int) -> None:
    with pytest.raises(ParameterError, match=f"must be 1 or more \\(got {count}\\)"):
        hardest_bars(arranged(EASY, "N.C."), count)


# Our songs, and songs at random


@pytest.mark.parametrize(
    ("name", "numbers"),
    [
        # The hardest of `tercet check`, each once.
        ("harbour-lanterns", [(3, 3), (34, 35), (44, 44)]),
        ("washing-up-branle", [(1, 1), (10, 11), (12, 12)]),
    ],
)
def test_hard_bars_of_our_songs(name: str, numbers: list[tuple[int, int]]) -> None:
    arrangement = arrange(read_song(next(path for path in SONGS if path.stem == name)))
    bars = arrangement.bars
    assert [
        (bars[one].number, bars[two].number) for one, two in bars_of(hardest_bars(arrangement))
    ] == numbers


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=lambda tuning: tuning.name)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs(path: Path, tuning: Tuning) -> None:
    written = read_song(path)
    for simple in (False, True):
        arrangement = arrange(written, tuning, simple=simple)
        for count in (1, 4, 100):
            assert faults(hardest_bars(arrangement, count), arrangement, count) == []


RESTS = """\
title: Rests
meter: 3/4
players: free
strum: d . d
sections:
  verse: |
    chords  C  | C  | F#dim7
    melody  .  | .:3 | .:3
"""


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("pickup", [True, False])
def test_of_a_song_of_rests_the_start_is_chosen(pickup: bool, count: int) -> None:
    """A pick-up is practised with the bar that it leads into, which is as much alike to it as all others."""
    arrangement = arrange(parse_song(RESTS if pickup else RESTS.replace("  .  |", "  .:3 |")))
    chosen = hardest_bars(arrangement, count)
    assert bars_of(chosen) == [(0, 1 if pickup else 0)]
    assert faults(chosen, arrangement, count) == []


@settings(max_examples=40)
@given(made.songs(), made.tunings, st.integers(1, 6))
def test_random_songs(written: Song, tuning: Tuning, count: int) -> None:
    arrangement = arrange(written, tuning)
    chosen = hardest_bars(arrangement, count)
    assert faults(chosen, arrangement, count) == []
    assert hardest_bars(arrange(written, tuning), count) == chosen


# The look at it notices what is wrong

RUN = """\
title: Up and down
meter: 4/4
players: free
form: verse*2
sections:
  verse: |
    chords  C            | C                  | C        | C                 | C
    melody  E4:4         | C5 D E F           | E4:2 G:2 | G5 F E D          | C5:4
"""


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda chosen: (), "nothing chosen"),
        (lambda chosen: chosen[:1], "too few"),
        (lambda chosen: chosen[::-1], "out of order"),
        (lambda chosen: (*chosen, replace(chosen[-1], first=9, last=9)), "too many"),
        (lambda chosen: (replace(chosen[0], first=0, last=0), *chosen[1:]), "a harder bar is left out"),
        (lambda chosen: (chosen[0], replace(chosen[0], first=6, last=6)), "the same music twice"),
        (lambda chosen: (chosen[1], replace(chosen[0], first=6, last=6)), "not where it first comes"),
        (lambda chosen: (replace(chosen[0], first=0, last=2), *chosen[1:]), "too long"),
        (lambda chosen: (replace(chosen[0], cost=0.0), *chosen[1:]), "isn't so hard"),
        (lambda chosen: (replace(chosen[0], into_beat=Fraction(9)), *chosen[1:]), "leads elsewhere"),
    ],
)
def test_a_wrong_choice_is_noticed(
    change: Callable[[tuple[HardStretch, ...]], tuple[HardStretch, ...]], words: str
) -> None:
    arrangement = arrange(parse_song(RUN))
    chosen = hardest_bars(arrangement, 2)
    assert bars_of(chosen) == [(1, 1), (3, 3)]
    assert faults(chosen, arrangement, 2) == []
    assert any(words in fault for fault in faults(change(chosen), arrangement, 2))


def test_stretches_never_share_a_bar() -> None:
    for path in SONGS:
        for one, other in pairwise(hardest_bars(arrange(read_song(path)), 12)):
            assert one.last < other.first
