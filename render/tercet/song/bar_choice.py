"""Choosing bars of the piece as played: ``5-8``, ``verse:3-4``, ``verse@2:3-4``, ``verse``."""

from __future__ import annotations

import re
from collections.abc import Sequence

from tercet.errors import RequestError
from tercet.song.model import Bar
from tercet.wording import lookalikes

__all__ = ["bar_indices", "meant_bars", "says_bars"]

_RANGE = re.compile(r"(\d{1,5})(?:\s*[-–]\s*(\d{1,5}))?")
_SECTION = re.compile(r"([^@:]+)(?:@(\d{1,5}|last))?(?::(.+))?")
_TO = re.compile(r"(?<=\d)\s*(?:\.{2,3}|…|to|until|till|bis|[-–—:])\s*(?=\d)", re.IGNORECASE)
_MEND = "write bars as 7, 5-8, verse, verse:3-4 or verse@2:3-4"


def bar_indices(text: str, bars: Sequence[Bar]) -> tuple[int, ...]:
    """Return the places in `bars` of the bars that a text asks for.

    Parameters
    ----------
    text
        ``"7"`` or ``"5-8"``: numbers of bars as played. ``"verse:3"`` or ``"verse:3-4"``: bars of a section on
        its first pass; ``"verse@2:3-4"`` on its second, ``"verse@last:3-4"`` on its last. ``"verse"`` and
        ``"verse@2"``: all its bars on that pass.
    bars
        The piece as `tercet.song.played_bars` gives it.

    Raises
    ------
    RequestError
        When the text says something else or there are no such bars; it tells what there is.
    """
    text = text.strip()
    numbers = _RANGE.fullmatch(text)
    if numbers:
        first, last = _first_and_last(numbers, text)
        return _found(text, bars, range(len(bars)), [bar.number for bar in bars], (first, last), "the piece")
    match = _SECTION.fullmatch(text)
    if not match:
        raise RequestError(f"`{text}` doesn't say which bars; {_MEND}")
    name, visit_text, range_text = match[1].strip(), match[2], match[3]
    chosen = _visit(text, name, visit_text, bars)
    if range_text is None:
        return tuple(chosen)
    numbers = _RANGE.fullmatch(range_text.strip())
    if not numbers:
        raise RequestError(f"`{range_text.strip()}` in `{text}` doesn't say which bars; {_MEND}")
    first, last = _first_and_last(numbers, text)
    counted = [bars[index].section_bar for index in chosen]
    return _found(text, bars, chosen, counted, (first, last), name)


def says_bars(text: str) -> bool:
    """Return whether a text could ask for bars, whatever the piece."""
    match = _SECTION.fullmatch(text.strip())
    if _RANGE.fullmatch(text.strip()):
        return True
    named = match is not None and re.fullmatch(r"[^\W\d_][\w-]*", match[1].strip()) is not None
    return match is not None and named and (match[3] is None or bool(_RANGE.fullmatch(match[3].strip())))


def meant_bars(text: str) -> tuple[str, ...]:
    """Return the bars that a text likely asks for, as they are written: nothing, or one text.

    Examples
    --------
    >>> meant_bars("3..5"), meant_bars("3 to 5"), meant_bars("verse 3"), meant_bars("verse@2 bars 3-4")
    (('3-5',), ('3-5',), ('verse:3',), ('verse@2:3-4',))
    """
    plain = re.sub(r"\bbars?\b|\bnumbers?\b", " ", text, flags=re.IGNORECASE)
    match = re.fullmatch(r"\s*([^\W\d_][\w-]*?(?:@\w+)?)?[\s:,(]*(\d[^)]*)\)?\s*", plain)
    if match is None:
        return ()
    name, numbers = match[1] or "", _TO.sub("-", match[2]).strip()
    meant = f"{name}:{numbers}" if name else numbers
    return (meant,) if says_bars(meant) and meant != text.strip() else ()


def _first_and_last(match: re.Match[str], text: str) -> tuple[int, int]:
    first = int(match[1])
    last = int(match[2]) if match[2] else first
    if last < first:
        meant = text.replace(match[0], f"{last}-{first}")
        raise RequestError(f"`{text}` ends before it starts; did you mean {meant}?", given=text, meant=meant)
    return first, last


def _found(
    text: str,
    bars: Sequence[Bar],
    indices: Sequence[int],
    numbers: list[int],
    wanted: tuple[int, int],
    where: str,
) -> tuple[int, ...]:
    """Return those of the indices whose number lies in the range, if the ends of the range exist."""
    del bars
    for number in wanted:
        if number not in numbers:
            raise RequestError(
                f"there is no bar {number}, asked for by `{text}`: {where} has bars {numbers[0]} to {numbers[-1]}"
            )
    return tuple(
        index for index, number in zip(indices, numbers, strict=True) if wanted[0] <= number <= wanted[1]
    )


def _visit(text: str, name: str, visit_text: str | None, bars: Sequence[Bar]) -> list[int]:
    """Return the indices of a section's bars on one pass."""
    names = list(dict.fromkeys(bar.section for bar in bars))
    if name not in names:
        close = next(iter(lookalikes(name, names)), "")
        hint = f"did you mean {close}?" if close else f"sections are {', '.join(names)}"
        meant = text.replace(name, close, 1) if close else ""
        raise RequestError(f"no section `{name}` is played; {hint}", given=text, meant=meant)
    passes = max(bar.pass_number for bar in bars if bar.section == name)
    number = passes if visit_text == "last" else int(visit_text or 1)
    if not 1 <= number <= passes:
        times = {1: "once", 2: "twice"}.get(passes, f"{passes} times")
        raise RequestError(f"`{name}` is played {times}, so it has no pass {number}")
    return [index for index, bar in enumerate(bars) if bar.section == name and bar.pass_number == number]
