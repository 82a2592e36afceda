"""The head and the foot of a sheet.

At its head stand the title, what to know before playing, what is front and back, and the shapes that are used; at its
foot how to read it, and how to practise with the recordings.

Lengths are in points, x to the right and y down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from tercet.arranging import Arrangement
from tercet.arranging.model import explained
from tercet.publish.paragraphs import wrapped
from tercet.publish.pictures.chord_diagram import ASPECT, chord_diagram
from tercet.publish.pictures.looks import FAINT, LOOKS, TEXT, TEXT_SOFT, places
from tercet.publish.pictures.page_code import page_code, short_address
from tercet.publish.pictures.shapes_used import ShapeUse, shapes_used
from tercet.publish.score.note_signs import pulse_note, swing_sign
from tercet.publish.score.written_form import WrittenForm
from tercet.publish.shapes import Group, Ink, Path, Placing, Shape, Style, Text
from tercet.publish.typefaces import text_width_em
from tercet.song import Layer, Song
from tercet.theory import MARK_LEVEL_DB
from tercet.tracks.recipes import recipe_named, recipes_of

__all__ = [
    "Block",
    "practising",
    "reading",
    "sheet_diagrams",
    "sheet_facts",
    "sheet_foot",
    "sheet_head",
    "sheet_title",
]

TITLE_SIZES = (26.0, 20.0, 15.0)
"""A long title is set smaller, then in several lines, then cut short."""

TITLE_LINES = 3
FACT_SIZE, SMALL_SIZE = 11.0, 9.0
FACT_GAP = 16.0
"""Space between two facts of a line."""

CODE_SIZE, CODE_GAP = 76.0, 8.0
"""Of the code that leads to the song's page: 27 mm, which a phone reads from a desk."""

DIAGRAM_WIDTH, DIAGRAM_WIDTH_LARGE, DIAGRAM_GAP = 43.0, 57.0, 8.0
MOST_DIAGRAM_ROWS = 3

NEAREST_SIZE, FARTHEST_SIZE = 19.0, 11.0
NEARNESS_SIZES = {
    "in front": NEAREST_SIZE,
    "side by side": 15.0,
    "close behind": 15.0,
    "in the middle": 14.0,
    "at the back": FARTHEST_SIZE,
}
"""Size of a layer's digit by its place."""

EVEN_COLUMNS, LAYER_INDENT = 3, 22.0
"""So many layers have columns that are equally wide; points from a column's beginning to its text."""

LEAST_GAP, ROW_HEIGHT = 4.0, 16.0
"""Between columns; where that is too little, each layer has a row."""

SHORT_MEANINGS: dict[Layer, str] = {
    "melody": "the tune's main notes",
    "second": "a voice under the tune",
    "between": "its other notes, and added ones",
    "strums": "chords in the spaces",
}


@dataclass(frozen=True, slots=True)
class Block:
    """Shapes that stand together on a page, from y 0 down to `height`."""

    shapes: tuple[Shape, ...]
    height: float

    def at(self, x: float, y: float) -> Group:
        """Return the shapes with their upper left corner at a place."""
        return Group(self.shapes, placing=Placing(x, y, 1.0))


def sheet_head(
    arrangement: Arrangement, form: WrittenForm, width: float, *, left_handed: bool, large: bool
) -> Block:
    """Return the head of a sheet, `width` points wide."""
    song = arrangement.song
    diagram = DIAGRAM_WIDTH_LARGE if large else DIAGRAM_WIDTH
    shapes: list[Shape] = []
    y = 0.0
    beside = width
    if song.page_address:
        shapes.append(page_code(song.page_address, width - CODE_SIZE, 0.0, CODE_SIZE))
        beside -= CODE_SIZE + CODE_GAP
    for part in (sheet_title(song, beside), sheet_facts(arrangement, f"Form: {form.in_words}", beside)):
        shapes.append(part.at(0.0, y))
        y += part.height
    if song.page_address:
        y = max(y, CODE_SIZE + CODE_GAP)
    for part in (
        _front_and_back(song, width) if not large else Block((), 0.0),
        sheet_diagrams(shapes_used(arrangement), width, diagram, left_handed=left_handed),
    ):
        shapes.append(part.at(0.0, y))
        y += part.height
    return Block(tuple(shapes), y)


def sheet_title(song: Song, width: float) -> Block:
    """Return the title of a song, and who made it."""
    size = next(
        (size for size in TITLE_SIZES if text_width_em(song.title[:400], "bold") * size <= width),
        TITLE_SIZES[-1],
    )
    shapes: list[Shape] = []
    y = 0.0
    for line in wrapped(song.title, size, width, TITLE_LINES, "bold"):
        y += 1.12 * size
        shapes.append(Text(0.0, y, line, size, TEXT, style="bold", name="title"))
    y += 2.0
    by = " · ".join(part for part in (song.composer, song.source_note) if part)
    for line in wrapped(by, SMALL_SIZE, width, 2):
        y += 1.35 * SMALL_SIZE
        shapes.append(Text(0.0, y, line, SMALL_SIZE, TEXT_SOFT, name="composer"))
    return Block(tuple(shapes), y + 5.0)


