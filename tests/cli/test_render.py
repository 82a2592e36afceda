"""``tercet render``: one track, as recording or as MIDI."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from tests.cli.conftest import Ran

Run = Callable[..., Ran]

BAR_S = 3 * 60 / 150


@pytest.mark.parametrize("ending", [".wav", ".flac", ".mp3", ".ogg", ".opus"])
def test_every_kind_of_recording(song: Path, tmp_path: Path, tercet: Run, ending: str) -> None:
    path = tmp_path / f"demo{ending}"
    ran = tercet("render", song, "-o", path)
    assert (ran.code, ran.out) == (0, f"{path}\n")
    samples, rate = soundfile.read(path)
    assert rate == 48_000
    assert samples.shape[1] == 2
    assert 7 * BAR_S < len(samples) / rate < 7 * BAR_S + 3
    assert 0.05 < np.abs(samples).max() < 1.0


def test_layers_speed_bars_and_count_in(song: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "part.wav"
    ran = tercet(
        "render",
        song,
        "-o",
        path,
        "--without",
        "melody",
        "--speed",
        "50%",
        "--bars",
        "2-3",
        "--count-in",
        "0",
        "--bits",
        "24",
    )
    assert ran.code == 0
    assert "without-melody" in ran.err
    info = soundfile.info(path)
    assert info.subtype == "PCM_24"
    assert 4 * BAR_S < info.duration < 4 * BAR_S + 3


def test_without_and_only_together_leave_what_both_allow(song: Path, tmp_path: Path, tercet: Run) -> None:
    one = tercet(
        "render",
        song,
        "-o",
        tmp_path / "one.mid",
        "--only",
        "melody",
        "--only",
        "strums",
        "--without",
        "strums",
    )
    assert one.code == 0
    names = [track.name for track in mido.MidiFile(tmp_path / "one.mid").tracks]
    assert names == ["Two Kettles", "count-in", "melody"]
    none = tercet("render", song, "-o", tmp_path / "none.wav", "--only", "melody", "--without", "melody")
    assert none.code == 1
    assert "no layer is left to hear" in none.err
    assert not (tmp_path / "none.wav").exists()


def test_midi_in_another_key_and_tuning(song: Path, tmp_path: Path, tercet: Run) -> None:
    tercet("render", song, "-o", tmp_path / "a.mid", "--only", "melody", "--dry")
    tercet(
        "render",
        song,
        "-o",
        tmp_path / "b.mid",
        "--only",
        "melody",
        "--dry",
        "--transpose",
        "2",
        "--tuning",
        "low-g",
    )
    first, second = (
        [
            message.note
            for track in mido.MidiFile(tmp_path / name).tracks[2:]
            for message in track
            if message.type == "note_on"
        ]
        for name in ("a.mid", "b.mid")
    )
    assert max(second) == max(first) + 2


def test_players_choose_what_the_hands_are_asked_to_do(song: Path, tmp_path: Path, tercet: Run) -> None:
    """The song doesn't say who plays: as asked is as written, and others play otherwise."""
    written = song.read_text("utf-8").replace("G4 A G", "C5 E5 G")
    song.write_text(written, "utf-8")
    assert tercet("render", song, "-o", tmp_path / "asked.mid", "--players", "free").code == 0
    assert tercet("render", song, "-o", tmp_path / "beginner.mid", "--players", "beginner").code == 0
    song.write_text(written.replace("key: C", "players: free\nkey: C"), "utf-8")
    assert tercet("render", song, "-o", tmp_path / "written.mid").code == 0
    free, beginner, as_written = (
        (tmp_path / f"{name}.mid").read_bytes() for name in ("asked", "beginner", "written")
    )
    assert free == as_written
    assert free != beginner


def test_a_track_by_name_and_its_near_miss(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert tercet("render", song, "-o", tmp_path / "a.wav", "--track", "only-strums").code == 0
    missed = tercet("render", song, "-o", tmp_path / "b.wav", "--track", "without-meldy")
    assert missed.code == 1
    assert "did you mean without-melody?" in missed.err
    both = tercet("render", song, "-o", tmp_path / "b.wav", "--track", "demo", "--without", "melody")
    assert both.code == 2
    assert "already chooses the layers" in both.err


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["--speed", "fast"], 2, "must be a percentage such as 70%"),
        (["--speed", "900%"], 2, "25% to 200%"),
        (["--without", "tune"], 2, "must be melody, second, between or strums"),
        (["--bars", "90-99"], 1, "90"),
        (["--bars", "chorus"], 1, "chorus"),
        (["--transpose", "40"], 2, "-24 to 24"),
        (["--tuning", "open-d"], 2, "must be high-g, low-g or baritone"),
        (["--tuning", "A4,D4"], 2, "four notes"),
        (["--tuning", "high-g,low-g"], 2, "(got high-g, low-g), or let `tercet kit` make a set for each"),
        (["--players", "pro"], 2, "players must be beginner, improving or free"),
        (["--count-in", "9"], 2, "0 to 8 bars"),
        (["--sound", "no-such-font"], 3, "no-such-font"),
    ],
)
def test_requests_that_cannot_be_met(
    song: Path, tmp_path: Path, tercet: Run, arguments: list[str], code: int, said: str
) -> None:
    ran = tercet("render", song, "-o", tmp_path / "out.wav", *arguments)
    assert ran.code == code
    assert said in ran.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["two-kettles.yaml"]


