"""Films, measured in the file: picture and sound go together, nothing flashes, the file says whose the song is."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tercet.errors import OutsideError, RequestError
from tercet.kit import Event, PlayOptions
from tercet.kit.films import FilmOptions, make_film
from tercet.kit.one_track import OneTrack
from tercet.publish.film import FilmSize
from tests.measure.films import (
    FilmFacts,
    ffmpeg,
    film_facts,
    flashing_part,
    frames_of,
    lights_s,
    most_flashing,
    offsets_s,
    sound_of,
    sound_onsets_s,
)

SONG = """\
title: Four Plain Bars
composer: Tercet example songs
licence: CC0-1.0
key: C major
meter: 4/4
tempo: 132
sections:
  verse: |
    chords   C             | F             | G7            | C
    melody   G4:2 C5:2[1]  | A4:2 C5:2     | B4:2 G:2      | C5:4[1]
    words    One plain     | mu- sic       | see and       | hear.
"""

BUILT_IN = PlayOptions(sound="built-in")
SMALL, TINY = FilmSize(960, 540), FilmSize(320, 180)
TITLE_S = 3.0
COUNT_IN_S = 4 * 60 / 132
MOST_APART_S = 0.020

SIZES = {"wide": (1920, 1080), "square": (1080, 1080)}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("film")
    (folder / "four.yaml").write_text(SONG, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def film(folder: Path) -> Path:
    track = OneTrack(only=("melody",))
    make_film(folder / "four.yaml", folder / "four.mp4", track, BUILT_IN, FilmOptions(SMALL))
    return folder / "four.mp4"


def most_apart_s(film: Path) -> float:
    after_s = TITLE_S + COUNT_IN_S - 0.15
    lights, onsets = lights_s(film, after_s), sound_onsets_s(film, after_s)
    assert len(onsets) == 7
    return float(np.abs(offsets_s(lights, onsets)).max())


def test_each_stroke_lights_as_it_sounds(film: Path) -> None:
    assert most_apart_s(film) < MOST_APART_S


def test_sound_that_comes_late_is_caught(film: Path, tmp_path: Path) -> None:
    late = tmp_path / "late.mp4"
    delayed = ["-af", "adelay=60:all=1", "-c:v", "copy", "-c:a", "aac"]
    subprocess.run([ffmpeg(), "-v", "error", "-i", film, *delayed, late], check=True)
    assert most_apart_s(late) > MOST_APART_S


def test_a_film_is_what_platforms_take(film: Path) -> None:
    facts = film_facts(film)
    assert (facts.video, facts.audio, facts.width, facts.height) == ("h264", "aac", 960, 540)
    assert facts.start_s == 0.0
    assert abs(facts.length_s - sound_of(film).length_frames / 48_000) < 0.1, "both end together"
    head = film.read_bytes()[:4096]
    assert head.index(b"moov") < 4096, "a browser can begin before all has come"


def test_a_film_says_whose_the_song_is(film: Path) -> None:
    told = film_facts(film).metadata
    assert told["title"] == "Four Plain Bars (only melody)"
    assert told["artist"] == "Tercet example songs"
    assert told["copyright"] == "CC0-1.0"


def test_nothing_large_flashes(film: Path) -> None:
    assert most_flashing(film) < 0.01


def test_a_picture_that_flashes_is_seen() -> None:
    times_s = np.arange(60) / 30
    bright = np.zeros((60, 10, 10))
    bright[:, :5] = ((np.arange(60) // 3) % 2)[:, None, None]
    assert flashing_part(bright, times_s) == 0.5
    slow = np.broadcast_to(((np.arange(60) // 10) % 2)[:, None, None], (60, 10, 10)).astype(float)
    assert flashing_part(slow, times_s) == 0.0


def test_the_title_stands_first_and_the_track_is_silent_meanwhile(film: Path) -> None:
    sound = sound_of(film)
    assert np.abs(sound.samples[: round((TITLE_S - 0.01) * sound.rate_hz)]).max() < 1e-4
    frames = dict(frames_of(film, 96, 54))
    title = [frame for time_s, frame in frames.items() if time_s < TITLE_S]
    assert len(title) > 1
    assert all(np.abs(frame.astype(int) - title[0]).max() < 12 for frame in title)
    music = next(frame for time_s, frame in frames.items() if time_s >= TITLE_S)
    assert np.abs(music.astype(int) - title[0]).max() > 60


def test_the_same_film_is_the_same_bytes(folder: Path) -> None:
    for name in ("a.mp4", "b.mp4"):
        make_film(folder / "four.yaml", folder / name, OneTrack(bars="1"), BUILT_IN, FilmOptions(TINY))
    assert (folder / "a.mp4").read_bytes() == (folder / "b.mp4").read_bytes()


@pytest.mark.parametrize("size", list(SIZES))
def test_sizes_by_name(folder: Path, size: str) -> None:
    path = folder / f"{size}.mp4"
    make_film(folder / "four.yaml", path, OneTrack(bars="4", speed="200%"), BUILT_IN, FilmOptions(size))
    facts: FilmFacts = film_facts(path)
    assert (facts.width, facts.height) == SIZES[size]


@pytest.mark.parametrize("track", ["echo", "tune-up", "chords", "turns-bars"])
def test_other_kinds_of_track_can_be_filmed(folder: Path, track: str) -> None:
    path = folder / f"{track}.mp4"
    told: list[Event] = []
    make_film(folder / "four.yaml", path, track, BUILT_IN, FilmOptions(TINY), told.append)
    facts = film_facts(path)
    made = next(event for event in told if event.kind == "made")
    assert made.length_s is not None
    assert abs(facts.length_s - made.length_s) < 0.1
    steps = [event.done or 0 for event in told if event.kind == "step" and event.text == "drawing"]
    assert steps == sorted(steps)
    total = next(event.total for event in told if event.text == "drawing")
    assert total is not None
    assert total - 60 <= steps[-1] <= total


def test_a_song_without_a_licence_is_made_and_that_is_said_once(folder: Path, tmp_path: Path) -> None:
    song = tmp_path / "own.yaml"
    song.write_text(SONG.replace("licence: CC0-1.0\n", ""), encoding="utf-8")
    told: list[Event] = []
    make_film(song, tmp_path / "own.mp4", OneTrack(bars="1"), BUILT_IN, FilmOptions(TINY), told.append)
    said = [event.text for event in told if event.kind == "notice"]
    assert sum("no licence line" in text for text in said) == 1
    assert "copyright" not in film_facts(tmp_path / "own.mp4").metadata


def test_what_a_second_voice_plays_is_not_drawn_and_that_is_said(folder: Path, tmp_path: Path) -> None:
    song = tmp_path / "two.yaml"
    song.write_text(SONG.replace("sections:", "second: low\nsections:"), encoding="utf-8")
    told: list[Event] = []
    make_film(song, tmp_path / "two.mp4", OneTrack(bars="1"), BUILT_IN, FilmOptions(TINY), told.append)
    assert any("second voice is heard" in event.text for event in told)


# ---- what can go wrong


@pytest.mark.parametrize("name", ["film.avi", "film"])
def test_another_ending_is_refused(folder: Path, name: str) -> None:
    with pytest.raises(RequestError, match=r"a film's name ends in \.mp4"):
        make_film(folder / "four.yaml", folder / name)


def test_an_unknown_size_is_refused(folder: Path) -> None:
    with pytest.raises(RequestError, match="--size must be wide or square"):
        make_film(folder / "four.yaml", folder / "x.mp4", look=FilmOptions("sqare"))


def test_a_file_of_the_user_s_stays(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "holiday.mp4"
    path.write_bytes(b"sea")
    with pytest.raises(RequestError, match="already exists and stays as it is"):
        make_film(folder / "four.yaml", path)
    assert path.read_bytes() == b"sea"


def test_without_an_encoder_is_said_what_to_install(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(OutsideError, match="pip install imageio-ffmpeg"):
        make_film(folder / "four.yaml", tmp_path / "x.mp4", options=BUILT_IN)
    assert list(tmp_path.iterdir()) == []


Break = Callable[[pytest.MonkeyPatch, Path], None]


def no_such_encoder(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    monkeypatch.setattr("tercet.kit.film_encoder.ENCODER", "no-such-encoder")


def stopped(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    def stop(_number: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("tercet.kit.films._teller", lambda *_: stop)


@pytest.mark.parametrize(("spoil", "error"), [(no_such_encoder, OutsideError), (stopped, KeyboardInterrupt)])
def test_nothing_is_left_of_a_film_that_fails(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: Break, error: type[BaseException]
) -> None:
    spoil(monkeypatch, tmp_path)
    with pytest.raises(error):
        make_film(folder / "four.yaml", tmp_path / "x.mp4", OneTrack(bars="1"), BUILT_IN, FilmOptions(TINY))
    assert list(tmp_path.iterdir()) == []
