"""Reading: every rule of the arrangement file, on files without mistakes."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tercet.errors import SongError
from tercet.song import (
    ChordSpan,
    Dynamics,
    Mark,
    Meter,
    Note,
    Pin,
    Row,
    Section,
    Song,
    Source,
    Syllable,
    Visit,
    parse_song,
    read_song,
)
from tercet.theory import Key, Pitch, parse_chord


def song(rows: str, settings: str = "meter: 3/4") -> Song:
    """A song of one section whose rows are given."""
    block = "\n".join(f"    {row}".rstrip() for row in rows.strip().splitlines())
    return parse_song(f"title: One\n{settings}\nsections:\n  verse: |\n{block}\n")


def section(rows: str, settings: str = "meter: 3/4") -> Section:
    return song(rows, settings).section("verse")


def row(rows: str, name: str = "melody", settings: str = "meter: 3/4", line: int = 0) -> Row:
    return next(row for row in section(rows, settings).lines[line].rows if row.name == name)


def names(row: Row) -> list[list[str]]:
    return [[str(note.pitch) if isinstance(note, Note) else "?" for note in bar or ()] for bar in row.bars]


def lengths(row: Row, bar: int = 0) -> list[Any]:
    return [item.length_beat for item in row.bars[bar] or () if isinstance(item, Note | ChordSpan)]


# ---- settings


def test_settings_left_out() -> None:
    plain = parse_song("title: One\nsections:\n  verse: |\n    chords C\n")
    assert plain.title == "One"
    assert (plain.composer, plain.source_note, plain.licence) == ("", "", "")
    assert plain.key == Key("C", 0, minor=False)
    assert plain.meter == Meter(4, 4)
    assert plain.tempo == 96
    assert (plain.instrument, plain.scale_length_mm, plain.tuning) == ("", 380.0, "high-g")
    assert plain.players == "improving"
    assert plain.dynamics == Dynamics("f", "mp", "p")
    assert plain.strum is None
    assert plain.swing == Fraction(1, 2)
    assert plain.sound is None
    assert plain.count_in_bars is None
    assert plain.form == (Visit("verse", 1, last=True),)


SETTINGS: list[tuple[str, str, Any]] = [
    ("title: Harbour   Lanterns", "title", "Harbour Lanterns"),
    ('title: "Two: a"', "title", "Two: a"),
    ("title: 1999", "title", "1999"),
    ("title: Yes", "title", "Yes"),
    ("composer: Anna", "composer", "Anna"),
    ("composer: ~", "composer", ""),
    ("from: |\n  an old\n  book", "source_note", "an old book"),
    ("from:", "source_note", ""),
    ("licence: CC0-1.0", "licence", "CC0-1.0"),
    ("key: Bb major", "key", Key("B", -1, minor=False)),
    ("key: F♯m", "key", Key("F", 1, minor=True)),
    ("meter: 6/8", "meter", Meter(6, 8)),
    ("meter: 12 / 8", "meter", Meter(12, 8)),
    ("tempo: 92.5", "tempo", Fraction(185, 2)),
    ("tempo: 277/3", "tempo", Fraction(277, 3)),
    ("instrument: tenor", "scale_length_mm", 430.0),
    ("instrument: 402.5 mm", "scale_length_mm", 402.5),
    ("instrument: 351", "instrument", "custom"),
    ("instrument: baritone", "tuning", "baritone"),
    ("instrument: baritone\ntuning: low-g", "tuning", "low-g"),
    ("tuning: low-g", "tuning", "low-g"),
    ("tuning: [A4, D4, F#4, B4]", "tuning", tuple(map(Pitch.parse, ("A4", "D4", "F#4", "B4")))),
    ("tuning: A4 D4 Gb4 B4", "tuning", tuple(map(Pitch.parse, ("A4", "D4", "Gb4", "B4")))),
    ("players: beginner", "players", "beginner"),
    ("dynamics: {melody: fff, between: ppp}", "dynamics", Dynamics("fff", "ppp", "p")),
    ("dynamics:\n  strums: mf", "dynamics", Dynamics("f", "mp", "mf")),
    ("strum: d . D u", "strum", ("d", ".", "D", "u")),
    ("strum: d.x.U.d.", "strum", tuple("d.x.U.d.")),
    ("between: fill", "between", "fill"),
    ("between: as-written", "between", "as-written"),
    ("swing: 2/3", "swing", Fraction(2, 3)),
    ("swing: 0.6", "swing", Fraction(3, 5)),
    ("front: 9", "front", Fraction(9)),
    ("front: 10.5 LU", "front", Fraction(21, 2)),
    ("feel: loose", "feel", "loose"),
    ("sound: My Fonts/nylon.sf2", "sound", "My Fonts/nylon.sf2"),
    ("count-in: 2", "count_in_bars", 2),
    ("count-in: 0", "count_in_bars", 0),
]


@pytest.mark.parametrize(("text", "field", "value"), SETTINGS, ids=[text for text, _, _ in SETTINGS])
def test_setting(text: str, field: str, value: Any) -> None:
    title = "" if text.startswith("title") else "title: One\n"
    read = parse_song(f"{title}{text}\nsections:\n  verse: |\n    chords C\n")
    assert getattr(read, field) == value


def test_yaml_that_is_let_through() -> None:
    text = """\
