"""The folder of songs: read, saved as one types, and every version of the last hours kept.

A song is saved over its own file only where that still holds what the writer saw last: a file that was changed
elsewhere, in another window or another program, is never written over. What a file held before lies in a hidden folder
beside the songs, ``.history/SONG.yaml/DATE.yaml``, the newest twenty of each song, at most one a minute. There too lies
the draft of a writer whose file was changed elsewhere, until one of the two is chosen.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import re
import threading
import time
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from tercet.errors import OutsideError, RequestError
from tercet.files import may_replace, write_bytes
from tercet.missing_files import SONG_ENDINGS
from tercet.printable import UNPRINTABLE
from tercet.song.setting_edit import settings_of_text

__all__ = ["ChangedElsewhereError", "MadeThing", "SongFile", "SongText", "SongsFolder", "Version"]

HISTORY = ".history"
MADE = "made"
"""Where what is made for the class lies."""

VERSIONS_KEPT = 20
VERSION_EVERY_S = 60.0

LARGEST_TEXT_BYTES = 256 * 1024
"""Four times what a song may have: a writer must be able to save what is still too long."""

MOST_SONGS = 2000
DEEPEST_FOLDER = 3

HEAD_SIGNS = 4096
"""Of a file, in which its title stands."""

SHOWN = (".html", ".pdf", ".png", ".svg")
"""What a made file ends in that somebody opens; a page's other files lie beside them."""

NOT_SHOWN = (".json",)
"""What tells of recordings, and is none."""

LONGEST_NAME = 120
LONGEST_STEM = 60

_DRAFT = "draft.yaml"
_DATE = "%Y-%m-%dT%H-%M-%S-%fZ"
_DATED = re.compile(r"\d{4}-\d\d-\d\dT\d\d-\d\d-\d\d-\d{6}Z")
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_NEVER_IN_NAMES = re.compile(r'[\\:*?"<>|]')
_DEVICES = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{kind}{number}" for kind in ("com", "lpt") for number in range(1, 10)),
}


class ChangedElsewhereError(RequestError):
    """A song's file holds something else than its writer saw last; nothing was written.

    Parameters
    ----------
    there
        What the file holds now; None if it has gone.
    """

    def __init__(self, name: str, there: SongText | None) -> None:
        what = "was changed elsewhere" if there is not None else "isn't there any more"
        super().__init__(f"{name} {what}, so nothing was written over it")
        self.there = there


@dataclass(frozen=True, slots=True)
class SongFile:
    """A song: its `name`, a path below the folder with ``/``, when it was changed, in s since 1970, and its title."""

    name: str
    changed_s: float
    title: str


@dataclass(frozen=True, slots=True)
class SongText:
    r"""What a song's file holds.

    Parameters
    ----------
    name
        Path below the folder, with ``/``.
    text
        With line ends of one kind, ``\n``.
    version
        Hash of the file's bytes: what a writer saw last.
    """

    name: str
    text: str
    version: str


@dataclass(frozen=True, slots=True)
class Version:
    """An older version: its `key`, and the second since 1970 at which it gave way to the next."""

    key: str
    kept_s: float


@dataclass(frozen=True, slots=True)
class MadeThing:
    """Something that was made: its path below the made things, the folder of its kind, its name without an ending."""

    path: str
    kind: str
    name: str


