"""Strums: the pattern in the long spaces, and what the song writes out itself."""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

from tercet.arranging import Arrangement, Gesture, arrange
from tercet.arranging.chord_hands import beside, chord_hand
from tercet.arranging.strum_families import FAMILIES, Pace
from tercet.arranging.strums import default_pattern
from tercet.neck import COMMON_SHAPES
from tercet.neck.demands import LIMITS, Hands
from tercet.neck.priced_hands import hands_up_to
from tercet.song import Meter, Section
from tercet.theory import LAST_FRET, TUNINGS, Chord
from tests.arranging.laws import broken_laws
from tests.arranging.written import arranged, messages, of_layer, section, shape, song, strums_of

EACH_PULSE = tuple("dddd")


@pytest.mark.parametrize(
    ("meter", "pattern"),
    [
        ("4/4", "dddd"),
        ("3/4", "ddd"),
        ("6/8", "d..d.."),
        ("12/8", "d..d..d..d.."),
        ("2/2", "dd"),
        ("5/8", "ddddd"),
    ],
)
def test_a_meter_without_a_family_is_struck_on_each_pulse(meter: str, pattern: str) -> None:
    upper, lower = map(int, meter.split("/"))
    assert "".join(default_pattern(Meter(upper, lower))) == pattern


@pytest.mark.parametrize(
    ("busy", "largest"),
    [
        ((), (4, 3, 2, 1)),
        ((1,), (4, 3, 2)),
        ((2,), (4, 3)),
        ((3,), (2, 1)),
        ((4,), (3, 2, 1)),
        ((1, 2), (4, 3)),
        ((1, 3), (4,)),
        ((2, 3), (4,)),
        ((1, 4), (3, 2)),
    ],
)
def test_strums_take_the_larger_group_beside_the_tune(
    busy: tuple[int, ...], largest: tuple[int, ...]
) -> None:
    assert beside(frozenset(busy))[0] == largest


def test_nothing_is_free_when_all_strings_ring() -> None:
    assert beside(frozenset({1, 2, 3, 4})) == ()


@pytest.mark.parametrize(
    ("melody", "chord", "expected"),
    [
        ("C5:4", "C", ["1 d 4/0 3/0 2/0", "2 d 4/0 3/0 2/0", "3 d 4/0 3/0 2/0"]),
        ("C5:2 E4:2", "C", ["1 d 4/0 3/0 2/0", "3 d 4/0 3/0"]),
        ("C5:3/2 E4:5/2", "C", ["2 d 4/0 3/0", "3 d 4/0 3/0"]),  # a space under two pulses, then one over
        ("C5 E4 G4 E4", "C", []),
        ("C5 .:3", "C", ["1 d 4/0 3/0 2/0 1/3", "2 d 4/0 3/0 2/0 1/3", "3 d 4/0 3/0 2/0 1/3"]),
        (".:3 C5", "C", ["0 d 4/0 3/0 2/0 1/3", "1 d 4/0 3/0 2/0 1/3", "2 d 4/0 3/0 2/0 1/3"]),
        (". C5:3", "C", ["2 d 4/0 3/0 2/0", "3 d 4/0 3/0 2/0"]),
        ("C5:4", "N.C.", []),
        ("C4:4[alone]", "F", ["1 d 2/1 1/0", "2 d 2/1 1/0", "3 d 2/1 1/0"]),
    ],
)
def test_the_pattern_fills_spaces_of_two_pulses(melody: str, chord: str, expected: list[str]) -> None:
    assert strums_of(arranged(melody, chord, strum=EACH_PULSE)) == expected


def test_the_songs_own_pattern() -> None:
    made = arranged("C5:4 | G4 E G E", "C | C", strum=tuple("d.xu.Dux"))
    assert strums_of(made) == [
        "1 x 4/0 3/0 2/0",
        "3/2 u 2/0 3/0 4/0",
        "5/2 D 4/0 3/0 2/0",
        "3 u 2/0 3/0 4/0",
        "7/2 x 4/0 3/0 2/0",
    ]
    assert [gesture.accent for gesture in of_layer(made, "strums")] == [False, False, True, False, False]
    assert [str(gesture.length_beat) for gesture in of_layer(made, "strums")] == [
        "1/2",
        "1",
        "1/2",
        "1/2",
        "1/2",
    ]