%YAML 1.2
---
# song
"title": 'One'
sections: # all
  verse: |- # one
    chords C
  coda: |2
      chords G
...
"""
    read = parse_song(text)
    assert [part.name for part in read.sections] == ["verse", "coda"]
    assert read.section("coda").lines[0].rows[0].bars == (
        (ChordSpan(Fraction(0), Fraction(4), parse_chord("G")),),
    )


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_endings(ending: str) -> None:
    text = ending.join(["title: One", "sections:", "  verse: |", "    chords C", "    melody C4:4", ""])
    read = parse_song(text)
    assert read == song("chords C\nmelody C4:4", "meter: 4/4")
    note = (read.section("verse").lines[0].rows[1].bars[0] or ())[0]
    assert isinstance(note, Note)
    assert note.source == Source(5, 12, 4)


def test_read_song_reads_a_file(tmp_path: Path) -> None:
    path = tmp_path / "song.yaml"
    path.write_text("\ufefftitle: Ünder\nsections:\n  verse: |\n    chords C\n", encoding="utf-8")
    assert read_song(path).title == "Ünder"
    assert read_song(str(path)).title == "Ünder"
    path.write_text("title:\nsections:\n  verse: |\n    chords C\n", encoding="utf-8")
    with pytest.raises(SongError, match="line 1, title: nothing is written after the colon") as caught:
        read_song(path)
    assert caught.value.file == str(path)
    assert caught.value.mistakes[0].line == 1


# ---- rows


def test_lines_comments_and_blank_lines() -> None:
    read = section(
        "# first\nchords C | G\nmelody C4:3 | D4:3\n\n\n# second\nchords F |\n# in between\nmelody F4:3"
    )
    assert [line.bar_count for line in read.lines] == [2, 1]
    assert [[row.name for row in line.rows] for line in read.lines] == [["chords", "melody"]] * 2


def test_opening_bar_lines_are_for_the_eye() -> None:
    plain = section("chords C | G\nmelody C4:3 | D4:3\nmarks p | f")
    assert section("chords | C | G |\nmelody | C4:3 | D4:3 |\nmarks | p | f |") == plain
    assert section("chords | C | G\nmelody C4:3 | D4:3 |\nmarks p | f |") == plain


def test_empty_first_bar_beside_a_full_one() -> None:
    read = section("chords C | G\n\nchords | F\nmelody C4:3 | D4:3")
    assert read.lines[1].rows[0].bars[0] is None
    assert read.lines[1].bar_count == 2


def test_empty_last_bar_where_the_tune_ends_without_bar_line() -> None:
    closed = section("chords C | G | C |\nmelody C4:3 | D4:3 | E4:3 |\nmarks | p | |\nwords la | lo | |")
    assert section("chords C | G | C\nmelody C4:3 | D4:3 | E4:3\nmarks | p |\nwords la | lo |") == closed
    assert section("chords C | G | C |\nmelody C4:3 | D4:3 | E4:3\nmarks | p |\nwords la | lo |") == closed
    assert section("chords C | F |\n\nchords C | G\nmarks p |").lines[1].rows[1].bars[1] is None
    with pytest.raises(SongError, match=r"chords has 3, melody has 3, words has 2"):
        section("chords C | G | C |\nmelody C4:3 | D4:3 | E4:3 |\nwords la | lo |")


def test_empty_last_bar_beside_a_pickup() -> None:
    read = section("chords | C | C\nmelody G4 | C5:3 | G4:3\nmarks | p |\nbetween . | C4:3 |")
    assert read == section("chords | C | C |\nmelody G4 | C5:3 | G4:3 |\nmarks | p | |\nbetween . | C4:3 | |")


def test_lengths() -> None:
    assert lengths(row("chords C\nmelody C4 D:1.5 E:1/2")) == [1, Fraction(3, 2), Fraction(1, 2)]
    thirds = row("chords C\nmelody C4:1/3 D:1/3 E:1/3 F:2")
    assert lengths(thirds) == [Fraction(1, 3)] * 3 + [2]
    assert [note.start_beat for note in thirds.bars[0] or () if isinstance(note, Note)] == [
        0,
        Fraction(1, 3),
        Fraction(2, 3),
        1,
    ]
    assert lengths(row("chords C\nmelody G4:2 A B:3", settings="meter: 6/8")) == [2, 1, 3]


def test_octaves_carry_on() -> None:
    rows = "chords C | C\nmelody C4 B A5 | G F# Bb4\nmelody 2 E5 D C | |\n\nchords C\nmelody C D Eb\nmelody 2 F G A"
    read = section(rows, "meter: 3/4\nform: verse*2")
    first, second = read.lines
    assert names(first.rows[1]) == [["C4", "B4", "A5"], ["G5", "F#5", "Bb4"]]
    assert names(first.rows[2])[0] == ["E5", "D5", "C5"]
    assert names(second.rows[1]) == [["C4", "D4", "Eb4"]]
    assert names(second.rows[2]) == [["F5", "G5", "A5"]]


def test_signs() -> None:
    assert names(row("chords C\nmelody F♯4 B♭ C##", settings="meter: 3/4")) == [["F#4", "Bb4", "C##4"]]
    assert names(row("chords C\nmelody C-1 Dbb2 G9", settings="meter: 3/4")) == [["C-1", "Dbb2", "G9"]]


def test_rests_positions_pins_and_notes_that_go_on() -> None:
    notes = row("chords C\nmelody . s1f3:1/2[321] =:1/2 E4").bars[0]
    assert notes == (
        Note(Fraction(0), Fraction(1)),
        Note(Fraction(1), Fraction(1, 2), position=(1, 3), pin=Pin("roll", (3, 2, 1))),
        Note(Fraction(3, 2), Fraction(1, 2), goes_on=True),
        Note(Fraction(2), Fraction(1), Pitch("E", 0, 4)),
    )


@pytest.mark.parametrize(
    ("word", "pin"),
    [
        ("A4:3[4321]", Pin("roll", (4, 3, 2, 1))),
        ("A4:3[43]", Pin("roll", (4, 3))),
        ("A4:3[1]", Pin("alone", (1,))),
        ("A4:3[roll]", Pin("roll")),
        ("A4:3[alone]", Pin("alone")),
    ],
)
def test_pins(word: str, pin: Pin) -> None:
    note = (row(f"chords Am\nmelody {word}").bars[0] or ())[0]
    assert isinstance(note, Note)
    assert note.pin == pin


def test_an_octave_carries_on_past_a_note_that_goes_on() -> None:
    assert names(row("chords Am | Am\nmelody A5:3[321] | =:2 B")) == [["A5"], ["None", "B5"]]


def test_notes_go_on_over_bars_lines_and_sections() -> None:
    text = (
        "title: One\nmeter: 3/4\nform: a b\nsections:\n"
        "  a: |\n    chords C | C\n    melody C5:3 | = B4 G#:1\n\n    chords E\n    melody =:3\n"
        "  b: |\n    chords E\n    melody =:3\n"
    )
    assert parse_song(text).section("b").bar_count == 1


# ---- chords


def spans(text: str, meter: str = "4/4") -> list[list[tuple[str, Any]]]:
    found = row(f"chords {text}", "chords", f"meter: {meter}").bars
    return [
        [(str(span.chord), span.length_beat) for span in bar or () if isinstance(span, ChordSpan)]
        for bar in found
    ]


def test_chords_share_their_bar() -> None:
    assert spans("C | C G | C F G C") == [[("C", 4)], [("C", 2), ("G", 2)], [(name, 1) for name in "CFGC"]]
    assert spans("C F", "6/8") == [[("C", 3), ("F", 3)]]
    assert spans("C F G", "9/8") == [[("C", 3), ("F", 3), ("G", 3)]]
    assert spans("C F", "2/2") == [[("C", 1), ("F", 1)]]


def test_chord_lengths() -> None:
    assert spans("C:3 G7:1 | Am:1.5 E7:5/2") == [
        [("C", 3), ("G7", 1)],
        [("Am", Fraction(3, 2)), ("E7", Fraction(5, 2))],
    ]
    assert spans("C:3 G7") == [[("C", 3), ("G7", 1)]]


def test_empty_bars_and_no_chord() -> None:
    assert spans("C | | N.C. | NC N.C:2 G") == [
        [("C", 4)],
        [],
        [("None", 4)],
        [("None", 1), ("None", 2), ("G", 1)],
    ]


def test_chord_shapes() -> None:
    bars = row("chords Am[2000] | C[9.10.x.0]:3", "chords").bars
    assert [(bar or ())[0] for bar in bars] == [
        ChordSpan(Fraction(0), Fraction(3), parse_chord("Am"), (2, 0, 0, 0)),
        ChordSpan(Fraction(0), Fraction(3), parse_chord("C"), (9, 10, None, 0)),
    ]
    assert row("chords Am:3[2000]", "chords") == row("chords Am[2000]:3", "chords")


def test_every_usual_chord_name() -> None:
    text = "CΔ | F#m7b5 | G6/9 | Bb° | D7♯9"
    assert [bar[0][0] for bar in spans(text)] == ["Cmaj7", "F#m7b5", "G6/9", "Bbdim", "D7#9"]


# ---- passes and form


def test_passes() -> None:
    read = section(
        "chords C\nmelody C4:3\nmelody 2 D4:3\nwords la\nwords 3 last 2 lo\nmarks last p",
        "meter: 3/4\nform: verse*4",
    )
    assert [(row.name, row.passes) for row in read.lines[0].rows] == [
        ("chords", ()),
        ("melody", ()),
        ("melody", (2,)),
        ("words", ()),
        ("words", (2, 3, -1)),
        ("marks", (-1,)),
    ]


def test_words_may_start_with_last_or_a_figure_after_a_bar_line() -> None:
    assert row("chords C\nmelody C4 C C\nwords | last 2 go", "words").passes == ()
    with_pickup = section("chords | C\nmelody C4 | C4 . .\nwords | last | 2")
    assert with_pickup.lines[0].rows[2].pickup == (Syllable("last"),)


@pytest.mark.parametrize(
    "form", ["a b b a", "a b*2 a", "[a, b*2, a]", "[a b, [b], a]", "\n  - a\n  - b*2\n  - a", '"a b*2\n  a"']
)
def test_form(form: str) -> None:
    read = parse_song(f"title: One\nform: {form}\nsections:\n  a: |\n    chords C\n  b: |\n    chords G\n")
    assert read.form == (
        Visit("a", 1, last=False),
        Visit("b", 1, last=False),
        Visit("b", 2, last=True),
        Visit("a", 2, last=True),
    )


def test_form_left_out_is_as_written() -> None:
    read = parse_song("title: One\nsections:\n  b: |\n    chords C\n  a: |\n    chords G\n")
    assert [visit.section for visit in read.form] == ["b", "a"]


def test_a_section_may_be_left_out_of_the_form_but_is_checked() -> None:
    text = (
        "title: One\nform: a\nsections:\n  a: |\n    chords C\n"
        "  b: |\n    chords C\n    melody C4:4\n    marks louder@1\n"
    )
    assert parse_song(text).section("b").bar_count == 1
    with pytest.raises(SongError, match="words: this bar has 2 syllables"):
        parse_song(text + "    words one two\n")


# ---- pick-ups


def test_pickup() -> None:
    read = section(
        "chords | C | F\nmelody G4:1/2 A:1/2 | C5:3 | A4:2 .\nwords to the | sea | shore\nmarks p | f | |"
    )
    assert read.pickup_beat == 1
    assert read.bar_count == 2
    chords, melody, words, marks = read.lines[0].rows
    assert chords.pickup is None
    assert melody.pickup == (
        Note(Fraction(0), Fraction(1, 2), Pitch("G", 0, 4)),
        Note(Fraction(1, 2), Fraction(1, 2), Pitch("A", 0, 4)),
    )
    assert words.pickup == (Syllable("to"), Syllable("the"))
    assert marks.pickup == (Mark(Fraction(0), "dynamic", "p"),)
    assert [len(one.bars) for one in read.lines[0].rows] == [2] * 4


def test_pickup_of_chords_and_between() -> None:
    assert section("chords G7:1 | C | F").pickup_beat == 1
    assert section("chords G7:1 | C | F\nmelody | C5:3 | A4:3").pickup_beat == 1
    assert section("chords G7 | C | F\nmelody G4:2 | C5:3 | A4:2 .").lines[0].rows[0].pickup == (
        ChordSpan(Fraction(0), Fraction(2), parse_chord("G7")),
    )
    between = section("chords C | F\nbetween G4:2 | C5:3 | .:3")
    assert between.pickup_beat == 2
    assert between.lines[0].rows[1].pickup == (Note(Fraction(0), Fraction(2), Pitch("G", 0, 4)),)


def test_one_short_bar_alone_is_no_pickup() -> None:
    with pytest.raises(SongError, match="this bar is 1 beat too short"):
        section("chords C\nmelody C4 D")


# ---- words, marks, strums


def test_words() -> None:
    words = row(
        "chords C | C | C\nmelody C4 D E | C4 D:2 | E4:3\nwords lan-terns a- | glow _ | don't", "words"
    ).bars
    assert words == (
        (Syllable("lan", joined=True), Syllable("terns"), Syllable("a", joined=True)),
        (Syllable("glow"), Syllable("")),
        (Syllable("don't"),),
    )
    assert row("chords C\nmelody C4 D E\nwords glo-_-ri", "words") == row(
        "chords C\nmelody C4 D E\nwords glo- _ ri", "words"
    )
    assert row("chords C\nmelody C4 D E\nwords lan‐ter‑n", "words") == row(
        "chords C\nmelody C4 D E\nwords lan-ter-n", "words"
    )


def test_words_count_struck_notes_only() -> None:
    rows = "chords C | C\nmelody C4 =:1/2 .:1/2 D | =:2 E\nwords one two | three"
    assert row(rows, "words").bars[1] == (Syllable("three"),)


def test_a_bar_may_go_without_words() -> None:
    assert row("chords C | C\nmelody C4:3 | D4 E F\nwords one | |", "words").bars[1] is None


def test_words_of_a_pass_count_against_its_melody() -> None:
    read = song(
        "chords C\nmelody C4 D E\nmelody 2 C4:3\nwords one two three\nwords 2 one",
        "meter: 3/4\nform: verse*2",
    )
    assert len(read.form) == 2


def test_marks() -> None:
    marks = row(
        "chords C\nmelody C4 D E\nmarks p@3 louder@1 mf@2.5 rit@1 a-tempo fermata@3 accent@5/2 ,@3 strums:pp@1",
        "marks",
    )
    assert marks.bars[0] == (
        Mark(Fraction(2), "dynamic", "p"),
        Mark(Fraction(0), "hairpin", "louder"),
        Mark(Fraction(3, 2), "dynamic", "mf"),
        Mark(Fraction(0), "rit"),
        Mark(Fraction(0), "a-tempo"),
        Mark(Fraction(2), "fermata"),
        Mark(Fraction(3, 2), "accent"),
        Mark(Fraction(2), "breath"),
        Mark(Fraction(0), "dynamic", "pp", "strums"),
    )


@pytest.mark.parametrize(
    "marks",
    [
        "louder@1 f@2",
        "louder@1 softer@2 f@3",
        "louder@1 melody:f@2",
        "strums:louder@1 f@3",
        "strums:softer@1 strums:pp@2",
        "between:louder@2 f@3",
    ],
)
def test_hairpins_that_end(marks: str) -> None:
    assert song(f"chords C\nmelody C4 D E\nmarks {marks}").title == "One"


@pytest.mark.parametrize(
    "marks",
    [
        "f@1 louder@1",
        "louder@2 rit@3",
        "louder@1 strums:f@3",
        "strums:louder@1 melody:f@3",
        "louder@1 softer@2",
    ],
)
def test_hairpins_without_end(marks: str) -> None:
    with pytest.raises(SongError, match="has no end: no dynamic mark comes after it"):
        song(f"chords C\nmelody C4 D E\nmarks {marks}")


def test_a_hairpin_may_end_in_the_next_section() -> None:
    text = (
        "title: One\nform: a b\nsections:\n  a: |\n    chords C\n    marks louder@1\n"
        "  b: |\n    chords C\n    marks f@1\n"
    )
    assert len(parse_song(text).form) == 2
    with pytest.raises(SongError, match="louder has no end"):
        parse_song(text.replace("form: a b", "form: a b a"))


@pytest.mark.parametrize(
    ("slots", "meter"),
    [("d u d", "3/4"), ("d.d.du", "3/4"), ("dxudxudxu", "3/4"), ("d . . d . .", "6/8"), ("D" * 12, "3/4")],
)
def test_strum(slots: str, meter: str) -> None:
    assert row(f"chords C\nstrum {slots}", "strum", f"meter: {meter}").bars == (
        tuple(slots.replace(" ", "")),
    )


def test_several_mistakes_come_in_the_order_of_the_file() -> None:
    with pytest.raises(SongError, match=r"6 mistakes in song\.yaml") as caught:
        song("chords X | C\nmelody c4 E4 G4 | C4\nstrum d | d q u", "meter: 3/4\ntempo: fast")
    places = [(mistake.line, mistake.column, mistake.row) for mistake in caught.value.mistakes]
    assert places == [
        (3, 8, "tempo"),
        (6, 12, "chords"),
        (7, 12, "melody"),
        (7, 23, "melody"),
        (8, 11, "strum"),
        (8, 17, "strum"),
    ]
