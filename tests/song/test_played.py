"""The piece as played: passes, pick-ups, chords that go on, words under the notes that are struck."""

from __future__ import annotations

from fractions import Fraction

from tercet.song import Bar, ChordSpan, Line, Note, Row, Section, Song, played_bars
from tercet.song import parse_song as parse
from tercet.song.form import visits_of


def bars_of(rows: str, settings: str = "meter: 3/4") -> tuple[Bar, ...]:
    block = "\n".join(f"    {row}".rstrip() for row in rows.strip().splitlines())
    return played_bars(parse(f"title: One\n{settings}\nsections:\n  verse: |\n{block}\n"))


def tune(bar: Bar) -> str:
    return " ".join(f"{note.pitch or '.'}:{note.length_beat}" for note in bar.melody)


def harmony(bar: Bar) -> str:
    return " ".join(f"{span.chord or 'N.C.'}:{span.length_beat}" for span in bar.chords)


def sung(bar: Bar) -> dict[int | Fraction, str]:
    return {start: syllable.text for start, syllable in bar.words}


def test_bars_are_counted_through_the_piece() -> None:
    bars = bars_of("chords C | F\nmelody C4:3 | F4:3\n\nchords G\nmelody G4:3", "meter: 3/4\nform: verse*2")
    assert [(bar.number, bar.pass_number, bar.section_bar, bar.line) for bar in bars] == [
        (1, 1, 1, 0),
        (2, 1, 2, 0),
        (3, 1, 3, 1),
        (4, 2, 1, 0),
        (5, 2, 2, 0),
        (6, 2, 3, 1),
    ]
    assert [bar.start_beat for bar in bars] == [0, 3, 6, 9, 12, 15]
    assert {bar.length_beat for bar in bars} == {bar.pickup_from for bar in bars} == {3}


def test_without_melody_the_bar_rests() -> None:
    (bar,) = bars_of("chords C")
    assert tune(bar) == ".:3"
    assert bar.between is None
    assert bar.strum is None
    assert bar.words == ()
    assert bar.marks == ()


def test_chords_go_on_over_bars_and_lines() -> None:
    bars = bars_of(
        "chords C | | F:1 G[0232]:2 |\nmelody C4:3 | C4:3 | F4:3\n\nmelody G4:3 | G4:3\n\n"
        "chords | D\nmelody G4:3 | G4:3"
    )
    assert [harmony(bar) for bar in bars] == ["C:3", "C:3", "F:1 G:2", "G:3", "G:3", "G:3", "D:3"]
    assert bars[3].chords[0].shape == (0, 2, 3, 2)
    assert bars[3].chords[0].start_beat == 0


def test_passes_replace_bar_by_bar() -> None:
    rows = (
        "chords C | F | G\nchords 2 | | E7\nmelody C4:3 | F4:3 | G4:3\nmelody 2 | A4:3 | |\nmelody last | B4:3 | D4:3\n"
        "marks p | | |\nmarks last | f | |"
    )
    bars = bars_of(rows, "meter: 3/4\nform: verse*3")
    assert [tune(bar) for bar in bars] == [
        "C4:3",
        "F4:3",
        "G4:3",
        "C4:3",
        "A4:3",
        "G4:3",
        "C4:3",
        "B4:3",
        "D4:3",
    ]
    assert [harmony(bar)[0] for bar in bars] == [*"CFG", *"CFE", *"CFG"]
    assert [bar.own for bar in bars] == [False] * 3 + [False, True, True] + [False, True, True]
    assert [[mark.value for mark in bar.marks] for bar in bars][6:] == [["p"], ["f"], []]


def test_the_last_pass_wins_over_its_number() -> None:
    bars = bars_of("chords C\nmelody C4:3\nmelody last D4:3\nmelody 2 E4:3", "meter: 3/4\nform: verse*2")
    assert [tune(bar) for bar in bars] == ["C4:3", "D4:3"]


def test_a_replaced_chord_that_goes_on_makes_the_bar_its_own() -> None:
    bars = bars_of("chords C | | G\nchords 2 F | | |\nmelody C4:3 | C4:3 | G4:3", "meter: 3/4\nform: verse*2")
    assert [harmony(bar) for bar in bars[3:]] == ["F:3", "F:3", "G:3"]
    assert [bar.own for bar in bars] == [False] * 3 + [True, True, False]


