from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from tercet import files
from tercet.errors import OutputError, ParameterError, RequestError, SoundFontError
from tercet.files import may_replace, whole_file, whole_files, write_bytes


def names(folder: Path) -> list[str]:
    return sorted(place.name for place in folder.iterdir())


def write_half(target: Path, error: BaseException, note: str = "") -> None:
    with whole_file(target) as temporary:
        temporary.write_bytes(b"half")
        if note:
            (temporary.parent / note).write_text("mine")
        raise error


def test_a_file_appears_when_the_block_ends(tmp_path: Path) -> None:
    target = tmp_path / "song.wav"
    with whole_file(target) as temporary:
        assert temporary.parent == tmp_path
        assert temporary.name.startswith(".")
        assert temporary.suffix == ".wav"
        temporary.write_bytes(b"sound")
        assert not target.exists()
    assert target.read_bytes() == b"sound"
    assert names(tmp_path) == ["song.wav"]


def test_two_writers_of_one_file_do_not_meet(tmp_path: Path) -> None:
    target = tmp_path / "song.wav"
    with whole_file(target) as one, whole_file(target) as two:
        assert one != two
        one.write_bytes(b"one")
        two.write_bytes(b"two")
    assert target.read_bytes() == b"one"


@pytest.mark.parametrize(
    "error", [ValueError("x"), KeyboardInterrupt(), SystemExit(3), SoundFontError("damaged")]
)
def test_nothing_is_left_when_the_block_fails(tmp_path: Path, error: BaseException) -> None:
    with pytest.raises(type(error)) as caught:
        write_half(tmp_path / "new" / "deep" / "song.wav", error)
    assert caught.value is error
    assert names(tmp_path) == []


def test_what_was_there_stays_when_the_block_fails(tmp_path: Path) -> None:
    target = tmp_path / "song.wav"
    target.write_bytes(b"before")
    with pytest.raises(KeyboardInterrupt):
        write_half(target, KeyboardInterrupt())
    assert target.read_bytes() == b"before"
    assert names(tmp_path) == ["song.wav"]


def test_folders_with_something_else_in_them_stay(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="x"):
        write_half(tmp_path / "new" / "deep" / "song.wav", ValueError("x"), note="note.txt")
    assert names(tmp_path / "new" / "deep") == ["note.txt"]


def test_folders_are_made(tmp_path: Path) -> None:
    write_bytes(tmp_path / "a" / "b" / "song.mid", b"notes")
    assert (tmp_path / "a" / "b" / "song.mid").read_bytes() == b"notes"


def test_several_files_appear_together(tmp_path: Path) -> None:
    targets = [tmp_path / "a.wav", tmp_path / "kit" / "b.mp3"]
    with whole_files(targets) as temporary:
        for place, target in zip(temporary, targets, strict=True):
            place.write_text(target.name)
        assert not any(target.exists() for target in targets)
    assert [target.read_text() for target in targets] == ["a.wav", "b.mp3"]


def test_of_several_files_none_appears_if_one_is_missing(tmp_path: Path) -> None:
    targets = [tmp_path / "a.wav", tmp_path / "kit" / "b.wav"]
    with (
        pytest.raises(OutputError, match=r"can't write .*b\.wav: .*nothing was written"),
        whole_files(targets) as (one, _),
    ):
        one.write_bytes(b"sound")
    assert names(tmp_path) == []


def test_two_names_for_one_file_are_refused(tmp_path: Path) -> None:
    with (
        pytest.raises(ParameterError, match="different names"),
        whole_files([tmp_path / "a", tmp_path / "." / "a"]),
    ):
        pass


def test_permissions_are_kept_and_new_files_follow_the_mask(tmp_path: Path) -> None:
    target = tmp_path / "song.wav"
    target.write_bytes(b"before")
    target.chmod(0o640)
    write_bytes(target, b"after")
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    mask = os.umask(0o027)
    try:
        write_bytes(tmp_path / "new.wav", b"new")
    finally:
        os.umask(mask)
    assert stat.S_IMODE((tmp_path / "new.wav").stat().st_mode) == 0o640


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "disk").mkdir()
    (tmp_path / "song.wav").symlink_to(tmp_path / "disk" / "real.wav")
    write_bytes(tmp_path / "song.wav", b"sound")
    assert (tmp_path / "song.wav").is_symlink()
    assert (tmp_path / "disk" / "real.wav").read_bytes() == b"sound"


