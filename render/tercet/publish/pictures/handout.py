"""The handout: a whole song on one picture, made to be photographed from the board.

Tab with words, chord names and the shapes used; whatever is too much for one picture goes on in the next, between lines
of music. No digit is smaller than a fortieth of the picture's height. The tune is large and red, single notes between
are smaller, strums are pale arrows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from tercet.arranging import Arrangement, Gesture, StringNote
from tercet.arranging.model import explained
from tercet.publish.paragraphs import fitted, shortened
from tercet.publish.pictures.chord_diagram import first_fret, shape_grid
from tercet.publish.pictures.handout_bars import HandoutLine, handout_lines
from tercet.publish.pictures.handout_rows import (
    CHORD_SIZE,
    DIGIT_SIZE,
    TUNE_SIZE,
    PlacedColumn,
    Row,
    handout_rows,
    shown_word,
)
from tercet.publish.pictures.looks import LOOKS, PAPER, TEXT, TEXT_SOFT, toned
from tercet.publish.pictures.page_code import page_code
from tercet.publish.pictures.shapes_used import ShapeUse, shapes_used
from tercet.publish.shapes import Drawing, Group, Ink, Path, Point, Shape, Style, Text, cross
from tercet.publish.typefaces import text_width_em
from tercet.song import played_visits
from tercet.wording import nth_time

__all__ = ["HANDOUT_HEIGHT", "HANDOUT_WIDTH", "handout_pictures"]

HANDOUT_WIDTH, HANDOUT_HEIGHT = 1920.0, 1080.0
"""16:9."""

NEARER = (1.5, 1.25)
"""A song that has room to spare on one picture is drawn so much larger: in fewer units, since all sizes stay."""

MARGIN, FOOT, FOOT_LINE = 36.0, 44.0, 30.0
LEFT = 206.0
"""Where the strings begin: section names and bar numbers stand before them."""

STRING_X = 190.0
"""Where strings are named."""

CHORDS_BASELINE, TOP_STRING, STRING_GAP, BELOW_STRINGS, WORD_LINE, ROW_GAP = (
    32.0,
    58.0,
    31.0,
    48.0,
    40.0,
    12.0,
)
"""Down a row: the baseline of its chords, string 1, from string to string, to the baseline of the words, from verse to
verse, and the space below."""

LABEL_LINE = 44.0
"""From line to line of what stands before a row."""

MOST_SPARE = 40.0
"""Room to spare goes between the rows, so much at most."""

TITLE_WIDTH = 560.0
SHAPE_WIDTH, SHAPE_GAP, SHAPES_HEIGHT = 104.0, 12.0, 158.0
"""Of the shapes beside the title; the last is the height of a row of them."""

PAPER_EDGE = 2.0
"""Of the paper behind a digit, on either side."""

TIGHT_NAME = 360.0
"""Room for the name above a shape; a longer one is cut short."""

MOST_CODE_SIZE = STRING_X - MARGIN - 14.0
"""Of the code that leads to the song's page: it stands before the first row, where it takes no room from the music."""

MOST_SHAPE_LINES = 4
"""More would leave no room for music."""

SENTENCE = (
    "Top line: the string nearest the floor. Arrows rise as the thumb falls, and stop on the tune. "
    "Large and red: in front. Pale arrows: strums, at the back."
)


@dataclass(frozen=True, slots=True)
class _Page:
    """Width and height of a picture in drawing units, what its foot says of the signs, a line each."""

    width: float = HANDOUT_WIDTH
    height: float = HANDOUT_HEIGHT
    sentences: tuple[str, ...] = (SENTENCE,)

    @property
    def bottom(self) -> float:
        """Where rows must end."""
        return self.height - FOOT - FOOT_LINE * (len(self.sentences) - 1)


@dataclass(frozen=True, slots=True)
class _Picture:
    """Rows of one picture and the shapes used in them."""

    rows: tuple[Row, ...]
    shapes: tuple[ShapeUse, ...]


def handout_pictures(arrangement: Arrangement, *, left_handed: bool = False) -> tuple[Drawing, ...]:
    """Return the pictures of an arrangement, 1920 by 1080 units each, or fewer where a song has room to spare.

    Parameters
    ----------
    arrangement
        What is played.
    left_handed
        Whether the shapes are mirrored. The tab is the same for both hands.
    """
    lines = handout_lines(arrangement)
    sentences = (SENTENCE, *explained(arrangement))
    for times in NEARER:
        page = _Page(HANDOUT_WIDTH / times, HANDOUT_HEIGHT / times, sentences)
        rows = _rows_on(page, lines)
        pictures = _pictures(rows, arrangement, page)
        if len(pictures) == 1 and len(rows) <= len(lines) and _fits(pictures[0], page):
            break
    else:
        page = _Page(sentences=sentences)
        pictures = _pictures(_rows_on(page, lines), arrangement, page)
    return tuple(
        _drawing(picture, arrangement, page, (number, len(pictures)), left_handed=left_handed)
        for number, picture in enumerate(pictures, 1)
    )


