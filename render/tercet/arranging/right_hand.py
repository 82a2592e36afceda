"""The right hand between thumb and strum: how many strums a space of the tune is worth.

Every strum in a space is worth something; going from the thumb's note to the first strum and from the last one back to
the thumb costs the more, the less time there is. So a slow song is strummed where a quick one lets the note ring.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from tercet.arranging.path import AT_EASE_S
from tercet.neck.demands import COSTS

__all__ = ["strums_worth_playing"]


def strums_worth_playing(
    beats: Sequence[Fraction], before_beat: Fraction | None, after_beat: Fraction | None, beat_s: float
) -> slice:
    """Return which strums of a space are played: the run of neighbours that costs least, the longest of equals.

    What a run costs is a sum of one part for its first strum and one for its last, so each is chosen by itself. Where
    the first would then come after the last, no run pays.

    Parameters
    ----------
    beats
        Where the space could be strummed, in order.
    before_beat, after_beat
        Where the thumb struck last and strikes next; None where it doesn't, so that nothing hurries.
    beat_s
        How long a beat lasts, in seconds.
    """
    if not beats:
        return slice(0, 0)
    worth = -COSTS["strum in a space"]

    def there(first: int) -> float:
        gap_beat = None if before_beat is None else beats[first] - before_beat
        return _change("thumb to strum", gap_beat, beat_s)

    def back(last: int) -> float:
        gap_beat = None if after_beat is None else after_beat - beats[last]
        return _change("strum to thumb", gap_beat, beat_s)

    places = range(len(beats))
    first = min(places, key=lambda place: (there(place) + worth * place, place))
    last = min(places, key=lambda place: (back(place) - worth * place, -place))
    pays = there(first) + back(last) <= worth * (last - first + 1)
    return slice(first, last + 1) if pays else slice(0, 0)


def _change(name: str, gap_beat: Fraction | None, beat_s: float) -> float:
    """Return what a change of the right hand costs: its weight at half a second, more with less time."""
    return 0.0 if gap_beat is None else COSTS[name] * AT_EASE_S / (float(gap_beat) * beat_s)
