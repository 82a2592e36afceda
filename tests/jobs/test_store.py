"""Stores of finished files: folders, and what fsspec reaches, shown with its file systems in memory and on disk."""

from __future__ import annotations

import errno
import os
import pickle
import secrets
import sys
from pathlib import Path
from typing import Any, Never

import fsspec
import pytest
from fsspec.implementations.local import LocalFileSystem
from fsspec.implementations.memory import MemoryFileSystem

from tercet.errors import OutputError, OutsideError, ParameterError, RequestError
from tercet.jobs import FolderStore, RemoteStore, Store, store_at


class DiskByFsspec(LocalFileSystem):  # type: ignore[misc]
    """fsspec's own way to the disk: `file://` addresses go ours."""

    protocol = "disk"

    @classmethod
    def _strip_protocol(cls, path: str) -> str:
        return str(super()._strip_protocol(path.removeprefix("disk://")))


class Bucket(MemoryFileSystem):  # type: ignore[misc]
    """As object stores say that they are: an object is whole or not there. It can't move."""

    protocol = ("s3", "s3a")
    store: dict[str, Any] = {}  # noqa: RUF012 - as fsspec's own
    pseudo_dirs = [""]  # noqa: RUF012

    def mv(self, *_: object, **__: object) -> Never:
        raise NotImplementedError


@pytest.fixture(autouse=True)
def kinds() -> None:
    fsspec.register_implementation("disk", DiskByFsspec, clobber=True)
    fsspec.register_implementation("s3", Bucket, clobber=True)


