"""Keys, meters, unit lengths and tempi as ABC 2.1 writes them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from tercet.exchange.abc.signs import ACCIDENTALS
from tercet.exchange.leadsheet import TuneError
from tercet.theory import Key
from tercet.theory.pitch import ALTERS, fifths_of, signature_alters

__all__ = ["AbcKey", "Sounding", "read_key", "read_meter", "read_sounding", "read_tempo", "read_unit"]

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
_KEY = re.compile(r"([A-Ga-g])([#b]?)\s*([A-Za-z]*)")
_EXPLICIT = re.compile(r"(\^{1,2}|_{1,2}|=)([A-Ga-g])")
_SIGNS_ALONE = re.compile(r"(?:exp\s+)?((?:(?:\^{1,2}|_{1,2}|=)[A-Ga-g]\s*)+)")
_SPACES = re.compile(r"(?<=[\^_=])\s+([A-Ga-g])")
_CLEFS = r"(?:treble|bass|alto|tenor|baritone|soprano|mezzosoprano|perc|[GCF])[1-5]?"
_KEY_ENDS = re.compile(
    r"(?:^|\s+)(?:(?:clef|middle|m|transpose|t|octave|stafflines|staffscale|score|sound|shift|style|cue)\s*="
    r"|(?:treble|bass|alto|tenor|baritone|soprano|mezzosoprano|perc|[GCF][1-5])\b"
    r"|none\s+\S|\^8|_8)"
)
"""Where clefs and what else a key may be followed by begin."""


@dataclass(frozen=True, slots=True)
class AbcKey:
    """A key: what it alters, the nearest key that a song may have (None without one), and a remark or empty."""

    alters: dict[str, int]
    key: Key | None = None
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Sounding:
    """How far from what is written a voice sounds.

    Parameters
    ----------
    octaves
        Of its clef (``treble-8``) or by ``octave=``; None where nothing is said.
    semitones
        By ``transpose=``; None where nothing is said.
    """

    octaves: int | None = None
    semitones: int | None = None


def read_sounding(text: str) -> Sounding:
    """Read what a key or a voice says about where it sounds.

    >>> read_sounding("G clef=treble-8 transpose=-2")
    Sounding(octaves=-1, semitones=-2)
    """
    plain = re.sub(r'"[^"]*"', "", text)
    octave = re.search(r"(?:^|\s)octave=([+-]?\d)(?!\d)", plain)
    clef = re.search(rf"(?:^|\s|clef=){_CLEFS}([+-])8(?!\d)", plain)
    semitones = re.search(r"(?:^|\s)t(?:ranspose)?=([+-]?\d{1,2})(?!\d)", plain)
    octaves = int(octave[1]) if octave else 0
    octaves += int(f"{clef[1]}1") if clef else 0
    return Sounding(octaves if octave or clef else None, int(semitones[1]) if semitones else None)


def read_key(text: str, before: AbcKey | None = None) -> AbcKey:
    """Read what follows ``K:``.

    Parameters
    ----------
    text
        What stands there.
    before
        The key that holds so far, which stays where only a clef is named.

    Raises
    ------
    TuneError
        When it can't be read, or has more than seven sharps or flats.
    """
    plain = _KEY_ENDS.split(text.replace("♯", "#").replace("♭", "b"))[0].strip()
    if plain == "" and before is not None:
        return before
    if plain == "" or plain.lower() == "none":
        return AbcKey({})
    if plain in ("HP", "Hp"):
        return AbcKey({"F": 1, "C": 1}, Key("D", 0, False), "a key of the pipes, written as D major")
    if signs := _SIGNS_ALONE.fullmatch(plain):
        return _of_signs(signs[1], before)
    match = _KEY.match(plain)
    if not match:
        raise TuneError(f"K:{text[:30]} isn't a key: write, for instance, K:G or K:Am")
    letter, sign, mode = match[1].upper(), match[2], match[3][:3].lower() if match[3] != "m" else "m"
    explicit = mode == "exp"
    if mode not in _MODES and not explicit:
        mode = ""
    alter = ALTERS[sign]
    fifths = fifths_of(letter, alter) + _MODES.get(mode, 0)
    if not -7 <= fifths <= 7:
        raise TuneError(f"K:{text[:30]} has more than seven sharps or flats, and a song at most so many")
    alters = {} if explicit else signature_alters(fifths)
    written = _SPACES.sub(r"\1", plain[match.end() :])
    accidentals = {name.upper(): ACCIDENTALS[accidental] for accidental, name in _EXPLICIT.findall(written)}
    key = Key(letter, alter, mode in _MINOR_LIKE)
    if not -7 <= key.fifths <= 7:
        key = Key(letter, alter, not key.minor)
    alters |= accidentals
    same = alters == signature_alters(key.fifths)
    return AbcKey(
        alters, key, "" if same else f"the key {plain[:30]} became {key}; the notes stay as they sound"
    )


def _of_signs(text: str, before: AbcKey | None) -> AbcKey:
    """Return the key of accidentals alone, which are added to the key that holds."""
    accidentals = {name.upper(): ACCIDENTALS[sign] for sign, name in _EXPLICIT.findall(text)}
    alters = (before.alters if before else {}) | accidentals
    return AbcKey(alters, before.key if before else None)


_METER = re.compile(r"\(?\s*([0-9]{1,3}(?:\s*[+ ]\s*[0-9]{1,3}){0,9})\s*\)?\s*/\s*([0-9]{1,2})")
_TEMPO = re.compile(
    r"(?:(?P<beat>[0-9]{1,3}/[0-9]{1,3}(?:\s+[0-9]{1,3}/[0-9]{1,3}){0,8})\s*=|C(?P<units>[1-9]?)\s*=)?\s*"
    r"(?:ca?\.?\s*)?(?P<number>[0-9]{1,4}(?:\.[0-9]{1,6})?)(?:\s*-\s*[0-9]{1,4})?"
)


def read_meter(text: str) -> tuple[int, int] | None:
    """Read what follows ``M:``; None for free meter."""
    plain = re.sub(r'"[^"]*"', "", text).strip()
    if plain in ("C", "c"):
        return 4, 4
    if plain in ("C|", "c|"):
        return 2, 2
    match = _METER.fullmatch(plain)
    if not match:
        return None
    upper = sum(int(part) for part in re.findall(r"\d{1,3}", match[1]))
    if not 1 <= upper <= 64 or not 1 <= int(match[2]) <= 64:
        raise TuneError(f"M:{plain[:20]} isn't a meter: write, for instance, M:3/4")
    return upper, int(match[2])


def read_unit(text: str) -> Fraction:
    """Read what follows ``L:``, in quarters."""
    match = re.fullmatch(r"\s*(1)\s*/\s*([1-9][0-9]{0,2})\s*", text)
    if not match and text.strip() != "1":
        raise TuneError(f"L:{text.strip()[:20]} isn't a length: write, for instance, L:1/8")
    return Fraction(4, int(match[2])) if match else Fraction(4)


def read_tempo(text: str, unit_quarter: Fraction) -> Fraction | None:
    """Read what follows ``Q:`` as quarters a minute; None for words alone.

    Beats may be several lengths (``1/4 3/8=40``); ``C3=40`` counts three units, ``120`` alone single ones.
    """
    plain = re.sub(r'"[^"]*"', "", text).strip()
    found = _TEMPO.fullmatch(plain)
    if not found:
        return None
    beat = unit_quarter
    if found["beat"]:
        lengths = [part.split("/") for part in found["beat"].split()]
        if not all(0 < int(number) < 1000 for part in lengths for number in part):
            return None
        beat = sum((Fraction(4 * int(upper), int(lower)) for upper, lower in lengths), Fraction(0))
    elif found["units"]:
        beat = unit_quarter * int(found["units"])
    return beat * Fraction(found["number"]) or None
