"""Standard MIDI Files from outside as plain events: chunks that aren't tracks are passed over, damage is said.

A library reads well-made files; among public ones are chunks of other programs, meta events without their bytes and
key signatures that don't exist, any of which would lose the whole tune there.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from tercet.exchange.leadsheet import TuneError

__all__ = ["LARGEST_MIDI_BYTES", "META", "MidiEvent", "MidiFile", "read_chunks"]

LARGEST_MIDI_BYTES = 300 * 1024
"""About a hundred thousand events: an hour of a whole band."""

META = 0xFF
_MOST_TRACKS = 256
_SYSEX = (0xF0, 0xF7)
_SYSTEM_DATA = {0xF1: 1, 0xF2: 2, 0xF3: 1}
"""Bytes of data after a system message, which no file should hold."""

_ONE_BYTE = (0xC0, 0xD0)
"""Program and channel pressure; the other messages of a channel have two bytes."""

_END_OF_TRACK = 0x2F
_LONGEST_NUMBER = 4


@dataclass(frozen=True, slots=True)
class MidiEvent:
    """An event: its tick from the track's start, its status byte, the kind of a meta event (else 0), and its bytes."""

    tick: int
    status: int
    kind: int
    data: bytes


@dataclass(frozen=True, slots=True)
class MidiFile:
    """The events of each track; `division` as in the header, `said_tracks` how many the header tells."""

    kind: int
    division: int
    said_tracks: int
    tracks: tuple[tuple[MidiEvent, ...], ...]


def read_chunks(data: bytes, file: str) -> MidiFile:
    """Read the events of a file.

    Raises
    ------
    TuneError
        When it is too large, cut off or damaged.
    """
    if len(data) > LARGEST_MIDI_BYTES:
        raise TuneError(
            f"{file} is larger than {LARGEST_MIDI_BYTES // 1024} kB, far more than a tune needs: export just the tune"
        )
    if len(data) < 14:
        raise TuneError(f"{file} is a damaged MIDI file (its header is cut off): export it again")
    length, kind, said_tracks, division = struct.unpack(">IHHH", data[4:14])
    if length < 6 or 8 + length > len(data):
        raise TuneError(f"{file} is a damaged MIDI file (its header is {length} bytes long): export it again")
    if said_tracks > _MOST_TRACKS:
        raise TuneError(f"{file} has {said_tracks} tracks, far more than a tune needs: export just the tune")
    chunks = _track_chunks(data, 8 + length, said_tracks, file)
    return MidiFile(kind, division, said_tracks, tuple(tuple(_events(chunk, file)) for chunk in chunks))


def _track_chunks(data: bytes, at: int, wanted: int, file: str) -> Iterator[bytes]:
    """Yield the bytes of each track; after the last one anything may follow."""
    found = 0
    while found < max(wanted, 1) and at + 8 <= len(data):
        name, (length,) = data[at : at + 4], struct.unpack(">I", data[at + 4 : at + 8])
        whole = at + 8 + length <= len(data)
        if name == b"MTrk":
            if not whole:
                raise TuneError(
                    f"{file} is a damaged MIDI file (track {found + 1} is cut off): export it again"
                )
            found += 1
            yield data[at + 8 : at + 8 + length]
        elif not whole:
            return
        at += 8 + length


def _events(chunk: bytes, file: str) -> Iterator[MidiEvent]:
    """Yield the events of a track."""
    try:
        yield from _Chunk(chunk).events()
    except IndexError:
        raise TuneError(
            f"{file} is a damaged MIDI file (an event in it is cut off): export it again"
        ) from None
    except ValueError as error:
        raise TuneError(f"{file} is a damaged MIDI file ({error}): export it again") from None


class _Chunk:
    """The bytes of a track, and how far they have been read; reading past them is an `IndexError`."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def events(self) -> Iterator[MidiEvent]:
        tick, running = 0, 0
        while self._at < len(self._data):
            tick += self._number()
            status = self._data[self._at]
            if status >= 0x80:
                self._at += 1
            elif running:
                status = running
            else:
                raise ValueError("it begins with the bytes of an event that isn't there")
            if status == META:
                kind = self._take(1)[0]
                yield MidiEvent(tick, META, kind, self._take(self._number()))
                if kind == _END_OF_TRACK:
                    return
            elif status in _SYSEX:
                self._take(self._number())
            elif status > 0xF0:
                self._take(_SYSTEM_DATA.get(status, 0))
            else:
                running = status
                data = self._take(1 if status & 0xF0 in _ONE_BYTE else 2)
                yield MidiEvent(tick, status, 0, bytes(min(byte, 127) for byte in data))

    def _number(self) -> int:
        value = 0
        for _ in range(_LONGEST_NUMBER):
            byte = self._take(1)[0]
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise ValueError("a length in it goes on for too many bytes")

    def _take(self, count: int) -> bytes:
        end = self._at + count
        if end > len(self._data):
            raise IndexError
        taken = self._data[self._at : end]
        self._at = end
        return taken