class SongsFolder:
    """The songs below one folder; safe for several threads of one process.

    Parameters
    ----------
    folder
        Made if it is missing.
    clock_s
        Tells the seconds since 1970.
    """

    def __init__(self, folder: Path, clock_s: Callable[[], float] = time.time) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder.resolve()
        self.made_folder = self.folder / MADE
        self._clock_s = clock_s
        self._lock = threading.Lock()

    # ---- what is there

    def songs(self) -> tuple[SongFile, ...]:
        """Return the songs, those changed last first; hidden files and those that links lead out to are left out."""
        found = [SongFile(name, path.stat().st_mtime, _title_in(path)) for name, path in self._walk()]
        return tuple(sorted(found, key=lambda song: (-song.changed_s, song.name)))

    def _walk(self) -> Iterator[tuple[str, Path]]:
        count = 0
        for folder, inner, files in os.walk(self.folder):
            depth = len(Path(folder).relative_to(self.folder).parts)
            inner[:] = sorted(
                each for each in inner if not each.startswith(".") and depth < DEEPEST_FOLDER - 1
            )
            if not depth and MADE in inner:
                inner.remove(MADE)
            for file in sorted(files):
                name = (Path(folder) / file).relative_to(self.folder).as_posix()
                with suppress(RequestError, OSError):
                    yield name, self.existing(name)
                    count += 1
            if count >= MOST_SONGS:
                return

    def path_of(self, name: str) -> Path:
        """Return the path of a song, whether it is there or not.

        Raises
        ------
        RequestError
            The name isn't one of a song in this folder: it leads out of it, is hidden, or has another ending.
        """
        parts = name.split("/")
        if len(name) > LONGEST_NAME or len(parts) > DEEPEST_FOLDER or not all(map(_may_be_called, parts)):
            raise RequestError(
                f"{name[:LONGEST_NAME]!r} can't be the name of a song here: use letters, figures and -"
            )
        if Path(name).suffix.lower() not in SONG_ENDINGS:
            raise RequestError(
                f"{name}: a song's file name ends in .yaml, such as {Path(name).stem or 'song'}.yaml"
            )
        path = Path(os.path.realpath(self.folder / name))
        if not path.is_relative_to(self.folder) or HISTORY in path.relative_to(self.folder).parts:
            raise RequestError(f"{name} leads out of the folder of songs")
        return path

    def existing(self, name: str) -> Path:
        """Return the path of a song that is there; errors as `path_of`."""
        path = self.path_of(name)
        if not path.is_file():
            raise RequestError(f"there is no song {name} here")
        return path

    def free_name(self, title: str) -> str:
        """Return a name for a new song, made of its title, that no file has yet."""
        plain = unicodedata.normalize("NFC", title)
        stem = re.sub(r"[^\w]+", "-", plain).strip("-_").lower()[:LONGEST_STEM].rstrip("-_") or "song"
        if not _may_be_called(stem):
            stem = f"song-{stem}"
        taken = {song.name.casefold() for song in self.songs()}
        names = (f"{stem}{'' if number == 1 else f'-{number}'}.yaml" for number in itertools.count(1))
        return next(
            name for name in names if name.casefold() not in taken and not self.path_of(name).exists()
        )

    # ---- reading and saving

    def read(self, name: str) -> SongText:
        """Return what a song's file holds, with mistakes and all.

        Raises
        ------
        RequestError
            There is no such song, or the file isn't text as songs are saved.
        """
        return _text_of(name, _bytes_of(self.existing(name)))

    def version(self, name: str) -> str | None:
        """Return the hash of what a song's file holds now; None where there is none that can be read."""
        try:
            return _hash_of(_bytes_of(self.existing(name)))
        except (RequestError, OutsideError):
            return None

    def save(self, name: str, text: str, seen: str | None) -> SongText:
        """Write a song over its own file, if that still holds what the writer saw.

        Parameters
        ----------
        name
            Path below the folder.
        text
            All of it.
        seen
            The version that the writer saw last; None for a new song.

        Returns
        -------
        SongText
            What the file holds now.

        Raises
        ------
        ChangedElsewhereError
            It holds something else, or is there already; nothing is written.
        RequestError
            The name can't be a song's, or the text is too large.
        OutputError
            The system refuses to write; the file is as it was.
        """
        _check_length(text)
        text = _plain_ends(text)
        with self._lock:
            path = self.path_of(name)
            before = _bytes_of(path) if may_replace(path) else None
            if (None if before is None else _hash_of(before)) != seen:
                raise ChangedElsewhereError(name, None if before is None else _text_of(name, before))
            data = _as_saved(text, before or b"")
            if data != before:
                if before:
                    self._keep(path, before)
                write_bytes(path, data, durable=True)
            return SongText(name, text, _hash_of(data))

    # ---- versions

    def history(self, name: str) -> tuple[Version, ...]:
        """Return the older versions of a song, the newest first."""
        folder = self._history_of(self.path_of(name))
        keys = sorted(
            (each.stem for each in folder.glob("*.yaml") if _DATED.fullmatch(each.stem)), reverse=True
        )
        return tuple(
            Version(key, datetime.strptime(key, _DATE).replace(tzinfo=UTC).timestamp()) for key in keys
        )

    def read_version(self, name: str, key: str) -> str:
        """Return the text of an older version.

        Raises
        ------
        RequestError
            There is no such version.
        """
        if not _DATED.fullmatch(key):
            raise RequestError(f"there is no version {key[:40]!r}")
        path = self._history_of(self.path_of(name)) / f"{key}.yaml"
        if not path.is_file():
            raise RequestError(f"there is no version {key} of {name} any more")
        return _text_of(name, _bytes_of(path)).text

    def keep(self, name: str, text: str | None = None) -> None:
        """Keep a version, however young the last one is: of what a song's file holds, or of another text."""
        with self._lock:
            path = self.path_of(name)
            if text is not None:
                self._keep(path, text.encode(errors="replace"), at_once=True)
            elif path.is_file():
                self._keep(path, _bytes_of(path), at_once=True)

    # ---- what was made

    def made(self) -> tuple[MadeThing, ...]:
        """Return what was made and can be opened, kind by kind: pages, pictures, folders of recordings."""
        found = []
        for kind in sorted(each for each in _inside(self.made_folder) if each.is_dir()):
            for each in _inside(kind):
                shown = each / "index.html" if (each / "index.html").is_file() else each
                if shown.suffix.lower() in SHOWN or any(
                    file.suffix not in NOT_SHOWN for file in _inside(shown)
                ):
                    path = shown.relative_to(self.made_folder).as_posix()
                    found.append(MadeThing(path, kind.name, each.stem))
        return tuple(found[:MOST_SONGS])

    def made_path(self, path: str) -> Path:
        """Return the path of something that was made; of the folder of it all where `path` is empty.

        Raises
        ------
        RequestError
            Nothing of that name was made here.
        """
        self.made_folder.mkdir(exist_ok=True)
        found = Path(os.path.realpath(self.made_folder / path)) if "\0" not in path else self.folder
        if not found.is_relative_to(self.made_folder) or not found.exists():
            raise RequestError("that isn't there any more")
        return found

    # ---- drafts

    def draft(self, name: str) -> str | None:
        """Return what was written and couldn't be saved, because the file was changed elsewhere; None without that."""
        path = self._history_of(self.path_of(name)) / _DRAFT
        return _text_of(name, _bytes_of(path)).text if path.is_file() else None

    def keep_draft(self, name: str, text: str | None) -> None:
        """Keep what can't be saved for now; without a text, let go of it."""
        if text is not None:
            _check_length(text)
        path = self._history_of(self.path_of(name)) / _DRAFT
        with self._lock:
            if text is None:
                path.unlink(missing_ok=True)
            else:
                write_bytes(path, text.encode(errors="replace"), durable=True)

    def _history_of(self, path: Path) -> Path:
        return self.folder / HISTORY / path.relative_to(self.folder)

    def _keep(self, path: Path, data: bytes, *, at_once: bool = False) -> None:
        folder, now_s = self._history_of(path), self._clock_s()
        kept = sorted((each for each in folder.glob("*.yaml") if _DATED.fullmatch(each.stem)), reverse=True)
        if kept:
            last_s = datetime.strptime(kept[0].stem, _DATE).replace(tzinfo=UTC).timestamp()
            if kept[0].read_bytes() == data or (not at_once and 0 <= now_s - last_s < VERSION_EVERY_S):
                return
        key = datetime.fromtimestamp(now_s, UTC).strftime(_DATE)
        write_bytes(folder / f"{key}.yaml", data, durable=True)
        for old in kept[VERSIONS_KEPT - 1 :]:
            old.unlink(missing_ok=True)


