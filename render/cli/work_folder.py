"""A hidden folder for what a command needs until it is done; one that a killed command left is removed by the next.

Its owner holds a lock in it, which the system lets go when the owner is gone, however it went.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from render.errors import OutputError

__all__ = ["work_folder"]

PREFIX = ".tercet-work-"
LOCK = "lock"


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
            _remove_left(beside)
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
        shutil.rmtree(folder, ignore_errors=True)
        for empty in made:
            with suppress(OSError):
                empty.rmdir()


def _remove_left(place: Path) -> None:
    """Remove work folders whose owners are gone."""
    for folder in place.glob(f"{PREFIX}*"):
        lock = FileLock(folder / LOCK)
        try:
            with lock.acquire(timeout=0):
                shutil.rmtree(folder, ignore_errors=True)
        except (Timeout, OSError):
            continue
