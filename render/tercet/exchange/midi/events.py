"""Standard MIDI Files from outside, as tracks of notes and words, by place in quarters.

A note that is struck again ends where it is struck; one that is never let go ends with its track. In a file of type 0,
and in a track whose channels play different sounds, every channel is a track of its own.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from tercet.exchange.leadsheet import TuneError
from tercet.exchange.midi.chunks import META, MidiEvent, MidiFile, read_chunks
from tercet.theory import Key
from tercet.theory.pitch import key_of_signature
from tercet.wording import counted

__all__ = ["MidiNote", "MidiText", "MidiTrack", "MidiTune", "read_events"]

MOST_QUARTERS = 128_000
"""As long as the longest song in the longest meter, 16/1."""

DRUMS = 9
_SMPTE = 0x8000
_NTSC = 29
"""Frames a second that a header calls 29: 30 that run slower by a thousandth."""

_USUAL_TEMPO_US = 500_000
"""Microseconds a quarter where no tempo is given."""

_FINEST_PLACE = 3840
"""Parts of a quarter to which places in files timed in film frames are rounded."""

_LATE_QUARTER = Fraction(1, 10)
"""So late a key may be let go after it was struck again."""

_TEXT, _NAME, _LYRICS, _MARKER, _TEMPO, _METER, _KEY = 0x01, 0x03, 0x05, 0x06, 0x51, 0x58, 0x59
_MOST_SIGNS = 7


@dataclass(frozen=True, slots=True)
class MidiNote:
    """A note: key number, start and end in quarters as played."""

    midi: int
    start_quarter: Fraction
    end_quarter: Fraction


@dataclass(frozen=True, slots=True)
class MidiText:
    """A text at its place; `is_lyric` tells a lyric event from a text event."""

    at_quarter: Fraction
    text: str
    is_lyric: bool


@dataclass(frozen=True, slots=True)
class MidiTrack:
    """A track: its number from 1 (``1.4`` for channel 4 of a shared one), its name, its notes and its texts."""

    number: str
    name: str
    notes: tuple[MidiNote, ...]
    texts: tuple[MidiText, ...]


@dataclass(frozen=True, slots=True)
class MidiTune:
    """A file: its tracks, and what any of them says of tempo, meter, key and sections, by place in quarters.

    `tick_quarter` is the finest step of its time; `lost` says what makes no sense and is left out.
    """

    tracks: tuple[MidiTrack, ...]
    tempi: tuple[tuple[Fraction, Fraction], ...]
    meters: tuple[tuple[Fraction, tuple[int, int]], ...]
    keys: tuple[tuple[Fraction, Key], ...]
    markers: tuple[tuple[Fraction, str], ...]
    tick_quarter: Fraction
    lost: tuple[str, ...]


def read_events(data: bytes, file: str) -> MidiTune:
    """Read a MIDI file.

    Raises
    ------
    TuneError
        When it is too large, damaged, of no known type, or longer than any song.
    """
    found = read_chunks(data, file)
    if found.kind not in (0, 1):
        raise TuneError(
            f"{file} is a MIDI file of type {found.kind}, which holds no one tune: export it as type 0 or 1"
        )
    if found.division == 0:
        raise TuneError(f"{file} has 0 ticks to a quarter, so nothing in it has a length: export it again")
    if not found.tracks:
        raise TuneError(f"{file} is a damaged MIDI file (no track is in it): export it again")
    return _Collector(found, file).tune()


def _in_beats(ticks: int) -> Callable[[int], Fraction]:
    return lambda tick: Fraction(tick, ticks)


def _in_frames(division: int, tempi: Sequence[tuple[int, int]], file: str) -> Callable[[int], Fraction]:
    """Return the quarter of a tick in a file that counts film frames, along the tempi that it tells."""
    frames, parts = 256 - (division >> 8), division & 0xFF
    if not parts:
        raise TuneError(f"{file} has 0 ticks to a film frame, so nothing in it has a length: export it again")
    second = Fraction(30_000, 1001) * parts if frames == _NTSC else Fraction(frames * parts)
    points = [(0, Fraction(0), _USUAL_TEMPO_US)]
    for tick, tempo_us in tempi:
        before, quarter, old_us = points[-1]
        points.append((tick, quarter + Fraction(tick - before) / second * 1_000_000 / old_us, tempo_us))
    ticks = [tick for tick, _, _ in points]

    def quarter_of(tick: int) -> Fraction:
        start, quarter, tempo_us = points[bisect_right(ticks, tick) - 1]
        exact = quarter + Fraction(tick - start) / second * 1_000_000 / tempo_us
        return Fraction(round(exact * _FINEST_PLACE), _FINEST_PLACE)

    return quarter_of


class _Collector:
    """Collects the events of a file."""

    def __init__(self, found: MidiFile, file: str) -> None:
        self._found = found
        self._file = file
        self._tempi: list[tuple[Fraction, Fraction]] = []
        self._meters: list[tuple[Fraction, tuple[int, int]]] = []
        self._keys: list[tuple[Fraction, Key]] = []
        self._markers: list[tuple[Fraction, str]] = []
        self._lost: Counter[str] = Counter()
        if found.division & _SMPTE:
            self._tick_quarter = Fraction(1, _FINEST_PLACE)
            self._quarter = _in_frames(found.division, _tempi_of(found), file)
            self._lost["the file counts film frames: beats are worked out from its tempo changes"] = 1
        else:
            self._tick_quarter = Fraction(1, found.division)
            self._quarter = _in_beats(found.division)

    def tune(self) -> MidiTune:
        """Return everything that matters, in order of time."""
        tracks = [
            part
            for number, events in enumerate(self._found.tracks, 1)
            for part in self._track(number, events)
        ]
        missing = self._found.said_tracks - len(self._found.tracks)
        if missing > 0:
            lost = counted(missing, "of them is missing", "of them are missing")
            said = f"the file should hold {counted(self._found.said_tracks, 'track')}, but {lost}"
            self._lost[said] = 1
        return MidiTune(
            tuple(tracks),
            tuple(sorted(self._tempi)),
            tuple(sorted(self._meters)),
            tuple(sorted(self._keys, key=lambda told: told[0])),
            tuple(sorted(self._markers)),
            self._tick_quarter,
            tuple(self._lost),
        )

    def _track(self, number: int, events: tuple[MidiEvent, ...]) -> list[MidiTrack]:
        """Return the track, or the tracks that its channels are."""
        self._check_length(number, events)
        name = ""
        texts: list[MidiText] = []
        for event in events:
            if event.status != META:
                continue
            text = _decoded(event.data)
            if event.kind == _NAME:
                name = name or " ".join(text.split())
            elif event.kind in (_TEXT, _LYRICS):
                texts.append(MidiText(self._quarter(event.tick), text, event.kind == _LYRICS))
            else:
                self._meta(event, text)
        by_channel = self._notes(events)
        if len(by_channel) < 2 or not (self._found.kind == 0 or _sounds_differ(events, by_channel)):
            together = sorted((note for notes in by_channel.values() for note in notes), key=_place)
            return [MidiTrack(str(number), name, tuple(together), tuple(texts))]
        return [
            MidiTrack(
                f"{number}.{channel + 1}",
                f"{name} channel {channel + 1}".strip(),
                tuple(sorted(notes, key=_place)),
                tuple(texts),
            )
            for channel, notes in sorted(by_channel.items())
        ]

    def _check_length(self, number: int, events: tuple[MidiEvent, ...]) -> None:
        if events and self._quarter(events[-1].tick) > MOST_QUARTERS:
            raise TuneError(
                f"{self._file}: track {number} goes on for more than {MOST_QUARTERS} quarters, which no song does: "
                "the file is damaged; export it again"
            )

    def _notes(self, events: tuple[MidiEvent, ...]) -> dict[int, list[MidiNote]]:
        """Return the notes of each channel that has some, the drums' left out."""
        notes: dict[int, list[MidiNote]] = {}
        sounding: dict[tuple[int, int], int] = {}
        again: set[tuple[int, int]] = set()
        for event in events:
            action, channel = event.status & 0xF0, event.status & 0x0F
            if event.status == META or action not in (0x80, 0x90) or channel == DRUMS:
                continue
            key, velocity = event.data
            place = channel, key
            strikes = action == 0x90 and velocity
            if place in again and not strikes and self._is_late(sounding[place], event.tick):
                again.discard(place)
                continue
            if place in sounding:
                self._end(notes, channel, key, sounding.pop(place), event.tick)
                again.add(place) if strikes else again.discard(place)
            if strikes:
                sounding[place] = event.tick
        for (channel, key), start in sounding.items():
            self._end(notes, channel, key, start, events[-1].tick)
        return notes

    def _is_late(self, start: int, end: int) -> bool:
        """Return whether a note is let go so soon after it was struck again that its first stroke is meant."""
        return self._quarter(end) - self._quarter(start) < _LATE_QUARTER

    def _end(self, notes: dict[int, list[MidiNote]], channel: int, key: int, start: int, end: int) -> None:
        if end > start:
            note = MidiNote(key, self._quarter(start), self._quarter(end))
            notes.setdefault(channel, []).append(note)

    def _meta(self, event: MidiEvent, text: str) -> None:
        at, data = self._quarter(event.tick), event.data
        if event.kind == _MARKER:
            self._markers.append((at, text))
        elif event.kind == _TEMPO:
            tempo_us = int.from_bytes(data[:3], "big") if len(data) >= 3 else 0
            if tempo_us:
                self._tempi.append((at, Fraction(60_000_000, tempo_us)))
            else:
                self._lost["a tempo of 0 is left out"] += 1
        elif event.kind == _METER:
            if len(data) >= 2 and data[0] and data[1] < 8:
                self._meters.append((at, (data[0], 2 ** data[1])))
            else:
                self._lost["an impossible meter is left out"] += 1
        elif event.kind == _KEY:
            self._key(at, data)

    def _key(self, at: Fraction, data: bytes) -> None:
        fifths = int.from_bytes(data[:1], "big", signed=True) if data else _MOST_SIGNS + 1
        if len(data) < 2 or abs(fifths) > _MOST_SIGNS or data[1] > 1:
            self._lost["an impossible key signature is left out"] += 1
            return
        self._keys.append((at, key_of_signature(fifths, minor=bool(data[1]))))


def _place(note: MidiNote) -> tuple[Fraction, int]:
    return note.start_quarter, -note.midi


def _tempi_of(found: MidiFile) -> list[tuple[int, int]]:
    """Return tick and microseconds a quarter of every tempo in a file, in order, the last at each tick."""
    tempi = sorted(
        (event.tick, int.from_bytes(event.data[:3], "big"))
        for events in found.tracks
        for event in events
        if event.status == META and event.kind == _TEMPO and any(event.data[:3])
    )
    return [list(group)[-1] for _, group in groupby(tempi, key=lambda tempo: tempo[0])]


def _sounds_differ(events: Sequence[MidiEvent], channels: dict[int, list[MidiNote]]) -> bool:
    """Return whether the channels of a track play different sounds."""
    first: dict[int, int] = {}
    for event in events:
        channel = event.status & 0x0F
        if event.status & 0xF0 == 0xC0 and channel in channels:
            first.setdefault(channel, event.data[0])
    return len(set(first.values())) > 1


def _decoded(data: bytes) -> str:
    """Return a text: UTF-8 where it is that, else Windows 1252, of which Latin-1 is the heart."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")
