"""What stands in the brackets of a chord: four frets, and after a slash the fingers that hold them."""

from __future__ import annotations

from dataclasses import dataclass

from tercet.neck import Shape, fault_of_fingers
from tercet.song.mistakes import SlipError
from tercet.theory import LAST_FRET

__all__ = ["WrittenShape", "as_held", "read_shape"]

_WANTED = "write the frets from string 4 to string 1, x for a string left out: [2000], [x212], [9.10.10.9]"
_WANTED_FINGERS = (
    "write a finger for each fret, from string 4 to string 1: 1 (index) to 4 (little finger), 0 for an open string, "
    "x for a string left out: [2210/2310], [x223/x112]"
)


@dataclass(frozen=True, slots=True)
class WrittenShape:
    """A shape as written.

    Parameters
    ----------
    frets
        String 4 first; None for a string left out.
    fingers
        For each string 1 (index) to 4 (little), 0 for an open one and one left out; None when no fingers are written.
    """

    frets: tuple[int | None, ...]
    fingers: tuple[int, ...] | None = None


def read_shape(text: str) -> WrittenShape:
    """Read what stands between the brackets.

    Raises
    ------
    SlipError
        With what is wrong; `write` is the brackets' text to write instead, where there is no doubt.
    """
    frets_text, slash, fingers_text = text.partition("/")
    frets = _frets(frets_text)
    if not slash:
        return WrittenShape(frets)
    fingers = _fingers(fingers_text)
    held = as_held(frets)
    instead = [_left_out_too(fret, finger) for fret, finger in zip(frets, fingers, strict=True)]
    for string, fret, finger, other in zip((4, 3, 2, 1), frets, fingers, instead, strict=True):
        if other == finger:
            continue
        whole = "" if None in instead else f"{frets_text}/{''.join(map(str, instead))}"
        if fret is None:
            raise SlipError(f"string {string} is left out, so it takes no finger", write=whole or None)
        raise SlipError(
            f"string {string} isn't left out of the frets, but of the fingers",
            _WANTED_FINGERS,
            write=whole or None,
        )
    four, three, two, one = (0 if finger == "x" else int(finger) for finger in fingers)
    fault = fault_of_fingers(held, (four, three, two, one))
    if fault is not None:
        write = None if fault.instead is None else f"{frets_text}/{_fingers_text(frets, fault.instead)}"
        raise SlipError(
            fault.reason, "set the fingers in another way, or leave out / and the fingers", write=write
        )
    return WrittenShape(frets, (four, three, two, one))


def as_held(frets: tuple[int | None, ...]) -> Shape:
    """Return the frets that a hand presses: none on a string that is left out."""
    four, three, two, one = (fret or 0 for fret in frets)
    return (four, three, two, one)


def _frets(text: str) -> tuple[int | None, ...]:
    frets = text.split(".") if "." in text else list(text)
    if len(frets) != 4:
        raise SlipError(f"a shape must have four frets (got {len(frets)})", _WANTED)
    if not all(
        fret == "x" or (fret.isascii() and fret.isdigit() and int(fret) <= LAST_FRET) for fret in frets
    ):
        raise SlipError(f"[{text}] isn't a shape: each fret is x or 0 to {LAST_FRET}", _WANTED)
    if set(frets) == {"x"}:
        raise SlipError("a shape that leaves out every string sounds nothing", "write N.C. for no chord")
    return tuple(None if fret == "x" else int(fret) for fret in frets)


def _fingers(text: str) -> str:
    if len(text) != 4:
        raise SlipError(f"a shape has a finger for each of its four frets (got {len(text)})", _WANTED_FINGERS)
    wrong = next((sign for sign in text if sign not in "01234x"), None)
    if wrong is not None:
        raise SlipError(f"`{wrong}` isn't a finger", _WANTED_FINGERS)
    return text


def _left_out_too(fret: int | None, finger: str) -> str | None:
    """Return the sign that a string's finger should have: x where it is left out; None where only a person can know."""
    if fret is None:
        return "x"
    if finger == "x":
        return "0" if fret == 0 else None
    return finger


def _fingers_text(frets: tuple[int | None, ...], fingers: Shape) -> str:
    return "".join("x" if fret is None else str(finger) for fret, finger in zip(frets, fingers, strict=True))
