"""What a teacher changes later in a song changes nothing in how the earlier part is played: our songs, random edits.

Every deviation belongs to its place. So an edit leaves all of the sections before as they were, to the last bit, and
within its own section the time of every beat before it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import Arrangement, arrange
from tercet.errors import SongError
from tercet.performing import Take, TakeNote, lay_out, perform
from tercet.song import read_song
from tests.kits import ROOT

SONGS = sorted((ROOT / "songs").glob("*.yaml"))
NOTE = re.compile(r"\b([A-G])(?=[#b]?\d?(?:[:~ ]|$))")


@dataclass(frozen=True)
class Edit:
    """A place in a song's text where a letter of the tune stands, and the section it is in."""

    at: int
    section: str


@cache
def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@cache
def places(path: Path) -> tuple[Edit, ...]:
    """Return the notes of a song's melody rows for all passes."""

    def found() -> Iterator[Edit]:
        section, at = "", 0
        for line in text_of(path).splitlines(keepends=True):
            if name := re.match(r"  (\S+): \|", line):
                section = name[1]
            if section and re.match(r"    melody(?! +(?:\d|last))", line):
                yield from (Edit(at + note.start(), section) for note in NOTE.finditer(line, 10))
            at += len(line)

    return tuple(found())


def played(path: Path) -> tuple[Arrangement, Take]:
    made = arrange(read_song(path))
    return made, perform(made, lay_out(made))


@cache
def as_written(path: Path) -> tuple[Arrangement, Take]:
    return played(path)


def first_bar(made: Arrangement, section: str) -> int:
    return next(index for index, bar in enumerate(made.bars) if bar.section == section)


def before_beat(take: Take, beat: Fraction) -> list[TakeNote]:
    """Return what is struck before a beat."""
    return [note for note in take.notes if note.beat < beat]


def onsets_s(take: Take, beat: Fraction) -> dict[tuple[Fraction, str], float]:
    """Return when each gesture of the melody before a beat is struck: its last string."""
    return {
        (note.beat, note.layer): note.onset_s
        for note in take.notes
        if note.beat < beat and note.part == "tune"
    }


@settings(max_examples=30)
@given(data=st.data())
def test_an_edit_changes_nothing_before_its_section(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = data.draw(st.sampled_from(SONGS), label="song")
    edit = data.draw(st.sampled_from(places(path)), label="edit")
    letter = data.draw(st.sampled_from("CDEFGAB"), label="letter")
    written, before = as_written(path)
    changed = tmp_path_factory.mktemp("edit") / path.name
    text = text_of(path)
    changed.write_text(text[: edit.at] + letter + text[edit.at + 1 :], encoding="utf-8")
    try:
        made, after = played(changed)
    except SongError:
        return  # a note too high or too low for the page: the song must be mended first
    start = written.bars[first_bar(written, edit.section)]
    up_to = start.start_beat - (written.song.meter.bar_beat if start.number > 1 else 0)
    assert before_beat(after, up_to) == before_beat(before, up_to)
    assert after.bars == before.bars
    where = next(
        (
            gesture.start_beat
            for gesture, other in zip(written.gestures, made.gestures, strict=False)
            if gesture != other
        ),
        written.bars[-1].start_beat + written.bars[-1].length_beat,
    )
    assert onsets_s(after, where) == onsets_s(before, where)
