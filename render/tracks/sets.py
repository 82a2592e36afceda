"""Several sets of one song, for a mixed class: all get the same gain, so that they can be played together."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence

from render.perform import Timeline
from render.sound import Stems
from render.tracks.kit import Playing, room_db

__all__ = ["play_each"]

Gains = Mapping[float, float]
"""The gain in dB for each ceiling in dBTP."""


def play_each(
    playings: Sequence[Playing],
    timeline: Timeline,
    ceilings_dbtp: Collection[float],
    write: Callable[[int, Stems, Gains], None],
) -> None:
    """Play each set of a song over one timeline, with the gain that all share.

    That is the gain of the first set's demo at full speed, or less: no set's demo passes a ceiling, and no choice of
    layers of any set passes full scale. It isn't known before every set was heard, and only one set's stems are held at
    a time: so the others are heard before the first is written, and synthesised once more when it is their turn.

    Parameters
    ----------
    playings
        The sets, all with the same bars. One alone gets its own gain.
    timeline
        What is played.
    ceilings_dbtp
        Those of the formats to be written, see `render.tracks.encoding.FORMATS`.
    write
        Called for each set in order, with its index, its stems, and the gain for each ceiling.
    """
    first, *others = playings
    loudest_dbtp, least_room_db = -math.inf, math.inf
    for other in others:
        loudest_dbtp = max(loudest_dbtp, other.demo_peak_dbtp)
        least_room_db = min(least_room_db, room_db(other.stems(timeline)))
        other.let_go()

    def write_first() -> Gains:
        stems = first.stems(timeline)
        gains_db = {
            ceiling: min(first.gain_db(ceiling, stems), ceiling - loudest_dbtp, least_room_db)
            for ceiling in ceilings_dbtp
        }
        write(0, stems, gains_db)
        return gains_db

    shared_db = write_first()
    first.let_go()
    for index, other in enumerate(others, 1):
        write(index, other.stems(timeline), shared_db)
        other.let_go()
