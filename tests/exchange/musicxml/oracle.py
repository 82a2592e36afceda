"""What music21 reads of a score, to hold our reader against it: notes as played, chord symbols and words of one part.

music21 joins ties with `stripTies` and leaves grace notes at length 0. Notes are those of the written song, repeats
unfolded by `expandRepeats`; chord symbols and words are compared as written, their places counted in quarters from
the first measure's start.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from tercet.errors import TercetError
from tercet.exchange import Choice, LeadSheet, read_tune
from tercet.exchange.outside import unpack
from tercet.exchange.words import sung_text
from tests.exchange.heard import Heard, Imported, from_the_first, imported

ENDINGS = ("*.mxl", "*.xml", "*.musicxml")
LENGTH_TOLERANCE_QUARTER = Fraction(1, 10_000)
"""music21 rounds tuplets to fractions of its own."""

Word = tuple[Fraction, int, str]
"""Place, verse, text."""

Symbol = tuple[Fraction, frozenset[int]]
"""Place and pitch classes; none for N.C."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One part as one reader has it."""

    symbols: list[Symbol]
    words: Counter[Word]


def scores(folder: Path) -> Iterator[Path]:
    """Yield every score below a folder, in order."""
    yield from sorted(file for ending in ENDINGS for file in folder.rglob(ending))


def score_text(file: Path) -> bytes:
    """Return the XML of a score, empty when it is refused."""
    data = file.read_bytes()
    try:
        return unpack(data, file.name)[0] if data.startswith(b"PK") else data
    except TercetError:
        return b""


def single_lines(text: bytes) -> list[int]:
    """Return the numbers of the parts, from 1, that are one line: one voice, nothing struck together, some pitch.

    Of scores in which a part has several staves there are none: music21 counts those as several parts.
    """
    found: list[int] = []
    if b"<staves>" in text or b"<score-timewise" in text:
        return found
    for number, part in enumerate(re.findall(rb"<part\s.*?</part>", text, re.DOTALL), 1):
        voices = set(re.findall(rb"<voice>(.*?)</voice>", part))
        if (
            b"<chord" not in part
            and b"<pitch>" in part
            and len(voices) < 2
            and b"<score-timewise" not in text
        ):
            found.append(number)
    return found


def read_by_us(file: Path, part: int) -> Reading:
    """Return what we read."""
    sheet = read_tune(file, Choice(part=str(part)))
    return Reading(list(_our_symbols(sheet)), Counter(_our_words(sheet)))


def changed_symbols(file: Path, part: int) -> list[str]:
    """Return what we say of chord symbols that songs don't have."""
    return [remark for remark in read_tune(file, Choice(part=str(part))).remarks if "chord symbol" in remark]


def _our_symbols(sheet: LeadSheet) -> Iterator[Symbol]:
    now = Fraction(0)
    for measure in sheet.measures:
        for symbol in sorted(measure.chords, key=lambda each: each.start_quarter):
            yield now + symbol.start_quarter, symbol.chord.pitch_classes if symbol.chord else frozenset()
        now += measure.length_quarter


def _our_words(sheet: LeadSheet) -> Iterator[Word]:
    now = Fraction(0)
    for measure in sheet.measures:
        for note in measure.notes:
            for verse, syllable in note.words:
                if syllable.text:
                    yield now + note.start_quarter, verse, syllable.text
        now += measure.length_quarter


def played_by_us(file: Path, part: int) -> Imported:
    """Return what the song plays that is written of a part."""
    return imported(read_tune(file, Choice(part=str(part))))


def played_by_music21(part: Any) -> list[Heard] | None:
    """Return what music21 plays of one of its parts, repeats unfolded; None when it can't unfold them."""
    from music21.repeat import ExpanderException

    if part.recurse().getElementsByClass(("RepeatMark", "RepeatBracket")):
        try:
            part = part.expandRepeats()
        except (ExpanderException, AttributeError, IndexError):
            return None
    return from_the_first(
        [
            (int(note.pitch.midi), Fraction(note.offset), Fraction(note.quarterLength))
            for note in part.stripTies().flatten().notes
            if note.quarterLength and hasattr(note, "pitch") and "ChordSymbol" not in note.classes
        ]
    )


def read_by_music21(part: Any) -> Reading:
    """Return the symbols and words that music21 reads of one of its parts."""
    flat = part.flatten()
    symbols = [
        (Fraction(symbol.offset), frozenset(pitch.pitchClass for pitch in symbol.pitches))
        for symbol in flat.getElementsByClass("Harmony")
    ]
    words = Counter(
        (Fraction(note.offset), lyric.number, sung_text(lyric.text or ""))
        for note in flat.notes
        for lyric in note.lyrics
        if sung_text(lyric.text or "") and note.quarterLength
    )
    return Reading(symbols, words)
