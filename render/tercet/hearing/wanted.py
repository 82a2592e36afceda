"""What was wanted: the strokes of the take that a recording is held against, in the seconds of the song's own tempo."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tercet.arranging import Action, Arrangement
from tercet.errors import RequestError
from tercet.hearing.spectra import FloatArray
from tercet.performing import Take, TakeNote, lay_out, perform
from tercet.song import SECOND, Layer

__all__ = ["WantedString", "WantedStroke", "WantedTake", "wanted_take"]


@dataclass(frozen=True, slots=True)
class WantedString:
    """A string of a stroke: which, what sounds, when after the stroke's first string, and how loud around mf."""

    string: int
    midi: int
    delay_s: float
    level_db: float


@dataclass(frozen=True, slots=True)
class WantedStroke:
    """A stroke of the wanted take.

    Parameters
    ----------
    onset_s
        When its first string is struck, in seconds of the take.
    strings
        In the order struck; the tune's is the last of a roll.
    layer, action, bar_number, tune
        Whose it is, what it is, its bar in the piece as played, and whether it has a note of the tune.
    next_midi
        What the string after a roll's last one would sound, were the roll to run on; None where there is none.
    """

    onset_s: float
    strings: tuple[WantedString, ...]
    layer: Layer
    action: Action
    bar_number: int
    tune: bool
    next_midi: int | None = None

    @property
    def level_db(self) -> float:
        """Level of the whole stroke around mf: the powers of its strings added."""
        return float(10.0 * np.log10(sum(10.0 ** (string.level_db / 10.0) for string in self.strings)))

    @property
    def main_midi(self) -> int:
        """What its last string sounds: in rolls and single notes the note that is listened for."""
        return self.strings[-1].midi

    @property
    def span_s(self) -> float:
        """How long its last string comes after the first."""
        return self.strings[-1].delay_s


@dataclass(frozen=True)
class WantedTake:
    """The strokes that are listened for, in order, and the take that they come from."""

    take: Take
    strokes: tuple[WantedStroke, ...]
    pulse_s: float

    @cached_property
    def onsets_s(self) -> FloatArray:
        """When each stroke's first string is struck."""
        return np.array([stroke.onset_s for stroke in self.strokes])

    @cached_property
    def bar_numbers(self) -> NDArray[np.int64]:
        """Each stroke's bar."""
        return np.array([stroke.bar_number for stroke in self.strokes], np.int64)

    @cached_property
    def begins_bar(self) -> NDArray[np.bool_]:
        """Whether a stroke is the first of its bar."""
        numbers = self.bar_numbers
        return np.concatenate([[True], numbers[1:] != numbers[:-1]])


def wanted_take(arrangement: Arrangement, layers: frozenset[Layer]) -> WantedTake:
    """Return what is listened for: the piece exactly on the beat and at its marks, by the layers that are played.

    Raises
    ------
    RequestError
        Nothing is played by these layers.
    """
    take = perform(arrangement, lay_out(arrangement, count_in_bars=0), dry=True)
    by_gesture: dict[int, list[TakeNote]] = {}
    for note in take.notes:
        if note.layer in layers and note.layer != SECOND:
            by_gesture.setdefault(note.gesture, []).append(note)
    held = _held(arrangement)
    strokes = sorted(
        (_stroke(notes, arrangement, take, held) for notes in by_gesture.values()),
        key=lambda stroke: stroke.onset_s,
    )
    if len(strokes) < 2:
        raise RequestError("there is nothing to listen for: these layers of the song have no notes")
    song = arrangement.song
    pulse_s = float(60 / song.tempo)
    return WantedTake(take, tuple(strokes), pulse_s)


def _held(arrangement: Arrangement) -> dict[tuple[object, Layer], tuple[int | None, ...]]:
    """Return the frets held at each gesture, string 4 first, by its beat and layer."""
    return {(g.start_beat, g.layer): g.shape for g in arrangement.gestures}


def _stroke(
    notes: list[TakeNote],
    arrangement: Arrangement,
    take: Take,
    held: dict[tuple[object, Layer], tuple[int | None, ...]],
) -> WantedStroke:
    struck = sorted(notes, key=lambda note: (note.onset_s, -note.string))
    first, last = struck[0], struck[-1]
    strings = tuple(
        WantedString(note.string, note.midi, note.onset_s - first.onset_s, note.level_db) for note in struck
    )
    next_midi = None
    if last.action == "roll" and last.string > 1:
        shape = held.get((last.beat, last.layer), ())
        fret = shape[4 - (last.string - 1)] if len(shape) == 4 else None
        open_pitch = arrangement.tuning.open_pitches[4 - (last.string - 1)]
        next_midi = open_pitch.midi + (fret or 0)
    return WantedStroke(
        first.onset_s,
        strings,
        last.layer,
        last.action,
        take.bars[last.bar_index].number,
        any(note.part == "tune" for note in struck),
        next_midi,
    )
