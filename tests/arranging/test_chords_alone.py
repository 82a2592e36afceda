"""Just the chords: every chord is heard, on four strings where hands can, in one shape, and nothing else is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement, Gesture, StringNote, arrange, chords_alone
from tercet.arranging.chords_alone import plain_pattern
from tercet.neck import COMMON_SHAPES, common_shape
from tercet.performing import lay_out, perform
from tercet.performing.levels import ACCENT_DB
from tercet.song import Bar, ChordSpan, Dynamics, Mark, Meter, Players, Slot, Song, read_song
from tercet.theory import MARK_LEVEL_DB, TUNINGS, Pitch, Tuning, tuning_of_pitches
from tests.arranging import strategies as made
from tests.arranging.laws import chords_at, strings_sound_what_they_say
from tests.arranging.written import arranged, section, shape, song, strums_of

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))


def alone(melody: str, chords: str, *, simple: bool = False, **more: Any) -> Arrangement:
    return chords_alone(arranged(melody, chords, **more), simple=simple)


def short(made_alone: Arrangement) -> str:
    """Return the strums as beats and signs: ``0D 1d 5/2u``."""
    return " ".join("".join(text.split(" ")[:2]) for text in strums_of(made_alone))


# What breaks a law, worked out from the bars as played


def spans_of(arrangement: Arrangement) -> list[tuple[Fraction, Fraction, ChordSpan]]:
    """Return where each chord comes in and gives way to another, through the piece as played."""
    found: list[tuple[Fraction, Fraction, ChordSpan]] = []
    for bar in arrangement.bars:
        for span in bar.chords:
            start_beat = bar.start_beat + span.start_beat
            end_beat = start_beat + span.length_beat
            if found and (found[-1][2].chord, found[-1][2].shape) == (span.chord, span.shape):
                found[-1] = (found[-1][0], end_beat, found[-1][2])
            else:
                found.append((start_beat, end_beat, span))
    return found


def slots_in(bar: Bar, slots: tuple[Slot, ...], bar_beat: Fraction) -> list[tuple[Fraction, Slot]]:
    """Return the strokes of a pattern, or of a bar's own row, in a bar."""
    own = bar.strum is slots
    step_beat = (bar.length_beat if own else bar_beat) / len(slots)
    before_beat = Fraction(0) if own else bar_beat - bar.length_beat
    places = [(place * step_beat - before_beat, slot) for place, slot in enumerate(slots)]
    return [(bar.start_beat + beat, slot) for beat, slot in places if slot != "." and beat >= 0]


def faults(played: Arrangement, *, simple: bool = False) -> list[str]:
    """Return all that is wrong with chords alone."""
    found = list(strings_sound_what_they_say(played))
    for gesture in played.gestures:
        span = chords_at(played, gesture.start_beat, gesture.start_beat)[0]
        where = f"beat {gesture.start_beat}"
        if gesture.layer != "strums" or gesture.action not in ("strum", "chop"):
            found.append(f"{where}: no strum")
        if {note.part for note in gesture.notes} != {"chord"}:
            found.append(f"{where}: more than the chord")
        if span.chord is None:
            found.append(f"{where}: N.C. isn't silent")
        elif span.shape is None:
            off = [note for note in gesture.notes if note.midi % 12 not in span.chord.pitch_classes]
            found += [f"{where}: {note} isn't of {span.chord}" for note in off]
        else:
            asked = [(4 - place, fret) for place, fret in enumerate(span.shape)]
            there = {(note.string, note.fret) for note in gesture.notes}
            found += [f"{where}: {span.shape} isn't held" for _ in [0] if not there <= set(asked)]
        strings = [note.string for note in gesture.notes]
        if strings != sorted(strings, reverse=not gesture.up) or len(set(strings)) != len(strings):
            found.append(f"{where}: struck in the order {strings}")
    return found + length_faults(played) + shape_faults(played) + stroke_faults(played, simple=simple)


