"""The back of a book: all shapes that its songs use, and its songs by the words with which they begin."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import replace

from tercet.publish.pdf import BookPage
from tercet.publish.pictures.chord_diagram import ASPECT, chord_diagram
from tercet.publish.pictures.looks import TEXT_SOFT
from tercet.publish.pictures.shapes_used import ShapeUse
from tercet.publish.shapes import Shape, Text
from tercet.publish.songbook.flow import BookLook, Piece, flowed, heading, paragraph
from tercet.publish.songbook.front import row
from tercet.theory import Tuning

__all__ = ["FIRST_LINES", "SHAPES", "index_pages", "plain_shapes", "shapes_pages"]

SHAPES, FIRST_LINES = "Shapes used", "First lines"
TOLD = "Songs that have no words stand under their titles."

DIAGRAM_WIDTH, LARGER_DIAGRAM, DIAGRAM_GAP = 52.0, 1.35, 10.0
_ACCIDENTALS = {"b": -1, "#": 1}


def plain_shapes(uses: Iterable[ShapeUse]) -> tuple[ShapeUse, ...]:
    """Return shapes each once under its chord, sorted by chord, simpler names and lower frets first.

    Which string holds the tune differs from song to song and isn't shown; fingers are those of the first use.
    """
    found: dict[tuple[str, tuple[int | None, ...]], ShapeUse] = {}
    for use in uses:
        known = found.setdefault((use.chord, use.frets), replace(use, tune_strings=()))
        if use.fingers and not known.fingers:
            found[use.chord, use.frets] = replace(use, tune_strings=())
    return tuple(sorted(found.values(), key=_place))


def _place(use: ShapeUse) -> tuple[object, ...]:
    chord = use.chord
    sign = _ACCIDENTALS.get(chord[1:2], 0)
    frets = tuple(-1 if fret is None else fret for fret in use.frets)
    return (not chord, chord[:1], sign, len(chord), chord, max(frets), sum(frets), frets)


def shapes_pages(shapes: Sequence[tuple[Tuning, Sequence[ShapeUse]]], look: BookLook) -> tuple[BookPage, ...]:
    """Return the diagrams of all shapes, tuning by tuning."""
    pieces: list[Piece] = []
    for tuning, uses in shapes:
        strings = " ".join(map(str, tuning.open_pitches))
        name = tuning.name if tuning.name != "custom" else "custom tuning"
        pieces.append(heading(f"{name}: {strings}, strings 4 to 1", 0.6 * look.heading_size, look))
        pieces += _rows(uses, look)
        pieces.append(Piece((), 10.0))
    return flowed(SHAPES, pieces, look)


def _rows(uses: Sequence[ShapeUse], look: BookLook) -> list[Piece]:
    wide = DIAGRAM_WIDTH * (LARGER_DIAGRAM if look.large else 1.0)
    count = int((look.inner + DIAGRAM_GAP) / (wide + DIAGRAM_GAP))
    step = wide + (look.inner - count * wide) / max(count - 1, 1)
    return [
        Piece(
            tuple(
                chord_diagram(use, step * place, 0.0, wide, left_handed=look.left_handed)
                for place, use in enumerate(uses[at : at + count])
            ),
            ASPECT * wide + 8.0,
        )
        for at in range(0, len(uses), count)
    ]


def index_pages(lines: Iterable[tuple[str, str, int]], look: BookLook) -> tuple[BookPage, ...]:
    """Return the index of first lines.

    Parameters
    ----------
    lines
        Of each song the words that it begins with (empty where it has none), its title, and its page from 0.
    look
        How the pages are to be.
    """
    sorted_lines = sorted(lines, key=lambda line: (_sorted_as(line[0] or line[1]), line[2]))
    pieces: list[Piece] = []
    before = ""
    for words, title, page in sorted_lines:
        letter = _sorted_as(words or title)[:1].upper()
        piece = row(
            words or title, "", page, look, style="italic" if words else "plain", indent=2 * look.text_size
        )
        shapes: tuple[Shape, ...] = piece.shapes
        if letter != before:
            size = look.text_size
            shapes = (
                Text(0.0, 1.25 * size, letter, size, TEXT_SOFT, style="bold", name="letter"),
                *shapes,
            )
            before = letter
        pieces.append(replace(piece, shapes=shapes))
    if any(not words for words, _, _ in sorted_lines):
        pieces.insert(0, paragraph(TOLD, 0.85 * look.text_size, look, TEXT_SOFT))
    return flowed(FIRST_LINES, pieces, look)


def _sorted_as(text: str) -> str:
    """Return a text as it is sorted: without accents, capitals, and signs before its first letter or digit."""
    plain = "".join(
        sign for sign in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(sign)
    )
    start = next((at for at, sign in enumerate(plain) if sign.isalnum()), 0)
    return plain[start:]
