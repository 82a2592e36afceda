"""Writing: bars aligned, one spelling, comments kept, and the same song read back."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.errors import SongError
from tercet.song import (
    ChordSpan,
    Line,
    Mark,
    Meter,
    Note,
    Pin,
    Row,
    Section,
    Song,
    Syllable,
    parse_song,
    tidy_text,
    write_song,
)
from tercet.song.form import visits_of
from tercet.song.spelling import LaidRow, lay_out, number_text, shown_width, yaml_text
from tercet.song.writer import line_up
from tercet.theory import Pitch, parse_chord

SONGS = sorted((Path(__file__).resolve().parents[2] / "songs").glob("[!c]*.yaml"))
UNTIDY = """\
# A song.
title:   "One"      # of two
meter: 3/4
form: verse*3

sections:   # all of it
    verse: |2
          # the tune
          chords |CM7|  |F♯° G:1 Am[2000]:1|
          melody   D4|C4:1 E:0.5 F♯:3/2|C5:3[321]|=:2/1 .:1
          words  Oh|lan‐terns by|the| |
          words 2 last  The|sea is calm|now| |


          # second line
          chords C
          strum  d.du.u
          marks p louder@2.5 mf@6/2 a-tempo
    coda: |-

      chords N.C
      melody s1f3:3
# the end
"""

EXPECTED = """\
# A song.
title:   "One"      # of two
meter: 3/4
form: verse*3

sections:   # all of it
    verse: |
      # the tune
      chords            | Cmaj7           |           | F#dim G:1 Am[2000]:1 |
      melody        D4  | C4 E:1/2 F#:1.5 | C5:3[321] | =:2 .                |
      words         Oh  | lan-terns by    | the       |                      |
      words 2 last  The | sea is calm     | now       |                      |

      # second line
      chords        C                         |
      strum         d . d u . u               |
      marks         p louder@2.5 mf@3 a-tempo |
    coda: |
      chords  N.C.   |
      melody  s1f3:3 |
