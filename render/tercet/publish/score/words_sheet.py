"""The sheet for those who sing and strum: words with chords above them, bar by bar, shapes and a strum.

Every section stands as it is sung; one that is sung again just as before is named, not printed anew. A bar starts at a
thin line. Lengths are in points, x to the right and y down.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.arranging import Arrangement, chords_alone
from tercet.arranging.strum_families import usual_pattern
from tercet.publish.paragraphs import shortened
from tercet.publish.pdf import WHITE
from tercet.publish.picture_files import PAPERS_PT, USUAL_PAPER
from tercet.publish.pictures.looks import TEXT, TEXT_SOFT
from tercet.publish.pictures.shapes_used import shapes_used
from tercet.publish.score.head_and_foot import (
    DIAGRAM_WIDTH,
    DIAGRAM_WIDTH_LARGE,
    Block,
    sheet_diagrams,
    sheet_facts,
    sheet_title,
)
from tercet.publish.score.pages import Sheet, SheetLook, foot_notice, margin_of, page_foot
from tercet.publish.score.tab import count_name
from tercet.publish.shapes import Drawing, Group, Ink, Path, Shape, Style, Text
from tercet.publish.typefaces import text_width_em
from tercet.song import Measure, PlayedVisit, Song, played_visits

__all__ = ["words_sheet"]

SIZES, SIZES_LARGE = (13.0, 12.0, 11.0, 10.0), (20.0, 18.0, 16.0)
"""Of words, the largest first: the one is taken that needs the fewest pages."""

CHORD_EM, LINE_EM, ROW_EM, HEADING_EM = 0.95, 1.15, 2.75, 1.9
"""In sizes of words: of chords, from a chord's baseline to that of its word, of a row, of a heading."""

GAP_EM, BAR_EM, EMPTY_EM = 0.32, 0.5, 1.6
"""Between words, beside a bar line, and of a bar on whose beats nothing is sung."""

FOOTER = 18.0
STRUM_SIZE = 13.0


@dataclass(frozen=True, slots=True)
class _Column:
    """A chord over words: empty where one of them is missing; `soft` for a chord that goes on."""

    chord: str
    words: str
    joined: bool = False
    soft: bool = False


@dataclass(frozen=True, slots=True)
class _Bar:
    """A bar as printed, or a pick-up; `opened` has a bar line before it."""

    name: str
    columns: tuple[_Column, ...]
    opened: bool
    breaks: bool


def words_sheet(arrangement: Arrangement, look: SheetLook) -> Sheet:
    """Lay out the words of an arrangement with their chords, in the largest size that needs the fewest pages."""
    sheets = (_laid_out(arrangement, look, size) for size in (SIZES_LARGE if look.large else SIZES))
    return min(sheets, key=lambda sheet: len(sheet.pages))


def _laid_out(arrangement: Arrangement, look: SheetLook, size: float) -> Sheet:
    song = arrangement.song
    width, height = PAPERS_PT[look.paper or USUAL_PAPER]
    margin = margin_of(width)
    inner = width - 2 * margin
    visits = played_visits(arrangement.bars)
    names = _names(visits)
    diagram = DIAGRAM_WIDTH_LARGE if look.large else DIAGRAM_WIDTH
    head = _stacked(
        sheet_title(song, inner),
        sheet_facts(arrangement, f"As sung: {', '.join(names)}", inner),
        sheet_diagrams(shapes_used(chords_alone(arrangement)), inner, diagram, left_handed=look.left_handed),
        _strum(song, inner),
    )
    room = height - 2 * margin - FOOTER if look.paper else float("inf")
    pages: list[list[Group]] = [[head.at(margin, margin)]]
    y = head.height
    for block, keep in _blocks(visits, names, size, inner):
        if y + max(block.height, keep) > room and y > 0:
            pages.append([])
            y = 0.0
        pages[-1].append(block.at(margin, margin + y))
        y += block.height
    notice = foot_notice(song)
    told = "Words with chords above them, a thin line before each bar."

    def drawn(shapes: Iterable[Shape], number: int) -> Drawing:
        foot = page_foot(notice, f"{number} / {len(pages)}", width, height) if look.paper else ()
        high = height if look.paper else y + 2 * margin
        return Drawing(width, high, (*shapes, *foot), WHITE, song.title, told, TEXT)

    return Sheet(
        tuple(drawn(shapes, number) for number, shapes in enumerate(pages, 1)), song.title, song.composer
    )