def length_faults(played: Arrangement) -> list[str]:
    """A strum is held to the next stroke or chord, and one follows the other."""
    ends = {end_beat for _, end_beat, _ in spans_of(played)}
    found = []
    for gesture, after in pairwise([*played.gestures, None]):
        assert gesture is not None
        end_beat = gesture.start_beat + gesture.length_beat
        if (after is not None and after.start_beat < end_beat) or gesture.length_beat <= 0:
            found.append(f"beat {gesture.start_beat}: held over the next stroke")
        if any(gesture.start_beat < change < end_beat for change in ends):
            found.append(f"beat {gesture.start_beat}: held over a change of chord")
    return found


def shape_faults(played: Arrangement) -> list[str]:
    """A chord that isn't pinned has one shape."""
    shapes: dict[object, set[object]] = {}
    for gesture in played.gestures:
        span = chords_at(played, gesture.start_beat, gesture.start_beat)[0]
        if span.shape is None:
            shapes.setdefault(span.chord, set()).add(gesture.shape)
    return [f"{chord} in {len(held)} shapes" for chord, held in shapes.items() if len(held) > 1]


def stroke_faults(played: Arrangement, *, simple: bool) -> list[str]:
    """Every stroke of pattern and rows is there over a chord that hands can hold; every other is a chord's coming."""
    written = None if simple else played.song.strum
    meter = played.song.meter
    pattern = written or plain_pattern(meter)
    if simple or (written is None and played.song.players == "beginner"):
        pattern = tuple("." if place else "d" for place in range(meter.upper))
    asked: dict[Fraction, Slot] = {}
    for bar in played.bars:
        slots = pattern if simple or bar.strum is None else bar.strum
        asked |= dict(slots_in(bar, slots, meter.bar_beat))
    there = {gesture.start_beat: gesture for gesture in played.gestures}
    left_out = {
        problem.message.split(" in this tuning")[0].removeprefix("no hand can hold ")
        for problem in played.problems
    }
    found = []
    for start_beat, end_beat, span in spans_of(played):
        if span.chord is None or str(span.chord) in left_out:
            continue
        strokes = {beat: slot for beat, slot in asked.items() if start_beat <= beat < end_beat}
        heard = [beat for beat, slot in strokes.items() if slot != "x" and (written or beat == start_beat)]
        bar = next(bar for bar in reversed(played.bars) if bar.start_beat <= start_beat)
        if not heard and (simple or bar.strum is None):
            strokes[start_beat] = "d"
        missing = [beat for beat in strokes if beat not in there]
        extra = [beat for beat in there if start_beat <= beat < end_beat and beat not in strokes]
        found += [f"beat {beat}: no stroke" for beat in missing]
        found += [f"beat {beat}: a stroke that nobody asked for" for beat in extra]
        for beat in strokes.keys() & there.keys():
            if sign(there[beat]) not in (
                strokes[beat],
                strokes[beat].upper(),
                strokes[beat].replace("X", "x"),
            ):
                found.append(f"beat {beat}: {sign(there[beat])} for {strokes[beat]}")
    return found


def sign(gesture: Gesture) -> str:
    return (
        "x"
        if gesture.action == "chop"
        else ("u" if gesture.up else "d").upper()
        if gesture.accent
        else "ud"[not gesture.up]
    )


# Strums


