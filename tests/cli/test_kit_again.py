"""What of a kit is made again: only what changed, and nothing of what is there."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile

import tercet.arranging
from tercet.sound import fluid
from tests.cli.conftest import Ran

Run = Callable[..., Ran]

TRACKS = ("--tracks", "demo,loop,mine")
OWN = """\
tracks:
  mine: {yours: melody, purpose: hum along}
"""
DEMO, LOOP, MINE, MIDI = "02-demo.wav", "08-loop.wav", "32-mine.wav", "two-kettles.mid"
ALL = {DEMO, LOOP, MINE, MIDI}


class Kit:
    """A kit in a folder, made again and again."""

    def __init__(self, song: Path, folder: Path, tercet: Run) -> None:
        self.song, self.folder, self._tercet = song, folder / song.stem, tercet
        song.write_text(song.read_text("utf-8").replace("sections:", f"{OWN}sections:"), "utf-8")
        self.made()

    def made(self, *options: str, tracks: tuple[str, ...] = TRACKS, code: int = 0) -> set[str]:
        """Make what is missing; return the names of what was made."""
        before = self.times()
        self.ran = self._tercet("kit", self.song, "-o", self.folder.parent, "--jobs", "1", *tracks, *options)
        assert self.ran.code == code, self.ran.err
        made = {name for name, time in self.times().items() if before.get(name) != time}
        assert not list(self.folder.parent.rglob(".*"))
        return made - {"kit.json"}

    def times(self) -> dict[str, int]:
        return {path.name: path.stat().st_mtime_ns for path in self.folder.glob("*")}

    def bytes(self) -> dict[str, bytes]:
        return {path.name: path.read_bytes() for path in self.folder.glob("*")}

    def change(self, before: str, after: str) -> None:
        text = self.song.read_text("utf-8")
        assert before in text
        self.song.write_text(text.replace(before, after), "utf-8")

    @property
    def listed(self) -> set[str]:
        return {entry["file"] for entry in json.loads((self.folder / "kit.json").read_bytes())["files"]}


@pytest.fixture
def kit(song: Path, tmp_path: Path, tercet: Run) -> Kit:
    return Kit(song, tmp_path / "kits", tercet)


def test_a_complete_kit_is_neither_arranged_nor_played_nor_written(
    kit: Kit, monkeypatch: pytest.MonkeyPatch
) -> None:
    times, said = kit.times(), kit.ran.out

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a complete kit needs this no more")

    monkeypatch.setattr(fluid, "render_strokes", refuse)
    monkeypatch.setattr(tercet.arranging, "arrange", refuse)
    assert kit.made() == set()
    assert kit.times() == times
    assert kit.ran.out == said
    assert "none made now" in kit.ran.err


def test_a_title_is_in_every_files_tags_and_the_sound_stays(kit: Kit) -> None:
    before = soundfile.read(kit.folder / DEMO)[0]
    kit.change("title: Two Kettles", "title: Three Kettles")
    assert kit.made() == ALL
    after = soundfile.SoundFile(kit.folder / DEMO)
    assert after.title == "Three Kettles (demo)"
    assert (after.read() == before).all()


def test_another_note_makes_all_again_as_they_share_a_gain(kit: Kit) -> None:
    kit.change("| G4:3", "| E4:3")
    assert kit.made() == ALL


def test_another_purpose_or_another_choice_makes_its_own_track_again(kit: Kit) -> None:
    kit.change("hum along", "sing along")
    assert kit.made() == {MINE}
    kit.change("yours: melody", "yours: strums")
    assert kit.made() == {MINE}


def test_a_comment_makes_nothing_again(kit: Kit) -> None:
    kit.change("meter: 3/4", "meter: 3/4  # a waltz")
    assert kit.made() == set()


def test_other_formats_and_speeds_come_beside_what_is_there(kit: Kit) -> None:
    assert kit.made("--formats", "wav,flac") == {"02-demo.flac", "08-loop.flac", "32-mine.flac"}
    assert kit.made("--speeds", "100%,80%") == {
        "02-demo-80.wav", "08-loop-80.wav", "32-mine-80.wav", "two-kettles-80.mid"
    }  # fmt: skip
    assert "02-demo.flac" in kit.listed
    assert kit.made() == set()


def test_another_track_leaves_those_that_are_there(kit: Kit) -> None:
    assert kit.made(tracks=("--tracks", "demo,loop,mine,only-melody")) == {"14-only-melody.wav"}
    assert kit.made(tracks=("--tracks", "demo")) == set()
    assert kit.listed == {*ALL, "14-only-melody.wav"}


def test_another_sound_or_seed_makes_all_again(kit: Kit) -> None:
    assert kit.made("--seed", "2") == ALL


def test_a_file_that_is_gone_is_made_again_as_it_was(kit: Kit) -> None:
    whole = kit.bytes()
    (kit.folder / DEMO).unlink()
    assert kit.made() == {DEMO}
    assert kit.bytes() == whole


def test_a_file_that_was_changed_stays_and_is_made_again_if_asked(kit: Kit) -> None:
    whole = kit.bytes()
    for name, data in ((LOOP, whole[LOOP][:-1]), (MIDI, bytes(len(whole[MIDI])))):
        (kit.folder / name).write_bytes(data)
        assert kit.made() == set()
        assert (kit.folder / name).read_bytes() == data
        assert f"{name} stays as it is: it was changed after Tercet made it" in kit.ran.err
        assert kit.made("--seed", "2") == ALL - {name}
        assert kit.made() == ALL - {name}
        assert (kit.folder / name).read_bytes() == data
        assert kit.made("--replace") == {name}
        assert kit.bytes() == whole


def test_a_byte_changed_under_an_old_date_is_found_by_its_hash(kit: Kit) -> None:
    assert kit.made("--verify") == set()
    whole = kit.bytes()
    changed = bytearray(whole[DEMO])
    changed[len(changed) // 2] ^= 1
    date = (kit.folder / DEMO).stat()
    (kit.folder / DEMO).write_bytes(changed)
    os.utime(kit.folder / DEMO, ns=(date.st_atime_ns, date.st_mtime_ns))
    assert kit.made() == set()
    assert "stays" not in kit.ran.err
    assert kit.made("--verify", code=1) == set()
    assert f"{DEMO} stays as it is: it was changed after Tercet made it" in kit.ran.err
    assert kit.made("--verify", "--replace") == {DEMO}
    assert kit.bytes() == whole


def test_a_copied_folder_is_looked_into_once(kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    for path in sorted(kit.folder.iterdir(), reverse=True):
        shutil.copy(path, path.with_suffix(".copy"))
        path.with_suffix(".copy").replace(path)
    times = kit.times()
    assert kit.made() == set()
    assert {name for name, time in kit.times().items() if times[name] != time} <= {"kit.json"}


@pytest.mark.parametrize(
    "damage",
    [
        lambda _: b"",
        lambda _: b"{",
        lambda _: b"[]",
        lambda _: b'{"tercet_kit": 1, "files": [{}]}',
        lambda _: b'{"tercet_kit": 1, "seal": "' + b"0" * 64 + b'", "files": 7}',
        lambda _: b"[" * 10_000,
        lambda _: b"\xff\xfe",
        lambda whole: whole[: len(whole) // 2],
        lambda whole: whole.replace(b'"bytes": ', b'"bytes": "', 1),
        lambda whole: whole.replace(b"02-demo.wav", b"../demo.wav"),
    ],
)
def test_a_manifest_that_is_not_as_it_was_made_stays_and_all_is_made_again(
    kit: Kit, damage: Callable[[bytes], bytes]
) -> None:
    whole = kit.bytes()
    damaged = damage(whole["kit.json"])
    (kit.folder / "kit.json").write_bytes(damaged)
    assert kit.made() == ALL
    said = [line for line in kit.ran.err.splitlines() if "kit.json" in line]
    assert said == [f"{kit.folder / 'kit.json'} stays as it is: it was changed after Tercet made it"], (
        kit.ran.err
    )
    assert "Traceback" not in kit.ran.err
    assert (kit.folder / "kit.json").read_bytes() == damaged
    assert kit.made("--replace") == ALL
    assert kit.bytes() == whole


def test_another_version_makes_all_again(kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.tracks.track_files.__version__", "99")
    monkeypatch.setattr("tercet.kit.kits.__version__", "99")
    assert kit.made() == ALL


def test_files_of_others_are_left_alone(kit: Kit) -> None:
    others = {"notes.txt": b"mine", "02-demo.txt": b"too", "holiday.wav": b"not a wave"}
    for name, data in others.items():
        (kit.folder / name).write_bytes(data)
    (kit.folder.parent / "cover.png").write_bytes(b"png")
    kit.made("--seed", "3")
    assert {name: kit.bytes()[name] for name in others} == others
    assert (kit.folder.parent / "cover.png").read_bytes() == b"png"
    assert kit.listed == ALL
