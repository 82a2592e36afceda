"""A tune file of any kind that Tercet knows, told apart by what is in it, as lead sheets."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from render.exchange.leadsheet import LeadSheet, TuneError
from render.exchange.outside import read_outside

__all__ = ["Choice", "read_tune"]

_KNOWN = "MusicXML (.musicxml, .xml, .mxl)"

_OTHER_KINDS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", "a PDF: a picture of notes can't be read"),
    (b"\x89PNG", "a picture: notes can't be read from it"),
    (b"\xff\xd8\xff", "a picture: notes can't be read from it"),
    (b"RIFF", "a recording or a MIDI file wrapped in RIFF"),
    (b"fLaC", "a recording: notes can't be read from it"),
    (b"ID3", "a recording: notes can't be read from it"),
    (b"OggS", "a recording: notes can't be read from it"),
    (b"MThd", "a MIDI file, which can't be imported yet"),
    (b"\x1f\x8b", "a gzip file: unpack it first"),
)
"""How files of other kinds begin, and what they are."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Which tune of a file is wanted: part and voice; empty to let Tercet choose."""

    part: str = ""
    voice: str = ""


def read_tune(path: Path, choice: Choice = Choice()) -> LeadSheet:
    """Read a tune.

    Raises
    ------
    TuneError
        When the file can't be read, is of another kind, is damaged or hostile, or has no tune.
    """
    data = read_outside(path)
    for start, what in _OTHER_KINDS:
        if data.startswith(start):
            raise TuneError(f"{path} is {what}; what can be imported is {_KNOWN}")
    if data.startswith(b"PK") or _looks_like_xml(data):
        from render.exchange.musicxml_in import read_musicxml

        return read_musicxml(data, str(path), choice.part, choice.voice)
    raise TuneError(f"{path} isn't a kind of file that can be imported: those are {_KNOWN}")


def _looks_like_xml(data: bytes) -> bool:
    start = data[:400].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith(b"<")