def test_a_held_note_settles_before_the_first_strum_and_the_thumb_makes_ready_after_the_last() -> None:
    made = arranged("C5:7/4 .:1/4 C5:2", "C", strum=tuple("d" * 16))
    beats = [gesture.start_beat for gesture in of_layer(made, "strums")]
    assert [str(beat) for beat in beats if beat < 2] == ["1/2", "3/4", "1", "5/4", "3/2"]
    assert [str(beat) for beat in beats if beat >= 2] == ["5/2", "11/4", "3", "13/4", "7/2"]


def test_in_six_eight_a_space_is_two_dotted_pulses() -> None:
    verse = section("a", "C5:6 | C5:3 E4:3 | E4:2 G4 C5:3 | =:3 .:3", "C | C | C | C", meter="6/8")
    made = arrange(song(verse, meter="6/8", strum=tuple("d.ud.u")))
    bars = [gesture.bar_number for gesture in of_layer(made, "strums")]
    assert bars == [1, 1, 1, 3, 4, 4, 4, 4]


@pytest.mark.parametrize(("name", "digits"), COMMON_SHAPES.items())
@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
def test_where_the_tune_rests_the_known_shape_is_strummed(name: str, digits: str, players: str) -> None:
    made = arranged(".:4", name, players=players, strum=EACH_PULSE)
    assert {shape(gesture) for gesture in of_layer(made, "strums")} == {digits}
    assert len(of_layer(made, "strums")) == 4


def test_a_chord_change_under_a_tied_note() -> None:
    made = arranged("C5:4 | =:4 | =:4", "C | F | Am", strum=EACH_PULSE)
    shapes = [(gesture.bar_number, shape(gesture)) for gesture in of_layer(made, "strums")]
    assert shapes == [(1, "0003")] * 3 + [(2, "2013")] * 4 + [(3, "2003")] * 4
    assert {gesture.notes[0].string for gesture in of_layer(made, "strums")} == {4}
    assert not broken_laws(made)


def test_a_tune_that_leaves_no_shape_is_strummed_on_fewer_strings() -> None:
    made = arranged("D5:4", "Dm", players="beginner")
    assert strums_of(made)[0] == "1 d 4/2 3/2"
    assert shape(of_layer(made, "strums")[0]) == "2205"


def test_a_baritone_tune_up_the_neck_is_left_alone() -> None:
    made = arranged("D5:4", "Dm", TUNINGS["baritone"], players="beginner")
    assert strums_of(made) == []  # open strings are no D minor, and no hand reaches both


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("d u d u", ["1 u 2/0 3/0 4/0", "2 d 4/0 3/0 2/0", "3 u 2/0 3/0 4/0"]),
        (". . x .", ["2 x 4/0 3/0 2/0"]),
        (". . . .", []),
        ("D . . . . . . U", ["7/2 U 2/0 3/0 4/0"]),
    ],
)
def test_a_written_row_is_played_but_on_the_tunes_onsets(row: str, expected: list[str]) -> None:
    assert strums_of(arranged("C5:4", "C", strum_row=row)) == expected


def test_a_written_row_is_played_in_short_spaces_too() -> None:
    made = arranged("C5 E4 C5 E4", "C", strum_row=". u . u . u . u")
    assert strums_of(made) == ["1/2 u 2/0 3/0 4/0", "3/2 u 3/0 4/0", "5/2 u 2/0 3/0 4/0", "7/2 u 3/0 4/0"]


def test_a_written_strum_keeps_off_added_notes_and_the_pattern_makes_room_for_them() -> None:
    written = arranged("A4:4[1]", "Am", between=". E4:3", strum_row="d d d d")
    assert strums_of(written) == ["1 d 4/2 3/0", "2 d 4/2 3/0", "3 d 4/2 3/0"]
    pattern = arranged("A4:4[1]", "Am", between=". E4 . E4", strum=EACH_PULSE)
    assert strums_of(pattern) == ["2 d 4/2 3/0 2/0"]


def test_a_written_strum_may_stretch_the_players_hands() -> None:
    assert strums_of(arranged("A5:4[1]", "F#", strum_row=". d . .")) == ["1 d 4/11 3/10 2/9"]
    assert strums_of(arranged("A5:4[1]", "F#", strum=tuple(".d.."))) == []


