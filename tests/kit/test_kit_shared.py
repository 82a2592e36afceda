"""Several processes at one kit: what one has played, no other plays."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from tercet.arranging import arrange, song_tuning
from tercet.jobs import FolderStore, ThisProcess
from tercet.jobs.pool import Pool
from tercet.kit import unheard
from tercet.kit.orders import SongOrder, sensible
from tercet.kit.tasks import PackedOrder, Share, let_go, play_share, ready_recording, share_plan
from tercet.song import parse_song
from tercet.sound.soundfont_choice import choose_sound
from tercet.tracks.practice_forms import TrackOptions
from tercet.tracks.recipes import RECIPES
from tercet.tracks.recording import Recording
from tercet.tracks.track_files import SetOrder, TrackOrder
from tests.kits import SHORT_SONG

TRACKS = ("demo", "only-melody", "slow", "ladder")


@pytest.fixture
def order(tmp_path: Path) -> SongOrder:
    song = parse_song(SHORT_SONG)
    font = choose_sound(None, None, None, os.environ).sound
    tracks = tuple(
        TrackOrder(recipe, TrackOptions(), (f"{recipe.name}.wav",))
        for recipe in RECIPES
        if recipe.name in TRACKS
    )
    one = SetOrder(arrange(song, song_tuning(song)), font, tracks, tmp_path / "work")
    return SongOrder("song", "song.yaml", (one,), ("",), (), 1, FolderStore(tmp_path / "kit"))


def test_what_several_tracks_need_is_there_for_every_process_once_it_is_played(
    order: SongOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    (one,) = sensible(order.made_in(Pool(2)), (), unheard).sets
    packed = PackedOrder.of(one)
    recording = ready_recording(one)
    shared = recording.shared_batches(range(len(one.tracks)))
    assert 0 < len(shared) < len(recording.batches)
    share_plan(one)
    play_share(Share(packed, shared))
    assert len(list(one.work.glob("*.f32"))) == len(shared)
    let_go(one)
    monkeypatch.setattr(Recording, "_played", lambda *_: pytest.fail("played again"))
    other = ready_recording(packed.order)
    assert other is not recording
    for number in shared:
        assert other.play(number).any()


def test_one_process_keeps_what_it_plays_to_itself(order: SongOrder) -> None:
    (one,) = sensible(order.made_in(ThisProcess()), (), unheard).sets
    recording = ready_recording(one)
    recording.play(recording.shared_batches([0])[0])
    assert not one.work.exists()
    let_go(one)


def test_an_order_is_unpacked_once_in_a_process(order: SongOrder) -> None:
    packed = PackedOrder.of(order.sets[0])
    assert packed.order is PackedOrder.of(order.sets[0]).order
    named = packed.order.naming(1, ("other.flac",))
    assert named.tracks[1].names == ("other.flac",)
    assert replace(named, tracks=()) == replace(packed.order, tracks=())
    let_go(order.sets[0])
