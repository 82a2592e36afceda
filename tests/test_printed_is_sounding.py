"""What is printed is what sounds: in every output string and fret make the pitch that is heard, or there is no fret."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from tercet.arranging import Arrangement, arrange, chords_alone
from tercet.arranging.tab import tab_text
from tercet.exchange.musicxml import musicxml_bytes
from tercet.performing import Take, TakeNote, lay_out, perform
from tercet.performing.midi import midi_bytes
from tercet.publish.page.music import spoken_bars
from tercet.publish.pictures import fretboard_picture, handout_pictures
from tercet.publish.pictures.fretboard import FretboardMap, tune_places
from tercet.publish.score.elements import ScoreLook
from tercet.publish.score.engraving import engrave_at
from tercet.publish.score.written_form import WrittenForm, written_form
from tercet.publish.svg import svg_text
from tercet.song import Measure, Players, Song, drop_pins, parse_song, read_song, transpose_song
from tercet.sound.fluid import FluidSynthesiser
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.ukulele import ready_built_in
from tercet.theory import LAST_FRET, TUNINGS, Pitch, Tuning, tuning_of_pitches
from tests.arranging import strategies as made
from tests.measure import places
from tests.measure.audio import Track
from tests.measure.pitch import cents_sharp
from tests.publish.papers import engraving_svg

ROOT = Path(__file__).parent.parent
D_TUNING = tuning_of_pitches(tuple(map(Pitch.parse, ("A4", "D4", "F#4", "B4"))))

LOW_AND_HIGH = """\
title: Cellar and Attic
key: D minor
meter: 6/8
tempo: 66
strum: d . d . d u
sections:
  stairs: |
    chords   Dm             | Gm             | A7            | Dm
    melody   D4 E F E D A3  | Bb3:3 G3:2 A   | C#4:3 E6:3    | D4:6
    between  .:4 F3:1 .     | .:6            | .:3 E3:2 .    | .:3 A3:1 D3 E6
    words    Down by the damp and dark | cold stone step | up here | sun

    chords   F              | C              | Bb      A7    | Dm
    melody   C6:2 D A5 F:2  | E6:3 C6:2 G5   | Bb3:3 A3:3    | D2:3 =:3
"""
"""Notes below and above the neck of every tuning, of the tune and added, one held over by a tie."""


@dataclass(frozen=True)
class Case:
    """A song on some strings, and what is heard of it."""

    made: Arrangement

    @cached_property
    def take(self) -> Take:
        return perform(self.made, lay_out(self.made, count_in_bars=0), seed=3)

    @cached_property
    def opens(self) -> dict[int, int]:
        return {4 - at: pitch.midi for at, pitch in enumerate(self.made.tuning.open_pitches)}

    @cached_property
    def on_neck(self) -> frozenset[int]:
        return frozenset(midi + fret for midi in self.opens.values() for fret in range(LAST_FRET + 1))

    def heard(self, *, strums: bool, stretch: Measure | None = None) -> list[dict[int, TakeNote]]:
        """Return the notes that are struck together, by string, in order; all of them, or those of a printed bar."""
        columns: dict[object, dict[int, TakeNote]] = {}
        for note in sorted(self.take.notes, key=lambda note: (note.beat, note.onset_s)):
            inside = stretch is None or stretch.start_beat <= note.beat < stretch.end_beat
            if inside and note.action != "chop" and (strums or note.layer != "strums"):
                columns.setdefault(note.beat, {})[note.string] = note
        return list(columns.values())

    def sounds_as_printed(self, column: places.Column, heard: dict[int, TakeNote]) -> bool:
        """Whether a printed column is what is heard: every fret its pitch, and no fret only where no string has it."""
        if {string for string, _, _ in column} != set(heard):
            return False
        return all(
            self.opens[string] + fret == heard[string].midi
            if fret is not None
            else bool(sign) and heard[string].midi not in self.on_neck
            for string, fret, sign in column
        )

    def wrong(self, columns: list[places.Column], heard: list[dict[int, TakeNote]]) -> list[object]:
        """Return the printed columns that aren't what is heard."""
        if len(columns) != len(heard):
            return [f"{len(columns)} printed, {len(heard)} heard"]
        pairs = zip(columns, heard, strict=True)
        return [(column, notes) for column, notes in pairs if not self.sounds_as_printed(column, notes)]