def test_a_written_strum_that_no_hand_can_hold_is_told_once() -> None:
    made = arranged("C6:4[1]", "Db", strum_row=". d d d")
    assert strums_of(made) == []
    assert messages(made)[-1] == "no hand can hold Db beside the tune; the written strum is left out"
    assert len(messages(made)) == 1
    problem = made.problems[-1]
    assert (problem.bar_number, problem.section, problem.line, problem.unplayable) == (1, "verse", 1, False)
    assert not broken_laws(made)


@pytest.mark.parametrize(
    ("chord", "expected", "shown"),
    [
        ("Am[2000]", "1 d 4/2 3/0 2/0", "2003"),
        ("Am[2400]", "1 d 4/2 3/4 2/0", "2403"),
        ("Am[x000]", "1 d 3/0 2/0", "x003"),
        ("Am[xx00]", "1 d 2/0", "xx03"),
        ("Am[2x00]", "1 d 4/2", "2x03"),
    ],
)
def test_pinned_shapes_are_kept_for_strums(chord: str, expected: str, shown: str) -> None:
    made = arranged("C5:4", chord, strum=EACH_PULSE)
    assert strums_of(made)[0] == expected
    assert shape(of_layer(made, "strums")[0]) == shown


def test_of_groups_of_one_size_the_one_further_from_the_tune_is_struck() -> None:
    made = arranged("A5:4[1]", "Dbdim", players="beginner", strum_row=". d . .")
    assert strums_of(made) == ["1 d 2/0"]  # E4 and G4 both sound the chord; the tune is A5


def test_a_pick_up_has_the_end_of_the_pattern() -> None:
    verse = section("verse", ".:2 || C5:4", "C || C")
    made = arrange(song(verse, strum=tuple("dudx")))
    assert strums_of(made)[:2] == ["0 d 4/0 3/0 2/0 1/3", "1 x 4/0 3/0 2/0 1/3"]
    first = of_layer(made, "strums")[0]
    assert (first.section_bar, first.bar_beat, first.bar_number) == (0, Fraction(-2), 0)


def test_an_accent_mark_on_a_strum() -> None:
    made = arranged("C5:4", "C", marks="strums:accent@3 melody:accent@4", strum=EACH_PULSE)
    assert [gesture.accent for gesture in of_layer(made, "strums")] == [False, True, False]


def test_spaces_end_with_the_section() -> None:
    verse, rests, plays = section("verse", ".:3 C5", "C"), section("b", ".:4", "C"), section("b", "C5:4", "C")
    one = [gesture for gesture in arrange(song(verse, rests)).gestures if gesture.section == "verse"]
    two = [gesture for gesture in arrange(song(verse, plays)).gestures if gesture.section == "verse"]
    assert one == two


NOTES = ("C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5", "F5")
SPACES = ("{}:4", ".:2 {}:2", "{} .:3", "{}:2 {}:2", ". {}:3")


def small_bars() -> Iterator[Arrangement]:
    """Yield bars of a note or two over a chord or two, for all players, with and without a row of strums."""
    chance = random.Random(7)  # noqa: S311 - the same bars each time
    for _ in range(400):
        space = chance.choice(SPACES)
        melody = space.format(*(chance.choice(NOTES) for _ in range(2)))
        first, second = (chance.choice(sorted(COMMON_SHAPES)) for _ in range(2))
        chord = chance.choice([first, f"{first}:2 {second}:2"])
        row = chance.choice([None, "d d d d", "d u d u", ". d . d"])
        players = chance.choice(["beginner", "improving", "free"])
        made = arranged(melody, chord, players=players)
        yield arranged(melody, chord, players=players, strum_row=row) if row else made


def strums_with_what_was_held(made: Arrangement) -> Iterator[tuple[Gesture, Gesture, Chord]]:
    """Yield each strum with the stroke before it, where both are for one chord, and that chord."""
    (bar,) = made.bars
    strokes = sorted(made.gestures, key=lambda gesture: gesture.start_beat)
    for before, strum in pairwise(strokes):
        spans = [
            next(span for span in bar.chords if span.start_beat <= beat < span.start_beat + span.length_beat)
            for beat in (before.start_beat, strum.start_beat)
        ]
        if strum.layer == "strums" and spans[0] is spans[1] and len(before.shape) == 4 and spans[1].chord:
            yield before, strum, spans[1].chord


