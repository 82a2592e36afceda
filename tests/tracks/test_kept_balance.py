"""The balance that is kept: what is read is what would be measured, and a file comes out the same either way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from tercet.arranging import arrange
from tercet.caches import VARIABLE
from tercet.kit import PlayOptions
from tercet.kit.one_track import OneTrack, make_track
from tercet.song import parse_song
from tercet.sound.sampler import UkuleleSampler
from tercet.tracks.balance import Balance, Variant, WholeHeard
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.kept_balance import kept_balance
from tercet.tracks.playing import Playing
from tercet.tracks.practice_forms import TrackOptions, timeline_of
from tercet.tracks.recipes import recipe_named
from tercet.tracks.recording import Recording
from tests.kits import SHORT_SONG

SONG = parse_song(SHORT_SONG, "short.yaml")
VARIANTS: tuple[Variant, ...] = (("song", False), ("song", True))


@pytest.fixture(autouse=True)
def measured(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Each whole that is measured from here on; nothing is kept yet."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "cache"))
    found: list[object] = []
    measure = Recording.heard_whole

    def counted(recording: Recording, variant: tuple[str, bool]) -> WholeHeard:
        found.append(variant)
        return measure(recording, variant)  # type: ignore[arg-type]

    monkeypatch.setattr(Recording, "heard_whole", counted)
    return found


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Each whole that would be measured from here on; nothing is."""
    found: list[object] = []

    def heard(_: Recording, variant: object) -> WholeHeard:
        found.append(variant)
        return WholeHeard({}, -40.0, -20.0)

    monkeypatch.setattr(Recording, "heard_whole", heard)
    return found


def playing(text: str = "", by: str = "", **options: bool) -> Playing:
    song = parse_song(SHORT_SONG.replace(text, by) if text else SHORT_SONG)
    return Playing(arrange(song), UkuleleSampler(), **options)  # type: ignore[arg-type]


def balance(played: Playing, folder: Path) -> Balance:
    return kept_balance(played, VARIANTS, folder)


@pytest.mark.parametrize(
    ("options", "track"),
    [
        (PlayOptions(), OneTrack(bars="2-3")),
        (PlayOptions(loud=True, bits=24), OneTrack("flat", bars="verse:1", speed="80%")),
    ],
)
def test_a_file_is_the_same_whether_its_balance_is_known_or_not(
    options: PlayOptions, track: OneTrack, tmp_path: Path, measured: list[object]
) -> None:
    paths = [tmp_path / name / "bars.wav" for name in ("cold", "warm")]
    counts = []
    for path in paths:
        make_track(SONG, path, track, options)
        counts.append(len(measured))
    assert paths[0].read_bytes() == paths[1].read_bytes()
    assert counts == [1 + (track.name == "flat")] * 2


def test_bars_of_a_file_that_was_balanced_are_played_alone_and_sound_the_same(
    tmp_path: Path, measured: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    alone: list[bool] = []
    near = Recording.near

    def looked_at(recording: Recording) -> Recording:
        found = near(recording)
        alone.append(found is not recording)
        return found

    monkeypatch.setattr(Recording, "near", looked_at)
    path, out = tmp_path / "song.yaml", tmp_path / "bars.wav"
    path.write_text(SHORT_SONG.replace("verse*2", "verse*4"), encoding="utf-8")
    written = []
    for options in (PlayOptions(), PlayOptions(), PlayOptions(loud=True), PlayOptions(loud=True)):
        make_track(path, out, OneTrack(bars="9-10"), options, replace=True)
        written.append(out.read_bytes())
    assert alone == [False, True, False, True]
    assert written[0] == written[1] != written[2] == written[3]
    path.write_text(path.read_text("utf-8").replace("tempo: 132", "tempo: 120"), encoding="utf-8")
    make_track(path, out, OneTrack(bars="9-10"), replace=True)
    assert alone[4:] == [False]
    assert len(measured) == 3


def test_what_is_read_is_what_was_measured(tmp_path: Path, measured: list[object]) -> None:
    first, second = (balance(playing(loud=True), tmp_path) for _ in range(2))
    assert measured == list(VARIANTS)
    for one, other in ((first.easing, second.easing), (first.flat_easing, second.flat_easing)):
        if one is None or other is None:
            assert one is other
            continue
        assert one.first_frame == other.first_frame
        assert np.array_equal(one.down_db, other.down_db)
    assert first.easing is not None
    assert replace(first, easing=None, flat_easing=None) == replace(second, easing=None, flat_easing=None)


def test_it_is_the_balance_that_all_tracks_have(tmp_path: Path) -> None:
    played = playing()
    demo = timeline_of(recipe_named("contrast"), played.arrangement, TrackOptions())
    shared = Recording(played, [demo], BatchCache(tmp_path)).balance()
    kept = balance(played, tmp_path)
    assert kept.trims_db == shared.trims_db
    assert kept.gain_db(-1.0) == pytest.approx(shared.gain_db(-1.0), abs=0.001)
    assert kept.flat_gain_db == pytest.approx(shared.flat_gain_db, abs=0.001)


@pytest.mark.parametrize(
    "other",
    [
        lambda: playing("A4 C5 A4", "A4 C5 B4"),
        lambda: playing("tempo: 132", "tempo: 120"),
        lambda: playing("strums: p", "strums: pp"),
        lambda: playing("tempo: 132", "tempo: 132\nfront: 9"),
        lambda: playing(dry=True),
        lambda: playing(loud=True),
        lambda: playing(clear=True),
    ],
)
def test_another_song_or_sound_is_measured_for_itself(
    other: Callable[[], Playing], tmp_path: Path, asked: list[object]
) -> None:
    balance(playing(), tmp_path)
    balance(other(), tmp_path)
    assert len(asked) > len(VARIANTS)


def test_what_is_not_heard_changes_nothing(tmp_path: Path, asked: list[object]) -> None:
    balance(playing(), tmp_path)
    balance(playing("title: Kettle and Cup", "title: Cup and Kettle"), tmp_path)
    balance(playing("is on", "is off"), tmp_path)
    assert len(asked) == len(VARIANTS)


def test_a_damaged_balance_is_measured_again(tmp_path: Path, asked: list[object]) -> None:
    first = balance(playing(), tmp_path)
    for path in (tmp_path / "cache" / "balances").iterdir():
        path.write_bytes(path.read_bytes()[:-3])
    assert balance(playing(), tmp_path) == first
    assert len(asked) == 2 * len(VARIANTS)


@pytest.mark.usefixtures("asked")
def test_only_so_many_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.tracks.kept_balance.MOST_KEPT", 1)
    balance(playing(), tmp_path)
    assert len(list((tmp_path / "cache" / "balances").iterdir())) == 1


def test_speed_and_bars_have_the_balance_of_the_song(tmp_path: Path, measured: list[object]) -> None:
    for speed in (Fraction(1), Fraction(1, 2)):
        make_track(SONG, tmp_path / "bars.wav", OneTrack(bars="1", speed=speed), replace=True)
    assert len(measured) == 1