@pytest.mark.parametrize(
    ("melody", "chords", "more", "expected"),
    [
        ("C5 E4 G4 E4", "C", {}, "0D 1d 2d 3d"),  # under a busy tune as well
        ("C5:3", "C", {"meter": "3/4"}, "0D 1d 2d"),
        ("C5:6", "C", {"meter": "6/8"}, "0D 3d"),
        ("C5:2", "C", {"meter": "2/2"}, "0D 1d"),
        ("C5:4", "C", {"strum": tuple("d.xu.Dux")}, "0d 1x 3/2u 5/2D 3u 7/2x"),
        ("C5:4|C5:4", "C|C", {"strum": tuple("d..."), "strum_row": "|. u . U"}, "0d 5u 7U"),
        ("C5:4|C5:4", "C|N.C.", {}, "0D 1d 2d 3d"),
        ("C5:4", "N.C.:2 C:2", {}, "2d 3d"),
        ("C5:4", "C:3/2 F:5/2", {}, "0D 1d 3/2d 2d 3d"),  # a chord between two pulses is heard on time
        (
            "C5:4",
            "C:3/2 F:5/2",
            {"strum": tuple("dddd")},
            "0d 1d 2d 3d",
        ),  # the song's own pattern comes to it
        ("C5:4", "C:3 F:1", {"strum": tuple("d.x.dux.")}, "0d 1x 2d 5/2u 3d"),  # it would only be chopped
        ("C5:4", "C:3 F:1", {"strum": tuple("d...")}, "0d 3d"),  # it would not be heard at all
        ("C5:4", "C:2 F:2", {"strum": tuple("dddd"), "strum_row": "D . . ."}, "0D"),  # one strum and a stop
        ("E4 || C5:4", "|| C", {}, "1D 2d 3d 4d"),  # a pick-up without a chord
        ("E4 || C5:4", "G7 || C", {}, "0d 1D 2d 3d 4d"),  # the end of the pattern, not accented
        ("C5:4", "C", {"players": "beginner"}, "0d"),
        ("C5:4|C5:4", "C:2 F:2|F", {"players": "beginner"}, "0d 2d 4d"),
        ("C5:4", "C", {"players": "beginner", "strum": tuple("d.du")}, "0d 2d 3u"),
        (
            "C5:4|C5:4",
            "C:2 F:2|F",
            {"simple": True, "strum": tuple("dudu"), "strum_row": "|d d d d"},
            "0d 2d 4d",
        ),
    ],
)
def test_strokes(melody: str, chords: str, more: dict[str, Any], expected: str) -> None:
    assert short(alone(melody, chords, **more)) == expected


def test_an_accent_of_the_song_is_kept() -> None:
    assert short(alone("C5:4", "C", strum=tuple("dddd"), marks="accent@3 strums:accent@4")) == "0d 1d 2D 3D"


def test_a_pick_up_inside_the_piece_belongs_to_the_section_that_it_leads_into() -> None:
    verse = section("verse", "C5:4", "C")
    chorus = section("chorus", "E4 || C5:4", "G7 || C")
    played = chords_alone(arrange(song(verse, chorus)))
    assert short(played) == "0D 1d 2d 3d 4D 5d 6d 7d"
    led_in = played.gestures[3]
    assert (led_in.section, led_in.section_bar, led_in.bar_number) == ("chorus", 0, 1)
    assert led_in.bar_beat == Fraction(-1)
    assert shape(led_in) == "0212"


def test_chords_of_a_pass_of_their_own() -> None:
    verse = section("verse", "C5:4|C5:4", "C|F", chords_2="|G7")
    played = chords_alone(arrange(song(verse, form="verse verse", players="beginner")))
    assert [shape(gesture) for gesture in played.gestures] == ["0003", "2010", "0003", "0212"]
    assert [gesture.pass_number for gesture in played.gestures] == [1, 1, 2, 2]


# Shapes


@pytest.mark.parametrize(("name", "digits"), COMMON_SHAPES.items())
@pytest.mark.parametrize("players", get_args(Players))
def test_shapes_are_those_known_by_name(name: str, digits: str, players: Players) -> None:
    played = alone(".:4", name, players=players)
    assert {shape(gesture) for gesture in played.gestures} == {digits}
    assert {len(gesture.notes) for gesture in played.gestures} == {4}


def test_the_shape_that_the_tune_is_rolled_over_is_kept() -> None:
    # Without the roll, A minor 7 would be 0000.
    assert shape(alone(".:4", "Am7").gestures[0]) == "0000"
    with_tune = arranged("C5:4[4321]", "Am7")
    held = shape(with_tune.gestures[0])
    assert held != "0000"
    assert {shape(gesture) for gesture in chords_alone(with_tune).gestures} == {held}


def test_a_shape_high_up_for_the_tune_gives_way_to_the_known_one() -> None:
    with_tune = arranged("E5:4[4321]", "C", players="free")
    assert shape(with_tune.gestures[0]) != "0003"
    assert shape(chords_alone(with_tune).gestures[0]) == "0003"


def test_a_chord_is_settled_where_it_first_comes_in() -> None:
    verse, refrain = section("verse", ".:4", "Am7"), section("refrain", "C5:4[4321]", "Am7")
    shapes = [
        {shape(gesture) for gesture in chords_alone(arrange(song(verse, refrain, form=form))).gestures}
        for form in ("verse refrain", "refrain verse")
    ]
    assert shapes[0] == {"0000"}
    assert len(shapes[1]) == 1
    assert shapes[1] != shapes[0]