def sounding(made: Arrangement, frets: Sequence[int | None], strings: Iterable[int]) -> set[int]:
    return {(made.tuning.midi(string, frets[4 - string] or 0)) % 12 for string in strings}


def test_a_hand_that_holds_the_chord_stays_and_one_that_does_not_forms_it() -> None:
    """Third and root count over all strings; after a note that has ended, the hand is free to go."""
    stayed = formed = 0
    for made in small_bars():
        for before, strum, chord in strums_with_what_was_held(made):
            third_and_root = set(chord.needed_classes[:2])
            struck = [note.string for note in strum.notes]
            fits = sounding(made, before.shape, struck) <= chord.pitch_classes
            full = third_and_root <= sounding(made, before.shape, (4, 3, 2, 1))
            holds = before.layer == "strums" or before.start_beat + before.length_beat > strum.start_beat
            if fits and full and holds:
                assert strum.shape == before.shape, (strums_of(made), chord)
                stayed += 1
                continue
            held = tuple(
                (note.string, note.fret or 0)
                for gesture in made.gestures
                if gesture.layer != "strums"
                and gesture.start_beat <= strum.start_beat < gesture.start_beat + gesture.length_beat
                for note in gesture.notes[-1:]
            )
            hands = Hands(made.tuning, made.song.scale_length_mm, LIMITS[made.song.players])
            now = hands_up_to(hands, LAST_FRET).usual_hand(tuple(fret or 0 for fret in before.shape))
            assert now is not None
            could = chord_hand(chord, hands, now, held, tuple(struck))
            if could is not None and third_and_root <= sounding(made, could.frets, (4, 3, 2, 1)):
                assert third_and_root <= sounding(made, strum.shape, (4, 3, 2, 1)), (strums_of(made), chord)
                formed += 1
    assert stayed > 100
    assert formed > 20


def test_no_strum_strikes_the_line_of_a_note_that_no_string_has() -> None:
    """It rings on as written: pattern, written row and chop keep off the line on which the tab marks it."""
    made = arranged(
        "E3:4 | C3:3 . | F#6:4",
        "C | G7 | D",
        as_written=True,
        strum=("d", "u", "d", "u"),
        strum_row="| x d u d | x x u d",
    )
    ringing = [gesture for gesture in made.gestures if gesture.notes[-1].fret is None]
    assert len(ringing) == 3
    met = [
        (gesture, strum)
        for gesture in ringing
        for strum in of_layer(made, "strums")
        if gesture.start_beat <= strum.start_beat < gesture.start_beat + gesture.length_beat
    ]
    assert len(met) > 6
    for gesture, strum in met:
        assert gesture.notes[-1].string not in {note.string for note in strum.notes}


# ---- families: songs that give no pattern


def patterns_of(made: Arrangement) -> list[str]:
    """Return what each bar that is strummed is strummed with: ``"1d 2d 5/2u"``, beats of the bar with their signs."""
    strums = [gesture for gesture in of_layer(made, "strums") if gesture.action == "strum"]
    bars = sorted({gesture.bar_number for gesture in strums})
    return [
        " ".join(f"{g.bar_beat}{'u' if g.up else 'd'}" for g in strums if g.bar_number == bar) for bar in bars
    ]


def strums_of_bar(made: Arrangement, number: int) -> list[Gesture]:
    return [gesture for gesture in of_layer(made, "strums") if gesture.bar_number == number]


def held(count: int, **more: Any) -> Arrangement:
    """Arrange bars in each of which one note is held, over two chords in turn."""
    chords = " | ".join(("C", "F")[place % 2] for place in range(count))
    length = more.get("meter", "4/4").partition("/")[0]
    return arranged(" | ".join([f"C5:{length}"] * count), chords, **more)


@pytest.mark.parametrize("players", ["beginner", "improving", "free"])
@pytest.mark.parametrize("meter", ["2/4", "3/4", "4/4", "2/2", "6/8", "9/8", "12/8"])
def test_no_bar_is_strummed_like_the_one_before(meter: str, players: str) -> None:
    patterns = patterns_of(held(8, meter=meter, players=players, tempo=Fraction(72)))
    assert len(patterns) == 8
    assert all(one != other for one, other in pairwise(patterns))
    ups = sum(pattern.count("u") for pattern in patterns)
    assert ups >= 0.25 * sum(len(pattern.split()) for pattern in patterns)


