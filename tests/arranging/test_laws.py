"""Every arrangement keeps the laws: songs at random and our own; and each law notices what breaks it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement, Gesture, StringNote, arrange
from tercet.song import Players, Song, read_song
from tercet.theory import TUNINGS, Pitch, Tuning, tuning_of_pitches
from tests.arranging import strategies as made
from tests.arranging.laws import LAWS, broken_laws, tune
from tests.arranging.written import section, song
from tests.strategies import songs as songs_as_read

SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))
D_TUNING = tuning_of_pitches(tuple(Pitch.parse(text) for text in ("A4", "D4", "F#4", "B4")))
ODD_TUNING = tuning_of_pitches(tuple(Pitch.parse(text) for text in ("C4", "G4", "D3", "A5")))


@settings(max_examples=100)
@given(made.songs(), made.tunings)
def test_random_songs_keep_the_laws(written: Song, tuning: Tuning) -> None:
    assert broken_laws(arrange(written, tuning)) == {}


@settings(max_examples=40)
@given(songs_as_read())
def test_random_songs_as_they_are_read_keep_the_laws(written: Song) -> None:
    assert broken_laws(arrange(written)) == {}


@pytest.mark.parametrize(
    "tuning", [*TUNINGS.values(), D_TUNING, ODD_TUNING], ids=lambda tuning: tuning.open_pitches
)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_keep_the_laws(path: Path, tuning: Tuning) -> None:
    written = read_song(path)
    for players in get_args(Players):
        assert broken_laws(arrange(replace(written, players=players), tuning)) == {}


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_can_be_played_by_those_they_are_for(path: Path) -> None:
    arrangement = arrange(read_song(path))
    assert [
        problem for problem in arrangement.problems if problem.unplayable or "masked" in problem.message
    ] == []
    assert any(gesture.action == "roll" for gesture in arrangement.gestures)
    assert any(gesture.layer == "strums" for gesture in arrangement.gestures)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_wanted_rolls_mostly_come_out(path: Path) -> None:
    main = [gesture for gesture in tune(arrange(read_song(path))) if gesture.layer == "melody"]
    assert sum(gesture.action == "roll" for gesture in main) / len(main) >= 0.8


# An edit changes nothing that comes before it


@settings(max_examples=40)
@given(made.edited_sections(), made.tunings)
def test_an_edit_in_a_later_section_changes_nothing_before(songs: tuple[Song, Song], tuning: Tuning) -> None:
    written, edited = songs
    before, after = arrange(written, tuning), arrange(edited, tuning)
    last = written.sections[-1]
    place = next(place for place, bar in enumerate(before.bars) if bar.section == last.name)
    # A pick-up takes its time from the bar before, so it may change the strums of that one bar.
    limit_beat = before.bars[place - 1 if last.pickup_beat else place].start_beat
    assert _until(before, limit_beat) == _until(after, limit_beat)
    assert _strokes(before, last.name) == _strokes(after, last.name)


def test_a_pin_beyond_reach_is_held_alike_whatever_comes_later() -> None:
    """A note on fret 7, and on fret 9 in the section after it, of beginners."""

    def verse(later: str) -> list[Gesture]:
        verse = section("verse", "B4:4[32]", "F")
        made = arrange(song(verse, section("chorus", later, "C"), players="beginner"), TUNINGS["high-g"])
        return _until(made, Fraction(4))

    assert verse("s1f9:4") == verse("C5:4")


def _until(arrangement: Arrangement, beat: Fraction) -> list[Gesture]:
    return [gesture for gesture in arrangement.gestures if gesture.start_beat < beat]


def _strokes(arrangement: Arrangement, without: str) -> dict[object, tuple[StringNote, ...]]:
    """Return how the tune is struck in all sections but one, wherever they are played."""
    own = {bar.number for bar in arrangement.bars if bar.own}
    return {
        (gesture.section, gesture.section_bar, gesture.bar_beat): gesture.notes
        for gesture in tune(arrangement)
        if gesture.section != without and gesture.section_bar and gesture.bar_number not in own
    }


@settings(max_examples=40)
@given(made.edited_last_bars(), made.tunings)
def test_an_edit_in_a_section_changes_no_fingering_before_it(
    songs: tuple[Song, Song], tuning: Tuning
) -> None:
    written, edited = songs
    name = list(dict.fromkeys(visit.section for visit in written.form))[-1]
    before, after = arrange(written, tuning), arrange(edited, tuning)
    limit_beat = next(bar.start_beat for bar in before.bars if bar.section == name)

    def earlier(arrangement: Arrangement) -> list[object]:
        return [
            (g.start_beat, g.notes, g.shape, g.fingers, g.position)
            for g in tune(arrangement)
            if g.start_beat < limit_beat and g.section != name
        ]

    assert earlier(before) == earlier(after)


# The same song, the same arrangement


def test_every_process_arranges_alike() -> None:
    program = (
        "import hashlib, sys; from tercet.arranging import arrange; from tercet.song import read_song\n"
        "print(hashlib.sha256(''.join(repr(arrange(read_song(path))) for path in sys.argv[1:]).encode()).hexdigest())"
    )
    paths = [str(path) for path in SONGS]
    sums = {
        subprocess.run(
            [sys.executable, "-c", program, *paths],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
            cwd=Path(__file__).parents[2],
        ).stdout
        for seed in ("0", "1", "4711")
    }
    assert len(sums) == 1


def test_arranging_again_gives_the_same() -> None:
    written = read_song(SONGS[0])
    assert arrange(written) == arrange(written)


# Sabotage: an arrangement that is broken on purpose is caught, by the law that it breaks


@cache
def sound_arrangement() -> Arrangement:
    """Return an arrangement in which everything occurs, and all laws hold."""
    verse = section(
        "verse",
        "G4 || C5:2 . A4 | F4:4 | G4:2 C5:2 | A4:3 .",
        "|| C | F | G7 | Am",
        between=".:2 E4:1/2 G4:1/2 . | | |",
        strum_row=" | . u d u | |",
        melody_2="| | G4:4 |",
    )
    arrangement = arrange(song(verse, form="verse verse verse", between="fill"))
    assert broken_laws(arrangement) == {}
    return arrangement


def replaced(arrangement: Arrangement, place: int, *gestures: Gesture) -> Arrangement:
    listed = list(arrangement.gestures)
    listed[place : place + 1] = gestures
    return replace(arrangement, gestures=tuple(listed))


def first(arrangement: Arrangement, wanted: Callable[[Gesture], bool]) -> tuple[int, Gesture]:
    return next((place, gesture) for place, gesture in enumerate(arrangement.gestures) if wanted(gesture))


def is_roll(gesture: Gesture) -> bool:
    return gesture.action == "roll"


def is_strum(gesture: Gesture) -> bool:
    return gesture.action == "strum"


def is_filling(gesture: Gesture) -> bool:
    return gesture.notes[0].part == "added" and gesture.section_bar == 3


def is_added(gesture: Gesture) -> bool:
    return gesture.notes[0].part == "added"


def roll_reversed(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_roll)
    return replaced(arrangement, place, replace(gesture, notes=gesture.notes[::-1]))


def roll_gapped(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: is_roll(g) and len(g.notes) == 4)
    return replaced(arrangement, place, replace(gesture, notes=(gesture.notes[0], *gesture.notes[2:])))


def fret_of(note: StringNote) -> int:
    assert note.fret is not None
    return note.fret


def string_off_by_a_fret(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_roll)
    low = replace(gesture.notes[0], fret=fret_of(gesture.notes[0]) + 1)
    return replaced(arrangement, place, replace(gesture, notes=(low, *gesture.notes[1:])))


def note_dropped(arrangement: Arrangement) -> Arrangement:
    place, _ = first(arrangement, is_roll)
    return replaced(arrangement, place)


def note_shortened(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_roll)
    return replaced(arrangement, place, replace(gesture, length_beat=gesture.length_beat - Fraction(1, 4)))


def note_moved(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: is_roll(g) and g.start_beat > 0)
    return replaced(arrangement, place, replace(gesture, start_beat=gesture.start_beat + Fraction(1, 8)))


def tune_an_octave_up(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_roll)
    top = replace(gesture.notes[-1], fret=fret_of(gesture.notes[-1]) + 12, midi=gesture.notes[-1].midi + 12)
    return replaced(arrangement, place, replace(gesture, notes=(*gesture.notes[:-1], top)))


def added_dropped(arrangement: Arrangement) -> Arrangement:
    place, _ = first(arrangement, is_added)
    return replaced(arrangement, place)


def strum_on_an_onset(arrangement: Arrangement) -> Arrangement:
    place, strum = first(arrangement, is_strum)
    onset = tune(arrangement)[1].start_beat
    return replaced(arrangement, place, replace(strum, start_beat=onset))


def strum_on_the_ringing_string(arrangement: Arrangement) -> Arrangement:
    place, strum = first(arrangement, is_strum)
    tuning = arrangement.tuning
    notes = tuple(StringNote(string, 0, tuning.midi(string, 0), "chord") for string in (4, 3, 2, 1))
    return replaced(arrangement, place, replace(strum, notes=notes, shape=(0, 0, 0, 0), up=False))


def strum_on_an_added_note(arrangement: Arrangement) -> Arrangement:
    place, added = first(arrangement, is_added)
    _, strum = first(arrangement, is_strum)
    over = replace(strum, start_beat=added.start_beat, notes=(replace(added.notes[0], part="chord"),))
    return replaced(arrangement, place, added, over)


def moved_without_a_sign(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_roll)
    return replaced(
        arrangement,
        place,
        replace(gesture, notes=(*gesture.notes[:-1], replace(gesture.notes[-1], off_neck=1))),
    )


def moved_on_paper_alone(arrangement: Arrangement) -> Arrangement:
    bar = arrangement.bars[0]
    note = bar.melody[0]
    assert note.pitch is not None
    up = replace(note, pitch=replace(note.pitch, octave=note.pitch.octave + 1))
    return replace(arrangement, bars=(replace(bar, melody=(up, *bar.melody[1:])), *arrangement.bars[1:]))


def filling_above_the_tune(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_filling)
    over = StringNote(1, 12, 81, "added")
    return replaced(arrangement, place, replace(gesture, notes=(over,), shape=(0, 0, 0, 12)))


def filling_on_the_tunes_string(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_filling)
    held = [other for other in tune(arrangement) if other.start_beat < gesture.start_beat][-1]
    return replaced(
        arrangement, place, replace(gesture, notes=(replace(held.notes[-1], part="added"),), shape=held.shape)
    )


def filling_that_leads_nowhere(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_filling)
    return replaced(arrangement, place, replace(gesture, notes=(StringNote(3, 1, 61, "added"),)))


def filling_on_an_onset(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_filling)
    held = [other for other in tune(arrangement) if other.start_beat < gesture.start_beat][-1]
    moved = replace(gesture, start_beat=held.start_beat, bar_beat=held.bar_beat)
    return replaced(arrangement, place, moved)


def filling_off_the_pulse(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_filling)
    third = Fraction(1, 3)
    moved = replace(gesture, start_beat=gesture.start_beat + third, bar_beat=gesture.bar_beat + third)
    return replaced(arrangement, place, moved)


def non_chord_tone_under_the_tune(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_roll)
    low = gesture.notes[0]
    wrong = replace(low, fret=fret_of(low) + 1, midi=low.midi + 1)
    shape = tuple(
        wrong.fret if 4 - place == wrong.string else fret for place, fret in enumerate(gesture.shape)
    )
    return replaced(arrangement, place, replace(gesture, notes=(wrong, *gesture.notes[1:]), shape=shape))


def masked_roll(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: is_roll(g) and g.notes[-1].midi == 65)
    over = StringNote(4, 2, 69, "chord")
    assert gesture.shape[0] == 2
    return replaced(arrangement, place, replace(gesture, notes=(over, *gesture.notes)))


def strum_with_a_gap(arrangement: Arrangement) -> Arrangement:
    place, strum = first(arrangement, lambda g: is_strum(g) and len(g.notes) >= 3)
    return replaced(arrangement, place, replace(strum, notes=(strum.notes[0], *strum.notes[2:])))


def strum_the_wrong_way(arrangement: Arrangement) -> Arrangement:
    place, strum = first(arrangement, is_strum)
    return replaced(arrangement, place, replace(strum, up=not strum.up))


def strum_in_a_short_space(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(
        arrangement, lambda g: g.bar_number == 1 and g.notes[-1].part == "tune" and g.bar_beat == 3
    )
    _, strum = first(arrangement, is_strum)
    beat = gesture.start_beat + Fraction(1, 2)
    extra = replace(strum, start_beat=beat, bar_number=1, bar_beat=Fraction(7, 2))
    return replaced(arrangement, place, gesture, extra)


def written_strum_dropped(arrangement: Arrangement) -> Arrangement:
    place, _ = first(arrangement, lambda g: is_strum(g) and g.section_bar == 2)
    return replaced(arrangement, place)


def written_strum_chopped(arrangement: Arrangement) -> Arrangement:
    place, strum = first(arrangement, lambda g: is_strum(g) and g.section_bar == 2)
    return replaced(arrangement, place, replace(strum, action="chop"))


def string_struck_twice(arrangement: Arrangement) -> Arrangement:
    place, added = first(arrangement, is_added)
    return replaced(arrangement, place, added, added)


def ringing_note_struck(arrangement: Arrangement) -> Arrangement:
    place, added = first(arrangement, is_added)
    longer = replace(added, length_beat=added.length_beat + 4)
    return replaced(arrangement, place, longer)


def hand_too_wide(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_strum)
    return replaced(arrangement, place, replace(gesture, shape=(1, 0, 0, 7)))


def too_many_fingers(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_strum)
    return replaced(arrangement, place, replace(gesture, shape=(9, 0, 0, 4)))


def finger_on_an_open_string(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: len(g.fingers) == 4 and g.shape[1] == 0)
    fingers = (gesture.fingers[0], 4, *gesture.fingers[2:])
    return replaced(arrangement, place, replace(gesture, fingers=fingers))


def fingers_swapped(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: len(set(g.fingers)) > 2)
    swapped = tuple(5 - finger if finger else 0 for finger in gesture.fingers)
    return replaced(arrangement, place, replace(gesture, fingers=swapped))


def wrong_position(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: any(g.fingers))
    return replaced(arrangement, place, replace(gesture, position=gesture.position + 1))


def wrong_bar(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_roll)
    return replaced(arrangement, place, replace(gesture, bar_number=gesture.bar_number + 1))


def wrong_pass(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_roll)
    return replaced(arrangement, place, replace(gesture, pass_number=gesture.pass_number + 1))


def out_of_order(arrangement: Arrangement) -> Arrangement:
    return replace(arrangement, gestures=arrangement.gestures[::-1])


def another_fingering_on_the_third_pass(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: is_roll(g) and g.pass_number == 3 and len(g.notes) > 2)
    return replaced(arrangement, place, replace(gesture, notes=gesture.notes[1:]))


def thumb_in_the_air(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: is_roll(g) and g.rests_on is not None)
    return replaced(arrangement, place, replace(gesture, rests_on=None))


def strum_without_a_third(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, is_strum)
    return replaced(arrangement, place, replace(gesture, shape=(0, 0, 3, 3)))  # G, C, G, C


def roll_in_haste(arrangement: Arrangement) -> Arrangement:
    place, gesture = first(arrangement, lambda g: is_roll(g) and g.start_beat > 0)
    return replaced(
        arrangement, place, gesture, replace(gesture, start_beat=gesture.start_beat + Fraction(1, 16))
    )


def strum_right_before_three_fingers(arrangement: Arrangement) -> Arrangement:
    """Strum a hand until right before three other fingers are set, in a song that leaves strums to us."""
    place, strum = first(arrangement, is_strum)
    note = next(gesture for gesture in arrangement.gestures[place:] if gesture.fingers)
    before = replace(note, shape=strum.shape, fingers=(0, 0, 0, 0), start_beat=strum.start_beat)
    late = replace(strum, start_beat=note.start_beat - Fraction(1, 16))
    after = replace(note, shape=(2, 2, 2, 0), fingers=(1, 2, 3, 0), section=strum.section)
    changed = replaced(arrangement, place, before, late, replace(after, pass_number=strum.pass_number))
    return replace(changed, song=replace(changed.song, strum=None))


def chord_string_struck_alone(arrangement: Arrangement) -> Arrangement:
    """Strike a string of a chord alone, as if the style were broken."""
    place, strum = first(arrangement, is_strum)
    alone = replace(strum, layer="between", action="single", notes=strum.notes[:1])
    return replaced(arrangement, place, alone)


def rolls_in_plain_style(arrangement: Arrangement) -> Arrangement:
    """Say that the song has no rolls, and leave them in."""
    return replace(arrangement, song=replace(arrangement.song, style="plain"))


def rolls_on_short_notes_that_ring(arrangement: Arrangement) -> Arrangement:
    """Say that the tune rings, and leave the rolls on its short notes."""
    place, roll = first(arrangement, is_roll)
    short = replaced(arrangement, place, replace(roll, length_beat=Fraction(1)))
    return replace(short, song=replace(short.song, style="ringing"))


SABOTAGE: tuple[tuple[Callable[[Arrangement], Arrangement], str], ...] = (
    (roll_reversed, "rolls fall to the tune"),
    (roll_gapped, "rolls fall to the tune"),
    (thumb_in_the_air, "rolls fall to the tune"),
    (roll_in_haste, "the thumb has time"),
    (strum_right_before_three_fingers, "strums leave the hand time"),
    (string_off_by_a_fret, "strings sound what they say"),
    (note_dropped, "the tune is whole"),
    (note_shortened, "the tune is whole"),
    (note_moved, "the tune is whole"),
    (tune_an_octave_up, "the tune is whole"),
    (added_dropped, "added notes are whole"),
    (moved_without_a_sign, "moved notes are marked and told"),
    (moved_on_paper_alone, "the staff is what sounds"),
    (filling_above_the_tune, "filling leads under the tune"),
    (filling_on_the_tunes_string, "filling leads under the tune"),
    (filling_that_leads_nowhere, "filling leads under the tune"),
    (filling_on_an_onset, "filling leads under the tune"),
    (filling_off_the_pulse, "filling leads under the tune"),
    (strum_on_an_onset, "no strum on an onset"),
    (strum_on_the_ringing_string, "ringing strings are left alone"),
    (strum_on_an_added_note, "added notes are left alone"),
    (non_chord_tone_under_the_tune, "strings under the tune are chord tones"),
    (masked_roll, "the tune is on top"),
    (strum_with_a_gap, "strums are neighbours"),
    (strum_the_wrong_way, "strums are neighbours"),
    (strum_without_a_third, "strums are full"),
    (strum_in_a_short_space, "the pattern only in long spaces"),
    (written_strum_dropped, "written strums are played"),
    (written_strum_chopped, "written strums are played"),
    (string_struck_twice, "one note a string"),
    (ringing_note_struck, "what is let go is told"),
    (hand_too_wide, "hands can hold it"),
    (too_many_fingers, "hands can hold it"),
    (finger_on_an_open_string, "fingers can hold it"),
    (fingers_swapped, "fingers can hold it"),
    (wrong_position, "fingers can hold it"),
    (wrong_bar, "places agree"),
    (wrong_pass, "places agree"),
    (out_of_order, "places agree"),
    (another_fingering_on_the_third_pass, "passes are fingered alike"),
    (chord_string_struck_alone, "styles are kept"),
    (rolls_in_plain_style, "styles are kept"),
    (rolls_on_short_notes_that_ring, "styles are kept"),
)


@pytest.mark.parametrize(("sabotage", "law"), SABOTAGE, ids=lambda item: getattr(item, "__name__", ""))
def test_what_is_broken_is_caught(sabotage: Callable[[Arrangement], Arrangement], law: str) -> None:
    assert law in broken_laws(sabotage(sound_arrangement()))


def test_every_law_is_shown_to_catch_something() -> None:
    assert {law for _, law in SABOTAGE} == set(LAWS)