def _rows_on(page: _Page, lines: Sequence[HandoutLine]) -> tuple[Row, ...]:
    return handout_rows(lines, LEFT, page.width - LEFT - MARGIN)


def _pictures(rows: Sequence[Row], arrangement: Arrangement, page: _Page) -> list[_Picture]:
    """Return rows picture by picture: as many as fit below the shapes that they need, at least one."""
    pictures: list[_Picture] = []
    for row in rows:
        held = pictures[-1].rows if pictures else ()
        wanted = _Picture((*held, row), _shapes_of((*held, row), arrangement))
        if held and _fits(wanted, page):
            pictures[-1] = wanted
        else:
            pictures.append(_Picture((row,), _shapes_of((row,), arrangement)))
    return pictures


def _fits(picture: _Picture, page: _Page) -> bool:
    return _room(picture, page) >= 0.0


def _room(picture: _Picture, page: _Page) -> float:
    """Return how much height rows leave free; negative if there isn't enough."""
    return page.bottom - _top(picture.shapes, page) - sum(map(_height, picture.rows))


def _shapes_of(rows: Sequence[Row], arrangement: Arrangement) -> tuple[ShapeUse, ...]:
    return shapes_used(arrangement, {number for row in rows for number in row.bar_numbers})


def _height(row: Row) -> float:
    return TOP_STRING + 3.0 * STRING_GAP + 22.0 + WORD_LINE * row.verses + ROW_GAP


def _top(shapes: Sequence[ShapeUse], page: _Page) -> float:
    """Return where the first row begins: below title and shapes."""
    return MARGIN + SHAPES_HEIGHT * max(len(_shape_lines(shapes, page)), 1)


# ---- the head


def _shape_lines(shapes: Sequence[ShapeUse], page: _Page) -> list[list[tuple[ShapeUse, float]]]:
    """Return shapes with where they begin, line by line: the first beside the title, more below it."""
    lines: list[list[tuple[ShapeUse, float]]] = [[]]
    x = MARGIN + TITLE_WIDTH + 24.0
    for shape in shapes:
        width = _shape_width(shape)
        if x + width > page.width - MARGIN and lines[-1]:
            lines.append([])
            x = MARGIN
        lines[-1].append((shape, x))
        x += width + SHAPE_GAP
    return lines[:MOST_SHAPE_LINES]


def _shape_width(shape: ShapeUse) -> float:
    name = min(text_width_em(shape.chord, "bold") * CHORD_SIZE, TIGHT_NAME)
    fret = first_fret(shape)
    position = text_width_em(str(fret), "bold") * DIGIT_SIZE - 10.0 if fret > 1 else 0.0
    return max(name, SHAPE_WIDTH + position)


def _drawing(
    picture: _Picture, arrangement: Arrangement, page: _Page, place: tuple[int, int], *, left_handed: bool
) -> Drawing:
    shapes: list[Shape] = [*_title(arrangement)]
    for line, placed in enumerate(_shape_lines(picture.shapes, page)):
        for shape, x in placed:
            top = MARGIN - 12.0 + SHAPES_HEIGHT * line
            shapes += _named_shape(shape, (x, top), left_handed=left_handed)
    spare = min(max(_room(picture, page), 0.0) / len(picture.rows), MOST_SPARE)
    y = _top(picture.shapes, page) + 0.5 * spare
    if arrangement.song.page_address:
        shapes.append(_code(arrangement.song.page_address, picture.rows[0], y, spare))
    for row in picture.rows:
        shapes += _row(row, arrangement, y)
        y += _height(row) + spare
    shapes += _foot(page, place)
    number, count = place
    title = arrangement.song.title + (f", {number} of {count}" if count > 1 else "")
    bars = [bar for row in picture.rows for bar in row.bar_numbers]
    description = f"Tab of bars {min(bars)} to {max(bars)} with words, chords and shapes."
    return Drawing(page.width, page.height, tuple(shapes), PAPER, title, description)


