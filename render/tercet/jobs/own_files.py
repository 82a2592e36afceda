"""Which files of a store a command may write: those it made itself, see `tercet.made_files`.

A command that makes a folder of files replaces only what it made itself. A link in such a folder is never written
through.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tercet.errors import RequestError
from tercet.files import may_replace, sha256_of
from tercet.jobs.store import FolderStore, Store
from tercet.made_files import CHANGED, FOREIGN, check_may_make, note_made, noted, why_it_stays

__all__ = ["OwnFiles", "own_file"]

ANOTHER = "it was made by another command"
LINK = "it is a symbolic link, or lies behind one"


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
        return why_it_stays(path, made | noted(self.store.place(name), self.maker))

    def is_of_another(self, name: str) -> bool:
        """Return whether a file is there as another command made it, and this one didn't: somebody wants it so."""
        if not isinstance(self.store, FolderStore) or not (self.store.folder / name).is_file():
            return False
        place = self.store.place(name)
        own = noted(place, self.maker) | {self.known.get(name, "")}
        return sha256_of(self.store.folder / name) in noted(place) - own

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
        note_made(self.store.place(name), self.maker, sha256 or sha256_of(file))
        self.store.put(file, name)

    def write(self, data: bytes, name: str) -> str:
        """Put a small file into its place and return its hash; errors as for `put`."""
        self._check(name)
        found = hashlib.sha256(data).hexdigest()
        note_made(self.store.place(name), self.maker, found)
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
        made = made | noted(self.store.place(name), self.maker)
        if not made:
            return FOREIGN
        return "" if hashlib.sha256(self.store.read(name)).hexdigest() in made else CHANGED


def own_file(path: Path, *, maker: str, replace: bool = False) -> OwnFiles:
    """Return the place of a file that the user named, which takes what becomes of `path` after long work.

    Should somebody else write there meanwhile, that stays. Errors as for `check_may_make`.
    """
    check_may_make(path, replace=replace)
    target = Path(os.path.realpath(path))
    known = {target.name: sha256_of(target)} if target.exists() else {}
    return OwnFiles(FolderStore(target.parent), maker, known, replace)