def _stacked(*blocks: Block) -> Block:
    shapes: list[Shape] = []
    y = 0.0
    for block in blocks:
        shapes.append(block.at(0.0, y))
        y += block.height
    return Block(tuple(shapes), y)


def _names(visits: Sequence[PlayedVisit]) -> list[str]:
    """Return what each playing of a section is called: with its number where its section is sung several times."""
    passes: dict[str, set[tuple[_Bar, ...]]] = {}
    for visit in visits:
        passes.setdefault(visit.section, set()).add(_sung(visit))
    return [
        f"{visit.section} {visit.pass_number}" if len(passes[visit.section]) > 1 else visit.section
        for visit in visits
    ]


def _sung(visit: PlayedVisit) -> tuple[_Bar, ...]:
    """Return the bars of a playing without their numbers: two that are equal are sung alike."""
    return tuple(replace(bar, name="") for bar in _bars(visit))


def _strum(song: Song, width: float) -> Block:
    """Return one bar of the strum, each sign over what is counted with it."""
    slots = usual_pattern(song)
    told = "Strum" if song.strum else "A strum that fits"
    left = text_width_em(told, "bold") * STRUM_SIZE + 16.0
    step = min((width - left) / len(slots), 24.0)
    shapes: list[Shape] = [Text(0.0, STRUM_SIZE, told, STRUM_SIZE, TEXT, style="bold", name="strum")]
    for index, slot in enumerate(slots):
        x = left + (index + 0.5) * step
        counted = count_name(Fraction(index * song.meter.upper, len(slots)), song.meter)
        sign = "·" if slot == "." else slot
        shapes.append(Text(x, STRUM_SIZE, sign, STRUM_SIZE, TEXT, "middle", style="bold", name="strum sign"))
        shapes.append(Text(x, STRUM_SIZE + 11.0, counted, 9.0, TEXT_SOFT, "middle", name="count"))
    key = "d down, u up, capitals louder, x chop"
    if left + len(slots) * step + 200 < width:
        shapes.append(Text(width, STRUM_SIZE, key, 9.0, TEXT_SOFT, "end", name="strum key"))
    return Block(tuple(shapes), STRUM_SIZE + 22.0)


# ---- what is sung


def _bars(visit: PlayedVisit) -> list[_Bar]:
    """Return the bars of one playing of a section."""
    bars = []
    chord: str | None = None
    for measure in visit.measures:
        columns, chord = _columns(measure, chord)
        pickup = measure.section_bar == 0
        name = f"pick-up-{visit.first_bar}" if pickup else f"bar-{measure.bar.number}"
        bars.append(_Bar(name, columns, not pickup, measure.opens_line))
    return bars


def _columns(measure: Measure, before: str | None) -> tuple[tuple[_Column, ...], str | None]:
    """Return the columns of a bar, and the chord that holds at its end."""
    chords: dict[Fraction, str] = {}
    chord = before
    for span in measure.chords:
        name = str(span.chord or "N.C.")
        if name != chord:
            chords[span.start_beat] = chord = name
    words = {
        place: syllable
        for place, syllable in measure.bar.words
        if measure.holds(place) and not syllable.holds
    }
    if not words and measure.section_bar:
        return tuple(_beats(measure, chords, before)), chord
    columns: list[_Column] = []
    for place in sorted({*chords, *words}):
        syllable = words.get(place)
        text = syllable.text.replace("‿", " ") if syllable else ""
        joined = syllable.joined if syllable else bool(columns) and columns[-1].joined
        if place not in chords and columns and columns[-1].joined and columns[-1].words:
            columns[-1] = replace(columns[-1], words=columns[-1].words + text, joined=joined)
        else:
            columns.append(_Column(chords.get(place, ""), text, joined))
    if columns and columns[-1].joined and columns[-1].words:
        columns[-1] = replace(columns[-1], words=f"{columns[-1].words}-", joined=False)
    return tuple(columns), chord


