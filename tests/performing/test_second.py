"""A second voice as it is played: on strings of its own, under the tune, and nothing else changes for it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from statistics import median
from typing import get_args

import pytest

from tercet.arranging import arrange
from tercet.performing import Take, TakeNote, covered_notes, lay_out, perform, performer
from tercet.song import SecondVoice, Song, read_song

ROOT = Path(__file__).parents[2]
SONGS = sorted((ROOT / "songs").glob("*.yaml"))
VOICES: tuple[SecondVoice, ...] = get_args(SecondVoice)


def played(song: Song, *, flat: bool = False, dry: bool = False) -> Take:
    made = arrange(song)
    return perform(made, lay_out(made), flat=flat, dry=dry)


def of_others(take: Take) -> list[TakeNote]:
    """Return the notes of all layers but the second, without the number that each gesture has in the take."""
    return [replace(note, gesture=0) for note in take.notes if note.layer != "second"]


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_the_other_layers_are_played_to_the_last_bit_as_without_it(path: Path, voice: SecondVoice) -> None:
    song = read_song(path)
    plain, take = played(song), played(replace(song, second=voice))
    assert of_others(take) == of_others(plain) == [replace(note, gesture=0) for note in plain.notes]
    assert (take.bars, take.tempo_map, take.clicks) == (plain.bars, plain.tempo_map, plain.clicks)
    assert len(take.notes) > len(plain.notes)


@pytest.mark.parametrize("voice", VOICES)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_it_covers_no_note_of_the_tune(path: Path, voice: SecondVoice) -> None:
    take = played(replace(read_song(path), second=voice))
    assert covered_notes(take) == ()


def test_that_is_so_as_it_gives_way(monkeypatch: pytest.MonkeyPatch) -> None:
    song = replace(read_song(ROOT / "songs" / "sleeper-train.yaml"), second="thirds")
    monkeypatch.setattr(performer, "_giving_way", lambda playing: playing)
    covered = covered_notes(played(song))
    assert covered
    assert all(any(note.layer == "second" for note in each.by) for each in covered)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_it_lies_under_the_melody_and_above_between(path: Path) -> None:
    take = played(replace(read_song(path), second="thirds"), dry=True)
    levels = {
        layer: median(note.mark_db for note in take.notes if note.layer == layer and note.part != "tune")
        for layer in ("second", "strums")
    }
    melody = median(note.mark_db for note in take.notes if note.layer == "melody")
    assert melody - 10.0 <= levels["second"] <= melody - 3.0
    assert levels["second"] > levels["strums"]


def test_a_note_that_gives_way_is_as_loud_as_it_is_said_to_be() -> None:
    song = replace(read_song(ROOT / "songs" / "sleeper-train.yaml"), second="thirds")
    take = played(song, dry=True)
    softer = [note for note in take.notes if note.layer == "second" and note.mark_db < 0.0]
    assert softer
    assert all(note.level_db == pytest.approx(note.mark_db) for note in softer)


def test_flat_it_is_as_loud_as_all_else() -> None:
    song = replace(read_song(SONGS[0]), second="low")
    assert {note.level_db for note in played(song, flat=True).notes if note.layer == "second"} == {0.0}


def test_its_strings_are_its_own() -> None:
    take = played(replace(read_song(SONGS[0]), second="thirds"))
    together = [
        (one, two)
        for one in take.notes
        for two in take.notes
        if one.layer == "second" != two.layer
        and one.string == two.string
        and one.onset_s < two.onset_s < one.onset_s + one.length_s - 0.1
    ]
    assert together
