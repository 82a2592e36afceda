"""Proposed chords: plain, few, at home at the ends, marked as proposals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, product
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.arranging import arrange, song_tuning
from tercet.exchange.abc import read_abc
from tercet.exchange.harmonise import harmonised
from tercet.exchange.imported_text import PROPOSED, imported_text
from tercet.exchange.leadsheet import LeadMeasure, LeadNote, LeadSheet
from tercet.exchange.musicxml import musicxml_bytes, read_musicxml
from tercet.neck import COMMON_SHAPES
from tercet.song import parse_song, read_song
from tercet.song.writer import tidy_text
from tercet.theory import Chord, parse_chord, parse_key, spell

SONGS = sorted(Path("songs").glob("*.yaml"))


def tune(music: str, key: str = "C", meter: str = "4/4") -> LeadSheet:
    return read_abc(f"X:1\nT:Bare\nM:{meter}\nL:1/4\nQ:1/4=90\nK:{key}\n{music}\n".encode(), "bare.abc")


def chords(sheet: LeadSheet) -> list[list[str]]:
    return [[str(chord.chord) for chord in measure.chords] for measure in sheet.measures]


def names(sheet: LeadSheet) -> set[str]:
    return {name for row in chords(sheet) for name in row}


@pytest.mark.parametrize(
    ("music", "key", "meter", "expected"),
    [
        ("C E G E|F A c A|G B d B|c4|]", "C", "4/4", [["C"], ["F"], ["G7"], ["C"]]),
        ("A c e|d f a|e ^g b|a3|]", "Am", "3/4", [["Am"], ["Dm"], ["E7"], ["Am"]]),
        ("G B d|F A c|B G d|D2F|G3|]", "G", "3/4", [["G"], ["D7"], ["G"], ["D7"], ["G"]]),
        ("D|G B d B|c A F D|G4|]", "G", "4/4", [[], ["G"], ["D7"], ["G"]]),
        ("C E A F|G B c2|]", "C", "4/4", [["C", "F"], ["G7", "C"]]),
    ],
)
def test_plain_chords_by_key_and_cadence(music: str, key: str, meter: str, expected: list[list[str]]) -> None:
    sheet = tune(music, key, meter)
    assert sheet.key is not None
    assert chords(harmonised(sheet, sheet.key)) == expected


def test_a_repeated_part_may_end_on_the_dominant() -> None:
    sheet = tune("|:C E G E|F A c A|C E G c|D G B2:|C E G E|F A G B|c4|]")
    found = chords(harmonised(sheet, parse_key("C")))
    assert found[3][-1] in ("G", "G7")
    assert found[-1] == ["C"]


@pytest.mark.parametrize("key", ["C", "G", "F", "D", "A", "Am", "Dm", "Em", "Gm"])
def test_in_the_keys_that_beginners_play_the_shapes_are_known(key: str) -> None:
    sheet = tune("C D E F|G A B c|c B A G|F E D C|]", key)
    assert sheet.key is not None
    plain = names(harmonised(sheet, sheet.key))
    assert len(plain & COMMON_SHAPES.keys()) >= len(plain) - 1


lengths = st.sampled_from((Fraction(1, 2), Fraction(1), Fraction(3, 2), Fraction(2)))


@st.composite
def sheets(draw: st.DrawFn) -> LeadSheet:
    key = parse_key(draw(st.sampled_from(("C", "G", "F#", "Db", "Am", "Ebm", "G#m", "Bb"))))
    meter = draw(st.sampled_from(((4, 4), (3, 4), (6, 8), (2, 2), (7, 8), (5, 4))))
    measures = []
    for number in range(draw(st.integers(1, 6))):
        now, notes = Fraction(0), []
        full = Fraction(4 * meter[0], meter[1])
        while now < full:
            length = min(draw(lengths), full - now)
            midi = draw(st.none() | st.integers(55, 84))
            notes.append(LeadNote(now, length, None if midi is None else spell(midi, key)))
            now += length
        measures.append(LeadMeasure(str(number), full, meter, tuple(notes)))
    return LeadSheet("Made Up", tuple(measures), key=key)


@given(sheets())
def test_at_most_two_a_bar_and_nothing_else_changes(sheet: LeadSheet) -> None:
    assert sheet.key is not None
    made = harmonised(sheet, sheet.key)
    assert [replace(measure, chords=()) for measure in made.measures] == list(sheet.measures)
    assert all(len(measure.chords) <= 2 for measure in made.measures)
    for measure in made.measures:
        assert all(0 <= chord.start_quarter < measure.length_quarter for chord in measure.chords)
    assert made.measures[0].chords[0].start_quarter == 0


def test_chords_that_are_there_stay_and_that_is_said() -> None:
    sheet = tune('"F"C4|"C"C4|]')
    made = harmonised(sheet, parse_key("C"))
    assert chords(made) == [["F"], ["C"]]
    assert made.remarks[-1] == "the tune has chord symbols, so none were proposed"
    assert PROPOSED not in imported_text(sheet, "x", harmonise=True)[0]


def test_proposals_are_marked_in_every_section() -> None:
    sheet = tune("|:C E G E|G B c2:|F A c A|G B c2|]")
    text, song, remarks = imported_text(sheet, "bare.abc", harmonise=True)
    assert text.count(PROPOSED) == len(song.sections) == 2
    assert tidy_text(text) == text
    assert parse_song(text).sections == song.sections
    assert any(
        "all chords are proposals, found from the tune and its key, C major" in each for each in remarks
    )
    assert not any("N.C. stands" in each for each in remarks)


def test_a_key_that_is_found_is_said_and_used() -> None:
    sheet = tune("G A B c|d B G2|A B c A|G4|]", "none")
    text, song, remarks = imported_text(sheet, "bare.abc", harmonise=True)
    assert str(song.key) == "G major"
    assert any(remark.startswith("no key given: G major found") for remark in remarks)
    assert "chords" in text


def test_without_being_asked_nothing_is_proposed() -> None:
    text, _, remarks = imported_text(tune("C E G E|]"), "bare.abc")
    assert "N.C." in text
    assert any("or import it with --harmonise" in remark for remark in remarks)


def roots(sheet: LeadSheet) -> Iterator[int | None]:
    """Yield the root at every half quarter; None for none."""
    now: Chord | None = None
    for measure in sheet.measures:
        for half in range(int(measure.length_quarter * 2)):
            at = [chord for chord in measure.chords if chord.start_quarter <= Fraction(half, 2)]
            now = max(at, key=lambda chord: chord.start_quarter).chord if at else now
            yield now.root_class if now else None


def test_most_of_the_time_the_root_is_the_one_that_the_songs_have() -> None:
    same = total = 0
    for path in SONGS:
        song = read_song(path)
        sheet = read_musicxml(musicxml_bytes(arrange(song, song_tuning(song)))[0], path.name)
        bare = replace(sheet, measures=tuple(replace(measure, chords=()) for measure in sheet.measures))
        for ours, theirs in zip(roots(harmonised(bare, song.key)), roots(sheet), strict=True):
            total += ours is not None and theirs is not None
            same += ours is not None and ours == theirs
    assert same / total > 0.6


def arpeggio(chord: Chord, quarters: Fraction, start_quarter: Fraction = Fraction(0)) -> list[LeadNote]:
    """Return the tones of a triad, an eighth each, from its root up and again."""
    tones = [chord.root_class + interval for interval in chord.quality.intervals[:3]]
    return [
        LeadNote(
            start_quarter + Fraction(place, 2), Fraction(1, 2), spell(60 + tones[place % 3], parse_key("C"))
        )
        for place in range(int(2 * quarters))
    ]


def measure_of(*chords: str, meter: tuple[int, int] = (4, 4), at: Sequence[Fraction] = ()) -> LeadMeasure:
    """Return a measure that is nothing but the tones of chords, each from its place on."""
    length = Fraction(4 * meter[0], meter[1])
    edges = [Fraction(0), *at, length]
    notes = [
        note
        for chord, (low, high) in zip(chords, pairwise(edges), strict=True)
        for note in arpeggio(parse_chord(chord), high - low, low)
    ]
    return LeadMeasure("1", length, meter, tuple(notes))


def proposed(key: str, *measures: LeadMeasure) -> list[list[str]]:
    return chords(harmonised(LeadSheet("Made Up", measures, key=parse_key(key)), parse_key(key)))


@pytest.mark.parametrize(
    ("key", "others"),
    [
        ("C", "F G Dm Am Bb"),
        ("G", "C D Am Em F"),
        ("F", "Bb C Gm Dm Eb"),
        ("D", "G A Em Bm C"),
        ("Am", "Dm E G C F Em D"),
        ("Dm", "Gm A C F Bb Am G"),
        ("Em", "Am B D G C Bm A"),
    ],
)
def test_a_tune_that_is_a_chord_of_its_key_gets_that_chord(key: str, others: str) -> None:
    home = measure_of(key)
    for other in others.split():
        there = measure_of(other)
        found = proposed(key, home, there, there, home)
        first, second, *_ = found
        assert first == [key], (other, found)
        assert second[0] in (other, f"{other}7"), (other, found)
        assert found[-1] == [key], (other, found)


@pytest.mark.parametrize("meter", [(4, 4), (2, 2), (2, 4), (3, 4), (6, 8), (9, 8), (12, 8), (5, 4), (6, 4)])
def test_a_second_chord_begins_on_the_first_pulse_after_the_middle(meter: tuple[int, int]) -> None:
    upper, lower = meter
    pulse = Fraction(4, lower) * (3 if lower == 8 and upper % 3 == 0 else 1)
    length = Fraction(4 * upper, lower)
    place = next(number * pulse for number in range(1, upper) if 2 * number * pulse >= length)
    home, away = measure_of("C", meter=meter), measure_of("Dm", meter=meter)
    between = measure_of("C", "Dm", meter=meter, at=(place,))
    sheet = LeadSheet("Made Up", (home, between, away, home), key=parse_key("C"))
    made = harmonised(sheet, parse_key("C"))
    assert [(chord.start_quarter, str(chord.chord)) for chord in made.measures[1].chords] == [(place, "Dm")]
    assert made.measures[2].chords == ()


def test_a_meter_that_is_not_divided_has_one_chord_a_measure() -> None:
    home = measure_of("C", meter=(7, 8))
    assert proposed("C", home, measure_of("F", "C", meter=(7, 8), at=(Fraction(2),)), home)[1] in (["F"], [])


def test_a_dominant_is_as_welcome_where_only_its_seventh_is_known() -> None:
    """A's dominant is E, of which beginners know E7 alone; D's is A, of which they know both."""
    chosen = {}
    for key in ("D", "A"):
        tonic, tones = parse_key(key).tonic_class, (0, 2, 4, 5, 7, 9, 11)
        for tune in product(tones, repeat=3):
            notes = tuple(
                LeadNote(Fraction(place), Fraction(1), spell(60 + tonic + tone, parse_key(key)))
                for place, tone in enumerate((*tune, 11))
            )
            bar = LeadMeasure("1", Fraction(4), (4, 4), notes)
            sheet = LeadSheet("Made Up", (measure_of(key), bar, measure_of(key)), key=parse_key(key))
            found = harmonised(sheet, parse_key(key)).measures[1].chords
            chosen[key, tune] = [(chord.chord.root_class - tonic) % 12 for chord in found if chord.chord]
    dominant = {tune for key, tune in chosen if chosen["D", tune] == [7]}
    assert len(dominant) > 30
    assert {tune for key, tune in chosen if chosen["A", tune] == [7]} >= dominant, (
        "its other chords are harder"
    )


@pytest.mark.parametrize("key", ["C", "G", "F", "D"])
def test_the_end_of_a_repeated_part_hangs_on_the_dominant_sooner_than_on_another_chord(key: str) -> None:
    """All but one note fit both the dominant and the chord on the second degree, and that one fits the second."""
    tonic = parse_key(key).tonic_class
    notes = tuple(
        LeadNote(Fraction(place), Fraction(1), spell(60 + tonic + tone, parse_key(key)))
        for place, tone in enumerate((2, 9, 2, 2))
    )
    ending = LeadMeasure("1", Fraction(4), (4, 4), notes, repeat_times=2)
    sheet = LeadSheet("Made Up", (measure_of(key), ending, measure_of(key)), key=parse_key(key))
    ends = [chord.chord for chord in harmonised(sheet, parse_key(key)).measures[1].chords if chord.chord]
    assert [(chord.root_class - tonic) % 12 for chord in ends] == [7]