def in_text(case: Case) -> list[object]:
    tab = tab_text(case.made, range(len(case.made.bars)))
    return case.wrong(places.of_text_tab(tab), case.heard(strums=False))


def in_engravings(case: Case, look: ScoreLook) -> list[object]:
    """Return what is wrong in the music of a sheet or a page, on whatever pass a printed bar stands for."""
    (engraving,) = engrave_at(case.made, look, (1900,))
    columns = places.of_engraving(engraving_svg(engraving))
    form: WrittenForm = written_form(case.made)
    return [
        wrong
        for index, bar in enumerate(form.bars)
        for stretch in bar.playings
        for wrong in case.wrong(columns.get(f"m{index}", []), case.heard(strums=True, stretch=stretch))
    ]


def in_handout(case: Case) -> list[object]:
    """Return the places of a handout that aren't heard anywhere, and those heard that aren't there."""
    shown = {
        place for picture in handout_pictures(case.made) for place in places.of_handout(svg_text(picture))
    }
    wrong: list[object] = [place for place in shown if place[1] is None and not case.made.song.as_written]
    printed = {(string, case.opens[string] + fret) for string, fret, _ in shown if fret is not None}
    heard = {(note.string, note.midi) for column in case.heard(strums=False) for note in column.values()}
    wrong += sorted(printed - heard)
    wrong += sorted((string, midi) for string, midi in heard - printed if midi in case.on_neck)
    return wrong


def in_musicxml(case: Case) -> list[object]:
    data, _ = musicxml_bytes(case.made)
    tab = places.of_musicxml(data)
    wrong: list[object] = [
        (key, place)
        for key, place in tab
        if (key in case.on_neck if place is None else case.opens[place[0]] + (place[1] or 0) != key)
    ]
    heard = Counter(note.midi for column in case.heard(strums=True) for note in column.values())
    chops = sum(len(gesture.notes) for gesture in case.made.gestures if gesture.action == "chop")
    if not chops and Counter(key for key, _ in tab) != heard:
        wrong.append((Counter(key for key, _ in tab) - heard, heard - Counter(key for key, _ in tab)))
    tune = [note.midi for note in sorted(case.take.notes, key=lambda note: note.beat) if note.part == "tune"]
    if places.staff_of_musicxml(data) != tune:
        wrong.append((places.staff_of_musicxml(data), tune))
    return wrong


def in_midi(case: Case) -> Sequence[object]:
    """Return what is wrong in a MIDI file: of equal keys at one time in one layer it has but one."""
    there = set(places.keys_of_midi(midi_bytes(case.made, case.take)))
    return sorted(there ^ {note.midi for note in case.take.notes})


def on_the_page(case: Case) -> list[object]:
    """Return what is wrong in what the page reads aloud."""
    read = places.of_spoken(spoken_bars(case.made))
    heard = Counter(
        (note.string, note.midi)
        for gesture in case.made.gestures
        for note in gesture.notes
        if note.midi in case.on_neck
    )
    told = Counter((string, case.opens[string] + fret) for string, fret in read)
    return [] if told == heard else [(told - heard, heard - told)]


def on_the_neck(case: Case) -> Sequence[object]:
    """Return the places of a fretboard map at which the tune doesn't sound what the map says."""
    heard = {
        (note.string, note.midi)
        for note in case.take.notes
        if note.part == "tune" and note.midi in case.on_neck
    }
    shown = {(string, case.opens[string] + fret) for string, fret in tune_places(case.made)}
    return sorted(heard ^ shown)


OUTPUTS: dict[str, Callable[[Case], Sequence[object]]] = {
    "text tab": in_text,
    "sheet": lambda case: in_engravings(case, ScoreLook()),
    "large sheet": lambda case: in_engravings(case, ScoreLook(tune=False)),
    "handout": in_handout,
    "MusicXML": in_musicxml,
    "MIDI": in_midi,
    "page": on_the_page,
    "fretboard": on_the_neck,
}


def wrong_outputs(case: Case, outputs: frozenset[str] = frozenset(OUTPUTS)) -> dict[str, Sequence[object]]:
    found = {name: read(case) for name, read in OUTPUTS.items() if name in outputs}
    return {name: wrong for name, wrong in found.items() if wrong}


