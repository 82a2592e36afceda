"""The panel under a row: how loud each layer is, stroke by stroke, in dB around mf."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from tercet.performing import TakeNote
from tercet.publish.pictures.looks import FAINT, LOOKS, TEXT_SOFT, ink_of, radius_of, toned
from tercet.publish.pictures.note_marks import gestures_of, level_of
from tercet.publish.shapes import Disc, Ink, Path, Shape, Text
from tercet.song import LAYERS, Layer
from tercet.theory import MARK_LEVEL_DB

__all__ = ["LevelPanel", "panel_range_db"]

MARGIN_DB = 1.5
USUAL_DB = (-8.0, 4.0)
"""p to f are always in the panel."""

LABEL_SIZE = 9.5

LIGHTEST_LINE, HEAVIEST_LINE = 1.1, 4.0


def panel_range_db(notes: tuple[TakeNote, ...]) -> tuple[float, float]:
    """Return the lowest and the highest level of panels that hold every stroke, in dB relative to mf."""
    levels = [*USUAL_DB, *(level_of(stroke) for stroke in gestures_of(notes))]
    return min(levels) - MARGIN_DB, max(levels) + MARGIN_DB


@dataclass(frozen=True, slots=True)
class LevelPanel:
    """A panel: where it lies in the drawing, and its range in dB relative to mf.

    `x_of` takes seconds of the take.
    """

    x_of: Callable[[float], float]
    left: float
    right: float
    top: float
    height: float
    low_db: float
    high_db: float

    def shapes(self, notes: tuple[TakeNote, ...]) -> tuple[Shape, ...]:
        """Return a faint line for each dynamic mark, and each layer's curve in its own line, the softest first."""
        curves = {layer: self._curve(layer, notes) for layer in LAYERS}
        backmost = sorted(LAYERS, key=lambda layer: self._mean_db(layer, notes))
        return (*self._marks(), *(shape for layer in backmost for shape in curves[layer]))

    def _y(self, level_db: float) -> float:
        return self.top + self.height * (self.high_db - level_db) / (self.high_db - self.low_db)

    def _marks(self) -> Iterator[Shape]:
        for mark, level_db in MARK_LEVEL_DB.items():
            if self.low_db <= level_db <= self.high_db:
                y = self._y(level_db)
                yield Path(((self.left, y), (self.right, y)), Ink(stroke=FAINT, width=0.7), name="mark")
                yield Text(self.left - 8.0, y + 3.2, mark, LABEL_SIZE, TEXT_SOFT, "end")

    @staticmethod
    def _mean_db(layer: Layer, notes: tuple[TakeNote, ...]) -> float:
        levels = [level_of(stroke) for stroke in gestures_of(notes) if stroke[0].layer == layer]
        return sum(levels) / len(levels) if levels else 0.0

    def _curve(self, layer: Layer, notes: tuple[TakeNote, ...]) -> Iterator[Shape]:
        """Yield a layer's line through the levels of its strokes, and a dot for each."""
        strokes = sorted(
            (stroke[-1].onset_s, level_of(stroke))
            for stroke in gestures_of(notes)
            if stroke[0].layer == layer
        )
        if not strokes:
            return
        middle_db = sorted(level_db for _, level_db in strokes)[len(strokes) // 2]
        width = min(max(0.3 * radius_of(middle_db), LIGHTEST_LINE), HEAVIEST_LINE)
        look = LOOKS[layer]
        tone = toned(look.colour, ink_of(middle_db))
        dash = tuple(width * part for part in look.dash)
        points = tuple((self.x_of(onset_s), self._y(level_db)) for onset_s, level_db in strokes)
        yield Path(points, Ink(stroke=tone, width=width, dash=dash), name=f"level {layer}")
        for x, y in points:
            yield Disc(x, y, 0.8 * width, Ink(fill=tone))