# the end
"""


def test_tidy() -> None:
    assert tidy_text(UNTIDY) == EXPECTED
    assert parse_song(EXPECTED) == parse_song(UNTIDY)
    assert tidy_text(EXPECTED) == EXPECTED


def test_tidy_keeps_line_endings_and_drops_the_mark() -> None:
    windows = UNTIDY.replace("\n", "\r\n")
    assert tidy_text("\ufeff" + windows) == EXPECTED.replace("\n", "\r\n")


def test_tidy_needs_a_song_without_mistakes() -> None:
    with pytest.raises(SongError, match="line 1: there is no setting `titel`"):
        tidy_text("titel: One\n", "mine.yaml")


def test_tidy_reads_keys_written_the_long_way() -> None:
    text = "title: One\nsections:\n  ? verse\n  : |\n    chords C\n\n  coda: |\n    chords G\n"
    tidy = tidy_text(text)
    assert parse_song(tidy) == parse_song(text)
    assert tidy.splitlines()[2:6] == ["  ? verse", "  : |", "      chords  C |", ""]


def test_tidy_leaves_blocks_of_settings_alone() -> None:
    text = "title: One\nfrom: |\n    an   old\n      book\nsections:\n  verse: |\n    chords  C |\n"
    assert tidy_text(text) == text


def test_rows_that_all_start_with_an_empty_bar() -> None:
    text = (
        "title: One\nform: verse*2\nsections:\n  verse: |\n    chords C\n\n"
        "    chords    |     | G |\n    melody 2  |     | G4:4 |\n    words 2   |     | la |\n"
    )
    song = parse_song(text)
    assert song.section("verse").lines[1].bar_count == 2
    assert parse_song(tidy_text(text)) == song
    assert parse_song(write_song(song)) == song
    assert "    chords   |  | G    |" in tidy_text(text).splitlines()


def test_words_that_look_like_passes_follow_a_bar_line() -> None:
    text = "title: One\nsections:\n  verse: |\n    chords C |\n    melody C4 D E:2 |\n    words | 2 last ones |\n"
    tidy = tidy_text(text)
    assert "    words  | 2 last ones |" in tidy
    assert parse_song(tidy) == parse_song(text)
    with_pickup = (
        text.replace("chords", "chords |")
        .replace("melody", "melody C4 |")
        .replace("words |", "words | last |")
    )
    song = parse_song(with_pickup)
    assert song.section("verse").lines[0].rows[2].pickup == (Syllable("last"),)
    assert parse_song(tidy_text(with_pickup)) == song
    assert parse_song(write_song(song)) == song


def test_write_song() -> None:
    notes = (
        Note(Fraction(0), Fraction(1), Pitch("A", 0, 4), pin=Pin("roll", (3, 2, 1))),
        Note(Fraction(1), Fraction(1, 2), Pitch("B", -1, 4)),
        Note(Fraction(3, 2), Fraction(1, 2), goes_on=True),
        Note(Fraction(2), Fraction(1), position=(1, 12), pin=Pin("alone")),
    )
    half = Fraction(3, 2)
    rows = (
        Row(
            "chords",
            (),
            (None, (ChordSpan(Fraction(0), half, parse_chord("Gm")), ChordSpan(half, half, None))),
        ),
        Row(
            "melody",
            (),
            (notes, (Note(Fraction(0), Fraction(3), Pitch("A", 0, 4)),)),
            (Note(Fraction(0), half),),
        ),
        Row(
            "words", (), ((Syllable("lan", joined=True), Syllable(""), Syllable("terns")), (Syllable("by"),))
        ),
        Row("marks", (2, -1), ((Mark(Fraction(1, 2), "breath"),), None)),
        Row("strum", (), (("d", ".", "D"), None)),
    )
    first = replace(
        rows[0],
        bars=((ChordSpan(Fraction(0), Fraction(3), parse_chord("F"), (2, 0, 1, 0)),), rows[0].bars[1]),
    )
    song = Song(
        title="- One: two #3",
        sections=(Section("verse", (Line((first, *rows[1:])),), half),),
        form=visits_of(["verse"] * 3),
        composer="O'Neil",
        source_note='"quoted"',
        meter=Meter(3, 4),
        swing=Fraction(2, 3),
        strum=("d", "u", "d"),
        count_in_bars=0,
        sound="a.sf2",
        tempo=Fraction(200, 3),
    )
    text = write_song(song)
    assert parse_song(text) == song
    assert text.splitlines()[:4] == [
        'title: "- One: two #3"',
        "composer: O'Neil",
        'from: "\\"quoted\\""',
        "key: C major",
    ]
    assert text.splitlines()[14:] == [
        "sections:",
        "  verse: |",
        "    chords              | F[2010]                           | Gm:1.5 N.C.:1.5 |",
        "    melody        .:1.5 | A4[321] Bb:1/2 =:1/2 s1f12[alone] | A:3             |",
        "    words               | lan- _ terns                      | by              |",
        "    marks 2 last        | ,@1.5                             |                 |",
        "    strum               | d . D                             |                 |",
    ]


def test_long_runs_of_a_form_are_split() -> None:
    section = Section("a", (Line((Row("chords", (), ((ChordSpan(Fraction(0), Fraction(4), None),),)),)),))
    song = Song("One", (section,), visits_of(["a"] * 120))
    assert "form: a*99 a*21\n" in write_song(song)
    assert parse_song(write_song(song)) == song


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (Fraction(3), "3"),
        (Fraction(3, 2), "1.5"),
        (Fraction(11, 4), "2.75"),
        (Fraction(1, 2), "1/2"),
        (Fraction(4, 3), "4/3"),
        (Fraction(2, 3), "2/3"),
        (Fraction(20001, 10000), "2.0001"),
    ],
)
def test_number_text(number: Fraction, text: str) -> None:
    assert number_text(number) == text


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("", ""),
        ("Harbour Lanterns", "Harbour Lanterns"),
        ("yes", '"yes"'),
        ("Null", '"Null"'),
        ("a: b", '"a: b"'),
        ("a #b", '"a #b"'),
        ("12", '"12"'),
        ("Ünder (2nd) – it's", "Ünder (2nd) – it's"),
        ("[x", '"[x"'),
        ("trailing -", '"trailing -"'),
        ('say "x"', '"say \\"x\\""'),
    ],
)
def test_yaml_text(text: str, written: str) -> None:
    assert yaml_text(text) == written
    if text:
        assert parse_song(f"title: {written}\nsections:\n  a: |\n    chords C\n").title == text


def test_widths() -> None:
    assert shown_width("abc") == 3
    assert shown_width("海の") == 4
    assert shown_width("e\u0301") == 1
    rows = [LaidRow("words", "", ("海 の", "x")), LaidRow("marks", "", ("p", ""))]
    assert lay_out([rows], has_pickup=False) == [["words  海 の | x |", "marks  p     |   |"]]


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_rows_are_lined_up_and_no_word_of_them_changes(path: Path) -> None:
    for rows in re.findall(
        r"(?:^ +(?:chords|melody|words|strum|marks|between).*\n)+", path.read_text("utf-8"), re.MULTILINE
    ):
        crooked = [re.sub(r" *\| *", "|", row) for row in rows.splitlines()]
        lined_up = line_up(crooked)
        assert [re.split(r"[\s|]+", row.strip(" |")) for row in lined_up] == [
            re.split(r"[\s|]+", row.strip(" |")) for row in crooked
        ]
        places = [[at for at, sign in enumerate(row) if sign == "|"] for row in lined_up]
        assert all(place == longest[: len(place)] for longest in [max(places, key=len)] for place in places)
        assert line_up(lined_up) == lined_up
    assert line_up(["  nothing | here", ""]) == ["  nothing | here", ""]
