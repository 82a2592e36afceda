"""Ogg pages: one serial number for the same sound, so that the same track is the same bytes.

libsndfile draws the serial number of an Ogg stream at random, and the number stands in every page under a checksum.
Here it is replaced by one worked out from what the pages carry. Layout of a page: RFC 3533, section 6.
"""

from __future__ import annotations

import hashlib
import zlib
from dataclasses import dataclass

from tercet.errors import ParameterError

__all__ = ["Page", "page_checksum", "pages", "with_settled_serial"]

_CAPTURE = b"OggS"
_HEADER_BYTES = 27
_SERIAL = slice(14, 18)
_CHECKSUM = slice(22, 26)
_SEGMENT_COUNT = 26
_LAST_PAGE_FLAG = 0x04

_BITS_REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


@dataclass(frozen=True, slots=True)
class Page:
    """Where one page lies.

    Parameters
    ----------
    start_byte, body_byte, stop_byte
        Places in the file: of the header, of what the page carries, of the next page.
    serial
        Number of the stream that the page belongs to, 0 to 2³² − 1.
    is_last
        Whether the page says that it is the last of its stream.
    """

    start_byte: int
    body_byte: int
    stop_byte: int
    serial: int
    is_last: bool


def pages(data: bytes) -> tuple[Page, ...]:
    """Return the pages of a whole Ogg file, in order.

    Raises
    ------
    ParameterError
        If the bytes aren't pages from the first to the last.
    """
    found = []
    start = 0
    while start < len(data):
        table = start + _HEADER_BYTES
        if data[start : start + 4] != _CAPTURE or table > len(data):
            raise ParameterError(f"Ogg data must be whole pages (got something else at byte {start})")
        body = table + data[start + _SEGMENT_COUNT]
        stop = body + sum(data[table:body])
        if stop > len(data):
            raise ParameterError(f"Ogg data must be whole pages (got a page cut short at byte {start})")
        serial = int.from_bytes(data[start:stop][_SERIAL], "little")
        found.append(Page(start, body, stop, serial, bool(data[start + 5] & _LAST_PAGE_FLAG)))
        start = stop
    return tuple(found)


def page_checksum(page: bytes) -> int:
    """Return the checksum of a page, whatever stands in its checksum field.

    Ogg's CRC has the polynomial 0x04C11DB7, highest bit first, register 0 at the start and unchanged at the end.
    zlib's has the same polynomial lowest bit first, and inverts the register before and after. So reverse the bits
    of every byte, undo the inversions, and reverse the bits of the result: the loop over the bytes stays in C.
    """
    blank = page[: _CHECKSUM.start] + bytes(4) + page[_CHECKSUM.stop :]
    register = zlib.crc32(blank.translate(_BITS_REVERSED), 0xFFFF_FFFF) ^ 0xFFFF_FFFF
    return int.from_bytes(register.to_bytes(4, "little").translate(_BITS_REVERSED), "big")


def with_settled_serial(data: bytes) -> bytes:
    """Return an Ogg file of one stream with the serial number that follows from what it carries.

    Parameters
    ----------
    data
        A whole file.

    Returns
    -------
    bytes
        As long as before; serial numbers and checksums differ, nothing else. Never the numbers 0 and 2³² − 1, which
        some tools set apart.

    Raises
    ------
    ParameterError
        If the bytes aren't one whole stream.
    """
    found = pages(data)
    if len({page.serial for page in found}) != 1 or not found[-1].is_last:
        raise ParameterError("Ogg data must be one whole stream (got several, none or one without its end)")
    digest = hashlib.blake2b(digest_size=4)
    for page in found:
        digest.update(data[page.body_byte : page.stop_byte])
    serial = min(max(int.from_bytes(digest.digest(), "little"), 1), 0xFFFF_FFFE).to_bytes(4, "little")
    settled = bytearray(data)
    for page in found:
        renamed = bytearray(data[page.start_byte : page.stop_byte])
        renamed[_SERIAL] = serial
        renamed[_CHECKSUM] = page_checksum(bytes(renamed)).to_bytes(4, "little")
        settled[page.start_byte : page.stop_byte] = renamed
    return bytes(settled)
