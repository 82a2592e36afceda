"""Loudness tables kept in the user's cache: one small file for each string of each sound.

A file's name is a hash of the sound (`Synthesiser.identity`), the string and what this version measures. It appears
whole or not at all and holds a hash of its own contents, so one that is damaged is noticed and measured again.
"""

from __future__ import annotations

import hashlib
import json
import logging
import secrets
from contextlib import suppress
from pathlib import Path
from typing import Any

from tercet import caches
from tercet.sound.calibration import FRETS, VELOCITIES, StringLoudness

__all__ = ["cache_folder", "keep_string", "kept_string"]

VERSION = 1
"""Raised whenever other figures are measured from the same sound."""

_log = logging.getLogger(__name__)


def cache_folder() -> Path:
    """Return where loudness tables are kept."""
    return caches.cache_folder() / "loudness"


def kept_string(folder: Path, identity: str, string: int, open_midi: int) -> StringLoudness | None:
    """Return a table that was kept, or None if there is none, or none that is whole."""
    path = _path(folder, identity, string, open_midi)
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        _log.warning("%s: can't be read and is measured again: %s", path, error)
        return None
    try:
        held: dict[str, Any] = json.loads(text)
        rows = [[float(level) for level in row] for row in held["levels_lufs"]]
        clicking = int(held["clicking_frets"])
        whole = held["check"] == _check(rows, clicking) and len(rows) == FRETS
    except (ValueError, TypeError, KeyError):
        whole = False
    if not whole:
        _log.warning("%s: is damaged and is measured again", path)
        return None
    return StringLoudness(string, open_midi, tuple(map(tuple, rows)), clicking)


def keep_string(folder: Path, identity: str, table: StringLoudness) -> None:
    """Keep a table; where that isn't possible, say so in the log and go on without."""
    path = _path(folder, identity, table.string, table.open_midi)
    rows = [list(row) for row in table.levels_lufs]
    held = {
        "sound": identity,
        "levels_lufs": rows,
        "clicking_frets": table.clicking_frets,
        "check": _check(rows, table.clicking_frets),
    }
    hidden = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        hidden.write_text(json.dumps(held), encoding="utf-8")
        hidden.replace(path)
    except OSError as error:
        _log.warning("%s: the loudness of the sound can't be kept: %s", path, error)
        with suppress(OSError):
            hidden.unlink(missing_ok=True)


def _path(folder: Path, identity: str, string: int, open_midi: int) -> Path:
    what = f"{VERSION}/{identity}/{string}/{open_midi}/{FRETS}/{VELOCITIES}"
    return folder / f"{hashlib.sha256(what.encode()).hexdigest()[:24]}.json"


def _check(rows: list[list[float]], clicking: int) -> str:
    return hashlib.sha256(json.dumps([rows, clicking]).encode()).hexdigest()
