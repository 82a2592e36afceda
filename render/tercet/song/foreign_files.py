"""Files that aren't plain text, or are another kind of text, told by what they hold, whatever their name is."""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["ForeignFile", "foreign_file"]

_SAVE_AS_TEXT = (
    "open it in the program that wrote it, choose Save As, and save it as plain text (UTF-8), with a name that "
    "ends in .yaml"
)
_NOT_WRITING = "a song is written as plain text; `tercet new SONG.yaml` writes one to start from"
_IMPORT = "`tercet import TUNE.{ending} -o SONG.yaml` makes a song file of it"
_BEGINNING = 4096
"""How many bytes tell what a text is."""


@dataclass(frozen=True, slots=True)
class ForeignFile:
    """Another kind of file.

    Parameters
    ----------
    message
        What it is.
    mend
        What to do with it.
    """

    message: str
    mend: str


_DOCUMENT = ForeignFile("this is a word processor's document, not plain text", _SAVE_AS_TEXT)
_WEB_PAGE = ForeignFile("this is a web page (HTML), not plain text", _SAVE_AS_TEXT)
_PDF = ForeignFile("this is a PDF, which holds printed pages, not text", _NOT_WRITING)
_MIDI = ForeignFile("this is a MIDI file", _IMPORT.format(ending="mid"))
_MUSICXML = ForeignFile("this is a MusicXML file", _IMPORT.format(ending="musicxml"))
_PACKED_MUSICXML = ForeignFile("this is a packed MusicXML file", _IMPORT.format(ending="mxl"))
_ABC = ForeignFile("this is a tune in ABC notation", _IMPORT.format(ending="abc"))

_BEGINS: tuple[tuple[bytes, ForeignFile], ...] = (
    (b"{\\rtf", _DOCUMENT),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", _DOCUMENT),
    (b"%PDF-", _PDF),
    (b"MThd", _MIDI),
)
_IN_ARCHIVES: tuple[tuple[bytes, ForeignFile], ...] = (
    (b"META-INF/container.xml", _PACKED_MUSICXML),
    (b"mimetypeapplication/vnd.oasis.opendocument", _DOCUMENT),
    (b"word/", _DOCUMENT),
    (b"[Content_Types].xml", _DOCUMENT),
    (b".iwa", _DOCUMENT),
)
_TEXTS: tuple[tuple[re.Pattern[bytes], ForeignFile], ...] = (
    (
        re.compile(
            rb"\s*(?:<\?xml[^>]*>\s*)?(?:<!--.*?-->\s*)*<(?:!doctype html|html|head|body)\b",
            re.IGNORECASE | re.DOTALL,
        ),
        _WEB_PAGE,
    ),
    (re.compile(rb"\s*<.*?<(?:score-partwise|score-timewise)\b", re.DOTALL), _MUSICXML),
    (re.compile(rb"\s*(?:%[^\n]*\n\s*)*X:\s*\d.*?^K:", re.DOTALL | re.MULTILINE), _ABC),
)


def foreign_file(data: bytes) -> ForeignFile | None:
    """Return what a file is instead of an arrangement file's plain text, told by its bytes; None when it isn't known.

    Parameters
    ----------
    data
        The file's first bytes, all of them in a small file.
    """
    for begin, kind in _BEGINS:
        if data.startswith(begin):
            return kind
    if data.startswith(b"PK\x03\x04"):
        return next((kind for part, kind in _IN_ARCHIVES if part in data), None)
    beginning = data[:_BEGINNING].removeprefix(b"\xef\xbb\xbf")
    return next((kind for pattern, kind in _TEXTS if pattern.match(beginning)), None)
