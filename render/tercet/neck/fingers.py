"""Fingers as a person sets them on a shape: whether a hand can, and if not, why and which it would set instead.

The rules are those of `tercet.neck.hands`: what is refused here is in none of its tables, and what passes is in one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from tercet.neck.shapes import SPAN_LIMIT_MM, Shape, span_mm, taught_fingers

__all__ = ["FINGER_NAMES", "MOST_STRETCH", "FingersFault", "fault_of_fingers", "fault_of_stretch"]

FINGER_NAMES = {1: "the index finger", 2: "the middle finger", 3: "the ring finger", 4: "the little finger"}

MOST_STRETCH = 2
"""Fingers may lie at most so many frets further apart than one a fret."""


@dataclass(frozen=True, slots=True)
class FingersFault:
    """Why no hand can set its fingers so.

    Parameters
    ----------
    reason
        In a teacher's words.
    instead
        The fingers to set, where there is no doubt; None otherwise.
    """

    reason: str
    instead: Shape | None = None


@dataclass(frozen=True, slots=True)
class _Pressed:
    """A string that is pressed, or has a finger on it."""

    string: int
    fret: int
    finger: int

    @property
    def name(self) -> str:
        return f"{FINGER_NAMES[self.finger]} ({self.finger})"


def fault_of_fingers(frets: Shape, fingers: tuple[int, ...]) -> FingersFault | None:
    """Return what is wrong with the fingers of a shape on any instrument; None where a hand can set them so.

    Parameters
    ----------
    frets, fingers
        For each string, string 4 first: its fret (0 open or left out), and the finger on it (0 none, 1 to 4).

    Examples
    --------
    >>> fault_of_fingers((2, 2, 1, 0), (2, 3, 1, 0)) is None
    True
    >>> print(fault_of_fingers((2, 0, 0, 0), (2, 1, 0, 0)).reason)
    string 3 isn't pressed, so it takes no finger
    """
    for fault in _faults(frets, fingers):
        mended = fault.instead
        if mended is None or next(_faults(frets, mended), None) is not None:
            mended = taught_fingers(frets)
        return FingersFault(fault.reason, mended)
    return None


def fault_of_stretch(frets: Shape, fingers: tuple[int, ...], scale_length_mm: float) -> FingersFault | None:
    """Return why fingers that are well set lie too far apart on an instrument; None where they don't."""
    pressed = sorted(_set_fingers(frets, fingers), key=lambda each: (each.finger, each.fret))
    if not pressed:
        return None
    low, high = pressed[0], pressed[-1]
    most_frets = 5 if low.fret >= 5 else 4
    if high.fret - low.fret >= most_frets:
        return FingersFault(
            f"one hand can't cover frets {low.fret} to {high.fret}: "
            + (
                "five frets are the most"
                if most_frets == 5
                else "so low on the neck, four frets are the most"
            )
        )
    wide_mm = span_mm(frets, scale_length_mm)
    if wide_mm > SPAN_LIMIT_MM:
        return FingersFault(
            f"frets {low.fret} and {high.fret} lie {wide_mm:.0f} mm apart on this instrument, and a hand is asked to "
            f"stretch {SPAN_LIMIT_MM:.0f} mm at most"
        )
    if (high.fret - low.fret) - (high.finger - low.finger) > MOST_STRETCH:
        return FingersFault(
            f"{low.name} and {high.name} can't stretch from fret {low.fret} to fret {high.fret}"
        )
    return None


def _set_fingers(frets: Shape, fingers: tuple[int, ...]) -> list[_Pressed]:
    return [
        _Pressed(string, fret, finger)
        for string, fret, finger in zip((4, 3, 2, 1), frets, fingers, strict=True)
        if finger
    ]


def _faults(frets: Shape, fingers: tuple[int, ...]) -> Iterator[FingersFault]:
    for string, fret, finger in zip((4, 3, 2, 1), frets, fingers, strict=True):
        if finger and not fret:
            reason = f"string {string} isn't pressed, so it takes no finger"
            yield FingersFault(reason, _with(fingers, string, 0))
        if fret and not finger:
            yield FingersFault(f"string {string} is pressed at fret {fret}, but no finger is written for it")
    pressed = _set_fingers(frets, fingers)
    for one, other in combinations(pressed, 2):
        yield from _of_two(one, other, fingers)
    yield from _of_barre(frets, fingers, pressed)


def _of_two(one: _Pressed, other: _Pressed, fingers: tuple[int, ...]) -> Iterator[FingersFault]:
    """Yield what is wrong between two strings, `one` nearer the chin."""
    if one.finger == other.finger:
        if one.fret != other.fret:
            yield FingersFault(f"{one.name} can't press frets {one.fret} and {other.fret} at once")
        elif one.finger != 1:
            yield FingersFault(
                f"{one.name} can't press strings {one.string} and {other.string} at once: only the index finger lies "
                "flat over several strings"
            )
        return
    low, high = sorted((one, other), key=lambda each: each.finger)
    if high.fret < low.fret:
        yield FingersFault(
            f"{high.name} at fret {high.fret} would lie behind {low.name} at fret {low.fret}: "
            "a higher finger never goes behind a lower one"
        )
    elif high.fret == low.fret and high is one and (low.finger != 1 or fingers.count(1) == 1):
        yield FingersFault(
            f"at fret {low.fret} {high.name} would cross {low.name}: on one fret the lower finger is nearer the chin",
            _with(_with(fingers, one.string, other.finger), other.string, one.finger),
        )


def _of_barre(frets: Shape, fingers: tuple[int, ...], pressed: list[_Pressed]) -> Iterator[FingersFault]:
    """Yield what is wrong under a flat index finger."""
    flat = [each for each in pressed if each.finger == 1]
    if len(flat) < 2:
        return
    for string in range(flat[0].string - 1, flat[-1].string, -1):
        if not frets[4 - string]:
            yield FingersFault(
                f"the index finger lies flat over strings {flat[0].string} to {flat[-1].string}, so string {string} "
                "can't be left open"
            )
    for each in pressed:
        if each.finger != 1 and each.fret == flat[0].fret:
            yield FingersFault(
                f"the index finger lies flat at fret {each.fret} and presses string {each.string} too: it needs no "
                "finger of its own",
                _with(fingers, each.string, 1),
            )


def _with(fingers: tuple[int, ...], string: int, finger: int) -> Shape:
    four, three, two, one = (
        finger if name == string else each for name, each in zip((4, 3, 2, 1), fingers, strict=True)
    )
    return (four, three, two, one)
