"""A tune file of any kind that Tercet knows, told apart by what is in it, as lead sheets."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from tercet.exchange.abc.book import tunes_of
from tercet.exchange.abc.reader import read_abc, read_tune_lines
from tercet.exchange.abc.text import decoded
from tercet.exchange.chordpro.reader import (
    is_chordpro,
    is_words_with_chords,
    read_chordpro,
    read_chordpro_book,
)
from tercet.exchange.leadsheet import LeadSheet, TuneError
from tercet.exchange.midi.reader import read_midi
from tercet.exchange.musicxml.reader import read_musicxml
from tercet.exchange.outside import read_outside
from tercet.exchange.words import plain_name
from tercet.typed import typed

__all__ = ["Choice", "is_book", "read_book", "read_tune"]

_ABC_START = re.compile(r"(?:^|[\r\n])\s{0,3}[XK]:")


@dataclass(frozen=True, slots=True)
class Choice:
    """Which tune of a file is wanted: tune of a book, part (or track), voice; empty to let Tercet choose.

    `bars_per_chord` is how many bars a chord lasts where a file of words and chords doesn't say.
    """

    tune: str = ""
    part: str = ""
    voice: str = ""
    bars_per_chord: Fraction | None = None


Book = Iterator[tuple[str, LeadSheet | TuneError]]
"""Names of tunes, and the sheet of each or what is wrong with it."""


@dataclass(frozen=True, slots=True)
class TuneKind:
    """A kind of tune file: name and endings, how its bytes are told, how they are read; as a book, where it is one."""

    told: str
    is_meant: Callable[[bytes], bool]
    read: Callable[[bytes, str, Choice], LeadSheet]
    book: Callable[[bytes, str, Choice], Book] | None = None


def _is_score(data: bytes) -> bool:
    start = data[:400].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return data.startswith(b"PK") or start.startswith(b"<")


def _abc_book(data: bytes, file: str, _: Choice) -> Book:
    for tune in tunes_of(decoded(data)):
        try:
            yield tune.title or "tune", read_tune_lines(tune, file)
        except TuneError as error:
            yield tune.title or "tune", error


def _chordpro(data: bytes, file: str, choice: Choice) -> LeadSheet:
    return read_chordpro(data, file, choice.tune, choice.bars_per_chord)


def _chordpro_book(data: bytes, file: str, choice: Choice) -> Book:
    return read_chordpro_book(data, file, choice.bars_per_chord)


KINDS: tuple[TuneKind, ...] = (
    TuneKind(
        "MusicXML (.musicxml, .xml, .mxl)",
        _is_score,
        lambda data, file, choice: read_musicxml(data, file, choice.part, choice.voice),
    ),
    TuneKind(
        "MIDI (.mid)",
        lambda data: data.startswith(b"MThd"),
        lambda data, file, choice: read_midi(data, file, choice.part),
    ),
    TuneKind("ChordPro (.cho, .chopro, .pro)", is_chordpro, _chordpro, _chordpro_book),
    TuneKind(
        "ABC (.abc)",
        lambda data: _ABC_START.search(decoded(data)) is not None,
        lambda data, file, choice: read_abc(data, file, choice.tune, choice.voice),
        _abc_book,
    ),
    TuneKind("words with chords over them (.txt)", is_words_with_chords, _chordpro, _chordpro_book),
)
"""The kinds that can be imported, in the order in which they are asked whether a file is theirs."""

_OTHER_KINDS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", "a PDF: a picture of notes can't be read"),
    (b"\x89PNG", "a picture: notes can't be read from it"),
    (b"\xff\xd8\xff", "a picture: notes can't be read from it"),
    (b"RIFF", "a recording or a MIDI file wrapped in RIFF"),
    (b"fLaC", "a recording: notes can't be read from it"),
    (b"ID3", "a recording: notes can't be read from it"),
    (b"OggS", "a recording: notes can't be read from it"),
    (b"\x1f\x8b", "a gzip file: unpack it first"),
)
"""How files of other kinds begin, and what they are."""


def read_tune(path: Path, choice: Choice = Choice()) -> LeadSheet:
    """Read a tune.

    Raises
    ------
    TuneError
        When the file can't be read, is of another kind, is damaged or hostile, or has no tune.
    """
    data, kind = _known_kind(path)
    return kind.read(data, str(path), choice)


def is_book(path: Path) -> bool:
    """Return whether a file is of a kind that may hold several tunes: ABC, ChordPro.

    Raises
    ------
    TuneError
        When the file can't be read or is of another kind.
    """
    return _known_kind(path)[1].book is not None


def read_book(path: Path, choice: Choice = Choice()) -> Book:
    """Yield a name and the sheet, or what is wrong with it, for every tune of a book.

    Raises
    ------
    TuneError
        When the file can't be read.
    """
    data, kind = _known_kind(path)
    if kind.book is None:
        raise TuneError(f"{path} holds one tune")
    for title, sheet in kind.book(data, path.name, choice):
        yield plain_name(title) or "tune", sheet


def _known_kind(path: Path) -> tuple[bytes, TuneKind]:
    """Return the bytes of a tune file, and of which kind it is."""
    data = read_outside(path)
    if path.suffix.lower() in (".yaml", ".yml"):
        raise TuneError(f"{path} looks like a song file already: try `{typed('tercet', 'check', path)}`")
    *most, last = (kind.told for kind in KINDS)
    known = f"{', '.join(most)} and {last}"
    for start, what in _OTHER_KINDS:
        if data.startswith(start):
            raise TuneError(f"{path} is {what}; what can be imported is {known}")
    for kind in KINDS:
        if kind.is_meant(data):
            return data, kind
    raise TuneError(f"{path} isn't a kind of file that can be imported: those are {known}")
