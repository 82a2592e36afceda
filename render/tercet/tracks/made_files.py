"""Which files Tercet made itself. Those it makes again without asking; all others are the user's, and stay.

The one rule of all commands. A file counts as Tercet's while its bytes are those that Tercet wrote there: as a manifest
in its folder tells (``kit.json``, ``page.json``), or a note in the user's cache, one small file for each place. A file
that was changed since is the user's, and so is one whose note is lost with the cache. Whoever names a file by ``-o``
may replace whatever Tercet made there; a command that makes a folder of files replaces only what it made itself. A link
in such a folder is never written through. ``--replace`` lets a command replace what is the user's, except links and
folders.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.caches import cache_folder
from tercet.errors import RequestError
from tercet.files import may_replace, whole_files
from tercet.jobs import FolderStore

if TYPE_CHECKING:
    from tercet.jobs import Store

__all__ = [
    "OwnFiles",
    "check_may_make",
    "is_sealed",
    "made_files",
    "own_file",
    "sealed",
    "sha256_of",
    "write_made",
]

NOTES = "made"
NEWEST_KEPT = 4
"""Hashes that a note keeps of one place: a command that is killed may have noted what it didn't get to write."""

MOST_NOTES = 64
"""Notes in each of 256 folders, the oldest go: a few thousand files that were made last."""

FOREIGN = "Tercet didn't make it"
ANOTHER = "it was made by another command"
CHANGED = "it was changed after Tercet made it"
LINK = "it is a symbolic link, or lies behind one"

_OPEN_SEAL = b'"seal": "' + b"0" * 64 + b'"'
_SEAL = re.compile(rb'"seal": "[0-9a-f]{64}"')


