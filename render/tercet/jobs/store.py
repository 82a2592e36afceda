"""Where results go: a folder that all workers can reach, or any fsspec address (the extra ``cluster``).

A store is a small frozen value, so that it can be part of a job's argument: every worker opens it for itself. A file
appears in it whole or not at all.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Protocol

from tercet.errors import OutputError, OutsideError, ParameterError, RequestError
from tercet.files import HIDDEN, replacing

__all__ = ["FolderStore", "RemoteStore", "Store", "store_at"]

WHOLE_PUTS = frozenset({"s3", "s3a", "gs", "gcs", "abfs", "abfss", "az", "adl", "oss"})
"""Kinds of object stores in which an object appears only when all of it has arrived: no need to put it beside and move
it, which such stores do by copying."""


class Store(Protocol):
    """A place for finished files. Names are relative, with ``/`` between folders: ``harbour-lanterns/01-demo.mp3``.

    Methods raise `OutputError` if the place can't be reached, read or written, `ParameterError` for a name that
    leads out of it.
    """

    def put(self, file: Path, name: str) -> None:
        """Move a finished local file here; what had its name is replaced in one step."""

    def write(self, data: bytes, name: str) -> None:
        """Put a small file here from memory."""

    def read(self, name: str) -> bytes:
        """Return what is in a file; `FileNotFoundError` if it isn't there."""

    def size(self, name: str) -> int | None:
        """Return the bytes of a file; None if it isn't there."""

    def changed_ns(self, name: str) -> int | None:
        """Return when a file was last changed, by the clock of its place; None if that isn't known."""

    def place(self, name: str) -> str:
        """Return a file's full path, or its address."""

    def names(self) -> tuple[str, ...]:
        """Return the names of all complete files, sorted."""

    def remove(self, name: str) -> None:
        """Remove a file, if it is there."""


def store_at(address: str | os.PathLike[str]) -> Store:
    """Return the store at an address; nothing is made or reached yet.

    Parameters
    ----------
    address
        A folder, or an address that fsspec knows: ``s3://bucket/kits``, ``sftp://server/kits``. ``file://`` is a
        folder, too.

    Raises
    ------
    RequestError
        If fsspec knows no such kind of address.
    OutsideError
        If a package is missing that this kind needs.
    """
    text = os.fspath(address)
    kind, mark, rest = text.partition("://")
    if not mark:
        return FolderStore(Path(text).absolute())
    if kind in {"file", "local"}:
        return FolderStore(Path(rest).absolute())
    store = RemoteStore(text.rstrip("/"))
    store.check()
    return store


@dataclass(frozen=True, slots=True)
class FolderStore:
    """A folder; on a cluster, one that all workers reach by the same path.

    Parameters
    ----------
    folder
        The folder, absolute; it is made when the first file comes.
    """

    folder: Path

    def put(self, file: Path, name: str) -> None:
        """Move a finished file here: in one step on the same disk, else it is copied beside its place first."""
        target = self.folder / _checked(name)
        with _as_output_error(f"can't write {target}"):
            target.parent.mkdir(parents=True, exist_ok=True)
            try:
                file.replace(target)
            except OSError as error:
                if error.errno != errno.EXDEV:
                    raise
                with replacing(target) as hidden:
                    shutil.copy(file, hidden)
                file.unlink()

    def write(self, data: bytes, name: str) -> None:
        """Put a small file here from memory."""
        target = self.folder / _checked(name)
        with _as_output_error(f"can't write {target}"), replacing(target) as hidden:
            hidden.write_bytes(data)

    def read(self, name: str) -> bytes:
        """Return what is in a file."""
        path = self.folder / _checked(name)
        with _as_output_error(f"can't read {path}"):
            try:
                return path.read_bytes()
            except NotADirectoryError as error:
                raise FileNotFoundError(str(path)) from error

    def size(self, name: str) -> int | None:
        """Return the bytes of a file; None if it isn't there."""
        path = self.folder / _checked(name)
        with _as_output_error(f"can't look at {path}"):
            return path.stat().st_size if path.is_file() else None

    def changed_ns(self, name: str) -> int | None:
        """Return when a file was last changed."""
        path = self.folder / _checked(name)
        with _as_output_error(f"can't look at {path}"):
            return path.stat().st_mtime_ns if path.is_file() else None

    def place(self, name: str) -> str:
        """Return a file's full path, without links."""
        return os.path.realpath(self.folder / _checked(name))

    def names(self) -> tuple[str, ...]:
        """Return the names of all complete files, sorted."""
        with _as_output_error(f"can't look into {self.folder}"):
            found = [path.relative_to(self.folder) for path in self.folder.rglob("*") if path.is_file()]
        return _complete(path.as_posix() for path in found)

    def remove(self, name: str) -> None:
        """Remove a file, if it is there."""
        path = self.folder / _checked(name)
        with _as_output_error(f"can't remove {path}"):
            path.unlink(missing_ok=True)