def _title(arrangement: Arrangement) -> Iterator[Shape]:
    """Yield the title, the key, meter and tuning, and the sections in the order played."""
    song = arrangement.song
    title = Text(MARGIN, 78.0, song.title, 56.0, TEXT, style="bold", name="title")
    yield fitted(title, TITLE_WIDTH, DIGIT_SIZE)
    facts = " · ".join([str(song.key), str(song.meter), arrangement.tuning.name])
    yield _sized(Text(MARGIN, 126.0, facts, DIGIT_SIZE, TEXT_SOFT, name="facts"), TITLE_WIDTH, DIGIT_SIZE)
    form = " ".join(visit.section for visit in played_visits(arrangement.bars))
    yield _sized(Text(MARGIN, 168.0, form, 30.0, TEXT_SOFT, name="form"), TITLE_WIDTH, 22.0)


def _sized(text: Text, width: float, smallest: float) -> Text:
    """Return a text that fits a width; with a digit in it, it isn't made smaller but cut short."""
    if any(sign.isdigit() for sign in text.text):
        return fitted(replace(text, size=DIGIT_SIZE), width, DIGIT_SIZE)
    return fitted(text, width, smallest)


def _foot(page: _Page, place: tuple[int, int]) -> Iterator[Shape]:
    """Yield what the signs mean, and which picture of how many this is."""
    y = page.height - 18.0
    for line, whole in enumerate(reversed(page.sentences)):
        sentence = Text(MARGIN, y - FOOT_LINE * line, whole, 25.0, TEXT_SOFT, name="legend")
        yield fitted(sentence, page.width - 2.0 * MARGIN - 180.0, 15.0)
    number, count = place
    if count > 1:
        which = f"{number} of {count}"
        yield Text(page.width - MARGIN, y, which, DIGIT_SIZE, TEXT_SOFT, "end", name="picture number")


def _named_shape(shape: ShapeUse, corner: Point, *, left_handed: bool) -> Iterator[Shape]:
    """Yield a shape's name and its grid below."""
    x, y = corner
    width = _shape_width(shape)
    beside = 0.0 if left_handed else width - SHAPE_WIDTH
    grid_x = x + (0.5 * (width - SHAPE_WIDTH) if first_fret(shape) == 1 else beside)
    if shape.chord:
        name = shortened(shape.chord, TIGHT_NAME / CHORD_SIZE, "bold")
        half = 0.5 * text_width_em(name, "bold") * CHORD_SIZE
        middle = min(max(grid_x + 0.51 * SHAPE_WIDTH, x + half), x + max(width - half, half))
        yield Text(middle, y + 32.0, name, CHORD_SIZE, TEXT, "middle", "bold", "shape name")
    yield shape_grid(shape, (grid_x, y + 38.0), SHAPE_WIDTH, DIGIT_SIZE, left_handed=left_handed)


# ---- the music


def _row(row: Row, arrangement: Arrangement, top: float) -> Iterator[Shape]:
    """Yield one row, from the back to the front."""
    yield from _labels(row, top)
    for string in (1, 2, 3, 4):
        y = _string_y(string, top)
        name = arrangement.tuning.open_pitches[4 - string].name
        yield Text(STRING_X, y + 9.0, name, 25.0, TEXT_SOFT, "middle", name="string")
        yield Path(((LEFT, y), (row.right, y)), Ink(stroke="#b5aa9b", width=2.0), name="string line")
    for x in (LEFT, *row.bar_lines):
        ends = (x, _string_y(1, top)), (x, _string_y(4, top))
        yield Path(ends, Ink(stroke=TEXT_SOFT, width=3.0), name="bar line")
    for placed in row.columns:
        if placed.column.chord:
            y = top + CHORDS_BASELINE
            yield Text(placed.x, y, placed.column.chord, CHORD_SIZE, TEXT, style="bold", name="chord")
        for stroke in placed.column.strokes:
            yield (
                _strum(stroke, placed, top) if stroke.layer == "strums" else _tab_stroke(stroke, placed, top)
            )
        yield from _words(placed, row, top)


def _string_y(string: int, top: float) -> float:
    return top + TOP_STRING + STRING_GAP * (string - 1)


def _labels(row: Row, top: float) -> Iterator[Shape]:
    """Yield the section's name, which time it is played, and the number of the first bar, in the left margin."""
    room = STRING_X - MARGIN - 26.0
    y = _string_y(1, top) + 2.0
    if row.label:
        yield _sized(Text(MARGIN, y, row.label, 34.0, TEXT, style="bold", name="section"), room, 22.0)
        y += LABEL_LINE
    if row.label and row.time:
        yield _sized(Text(MARGIN, y, nth_time(row.time), 34.0, TEXT, name="time"), room, 22.0)
        y += LABEL_LINE
    yield Text(MARGIN, y, str(max(row.first_bar, 1)), DIGIT_SIZE, TEXT_SOFT, name="bar number")


