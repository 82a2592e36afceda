"""Looks: what a layer is drawn with, and how a level becomes size and ink.

Loud is near: large and heavy. Soft is far: small and light. A layer is known by its shape and line first, by its
colour second, so that a copy in grey still tells them apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from tercet.song import Layer

__all__ = [
    "FAINT",
    "LOOKS",
    "PAPER",
    "SHADOW",
    "TEXT",
    "TEXT_SOFT",
    "LayerLook",
    "ink_of",
    "places",
    "radius_of",
    "toned",
]

PAPER = "#fbf7ee"
TEXT = "#2b2622"
TEXT_SOFT = "#6f665c"
FAINT = "#ddd4c3"
"""Of bar lines and strings."""

SHADOW = "#d8cdb9"
"""Beneath marks that are near."""

RADIUS_MF = 13.0
"""Half the size of a mark at mf, in drawing units."""

DOUBLED_DB = 6.0206
"""Of the same source twice as near, the level is 20 · log10 2 dB higher (inverse distance law, out of doors) and the
eye's image twice as wide (perspective): so marks show how near a note seems to stand."""

SMALLEST, LARGEST = 1.2, 26.0
"""Range of half a mark's size."""

HEAVY_DB, LIGHT_DB = 4.0, -24.0
"""From here up a mark has its layer's full ink; from here down the lightest."""

LIGHTEST = 0.3
"""Ink of the softest: a farther mark would be lost on the paper."""


@dataclass(frozen=True, slots=True)
class LayerLook:
    """What a layer is drawn with.

    Parameters
    ----------
    colour
        At full ink.
    head
        Shape of a note's mark.
    dash
        Lengths of its line drawn and left out, as multiples of the line's width; empty for a solid line.
    means
        What the layer is, for someone who has never heard of it.
    """

    colour: str
    head: Literal["disc", "square", "diamond", "ring"]
    dash: tuple[float, ...]
    means: str


LOOKS: dict[Layer, LayerLook] = {
    "melody": LayerLook("#9c2a16", "disc", (), "the tune's main notes, most of them rolled"),
    "second": LayerLook("#6a5400", "square", (6.0, 1.6), "a second voice for half the class, under the tune"),
    "between": LayerLook(
        "#0b6264", "diamond", (2.4, 2.2), "the tune's other notes, and added ones, one at a time"
    ),
    "strums": LayerLook("#45418c", "ring", (0.01, 2.4), "quiet chords in the long spaces; a cross is a chop"),
}


SIDE_BY_SIDE_DB = 1.5
"""Layers that lie no farther apart are side by side."""

PLACE_NAMES = {
    1: ("side by side",),
    2: ("in front", "at the back"),
    3: ("in front", "in the middle", "at the back"),
    4: ("in front", "close behind", "in the middle", "at the back"),
}
"""What the places are called, the nearest first, by how many there are."""


def places(levels_db: Mapping[Layer, float], layers: Iterable[Layer]) -> dict[Layer, str]:
    """Return where layers stand, the nearest first, by the levels of their median strokes; ``out`` where one rests."""
    ordered = sorted(levels_db, key=lambda layer: -levels_db[layer])
    ranks: dict[Layer, int] = {}
    for before, layer in zip([None, *ordered], ordered, strict=False):
        if before is None:
            ranks[layer] = 0
        else:
            ranks[layer] = ranks[before] + (levels_db[before] - levels_db[layer] > SIDE_BY_SIDE_DB)
    names = PLACE_NAMES[max(ranks.values(), default=0) + 1]
    return {layer: names[rank] for layer, rank in ranks.items()} | {
        layer: "out" for layer in layers if layer not in ranks
    }


def radius_of(level_db: float) -> float:
    """Return half the size of a mark, in drawing units, by its level relative to mf: ``r = 13 · 2^(L/6)``."""
    return float(min(max(RADIUS_MF * 2.0 ** (level_db / DOUBLED_DB), SMALLEST), LARGEST))


def ink_of(level_db: float) -> float:
    """Return how much ink a mark gets, from `LIGHTEST` to 1, by its level relative to mf."""
    along = (level_db - LIGHT_DB) / (HEAVY_DB - LIGHT_DB)
    return LIGHTEST + (1.0 - LIGHTEST) * min(max(along, 0.0), 1.0)


def toned(colour: str, ink: float) -> str:
    """Return a colour thinned towards the paper: all of it at ink 1, the paper at 0."""
    parts = zip(_parts(colour), _parts(PAPER), strict=True)
    return "#" + "".join(f"{round(paper + ink * (full - paper)):02x}" for full, paper in parts)


def _parts(colour: str) -> tuple[int, int, int]:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return red, green, blue