def test_a_pinned_shape_is_held_just_there_and_leaves_its_string_out() -> None:
    played = alone(".:4|.:4|.:4", "Am[2003]|Am|Am[x000]", players="beginner")
    assert strums_of(played) == ["0 d 4/2 3/0 2/0 1/3", "4 d 4/2 3/0 2/0 1/0", "8 d 3/0 2/0 1/0"]
    assert [shape(gesture) for gesture in played.gestures] == ["2003", "2000", "x000"]


def test_a_pinned_shape_too_wide_for_a_hand_gives_up_strings() -> None:
    played = alone(".:4", "C[1919]", players="beginner")
    assert short(played) == "0d"
    assert {len(gesture.notes) for gesture in played.gestures} == {1}


def test_a_chord_that_no_hand_has_on_four_strings_takes_three() -> None:
    close = tuning_of_pitches(tuple(Pitch.parse(text) for text in ("F#3", "F#3", "E4", "F3")))
    played = chords_alone(arrange(song(section("verse", ".:4", "C5")), close))
    assert strums_of(played)[0] == "0 D 4/6 3/6 2/3"
    assert faults(played) == []


def test_a_shape_that_plays_no_string_is_said_once_and_is_silent() -> None:
    played = alone(".:4|.:4|.:4", "Am[xxxx]|C|Am[xxxx]", players="beginner")
    assert short(played) == "4d"
    assert [(problem.bar_number, problem.message) for problem in played.problems] == [
        (1, "no hand can hold Am in this tuning; where only chords are played it is left out")
    ]


# Levels


def marks_db(played: Arrangement) -> list[float]:
    take = perform(played, lay_out(played), dry=True)
    return [note.mark_db for note in take.notes if note.string == 1]


@pytest.mark.parametrize(
    ("dynamics", "expected"),
    [
        (Dynamics(), "mf"),
        (Dynamics("mf", "mp", "pp"), "mp"),
        (Dynamics("ff", "ff", "ff"), "f"),
        (Dynamics("ppp", "ppp", "ppp"), "ppp"),
    ],
)
def test_strums_come_forward_to_one_step_under_the_tune(dynamics: Dynamics, expected: str) -> None:
    played = alone("C5:4", "C", dynamics=dynamics, strum=tuple("dddd"), front=Fraction(20))
    assert marks_db(played) == [MARK_LEVEL_DB[expected]] * 4


def test_strums_follow_the_marks_of_all_and_not_their_own() -> None:
    with_tune = arranged("C5:4|C5:4|C5:4", "C|C|C", strum=tuple("d..."))
    told = {
        0: [Mark(Fraction(0), "dynamic", "pp", "strums"), Mark(Fraction(1), "hairpin", "<", "strums")],
        1: [Mark(Fraction(0), "dynamic", "p")],
        2: [Mark(Fraction(0), "dynamic", "ff", "melody")],
    }
    bars = tuple(replace(bar, marks=tuple(told[place])) for place, bar in enumerate(with_tune.bars))
    assert marks_db(chords_alone(replace(with_tune, bars=bars))) == [0.0, -12.0, -12.0]


def test_an_accent_is_louder_than_its_mark() -> None:
    assert marks_db(alone("C5:4", "C")) == [ACCENT_DB, 0.0, 0.0, 0.0]


# Our songs, and songs at random


@pytest.mark.parametrize("tuning", TUNINGS.values(), ids=lambda tuning: tuning.name)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs(path: Path, tuning: Tuning) -> None:
    for players in get_args(Players):
        whole = arrange(replace(read_song(path), players=players), tuning)
        held = {gesture.shape for gesture in whole.gestures}
        for simple in (False, True):
            played = chords_alone(whole, simple=simple)
            assert faults(played, simple=simple) == []
            assert played.problems == ()
            assert all(len(gesture.notes) == (3 if gesture.up else 4) for gesture in played.gestures)
            assert [bar.number for bar in played.bars] == [bar.number for bar in whole.bars]
            if tuning.name == "baritone":  # where the tune lies so high that no roll is over the known shape
                continue
            for (
                gesture
            ) in played.gestures:  # as in the piece, or known by name where no roll is over that shape
                (span,) = chords_at(played, gesture.start_beat, gesture.start_beat)
                named = span.chord is not None and gesture.shape == common_shape(span.chord, tuning)
                assert named or gesture.shape in held


