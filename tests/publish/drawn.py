"""Small takes and their pictures."""

from __future__ import annotations

from collections.abc import Sequence

from tercet.arranging import Arrangement
from tercet.performing import Take, lay_out, perform
from tercet.publish import svg_text
from tercet.publish.pictures import take_picture
from tests.performing.golden import four_bars
from tests.performing.pieces import Visit, added, piece, strum, tune

__all__ = ["drawn", "four_bars", "taken", "three_layers"]


def taken(made: Arrangement, bars: Sequence[int] | None = None) -> Take:
    return perform(made, lay_out(made, bars, count_in_bars=0))


def drawn(made: Arrangement, bars: Sequence[int] | None = None) -> str:
    return svg_text(take_picture(taken(made, bars), made))


def three_layers(title: str = "Three layers", marks: dict[int, str] | None = None) -> Arrangement:
    """Return four bars: a rolled tune, single notes that were added, strums; words under the tune."""
    strokes = [
        stroke
        for bar in range(4)
        for stroke in (tune(4 * bar, 2, "4321"), added(4 * bar + 2, 1, "1"), strum(4 * bar + 3, 1))
    ]
    return piece(
        *strokes,
        visits=(Visit("verse", 1, 2), Visit("verse", 2, 1), Visit("end", 1, 1)),
        marks=marks or {1: "f@1 between:mp@1 strums:p@1"},
        words={1: ((0, "Lan-"),), 2: ((0, "terns"),), 3: ((0, "<&>"),), 4: ((0, "_"),)},
        title=title,
    )
