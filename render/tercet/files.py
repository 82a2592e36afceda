"""Files appear whole or not at all.

A file is written beside its place under a hidden name with the same ending, and takes its place in one step when it
is complete. Whatever goes wrong before, Ctrl-C included, the hidden file goes and what was there before stays. A
process that is killed outright, or a power cut, can leave a hidden ``.tercet-…`` file, never half of a visible one.
`whole_file` says so to the user; `replacing` is the same for what no user asked for, and lets errors pass.
"""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import shutil
import stat
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from tercet.errors import OutputError, ParameterError, RequestError

__all__ = [
    "HIDDEN",
    "cannot_write",
    "may_replace",
    "replacing",
    "sha256_of",
    "whole_file",
    "whole_files",
    "write_bytes",
]

HIDDEN = ".tercet-"
"""How names of files begin that are not complete yet."""

_REASONS = {
    errno.ENOSPC: ("the disk is full", "Free some space or choose a folder on another disk."),
    errno.EDQUOT: (
        "your share of the disk is used up",
        "Free some space or choose a folder on another disk.",
    ),
    errno.EFBIG: (
        "the file would be larger than is allowed here",
        "Choose another folder or a smaller kind of file.",
    ),
    errno.EROFS: ("the disk can only be read", "Choose a folder on another disk."),
    errno.EACCES: (
        "you aren't allowed to write there",
        "Choose a folder of your own, or close the program that has the file open.",
    ),
    errno.EPERM: (
        "you aren't allowed to write there",
        "Choose a folder of your own, or close the program that has the file open.",
    ),
    errno.ENOTDIR: ("a part of its path is a file, not a folder", "Correct the path."),
    errno.EEXIST: ("a part of its path is a file, not a folder", "Correct the path."),
    errno.ENOENT: ("its folder has gone, or nothing was written", "Try again."),
    errno.ENAMETOOLONG: ("its name is too long for this disk", "Choose a shorter name."),
    errno.EIO: ("the disk failed", "Check the disk, and choose another one."),
}
"""Why a file can't be written, and what to do, by the system's number for it."""

_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
"""Only writing can run into these, so they are about our file even where the system names none."""


def may_replace(path: Path) -> bool:
    """Return whether a file is there that an output of this name would replace; whose it is tells `made_files`.

    Raises
    ------
    RequestError
        If something is there that must stay: a folder or a device.
    OutputError
        If the system doesn't let us look.
    """
    try:
        mode = path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError as error:
        raise OutputError(cannot_write(path, error)) from error
    if stat.S_ISDIR(mode):
        raise RequestError(f"{path} is a folder: name a file in it, such as {path / 'demo.wav'}")
    if not stat.S_ISREG(mode):
        raise RequestError(f"{path} is a device or a pipe: name a file")
    return True


@contextmanager
def whole_file(path: Path, *, durable: bool = False) -> Iterator[Path]:
    """Give a temporary path to write to; put the file in its place when the block ends well.

    Parameters
    ----------
    path
        Where the file belongs. Missing folders are made; a file that is there is replaced and its permissions are
        kept; a link is followed.
    durable
        Whether to wait until the disk has the file, so that a power cut a moment later can't take it and its
        predecessor. For what a user wrote; too slow for audio, which can be made again.

    Yields
    ------
    Path
        A name in the same folder with the same ending. The block must make this file.

    Raises
    ------
    OutputError
        If the file can't be written; says why and what to do. Other errors of the block pass unchanged.
    """
    with whole_files((path,), durable=durable) as temporary:
        yield temporary[0]


