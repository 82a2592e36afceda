"""Tapes that were played: in memory as long as there is room, else in a folder that goes when work is done.

Several processes may share a folder: each tape is a file that appears whole, under a name that says what is on it.
"""

from __future__ import annotations

import os
from collections import OrderedDict
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from render.errors import OutputError
from render.song import LAYERS
from render.tracks.files import cannot_write

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from render.song import Layer

__all__ = ["Layers", "TapeShelf"]

Layers = "Mapping[Layer, NDArray[np.float32]]"

ROOM_BYTES = 96 << 20
"""Tapes kept in memory, three of them or so; others are read from the folder, which the system keeps at hand."""


class TapeShelf:
    """Keeps the sound of tapes by name.

    Parameters
    ----------
    folder
        Where tapes go that memory has no room for, and all tapes if `shared`; made when it is needed.
    shared
        Whether other processes use the folder too: then what one has played, none plays again.
    room_bytes
        How much is kept in memory.
    """

    def __init__(self, folder: Path, *, shared: bool = False, room_bytes: int = ROOM_BYTES) -> None:
        self._folder = folder
        self._shared = shared
        self._room_bytes = room_bytes
        self._kept: OrderedDict[str, Mapping[Layer, NDArray[np.float32]]] = OrderedDict()
        self._kept_bytes = 0

    def __getstate__(self) -> dict[str, object]:
        """Return what goes to another process, which finds tapes in the folder."""
        return {**vars(self), "_kept": OrderedDict(), "_kept_bytes": 0}

    def get(
        self, name: str, play: Callable[[], Mapping[Layer, NDArray[np.float32]]]
    ) -> Mapping[Layer, NDArray[np.float32]]:
        """Return the layers of a tape, float32 (frames, 2) each; played if they aren't there.

        Parameters
        ----------
        name
            Letters and digits that stand for what is on it.
        play
            Makes it.
        """
        if name in self._kept:
            self._kept.move_to_end(name)
            return self._kept[name]
        layers = self._read(name)
        if layers is None:
            layers = play()
            if self._shared:
                self._write(name, layers)
        self._keep(name, layers)
        return layers

    def forget(self, name: str) -> None:
        """Let a tape go that isn't needed any more; those that others may need stay in the folder."""
        layers = self._kept.pop(name, None)
        if layers is not None:
            self._kept_bytes -= _bytes(layers)
        if not self._shared:
            with suppress(OSError):
                self._path(name).unlink(missing_ok=True)

    def has(self, name: str) -> bool:
        """Return whether a tape needn't be played."""
        return name in self._kept or self._path(name).exists()

    def _keep(self, name: str, layers: Mapping[Layer, NDArray[np.float32]]) -> None:
        self._kept[name] = layers
        self._kept_bytes += _bytes(layers)
        while self._kept_bytes > self._room_bytes and len(self._kept) > 1:
            oldest, put_away = self._kept.popitem(last=False)
            self._kept_bytes -= _bytes(put_away)
            if not self._path(oldest).exists():
                self._write(oldest, put_away)

    def _path(self, name: str) -> Path:
        return self._folder / f"{name}.f32"

    def _read(self, name: str) -> Mapping[Layer, NDArray[np.float32]] | None:
        """Return a tape that lies in the folder; only what is used of it is read, when it is used."""
        import numpy as np

        try:
            samples = np.memmap(self._path(name), np.float32, mode="r")
        except FileNotFoundError:
            return None
        return dict(zip(LAYERS, samples.view(np.ndarray).reshape(len(LAYERS), -1, 2), strict=True))

    def _write(self, name: str, layers: Mapping[Layer, NDArray[np.float32]]) -> None:
        path = self._path(name)
        hidden = path.with_suffix(f".{os.getpid()}")
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            with hidden.open("wb") as file:
                for layer in LAYERS:
                    layers[layer].tofile(file)
            hidden.replace(path)
        except OSError as error:
            with suppress(OSError):
                hidden.unlink(missing_ok=True)
            raise OutputError(cannot_write(path, error)) from error


def _bytes(layers: Mapping[Layer, NDArray[np.float32]]) -> int:
    return sum(layer.nbytes for layer in layers.values())