@dataclass(frozen=True, slots=True)
class RemoteStore:
    """A place that fsspec reaches.

    Parameters
    ----------
    address
        Kind and path, such as ``s3://bucket/kits``. Who may write there is told by that kind's own settings.
    """

    address: str

    def check(self) -> None:
        """See whether this kind of address can be used; errors as for `store_at`."""
        self._opened()

    def put(self, file: Path, name: str) -> None:
        """Send a finished file; it gets its name when all of it is there, and the local one goes."""
        system, root = self._opened()
        target = f"{root}/{_checked(name)}"
        kinds = {system.protocol} if isinstance(system.protocol, str) else set(system.protocol)
        with _as_output_error(f"can't write {self.address}/{name}"):
            if kinds & WHOLE_PUTS:
                system.put_file(os.fspath(file), target)
            else:
                _put_beside_and_move(system, file, target)
        file.unlink()

    def write(self, data: bytes, name: str) -> None:
        """Put a small file here from memory."""
        with tempfile.TemporaryDirectory(prefix=HIDDEN) as folder:
            file = Path(folder) / "data"
            file.write_bytes(data)
            self.put(file, name)

    def read(self, name: str) -> bytes:
        """Return what is in a file."""
        system, root = self._opened()
        with _as_output_error(f"can't read {self.address}/{name}"):
            data: bytes = system.cat_file(f"{root}/{_checked(name)}")
        return data

    def size(self, name: str) -> int | None:
        """Return the bytes of a file; None if it isn't there."""
        system, root = self._opened()
        with _as_output_error(f"can't look at {self.address}/{name}"):
            try:
                return int(system.size(f"{root}/{_checked(name)}"))
            except FileNotFoundError:
                return None

    def changed_ns(self, name: str) -> int | None:
        """Return None: not every kind of place tells, or tells exactly."""
        _checked(name)
        return None

    def place(self, name: str) -> str:
        """Return a file's address."""
        return f"{self.address}/{_checked(name)}"

    def names(self) -> tuple[str, ...]:
        """Return the names of all complete files, sorted."""
        system, root = self._opened()
        with _as_output_error(f"can't look into {self.address}"):
            system.invalidate_cache()
            try:
                found = system.find(root)
            except FileNotFoundError:
                found = []
        return _complete(path.removeprefix(root).lstrip("/") for path in found)

    def remove(self, name: str) -> None:
        """Remove a file, if it is there."""
        system, root = self._opened()
        with _as_output_error(f"can't remove {self.address}/{name}"), suppress(FileNotFoundError):
            system.rm_file(f"{root}/{_checked(name)}")

    def _opened(self) -> tuple[Any, str]:
        """Return the file system and the path within it. fsspec keeps file systems, so this is quick."""
        try:
            import fsspec

            system, root = fsspec.core.url_to_fs(self.address)
        except ImportError as error:
            raise OutsideError(
                f"{self.address} needs a package that isn't installed ({error}): pip install 'tercet[cluster]', and "
                "the package for this kind of address, such as s3fs for s3://"
            ) from error
        except ValueError as error:
            raise RequestError(
                f"{self.address}: {error}. Name a folder, or an address such as s3://bucket/kits"
            ) from error
        return system, root.rstrip("/")


def _put_beside_and_move(system: Any, file: Path, target: str) -> None:
    """Send a file under a hidden name beside its own, then move it; take the hidden one away if that fails."""
    folder, _, last = target.rpartition("/")
    hidden = f"{folder}/{HIDDEN}{secrets.token_hex(8)}{PurePosixPath(last).suffix}"
    system.makedirs(folder, exist_ok=True)
    try:
        system.put_file(os.fspath(file), hidden)
        system.mv(hidden, target)
    except BaseException:
        with suppress(Exception):
            system.rm_file(hidden)
        raise


def _checked(name: str) -> str:
    """Return a name that stays within the store; raise `ParameterError` for another."""
    path = PurePosixPath(name)
    if path.is_absolute() or not path.parts or ".." in path.parts or "\\" in name or ":" in name:
        raise ParameterError(f"name must stay within the store, such as song/01-demo.wav (got {name!r})")
    if path.name.startswith(HIDDEN):
        raise ParameterError(f"name must not begin with {HIDDEN}, as unfinished files do (got {name!r})")
    return path.as_posix()


def _complete(names: Iterator[str]) -> tuple[str, ...]:
    """Return names sorted, without those of unfinished files."""
    return tuple(sorted(name for name in names if not PurePosixPath(name).name.startswith(HIDDEN)))


@contextmanager
def _as_output_error(what: str) -> Iterator[None]:
    """Raise whatever a file system raises as `OutputError`, except that a file isn't there."""
    try:
        yield
    except (FileNotFoundError, ParameterError):
        raise
    except OSError as error:
        raise OutputError(f"{what}: {error.strerror or error}. Nothing half written is left.") from error
    except Exception as error:  # every kind of store brings errors of its own
        kind = type(error).__name__
        raise OutputError(f"{what}: {kind}: {error}. Nothing half written is left.") from error
