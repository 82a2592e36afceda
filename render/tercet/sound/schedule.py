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
from tercet.performing.model import FreeString
from tercet.song import LAYERS

__all__ = [
    "CHOP_LENGTH_S",
    "FADE_S",
    "RELEASE_S",
    "RING_OUT_S",
    "STRINGS",
    "Stroke",
    "Touch",
    "fade_end",
    "length_frames_of",
    "strokes_of",
    "touch_of",
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

UP_SHADE = 1.25
"""How much firmer an upstroke is touched at the same level, in the unit of `Stroke.shade`: 1.15 times as bright."""

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
        How much firmer than usual the string is touched, −1 to 1, so that no stroke is like the one before; a finger
        that comes up strikes with its nail, `UP_SHADE` firmer.
    aside
        Where it is plucked, −1 to 1: from nearest the bridge to furthest from it.
    skin
        How much of the skin is heard, 0 to 1.
    chop
        Whether the string is damped while it is struck.
    free
        The strings that are free to ring along.
    """

    on_frame: int
    off_frame: int | None
    string: int
    layer_index: int
    midi: int
    velocity: int
    level_db: float = 0.0
    shade: float = 0.0
    aside: float = 0.0
    skin: float = 0.0
    chop: bool = False
    free: tuple[FreeString, ...] = ()


def length_frames_of(take: Take, rate_hz: int) -> int:
    """Return the frames of each stem of a take, the ringing end included."""
    return round((take.length_s + RING_OUT_S) * rate_hz)


def _at_once(_note: TakeNote, _touch: Touch) -> float:
    return 0.0


def strokes_of(
    take: Take,
    rate_hz: int,
    grid_frames: int = 1,
    onset_delay_s: Callable[[TakeNote, Touch], float] = _at_once,
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
    clock = _Clock(rate_hz, grid_frames, take.length_s)
    by_string: dict[tuple[bool, int], list[_Touched]] = {}
    for note in take.notes:
        _check(note)
        touch = touch_of(note)
        by_string.setdefault(note.own_string, []).append(_Touched(note, touch, onset_delay_s(note, touch)))
    strokes = [stroke for notes in by_string.values() for stroke in _string_strokes(notes, clock)]
    return tuple(sorted(strokes, key=lambda stroke: (stroke.on_frame, stroke.string)))


@dataclass(frozen=True, slots=True)
class Touch:
    """How a string is touched, whatever the level: `Stroke.shade`, `Stroke.aside` and `Stroke.skin`."""

    shade: float
    aside: float
    skin: float


def touch_of(note: TakeNote) -> Touch:
    """Return how a note is touched, from its place in the song and the way of the hand alone.

    Amounts are drawn from a hash of section, pass, beat and string. The shade is 0.7 to 1 and its sign changes from
    each multiple of the note's own length to the next: so equal notes that follow one another are never touched alike.
    """
    place = f"{note.section} {note.pass_number} {note.beat} {note.string} touch"
    drawn = hashlib.sha256(place.encode()).digest()
    shade, aside, skin = (int.from_bytes(drawn[at : at + 4], "big") / 2**32 for at in (0, 4, 8))
    turn = int(note.beat / note.length_beat) if note.length_beat else 0
    sign = 1.0 if turn % 2 else -1.0
    return Touch((0.7 + 0.3 * shade) * sign + UP_SHADE * note.up, 2.0 * aside - 1.0, skin)


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
    length_s: float

    def frame(self, seconds: float) -> int:
        """Return the nearest frame of the grid; a time between two always goes to the later one, wherever it lies."""
        steps = round(seconds * self.rate_hz, FRAME_DIGITS) / self.grid_frames
        return max(0, math.floor(steps + 0.5) * self.grid_frames)

    def start(self, touched: _Touched) -> int:
        return self.frame(touched.note.onset_s - touched.delay_s)

    def end(self, touched: _Touched) -> int | None:
        """Return where a note is damped by its own length, None if it rings into the end.

        It is damped as much earlier as it is struck earlier: so a note lasts as long as it is written.
        """
        note = touched.note
        if note.action == "chop":
            return self.frame(note.onset_s + min(note.length_s, CHOP_LENGTH_S))
        if note.onset_s + note.length_s >= self.length_s - AS_LONG_S:
            return None
        return self.frame(note.onset_s + note.length_s - touched.delay_s)

    def cut(self, touched: _Touched, following: TakeNote) -> int:
        """Return where a note is damped by the next of its string: as if it had been written to last up to that.

        So it ends in the same frame whether both are in one take or in two.
        """
        return self.frame(following.onset_s - touched.delay_s)

    def overlaps(self, note: TakeNote, following: TakeNote) -> bool:
        """Return whether the next note of a string is struck before this one would be damped."""
        return self.frame(following.onset_s) < self.frame(note.onset_s + note.length_s)


@dataclass(frozen=True, slots=True)
class _Touched:
    """A note, how it is touched, and how late it speaks after its stroke."""

    note: TakeNote
    touch: Touch
    delay_s: float


def _string_strokes(notes: list[_Touched], clock: _Clock) -> Iterator[Stroke]:
    """Yield the strokes of one string, each ended by the next."""
    starts = {clock.start(each): each for each in sorted(notes, key=lambda each: each.note.velocity)}
    if len(starts) < len(notes):
        _log.info("string %d: %d strokes fall together", notes[0].note.string, len(notes) - len(starts))
    frames = sorted(starts)
    for start, following in zip(frames, [*frames[1:], None], strict=True):
        note, touch = starts[start].note, starts[start].touch
        ends = [clock.end(starts[start])]
        if following is not None and clock.overlaps(note, starts[following].note):
            ends.append(clock.cut(starts[start], starts[following].note))
        damped = [frame for frame in ends if frame is not None]
        off = max(min(damped), start + clock.grid_frames) if damped else None
        yield Stroke(
            start,
            off,
            note.string,
            LAYERS.index(note.layer),
            note.midi,
            note.velocity,
            level_db=note.level_db,
            shade=touch.shade,
            aside=touch.aside,
            skin=touch.skin,
            chop=note.action == "chop",
            free=note.free,
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