def _beats(measure: Measure, chords: dict[Fraction, str], before: str | None) -> Iterator[_Column]:
    """Yield a bar without words: its chords, and a stroke for each other beat."""
    if measure.low_beat not in chords:
        yield _Column(before or "N.C.", "", soft=True)
    pulse = Fraction(3) if measure.bar.length_beat % 3 == 0 and measure.bar.length_beat > 3 else Fraction(1)
    beats = {measure.low_beat + pulse * index for index in range(int(measure.length_beat / pulse))}
    for place in sorted({*chords, *beats}):
        if place in chords:
            yield _Column(chords[place], "")
        elif place != measure.low_beat:
            yield _Column("/", "", soft=True)


# ---- on paper


def _blocks(
    visits: Sequence[PlayedVisit], names: Sequence[str], size: float, width: float
) -> Iterator[tuple[Block, float]]:
    """Yield headings and rows from top to bottom, each with the room that it needs to stand where it is."""
    printed: set[tuple[str, tuple[_Bar, ...]]] = set()
    for visit, name in zip(visits, names, strict=True):
        alike = (visit.section, _sung(visit))
        again = alike in printed
        printed.add(alike)
        shown = name.replace("-", " ")
        shown = shown[:1].upper() + shown[1:] + (", as before" if again else "")
        text = shortened(shown, width / size, "bold")
        heading = Text(0.0, 1.25 * size, text, size, TEXT, style="bold", name="section")
        yield Block((heading,), HEADING_EM * size), (HEADING_EM + ROW_EM * (not again)) * size
        if not again:
            for row in _rows(_bars(visit), size, width):
                yield _row_block(row, size, width), 0.0


def _rows(bars: Sequence[_Bar], size: float, width: float) -> Iterator[list[_Bar]]:
    """Yield rows of bars: a row for each line of music, and more where it is too wide."""
    row: list[_Bar] = []
    for bar in bars:
        full = sum(_bar_width(each, size) for each in (*row, bar)) > width
        if row and (bar.breaks or full):
            yield row
            row = []
        row.append(bar)
    if row:
        yield row


def _bar_width(bar: _Bar, size: float) -> float:
    return sum(_column_width(column, size) for column in bar.columns) + 2 * BAR_EM * size


def _column_width(column: _Column, size: float) -> float:
    """Return how wide a column is, with the gap behind it."""
    gap = 0.0 if column.joined else GAP_EM
    words = text_width_em(column.words) + gap
    chord = (text_width_em(column.chord, "bold") * CHORD_EM + GAP_EM) if column.chord else 0.0
    return max(words, chord, EMPTY_EM if not column.words else 0.0) * size


def _row_block(bars: Sequence[_Bar], size: float, width: float) -> Block:
    """Return a row; one bar that is wider than the paper is set smaller."""
    wide = sum(_bar_width(bar, size) for bar in bars)
    size = size * min(1.0, width / wide)
    chord_y = 1.05 * size
    words_y = chord_y + LINE_EM * size
    x = 0.0
    shapes: list[Shape] = []
    for bar in bars:
        inside: list[Shape] = []
        if bar.opened:
            inside.append(_bar_line(x, chord_y, words_y, size))
        at = x + BAR_EM * size
        for column in bar.columns:
            inside += _column_shapes(column, at, (chord_y, words_y), size)
            at += _column_width(column, size)
        x += _bar_width(bar, size)
        shapes.append(Group(tuple(inside), "bar" if bar.opened else "pick-up", id=bar.name))
    shapes.append(_bar_line(x, chord_y, words_y, size))
    return Block(tuple(shapes), ROW_EM * size)


def _bar_line(x: float, top: float, bottom: float, size: float) -> Path:
    return Path(
        ((x, top - 0.8 * size), (x, bottom + 0.2 * size)), Ink(stroke=TEXT_SOFT, width=0.6), name="bar-line"
    )


def _column_shapes(column: _Column, x: float, lines: tuple[float, float], size: float) -> Iterator[Shape]:
    chord_y, words_y = lines
    if column.chord:
        colour = TEXT_SOFT if column.soft else TEXT
        style: Style = "plain" if column.soft else "bold"
        kind = "chord going on" if column.soft else "chord"
        yield Text(x, chord_y, column.chord, size * CHORD_EM, colour, style=style, name=kind)
    if column.words:
        room = _column_width(column, size) / size - text_width_em(column.words)
        hyphen = "-" if column.joined and room > text_width_em("-") else ""
        yield Text(x, words_y, column.words + hyphen, size, TEXT, name="words")