def sha256_of(path: Path) -> str:
    """Return the hash of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


# ---- a single file, which the user named


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
    why = _why_it_stays(Path(os.path.realpath(path)), _noted(os.path.realpath(path)))
    if why:
        raise RequestError(
            f"{path} is there already, and stays as it is: {why}. Choose another name, or say --replace"
        )


@contextmanager
def made_files(
    paths: Sequence[Path], *, maker: str, replace: bool = False, durable: bool = False
) -> Iterator[tuple[Path, ...]]:
    """Give temporary paths for files of a command, see `whole_files`; refuse what must stay, and note what is made."""

    def settled(place: Path, target: Path) -> None:
        check_may_make(target, replace=replace)
        _note(str(target), maker, sha256_of(place))

    for path in paths:
        check_may_make(path, replace=replace)
    with whole_files(paths, durable=durable, settled=settled) as hidden:
        yield hidden


def write_made(path: Path, data: bytes, *, maker: str, replace: bool = False, durable: bool = False) -> None:
    """Write a file of a command whole or not at all; errors as for `check_may_make` and `whole_file`."""
    with made_files((path,), maker=maker, replace=replace, durable=durable) as (place,):
        place.write_bytes(data)


def own_file(path: Path, *, maker: str, replace: bool = False) -> OwnFiles:
    """Return the place of a file that the user named, which takes what becomes of `path` after long work.

    Should somebody else write there meanwhile, that stays. Errors as for `check_may_make`.
    """
    check_may_make(path, replace=replace)
    target = Path(os.path.realpath(path))
    known = {target.name: sha256_of(target)} if target.exists() else {}
    return OwnFiles(FolderStore(target.parent), maker, known, replace)


# ---- a folder of files


@dataclass(frozen=True, slots=True)
class OwnFiles:
    """The files of a command in a store: it replaces only what it made itself.

    Parameters
    ----------
    store
        Where they lie.
    maker
        The command.
    known
        By name the hash of what a manifest tells that the command made.
    replace
        Whether it may replace what is the user's, too.
    """

    store: Store
    maker: str
    known: Mapping[str, str] = field(default_factory=dict)
    replace: bool = False

    def obstacle(self, name: str) -> str:
        """Return why a file must stay as it is; empty if there is none, or it may be replaced.

        Raises
        ------
        OutputError
            The store can't be read.
        """
        made = {self.known[name]} if name in self.known else set()
        if not isinstance(self.store, FolderStore):
            return "" if self.replace or self.store.size(name) is None else self._distant(name, made)
        path = self.store.folder / name
        if any(each.is_symlink() for each in (path, *path.parents) if self.store.folder in each.parents):
            return LINK
        try:
            if not may_replace(path) or self.replace:
                return ""
        except RequestError:
            return "a folder or a device has its name"
        if self.is_of_another(name):
            return ANOTHER
        return _why_it_stays(path, made | _noted(self.store.place(name), self.maker))

    def is_of_another(self, name: str) -> bool:
        """Return whether a file is there as another command made it, and this one didn't: somebody wants it so."""
        if not isinstance(self.store, FolderStore) or not (self.store.folder / name).is_file():
            return False
        place = self.store.place(name)
        own = _noted(place, self.maker) | {self.known.get(name, "")}
        return sha256_of(self.store.folder / name) in _noted(place) - own

    def put(self, file: Path, name: str, sha256: str = "") -> None:
        """Move a finished file to its place; its hash is found if it isn't given.

        Raises
        ------
        RequestError
            What is there must stay.
        OutputError
            It can't be written.
        """
        self._check(name)
        _note(self.store.place(name), self.maker, sha256 or sha256_of(file))
        self.store.put(file, name)

    def write(self, data: bytes, name: str) -> str:
        """Put a small file into its place and return its hash; errors as for `put`."""
        self._check(name)
        found = hashlib.sha256(data).hexdigest()
        _note(self.store.place(name), self.maker, found)
        self.store.write(data, name)
        return found

    def left(self, name: str) -> str:
        """Return what to tell of a file that stays; empty if nothing keeps it."""
        why = self.obstacle(name)
        return f"{self.store.place(name)} stays as it is: {why}" if why else ""

    def _check(self, name: str) -> None:
        if left := self.left(name):
            raise RequestError(left)

    def _distant(self, name: str, made: set[str]) -> str:
        """Return why a file at an address must stay."""
        made = made | _noted(self.store.place(name), self.maker)
        if not made:
            return FOREIGN
        return "" if hashlib.sha256(self.store.read(name)).hexdigest() in made else CHANGED


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


def _why_it_stays(path: Path, made: set[str]) -> str:
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


def _noted(place: str, maker: str = "") -> set[str]:
    """Return the hashes of what was written to a place, newest first: by one command, or by any."""
    found = (line.partition(" ") for line in _lines(place))
    return {sha256 for by, _, sha256 in found if not maker or by == maker}


def _lines(place: str) -> list[str]:
    try:
        return _note_of(place).read_text(encoding="ascii").splitlines()
    except (OSError, ValueError):
        return []


def _note(place: str, maker: str, sha256: str) -> None:
    """Note what is about to be written to a place; where nothing can be noted, the file will count as the user's."""
    lines = [f"{maker} {sha256}", *_lines(place)]
    kept = list(dict.fromkeys(lines))[:NEWEST_KEPT]
    with suppress(OSError):
        note = _note_of(place)
        note.parent.mkdir(parents=True, exist_ok=True)
        hidden = note.with_name(f".{secrets.token_hex(8)}")
        try:
            hidden.write_text("\n".join(kept), encoding="ascii")
            hidden.replace(note)
        finally:
            hidden.unlink(missing_ok=True)
        _forget_oldest(note.parent)


def _forget_oldest(folder: Path) -> None:
    notes = list(folder.iterdir())
    if len(notes) > MOST_NOTES:
        notes.sort(key=lambda note: note.stat().st_mtime_ns)
        for note in notes[: len(notes) - MOST_NOTES]:
            note.unlink(missing_ok=True)
