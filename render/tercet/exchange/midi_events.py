"""Standard MIDI Files from outside, event by event: checked before parsing, notes put together by one stated rule.

A note that is struck again ends where it is struck; one that is never let go ends with its track.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING, Any

from tercet.exchange.leadsheet import TuneError

if TYPE_CHECKING:
    import mido

__all__ = ["LARGEST_MIDI_BYTES", "MidiNote", "MidiTrack", "MidiTune", "read_events"]

LARGEST_MIDI_BYTES = 300 * 1024
"""About a hundred thousand events: an hour of a whole band."""

MOST_QUARTERS = 20_000
"""As long as the longest song, in the slowest meter that is usual."""

DRUMS = 9
_MOST_TRACKS = 256
_SMPTE = 0x8000
_TROUBLE = (EOFError, OSError, ValueError, IndexError, KeyError, TypeError, AttributeError, OverflowError)
"""What mido raises on damaged files; its own key signature error is an Exception of no other kind."""


@dataclass(frozen=True, slots=True)
class MidiNote:
    """A note: key number, start and end in quarters as played."""

    midi: int
    start_quarter: Fraction
    end_quarter: Fraction


@dataclass(frozen=True, slots=True)
class MidiTrack:
    """A track: its number from 1, its name, its notes (those of the drums' channel left out) and its lyrics."""

    number: int
    name: str
    notes: tuple[MidiNote, ...]
    lyrics: tuple[tuple[Fraction, str], ...]


@dataclass(frozen=True, slots=True)
class MidiTune:
    """A file: its tracks, and what any of them says of tempo, meter, key and sections, by place in quarters."""

    tracks: tuple[MidiTrack, ...]
    tempi: tuple[tuple[Fraction, Fraction], ...]
    meters: tuple[tuple[Fraction, tuple[int, int]], ...]
    keys: tuple[tuple[Fraction, str], ...]
    markers: tuple[tuple[Fraction, str], ...]


def read_events(data: bytes, file: str) -> MidiTune:
    """Read a MIDI file of type 0 or 1.

    Raises
    ------
    TuneError
        When it is too large, damaged, of another type, timed in film frames, or longer than any song.
    """
    ticks = _checked_division(data, file)
    import mido

    try:
        parsed = mido.MidiFile(file=BytesIO(data), clip=True, charset="latin-1")
    except _TROUBLE as error:
        raise TuneError(f"{file} is a damaged MIDI file ({error or 'cut off'}): export it again") from error
    except mido.KeySignatureError as error:
        raise TuneError(
            f"{file} has a key signature that doesn't exist ({error}): export it again"
        ) from error
    return _Collector(file, ticks).tune(parsed)


def _checked_division(data: bytes, file: str) -> int:
    """Return the ticks of a quarter that the header tells."""
    if len(data) > LARGEST_MIDI_BYTES:
        raise TuneError(
            f"{file} is larger than {LARGEST_MIDI_BYTES // 1024} kB, far more than a tune needs: export the tune alone"
        )
    if len(data) < 14:
        raise TuneError(f"{file} is a damaged MIDI file (its header is cut off): export it again")
    length, kind, tracks, division = struct.unpack(">IHHH", data[4:14])
    if length != 6:
        raise TuneError(f"{file} is a damaged MIDI file (its header is {length} bytes long): export it again")
    if kind not in (0, 1):
        raise TuneError(
            f"{file} is a MIDI file of type {kind}, which holds no one tune: export it as type 0 or 1"
        )
    if tracks > _MOST_TRACKS:
        raise TuneError(f"{file} has {tracks} tracks, far more than a tune needs: export the tune alone")
    if division & _SMPTE:
        raise TuneError(
            f"{file} is timed in film frames (SMPTE), not in beats: export it with ticks a quarter note"
        )
    if division == 0:
        raise TuneError(f"{file} has 0 ticks to a quarter, so nothing in it has a length: export it again")
    return int(division)


class _Collector:
    """Collects the events of a file."""

    def __init__(self, file: str, ticks: int) -> None:
        self._file = file
        self._ticks = ticks
        self._tempi: list[tuple[Fraction, Fraction]] = []
        self._meters: list[tuple[Fraction, tuple[int, int]]] = []
        self._keys: list[tuple[Fraction, str]] = []
        self._markers: list[tuple[Fraction, str]] = []

    def tune(self, parsed: mido.MidiFile) -> MidiTune:
        """Return everything that matters, in order of time."""
        tracks = tuple(self._track(number, track) for number, track in enumerate(parsed.tracks, 1))
        return MidiTune(
            tracks,
            tuple(sorted(self._tempi)),
            tuple(sorted(self._meters)),
            tuple(sorted(self._keys)),
            tuple(sorted(self._markers)),
        )

    def _track(self, number: int, events: Any) -> MidiTrack:
        now = 0
        name = ""
        sounding: dict[tuple[int, int], int] = {}
        notes: list[MidiNote] = []
        lyrics: list[tuple[Fraction, str]] = []
        for message in events:
            now += message.time
            if now > MOST_QUARTERS * self._ticks:
                raise TuneError(
                    f"{self._file}: track {number} goes on for more than {MOST_QUARTERS} quarters, which no song does: "
                    "the file is damaged; export it again"
                )
            if message.is_meta:
                name = message.name if message.type == "track_name" and not name else name
                if message.type == "lyrics":
                    lyrics.append((self._quarters(now), message.text))
                else:
                    self._meta(message, self._quarters(now))
            elif message.type in ("note_on", "note_off") and message.channel != DRUMS:
                key = (message.channel, message.note)
                if key in sounding:
                    self._end(notes, message.note, sounding.pop(key), now)
                if message.type == "note_on" and message.velocity:
                    sounding[key] = now
        for (_, midi), start in sounding.items():
            self._end(notes, midi, start, now)
        notes.sort(key=lambda note: (note.start_quarter, -note.midi))
        return MidiTrack(number, " ".join(name.split()), tuple(notes), tuple(lyrics))

    def _quarters(self, ticks: int) -> Fraction:
        return Fraction(ticks, self._ticks)

    def _end(self, notes: list[MidiNote], midi: int, start: int, end: int) -> None:
        if end > start:
            notes.append(MidiNote(midi, self._quarters(start), self._quarters(end)))

    def _meta(self, message: Any, at: Fraction) -> None:
        if message.type == "set_tempo" and message.tempo:
            self._tempi.append((at, Fraction(60_000_000, message.tempo)))
        elif message.type == "time_signature" and message.numerator:
            self._meters.append((at, (message.numerator, message.denominator)))
        elif message.type == "key_signature":
            self._keys.append((at, message.key))
        elif message.type == "marker":
            self._markers.append((at, message.text))
