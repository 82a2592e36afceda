"""Where Tercet keeps what it can make again: the user's cache; among the temporary files where there is none.

A user in a container may have no home, a school's computer a home that can only be read. Then the cache lies among the
temporary files, and that is said once; the processes that carry out jobs find it by the same variable.

What is kept (fonts' hashes, how loud sounds are, the built-in ukulele) goes through a `Cache`: each file appears whole
or not at all, and carries or has beside it a hash of its bytes, so that a damaged one is noticed and made again.
"""

from __future__ import annotations

import functools
import hashlib
import logging
import os
import stat
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from tercet.files import replacing, sha256_of

__all__ = [
    "VARIABLE",
    "Cache",
    "cache_folder",
    "data_folder",
    "home_folder",
    "temporary_cache",
    "user_number",
]

VARIABLE = "TERCET_CACHE"
"""Environment variable that names another folder."""

_log = logging.getLogger(__name__)


def cache_folder() -> Path:
    """Return the folder of all caches: as the environment asks, the user's, or a temporary one."""
    asked = os.environ.get(VARIABLE)
    if asked:
        return Path(asked)
    usual = _folder_of_user("user_cache_path")
    if usual is None:
        return temporary_cache("this user has no home folder")
    try:
        usual.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        return temporary_cache(f"{usual}: {error.strerror or error}")
    if not os.access(usual, os.W_OK | os.X_OK):
        return temporary_cache(f"{usual} can't be written")
    return usual


def temporary_cache(why: str) -> Path:
    """Return a folder among the temporary files that is this user's alone, use it from now on, and say so."""
    folder = Path(tempfile.gettempdir()) / f"tercet-cache-{user_number()}"
    with suppress(OSError):
        folder.mkdir(mode=0o700)
    if not _is_ours_alone(folder):
        folder = Path(tempfile.mkdtemp(prefix="tercet-cache-"))
    os.environ[VARIABLE] = str(folder)
    _log.warning(
        "the cache can't be kept for the next time (%s), so it is in %s; set %s to use another folder",
        why,
        folder,
        VARIABLE,
    )
    return folder


def data_folder() -> Path | None:
    """Return where a user's own data for Tercet lie; None for a user who has no home."""
    return _folder_of_user("user_data_path")


def _folder_of_user(kind: str) -> Path | None:
    import platformdirs

    try:
        folder: Path = getattr(platformdirs, kind)("tercet", appauthor=False)
    except RuntimeError:
        return None
    return folder if folder.is_absolute() else None


def home_folder() -> Path | None:
    """Return the user's home; None for a user who has none."""
    home = Path(os.path.expanduser("~"))  # noqa: PTH111 - Path.home raises where there is none
    return home if home.is_absolute() else None


def user_number() -> int:
    """Return what tells this user from others; elsewhere than on POSIX the temporary files are the user's own."""
    return os.getuid() if hasattr(os, "getuid") else 0


def _is_ours_alone(folder: Path) -> bool:
    """Return whether a folder, and no link to one, belongs to this user and nobody else may write in it."""
    try:
        facts = folder.lstat()
    except OSError:
        return False
    if not stat.S_ISDIR(facts.st_mode):
        return False
    return not hasattr(os, "getuid") or (facts.st_uid == os.getuid() and not facts.st_mode & 0o022)


@dataclass(frozen=True, slots=True)
class Cache:
    """Files that can be made again.

    Parameters
    ----------
    folder
        Where they lie; made when it is needed.
    """

    folder: Path

    @classmethod
    def of_user(cls, kind: str = "") -> Cache:
        """Return the user's own cache of one kind of thing."""
        return cls(cache_folder() / kind)

    def get(self, key: str) -> bytes | None:
        """Return what was kept under a key; None if there is nothing, or nothing whole."""
        path = self._path(key)
        try:
            digest, _, data = path.read_bytes().partition(b"\n")
        except FileNotFoundError:
            return None
        except OSError as error:
            _log.warning("%s: can't be read and is made again: %s", path, error)
            return None
        if digest != _digest(data):
            _log.warning("%s: is damaged and is made again", path)
            return None
        return data

    def keep(self, key: str, data: bytes) -> None:
        """Keep a few bytes under a key; where that isn't possible, say so in the log and go on without."""
        path = self._path(key)
        try:
            with replacing(path) as hidden:
                hidden.write_bytes(_digest(data) + b"\n" + data)
        except OSError as error:
            _log.warning("%s: can't be kept: %s", path, error)

    def let_go_beyond(self, most: int) -> None:
        """Remove what was kept first, so that no more than `most` files stay."""
        with suppress(OSError):
            dated = sorted((path.stat().st_mtime_ns, path) for path in self.folder.iterdir())
            for _, path in dated[: max(len(dated) - most, 0)]:
                path.unlink(missing_ok=True)

    def _path(self, key: str) -> Path:
        return self.folder / hashlib.sha256(key.encode(errors="surrogateescape")).hexdigest()[:24]

    def file(self, name: str, make: Callable[[], bytes]) -> Path:
        """Return a large file that lies here under its own name, made now if it is missing or damaged.

        Raises
        ------
        OSError
            It can't be kept.
        """
        path = self.folder / name
        beside = path.with_suffix(".sha256")
        if not _is_whole(_state(path), _state(beside)):
            data = make()
            for place, contents in ((path, data), (beside, _digest(data))):
                with replacing(place) as hidden:
                    hidden.write_bytes(contents)
        return path


def _digest(data: bytes) -> bytes:
    return hashlib.sha256(data).hexdigest().encode()


def _state(path: Path) -> tuple[Path, int, int]:
    """Return a file as it stands: its size and date, −1 when it isn't there."""
    try:
        facts = path.stat()
    except FileNotFoundError:
        return path, -1, -1
    return path, facts.st_size, facts.st_mtime_ns


@functools.lru_cache(maxsize=8)
def _is_whole(file: tuple[Path, int, int], beside: tuple[Path, int, int]) -> bool:
    """Return whether a file is there with the hash beside it; remembered while both stay as they are."""
    if file[1] < 0 or beside[1] < 0:
        return False
    return sha256_of(file[0]) == beside[0].read_text(encoding="ascii", errors="replace")
