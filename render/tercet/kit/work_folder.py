"""A hidden folder for what a command needs until it is done; one that a killed command left is removed by the next.

Its owner holds a lock in it, which the system lets go when the owner is gone, however it went.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from tercet.caches import user_number
from tercet.errors import OutputError
from tercet.jobs import FolderStore, Store

__all__ = ["alone_in", "remove_left", "work_folder"]

PREFIX = ".tercet-work-"
LOCK = "lock"

YOUNG_S = 60.0
"""So long a folder may be without a lock: its owner may be just about to take it."""

REMOVING_TRIES, BETWEEN_TRIES_S = 10, 0.05
"""Shared disks and virus scanners hold a file for a moment longer than who wrote it."""

LONGEST_WAIT_S = 10.0
"""So long a kit waits for another one to write a manifest, and goes on without."""


@contextmanager
def work_folder(beside: Path | None) -> Iterator[Path]:
    """Give a folder that is removed at the end.

    Parameters
    ----------
    beside
        The folder in which results will be; it is made if it is missing, and removed again if nothing came into it.
        None where they go elsewhere: then it is among the system's temporary files.

    Raises
    ------
    OutputError
        The folder can't be made or written.
    """
    made = []
    try:
        if beside is not None:
            made = [folder for folder in (beside, *beside.parents) if not folder.exists()]
            beside.mkdir(parents=True, exist_ok=True)
            remove_left(beside)
        folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=beside))
    except OSError as error:
        place = beside or Path(tempfile.gettempdir())
        raise OutputError(
            f"can't write in {place}: {error.strerror or error}. Choose a folder of your own with room on its disk"
        ) from error
    lock = FileLock(folder / LOCK)
    try:
        with lock:
            yield folder
    finally:
        _remove(folder)
        for empty in made:
            with suppress(OSError):
                empty.rmdir()


@contextmanager
def alone_in(store: Store, folder: str) -> Iterator[None]:
    """Let no other kit of this computer write the manifest of a song's folder meanwhile; a matter of moments.

    The lock is among the system's temporary files while it is held, so that it leaves nothing in the folder. At an
    address nobody waits: there the last to write tells what it made, and the next kit makes again what isn't told.
    """
    if not isinstance(store, FolderStore):
        yield
        return
    place = str((store.folder / folder).resolve())
    name = hashlib.sha256(f"{user_number()} {place}".encode(errors="surrogateescape")).hexdigest()[:24]
    try:
        path = Path(tempfile.gettempdir()) / f"tercet-{name}.lock"
        lock = FileLock(path)
        lock.acquire(timeout=LONGEST_WAIT_S)
    except (Timeout, OSError):
        yield
        return
    try:
        yield
    finally:
        # Removed while it is held: whoever waits for it sees that it has gone, and makes a new one.
        with suppress(OSError):
            path.unlink()
        lock.release()


def remove_left(place: Path) -> None:
    """Remove work folders whose owners are gone."""
    for folder in place.glob(f"{PREFIX}*"):
        lock = FileLock(folder / LOCK)
        try:
            if not (folder / LOCK).exists() and time.time() - folder.stat().st_mtime < YOUNG_S:
                continue
            with lock.acquire(timeout=0):
                shutil.rmtree(folder, ignore_errors=True)
        except (Timeout, OSError):
            continue


def _remove(folder: Path) -> None:
    for _ in range(REMOVING_TRIES):
        shutil.rmtree(folder, ignore_errors=True)
        if not folder.exists():
            return
        time.sleep(BETWEEN_TRIES_S)
