"""What a track says about itself, and how each kind of file holds it.

========  ====================  ==========================  ===============
tag       .wav (LIST INFO)      .flac .ogg .opus (comments)  .mp3 (ID3v2.3)
========  ====================  ==========================  ===============
title     INAM                  TITLE                       TIT2
artist    IART                  ARTIST                      TPE1
album     IPRD                  ALBUM                       TALB
number    ITRK                  TRACKNUMBER                 TRCK
comment   ICMT                  COMMENT                     COMM
copyright ICOP                  COPYRIGHT                   TCOP
licence   ICOP, after copyright LICENSE                     TXXX «LICENSE»
========  ====================  ==========================  ===============

libsndfile writes the first two columns. Into an MP3 it puts no copyright and no licence, takes every text for Latin-1
(its issue 915), and left only the old tag at the end, with 30 characters a text; so the ID3 tag is written here. Text
is UTF-8, in ID3 UTF-16 where ASCII won't do. RIFF has no rule for letters beyond ASCII; UTF-8 is what most players
read there.
"""

from __future__ import annotations

from dataclasses import dataclass

from tercet.errors import ParameterError

__all__ = ["LONGEST_TEXT", "Tags", "id3_tag", "sound_file_strings"]

LONGEST_TEXT = 1000
"""Characters of one tag; a longer text is cut."""

_ASCII = b"\x00"
_UTF_16 = b"\x01"


@dataclass(frozen=True, slots=True)
class Tags:
    """What a track says about itself; empty texts are left out.

    Control characters and line breaks become spaces, and a text longer than `LONGEST_TEXT` is cut.

    Parameters
    ----------
    title, artist, album, comment, copyright, licence
        Texts as a player shows them; the licence best as an SPDX name (``CC0-1.0``).
    track_number
        Place in the album, from 1; 0 for none.

    Raises
    ------
    ParameterError
        If the track number is below 0.
    """

    title: str = ""
    artist: str = ""
    album: str = ""
    track_number: int = 0
    comment: str = ""
    copyright: str = ""
    licence: str = ""

    def __post_init__(self) -> None:
        if self.track_number < 0:
            raise ParameterError(f"track number must be 0 or more (got {self.track_number})")
        for name in ("title", "artist", "album", "comment", "copyright", "licence"):
            object.__setattr__(self, name, _plain(getattr(self, name)))


def sound_file_strings(tags: Tags, *, has_licence: bool) -> dict[str, str]:
    """Return the tags under the names that python-soundfile sets them by, empty ones left out.

    Parameters
    ----------
    tags
        What to say.
    has_licence
        Whether the kind of file has a field for the licence; if not, it follows the copyright.
    """
    copyright_text = tags.copyright
    if not has_licence and tags.licence not in tags.copyright:
        copyright_text = "; ".join(text for text in (tags.copyright, tags.licence) if text)
    strings = {
        "title": tags.title,
        "artist": tags.artist,
        "album": tags.album,
        "tracknumber": str(tags.track_number or ""),
        "comment": tags.comment,
        "copyright": copyright_text,
        "license": tags.licence if has_licence else "",
    }
    return {name: text for name, text in strings.items() if text}


def id3_tag(tags: Tags) -> bytes:
    """Return an ID3v2.3 tag to stand before the first frame of an MP3; no bytes if there is nothing to say.

    Header: the letters ID3, version 3.0, no flags, the length as four sevens of bits. Frame: four letters, the length
    as four bytes, no flags, contents (ID3 tag version 2.3.0, sections 3.1, 3.3 and 4).
    """
    texts = {
        "TIT2": tags.title,
        "TPE1": tags.artist,
        "TALB": tags.album,
        "TRCK": str(tags.track_number or ""),
        "TCOP": tags.copyright,
    }
    frames = [_frame(name, _encoded(text)) for name, text in texts.items() if text]
    if tags.comment:
        frames.append(_frame("COMM", _encoded("", tags.comment, language=b"eng")))
    if tags.licence:
        frames.append(_frame("TXXX", _encoded("LICENSE", tags.licence)))
    if not frames:
        return b""
    body = b"".join(frames)
    length = bytes(len(body) >> shift & 0x7F for shift in (21, 14, 7, 0))
    return b"ID3\x03\x00\x00" + length + body


def _frame(name: str, contents: bytes) -> bytes:
    return name.encode("ascii") + len(contents).to_bytes(4, "big") + bytes(2) + contents


def _encoded(*texts: str, language: bytes = b"") -> bytes:
    """Texts of one frame after the byte that names their encoding, all but the last with an end sign."""
    if all(text.isascii() for text in texts):
        return _ASCII + language + b"\x00".join(text.encode("ascii") for text in texts)
    return _UTF_16 + language + b"\x00\x00".join(b"\xff\xfe" + text.encode("utf-16-le") for text in texts)


def _plain(text: str) -> str:
    """One line of printable text, cut to a length that every kind of file takes."""
    printable = "".join(letter if letter.isprintable() else " " for letter in text)
    return " ".join(printable.split())[:LONGEST_TEXT].rstrip()
