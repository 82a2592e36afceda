"""A song as it stands in a book: a sheet for each set of the class, and what the book tells of it elsewhere."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from tercet.arranging import Arrangement
from tercet.publish.pdf import Face, signs_by_face
from tercet.publish.pictures.shapes_used import ShapeUse, shapes_used
from tercet.publish.score.head_and_foot import practising, reading
from tercet.publish.score.pages import SheetLook, foot_notice, sheet_of
from tercet.publish.shapes import Drawing
from tercet.song import Bar, Syllable, played_visits
from tercet.theory import Tuning

__all__ = ["BookSheet", "BookSong", "first_words", "laid_out"]

_INNER_STOPS = ",;:–—-"
"""What an index leaves out at the end of a line."""

FEWEST_WORDS = 3
"""A line of verse has at least so many."""


@dataclass(frozen=True, slots=True)
class BookSheet:
    """A sheet of a song: for whom it is (empty where there is one alone), and what it has.

    `notice` is what stands at the foot of its pages, `shapes` are those that it uses.
    """

    title: str
    tuning: Tuning
    players: str
    notice: str
    pages: int
    shapes: tuple[ShapeUse, ...]


@dataclass(frozen=True, slots=True)
class BookSong:
    """A song of a book.

    Parameters
    ----------
    title, composer, licence
        As the song says.
    first_words
        The first line that is sung; empty where there are no words.
    sheets
        One for each set of the class.
    reading, practising
        Sentences on how to read its sheets, and how to practise with its recordings.
    signs
        All signs of its pages, by face.
    """

    title: str
    composer: str
    licence: str
    first_words: str
    sheets: tuple[BookSheet, ...]
    reading: tuple[str, ...]
    practising: tuple[str, ...]
    signs: Mapping[Face, frozenset[str]]

    @property
    def texts(self) -> tuple[str, ...]:
        """All that a font must have for it, without what its pages hold."""
        return (self.title, self.composer, self.licence, self.first_words)


def laid_out(
    sets: Sequence[tuple[str, Arrangement]], look: SheetLook
) -> tuple[BookSong, tuple[Drawing, ...]]:
    """Lay out a song of a book.

    Parameters
    ----------
    sets
        The song for each of the class, and what that is called.
    look
        How its sheets are to be.

    Returns
    -------
    BookSong
        What the book tells of it.
    tuple of Drawing
        The pages of all its sheets, in order.
    """
    sheets = [sheet_of(arrangement, look) for _, arrangement in sets]
    song, pages = sets[0][1].song, tuple(page for sheet in sheets for page in sheet.pages)
    told = tuple(
        BookSheet(
            title,
            arrangement.tuning,
            arrangement.song.players,
            foot_notice(arrangement.song),
            len(sheet.pages),
            shapes_used(arrangement),
        )
        for (title, arrangement), sheet in zip(sets, sheets, strict=True)
    )
    return (
        BookSong(
            song.title,
            song.composer,
            song.licence,
            first_words(sets[0][1].bars),
            told,
            tuple(dict.fromkeys(line for _, each in sets for line in reading(each, large=look.large))),
            tuple(practising(song.layers)),
            {face: frozenset(signs) for face, signs in signs_by_face(pages).items()},
        ),
        pages,
    )


def first_words(bars: Sequence[Bar]) -> str:
    """Return the first line of music that is sung, its last word whole; empty where nothing is sung.

    Parameters
    ----------
    bars
        The piece as played.
    """
    line: list[str] = []
    joined, place = False, (-1, -1)
    for here, syllable in _sung(bars):
        if line and here != place and not joined:
            break
        if not syllable.holds:
            place = place if line else here
            line.append(syllable.text.replace("‿", " ") + ("" if syllable.joined else " "))
            joined = syllable.joined
    return _one_line("".join(line).split())


def _one_line(words: Sequence[str]) -> str:
    """Return words up to where a new line of verse begins: with a capital, behind a sign."""
    ends = (
        at
        for at, (word, after) in enumerate(pairwise(words), 1)
        if at >= FEWEST_WORDS and not word[-1].isalnum() and after[0].isupper()
    )
    return " ".join(words[: next(ends, len(words))]).rstrip(_INNER_STOPS).rstrip()


def _sung(bars: Sequence[Bar]) -> Iterator[tuple[tuple[int, int], Syllable]]:
    """Yield the syllables of a piece, each with its line of music: a pick-up's is the one that it leads into."""
    for visit, played in enumerate(played_visits(bars)):
        first = played.bars[0].line
        for measure in played.measures:
            line = first if measure.section_bar == 0 else measure.bar.line
            for beat, syllable in measure.bar.words:
                if measure.holds(beat):
                    yield (visit, line), syllable
