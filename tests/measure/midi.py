"""What a MIDI file says, read with mido and, as a second witness, with pretty_midi."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import mido
import pretty_midi

from tests.measure.song_text import SongText, TuneNote

__all__ = [
    "MidiFile",
    "MidiNote",
    "Roll",
    "TuneFigures",
    "read_with_mido",
    "read_with_pretty_midi",
    "rolls_of",
    "strings_of",
    "tune_figures",
    "written_time_s",
]

LAYERS = ("melody", "between", "strums")

SEARCH_S = 0.060
"""A note of the tune is looked for this far from its place."""

ROLL_GAP_S = 0.045
"""Strings struck closer together than this belong to one roll."""

LARGEST_FRET, LARGEST_SPAN = 15, 5


@dataclass(frozen=True, slots=True)
class MidiNote:
    """A note: when it begins and ends, its key and its velocity."""

    onset_s: float
    end_s: float
    midi: int
    velocity: int


@dataclass(frozen=True, slots=True)
class MidiFile:
    """A MIDI file as a reader sees it.

    Parameters
    ----------
    tracks
        The notes of each named track, in order.
    tempi
        Tempo changes: seconds and quarters a minute.
    meters
        Meter changes: seconds, upper and lower figure.
    keys
        Key changes: seconds and name, such as ``A minor``.
    words, markers
        Seconds and text. pretty_midi doesn't read markers.
    grid
        The tempo map as points of (quarters, seconds), with the last tempo going on.
    """

    tracks: dict[str, tuple[MidiNote, ...]]
    tempi: tuple[tuple[float, float], ...]
    meters: tuple[tuple[float, int, int], ...]
    keys: tuple[tuple[float, str], ...]
    words: tuple[tuple[float, str], ...]
    markers: tuple[tuple[float, str], ...]
    grid: tuple[tuple[float, float], ...]

    def seconds(self, quarters: float) -> float:
        """Return when a place in quarters from the start falls."""
        place = max(bisect_right(self.grid, quarters, key=lambda point: point[0]) - 1, 0)
        start, start_s = self.grid[place]
        return start_s + (quarters - start) * 60.0 / self.tempi[min(place, len(self.tempi) - 1)][1]


def read_with_mido(path: Path) -> MidiFile:
    """Read a file with mido; raise `ValueError` for a note that isn't let go, or let go without being struck."""
    file = mido.MidiFile(path, charset="utf-8")
    placed = [(name, tick, message) for name, track in _tracks(file) for tick, message in _placed(track)]
    changes = sorted((tick, message.tempo) for _, tick, message in placed if message.type == "set_tempo")
    if not changes or changes[0][0]:
        changes.insert(0, (0, 500_000))
    starts_s = [0.0]
    for (tick, tempo), (following, _) in pairwise(changes):
        starts_s.append(starts_s[-1] + (following - tick) * tempo / file.ticks_per_beat / 1e6)

    def seconds(tick: int) -> float:
        place = bisect_right(changes, tick, key=lambda change: change[0]) - 1
        start, tempo = changes[place]
        return float(starts_s[place] + (tick - start) * tempo / file.ticks_per_beat / 1e6)

    def of(kind: str) -> list[tuple[float, mido.MetaMessage]]:
        return [(seconds(tick), message) for _, tick, message in placed if message.type == kind]

    named: dict[str, list[tuple[float, mido.Message]]] = {}
    for name, tick, message in placed:
        if message.type in ("note_on", "note_off"):
            named.setdefault(name, []).append((seconds(tick), message))
    return MidiFile(
        tracks={name: _notes(events) for name, events in named.items()},
        tempi=tuple((at_s, 60e6 / tempo) for at_s, (_, tempo) in zip(starts_s, changes, strict=True)),
        meters=tuple((at_s, sign.numerator, sign.denominator) for at_s, sign in of("time_signature")),
        keys=tuple((at_s, _key_name(sign.key)) for at_s, sign in of("key_signature")),
        words=tuple((at_s, text.text) for at_s, text in of("lyrics")),
        markers=tuple((at_s, text.text) for at_s, text in of("marker")),
        grid=tuple(
            (tick / file.ticks_per_beat, at_s) for at_s, (tick, _) in zip(starts_s, changes, strict=True)
        ),
    )


