"""What a track says about itself, read without the library that may have written it where it can be.

WAV: the LIST INFO chunk, FLAC, Ogg and Opus: through libsndfile, MP3: an ID3v2.3 tag.
"""

from __future__ import annotations

import struct
from pathlib import Path

import soundfile

__all__ = ["tags_of"]

INFO = {"INAM": "title", "IART": "artist", "IPRD": "album", "ITRK": "number", "ICOP": "licence"}
ID3 = {"TIT2": "title", "TPE1": "artist", "TALB": "album", "TRCK": "number"}
COMMENTS = {
    "title": "title",
    "artist": "artist",
    "album": "album",
    "tracknumber": "number",
    "license": "licence",
}
ENCODINGS = ("latin-1", "utf-16", "utf-16-be", "utf-8")


def tags_of(path: Path) -> dict[str, str]:
    """Return title, artist, album, number and licence, as far as the file has them, without a tolerance."""
    if path.suffix == ".wav":
        return _info_of(path.read_bytes())
    if path.suffix == ".mp3":
        return _id3_of(path.read_bytes())
    with soundfile.SoundFile(path) as file:
        texts = {ours: getattr(file, theirs) for theirs, ours in COMMENTS.items()}
    return {name: text for name, text in texts.items() if text}


def _info_of(data: bytes) -> dict[str, str]:
    """Walk through the chunks of a WAV file to its list of texts."""
    found, at = {}, 12
    while at + 8 <= len(data):
        name, length = struct.unpack_from("<4sI", data, at)
        if name == b"LIST" and data[at + 8 : at + 12] == b"INFO":
            place, end = at + 12, at + 8 + length
            while place + 8 <= end:
                label, size = struct.unpack_from("<4sI", data, place)
                text = data[place + 8 : place + 8 + size].rstrip(b"\0").decode()
                if label.decode() in INFO:
                    found[INFO[label.decode()]] = text
                place += 8 + size + size % 2
        at += 8 + length + length % 2
    return found


def _id3_of(data: bytes) -> dict[str, str]:
    """Read the text frames of an ID3v2.3 tag at the start of a file."""
    if data[:5] != b"ID3\x03\x00":
        return {}
    length = sum(byte << shift for byte, shift in zip(data[6:10], (21, 14, 7, 0), strict=True))
    found, at = {}, 10
    while at + 10 <= 10 + length:
        name, size = data[at : at + 4].decode(), int.from_bytes(data[at + 4 : at + 8], "big")
        body = data[at + 10 : at + 10 + size]
        text = body[1:].decode(ENCODINGS[body[0]]) if name.startswith("T") else ""
        if name in ID3:
            found[ID3[name]] = text
        elif name == "TXXX" and text.partition("\0")[0] == "LICENSE":
            found["licence"] = text.partition("\0")[2].lstrip("\ufeff")
        at += 10 + size
    return found