def test_where_the_tempo_is_quick_the_hand_keeps_to_the_pulses() -> None:
    made = held(8, tempo=Fraction(220))
    assert all(gesture.bar_beat.denominator == 1 for gesture in of_layer(made, "strums"))
    assert any(gesture.up for gesture in of_layer(made, "strums"))


def test_beginners_have_the_easy_family() -> None:
    easy, lively = held(4, players="beginner"), held(4, players="free")
    assert patterns_of(easy) != patterns_of(lively)


def test_a_bar_of_a_family_takes_another_way_into_a_new_section_and_on_the_second_pass() -> None:
    def verse(name: str, bars: int = 4) -> Section:
        return section(name, " | ".join(["C5:4"] * bars), " | ".join(["C", "F"] * (bars // 2)))

    played = patterns_of(arrange(song(verse("a"), verse("b"), form="a a b a")))
    first, second, third = played[:4], played[4:8], played[12:]
    assert first[:3] == second[:3] == third[:3]  # printed and learnt once
    assert first[3] != second[3] == third[3]
    short = patterns_of(arrange(song(verse("a", 2), verse("b"), form="a a b")))
    assert short[:2] == short[2:4]
    one_line = patterns_of(arrange(song(section("a", " | ".join(["C5:4"] * 5), "C | F | C | F | C"))))
    assert played[3] != one_line[3]  # the same bar, where a section ends and where it doesn't


def test_a_songs_own_pattern_is_never_varied() -> None:
    assert set(patterns_of(held(6, strum=tuple("d.du"), tempo=Fraction(80)))[:-1]) == {"2d 3u"}


@pytest.mark.parametrize(
    ("players", "tempo", "strum", "last_beat"),
    [
        ("beginner", 60, None, Fraction(3)),
        ("beginner", 88, None, Fraction(5, 2)),  # 3 would be 0.68 s before three fingers are set
        ("beginner", 150, None, Fraction(2)),
        ("improving", 60, None, Fraction(7, 2)),
        ("improving", 88, None, Fraction(5, 2)),  # of "d . d u d . d u" the last comes 0.34 s before
        ("free", 88, None, Fraction(7, 2)),
        ("beginner", 88, "dudududu", Fraction(7, 2)),  # the song's own pattern is its word
    ],
)
def test_a_strum_gives_way_to_a_change_of_three_fingers(
    players: str, tempo: int, strum: str | None, last_beat: Fraction
) -> None:
    pattern = None if strum is None else tuple(strum)
    made = arranged("G4 A4:3 | D4:4", "A7 | Dm", players=players, tempo=Fraction(tempo), strum=pattern)
    held = [g.shape for g in made.gestures if g.start_beat in (1, 4)]
    assert held == [(0, 1, 0, 0), (2, 2, 1, 0)]
    assert max(g.start_beat for g in strums_of_bar(made, 1)) == last_beat


def test_an_edit_changes_no_strum_before_it() -> None:
    before = of_layer(arranged("C5:4 | C5:4 | C5:4 | C5:4", "C | F | C | F"), "strums")
    after = of_layer(arranged("C5:4 | C5:4 | C5:4 | C5 E4 C5 E4", "C | F | C | F"), "strums")
    assert [g for g in before if g.bar_number < 3] == [g for g in after if g.bar_number < 3]


@pytest.mark.parametrize("key", FAMILIES)
def test_bars_of_a_family_fill_its_pulses_and_begin_or_end_in_time(key: tuple[int, int, Pace]) -> None:
    pulses, parts, pace = key
    family = FAMILIES[key]
    for bar in (*family.plain, *family.phrase_end, *family.turn):
        slots = bar.split()
        assert len(slots) == pulses * parts
        assert set(slots) <= {"d", "u", "."}
        assert set(slots) != {"."}
        if pace != "quick":
            assert all(slot != "u" for slot in slots[::parts])  # the hand falls on a pulse
        if pace == "quick":
            assert all(slot == "." for place, slot in enumerate(slots) if place % parts)
    assert len(set(family.plain)) == len(family.plain) >= 2
