"""The boundary to whatever makes sound: three methods, so that tests can put a fake behind it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol

from tercet.song import LAYERS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from tercet.performing import Take

__all__ = ["SAMPLE_RATE_HZ", "STEM_NAMES", "StemName", "Stems", "Synthesiser"]

SAMPLE_RATE_HZ = 48_000
"""One sample rate everywhere: every format that Tercet writes takes it, Opus nothing else."""

StemName = Literal["melody", "between", "strums", "cues"]
STEM_NAMES: tuple[StemName, ...] = (*LAYERS, "cues")
"""The three layers, and the count-in with other cues."""


@dataclass(frozen=True, slots=True)
class Stems:
    """The audio of each layer of one take, before any gain.

    Parameters
    ----------
    sample_rate_hz
        Frames a second.
    by_name
        For each stem that was asked for a float32 array (frames, 2); all have the same length.
    """

    sample_rate_hz: int
    by_name: dict[StemName, NDArray[np.float32]]

    @property
    def length_frames(self) -> int:
        """Frames in each stem."""
        return int(next(iter(self.by_name.values())).shape[0])


class Synthesiser(Protocol):
    """Makes stems of a take: what it is, which keys it has, and their sound."""

    def identity(self) -> str:
        """Return a text that changes whenever the sound would: adapter, library, font, preset."""
        ...

    def keys(self) -> frozenset[int] | None:
        """Return the MIDI keys that sound at any velocity; None for all of them."""
        ...

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        """Return stems of a take, from a fresh synthesiser state.

        The same take and names give the same samples.

        Parameters
        ----------
        take
            What is played.
        names
            The stems that are wanted.
        """
        ...
