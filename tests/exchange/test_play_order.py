"""In which order written measures are played, whatever shape their signs have; and what is said of the others."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tercet.exchange import imported_text
from tercet.exchange.leadsheet import LeadChord, LeadMeasure, LeadNote, LeadSheet, TuneError
from tercet.exchange.plain_signs import with_plain_signs
from tercet.exchange.play_order import play_order
from tercet.song import Song, Syllable, played_bars
from tercet.theory import Pitch, parse_chord
from tests.exchange.heard import heard_song

LETTERS = "ABCDEFG"
SIGNS = {
    ":|": {"repeat_times": 2},
    ":|3": {"repeat_times": 3},
    "DC": {"da_capo": True},
    "DS": {"dal_segno": True},
    "fine": {"fine": True},
    "segno": {"segno": True},
    "coda": {"coda": True},
    "coda>": {"coda_at_end": True},
    "to": {"to_coda": True},
}


def measures(text: str) -> tuple[LeadMeasure, ...]:
    """Return measures of one note each: ``A |: B[1] :|``; signs follow their letter, but for ``|:``."""
    made: list[LeadMeasure] = []
    starts = False
    for word in text.split():
        if word == "|:":
            starts = True
            continue
        if word in SIGNS:
            made[-1] = replace(made[-1], **SIGNS[word])  # type: ignore[arg-type]
            continue
        letter, _, passes = word.partition("[")
        note = LeadNote(Fraction(0), Fraction(4), Pitch(letter[0], 0, 4))
        endings = tuple(int(number) for number in passes.rstrip("]").split(",") if number)
        made.append(LeadMeasure(letter, Fraction(4), (4, 4), (note,), endings=endings, repeat_start=starts))
        starts = False
    return tuple(made)


def played(text: str) -> str:
    plain = with_plain_signs(measures(text))
    return " ".join(plain[index].number for index, _ in play_order(plain))


@pytest.mark.parametrize(
    ("written", "heard"),
    [
        # as the books have them
        ("A B :| C", "A B A B C"),
        ("A B |: C :|3 D", "A B C C C D"),
        ("A B[1] :| C[2] D", "A B A C D"),
        ("A B[1,2] :| C[3] D", "A B A B A C D"),
        ("A B[1] :| C[2] :| D[3]", "A B A C A D"),
        # words that begin before the bar line at which they hold
        ("A fine B :| |: C DC D :|", "A B A B C D C D A"),
        ("A |: B C DS D :|", "A B C D B C D A B C D"),
        ("A fine B DC C D E :|", "A B A"),
        ("A fine B DC C D", "A B A"),
        # numbers with gaps, or from two on
        ("A B[1] :| C[3]", "A B A C"),
        ("A B[2] :| C[4] :| D[7] E", "A B A C A D E"),
        ("A B :| C[2] D", "A B A B C D"),
        # a bracket that stops before its repeat sign
        ("A B[1] C :| D[2] E", "A B C A D E"),
        ("A B[1] C D :| E[2]", "A B C D A E"),
        ("A B[1] C :| D", "A B C A D"),
        # no repeat sign between the endings
        ("A B[1] C[2] D", "A B A C D"),
        ("A B[1] C[2] D :|", "A B D A C D"),
        # jumps
        ("A B fine C DC", "A B C A B"),
        ("A B segno C fine D DS", "A B C D B C"),
        ("A segno B to C DS D coda", "A B C A B D"),
        # the coda's sign at both places, at an end or at a start
        ("A segno B coda> C DS D coda", "A B C A B D"),
        ("A segno B C coda D DS E coda", "A B C D A B E"),
        ("A segno B coda> to C DS D coda", "A B C A B D"),
        ("A B coda to C DC D coda E", "A B C A B D E"),
        ("A B to coda C DC D coda E :|", "A B C A B D E D E"),
        ("A B to C DC coda> D E", "A B C A B D E"),
        ("A B to C DC D", "A B C A B D"),
        # repeats before the jump once, in the coda twice
        ("A :| B to C DC D coda |: E :| F", "A A B C A B D E E F"),
        ("A to B DC C coda D[1] :| E[2] F", "A B A C D C E F"),
        # an ending that holds the sign is the one after the jump
        ("A B[1] fine :| C[2] D DC", "A B A C D A B"),
        ("A B[1] DC C[2]", "A B A C"),
    ],
)  # fmt: skip
def test_measures_are_played_as_their_signs_mean(written: str, heard: str) -> None:
    assert played(written) == heard


@pytest.mark.parametrize(
    "written", ["A B coda to DC", "A to coda B DS", "A segno B to DS coda", "A DC coda to"]
)
def test_a_coda_never_leads_back(written: str) -> None:
    assert len(played(written).split()) <= 4


def test_more_than_a_song_holds_is_refused() -> None:
    many = replace(measures("A :|")[0], repeat_times=99)
    with pytest.raises(TuneError, match="more than 2000 bars"):
        play_order([many] * 21)


def sheet(own: tuple[LeadMeasure, ...]) -> LeadSheet:
    return LeadSheet("Made", own)


def test_measures_that_are_never_played_are_said() -> None:
    _, song, remarks = imported_text(sheet(measures("A B fine C DC D E F :|")), "x")
    assert len(played_bars(song)) == 5
    assert "measures that no repeat, ending or jump leads to are never played and left out: D-F" in remarks
    assert not any("never played" in remark for remark in imported_text(sheet(measures("A :| B")), "x")[2])


# ---- verses


def sung(own: tuple[LeadMeasure, ...], *verses: tuple[str, str]) -> tuple[LeadMeasure, ...]:
    """Return measures with syllables: pairs of a letter and the verses that sing there."""
    words = {
        letter: tuple((int(verse), Syllable(f"{letter}{verse}")) for verse in numbers)
        for letter, numbers in verses
    }
    return tuple(
        replace(each, notes=(replace(each.notes[0], words=words.get(each.number, ())),)) for each in own
    )  # fmt: skip


def words(song: Song) -> str:
    return " ".join(syllable.text for bar in played_bars(song) for _, syllable in bar.words)


@pytest.mark.parametrize(
    ("written", "verses", "heard", "said"),
    [
        ("A |: B :|", [("A", "12"), ("B", "1")], "A1 B1 B1 A2 B1 B1", "2 verses and fewer repeats"),
        ("A B |: C :|", [("A", "123"), ("B", "123"), ("C", "12")],
         "A1 B1 C1 C2 A2 B2 C1 C2 A3 B3 C1 C2", "3 verses and fewer repeats: the tune is played 3 times"),
        ("A B :|", [("A", "1234"), ("B", "1234")], "A1 B1 A2 B2 A3 B3 A4 B4", "the tune is played 2 times"),
        ("A B[1] :| C[2]", [("A", "1234"), ("B", "13"), ("C", "24")], "A1 B1 A2 C2 A3 B3 A4 C4", "2 times"),
        ("A B[1] :| C[2]", [("A", "12"), ("B", "1"), ("C", "1")], "A1 B1 A2 C1", ""),
        ("A B fine C DC", [("A", "12"), ("B", "12"), ("C", "1")], "A1 B1 C1 A2 B2", ""),
        ("A B", [("A", "13"), ("B", "13")], "A1 B1 A3 B3", "2 verses and no repeat: the tune is played 2 times"),
    ],
)  # fmt: skip
def test_every_verse_is_sung(written: str, verses: list[tuple[str, str]], heard: str, said: str) -> None:
    _, song, remarks = imported_text(sheet(sung(measures(written), *verses)), "x")
    assert words(song) == heard
    assert said in " ".join(remarks)
    assert not any("no pass sings" in remark for remark in remarks)


def test_a_few_stray_syllables_are_no_verse() -> None:
    own = measures("A B C D E F G A B C D E F G A B C D")
    stray = sung(own, *[(letter, "1") for letter in LETTERS[1:]], ("A", "12"))
    _, song, remarks = imported_text(sheet(stray), "x")
    assert len(played_bars(song)) == len(own)
    assert "words of verse 2 that no pass sings are left out: measures A, A, A" in remarks


# ---- pick-ups before a repeat


def short(own: tuple[LeadMeasure, ...], lengths: dict[int, int]) -> LeadSheet:
    """Return a sheet in which some measures last so many quarters."""
    return sheet(
        tuple(
            replace(
                each,
                length_quarter=Fraction(lengths.get(index, 4)),
                notes=(replace(each.notes[0], length_quarter=Fraction(lengths.get(index, 4))),),
            )
            for index, each in enumerate(own)
        )
    )


@pytest.mark.parametrize("beats", [1, 2, 3])
def test_a_pick_up_before_a_repeat_leads_into_it(beats: int) -> None:
    own = measures("A |: B C D :|")
    _, song, _ = imported_text(short(own, {0: beats, 3: 4 - beats}), "x")
    assert [visit.section for visit in song.form] == ["tune", "tune"]
    assert song.section("tune").pickup_beat == beats
    assert [onset for _, onset, _ in heard_song(song)[:4]] == [0, beats, beats + 4, beats + 8]
    assert [bar.number for bar in played_bars(song)] == list(range(7))


def test_a_pick_up_between_two_repeats_takes_the_rest_before_it() -> None:
    own = measures("A |: B :| C |: D E :|")
    _, song, _ = imported_text(short(own, {1: 3, 2: 1, 4: 3}), "x")
    assert [(midi, int(onset)) for midi, onset, _ in heard_song(song)] == [
        (69, 0), (71, 4), (71, 8), (60, 11), (62, 12), (64, 16), (62, 20), (64, 24),
    ]  # fmt: skip
    full = imported_text(short(own, {2: 1}), "x")[1]
    assert [(midi, int(onset)) for midi, onset, _ in heard_song(full)][3:5] == [(60, 15), (62, 16)]


def test_a_pick_up_that_becomes_a_bar_leaves_its_chord_to_the_next() -> None:
    own = short(measures("A |: B :| C |: D :|"), {2: 1}).measures
    chord = LeadChord(Fraction(0), parse_chord("F"))
    with_chord = tuple(replace(each, chords=(chord,) if each.number == "C" else ()) for each in own)
    _, song, remarks = imported_text(sheet(with_chord), "x")
    named = [
        (str(span.chord), int(bar.start_beat + span.start_beat))
        for bar in played_bars(song)
        for span in bar.chords
    ]
    assert [each for each in named if each[0] == "F"][:3] == [("F", 15), ("F", 16), ("F", 20)]
    assert "the pick-up of c became a bar of its own, with rests before it" in remarks


def test_a_short_measure_before_a_pick_up_or_with_a_name_of_its_own_is_no_pick_up() -> None:
    own = measures("A B |: C D E :|")
    before = imported_text(short(own, {1: 3, 2: 1, 4: 3}), "x")[1]
    assert [int(onset) for _, onset, _ in heard_song(before)][:4] == [0, 4, 7, 8]
    named = [replace(each, section=each.number) if each.number in "BC" else each for each in own]
    _, song, _ = imported_text(short(tuple(named), {1: 3}), "x")
    assert [visit.section for visit in song.form] == ["a", "b", "c", "c"]


def test_the_end_of_a_first_ending_is_the_pick_up_of_the_second_pass() -> None:
    quarter, three = Fraction(1), Fraction(3)
    own = list(measures("A |: B C[1] :| D[2]"))
    up = LeadNote(Fraction(0), quarter, Pitch("A", 0, 4), words=((1, Syllable("up")),))
    own[0] = replace(own[0], length_quarter=quarter, notes=(up,))
    again = replace(up, start_quarter=three, words=((1, Syllable("again")),))
    own[2] = replace(own[2], notes=(replace(own[2].notes[0], length_quarter=three), again))
    own[3] = replace(own[3], length_quarter=three, notes=(replace(own[3].notes[0], length_quarter=three),))
    _, song, _ = imported_text(sheet(tuple(own)), "x")
    assert [(midi, int(onset)) for midi, onset, _ in heard_song(song)] == [
        (69, 0), (71, 1), (60, 5), (69, 8), (71, 9), (62, 13),
    ]  # fmt: skip
    assert words(song).split() == ["up", "again"]
    assert [len(bar.melody) for bar in played_bars(song)] == [1, 1, 2, 1, 2]