def _code(address: str, row: Row, top: float, spare: float) -> Shape:
    """Return the code of an address, under the labels of a row and above those of the next."""
    labels = 1 + bool(row.label) + bool(row.label and row.time)
    y = _string_y(1, top) + LABEL_LINE * (labels - 1) + 18.0
    return page_code(address, MARGIN - 6.0, y, min(top + _height(row) + spare + 16.0 - y, MOST_CODE_SIZE))


def _tab_stroke(stroke: Gesture, placed: PlacedColumn, top: float) -> Group:
    """Return the digits of a roll or of a single note; a roll has an arrow from its first string to its last."""
    shapes: list[Shape] = []
    look = LOOKS[stroke.layer]
    if stroke.action == "roll":
        x = placed.digit_x - 0.5 * _widest(stroke) - 13.0
        first, last = _string_y(stroke.notes[0].string, top), _string_y(stroke.notes[-1].string, top)
        shapes += _arrow(x, first + 9.0, last - 9.0, Ink(stroke=look.colour, width=4.5), "roll")
    for note in stroke.notes:
        shapes += _digit(note, stroke, placed.digit_x, top)
    struck = ", ".join(f"string {note.string} fret {note.shown}" for note in stroke.notes)
    return Group(
        tuple(shapes), f"stroke {stroke.layer} {stroke.action}", f"{stroke.layer}, {stroke.action}: {struck}"
    )


def _digit(note: StringNote, stroke: Gesture, x: float, top: float) -> Iterator[Shape]:
    """Yield a fret's number on its string, on a piece of paper that hides the string behind it."""
    front = note.part == "tune" and stroke.layer == "melody"
    size = TUNE_SIZE if front else DIGIT_SIZE
    y = _string_y(note.string, top)
    fret = "" if note.fret is None else str(note.fret)
    style: Style = "bold" if front else "plain"
    half = 0.5 * text_width_em(fret or note.sign, style) * size
    right = x + half + (text_width_em(note.sign, style) * size if fret else 0.0)
    left, right = x - half - PAPER_EDGE, right + PAPER_EDGE
    paper = ((left, y - 4.0), (right, y - 4.0), (right, y + 4.0), (left, y + 4.0))
    yield Path(paper, Ink(fill=PAPER), closed=True, name="paper")
    colour = LOOKS[stroke.layer].colour if note.part == "tune" or stroke.layer == "between" else TEXT
    baseline = y + 0.357 * size
    if fret:
        yield Text(x, baseline, fret, size, colour, "middle", style=style, name="fret")
    if note.sign:
        sign_x = x + half if fret else x - half
        yield Text(sign_x, baseline, note.sign, size, colour, style=style, name="sign")


def _widest(stroke: Gesture) -> float:
    return max(
        text_width_em(str(note.fret) if note.fret is not None else note.sign) * TUNE_SIZE
        for note in stroke.notes
    )


def _strum(stroke: Gesture, placed: PlacedColumn, top: float) -> Group:
    """Return the pale arrow of a strum over its strings, or the cross of a chop."""
    ink = Ink(
        stroke=toned(LOOKS["strums"].colour, 0.75 if stroke.accent else 0.5),
        width=6.0 if stroke.accent else 4.0,
    )
    first, last = (_string_y(stroke.notes[place].string, top) for place in (0, -1))
    x = placed.digit_x
    struck = ", ".join(f"string {note.string}" for note in stroke.notes)
    title = f"strums, {stroke.action}: {struck}"
    if stroke.action == "chop":
        middle = 0.5 * (first + last)
        return Group(cross(x, middle, 9.0, ink, "chop"), "stroke strums chop", title)
    down = 1.0 if last > first else -1.0
    return Group(
        tuple(_arrow(x, first - 9.0 * down, last + 9.0 * down, ink, "strum")), "stroke strums strum", title
    )


def _arrow(x: float, start: float, end: float, ink: Ink, name: str) -> Iterator[Shape]:
    """Yield an upright arrow."""
    back = 11.0 if end < start else -11.0
    yield Path(((x, start), (x, end)), ink, name=name)
    yield Path(((x - 7.0, end + back), (x, end), (x + 7.0, end + back)), ink, name="arrow head")


def _words(placed: PlacedColumn, row: Row, top: float) -> Iterator[Shape]:
    """Yield the words, one verse below the other; those of later times are softer."""
    y = _string_y(4, top) + BELOW_STRINGS
    for verse, word in enumerate(placed.column.words):
        if word:
            shown, colour = shown_word(word, row.word_size), TEXT_SOFT if verse else TEXT
            yield Text(placed.x, y + WORD_LINE * verse, shown, row.word_size, colour, name="word")
