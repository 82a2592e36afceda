"""The signs of ABC 2.1: what a line of music is made of, note lengths, bar lines and what they mean."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from tercet.exchange.leadsheet import TuneError
from tercet.exchange.plain_signs import passes_of
from tercet.song import MarkKind
from tercet.theory import DYNAMIC_MARKS

__all__ = ["ACCIDENTALS", "LETTERS", "LONGEST_QUARTERS", "MARKS", "MOST_DIGITS", "PHRASE_ENDS", "SIGNS",
           "SILENT", "BarLine", "length_of", "read_bar_line", "read_symbol"]  # fmt: skip

SIGNS = re.compile(
    r"""
    (?P<field>\[[A-Za-z]:[^\]\n]*\])
  | (?P<ending>\[[1-9][0-9,.-]*)
  | (?P<bar>(?:\.?\|[\]|]*|\[\||:+|\])(?:[|:\[\]]*(?=[|:])[|:])?:*(?:[1-9](?:[,.-][0-9]+)*)?)
  | (?P<quoted>"[^"\n]*")
  | (?P<decoration>!(?:[^!|\s"]{1,40}|D\.\s?[CS]\.[\w .]{1,20}|(?:[Tt]o|[Dd]a|[Dd]al)\s\w{4,5})!|\+[^+|\s"]{1,40}\+)
  | (?P<grace>\{[^}\n]*\})
  | (?P<tuplet>\([2-9](?::[0-9]*(?::[0-9]*)?)?)
  | (?P<note>(?P<accidental>\^(?:\^|[1-9]?/[1-9]?)?|_(?:_|[1-9]?/[1-9]?)?|=)?
      (?P<letter>[A-Ga-g])(?P<octave>[,']*)(?P<length>[0-9]*(?:/[0-9]*)*))
  | (?P<rest>[zx](?P<rest_length>[0-9]*(?:/[0-9]*)*))
  | (?P<measures>[ZX](?P<count>[0-9]*))
  | (?P<chord>\[(?P<inside>(?:"[^"\n]*"|![^!|\n]{1,40}!|\+[^+|\n]{1,40}\+|\{[^}\n]*\}|[^\]\["{|\n])*)\]
      (?P<chord_length>[0-9]*(?:/[0-9]*)*))
  | (?P<broken><{1,3}|>{1,3})
  | (?P<tie>\.?-)
  | (?P<overlay>\(?(?P<over>&+)\)?)
  | (?P<spacer>y[0-9]*)
  | (?P<break>[$!])
  | (?P<letter_sign>[.~H-Wh-w])
  | (?P<other>.)
    """,
    re.VERBOSE,
)

ACCIDENTALS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
MARKS: dict[str, tuple[MarkKind, str]] = {
    "fermata": ("fermata", ""),
    "invertedfermata": ("fermata", ""),
    "accent": ("accent", ""),
    "emphasis": ("accent", ""),
    ">": ("accent", ""),
    "crescendo(": ("hairpin", "louder"),
    "<(": ("hairpin", "louder"),
    "diminuendo(": ("hairpin", "softer"),
    ">(": ("hairpin", "softer"),
    **{name: ("dynamic", name) for name in DYNAMIC_MARKS},
}
PHRASE_ENDS = {"breath", "shortphrase", "mediumphrase", "longphrase"}
SILENT = {
    "crescendo)", "<)", "diminuendo)", ">)", "trill)", "nil", "none", "editorial", "courtesy", "beambr1", "beambr2",
}  # fmt: skip
LETTERS = {
    ".": "staccato",
    "~": "roll",
    "H": "fermata",
    "L": "accent",
    "M": "lowermordent",
    "O": "coda",
    "P": "uppermordent",
    "S": "segno",
    "T": "trill",
    "u": "upbow",
    "v": "downbow",
}
"""What a letter before a note stands for, as long as `U:` doesn't say otherwise."""

LONGEST_QUARTERS = 1000
"""Of a bar: songs without meter are written in long ones, and cut into 4/4."""

MOST_DIGITS = 4


def length_of(text: str) -> Fraction:
    """Return the factor that a note's length stands for: ``3/2``, ``/``, ``//``, ``2``.

    Raises
    ------
    TuneError
        When it divides by nothing or is beyond all use.
    """
    whole, *parts = text.split("/")
    if any(len(part) > MOST_DIGITS for part in (whole, *parts)) or len(parts) > MOST_DIGITS:
        raise TuneError(f"the length {text[:20]} makes no sense: correct it")
    factor = Fraction(int(whole)) if whole else Fraction(1)
    for part in parts:
        if part and int(part) == 0:
            raise TuneError(f"the length {text} divides by 0: correct it")
        factor /= int(part) if part else 2
    if factor > 1000:
        raise TuneError(f"the length {text[:20]} makes no sense: correct it")
    return factor


def read_symbol(text: str) -> tuple[str, str] | None:
    """Read what follows ``U:``: a letter and the decoration that it stands for; None where it can't be read.

    >>> read_symbol("W = !segno!"), read_symbol("T: no")
    (('W', 'segno'), None)
    """
    found = re.fullmatch(r"\s*([.~H-Wh-w])\s*=\s*(.+?)\s*", text)
    if not found:
        return None
    name = found[2]
    return found[1], name[1:-1] if name[0] == name[-1] and name[0] in "!+" and len(name) > 2 else name


@dataclass(frozen=True, slots=True)
class BarLine:
    """What a bar line says.

    Parameters
    ----------
    repeat_times
        How often what it closes is played in all; 0 when it repeats nothing.
    repeat_start
        Whether a repeat starts after it.
    closes
        Whether an ending that is open stops here: at every double, thick or repeating line.
    endings
        Passes for which what follows is meant; empty without a number.
    """

    repeat_times: int = 0
    repeat_start: bool = False
    closes: bool = False
    endings: tuple[int, ...] = ()


def read_bar_line(text: str) -> BarLine:
    """Read a bar line of any shape, with the number of an ending behind it.

    Dots before a line repeat what came before, dots after it start a repeat; ``::`` does both. Each dot more is one
    time more. ``|:|`` starts a repeat.

    >>> read_bar_line(":|2"), read_bar_line("||:").repeat_start, read_bar_line("[|]:|").repeat_times
    (BarLine(repeat_times=2, repeat_start=False, closes=True, endings=(2,)), True, 2)
    """
    numbers = re.search(r"[1-9][0-9,.-]*$", text)
    body = text[: numbers.start()] if numbers else text
    endings = passes_of(numbers[0]) if numbers else ()
    if body.strip(":") == "":
        return BarLine(2, True, True, endings) if len(body) > 1 else BarLine(endings=endings)
    before = re.search(r"(?<![|:])(:+)[|\[\]]", body)
    starts = body.endswith(":") or "|:|" in body
    times = len(before[1]) + 1 if before else 0
    return BarLine(times, starts, bool(times or starts or "||" in body or "]" in body), endings)
