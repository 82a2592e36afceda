"""Keys, meters, unit lengths and tempi as ABC 2.1 writes them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from tercet.exchange.leadsheet import TuneError
from tercet.theory import Key

__all__ = ["AbcKey", "read_key", "read_meter", "read_tempo", "read_unit"]

_SHARPS = "FCGDAEB"
_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
_MODES = {
    "maj": 0,
    "ion": 0,
    "": 0,
    "lyd": 1,
    "mix": -1,
    "dor": -2,
    "min": -3,
    "m": -3,
    "aeo": -3,
    "phr": -4,
    "loc": -5,
}
"""Steps on the line of fifths from the major key of the same tonic."""

_MINOR_LIKE = ("min", "m", "aeo", "dor", "phr", "loc")
_KEY = re.compile(r"([A-G])([#b]?)\s*([A-Za-z]*)")
_EXPLICIT = re.compile(r"(?:^|\s)(\^{1,2}|_{1,2}|=)([A-Ga-g])(?=\s|$)")
_ALTERS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}


@dataclass(frozen=True, slots=True)
class AbcKey:
    """A key: what it alters, the nearest key that a song may have (None without one), and a remark or empty."""

    alters: dict[str, int]
    key: Key | None = None
    remark: str = ""


def read_key(text: str) -> AbcKey:
    """Read what follows ``K:``.

    Raises
    ------
    TuneError
        When it can't be read, or has more than seven sharps or flats.
    """
    words = re.split(
        r"\s+(?:clef|middle|transpose|octave|stafflines|staffscale|treble|bass|alto|tenor|perc)\b", text
    )[0]
    plain = words.strip()
    if plain in ("", "none") or plain.startswith(("clef", "treble", "bass")):
        return AbcKey({})
    if plain in ("HP", "Hp"):
        return AbcKey({"F": 1, "C": 1}, Key("D", 0, False), "a key of the pipes, written as D major")
    match = _KEY.match(plain)
    if not match:
        raise TuneError(f"K:{text[:30]} isn't a key: write for instance K:G or K:Am")
    letter, sign, mode = match[1], match[2], match[3][:3].lower() if match[3] != "m" else "m"
    explicit = mode == "exp"
    if mode not in _MODES and not explicit:
        mode = ""
    alter = {"": 0, "#": 1, "b": -1}[sign]
    fifths = _FIFTHS[letter] + 7 * alter + _MODES.get(mode, 0)
    if not -7 <= fifths <= 7:
        raise TuneError(f"K:{text[:30]} has more than seven sharps or flats, and a song at most so many")
    alters = {} if explicit else _signature(fifths)
    for accidental, name in _EXPLICIT.findall(plain[match.end() :]):
        alters[name.upper()] = _ALTERS[accidental]
    key = Key(letter, alter, mode in _MINOR_LIKE)
    if not -7 <= key.fifths <= 7:
        key = Key(letter, alter, not key.minor)
    same = key.fifths == fifths and not explicit
    return AbcKey(
        alters, key, "" if same else f"the key {plain[:30]} became {key}; the notes stay as they sound"
    )


def _signature(fifths: int) -> dict[str, int]:
    if fifths >= 0:
        return dict.fromkeys(_SHARPS[:fifths], 1)
    return dict.fromkeys(_SHARPS[fifths:], -1)


def read_meter(text: str) -> tuple[int, int] | None:
    """Read what follows ``M:``; None for free meter."""
    plain = text.strip()
    if plain in ("C", "c"):
        return 4, 4
    if plain in ("C|", "c|"):
        return 2, 2
    match = re.fullmatch(r"\(?\s*([0-9+ ]{1,20})\)?\s*/\s*([0-9]{1,2})", plain)
    if plain.lower() in ("none", "") or not match:
        return None
    upper = sum(int(part) for part in match[1].replace(" ", "").split("+") if part)
    if not 1 <= upper <= 64 or not 1 <= int(match[2]) <= 64:
        raise TuneError(f"M:{plain[:20]} isn't a meter: write for instance M:3/4")
    return upper, int(match[2])


def read_unit(text: str) -> Fraction:
    """Read what follows ``L:``, in quarters."""
    match = re.fullmatch(r"\s*(1)\s*/\s*([1-9][0-9]{0,2})\s*", text)
    if not match and text.strip() != "1":
        raise TuneError(f"L:{text.strip()[:20]} isn't a length: write for instance L:1/8")
    return Fraction(4, int(match[2])) if match else Fraction(4)


def read_tempo(text: str, unit_quarter: Fraction) -> Fraction | None:
    """Read what follows ``Q:`` as quarters a minute; None for words alone."""
    plain = re.sub(r'"[^"]*"', "", text).strip()
    match = re.fullmatch(r"([0-9/ ]+?)\s*=\s*([0-9]{1,4}(?:\.[0-9]{1,6})?)", plain)
    if match:
        lengths = [part.split("/") for part in match[1].split()]
        if not all(
            len(part) == 2 and all(p.isdigit() and 0 < int(p) < 1000 for p in part) for part in lengths
        ):
            return None
        beat = sum((Fraction(4 * int(upper), int(lower)) for upper, lower in lengths), Fraction(0))
        return beat * Fraction(match[2]) or None
    alone = re.fullmatch(r"(?:C\d?\s*=\s*)?([0-9]{1,4})", plain)
    return Fraction(alone[1]) * unit_quarter or None if alone else None
