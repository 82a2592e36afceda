"""What is new in a song: five songs in a row against lists made by hand; songs from easy to hard."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.arranging import Arrangement, arrange
from tercet.arranging.easy_first import easy_first, hardness_of
from tercet.arranging.novelties import Known, Met, met_in
from tercet.arranging.report import report_of
from tercet.song import parse_song, read_song
from tests.arranging.written import arranged

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))

FIVE = {
    "One": (
        "4/4",
        """\
    chords   C                        | C
    melody   C4[alone] D[alone] E:2[32] | C:4
    strum    x . . .                  | . d . .
""",
    ),
    "Two": (
        "4/4",
        """\
    chords   C                | F
    melody   E4:2[32] E:2[32] | F4:1.5[432] E:1/2[alone] F:2[432]
    strum    . . . .          | . . . u
""",
    ),
    "Three": (
        "3/4",
        """\
    chords   F                    | C
    melody   F4[alone] . F[432]   | E:3[32]
    strum    . x .                | . d u
""",
    ),
    "Four": (
        "6/8",
        """\
    chords   G7                                                       | C
    melody   G4[32] A:1/2[alone] G:1/2[alone] F[alone] E:2[alone] D[alone] | E:6[32]
    strum    . . . . . .                                              | . . . d . u
""",
    ),
    "Five": (
        "4/4",
        """\
    chords   C                                             | C
    melody   E4:1/2[alone] E:1[alone] E:1/2[alone] E:2[32] | C5:2[4321] =:1 .
    strum    . . . .                                       | . . . d
""",
    ),
}
BY_HAND = {
    "One": [
        "chord C in 1",
        "shape 0003 in 1",
        "roll [32] in 1",
        "strum down on the beat in 2",
        "rhythm quarter in 1",
        "rhythm half in 1",
        "rhythm whole in 2",
        "fret 3 in 1",
    ],
    "Two": [
        "chord F in 2",
        "shape 2010 in 2",
        "roll [432] in 2",
        "strum up on the beat in 2",
        "rhythm dotted quarter, eighth in 2",
    ],
    "Three": ["strum chop in 1", "rhythm dotted half in 2"],
    "Four": [
        "chord G7 in 1",
        "shape 0230 in 1",
        "strum up between beats in 2",
        "rhythm eighth, 2 sixteenths, eighth in 1",
        "rhythm quarter, eighth in 1",
    ],
    "Five": ["roll [4321] in 2", "rhythm eighth, quarter, eighth in 1"],
}


def one_of_five(name: str) -> Arrangement:
    meter, rows = FIVE[name]
    head = f"title: {name}\nkey: C major\nmeter: {meter}\ntempo: 90\nplayers: beginner\n"
    return arrange(parse_song(f"{head}sections:\n  verse: |\n{rows}"))


def shown(met: tuple[Met, ...]) -> list[str]:
    return [f"{each.kind} {each.name} in {each.bar_number}" for each in met]


def test_five_songs_in_a_row_bring_what_was_listed_by_hand() -> None:
    known = Known()
    for name, listed in BY_HAND.items():
        met = met_in(one_of_five(name))
        assert shown(known.new_in(met)) == listed
        known = known.after(met)


@pytest.mark.parametrize("name", FIVE)
def test_nothing_is_new_the_second_time(name: str) -> None:
    met = met_in(one_of_five(name))
    assert Known().after(met).new_in(met) == ()


def test_only_a_higher_fret_is_new() -> None:
    known = Known().after([Met("fret", "4", 1)])
    assert known.new_in([Met("fret", "3", 1), Met("fret", "5", 2)]) == (Met("fret", "5", 2),)
    assert known.after([Met("fret", "2", 1)]) == known


def test_only_the_bars_asked_for_are_looked_at() -> None:
    assert shown(met_in(one_of_five("Three"), {1})) == [
        "chord F in 1",
        "shape 2010 in 1",
        "roll [432] in 1",
        "strum chop in 1",
        "rhythm quarter in 1",
        "fret 2 in 1",
    ]


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_every_song_of_ours_in_parts_meets_what_the_whole_does(path: Path) -> None:
    song = arrange(read_song(path))
    whole = {(each.kind, each.name) for each in met_in(song)}
    parts = {
        (each.kind, each.name)
        for bar in song.bars
        for each in met_in(song, {bar.number})
        if each.kind != "fret"
    }
    assert parts == {each for each in whole if each[0] != "fret"}
    assert all(not name.startswith("a note of") for _, name in whole)


def test_a_note_tied_over_the_bar_is_named_as_it_is_written() -> None:
    song = arranged("E4:2 E:2 | =:3 E:1", "C | C")
    assert "rhythm half tied to dotted half in 1" in shown(met_in(song))


# ---- from easy to hard


def quicker(song: Arrangement, by: Fraction) -> Arrangement:
    return arrange(replace(song.song, tempo=song.song.tempo * by))


def test_easy_songs_stand_before_hard_ones_and_quick_ones_after_slow() -> None:
    songs = [arrange(read_song(path)) for path in SONGS]
    order = [each.index for each in easy_first(songs)]
    costs = [hardness_of(songs[index]).cost for index in order]
    assert costs == sorted(costs)
    assert len(set(order)) == len(SONGS)
    slow = songs[0]
    assert [each.index for each in easy_first([quicker(slow, Fraction(2)), slow])] == [1, 0]


def test_what_each_song_brings_is_new_to_those_before_it() -> None:
    songs = [one_of_five(name) for name in FIVE]
    known = Known()
    for each in easy_first(songs):
        met = met_in(songs[each.index])
        assert each.new == known.new_in(met)
        known = known.after(met)


def test_the_reason_is_what_the_report_says() -> None:
    song = arrange(read_song(SONGS[0]))
    report, hardness = report_of(song), hardness_of(song)
    assert report.highest_fret is not None
    assert (hardness.shapes, hardness.fret) == (report.totals.shapes, report.highest_fret.fret)
    assert report.hardest_places[-1].cost < hardness.bars_cost <= report.hardest_places[0].cost
    assert hardness.sentence.startswith(
        f"hardest bars {hardness.bars_cost:.1f}, mostly changes of the hand; "
    )
