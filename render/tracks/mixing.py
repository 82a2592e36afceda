"""From stems to tracks: one gain for all tracks of a song, layers summed block by block."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from render.song import LAYERS, Layer
from render.sound import Stems

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["BLOCK_FRAMES", "highest_peak", "mix_blocks", "mix_layers"]

BLOCK_FRAMES = 65_536
"""Frames mixed at a time: small enough for the processor's cache, and for Ogg in one write."""


def mix_layers(stems: Stems, layers: Sequence[Layer] = LAYERS) -> NDArray[np.float32]:
    """Return the sum of some layers, float32 (frames, 2), without gain and without cues."""
    import numpy as np

    total = np.zeros((stems.length_frames, 2), dtype=np.float32)
    for layer in layers:
        total += stems.by_name[layer]
    return total


def mix_blocks(stems: Stems, layers: Sequence[Layer], gain_db: float) -> Iterator[NDArray[np.float32]]:
    """Yield a track block by block: its layers under the song's gain, and the cues at their own level.

    Parameters
    ----------
    stems
        The audio of each layer and of the cues.
    layers
        What is heard.
    gain_db
        The song's gain, from its demo.

    Yields
    ------
    float32 (frames, 2), at most `BLOCK_FRAMES` frames each.
    """
    import numpy as np

    gain = np.float32(10.0 ** (gain_db / 20.0))
    for start in range(0, stems.length_frames, BLOCK_FRAMES):
        stop = start + BLOCK_FRAMES
        block = stems.by_name["cues"][start:stop].copy()
        for layer in layers:
            block += gain * stems.by_name[layer][start:stop]
        yield block


def highest_peak(stems: Stems) -> float:
    """Return the largest sample of any choice of layers, full scale being 1.

    A track with a layer left out can peak higher than the demo, where two layers would have cancelled.
    """
    highest = 0.0
    for start in range(0, stems.length_frames, BLOCK_FRAMES):
        melody, between, strums = (stems.by_name[layer][start : start + BLOCK_FRAMES] for layer in LAYERS)
        pair = between + strums
        for mix in (melody, between, strums, pair, melody + between, melody + strums, melody + pair):
            highest = max(highest, float(mix.max()), -float(mix.min()))
    return highest
