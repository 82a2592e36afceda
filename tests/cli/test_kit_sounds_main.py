"""``tercet kit``, ``tercet sounds``, and the command line as a whole."""

from __future__ import annotations

import json
import os
import re
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import mido
import pytest
import soundfile

from tercet import __version__
from tercet.tracks.recipes import RECIPES, SECOND_RECIPES
from tests.cli.conftest import Ran

Run = Callable[..., Ran]


def test_a_kit_is_every_track_and_midi_and_says_so(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet("kit", song, "-o", tmp_path / "out", "--bars", "1-2")
    assert ran.code == 0
    folder = tmp_path / "out" / "two-kettles"
    told = re.search(r"left out, as nothing would be left to play or to hear: (.*)", ran.err)
    left_out = told[1].split(", ") if told else []
    assert len(left_out) <= 8, "two bars don't have every kind of note, but most"
    tracks = [
        f"{number:02}-{recipe.name}.wav"
        for number, recipe in enumerate(RECIPES, 1)
        if recipe.name not in left_out
    ]
    assert sorted(path.name for path in folder.iterdir()) == [*tracks, "kit.json", "two-kettles.mid"]
    for name in [*tracks, "two-kettles.mid"]:
        assert name in ran.out
    through = ("demo", "only-melody", "turns-bars", "flat")
    frames = {soundfile.info(path).frames for path in folder.glob("*.wav") if path.stem[3:] in through}
    assert len(frames) == 1


def test_every_track_is_explained(song: Path, tercet: Run) -> None:
    ran = tercet("kit", "--list")
    assert ran.code == 0
    for line, recipe in zip(ran.out.splitlines(), (*RECIPES, *SECOND_RECIPES), strict=True):
        assert line.split(maxsplit=1) == [recipe.name, recipe.purpose]


def test_speeds_formats_and_tracks(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet(
        "kit",
        song,
        "-o",
        tmp_path / "out",
        "--tracks",
        "demo,only-melody",
        "--speeds",
        "100%,60%",
        "--formats",
        "flac,mp3",
    )
    assert ran.code == 0
    names = sorted(path.name for path in (tmp_path / "out" / "two-kettles").iterdir())
    assert names == [
        "02-demo-60.flac",
        "02-demo-60.mp3",
        "02-demo.flac",
        "02-demo.mp3",
        "14-only-melody-60.flac",
        "14-only-melody-60.mp3",
        "14-only-melody.flac",
        "14-only-melody.mp3",
        "kit.json",
        "two-kettles-60.mid",
        "two-kettles.mid",
    ]
    slow = soundfile.SoundFile(tmp_path / "out" / "two-kettles" / "02-demo-60.flac")
    assert slow.title == "Two Kettles (demo, 60%)"
    assert slow.artist == "Tercet example songs"


def test_a_set_for_each_tuning_and_all_players(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet(
        "kit",
        song,
        "-o",
        tmp_path,
        "--tracks",
        "demo",
        "--formats",
        "flac",
        "--tuning",
        "low-g,A4,D4,F#4,B4,high-g",
        "--players",
        "improving,beginner",
    )
    assert ran.code == 0
    folder = tmp_path / "two-kettles"
    titles = {
        "a4-d4-fs4-b4-beginner": "A4 D4 F#4 B4, beginner",
        "a4-d4-fs4-b4-improving": "A4 D4 F#4 B4, improving",
        "high-g-beginner": "high-g, beginner",
        "high-g-improving": "high-g, improving",
        "low-g-beginner": "low-g, beginner",
        "low-g-improving": "low-g, improving",
    }
    assert sorted(path.name for path in folder.iterdir()) == sorted([*titles, "kit.json"])
    for name, title in titles.items():
        assert sorted(path.name for path in (folder / name).iterdir()) == ["02-demo.flac", "two-kettles.mid"]
        assert f"{folder / name}/\n" in ran.out
        demo = soundfile.SoundFile(folder / name / "02-demo.flac")
        assert demo.title == f"Two Kettles ({title}, demo)"
        assert demo.album == f"Two Kettles ({title})"
        assert demo.tracknumber == "2"


def test_beginners_beside_others_have_one_strum_a_bar_and_alone_the_whole_part(
    song: Path, tmp_path: Path, tercet: Run
) -> None:
    def actions(*players: str) -> dict[str, int]:
        out = tmp_path / "-".join(players)
        assert tercet("kit", song, "-o", out, "--tracks", "demo", "--players", ",".join(players)).code == 0
        return {path.parent.name: _notes_at_once(path) for path in out.rglob("*.mid")}

    beside = actions("beginner", "improving")
    assert beside["beginner"] < beside["improving"]
    assert actions("beginner")["two-kettles"] > beside["beginner"]


def _notes_at_once(path: Path) -> int:
    """Return how many notes the melody has in a MIDI file: a roll counts each of its strings."""
    (melody,) = (track for track in mido.MidiFile(path).tracks if track.name == "melody")
    return sum(message.type == "note_on" and message.velocity > 0 for message in melody)


def test_one_tuning_or_one_player_makes_no_folder(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet("kit", song, "-o", tmp_path, "--tracks", "demo", "--tuning", "low-g", "--players", "free")
    assert ran.code == 0
    folder = tmp_path / "two-kettles"
    assert sorted(path.name for path in folder.iterdir()) == ["02-demo.wav", "kit.json", "two-kettles.mid"]


def test_a_tune_an_octave_lower_is_said_and_one_track_can_follow(
    song: Path, tmp_path: Path, tercet: Run
) -> None:
    song.write_text(
        song.read_text("utf-8").replace("G4 A G", "C5 D5 C").replace("B4:2 A", "B4:2 D5"), "utf-8"
    )
    kit = ("kit", song, "-o", tmp_path, "--tracks", "demo", "--tuning")
    ran = tercet(*kit, "baritone,high-g")
    assert ran.code == 0
    assert "baritone: the tune is an octave lower" in ran.err
    assert "high-g: the tune" not in ran.err
    assert "tercet render --transpose -12 --tuning baritone" in ran.err
    assert "octave" not in tercet(*kit[:3], tmp_path / "alone", *kit[4:], "baritone").err
    one = tmp_path / "one.mid"
    tercet("render", song, "-o", one, "--transpose", "-12", "--tuning", "baritone")
    assert one.read_bytes() == (tmp_path / "two-kettles" / "baritone" / "two-kettles.mid").read_bytes()


def test_pins_are_dropped_where_said_and_keep_the_octave_of_their_own_tuning(
    song: Path, tmp_path: Path, tercet: Run
) -> None:
    written = song.read_text("utf-8").replace("G4 A G", "C5[1] D5 C").replace("B4:2 A", "B4:2 D5")
    song.write_text(written.replace("key: C", "tuning: baritone\nkey: C"), "utf-8")
    kit = ("kit", song, "-o", tmp_path, "--tracks", "demo", "--tuning", "baritone,low-g")
    ran = tercet(*kit)
    assert ran.code == 0
    assert "low-g: these pins don't hold here and were dropped: verse, bar 1: the pin [1]" in ran.err
    assert "baritone: pins" not in ran.err
    assert "octave lower" not in ran.err
    assert "baritone: the tune is an octave lower" in tercet(*kit, "--transpose", "-1").err
    assert "octave lower" not in tercet(*kit, "--transpose", "-13").err


def test_what_hands_can_not_do_is_said_for_each_set(song: Path, tmp_path: Path, tercet: Run) -> None:
    song.write_text(song.read_text("utf-8").replace("G4 A G", "G3 A4 G"), encoding="utf-8")
    ran = tercet("kit", song, "-o", tmp_path, "--tracks", "demo", "--tuning", "high-g,low-g")
    assert ran.code == 0
    assert "high-g: bar 1 (verse): G3" in ran.err
    assert "low-g: bar 1" not in ran.err


@pytest.mark.parametrize(
    ("asked", "code", "says"),
    [
        (["--tuning", "high-g,guitar"], 2, r"high-g, low-g or baritone, or four notes .* \(got guitar\)"),
        (["--tuning", "high-g,low-g,high-g"], 2, "high-g appears twice: remove one"),
        (["--tuning", "high-g,G4,C4,E4,A4"], 2, "G4,C4,E4,A4 appears twice"),
        (
            ["--tuning", "A4,D4,F#4,low-g"],
            2,
            r"four notes, string 4 first \(got 3: A4,D4,F#4\): write all four",
        ),
        (["--tuning", "A4,D4,X4,B4"], 2, r"\(got 2: A4,D4, then 'X4', which is no note\)"),
        (["--tuning", "A4,D4,F#4,B4,C4"], 2, r"\(got 1: C4\)"),
        (["--players", "beginner,pro"], 2, r"players must be beginner, improving or free \(got pro\)"),
        (["--players", "free,free"], 2, "free appears twice"),
    ],
)
def test_sets_that_can_not_be_made_are_refused_before_any_work(
    song: Path, tmp_path: Path, tercet: Run, asked: list[str], code: int, says: str
) -> None:
    ran = tercet("kit", song, "-o", tmp_path / "out", *asked)
    assert ran.code == code
    assert re.search(says, ran.err)
    assert not (tmp_path / "out").exists()


def test_mistakes_of_all_songs_before_any_work(song: Path, tmp_path: Path, tercet: Run) -> None:
    broken = tmp_path / "broken.yaml"
    broken.write_text("title: x\n", encoding="utf-8")
    ran = tercet("kit", song, broken, tmp_path / "none.yaml", "-o", tmp_path / "out")
    assert ran.code == 1
    assert "broken.yaml" in ran.err
    assert "none.yaml" in ran.err
    assert not (tmp_path / "out").exists()


def test_two_songs_of_one_name_are_refused(song: Path, tmp_path: Path, tercet: Run) -> None:
    (tmp_path / "b").mkdir()
    twin = tmp_path / "b" / song.name
    twin.write_bytes(song.read_bytes())
    ran = tercet("kit", song, twin, "-o", tmp_path / "out")
    assert ran.code == 1
    assert "would both go to" in ran.err


def test_an_unknown_track_or_format(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert "did you mean demo?" in tercet("kit", song, "-o", tmp_path / "o", "--tracks", "demos").err
    assert "mp3" in tercet("kit", song, "-o", tmp_path / "o", "--formats", "mp4").err
    assert not (tmp_path / "o").exists()


def test_sounds_lists_fonts_and_why_one_plays(tercet: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERCET_SOUND", "TimGM6mb")
    listed = tercet("sounds")
    assert listed.code == 0
    assert "TimGM6mb" in listed.out
    assert "TERCET_SOUND" in listed.out
    told = json.loads(tercet("sounds", "--json").out)
    assert told["chosen"]["program"] == 24
    assert told["chosen"]["path"].endswith("TimGM6mb.sf2")
    assert any(font["path"] == told["chosen"]["path"] for font in told["fonts"])


def test_a_font_that_is_missing_is_said(tercet: Run) -> None:
    ran = tercet("sounds", "--sound", "nowhere.sf2")
    assert ran.code == 3
    assert "nowhere.sf2" in ran.err


def test_help_answers_at_once() -> None:
    """Processor time, the best of five: other work on the machine must not decide."""
    taken_s = []
    for _ in range(5):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        ran = subprocess.run(
            [sys.executable, "-m", "tercet", "--help"], capture_output=True, text=True, check=True
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        taken_s.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    assert "COMMAND" in ran.stdout
    assert min(taken_s) < 0.25


def test_version_and_wrong_usage(tercet: Run) -> None:
    assert tercet("--version").out == f"tercet {__version__}\n"
    assert tercet("dance").code == 2
    assert tercet().code == 2


def test_stopping_leaves_nothing_half_written(
    song: Path, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("tercet.kit.kits._made", stop)
    ran = tercet("kit", song, "-o", tmp_path / "out")
    assert ran.code == 130
    assert "nothing half written" in ran.err
    assert not (tmp_path / "out").exists()


def test_a_reader_that_goes_away_is_no_error(song: Path) -> None:
    command = [sys.executable, "-m", "tercet", "check", *[str(song)] * 3]
    read_end, write_end = os.pipe()
    os.close(read_end)
    with os.fdopen(write_end, "w") as closed:
        ran = subprocess.run(command, stdout=closed, stderr=subprocess.PIPE, text=True, check=False)
    assert ran.returncode == 0
    assert "Traceback" not in ran.stderr