def sheet_facts(arrangement: Arrangement, form: str, width: float) -> Block:
    """Return key, meter, tempo, swing, tuning, form: in a line, or more where they don't fit."""
    song, tuning = arrangement.song, arrangement.tuning
    strings = " ".join(map(str, tuning.open_pitches))
    tempo = f"= {float(song.tempo):g}"
    line = _FactLine(width)
    line.text(str(song.key))
    line.text(str(song.meter))
    line.sign(lambda x, y: pulse_note(song.meter, x, y, FACT_SIZE * 1.25, TEXT), FACT_SIZE, tempo)
    if song.swing * 2 != 1:
        long, short = song.swing, 1 - song.swing
        ratio = long / short
        line.sign(
            lambda x, y: swing_sign(x, y, FACT_SIZE * 1.1, TEXT, triplet=ratio == 2),
            3.4 * FACT_SIZE,
            f"({ratio.numerator} : {ratio.denominator})",
        )
    name = tuning.name if tuning.name != "custom" else "custom tuning"
    line.text(f"{name}: {strings}, strings 4 to 1")
    if song.instrument != "custom":
        line.text(song.instrument)
    for part in wrapped(form, FACT_SIZE, width, 3):
        line.text(part)
    if song.page_address:
        for part in wrapped(f"Listen and practise: {short_address(song.page_address)}", FACT_SIZE, width, 3):
            line.text(part)
    return Block(tuple(line.shapes), line.y + 10.0)


class _FactLine:
    """Facts set one after the other, on the next line where one doesn't fit."""

    def __init__(self, width: float) -> None:
        self.shapes: list[Shape] = []
        self.y = 1.3 * FACT_SIZE
        self._x = 0.0
        self._width = width

    def text(self, text: str) -> None:
        """Add a fact in words."""
        self._place(text_width_em(text) * FACT_SIZE)
        self.shapes.append(Text(self._x, self.y, text, FACT_SIZE, TEXT, name="fact"))
        self._x += text_width_em(text) * FACT_SIZE + FACT_GAP

    def sign(
        self, draw: Callable[[float, float], tuple[tuple[Shape, ...], float]], about: float, text: str
    ) -> None:
        """Add a sign, about so wide, and the words after it."""
        wide = text_width_em(text) * FACT_SIZE
        self._place(about + wide + 6.0)
        shapes, end = draw(self._x, self.y)
        self.shapes += shapes
        self.shapes.append(Text(end + 4.0, self.y, text, FACT_SIZE, TEXT, name="fact"))
        self._x = end + 4.0 + wide + FACT_GAP

    def _place(self, wide: float) -> None:
        if self._x and self._x + wide > self._width:
            self._x = 0.0
            self.y += 1.5 * FACT_SIZE


def _front_and_back(song: Song, width: float) -> Block:
    """Return which layer is near and which is far: a digit of the tab in its size, its name, its place and its mark."""
    levels_db = {layer: float(MARK_LEVEL_DB[song.dynamics.of(layer)]) for layer in song.layers}
    told = [
        (layer, place, f"{layer} {place}, {song.dynamics.of(layer)}")
        for layer, place in places(levels_db, song.layers).items()
    ]
    shapes: list[Shape] = []
    columns = _columns(told, width)
    y = NEAREST_SIZE
    for index, (layer, place, text) in enumerate(told):
        x = columns[index] if columns else 0.0
        size = NEARNESS_SIZES[place]
        style: Style = "bold" if place == "in front" else "plain"
        shapes.append(
            Text(x + 8.0, y, "3", size, LOOKS[layer].colour, "middle", style=style, name=f"near {layer}")
        )
        means = SHORT_MEANINGS[layer]
        if columns:
            shapes.append(Text(x + LAYER_INDENT, y - 5.5, text, SMALL_SIZE, TEXT, style=style))
            shapes.append(Text(x + LAYER_INDENT, y + 5.0, means, SMALL_SIZE, TEXT_SOFT))
        else:
            shapes.append(Text(x + LAYER_INDENT, y, text, SMALL_SIZE, TEXT, style=style))
            beside = LAYER_INDENT + SMALL_SIZE * text_width_em(text, style) + 8.0
            shapes.append(Text(beside, y, means, SMALL_SIZE, TEXT_SOFT))
            y += ROW_HEIGHT if index + 1 < len(told) else 0.0
    return Block(tuple(shapes), y + 14.0)


def _columns(told: Sequence[tuple[Layer, str, str]], width: float) -> list[float]:
    """Return where the columns of the layers begin: even ones, or of more than three as wide as their texts are.

    On narrow paper they don't fit: then there are none.
    """
    wide = [
        LAYER_INDENT + SMALL_SIZE * max(text_width_em(text, "bold"), text_width_em(SHORT_MEANINGS[layer]))
        for layer, _, text in told
    ]
    if len(told) <= EVEN_COLUMNS and max(wide[:-1], default=0.0) <= width / len(told):
        return [index * width / len(told) for index in range(len(told))]
    gap = (width - sum(wide)) / max(len(wide) - 1, 1)
    return [sum(wide[:index]) + index * gap for index in range(len(wide))] if gap >= LEAST_GAP else []