def test_a_durable_file_is_synced_with_its_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[str] = []
    monkeypatch.setattr(
        os, "fsync", lambda descriptor: synced.append(str(Path(f"/proc/self/fd/{descriptor}").readlink()))
    )
    write_bytes(tmp_path / "a.wav", b"sound")
    assert synced == []
    write_bytes(tmp_path / "song.yaml", b"title: x", durable=True)
    assert [Path(place).suffix for place in synced] == [".yaml", ""]
    assert synced[1] == str(tmp_path)


def test_where_folders_cannot_be_synced_they_are_not(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.files.os.name", "nt")
    files._sync_folders([tmp_path / "missing" / "song.yaml"])


@pytest.mark.parametrize(
    ("number", "why"),
    [
        (errno.ENOSPC, r"the disk is full\. Nothing half written is left\. Free some space"),
        (errno.EDQUOT, "your share of the disk is used up"),
        (errno.EFBIG, "the file would be larger than is allowed"),
    ],
)
def test_a_full_disk_is_an_output_error(tmp_path: Path, number: int, why: str) -> None:
    target = tmp_path / "song.wav"
    with pytest.raises(OutputError, match=rf"can't write {target}: {why}"):
        write_half(target, OSError(number, os.strerror(number)))
    assert names(tmp_path) == []


def test_errors_about_other_files_pass(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match=r"font\.sf2"), whole_file(tmp_path / "song.wav"):
        (tmp_path / "font.sf2").read_bytes()
    assert names(tmp_path) == []


@pytest.mark.parametrize(
    ("number", "why"),
    [
        (errno.EACCES, "you aren't allowed to write there. .* close the program that has the file open"),
        (errno.EROFS, "the disk can only be read"),
        (errno.EBUSY, f"{os.strerror(errno.EBUSY)}. .* Choose another folder"),
    ],
)
def test_a_refused_place_is_an_output_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, why: str
) -> None:
    def refuse(place: Path, target: Path) -> None:
        raise OSError(number, os.strerror(number), str(place), None, str(target))

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match=why):
        write_bytes(tmp_path / "song.wav", b"sound")
    assert names(tmp_path) == []


def test_a_file_in_the_way_of_a_folder(tmp_path: Path) -> None:
    (tmp_path / "kit").write_text("mine")
    with pytest.raises(OutputError, match="a part of its path is a file"):
        write_bytes(tmp_path / "kit" / "song.wav", b"sound")
    with pytest.raises(OutputError, match="a part of its path is a file"):
        write_bytes(tmp_path / "kit" / "deep" / "song.wav", b"sound")
    assert (tmp_path / "kit").read_text() == "mine"


def test_a_name_that_is_too_long(tmp_path: Path) -> None:
    for write in (lambda path: write_bytes(path, b"sound"), may_replace):
        with pytest.raises(OutputError, match="its name is too long"):
            write(tmp_path / ("x" * 300 + ".wav"))


def test_a_folder_or_device_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "song.wav").mkdir()
    os.mkfifo(tmp_path / "pipe.wav")
    for name in ("song.wav", "pipe.wav"):
        with pytest.raises(OutputError, match="a folder or a device of that name"):
            write_bytes(tmp_path / name, b"sound")
    assert names(tmp_path) == ["pipe.wav", "song.wav"]


LIMITED = """
import resource, sys
from pathlib import Path
from tercet.errors import OutputError
from tercet.files import write_bytes
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    write_bytes(Path(sys.argv[1]), b"x" * 2000)
except OutputError as error:
    print(error)
"""


def test_a_limit_of_the_system_leaves_nothing(tmp_path: Path) -> None:
    target = tmp_path / "song.wav"
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(target)], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.startswith(f"can't write {target}: the file would be larger than is allowed here.")
    assert names(tmp_path) == []


def test_what_may_be_replaced(tmp_path: Path) -> None:
    (tmp_path / "song.wav").write_bytes(b"sound")
    assert may_replace(tmp_path / "song.wav")
    assert not may_replace(tmp_path / "new.wav")
    assert not may_replace(tmp_path / "song.wav" / "deeper.wav")


def test_a_folder_or_a_device_may_not_be_replaced(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match=r"is a folder: name a file in it, such as .*demo\.wav"):
        may_replace(tmp_path)
    with pytest.raises(RequestError, match="is a device or a pipe"):
        may_replace(Path(os.devnull))
