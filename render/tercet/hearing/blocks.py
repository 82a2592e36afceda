"""Filtering and changing the rate of long sounds by Fourier transforms of overlapping blocks, in numpy alone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

__all__ = ["band_passed", "resampled"]

BLOCK_S, EDGE_S = 4, 0.5
"""Blocks are four whole seconds, so that any two rates have whole frames in them; half a second at each side is thrown
away, where the block's ends meet."""

BLOCKS_AT_ONCE = 1

Gain = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def resampled(samples: NDArray[np.float32], from_hz: int, to_hz: int) -> NDArray[np.float32]:
    """Return a sound (frames,) at another rate; what the lower of both has no room for is left out."""
    if from_hz == to_hz:
        return samples
    edge_hz = 0.5 * min(from_hz, to_hz)
    return _in_blocks(
        samples, from_hz, to_hz, lambda hz: np.clip((edge_hz - hz) / (0.04 * edge_hz), 0.0, 1.0)
    )


def band_passed(
    samples: NDArray[np.float32], rate_hz: int, low_hz: float, high_hz: float
) -> NDArray[np.float32]:
    """Return what of a sound (frames,) lies in a band, with edges a sixth of an octave wide and no delay."""
    slope = 6.0

    def gain(hz: NDArray[np.float64]) -> NDArray[np.float64]:
        octaves = np.log2(np.maximum(hz, 1.0))
        rise = np.clip(0.5 + slope * (octaves - np.log2(low_hz)), 0.0, 1.0)
        return np.asarray(rise * np.clip(0.5 + slope * (np.log2(high_hz) - octaves), 0.0, 1.0))

    return _in_blocks(samples, rate_hz, rate_hz, gain)


def _in_blocks(samples: NDArray[np.float32], from_hz: int, to_hz: int, gain: Gain) -> NDArray[np.float32]:
    size, new_size = BLOCK_S * from_hz, BLOCK_S * to_hz
    edge, new_edge = int(EDGE_S * from_hz), int(EDGE_S * to_hz)
    hop_s = BLOCK_S - 2.0 * EDGE_S
    hop, new_hop = round(hop_s * from_hz), round(hop_s * to_hz)
    count = max(-(-len(samples) // hop), 1)
    padded = np.pad(samples, (edge, count * hop + size - len(samples)))
    bins = min(size, new_size) // 2 + 1
    weights = (gain(np.arange(bins) / BLOCK_S) * (new_size / size)).astype(np.float32)
    made = np.empty(count * new_hop, np.float32)
    for first in range(0, count, BLOCKS_AT_ONCE):
        some = range(first, min(first + BLOCKS_AT_ONCE, count))
        blocks = np.stack([padded[n * hop : n * hop + size] for n in some])
        turned = np.fft.irfft(np.fft.rfft(blocks, axis=1)[:, :bins] * weights, new_size, axis=1)
        kept = turned[:, new_edge : new_edge + new_hop].astype(np.float32)
        made[some.start * new_hop : some.stop * new_hop] = kept.reshape(-1)
    return made[: round(len(samples) * to_hz / from_hz)]