def test_words_and_marks_alone_do_not_make_a_bar_its_own() -> None:
    bars = bars_of("chords C\nmelody C4:3\nwords la\nwords 2 lo\nmarks 2 p", "meter: 3/4\nform: verse*2")
    assert [bar.own for bar in bars] == [False, False]
    assert [sung(bar) for bar in bars] == [{0: "la"}, {0: "lo"}]


PICKUP = """
chords      | C       | F     |
melody G4:1/2 A:1/2 | C5:3 | A4:3 |
words to the | sea    | shore |
marks p@1.5 | f mf@2  | pp@3  |
strum       | ddd     |       |
"""


def test_pickup_at_the_very_start_is_bar_0() -> None:
    bar = bars_of(PICKUP)[0]
    assert (bar.number, bar.section_bar) == (0, 0)
    assert [bar.start_beat, bar.length_beat, bar.pickup_from] == [0, 1, 0]
    assert tune(bar) == "G4:1/2 A4:1/2"
    assert harmony(bar) == "N.C.:1"
    assert sung(bar) == {0: "to", Fraction(1, 2): "the"}
    assert [mark.at_beat for mark in bar.marks] == [Fraction(1, 2)]
    assert bars_of(PICKUP)[1].start_beat == 1


def test_pickup_takes_its_time_from_the_bar_before() -> None:
    bars = bars_of(PICKUP, "meter: 3/4\nform: verse*2")
    assert [bar.number for bar in bars] == [0, 1, 2, 3, 4]
    assert [bar.start_beat for bar in bars] == [0, 1, 4, 7, 10]
    held, last = bars[2], bars[4]
    assert tune(held) == "A4:2 G4:1/2 A4:1/2"
    assert [note.start_beat for note in held.melody] == [0, 2, Fraction(5, 2)]
    assert held.pickup_from == 2
    assert harmony(held) == "F:3"
    assert sung(held) == {0: "shore", 2: "to", Fraction(5, 2): "the"}
    assert [(mark.value, mark.at_beat) for mark in held.marks] == [("pp", 2), ("p", Fraction(5, 2))]
    assert tune(last) == "A4:3"
    assert last.pickup_from == 3
    assert bars[1].strum == ("d", "d", "d")
    assert held.strum is None


def test_pickup_of_chords_and_between() -> None:
    rows = "chords G7:1 | C | F\nmelody | C5:3 | A4:3\nbetween .:1/2 E4:1/2 | C4:3 | |"
    bars = bars_of(rows, "meter: 3/4\nform: verse*2")
    assert harmony(bars[0]) == "G7:1"
    assert tune(bars[0]) == ".:1"
    assert harmony(bars[2]) == "F:2 G7:1"
    assert tune(bars[2]) == "A4:3"
    between = bars[2].between or ()
    assert [(note.start_beat, note.length_beat, note.is_rest) for note in between] == [
        (0, 2, True),
        (2, Fraction(1, 2), True),
        (Fraction(5, 2), Fraction(1, 2), False),
    ]


def test_pickup_cuts_a_between_row_that_is_written() -> None:
    rows = "chords | C\nmelody G4 | C5:3\nbetween E4 | C4:3"
    bars = bars_of(rows, "meter: 3/4\nform: verse*2")
    assert [f"{note.pitch}:{note.length_beat}" for note in bars[1].between or ()] == ["C4:2", "E4:1"]


def test_pickup_of_another_section() -> None:
    text = (
        "title: One\nmeter: 3/4\nform: a b a\nsections:\n"
        "  a: |\n    chords C\n    melody C4:2 .\n"
        "  b: |\n    chords | G\n    melody D4:1 | G4:3\n    melody 1 E4 | |\n"
    )
    bars = played_bars(parse(text))
    assert [tune(bar) for bar in bars] == ["C4:2 E4:1", "G4:3", "C4:2 .:1"]
    assert [(bar.section, bar.own) for bar in bars] == [("a", True), ("b", False), ("a", False)]


def test_words_stand_under_struck_notes() -> None:
    bars = bars_of("chords C | C\nmelody C4 =:1/2 .:1/2 E | =:1 F G\nwords one two | three _")
    assert sung(bars[0]) == {0: "one", 2: "two"}
    assert sung(bars[1]) == {1: "three", 2: ""}