def read_with_pretty_midi(path: Path) -> MidiFile:
    """Read a file with pretty_midi, which knows no markers."""
    file = pretty_midi.PrettyMIDI(str(path), charset="utf-8")
    times, tempi = file.get_tempo_changes()
    return MidiFile(
        tracks={
            instrument.name: tuple(
                sorted(
                    (MidiNote(note.start, note.end, note.pitch, note.velocity) for note in instrument.notes),
                    key=lambda note: (note.onset_s, note.midi),
                )
            )
            for instrument in file.instruments
        },
        tempi=tuple(zip(times.tolist(), tempi.tolist(), strict=True)),
        meters=tuple((sign.time, sign.numerator, sign.denominator) for sign in file.time_signature_changes),
        keys=tuple(
            (sign.time, _spelt(pretty_midi.key_number_to_key_name(sign.key_number)))
            for sign in file.key_signature_changes
        ),
        words=tuple((word.time, word.text) for word in file.lyrics),
        markers=(),
        grid=tuple((file.time_to_tick(at_s) / file.resolution, at_s) for at_s in times.tolist()),
    )


def written_time_s(file: MidiFile, song: SongText, beat: Fraction) -> float:
    """Return when a beat of the piece falls after one bar of count-in, by the file's own tempo map."""
    return file.seconds(float((song.count_in_beat + beat) * 4 / song.meter[1]))


@dataclass(frozen=True, slots=True)
class TuneFigures:
    """How the notes of a file agree with the written tune.

    Parameters
    ----------
    missing
        Written notes that nobody plays.
    late_s
        For each note that is played how late it comes, in seconds.
    layers
        For each note that is played the layer that plays it.
    unexplained
        Notes of `melody` that neither are of the tune nor lead up to one in a roll.
    added
        Notes of `between` that the tune doesn't hold.
    """

    missing: tuple[TuneNote, ...]
    late_s: tuple[float, ...]
    layers: tuple[str, ...]
    unexplained: tuple[MidiNote, ...]
    added: tuple[MidiNote, ...]


def tune_figures(file: MidiFile, song: SongText) -> TuneFigures:
    """Look for each written note: the loudest of its pitch in `melody` and `between` within `SEARCH_S` of its place.

    The tolerance that tests put on `late_s` is 20 ms; a tick is under 1 ms.
    """
    free = [(layer, note) for layer in ("melody", "between") for note in file.tracks.get(layer, ())]
    missing, late_s, layers, found = [], [], [], []
    for written in song.tune:
        due_s = written_time_s(file, song, song.swung(written.beat))
        near = [
            (layer, note)
            for layer, note in free
            if note.midi == written.midi and abs(note.onset_s - due_s) <= SEARCH_S
        ]
        if not near:
            missing.append(written)
            continue
        layer, note = max(near, key=lambda item: item[1].velocity)
        free.remove((layer, note))
        late_s.append(note.onset_s - due_s)
        layers.append(layer)
        found.append(note)
    struck = {(roll.notes[-1].onset_s, roll.notes[-1].midi) for roll in rolls_of(file)}
    struck &= {(note.onset_s, note.midi) for note in found}
    rolled = [note for roll in rolls_of(file) for note in roll.notes if _top(roll) in struck]
    return TuneFigures(
        missing=tuple(missing),
        late_s=tuple(late_s),
        layers=tuple(layers),
        unexplained=tuple(note for layer, note in free if layer == "melody" and note not in rolled),
        added=tuple(note for layer, note in free if layer == "between"),
    )


