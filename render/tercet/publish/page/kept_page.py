"""The files of a page: which are written, which stay, and whether all that is asked for is there already.

What was made is noted with its hash in a ``page.json``, below the song's folder and beside the list of songs: so a page
is made again without asking also where the folder was copied, and what the user put there or changed stays.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from tercet.jobs.own_files import OwnFiles
from tercet.made_files import is_sealed, sealed

__all__ = ["FOLDER", "PageFiles"]

FOLDER = "page/"
"""Where the style, the script and the stems of a song's page lie, as seen from it."""

NOTE_FILE = "page.json"


class PageFiles:
    """The files of one page, named from its folder.

    Parameters
    ----------
    own
        The files of the class.
    folder
        The page's folder in that, empty for the list of songs.
    """

    def __init__(self, own: OwnFiles, folder: str = "") -> None:
        self._own, self._folder = own, f"{folder}/" if folder else ""
        self._note_name = f"{FOLDER}{NOTE_FILE}" if folder else NOTE_FILE
        self._note = self.read_note(self._note_name)
        self._known: dict[str, str] = self._note.get("files", {})
        self.made: dict[str, str] = {}
        """The hash of each file that is in its place, by name."""
        self.left: list[str] = []
        """A sentence for each file that stays as it is, since it isn't the page's."""

    def is_there(self, asked: str, *, verify: bool) -> bool:
        """Return whether the page was made of what is asked for, and all of its files are still there.

        Parameters
        ----------
        asked
            Stands for all that the page is made of.
        verify
            Whether their bytes must be what they were, too.
        """
        has = self.is_as_made if verify else self._has
        return self._note.get("asked") == asked and all(has(*each) for each in self._known.items())

    def is_as_made(self, name: str, sha256: str) -> bool:
        """Return whether a file is there with the bytes of this hash."""
        return (
            self._has(name)
            and hashlib.sha256(self._own.store.read(self._folder + name)).hexdigest() == sha256
        )

    def write(self, name: str, data: bytes) -> bool:
        """Write a file unless what is there must stay; return whether it was written.

        Raises
        ------
        OutputError
            It can't be written.
        """
        return self._write(name, data, self._known)

    def is_of_another(self, name: str) -> bool:
        """Return whether a file is there as another command made it, on purpose, for this page."""
        return self._own.is_of_another(self._folder + name)

    def keep(self, name: str, sha256: str) -> None:
        """Count a file that is there already, and is as it was made, as the page's."""
        self.made[name] = sha256

    def remove(self, name: str, sha256: str) -> None:
        """Remove a file that the page no longer needs, if it is as it was made."""
        if self.is_as_made(name, sha256):
            self._own.store.remove(self._folder + name)

    def remove_old(self, ending: str = "") -> None:
        """Remove files, of an ending, that the page had last time and hasn't now, if they are as they were made."""
        for name, sha256 in self._known.items():
            if name.endswith(ending) and name not in self.made:
                self.remove(name, sha256)

    def read_note(self, name: str) -> dict[str, Any]:
        """Return what was noted last time; nothing where the note isn't there, or isn't as it was written."""
        data = self._read(name)
        note: dict[str, Any] = json.loads(data) if is_sealed(data) else {}
        return note

    def write_note(self, name: str, note: Mapping[str, Any]) -> None:
        """Write a note in place of the last one, unless that was changed by somebody."""
        there = self._read(name)
        known = {name: hashlib.sha256(there).hexdigest()} if is_sealed(there) else {}
        data = json.dumps({"seal": "", **note}, sort_keys=True).encode("utf-8")
        self._write(name, sealed(data), known)

    def finish(self, asked: str = "") -> None:
        """Note what was made; a page of which something stays is never complete, so that this is said again."""
        self.write_note(self._note_name, {"asked": "" if self.left else asked, "files": dict(self.made)})

    def _has(self, name: str, _sha256: str = "") -> bool:
        return self._own.store.size(self._folder + name) is not None

    def _read(self, name: str) -> bytes:
        try:
            return self._own.store.read(self._folder + name)
        except FileNotFoundError:
            return b""

    def _write(self, name: str, data: bytes, known: Mapping[str, str]) -> bool:
        place = self._folder + name
        own = replace(self._own, known={self._folder + each: sha256 for each, sha256 in known.items()})
        if left := own.left(place):
            self.left.append(left)
            return False
        self.made[name] = own.write(data, place)
        return True
