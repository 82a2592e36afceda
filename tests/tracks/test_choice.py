"""What the notes of a take can be chosen by: rolls stay whole, places are those that a musician counts."""

from __future__ import annotations

import subprocess
import sys
from itertools import groupby
from pathlib import Path

import pytest

from tercet.arranging import Arrangement, arrange
from tercet.performing import Take, TakeNote, lay_out, perform
from tercet.song import parse_song
from tercet.song.choice_words import parse_choice
from tercet.song.note_choice import NoteFacts
from tercet.tracks.clips.performed import facts_of

ROOT = Path(__file__).resolve().parents[2]
SONG = """\
title: Three Gates
meter: 3/4
between: fill
form: gate yard gate
sections:
  gate: |
    chords   | C      | G7     | C    |
    melody G4 | A4:3  | B4 A G | G4:3 |

    chords   | F      | C      |
    melody   | A4:3   | G4:2 . |
  yard: |
    chords   | Am     | F      |
    melody   | A4 C5 E5 | C5:3 |
"""


@pytest.fixture(scope="module")
def arrangement() -> Arrangement:
    return arrange(parse_song(SONG))


@pytest.fixture(scope="module")
def take(arrangement: Arrangement) -> Take:
    return perform(arrangement, lay_out(arrangement))


def picked(text: str, take: Take, arrangement: Arrangement) -> tuple[TakeNote, ...]:
    choice, facts = parse_choice(text), facts_of(take.notes, arrangement)
    return tuple(note for note, known in zip(take.notes, facts, strict=True) if choice.picks(known))


def rolls_of(take: Take) -> list[list[TakeNote]]:
    rolls = sorted((note for note in take.notes if note.action == "roll"), key=lambda note: note.gesture)
    return [list(strings) for _, strings in groupby(rolls, key=lambda note: note.gesture)]


def split_rolls(text: str, take: Take, arrangement: Arrangement) -> int:
    """How many rolls a choice takes apart."""
    chosen = set(picked(text, take, arrangement))
    return sum(0 < len(chosen & set(roll)) < len(roll) for roll in rolls_of(take))


@pytest.mark.parametrize(
    "text", ["open", "fretted", "string 1", "strings 2-3", "not open and bars 1-4", "phrase 2"]
)
def test_a_roll_goes_with_its_tune_note(text: str, take: Take, arrangement: Arrangement) -> None:
    mixed = [roll for roll in rolls_of(take) if len({note.fret == 0 for note in roll}) == 2]
    assert mixed, "no roll mixes open and fretted strings, so nothing is shown"
    assert split_rolls(text, take, arrangement) == 0