@dataclass(frozen=True, slots=True)
class Roll:
    """The strings of one gesture of the melody, in the order struck."""

    notes: tuple[MidiNote, ...]

    @property
    def steps_s(self) -> tuple[float, ...]:
        """Time from each string to the next."""
        return tuple(
            later.onset_s - sooner.onset_s for sooner, later in zip(self.notes, self.notes[1:], strict=False)
        )

    @property
    def spread_s(self) -> float:
        """Time from the first string to the last."""
        return self.notes[-1].onset_s - self.notes[0].onset_s

    @property
    def loudest_last(self) -> bool:
        """Whether the last string, the tune's, is struck harder than all others."""
        return all(note.velocity < self.notes[-1].velocity for note in self.notes[:-1])


def rolls_of(file: MidiFile, layer: str = "melody") -> tuple[Roll, ...]:
    """Return the gestures of a layer: its notes parted wherever `ROLL_GAP_S` pass without a new string."""
    groups: list[list[MidiNote]] = []
    for note in sorted(file.tracks.get(layer, ()), key=lambda note: note.onset_s):
        if groups and note.onset_s - groups[-1][-1].onset_s < ROLL_GAP_S:
            groups[-1].append(note)
        else:
            groups.append([note])
    return tuple(Roll(tuple(group)) for group in groups)


def strings_of(roll: Roll, open_midi: tuple[int, int, int, int]) -> tuple[int, ...] | None:
    """Return neighbouring strings, falling from 4 towards 1, on which the pitches can lie in the order struck.

    Parameters
    ----------
    roll
        Up to four strings.
    open_midi
        Keys of the open strings, string 4 first.

    Returns
    -------
    tuple of int, or None
        None when no hand could have struck them in this order: a fret below 0 or above 15, or frets more than
        five apart.
    """
    for first in range(4, len(roll.notes) - 1, -1):
        strings = tuple(range(first, first - len(roll.notes), -1))
        frets = [note.midi - open_midi[4 - string] for note, string in zip(roll.notes, strings, strict=True)]
        pressed = [fret for fret in frets if fret]
        if (
            min(frets) >= 0
            and max(frets) <= LARGEST_FRET
            and max(pressed, default=0) - min(pressed, default=0) <= LARGEST_SPAN
        ):
            return strings
    return None


def _top(roll: Roll) -> tuple[float, int]:
    return roll.notes[-1].onset_s, roll.notes[-1].midi


def _tracks(file: mido.MidiFile) -> list[tuple[str, mido.MidiTrack]]:
    return [(str(track.name), track) for track in file.tracks]


def _placed(track: mido.MidiTrack) -> list[tuple[int, mido.Message]]:
    """Return the messages with their ticks from the start."""
    tick, placed = 0, []
    for message in track:
        tick += message.time
        placed.append((tick, message))
    return placed


def _notes(events: list[tuple[float, mido.Message]]) -> tuple[MidiNote, ...]:
    """Pair each stroke with its end."""
    sounding: dict[int, tuple[float, int]] = {}
    notes = []
    for at_s, message in events:
        struck = message.type == "note_on" and message.velocity > 0
        if struck == (message.note in sounding):
            raise ValueError(
                f"key {message.note} is {'struck twice' if struck else 'let go unstruck'} at {at_s:.3f} s"
            )
        if struck:
            sounding[message.note] = (at_s, message.velocity)
        else:
            onset_s, velocity = sounding.pop(message.note)
            notes.append(MidiNote(onset_s, at_s, message.note, velocity))
    if sounding:
        raise ValueError(f"keys {sorted(sounding)} are never let go")
    return tuple(sorted(notes, key=lambda note: (note.onset_s, note.midi)))


def _key_name(sign: str) -> str:
    """Return mido's ``Am`` as ``A minor``."""
    return f"{sign.removesuffix('m')} {'minor' if sign.endswith('m') else 'major'}"


def _spelt(name: str) -> str:
    """Return pretty_midi's ``A minor`` or ``C Major`` with small letters."""
    return name.replace("Major", "major").replace("Minor", "minor")