def _inside(folder: Path) -> list[Path]:
    """Return what a folder holds that isn't hidden, by name; nothing if it isn't there."""
    try:
        return sorted(each for each in folder.iterdir() if not each.name.startswith("."))
    except OSError:
        return []


def _title_in(path: Path) -> str:
    """Return what a song calls itself; its file's name where it doesn't, or can't be read."""
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            head = file.read(HEAD_SIGNS)
    except OSError:
        return path.stem
    return settings_of_text(head).get("title") or path.stem


def _may_be_called(part: str) -> bool:
    """Return whether a file or folder may have a name on every system, and isn't hidden."""
    plain = bool(part) and not part.startswith((".", " ")) and not part.endswith((".", " "))
    odd = UNPRINTABLE.search(part) or _NEVER_IN_NAMES.search(part) or "\t" in part or "\n" in part
    return plain and not odd and part.split(".", maxsplit=1)[0].lower() not in _DEVICES


def _check_length(text: str) -> None:
    if len(text.encode(errors="replace")) > LARGEST_TEXT_BYTES:
        raise RequestError(f"a song is much smaller than this: at most {LARGEST_TEXT_BYTES // 1024} kB")


def _bytes_of(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_TEXT_BYTES + 1)
    except OSError as error:
        raise RequestError(f"{path.name} can't be read: {error.strerror or error}") from error
    if len(data) > LARGEST_TEXT_BYTES:
        raise RequestError(f"{path.name} is larger than any song: at most {LARGEST_TEXT_BYTES // 1024} kB")
    return data


def _hash_of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:32]


def _text_of(name: str, data: bytes) -> SongText:
    try:
        text = data.removeprefix(_BYTE_ORDER_MARK).decode()
    except UnicodeDecodeError:
        raise RequestError(
            f"{name} isn't saved as UTF-8, so it can't be opened: save it as UTF-8 in the program that wrote it"
        ) from None
    return SongText(name, _plain_ends(text), _hash_of(data))


def _plain_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _as_saved(text: str, before: bytes) -> bytes:
    """Return the bytes of a text with the line ends, and the byte order mark, that the file has."""
    if b"\r\n" in before:
        text = text.replace("\n", "\r\n")
    data = text.encode(errors="replace")
    return _BYTE_ORDER_MARK + data if before.startswith(_BYTE_ORDER_MARK) else data