@contextmanager
def whole_files(
    paths: Sequence[Path], *, durable: bool = False, settled: Callable[[Path, Path], None] | None = None
) -> Iterator[tuple[Path, ...]]:
    """Give temporary paths for several files; put all in place when the block ends well, else none.

    Only if the system refuses in the middle of the last step, when all files are complete, can some be in place.
    Parameters and errors as for `whole_file`; `settled` is told of each complete file and its place before it takes it.

    Raises
    ------
    ParameterError
        If two paths are the same file.
    """
    targets = tuple(Path(os.path.realpath(path)) for path in paths)
    if len(set(targets)) < len(targets):
        raise ParameterError(f"files to write must have different names (got {', '.join(map(str, paths))})")
    hidden = tuple(map(_beside, targets))
    made: list[Path] = []
    try:
        for path, target in zip(paths, targets, strict=True):
            if target.exists() and not target.is_file():
                raise OutputError(f"can't write {path}: there is a folder or a device of that name")
            _make_folders(target.parent, made)
        yield hidden
        for place, target in zip(hidden, targets, strict=True):
            _settle(place, target, durable=durable)
            if settled is not None:
                settled(place, target)
        for place, target in zip(hidden, targets, strict=True):
            place.replace(target)
        made.clear()
        if durable:
            _sync_folders(targets)
    except OSError as error:
        concerned = _concerned(error, paths, hidden)
        if concerned is None:
            raise
        raise OutputError(cannot_write(concerned, error)) from error
    finally:
        for place in hidden:
            with suppress(OSError):
                place.unlink(missing_ok=True)
        for folder in reversed(made):
            with suppress(OSError):
                folder.rmdir()


def write_bytes(path: Path, data: bytes, *, durable: bool = False) -> None:
    """Write a small file whole or not at all; parameters and errors as for `whole_file`."""
    with whole_file(path, durable=durable) as temporary:
        temporary.write_bytes(data)


@contextmanager
def replacing(target: Path) -> Iterator[Path]:
    """Give a hidden path beside a file's own; put what is written there in its place when the block ends well.

    What goes wrong passes as it is. Windows refuses to replace a file that another process reads: if that holds the
    same bytes, it will do.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    hidden = _beside(target)
    try:
        yield hidden
        try:
            hidden.replace(target)
        except PermissionError:
            if not target.is_file() or target.read_bytes() != hidden.read_bytes():
                raise
    finally:
        with suppress(OSError):
            hidden.unlink(missing_ok=True)


def _beside(target: Path) -> Path:
    """Return a hidden path in a file's folder, with its ending."""
    return target.with_name(f"{HIDDEN}{secrets.token_hex(8)}{target.suffix}")


def sha256_of(path: Path) -> str:
    """Return the hash of a file's bytes, in hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _make_folders(folder: Path, made: list[Path]) -> None:
    """Make a folder and those above it that are missing; add each new one to `made`, the uppermost first."""
    missing = []
    while not folder.exists():
        missing.append(folder)
        folder = folder.parent
    for new in reversed(missing):
        new.mkdir(exist_ok=True)
        made.append(new)


def _settle(place: Path, target: Path, *, durable: bool) -> None:
    """Make a complete temporary file ready to take its place; raise if it isn't there."""
    place.stat()
    if target.exists():
        shutil.copymode(target, place)
    if durable:
        with place.open("rb+") as file:
            os.fsync(file.fileno())


def _sync_folders(targets: Sequence[Path]) -> None:
    """Wait until the disk knows the files' names. Windows has no such call and needs none."""
    if os.name != "posix":
        return
    for folder in {target.parent for target in targets}:
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _concerned(error: OSError, paths: Sequence[Path], hidden: Sequence[Path]) -> Path | None:
    """Return which of our files an error is about, as the user named it; None if it is about something else."""
    named = os.fspath(error.filename) if isinstance(error.filename, str | os.PathLike) else ""
    for path, place in zip(paths, hidden, strict=True):
        ours = {
            str(place),
            str(place.parent),
            *map(str, place.parent.parents),
            str(path),
            os.path.realpath(path),
        }
        if named in ours:
            return path
    return paths[0] if error.errno in _ROOM else None


def cannot_write(path: Path, error: OSError) -> str:
    """Return what to tell the user: what failed, why, what to do."""
    why, mend = _REASONS.get(error.errno or 0, (error.strerror or str(error), "Choose another folder."))
    return f"can't write {path}: {why}. Nothing half written is left. {mend}"
