"""Batches that were played: in memory as long as there is room, else in a folder that goes when work is done.

Of several caches in one process only the one in use has its batches in memory. Several processes may share a folder:
each batch is a file that appears whole, under a name that says what is on it.
"""

from __future__ import annotations

import weakref
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from threading import Lock
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tercet.errors import OutputError
from tercet.files import cannot_write, replacing
from tercet.memory import keep_large_sounds_apart

Sound = NDArray[np.float32]

__all__ = ["BatchCache", "Batches", "LastPlayed"]

ROOM_BYTES = 128 << 20
"""Batches kept in memory, five of them or so; others are read from the folder, which the system keeps at hand."""

MOST_OPEN = 4
"""Files that are kept open: each layer has its batch, and the next begins before the last one has died away."""


class Batches(Protocol):
    """Where a recording finds the sound of its batches, or has it kept."""

    def get(self, name: str, play: Callable[[], Sound], *, for_others: bool = True) -> Sound:
        """Return the sound of a batch, see `BatchCache.get`."""
        ...

    def forget(self, name: str) -> None:
        """Let a batch go that nothing more is made of."""
        ...


_in_use: weakref.ref[BatchCache] | None = None


class BatchCache:
    """Keeps the sound of batches by name.

    Parameters
    ----------
    folder
        Where batches go that memory has no room for; made when it is needed.
    shared
        Whether other processes use the folder too: a batch that they need goes there at once, and none plays it again.
    room_bytes
        How much is kept in memory.
    """

    def __init__(self, folder: Path, *, shared: bool = False, room_bytes: int = ROOM_BYTES) -> None:
        self._folder = folder
        self._shared = shared
        self._room_bytes = room_bytes
        self._kept: OrderedDict[str, Sound] = OrderedDict()
        self._kept_bytes = 0
        self._open: OrderedDict[str, Sound] = OrderedDict()

    def __getstate__(self) -> dict[str, object]:
        """Return what goes to another process, which finds batches in the folder."""
        return {**vars(self), "_kept": OrderedDict(), "_kept_bytes": 0, "_open": OrderedDict()}

    def get(self, name: str, play: Callable[[], Sound], *, for_others: bool = True) -> Sound:
        """Return the sound of a batch, float32 (frames, 2); played if it isn't there.

        Parameters
        ----------
        name
            Letters and digits that stand for what is on it.
        play
            Makes it.
        for_others
            Whether other processes that share the folder may need it.
        """
        self._take_over()
        if name in self._kept:
            return self._kept[name]
        opened = self._opened(name)
        if opened is not None:
            return opened
        sound = play()
        if self._shared and for_others:
            self._write(name, sound)
        self._keep(name, sound)
        return sound

    def forget(self, name: str) -> None:
        """Let a batch go that nothing more is made of, here or elsewhere."""
        sound = self._kept.pop(name, None)
        if sound is not None:
            self._kept_bytes -= sound.nbytes
        self._open.pop(name, None)
        with suppress(OSError):
            self._path(name).unlink(missing_ok=True)

    def _take_over(self) -> None:
        """Have memory for this cache alone: another one that was in use puts its batches away."""
        global _in_use  # noqa: PLW0603 - memory is the process's, not a cache's
        other = _in_use() if _in_use is not None else None
        if other is self:
            return
        keep_large_sounds_apart()
        if other is not None:
            other.put_away()
        _in_use = weakref.ref(self)

    def put_away(self) -> None:
        """Leave memory to others; what processes share is in the folder already, or one of them plays it again."""
        while self._kept:
            name, sound = self._kept.popitem()
            if not self._shared and not self._path(name).exists():
                self._write(name, sound)
        self._kept_bytes = 0
        self._open.clear()

    def _keep(self, name: str, sound: Sound) -> None:
        """Keep what was played; for lack of room the batches that were played first are put away."""
        self._kept[name] = sound
        self._kept_bytes += sound.nbytes
        while self._kept_bytes > self._room_bytes and len(self._kept) > 1:
            oldest, put_away = self._kept.popitem(last=False)
            self._kept_bytes -= put_away.nbytes
            if not self._path(oldest).exists():
                self._write(oldest, put_away)

    def _opened(self, name: str) -> Sound | None:
        """Return a batch that lies in the folder."""
        if name in self._open:
            self._open.move_to_end(name)
            return self._open[name]
        sound = self._read(name)
        if sound is not None:
            self._open[name] = sound
            if len(self._open) > MOST_OPEN:
                self._open.popitem(last=False)
        return sound

    def _path(self, name: str) -> Path:
        return self._folder / f"{name}.f32"

    def _read(self, name: str) -> Sound | None:
        """Return a batch that lies in the folder; only what is used of it is read, when it is used."""
        try:
            samples = np.memmap(self._path(name), np.float32, mode="r")
        except (FileNotFoundError, NotADirectoryError):
            return None
        return samples.view(np.ndarray).reshape(-1, 2)

    def _write(self, name: str, sound: Sound) -> None:
        path = self._path(name)
        try:
            with replacing(path) as hidden:
                sound.tofile(hidden)
        except OSError as error:
            raise OutputError(cannot_write(path, error)) from error


class LastPlayed:
    """What was played last, in memory alone, for any threads: after an edit most of a song is found there.

    Parameters
    ----------
    room_bytes
        How much is kept; what was asked for longest ago goes first.
    """

    def __init__(self, room_bytes: int) -> None:
        self._room_bytes = room_bytes
        self._kept: OrderedDict[str, Sound] = OrderedDict()
        self._lock = Lock()

    def get(self, name: str, play: Callable[[], Sound], *, for_others: bool = True) -> Sound:  # noqa: ARG002 - of `Batches`
        """Return the sound of a batch, see `BatchCache.get`."""
        with self._lock:
            if name in self._kept:
                self._kept.move_to_end(name)
                return self._kept[name]
        keep_large_sounds_apart()
        sound = play()
        with self._lock:
            self._kept[name] = sound
            while sum(each.nbytes for each in self._kept.values()) > self._room_bytes:
                self._kept.popitem(last=False)
        return sound

    def forget(self, name: str) -> None:
        """Keep it all the same: it goes when there is no more room."""
