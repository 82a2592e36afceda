"""Which files Tercet made itself. Those it makes again without asking; all others are the user's, and stay.

The one rule of all commands. A file counts as Tercet's while its bytes are those that Tercet wrote there: as a manifest
in its folder tells (``kit.json``, ``page.json``), or a note in the user's cache, one small file for each place. A file
that was changed since is the user's, and so is one whose note is lost with the cache. Whoever names a file by ``-o``
may replace whatever Tercet made there; a command that makes a folder of files replaces only what it made itself, see
`tercet.jobs.own_files`. ``--replace`` lets a command replace what is the user's, except links and
folders.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from tercet.caches import cache_folder
from tercet.errors import RequestError
from tercet.files import may_replace, replacing, sha256_of, whole_files
from tercet.wording import listed

__all__ = [
    "CHANGED",
    "FOREIGN",
    "check_ending",
    "check_may_make",
    "is_sealed",
    "made_files",
    "note_made",
    "noted",
    "sealed",
    "why_it_stays",
    "write_made",
]

NOTES = "made"
NEWEST_KEPT = 4
"""Hashes that a note keeps of one place: a command that is killed may have noted what it didn't get to write."""

MOST_NOTES = 64
"""Notes in each of 256 folders, the oldest go: a few thousand files that were made last."""

FOREIGN = "Tercet didn't make it"
CHANGED = "it was changed after Tercet made it"

_OPEN_SEAL = b'"seal": "' + b"0" * 64 + b'"'
_SEAL = re.compile(rb'"seal": "[0-9a-f]{64}"')


# ---- a single file, which the user named


def check_ending(path: Path, endings: Sequence[str], kind: str, usual: str, more: str = "") -> None:
    """Refuse a name of another ending than files of a kind have; `RequestError`.

    Parameters
    ----------
    path
        What the user named.
    endings
        Those that there are, small, with the dot.
    kind
        What the file is, in a word: ``sheet``.
    usual
        The ending of the name that is proposed.
    more
        What else may be meant, behind that.
    """
    if path.suffix.lower() in endings:
        return
    raise RequestError(
        f"{path} ends in {path.suffix or 'nothing'}: a {kind}'s name ends in {listed(endings, 'or')}, such as "
        f"{path.stem or kind}{usual}{more}",
        given=str(path),
        meant=str(path.with_suffix(usual)) if path.name else "",
    )


def check_may_make(path: Path, *, replace: bool = False) -> None:
    """Refuse a file that must stay, before any work.

    Raises
    ------
    RequestError
        A folder or a device is there, or a file that is the user's and that `replace` doesn't let go.
    OutputError
        The system doesn't let us look.
    """
    if not may_replace(path) or replace:
        return
    why = why_it_stays(Path(os.path.realpath(path)), noted(os.path.realpath(path)))
    if why:
        raise RequestError(
            f"{path} already exists and stays as it is: {why}. Choose another name, or use --replace"
        )


@contextmanager
def made_files(
    paths: Sequence[Path], *, maker: str, replace: bool = False, durable: bool = False
) -> Iterator[tuple[Path, ...]]:
    """Give temporary paths for files of a command, see `whole_files`; refuse what must stay, and note what is made."""

    def settled(place: Path, target: Path) -> None:
        check_may_make(target, replace=replace)
        note_made(str(target), maker, sha256_of(place))

    for path in paths:
        check_may_make(path, replace=replace)
    with whole_files(paths, durable=durable, settled=settled) as hidden:
        yield hidden


def write_made(path: Path, data: bytes, *, maker: str, replace: bool = False, durable: bool = False) -> None:
    """Write a file of a command whole or not at all; errors as for `check_may_make` and `whole_file`."""
    with made_files((path,), maker=maker, replace=replace, durable=durable) as (place,):
        place.write_bytes(data)


# ---- what a manifest says of itself


def sealed(manifest: bytes) -> bytes:
    """Return a manifest, JSON with a field ``seal`` that is empty so far, with a hash of all else in it."""
    blank = manifest.replace(b'"seal": ""', _OPEN_SEAL, 1)
    return blank.replace(_OPEN_SEAL, b'"seal": "' + hashlib.sha256(blank).hexdigest().encode() + b'"', 1)


def is_sealed(manifest: bytes) -> bool:
    """Return whether a manifest is as `sealed` returned it, unchanged by anybody since."""
    found = _SEAL.search(manifest)
    return found is not None and sealed(_SEAL.sub(b'"seal": ""', manifest, count=1)) == manifest


# ---- notes


def why_it_stays(path: Path, made: set[str]) -> str:
    """Return why a file that is there must stay; `made` holds the hashes of what Tercet wrote there."""
    if not made:
        return FOREIGN
    try:
        return "" if sha256_of(path) in made else CHANGED
    except OSError:
        return CHANGED


def _note_of(place: str) -> Path:
    """Return the file that holds what is noted of a place."""
    name = hashlib.sha256(os.path.normcase(place).encode(errors="surrogateescape")).hexdigest()
    return cache_folder() / NOTES / name[:2] / name[2:26]


def noted(place: str, maker: str = "") -> set[str]:
    """Return the hashes of what was written to a place, newest first: by one command, or by any."""
    found = (line.partition(" ") for line in _lines(place))
    return {sha256 for by, _, sha256 in found if not maker or by == maker}


def _lines(place: str) -> list[str]:
    try:
        return _note_of(place).read_text(encoding="ascii").splitlines()
    except (OSError, ValueError):
        return []


def note_made(place: str, maker: str, sha256: str) -> None:
    """Note what is about to be written to a place; where nothing can be noted, the file will count as the user's."""
    lines = [f"{maker} {sha256}", *_lines(place)]
    kept = list(dict.fromkeys(lines))[:NEWEST_KEPT]
    with suppress(OSError):
        note = _note_of(place)
        with replacing(note) as hidden:
            hidden.write_text("\n".join(kept), encoding="ascii")
        _forget_oldest(note.parent)


def _forget_oldest(folder: Path) -> None:
    notes = list(folder.iterdir())
    if len(notes) > MOST_NOTES:
        notes.sort(key=lambda note: note.stat().st_mtime_ns)
        for note in notes[: len(notes) - MOST_NOTES]:
            note.unlink(missing_ok=True)