def test_choosing_by_each_string_would_take_rolls_apart(
    take: Take, arrangement: Arrangement, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The test above can fail: without the rule it does."""
    monkeypatch.setattr("tercet.tracks.clips.performed._tune_notes", lambda notes: {})
    assert split_rolls("open", take, arrangement) > 0
    assert split_rolls("string 1", take, arrangement) > 0


def test_the_tune_note_decides(take: Take, arrangement: Arrangement) -> None:
    for text, wanted in (("roll and open", True), ("roll and fretted", False)):
        chosen = picked(text, take, arrangement)
        tune = [note for note in chosen if note.part == "tune"]
        assert tune
        assert {note.fret == 0 for note in tune} == {wanted}
    assert all(note.part == "tune" for note in picked("tune", take, arrangement))
    assert {note.part for note in picked("roll", take, arrangement)} == {"tune", "chord"}


def test_strings_of_a_strum_are_what_they_are(take: Take, arrangement: Arrangement) -> None:
    strums = picked("strums and open", take, arrangement)
    assert strums
    assert {note.fret for note in strums} == {0}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        *(("open", "fretted"), ("odd bars", "even bars"), ("odd phrases", "even phrases")),
        *(("roll", "single or strums"), ("section gate", "section yard"), ("bars 0-5", "bars 6-12")),
        *(("tune", "added or chord"), ("last pass", "section gate@1"), ("string 1", "strings 2-4")),
    ],
)
def test_two_parts_make_the_whole(one: str, other: str, take: Take, arrangement: Arrangement) -> None:
    mine, yours = set(picked(one, take, arrangement)), set(picked(other, take, arrangement))
    assert mine
    assert yours
    assert mine.isdisjoint(yours)
    assert mine | yours == set(take.notes)


def test_a_pick_up_belongs_to_the_section_it_leads_into(take: Take, arrangement: Arrangement) -> None:
    """The second gate's first note sounds in the yard's last bar; bar 0 of the piece is a pick-up by itself."""
    pickups = picked("bar gate:0 and tune", take, arrangement)
    numbers = [arrangement.bars[note.bar_index].number for note in pickups]
    assert numbers == [0, 7]
    assert [note.pass_number for note in pickups] == [1, 2]
    assert set(pickups) <= set(picked("section gate", take, arrangement))
    assert pickups[1] in picked("bar 7", take, arrangement)
    assert pickups[1] not in picked("section yard", take, arrangement)
    assert pickups[1] in picked("phrase 4", take, arrangement)


def test_bars_of_a_section_on_every_pass_or_one(take: Take, arrangement: Arrangement) -> None:
    each = {(note.section, note.pass_number) for note in picked("bars gate:2-3", take, arrangement)}
    assert each == {("gate", 1), ("gate", 2)}
    assert {note.pass_number for note in picked("bars gate@2:2-3", take, arrangement)} == {2}
    assert picked("bars gate@last:2", take, arrangement) == picked("bars gate@2:2", take, arrangement)
    numbers = {arrangement.bars[note.bar_index].number for note in picked("bars gate:2-3", take, arrangement)}
    assert numbers == {2, 3, 9, 10}


def test_phrases_count_from_1(take: Take, arrangement: Arrangement) -> None:
    facts = facts_of(take.notes, arrangement)
    assert {known.phrase for known in facts} == {1, 2, 3, 4, 5}
    assert {note.phrase for note in picked("phrase 1", take, arrangement)} == {0}


def test_the_same_facts_on_any_timeline(take: Take, arrangement: Arrangement) -> None:
    """A loop of chosen bars counts its own bars; what its notes are chosen by stays."""

    def known(take: Take) -> dict[tuple[object, ...], NoteFacts]:
        places = [(note.beat, note.layer, note.string) for note in take.notes]
        return dict(zip(places, facts_of(take.notes, arrangement), strict=True))

    loop = perform(arrangement, lay_out(arrangement, [6, 7, 8, 6, 7, 8, 2]))
    everywhere, looped = known(take), known(loop)
    assert len({facts.bar_number for facts in looped.values()}) == 4
    assert {place: everywhere[place] for place in looped} == looped


def test_a_song_has_notes_of_each_kind(take: Take, arrangement: Arrangement) -> None:
    for word in (
        "melody",
        "between",
        "strums",
        "tune",
        "added",
        "chord",
        "roll",
        "single",
        "strum",
        "open",
        "fretted",
    ):
        assert picked(word, take, arrangement), word


TIMER = """
import sys, time
from dataclasses import replace
from tercet.arranging import arrange
from tercet.performing import lay_out, perform
from tercet.song import read_song
from tercet.tracks.clips.performed import facts_of
from tercet.song.choice_words import parse_choice
arrangement = arrange(read_song(sys.argv[1]))
take = perform(arrangement, lay_out(arrangement))
some = take.notes * (20_000 // len(take.notes) + 1)
notes = [replace(note, gesture=place) for place, note in enumerate(some[:20_000])]
choices = [parse_choice(text) for text in sys.argv[2:]]
start_s = time.process_time()
sum(number * number % 7 for number in range(1_000_000))
yardstick_s = time.process_time() - start_s
start_s = time.process_time()
facts = facts_of(notes, arrangement)
counts = [sum(map(choice.picks, facts)) for choice in choices]
print((time.process_time() - start_s) / yardstick_s, len(counts), min(counts), max(counts))
"""


def test_choosing_is_quick() -> None:
    """Thirty choices of 20,000 notes, half a second where a million squares are added up in 0.05 s; in a process of its
    own, where nothing traces the lines."""
    texts = (
        "open but not strums",
        "odd phrases and melody",
        "bars verse:3-4 or bar 3",
        "not (roll or string 1)",
    )
    asked = [texts[place % len(texts)] for place in range(30)]
    song = ROOT / "songs" / "harbour-lanterns.yaml"
    done = subprocess.run(
        [sys.executable, "-c", TIMER, str(song), *asked], check=True, capture_output=True, text=True, cwd=ROOT
    )
    yardsticks, count, fewest, most = map(float, done.stdout.split())
    assert count == 30
    assert 0 < fewest <= most < 20_000
    assert yardsticks < 10