def test_an_ending_that_is_not_known(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet("render", song, "-o", tmp_path / "demo.aiff")
    assert ran.code == 1
    assert ".flac" in ran.err
    assert ".mid" in ran.err


def test_a_song_is_never_overwritten(song: Path, tercet: Run) -> None:
    before = song.read_bytes()
    ran = tercet("render", song, "-o", song)
    assert ran.code == 1
    assert song.read_bytes() == before


def test_one_gain_whatever_is_asked_for(song: Path, tmp_path: Path, tercet: Run) -> None:
    """Strums alone, for two bars, are as loud as the same strums in the track of all bars."""
    tercet("render", song, "-o", tmp_path / "all.wav", "--only", "strums", "--count-in", "0", "--bits", "24")
    tercet(
        "render",
        song,
        "-o",
        tmp_path / "part.wav",
        "--only",
        "strums",
        "--count-in",
        "0",
        "--bits",
        "24",
        "--bars",
        "1-2",
    )
    whole, rate = soundfile.read(tmp_path / "all.wav")
    part, _ = soundfile.read(tmp_path / "part.wav")
    frames = int(1.9 * BAR_S * rate)
    assert np.abs(whole[:frames] - part[:frames]).max() < 1e-6
    assert np.abs(part).max() > 0.005


def test_another_seed_is_another_playing_and_dry_is_none(song: Path, tmp_path: Path, tercet: Run) -> None:
    for name, options in (
        ("a", []),
        ("b", ["--seed", "2"]),
        ("c", ["--dry"]),
        ("d", ["--dry", "--seed", "2"]),
    ):
        tercet("render", song, "-o", tmp_path / f"{name}.mid", *options)
    a, b, c, d = ((tmp_path / f"{name}.mid").read_bytes() for name in "abcd")
    assert len({a, b, c}) == 3
    assert c == d


def test_another_feel_is_another_playing(song: Path, tmp_path: Path, tercet: Run) -> None:
    for feel in ("steady", "natural", "loose"):
        assert tercet("render", song, "-o", tmp_path / f"{feel}.mid", "--feel", feel).code == 0
    assert tercet("render", song, "-o", tmp_path / "plain.mid").code == 0
    assert (tmp_path / "plain.mid").read_bytes() == (tmp_path / "natural.mid").read_bytes()
    assert len({path.read_bytes() for path in tmp_path.glob("*.mid")}) == 3
    wrong = tercet("render", song, "-o", tmp_path / "x.mid", "--feel", "sloppy")
    assert wrong.code == 2
    assert "feel must be steady, natural or loose (got sloppy)" in wrong.err


def test_front_feel_and_flat_are_heard(tercet: Callable[..., Ran], song: Path, tmp_path: Path) -> None:
    made = {}
    for name, options in {
        "plain": (),
        "front": ("--front", "20"),
        "loose": ("--feel", "loose"),
        "flat": ("--flat",),
    }.items():
        ran = tercet("render", song, "-o", tmp_path / f"{name}.wav", *options)
        assert ran.code == 0, ran.err
        made[name] = (tmp_path / f"{name}.wav").read_bytes()
    assert len(set(made.values())) == 4


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--front", "30"), "must be 0 to 24 LU (got 30)"),
        (("--front", "much"), "must be a number of LU such as 9 (got much)"),
        (("--feel", "wild"), "feel must be steady, natural or loose (got wild)"),
    ],
)
def test_front_and_feel_out_of_range(
    tercet: Callable[..., Ran], song: Path, options: tuple[str, ...], says: str
) -> None:
    ran = tercet("render", song, "-o", "x.wav", *options)
    assert ran.code == 2
    assert says in ran.err


def test_notes_of_the_tune_that_stay_without_the_melody_are_told(
    song: Path, tmp_path: Path, tercet: Run
) -> None:
    left = tercet("render", song, "-o", tmp_path / "a.mid", "--without", "melody")
    whole = mido.MidiFile(tmp_path / "a.mid")
    (between,) = [track for track in whole.tracks if track.name == "between"]
    notes = sum(message.type == "note_on" and message.velocity > 0 for message in between)
    assert f"{notes} of the tune's" in left.err
    assert "--track without-tune leaves out all of the tune" in left.err
    out = tercet("render", song, "-o", tmp_path / "b.mid", "--track", "without-tune")
    assert "still heard" not in out.err
    assert "between" not in [track.name for track in mido.MidiFile(tmp_path / "b.mid").tracks]


def test_a_song_that_says_what_it_sounds_like_is_rendered_and_paged_so(
    song: Path, tmp_path: Path, tercet: Run
) -> None:
    made: list[tuple[bytes, str]] = []
    for text, options in (("", ["--transpose", "-2"]), ("sounding: -2\n", []), ("", [])):
        song.write_text(
            song.read_text(encoding="utf-8").replace("sounding: -2\n", "").replace("meter:", f"{text}meter:")
        )
        place = tmp_path / str(len(made))
        assert tercet("render", song, "-o", place / "a.mid", *options).code == 0
        assert tercet("page", song, "-o", place / "class", "--no-kit", "--speeds", "100%", *options).code == 0
        page = (place / "class" / song.stem / "index.html").read_text(encoding="utf-8")
        made.append(((place / "a.mid").read_bytes(), page))
    assert made[0] == made[1]
    assert made[0][0] != made[2][0]
    assert made[0][1] != made[2][1]