@settings(max_examples=40)
@given(made.songs(), made.tunings)
def test_random_songs_keep_the_laws(written: Song, tuning: Tuning) -> None:
    whole = arrange(written, tuning)
    for simple in (False, True):
        played = chords_alone(whole, simple=simple)
        assert faults(played, simple=simple) == []
        assert [(bar.number, bar.start_beat, bar.chords) for bar in played.bars] == [
            (bar.number, bar.start_beat, bar.chords) for bar in whole.bars
        ]
        assert (played.tuning, played.song.sections) == (whole.tuning, whole.song.sections)
        assert chords_alone(whole, simple=simple) == played


@settings(max_examples=10)
@given(made.songs(), made.tunings)
def test_random_songs_are_performed_whole(written: Song, tuning: Tuning) -> None:
    played = chords_alone(arrange(written, tuning))
    take = perform(played, lay_out(played), dry=True)
    struck = [(gesture.start_beat, note.string) for gesture in played.gestures for note in gesture.notes]
    assert sorted((note.beat, note.string) for note in take.notes) == sorted(struck)
    assert {note.layer for note in take.notes} <= {"strums"}


@settings(max_examples=15)
@given(made.edited_sections(), made.tunings)
def test_an_edit_in_a_later_section_changes_nothing_before(songs: tuple[Song, Song], tuning: Tuning) -> None:
    before, after = (chords_alone(arrange(written, tuning)) for written in songs)
    last = songs[0].sections[-1]
    place = next(place for place, bar in enumerate(before.bars) if bar.section == last.name)
    limit_beat = before.bars[max(place - 1, 0) if last.pickup_beat else place].start_beat
    early = [
        [gesture for gesture in each.gestures if gesture.start_beat < limit_beat] for each in (before, after)
    ]
    assert early[0] == early[1]


# Each law notices what breaks it


def sounding() -> Arrangement:
    return alone("C5:4|.:4|A4:4", "C:2 F:2|N.C.|F", strum=tuple("dux."))


def _with_first(change: Callable[[Gesture], Gesture]) -> Arrangement:
    played = sounding()
    return replace(played, gestures=(change(played.gestures[0]), *played.gestures[1:]))


def _off_the_chord(gesture: Gesture) -> Gesture:
    notes = (*gesture.notes[:3], StringNote(1, 2, 71, "chord"))
    return replace(gesture, notes=notes, shape=(0, 0, 0, 2))


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        (lambda: _with_first(lambda gesture: replace(gesture, layer="melody")), "no strum"),
        (lambda: _with_first(lambda gesture: replace(gesture, start_beat=Fraction(4))), "N.C. isn't silent"),
        (lambda: _with_first(_off_the_chord), "isn't of C"),
        (lambda: _with_first(_off_the_chord), "in 2 shapes"),
        (lambda: _with_first(lambda gesture: replace(gesture, up=True)), "struck in the order"),
        (
            lambda: _with_first(lambda gesture: replace(gesture, length_beat=Fraction(3))),
            "over a change of chord",
        ),
        (
            lambda: _with_first(lambda gesture: replace(gesture, length_beat=Fraction(3))),
            "over the next stroke",
        ),
        (lambda: replace(sounding(), gestures=sounding().gestures[1:]), "no stroke"),
        (
            lambda: _with_first(lambda gesture: replace(gesture, start_beat=Fraction(1, 2))),
            "nobody asked for",
        ),
        (lambda: _with_first(lambda gesture: replace(gesture, action="chop")), "x for d"),
    ],
)
def test_each_law_notices_what_breaks_it(broken: Callable[[], Arrangement], words: str) -> None:
    assert faults(sounding()) == []
    assert any(words in fault for fault in faults(broken()))


def test_plain_patterns_begin_with_an_accent() -> None:
    assert plain_pattern(Meter(4, 4)) == ("D", "d", "d", "d")
    assert plain_pattern(Meter(12, 8))[::3] == ("D", "d", "d", "d")