def sheet_diagrams(uses: Sequence[ShapeUse], width: float, wide: float, *, left_handed: bool) -> Block:
    """Return the diagrams of the shapes in rows, each so `wide`; what doesn't fit is counted."""
    if not uses:
        return Block((), 0.0)
    per_row = int((width + DIAGRAM_GAP) / (wide + DIAGRAM_GAP))
    high = ASPECT * wide
    shown = uses[: per_row * MOST_DIAGRAM_ROWS]
    shapes: list[Shape] = []
    for index, use in enumerate(shown):
        row, place = divmod(index, per_row)
        x = place * (wide + DIAGRAM_GAP)
        shapes.append(chord_diagram(use, x, row * (high + 4.0), wide, left_handed=left_handed))
    y = -(-len(shown) // per_row) * (high + 4.0)
    if len(uses) > len(shown):
        y += SMALL_SIZE
        more = f"and {len(uses) - len(shown)} more shapes: see the tab"
        shapes.append(Text(0.0, y, more, SMALL_SIZE, TEXT_SOFT, name="more shapes"))
    return Block(tuple(shapes), y + 8.0)


# ---- the foot

PRINT_SIZE, PRINT_LINE, HEADING_SIZE = 7.8, 9.8, 10.0
COLUMN_GAP = 18.0

READING_PART = 0.31
"""Of the width, for each of the two columns on reading."""

PRACTICE = (
    "demo", "only-melody", "without-melody", "without-tune", "only-second", "without-second", "only-strums",
    "without-strums", "without-between",
)  # fmt: skip
"""Tracks in the order in which a student meets them: listen, learn the tune, carry it, then the back."""


def sheet_foot(arrangement: Arrangement, width: float, *, large: bool) -> Block:
    """Return the foot of a sheet, `width` points wide."""
    reading_width, step = READING_PART * width - COLUMN_GAP, READING_PART * width
    lines = _set(reading(arrangement, large=large), reading_width)
    begins = [at for at, line in enumerate(lines) if line.begins]
    middle = min(begins, key=lambda at: abs(2 * at - len(lines)))
    practice = _set(practising(arrangement.song.layers), width - 2 * step)
    texts = [
        *_column("Reading this sheet", lines[:middle], 0.0),
        *_column("", lines[middle:], step),
        *_column("Practising with the recordings", practice, 2 * step),
    ]
    rule = Path(((0.0, 4.0), (width, 4.0)), Ink(stroke=FAINT, width=0.8))
    return Block((rule, *texts), max(text.y for text in texts) + 4.0)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of a paragraph; whether it is the first."""

    text: str
    begins: bool


def _set(sentences: Iterable[str], width: float) -> list[_Line]:
    """Return sentences as lines, each sentence a paragraph."""
    return [
        _Line(line, index == 0)
        for sentence in sentences
        for index, line in enumerate(wrapped(sentence, PRINT_SIZE, width, 8))
    ]


def _column(heading: str, lines: Iterable[_Line], x: float) -> Iterator[Text]:
    """Yield a heading, which may be empty, and lines under it."""
    y = 18.0
    if heading:
        yield Text(x, y, heading, HEADING_SIZE, TEXT, style="bold", name="heading")
    y += 3.0
    for line in lines:
        y += PRINT_LINE + 1.2 * line.begins
        yield Text(x, y, line.text, PRINT_SIZE, TEXT_SOFT, name="small print")


def reading(arrangement: Arrangement, *, large: bool) -> Iterator[str]:
    """Yield how to read the sheet, only what this one needs."""
    gestures = arrangement.gestures
    yield "Tab: string 1 on top, string 4 at the bottom. A number is a fret, 0 an open string."
    yield from explained(arrangement)
    if any(gesture.action == "roll" for gesture in gestures):
        yield (
            "An arrow is a roll over just the strings beside it: the thumb stops on the tune. The top line is string "
            "1, so the arrow points up the page while the hand goes down."
        )
    yield "Near is loud, far is soft: large for the melody, plain for the notes between, small and pale for strums."
    if not large:
        if any(gesture.layer == "strums" for gesture in gestures):
            yield "strum: d down, u up, x chop; D and U with an accent."
        yield "count: say it at each stroke. finger: on the tune's string, 1 index to 4 little."
    yield "bar: its number in the whole piece, one for each time it is played."


def practising(layers: Sequence[Layer]) -> Iterator[str]:
    """Yield the tracks in practice order, each with its purpose in a song with some layers."""
    known = {recipe.name for recipe in recipes_of(layers)}
    for name in PRACTICE:
        if name in known:
            yield f"{name}: {recipe_named(name, layers=layers).purpose}"
    yield "Start slowly. If a hand hurts, rest it."
