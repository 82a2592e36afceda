"""The tab is what a person reads: here are whole ones, of songs whose fingering is pinned."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from tercet.arranging import Arrangement, arrange
from tercet.arranging.tab import LEGEND, tab_text
from tercet.song import bar_indices, parse_song, read_song
from tercet.theory import tuning_named
from tests.arranging.written import arranged, section, song

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))

KETTLES = """\
title: Two Kettles
meter: 3/4
tempo: 120
strum: d . D u x .
form: verse*2 end
sections:
  verse: |
    chords           | C[0003]    | G7[0212]           |
    melody    G4[4]  | C5:3[4321] | B4[4321] A[1] D[3] |
    melody 2         |            | B4[1] A[1] D[3]    |
    between          | .:3        | .:3                |
    words     Hot    | wa-        | ter sings, hot     |

    chords    C[0003]
    melody    = E4:2[2]
    words     songs.
  end: |
    chords    F[x.x.10.12]
    melody    A5:3[21]
"""

WHOLE = """\
verse
   0       1                   2
    N.C.    C                   G7
A |-------|-3-----------------|-2-----0------------|
E |-------|-0-----------------|-1------------------|
C |-------|-0-----------------|-2------------2-----|
G |-0-----|-0-----------------|-0------------------|
    b       R                   R     b      M
                  D  u  x
    Hot     wa-                 ter   sings, hot

   3
    C
A |--------------------|
E |-------0------------|
C |--------------------|
G |--------------0-----|
          M      b
    d
          songs. Hot

verse, pass 2: as bars 0 to 3, but for:

verse, pass 2
   4                   5
    C                   G7
A |-3-----------------|-2-----0------------|
E |-0-----------------|--------------------|
C |-0-----------------|--------------2-----|
G |-0-----------------|--------------------|
    R                   M     b      M
          D  u  x
    wa-                 ter   sings, hot

   6
    C
A |-----------------------|
E |-------0---------------|
C |-----------------------|
G |-----------------------|
          M
    d            u  x
          songs.

end
   7
    F
A |-12----------------|
E |-10----------------|
C |-------------------|
G |-------------------|
    R
          D  u  x

R roll, M tune alone, b between, + added; d down, u up, x chop, D U with an accent
"""

TWO_BARS = """\
verse
   2
    G7
A |-2-----0------------|
E |-1------------------|
C |-2------------2-----|
G |-0------------------|
    R     b      M
    ter   sings, hot

   3
    C
A |--------------------|
E |-------0------------|
C |--------------------|
G |--------------0-----|
          M      b
    d
          songs. Hot

R roll, M tune alone, b between, + added; d down, u up, x chop, D U with an accent
"""


def kettles() -> Arrangement:
    """Return a song whose hands are pinned; on the second pass B is a single note."""
    return arrange(parse_song(KETTLES))


def test_a_whole_tab() -> None:
    assert tab_text(kettles()) == WHOLE


def test_lines_break_where_they_get_too_wide() -> None:
    wide, narrow = tab_text(kettles(), width=200), tab_text(kettles(), width=40)
    assert max(map(len, narrow.splitlines()[:-1])) <= 40 < max(map(len, wide.splitlines()[:-1]))
    assert frets_of(wide) == frets_of(narrow)


def frets_of(tab: str) -> list[str]:
    """Return the digits on each string, whatever stands between them."""
    rows = [line for line in tab.splitlines() if line[2:3] == "|"]
    return [
        "".join(sign for row in rows[string::4] for sign in row[3:] if sign.isdigit()) for string in range(4)
    ]


def test_some_bars_of_the_piece() -> None:
    arrangement = kettles()
    bars = bar_indices("2-3", arrangement.bars)
    assert tab_text(arrangement, bars) == TWO_BARS
    assert tab_text(arrangement, []) == f"{LEGEND}\n"


def test_strings_are_named_after_the_tuning() -> None:
    song = arranged("D4:4", "G", tuning_named("baritone"))
    assert [line[:3] for line in tab_text(song).splitlines()[3:7]] == ["E |", "B |", "G |", "D |"]


def test_added_notes_and_singles_of_the_melody_are_told_apart() -> None:
    song = arranged("C5:2[1] G4[2] .", "C", between=".:3 G4[4]", strum_row=". x . .")
    assert [line.strip() for line in tab_text(song).splitlines()[7:9]] == ["M           b     +", "x"]


def test_every_row_of_a_song_has_its_bars_above_each_other() -> None:
    for path in SONGS:
        lines = tab_text(arrange(read_song(path))).splitlines()
        assert lines[-1] == LEGEND
        strings = [index for index, line in enumerate(lines) if line[2:3] == "|"]
        assert len(strings) % 4 == 0
        for first in strings[::4]:
            system = lines[first : first + 4]
            bar_lines = [[place for place, sign in enumerate(row) if sign == "|"] for row in system]
            assert bar_lines == [bar_lines[0]] * 4, path.name
            assert max(map(len, system)) <= 96


def test_all_that_is_played_stands_in_the_tab() -> None:
    """Read back from the tab of one long line: as many rolls, singles and strums as there are gestures."""
    arrangement = arrange(read_song(SONGS[1]))
    tab = tab_text(arrangement, range(len(arrangement.bars)))
    rows = [line for line in tab.splitlines() if line.strip() and not set(line) - set(" RMb+")]
    counted = {sign: sum(row.count(sign) for row in rows) for sign in "RMb+"}
    tune = [gesture for gesture in arrangement.gestures if gesture.layer != "strums"]
    assert counted["R"] == sum(gesture.action == "roll" for gesture in tune)
    assert counted["+"] == sum(gesture.notes[-1].part == "added" for gesture in tune)
    assert sum(counted.values()) == len(tune)


def test_a_song_without_words_has_no_row_for_them() -> None:
    arrangement = kettles()
    silent = replace(arrangement, bars=tuple(replace(bar, words=()) for bar in arrangement.bars))
    assert len(tab_text(silent, [1]).splitlines()) == len(tab_text(arrangement, [1]).splitlines()) - 1


def test_an_arrangement_prints_itself_and_knows_its_bars() -> None:
    made = arrange(song(section("a", "E4 || C4:4 | A4:3 .", "|| C | F"), form="a a"))
    assert made.tab() == tab_text(made)
    assert made.tab("a@2:2") == tab_text(made, [4])
    assert sorted(made.by_bar) == [0, 1, 2, 3, 4]
    assert [gesture for number in sorted(made.by_bar) for gesture in made.by_bar[number]] == list(
        made.gestures
    )
    in_pickup = [gesture.bar_number for gesture in made.gestures if gesture.section_bar == 0]
    assert in_pickup == [0, 2]