def case_of(
    song: Song,
    *,
    tuning: Tuning | None = None,
    semitones: int = 0,
    players: Players | None = None,
    as_written: bool = False,
) -> Case:
    song = replace(song, as_written=as_written, players=players or song.players)
    if semitones:
        song, _ = transpose_song(song, semitones)
    elif tuning is not None:
        song, _ = drop_pins(song)
    return Case(arrange(song, tuning))


@pytest.mark.parametrize("as_written", [False, True], ids=["moved", "as written"])
@pytest.mark.parametrize(
    ("tuning", "semitones", "players"),
    [
        ("high-g", 0, "beginner"),
        ("low-g", -5, "improving"),
        ("baritone", 3, "free"),
        ("baritone", -9, "improving"),
        ("d", 7, "beginner"),
    ],
)
def test_notes_beyond_both_ends_of_the_neck(
    tuning: str, semitones: int, players: Players, as_written: bool
) -> None:
    strings = TUNINGS.get(tuning, D_TUNING)
    case = case_of(
        parse_song(LOW_AND_HIGH), tuning=strings, semitones=semitones, players=players, as_written=as_written
    )
    empty = {note.fret is None for gesture in case.made.gestures for note in gesture.notes if note.off_neck}
    assert empty == {as_written}
    assert wrong_outputs(case) == {}


@pytest.mark.parametrize("semitones", [0, -7])
@pytest.mark.parametrize("path", sorted((ROOT / "songs").glob("*.yaml")), ids=lambda path: path.stem)
def test_our_songs(path: Path, semitones: int) -> None:
    for tuning in TUNINGS.values():
        assert wrong_outputs(case_of(read_song(path), tuning=tuning, semitones=semitones)) == {}


@given(song=made.songs(), tuning=made.tunings)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_song(song: Song, tuning: Tuning) -> None:
    arrangement = arrange(song, tuning)
    taken = any("takes a string" in problem.message for problem in arrangement.problems)
    quick = frozenset({"MIDI", "page", "fretboard"} | (set() if taken else {"text tab"}))
    assert wrong_outputs(Case(arrangement), quick) == {}


def test_the_signs_are_explained_wherever_they_stand() -> None:
    for as_written, words in ((False, "behind a fret"), (True, "without a fret")):
        made_so = case_of(parse_song(LOW_AND_HIGH), as_written=as_written).made
        tab = tab_text(made_so)
        assert all(f"{sign} {words}" in tab for sign in "*†")
        pictures = "".join(map(svg_text, handout_pictures(made_so)))
        assert all(f"{sign} {words}" in pictures for sign in "*†")


def test_chords_alone_have_no_signs() -> None:
    made_so = chords_alone(case_of(parse_song(LOW_AND_HIGH)).made)
    assert not any(note.off_neck for gesture in made_so.gestures for note in gesture.notes)


def test_a_map_of_the_neck_shows_where_moved_notes_are_played() -> None:
    case = case_of(parse_song(LOW_AND_HIGH))
    shown = svg_text(
        fretboard_picture(FretboardMap(case.made.song.key, case.made.tuning, 15, "x", tune_places(case.made)))
    )
    assert "A4, step 5: string 1, open" in shown


SUNG_LOW = """\
title: Well Rope
key: A minor
meter: 4/4
tempo: 60
sections:
  rope: |
    chords  N.C.                    | N.C.
    melody  A3:1.5 .:0.5 B3:1.5 .:0.5 | D6:1.5 .:0.5 C4:1.5 .:0.5
"""


@pytest.mark.parametrize("as_written", [False, True], ids=["moved", "as written"])
def test_the_recording_has_the_pitches_that_are_printed(as_written: bool) -> None:
    case = case_of(parse_song(SUNG_LOW), as_written=as_written)
    tune = [note for note in case.take.notes if note.part == "tune"]
    assert [note.midi for note in tune] == ([57, 59, 86, 60] if as_written else [69, 71, 74, 60])
    stems = FluidSynthesiser(SoundFont(ready_built_in(), 8, 24)).stems(case.take)
    for note in tune:
        track = Track(stems.by_name[note.layer], stems.sample_rate_hz)
        assert abs(cents_sharp(track, note.midi, note.onset_s, note.onset_s + 0.6)) < 10
