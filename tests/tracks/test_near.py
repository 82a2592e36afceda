"""A song that is played near some bars alone: those bars come as in the whole song, note for note."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.arranging import Arrangement, arrange
from tercet.song import read_song
from tercet.sound.sampler import UkuleleSampler
from tercet.tracks.clips.performed import Performed
from tercet.tracks.playing import Playing
from tercet.tracks.timelines import Source, bar_ranges
from tests.kits import ROOT

SONGS = sorted((ROOT / "songs").glob("*.yaml"))


@cache
def arranged(path: Path, *, second: bool = False) -> Arrangement:
    song = read_song(path)
    return arrange(replace(song, second="thirds") if second else song)


@cache
def whole(path: Path, source: Source) -> Performed:
    return playing(path).performed(source)


def playing(path: Path) -> Playing:
    return Playing(arranged(path), UkuleleSampler())


def played(performed: Performed, beats: tuple) -> list[object]:  # type: ignore[type-arg]
    """Return what is heard of some beats: each note with its frames, up to where they end."""
    last = performed.frame(beats[1])
    return [
        (replace(each.note, gesture=0, length_s=0.0), each.onset_frame, min(each.end_frame, last))
        for each in (performed.notes[index] for index in performed.between(*beats))
    ]


@settings(max_examples=25)
@given(st.data())
def test_bars_are_played_as_in_the_whole_song(data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(SONGS))
    ranges = bar_ranges(arranged(path))
    first = data.draw(st.integers(0, len(ranges) - 1))
    last = data.draw(st.integers(first, min(first + 5, len(ranges) - 1)))
    beats = (ranges[first].start_beat, ranges[last].end_beat)
    near = playing(path).near(beats)
    assert near is not None
    source = Source(flat=data.draw(st.booleans()), goes_round=data.draw(st.booleans()))
    performed = near.performed(source)
    assert len(performed.notes) < len(whole(path, source).notes)
    assert played(performed, beats) == played(whole(path, source), beats)


def test_what_is_near_is_less(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without what is around the bars they would be played otherwise somewhere: the test above would find it."""
    monkeypatch.setattr("tercet.tracks.playing.NEAR_S", 0)
    path, wrong = SONGS[0], 0
    for beats in ((each.start_beat, each.end_beat) for each in bar_ranges(arranged(path))):
        near = playing(path).near(beats)
        assert near is not None
        wrong += played(near.performed(Source()), beats) != played(whole(path, Source()), beats)
    assert wrong


def test_where_all_of_a_song_counts_it_is_played_whole() -> None:
    path = SONGS[0]
    few, all_of_it = bar_ranges(arranged(path))[:2], bar_ranges(arranged(path))
    beats = (few[0].start_beat, few[-1].end_beat)
    assert playing(path).near(beats) is not None
    assert playing(path).near((all_of_it[0].start_beat, all_of_it[-1].end_beat)) is None
    assert Playing(arranged(path), UkuleleSampler(), clear=True).near(beats) is None
    assert Playing(arranged(path, second=True), UkuleleSampler()).near(beats) is None
    known = playing(path)
    known.performed(Source())
    assert known.near(beats) is None
