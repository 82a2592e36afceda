"""Where Tercet keeps what it can make again: the user's cache; among the temporary files where there is none.

A user in a container may have no home, a school's computer a home that can only be read. Then the cache lies among the
temporary files, and that is said once; the processes that carry out jobs find it by the same variable.
"""

from __future__ import annotations

import logging
import os
import stat
import tempfile
from contextlib import suppress
from pathlib import Path

__all__ = ["VARIABLE", "cache_folder", "data_folder", "home_folder", "temporary_cache", "user_number"]

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
        "nothing can be kept for the next time (%s), so it is in %s; %s names another folder",
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