def test_a_pickup_may_go_on_with_the_bar_before() -> None:
    text = (
        "title: One\nmeter: 3/4\nform: a b\nsections:\n  a: |\n    chords C\n    melody C5:3\n    words lu\n"
        "  b: |\n    chords | G\n    melody = | G4:3\n    words | lo\n"
    )
    first, second = played_bars(parse(text))
    assert tune(first) == "C5:2 C5:1"
    assert first.melody[0].tied_on
    assert (sung(first), sung(second)) == ({0: "lu"}, {0: "lo"})


def test_marks_stand_in_order() -> None:
    (bar,) = bars_of("chords C\nmelody C4 D E\nmarks f@3 p@1 mp@2")
    assert [mark.value for mark in bar.marks] == ["p", "mp", "f"]


# ---- notes that go on


def going_on(text: str) -> list[str]:
    """The melody of each bar as it sounds, `-` after a note that the next one goes on with."""
    return [
        " ".join(f"{note.pitch or '.'}:{note.length_beat}{'-' * note.tied_on}" for note in bar.melody)
        for bar in played_bars(parse(text))
    ]


def test_a_note_goes_on_within_bars_over_bar_lines_and_over_lines() -> None:
    text = (
        "title: One\nmeter: 3/4\nsections:\n  a: |\n    chords C | C\n    melody C4 =:1/2 =:3/2 | = . E\n\n"
        "    chords G\n    melody =:2 D4\n"
    )
    assert going_on(text) == ["C4:1- C4:1/2- C4:3/2-", "C4:1 .:1 E4:1-", "E4:2 D4:1"]


def test_a_section_goes_on_with_what_was_played_before_it_on_each_pass() -> None:
    text = (
        "title: One\nmeter: 3/4\nform: a b c b\nsections:\n  a: |\n    chords C\n    melody C4:3\n"
        "  b: |\n    chords C\n    melody =:2 G4\n  c: |\n    chords C\n    melody E4:3\n"
    )
    assert going_on(text) == ["C4:3-", "C4:2 G4:1", "E4:3-", "E4:2 G4:1"]


def test_a_pass_of_its_own_changes_what_goes_on() -> None:
    text = (
        "title: One\nmeter: 3/4\nform: a*2\nsections:\n"
        "  a: |\n    chords C | C\n    melody C4:3 | =:3\n    melody 2 E4:3 |\n"
    )
    assert going_on(text) == ["C4:3-", "C4:3", "E4:3-", "E4:3"]


def test_a_bar_goes_on_with_the_pickup_before_it() -> None:
    text = (
        "title: One\nmeter: 3/4\nform: a*2\nsections:\n"
        "  a: |\n    chords | C | C\n    melody G4 | =:2 A4 | C5:2 = |\n"
    )
    assert going_on(text) == ["G4:1-", "G4:2 A4:1", "C5:2 G4:1-", "G4:2 A4:1", "C5:2- C5:1"]


def test_a_position_goes_on_where_it_is() -> None:
    (bar,) = bars_of("chords C\nmelody s1f3:2[1] =")
    assert [(note.position, note.pin is None) for note in bar.melody] == [((1, 3), False), ((1, 3), True)]


def test_a_row_between_goes_on_by_itself() -> None:
    first, second = bars_of("chords C | C\nmelody C5:3 | E5:3\nbetween . G4:2 | =:2 .")
    assert [note.tied_on for note in first.between or ()] == [False, True]
    assert [str(note.pitch) for note in second.between or ()] == ["G4", "None"]
    assert not any(note.tied_on for note in first.melody)


def test_a_song_made_without_a_note_before_is_silent_there() -> None:
    notes = (Note(Fraction(0), Fraction(2), goes_on=True), Note(Fraction(2), Fraction(2), goes_on=True))
    chords = Row("chords", (), ((ChordSpan(Fraction(0), Fraction(4), None),),))
    made = Song("One", (Section("a", (Line((chords, Row("melody", (), (notes,)))),)),), visits_of(["a"]))
    (bar,) = played_bars(made)
    assert [note.is_rest for note in bar.melody] == [True, True]
