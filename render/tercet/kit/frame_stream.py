"""Frames with their times as one stream of bytes, for an encoder at the other end of a pipe.

The stream is Matroska (RFC 9559) with raw pictures: a frame that stays for a while is sent once. Its times are
numbers of frames.
"""

from __future__ import annotations

from collections.abc import Iterator

from tercet.publish.film import FRAME_RATE_HZ, FilmSize
from tercet.publish.film.pixels import Picture

__all__ = ["frame_bytes", "head_bytes"]

_UNKNOWN_SIZE = b"\x01\xff\xff\xff\xff\xff\xff\xff"
"""Of the segment, which ends with the stream (RFC 8794, section 6.2)."""

_KEY_FRAME = 0x80


def head_bytes(size: FilmSize) -> bytes:
    """Return what comes before the first frame."""
    kind = _element(0x4282, b"matroska") + _element(0x4287, b"\x04") + _element(0x4285, b"\x02")
    info = (
        _number(0x2AD7B1, round(1e9 / FRAME_RATE_HZ))
        + _element(0x4D80, b"tercet")
        + _element(0x5741, b"tercet")
    )
    video = _number(0xB0, size.width) + _number(0xBA, size.height) + _element(0x2EB524, b"I420")
    track = _number(0xD7, 1) + _number(0x73C5, 1) + _number(0x83, 1) + _element(0x86, b"V_UNCOMPRESSED")
    tracks = _element(0xAE, track + _element(0xE0, video))
    segment = _name(0x18538067) + _UNKNOWN_SIZE
    return _element(0x1A45DFA3, kind) + segment + _element(0x1549A966, info) + _element(0x1654AE6B, tracks)


def frame_bytes(number: int, picture: Picture) -> Iterator[bytes | memoryview]:
    """Yield a frame, a cluster of its own, piece by piece."""
    block = b"\x81\x00\x00" + bytes([_KEY_FRAME])
    planes = [plane.data for plane in picture.planes]
    block_size = len(block) + sum(plane.nbytes for plane in planes)
    stamp = _number(0xE7, number)
    head = stamp + _name(0xA3) + _size(block_size)
    yield _name(0x1F43B675) + _size(len(head) + block_size) + head + block
    yield from planes


def _element(name: int, data: bytes) -> bytes:
    return _name(name) + _size(len(data)) + data


def _number(name: int, value: int) -> bytes:
    return _element(name, value.to_bytes(max((value.bit_length() + 7) // 8, 1), "big"))


def _name(name: int) -> bytes:
    return name.to_bytes((name.bit_length() + 7) // 8, "big")


def _size(length: int) -> bytes:
    """Return a length in eight bytes, the first of which says so."""
    return (length | 1 << 56).to_bytes(8, "big")
