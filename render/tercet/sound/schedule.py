"""From a take's notes in seconds to strokes in frames: one note at a time on each string, and a ringing end."""

from __future__ import annotations

import hashlib
import logging
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.errors import ParameterError
from tercet.performing import Take, TakeNote
from tercet.song import LAYERS

__all__ = [
    "CHOP_LENGTH_S",
    "FADE_S",
    "RELEASE_S",
    "RING_OUT_S",
    "STRINGS",
    "Stroke",
    "fade_end",
    "length_frames_of",
    "shade_of_place",
    "strokes_of",
]

STRINGS = 4
"""Strings of the instrument."""

RELEASE_S = 0.075
"""A damped string falls by 96 dB in this time: by 40 dB in 31 ms, without a click."""

CHOP_LENGTH_S = 0.02
"""A chop is struck on damped strings: it speaks no longer than this, then is released."""

RING_OUT_S = 1.5
"""After the take's length the strings that still sound ring on for this time."""

FADE_S = 0.6
"""The last part of the ringing end, in which it sinks to nothing."""

AS_LONG_S = 0.001
"""A note lasts as long as its take if it ends within this of it: both may have been rounded to frames."""

FRAME_DIGITS = 3
"""Decimals of a frame that count; what lies below is rounding of seconds."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Stroke:
    """One note as a synthesiser plays it.

    Parameters
    ----------
    on_frame
        Where it is struck.
    off_frame
        Where it is damped, later than `on_frame`; None if it rings into the end.
    string, layer_index
        String 1 to 4, and the place of its layer in `LAYERS`.
    midi, velocity
        0 to 127 and 1 to 127.
    level_db
        Level relative to mf, for a sound that knows its levels.
    shade
        How much firmer than usual the string is touched, −1 to 1, so that no stroke is like the one before.
    chop
        Whether the string is damped while it is struck.
    """

    on_frame: int
    off_frame: int | None
    string: int
    layer_index: int
    midi: int
    velocity: int
    level_db: float = 0.0
    shade: float = 0.0
    chop: bool = False


def length_frames_of(take: Take, rate_hz: int) -> int:
    """Return the frames of each stem of a take, the ringing end included."""
    return round((take.length_s + RING_OUT_S) * rate_hz)


def _at_once(_note: TakeNote) -> float:
    return 0.0


def strokes_of(
    take: Take, rate_hz: int, grid_frames: int = 1, onset_delay_s: Callable[[TakeNote], float] = _at_once
) -> tuple[Stroke, ...]:
    """Return a take's notes as strokes, in order of frame, then string.

    A string sounds one note at a time, whatever its layer (the second voice has strings of its own): the next stroke on
    it ends the one before, to the millisecond by which one may speak later than the other. Of two strokes in one frame
    on one string the louder is kept. A chop is cut to `CHOP_LENGTH_S`. A note that lasts as long as the take isn't
    damped.

    Parameters
    ----------
    take
        Notes in any order.
    rate_hz
        Frames a second.
    grid_frames
        Every frame is rounded by itself to a multiple of this, so that no error adds up.
    onset_delay_s
        How late a note speaks after its stroke, in seconds; it is struck that much earlier, but not before 0.

    Raises
    ------
    ParameterError
        A note's string, key or velocity is out of range.
    """
    clock = _Clock(rate_hz, grid_frames, onset_delay_s, take.length_s)
    by_string: dict[tuple[bool, int], list[TakeNote]] = {}
    for note in take.notes:
        _check(note)
        by_string.setdefault(note.own_string, []).append(note)
    strokes = [stroke for notes in by_string.values() for stroke in _string_strokes(notes, clock)]
    return tuple(sorted(strokes, key=lambda stroke: (stroke.on_frame, stroke.string)))


def shade_of_place(note: TakeNote) -> float:
    """Return how much firmer a note is touched than its level asks for, −1 to 1, from its place alone.

    Its amount is drawn from a hash of section, pass, beat and string, 0.7 to 1. Its sign changes from each multiple of
    the note's own length to the next: so equal notes that follow one another are never touched alike.
    """
    place = f"{note.section} {note.pass_number} {note.beat} {note.string} touch"
    draw = int.from_bytes(hashlib.sha256(place.encode()).digest()[:4], "big") / 2**32
    turn = int(note.beat / note.length_beat) if note.length_beat else 0
    return (0.7 + 0.3 * draw) * (1.0 if turn % 2 else -1.0)


def fade_end(samples: NDArray[np.float32], rate_hz: int) -> None:
    """Let the last `FADE_S` of audio (frames, channels) sink to nothing, in place, by half a cosine."""
    frames = min(round(FADE_S * rate_hz), samples.shape[0])
    if frames:
        fall = 0.5 + 0.5 * np.cos(np.linspace(0.0, np.pi, frames))
        samples[-frames:] *= fall.astype(np.float32)[:, None]


@dataclass(frozen=True, slots=True)
class _Clock:
    """Seconds to frames on a grid."""

    rate_hz: int
    grid_frames: int
    onset_delay_s: Callable[[TakeNote], float]
    length_s: float

    def frame(self, seconds: float) -> int:
        """Return the nearest frame of the grid; a time between two always goes to the later one, wherever it lies."""
        steps = round(seconds * self.rate_hz, FRAME_DIGITS) / self.grid_frames
        return max(0, math.floor(steps + 0.5) * self.grid_frames)

    def start(self, note: TakeNote) -> int:
        return self.frame(note.onset_s - self.onset_delay_s(note))

    def end(self, note: TakeNote) -> int | None:
        """Return where a note is damped by its own length, None if it rings into the end.

        It is damped as much earlier as it is struck earlier: so a note lasts as long as it is written.
        """
        if note.action == "chop":
            return self.frame(note.onset_s + min(note.length_s, CHOP_LENGTH_S))
        if note.onset_s + note.length_s >= self.length_s - AS_LONG_S:
            return None
        return self.frame(note.onset_s + note.length_s - self.onset_delay_s(note))

    def cut(self, note: TakeNote, following: TakeNote) -> int:
        """Return where a note is damped by the next of its string: as if it had been written to last up to that.

        So it ends in the same frame whether both are in one take or in two.
        """
        return self.frame(following.onset_s - self.onset_delay_s(note))

    def overlaps(self, note: TakeNote, following: TakeNote) -> bool:
        """Return whether the next note of a string is struck before this one would be damped."""
        return self.frame(following.onset_s) < self.frame(note.onset_s + note.length_s)


def _string_strokes(notes: list[TakeNote], clock: _Clock) -> Iterator[Stroke]:
    """Yield the strokes of one string, each ended by the next."""
    starts = {clock.start(note): note for note in sorted(notes, key=lambda note: note.velocity)}
    if len(starts) < len(notes):
        _log.info("string %d: %d strokes fall together", notes[0].string, len(notes) - len(starts))
    frames = sorted(starts)
    for start, following in zip(frames, [*frames[1:], None], strict=True):
        note = starts[start]
        ends = [clock.end(note)]
        if following is not None and clock.overlaps(note, starts[following]):
            ends.append(clock.cut(note, starts[following]))
        damped = [frame for frame in ends if frame is not None]
        off = max(min(damped), start + clock.grid_frames) if damped else None
        layer_index, chop = LAYERS.index(note.layer), note.action == "chop"
        shade = shade_of_place(note)
        yield Stroke(
            start, off, note.string, layer_index, note.midi, note.velocity, note.level_db, shade, chop
        )


def _check(note: TakeNote) -> None:
    """Refuse a note that no string or no key can play."""
    for name, value, lowest, highest in (
        ("string", note.string, 1, STRINGS),
        ("key", note.midi, 0, 127),
        ("velocity", note.velocity, 1, 127),
    ):
        if not lowest <= value <= highest:
            raise ParameterError(f"a note's {name} must be {lowest} to {highest} (got {value})")
