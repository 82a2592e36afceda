"""The piece walked visit by visit: which measures belong to whom, and where a pick-up takes its time from."""

from __future__ import annotations

from hypothesis import given

from tercet.song import Bar, Measure, Song, parse_song, played_bars, played_visits
from tercet.song.form import played_form
from tests import strategies
from tests.arranging.written import beats_of

SONG = """\
title: One
meter: 3/4
form: a b a
sections:
  a: |
    chords | C | F
    melody G4 | C5:3 | A4:2 .

    chords G
    melody B4:3
  b: |
    chords C
    melody C4:3
"""


def shown(measure: Measure) -> str:
    opens = "+" * measure.opens_visit + "-" * measure.opens_line
    return (
        f"{measure.visit} {measure.section} {measure.pass_number}:{measure.section_bar} in {measure.bar_index} "
        f"{measure.start_beat}-{measure.end_beat} {opens}"
    ).rstrip()


def bars() -> tuple[Bar, ...]:
    return played_bars(parse_song(SONG))


def test_a_pickup_belongs_to_the_visit_that_it_leads_into() -> None:
    assert [shown(measure) for visit in played_visits(bars()) for measure in visit.measures] == [
        "0 a 1:0 in 0 0-1 +-",
        "0 a 1:1 in 1 1-4",
        "0 a 1:2 in 2 4-7",
        "0 a 1:3 in 3 7-10 -",
        "1 b 1:1 in 4 10-12 +-",
        "2 a 2:0 in 4 12-13 +-",
        "2 a 2:1 in 5 13-16",
        "2 a 2:2 in 6 16-19",
        "2 a 2:3 in 7 19-22 -",
    ]


def test_a_visit_has_its_bars_and_its_own_beats() -> None:
    first, second, third = played_visits(bars())
    assert [(visit.first_bar, visit.last_bar) for visit in (first, second, third)] == [(0, 3), (4, 4), (5, 7)]
    beats = [(visit.start_beat, visit.end_beat, *visit.bar_lines_beat) for visit in (second, third)]
    assert beats_of(*beats) == ["10 12 10 13", "12 22 13 22"]
    assert [[bar.number for bar in line] for line in third.lines] == [[5, 6], [7]]
    assert [visit.pickup is not None for visit in (first, second, third)] == [True, False, True]


def test_a_measure_has_what_starts_within_it() -> None:
    _, second, third = played_visits(bars())
    assert [str(note.pitch) for note in second.measures[0].melody] == ["C4"]
    assert third.pickup is not None
    assert [str(note.pitch) for note in third.pickup.melody] == ["G4"]
    assert [str(span.chord) for span in second.measures[0].chords] == ["C"]
    assert third.pickup.chords == ()


@given(strategies.songs())
def test_measures_fill_the_piece_without_gap(song: Song) -> None:
    played = played_bars(song)
    visits = played_visits(played)
    measures = [measure for visit in visits for measure in visit.measures]
    beat = played[0].start_beat
    for measure in measures:
        assert measure.start_beat == beat
        beat = measure.end_beat
    assert beat == played[-1].start_beat + played[-1].length_beat
    assert [(visit.section, visit.pass_number) for visit in visits] == [
        (visit.section, visit.pass_number) for visit in played_form(song)
    ]
    assert [bar for visit in visits for bar in visit.bars] == list(played)
