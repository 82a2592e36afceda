"""What the value of a setting means when it isn't written as Tercet writes it; only what is certain."""

from __future__ import annotations

import re
from fractions import Fraction

from tercet.song.model import Meter
from tercet.song.spelling import number_text
from tercet.theory.limits import LOWER_FIGURES, MOST_UPPER, TEMPO_RANGE

__all__ = ["meant_meter", "meant_number", "meant_tempo", "meters_of"]

_METERS = {
    **dict.fromkeys(("c", "common", "common time", "4", "four"), "4/4"),
    **dict.fromkeys(("¢", "c|", "cut", "cut time", "alla breve"), "2/2"),
    **dict.fromkeys(("waltz", "waltz time", "3", "three"), "3/4"),
}
_METER = re.compile(
    r"(\d{1,2})\s*(?:[/:⁄∕|.,-]|over|\s)\s*(\d{1,2})(?:\s*-?\s*(?:time|takt))?", re.IGNORECASE
)

_NOTE_VALUES: dict[str, Fraction] = {
    **dict.fromkeys(("1/2", "𝅗𝅥", "half", "half note", "minim", "h"), Fraction(1, 2)),
    **dict.fromkeys(("1/4.", "3/8", "♩.", "dotted quarter", "dotted crotchet", "q."), Fraction(3, 8)),
    **dict.fromkeys(("1/4", "♩", "quarter", "quarter note", "crotchet", "q"), Fraction(1, 4)),
    **dict.fromkeys(("1/8", "♪", "eighth", "eighth note", "quaver"), Fraction(1, 8)),
}
"""Parts of a whole note."""

_TEMPO = re.compile(
    r"(?:(?:ca?|circa|about|tempo|mm|m\.m|bpm)\b[ .:=]*)?(?:(?P<unit>[^\s=\d][^=\d]*?|\d/\d\.?)\s*=\s*)?"
    r"(?P<figure>\d{1,3}(?:[.,]\d{1,3})?)\s*(?:bpm|beats?|pulses?)?(?:\s*(?:per|a|/)\s*min(?:ute)?)?\.?",
    re.IGNORECASE,
)


_IN_WORDS = {
    word: str(number)
    for number, word in enumerate(
        [
            "none",
            "one",
            "two",
            "three",
            "four",
            "five",
            "six",
            "seven",
            "eight",
            "nine",
            "ten",
            "eleven",
            "twelve",
        ]
    )
}


def meant_meter(text: str) -> str:
    """Return the meter that a text means, or an empty text.

    >>> meant_meter("3-4"), meant_meter("4/4 time"), meant_meter("waltz"), meant_meter("6")
    ('3/4', '4/4', '3/4', '')
    """
    if named := _METERS.get(text.casefold()):
        return named
    match = _METER.fullmatch(text)
    if match and 1 <= int(match[1]) <= MOST_UPPER and int(match[2]) in LOWER_FIGURES:
        return f"{match[1]}/{match[2]}"
    return ""


def meters_of(text: str) -> str:
    """Return what two meters a single figure may mean, as people say it; an empty text for anything else."""
    return (
        f"{text}/4 or {text}/8"
        if re.fullmatch(r"[5-9]|1[0-2]", text)
        else "2/4 or 2/2"
        if text == "2"
        else ""
    )


def meant_tempo(text: str, meter: Meter | None) -> str:
    """Return the tempo that a text means, in pulses a minute, or an empty text.

    Parameters
    ----------
    text
        Such as ``92 BPM`` or ``1/4 = 90``.
    meter
        The song's, which says what a pulse is; None when that isn't known.
    """
    match = _TEMPO.fullmatch(text)
    if match is None:
        return ""
    tempo = Fraction(match["figure"].replace(",", "."))
    if match["unit"]:
        value = _NOTE_VALUES.get(match["unit"].strip().casefold())
        if value is None or meter is None:
            return ""
        tempo *= value / (meter.pulse_beat / meter.lower)
    low, high = TEMPO_RANGE
    return number_text(tempo) if low <= tempo <= high else ""


def meant_number(text: str, unit: str = "") -> str:
    """Return a number in words, with a comma, with its unit or in percent, as Tercet writes it; or nothing.

    >>> meant_number("9,5"), meant_number("1 bar", "bars?"), meant_number("60%"), meant_number("some")
    ('9.5', '1', '3/5', '')
    >>> meant_number("two bars", "bars?")
    '2'
    """
    word, space, unit_after = text.partition(" ")
    text = _IN_WORDS.get(word.casefold(), word) + space + unit_after
    match = re.fullmatch(rf"(\d{{1,3}}(?:[.,]\d{{1,3}})?)\s*(%?)\s*(?:{unit})?", text, re.IGNORECASE)
    if match is None:
        return ""
    figure = match[1].replace(",", ".")
    return str(Fraction(figure) / 100) if match[2] else figure
