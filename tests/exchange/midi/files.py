"""Small MIDI files, written by the tests event by event."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from io import BytesIO
from typing import Any

import mido

TICKS = 480


def track(name: str, *events: tuple[float, Any]) -> mido.MidiTrack:
    """Return a track of (place in quarters, message)."""
    made = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
    now = 0
    for place, message in sorted(events, key=lambda event: event[0]):
        tick = round(place * TICKS)
        made.append(message.copy(time=tick - now))
        now = tick
    return made


def notes(*played: tuple[int, float, float], channel: int = 0) -> list[tuple[float, Any]]:
    """Return the events of (key, start, end), both in quarters."""
    events = []
    for key, start, end in played:
        events.append((end, mido.Message("note_off", note=key, channel=channel)))
        events.append((start, mido.Message("note_on", note=key, velocity=80, channel=channel)))
    return sorted(events, key=lambda event: (event[0], event[1].type == "note_on"))


def meta(place: float, kind: str, **values: Any) -> tuple[float, Any]:
    """Return a meta event."""
    return place, mido.MetaMessage(kind, **values)


def midi(*tracks: mido.MidiTrack, kind: int = 1) -> bytes:
    """Return the bytes of a file."""
    file = mido.MidiFile(type=kind, ticks_per_beat=TICKS)
    file.tracks.extend(tracks)
    buffer = BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def raw(kind: int, tracks: int, division: int, chunks: Iterable[bytes] = (), length: int = 6) -> bytes:
    """Return a file with any header."""
    body = b"".join(b"MTrk" + struct.pack(">I", len(chunk)) + chunk for chunk in chunks)
    return b"MThd" + struct.pack(">IHHH", length, kind, tracks, division) + body


def far_away(tick: Sequence[int] = (0xFF, 0xFF, 0xFF, 0x7F)) -> bytes:
    """Return a file whose only note ends 268 million ticks later."""
    chunk = bytes([0, 0x90, 60, 80, *tick, 0x80, 60, 0, 0, 0xFF, 0x2F, 0])
    return raw(0, 1, TICKS, [chunk])
