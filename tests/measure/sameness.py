"""Whether two folders hold the same files."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

__all__ = ["differing_files"]


def differing_files(one: Path, other: Path) -> tuple[str, ...]:
    """Return the names of files that are missing in one of two folders or differ there by a single byte."""
    ours, theirs = _fingerprints(one), _fingerprints(other)
    return tuple(sorted(name for name in ours.keys() | theirs.keys() if ours.get(name) != theirs.get(name)))


def _fingerprints(folder: Path) -> dict[str, str]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): sha256(path.read_bytes()).hexdigest() for path in files}
