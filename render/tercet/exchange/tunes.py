"""A tune file of any kind that Tercet knows, told apart by what is in it, as lead sheets."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tercet.exchange.leadsheet import LeadSheet, TuneError
from tercet.exchange.outside import read_outside
from tercet.exchange.section_names import plain_name

__all__ = ["Choice", "is_book", "read_book", "read_tune"]

_KNOWN = "MusicXML (.musicxml, .xml, .mxl), ABC (.abc) and MIDI (.mid)"
_MIDI_START = b"MThd"
_ABC_START = re.compile(rb"(^|[\r\n])X:", re.MULTILINE)

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


@dataclass(frozen=True, slots=True)
class Choice:
    """Which tune of a file is wanted: tune of a book, part (or track), voice; empty to let Tercet choose."""

    tune: str = ""
    part: str = ""
    voice: str = ""


def read_tune(path: Path, choice: Choice = Choice()) -> LeadSheet:
    """Read a tune.

    Raises
    ------
    TuneError
        When the file can't be read, is of another kind, is damaged or hostile, or has no tune.
    """
    data = _known_kind(path)
    if _is_score(data):
        from tercet.exchange.musicxml_in import read_musicxml

        return read_musicxml(data, str(path), choice.part, choice.voice)
    if data.startswith(_MIDI_START):
        from tercet.exchange.midi_in import read_midi

        return read_midi(data, str(path), choice.part)
    from tercet.exchange.abc_in import read_abc

    return read_abc(data, str(path), choice.tune, choice.voice)


def is_book(path: Path) -> bool:
    """Return whether a file is ABC, which may hold several tunes.

    Raises
    ------
    TuneError
        When the file can't be read or is of another kind.
    """
    data = _known_kind(path)
    return not (_is_score(data) or data.startswith(_MIDI_START))


def read_book(path: Path) -> Iterator[tuple[str, LeadSheet | TuneError]]:
    """Yield a name and the sheet, or what is wrong with it, for every tune of an ABC book.

    Raises
    ------
    TuneError
        When the file can't be read.
    """
    data = _known_kind(path)
    from tercet.exchange.abc_in import decoded, read_tune_lines, tunes_of

    for tune in tunes_of(decoded(data)):
        name = plain_name(f"{tune.title or 'tune'}") or "tune"
        try:
            yield name, read_tune_lines(tune, path.name)
        except TuneError as error:
            yield name, error


def _known_kind(path: Path) -> bytes:
    """Return the bytes of a file that is a score or a tune book."""
    data = read_outside(path)
    if path.suffix.lower() in (".yaml", ".yml"):
        raise TuneError(f"{path} looks like a song file already: try `tercet check {path}`")
    for start, what in _OTHER_KINDS:
        if data.startswith(start):
            raise TuneError(f"{path} is {what}; what can be imported is {_KNOWN}")
    if not (_is_score(data) or data.startswith(_MIDI_START) or _ABC_START.search(data)):
        raise TuneError(f"{path} isn't a kind of file that can be imported: those are {_KNOWN}")
    return data


def _is_score(data: bytes) -> bool:
    return data.startswith(b"PK") or _looks_like_xml(data)


def _looks_like_xml(data: bytes) -> bool:
    start = data[:400].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith(b"<")
