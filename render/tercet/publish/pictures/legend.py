"""The legend: a line for each layer, the nearest first, drawn as large and as dark as the layer is on the whole."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from statistics import median

from tercet.performing import Take, TakeNote
from tercet.publish.pictures.looks import LOOKS, TEXT, TEXT_SOFT, radius_of
from tercet.publish.pictures.note_marks import Frame, gestures_of, level_of, note_mark
from tercet.publish.shapes import Group, Shape, Text
from tercet.song import LAYERS, Layer
from tercet.theory import MARK_LEVEL_DB

__all__ = ["LEGEND_LINE", "legend", "middle_levels_db", "places"]

LEGEND_LINE = 30.0
"""Height of a line, in drawing units."""

LEVEL_DB = 1.5
"""Layers that lie no farther apart are side by side."""

SAMPLE = 96.0
"""Length of the line that shows how a layer is drawn."""

NAME, PLACE = 92.0, 200.0
"""Widths of the columns that name a layer and its place."""

PLACE_NAMES = {
    1: ("side by side",),
    2: ("in front", "at the back"),
    3: ("in front", "in the middle", "at the back"),
}
"""What the places are called, the nearest first, by how many there are."""


def places(levels_db: Mapping[Layer, float]) -> dict[Layer, str]:
    """Return where each layer stands, the nearest first, from the level of its median stroke; ``out`` if it rests."""
    ordered = sorted(levels_db, key=lambda layer: -levels_db[layer])
    ranks: dict[Layer, int] = {}
    for before, layer in zip([None, *ordered], ordered, strict=False):
        if before is None:
            ranks[layer] = 0
        else:
            ranks[layer] = ranks[before] + (levels_db[before] - levels_db[layer] > LEVEL_DB)
    names = PLACE_NAMES[max(ranks.values(), default=0) + 1]
    return {layer: names[rank] for layer, rank in ranks.items()} | {
        layer: "out" for layer in LAYERS if layer not in ranks
    }


def legend(take: Take, left: float, top: float) -> Iterator[Shape]:
    """Yield a line for each layer: a note of its median level, its name, its place, and what it is."""
    levels_db = middle_levels_db(take)
    notes = {note.layer: note for note in take.notes}
    for index, (layer, place) in enumerate(places(levels_db).items()):
        middle = top + LEGEND_LINE * (index + 0.5)
        shapes: list[Shape] = []
        where = place
        if layer in levels_db:
            shapes.append(_sample(notes[layer], levels_db[layer], left, middle))
            where = f"{place}, about {_nearest_mark(levels_db[layer])}"
        x, baseline = left + SAMPLE + 22.0, middle + 5.0
        shapes.append(Text(x, baseline, layer, 16.0, TEXT, style="bold"))
        shapes.append(Text(x + NAME, baseline, where, 15.0, TEXT))
        shapes.append(Text(x + NAME + PLACE, baseline, LOOKS[layer].means, 15.0, TEXT_SOFT))
        yield Group(tuple(shapes), "legend")


def _sample(note: TakeNote, level_db: float, left: float, y: float) -> Group:
    """Return a note of a layer as a single note at a level, as long as `SAMPLE`."""
    single = replace(note, onset_s=0.0, length_s=1.0, level_db=level_db, string=1, action="single")
    start = left + radius_of(level_db)
    frame = Frame(lambda onset_s: start + SAMPLE * onset_s, lambda _midi: y, left + SAMPLE)
    return Group(note_mark(single, frame).shapes, f"sample {note.layer}")


def _nearest_mark(level_db: float) -> str:
    """Return the dynamic mark nearest to a level."""
    return min(MARK_LEVEL_DB, key=lambda mark: abs(MARK_LEVEL_DB[mark] - level_db))


def middle_levels_db(take: Take) -> dict[Layer, float]:
    """Return the level of the median stroke of each layer that plays."""
    levels: dict[Layer, list[float]] = {}
    for stroke in gestures_of(take.notes):
        levels.setdefault(stroke[0].layer, []).append(level_of(stroke))
    return {layer: median(levels[layer]) for layer in LAYERS if layer in levels}