@pytest.fixture(params=["folder", "file", "memory", "disk", "s3"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Store:
    address = {
        "folder": str(tmp_path / "kits"),
        "file": f"file://{tmp_path}/kits",
        "memory": f"memory://kits-{secrets.token_hex(4)}",
        "disk": f"disk://{tmp_path}/kits",
        "s3": f"s3://kits-{secrets.token_hex(4)}/term",
    }[request.param]
    return store_at(address)


def finished(folder: Path, data: bytes) -> Path:
    path = folder / f"finished-{secrets.token_hex(4)}.wav"
    path.write_bytes(data)
    return path


def test_a_finished_file_is_moved_there(store: Store, tmp_path: Path) -> None:
    file = finished(tmp_path, b"sound" * 100_000)
    store.put(file, "harbour-lanterns/01-demo.wav")
    assert store.read("harbour-lanterns/01-demo.wav") == b"sound" * 100_000
    assert not file.exists()
    assert store.names() == ("harbour-lanterns/01-demo.wav",)


def test_a_file_is_replaced_and_removed(store: Store, tmp_path: Path) -> None:
    store.write(b"old and longer", "kit.json")
    store.write(b"new", "kit.json")
    store.put(finished(tmp_path, b"two"), "b.wav")
    assert store.read("kit.json") == b"new"
    assert store.names() == ("b.wav", "kit.json")
    store.remove("kit.json")
    store.remove("kit.json")
    assert store.names() == ("b.wav",)


def test_a_store_that_nothing_came_to_is_empty(store: Store) -> None:
    assert store.names() == ()
    store.remove("demo.wav")
    with pytest.raises(FileNotFoundError):
        store.read("demo.wav")


def test_a_store_goes_to_workers(store: Store) -> None:
    store.write(b"one", "a/b.txt")
    there: Store = pickle.loads(pickle.dumps(store))  # noqa: S301 - made in the same line
    assert there == store
    assert there.read("a/b.txt") == b"one"


@pytest.mark.parametrize(
    "name", ["", "/etc/passwd", "../out.wav", "a/../../b", "a\\b", "C:x", ".tercet-1.wav"]
)
def test_names_stay_within(store: Store, tmp_path: Path, name: str) -> None:
    file = finished(tmp_path, b"x")
    for use in (lambda: store.put(file, name), lambda: store.read(name), lambda: store.remove(name)):
        with pytest.raises(ParameterError, match="name must"):
            use()
    assert file.exists()


def test_what_breaks_in_the_middle_leaves_the_old_file(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.write(b"old", "song/demo.wav")
    file = finished(tmp_path, b"n" * 1000)

    def breaks(_self: object, _from: str, to: str, **_: object) -> Never:
        with _self.open(to, "wb") as half:  # type: ignore[attr-defined]
            half.write(b"n" * 500)
        raise ConnectionError("the line is down")

    def full(*_: object, **__: object) -> Never:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    if isinstance(store, FolderStore):
        monkeypatch.setattr(Path, "replace", full)
    elif isinstance(store, RemoteStore) and not store.address.startswith("s3"):
        monkeypatch.setattr(DiskByFsspec, "put_file", breaks)
        monkeypatch.setattr(MemoryFileSystem, "put_file", breaks)
    else:
        # A bucket has nothing of an object that didn't come whole.
        monkeypatch.setattr(Bucket, "put_file", full)
    with pytest.raises(OutputError, match=r"can't write .*song/demo\.wav: .* Nothing half written is left"):
        store.put(file, "song/demo.wav")
    assert file.exists(), "what was finished isn't lost"
    assert store.read("song/demo.wav") == b"old"
    assert store.names() == ("song/demo.wav",)
    if isinstance(store, RemoteStore):
        system, root = fsspec.core.url_to_fs(store.address)
        assert [path.rpartition("/")[2] for path in system.find(root)] == ["demo.wav"]


def test_nobody_sees_a_file_before_it_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = store_at("memory://watched")
    seen: list[tuple[str, ...]] = []
    move = MemoryFileSystem.mv

    def watched(self: Any, *places: str) -> None:
        seen.append(store.names())
        move(self, *places)

    monkeypatch.setattr(MemoryFileSystem, "mv", watched)
    store.put(finished(tmp_path, b"x"), "demo.wav")
    assert seen == [()]
    assert store.names() == ("demo.wav",)


def test_from_another_disk_it_is_copied_beside_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = FolderStore(tmp_path / "kits")
    file = finished(tmp_path, b"far")
    replace = Path.replace

    def across(self: Path, target: Path) -> Path:
        if self.parent != target.parent:
            raise OSError(errno.EXDEV, os.strerror(errno.EXDEV))
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", across)
    store.put(file, "demo.wav")
    assert store.read("demo.wav") == b"far"
    assert not file.exists()
    assert [path.name for path in (tmp_path / "kits").iterdir()] == ["demo.wav"]


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
def test_a_disk_that_fails_while_it_is_copied_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    file = finished(tmp_path, b"far")

    def across(self: Path, target: Path) -> Path:
        raise OSError(errno.EXDEV if self == file else number, "no")

    monkeypatch.setattr(Path, "replace", across)
    store = FolderStore(tmp_path / "kits")
    with pytest.raises(OutputError, match="can't write"):
        store.put(file, "demo.wav")
    with pytest.raises(OutputError, match="can't write"):
        store.write(b"x", "kit.json")
    assert list((tmp_path / "kits").iterdir()) == []
    assert file.exists()


def test_a_folder_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "kits").write_text("a file")
    with pytest.raises(OutputError, match=r"can't write .*kits/demo\.wav"):
        FolderStore(tmp_path / "kits").write(b"x", "demo.wav")


def test_addresses() -> None:
    assert store_at("kits") == FolderStore(Path.cwd() / "kits")
    assert store_at(Path("/srv/kits")) == FolderStore(Path("/srv/kits"))
    assert store_at("file:///srv/kits") == FolderStore(Path("/srv/kits"))
    assert store_at("memory://kits/") == RemoteStore("memory://kits")


def test_an_address_that_nobody_knows_is_refused() -> None:
    with pytest.raises(RequestError, match=r"pigeon://roof: .*Name a folder, or an address such as s3://"):
        store_at("pigeon://roof")


def test_what_is_missing_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(OutsideError, match=r"gs://bucket/kits needs a package that isn't installed .*gcsfs"):
        store_at("gs://bucket/kits")
    monkeypatch.setitem(sys.modules, "fsspec", None)
    with pytest.raises(OutsideError, match=r"pip install 'tercet\[cluster\]'"):
        store_at("memory://kits")
