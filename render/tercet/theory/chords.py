"""Chord names: a table of qualities and a small grammar that reads every usual way to write them.

A chord name is a root, a quality and perhaps a bass after a slash: ``F#m7b5``, ``B♭Δ``, ``C/E``, ``G6/9``.
``N.C.`` means no chord; the reader of rows handles it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from tercet.errors import ParameterError
from tercet.theory.note_names import mode_of, notes_elsewhere
from tercet.theory.pitch import ALTERS, PITCH_CLASSES, SIGNS

__all__ = [
    "DEGREES",
    "MUSICXML_KINDS",
    "QUALITIES",
    "Chord",
    "ChordNameError",
    "Quality",
    "parse_chord",
    "plain_signs",
]


class ChordNameError(ParameterError):
    """A chord name that isn't known.

    ``suggestion`` holds the same chord as Tercet writes it, where that is certain; ``nearest`` a known chord that
    this one adds something to. Each may be empty.
    """

    def __init__(self, text: str, suggestion: str = "", nearest: str = "") -> None:
        self.suggestion = suggestion
        self.nearest = nearest
        hint = f"; did you mean {suggestion}?" if suggestion else ""
        super().__init__(f"{text!r} isn't a chord name that Tercet knows{hint}")


@dataclass(frozen=True, slots=True)
class Quality:
    """A chord quality.

    Parameters
    ----------
    name
        The way Tercet writes it after the root, empty for major.
    intervals
        Semitones above the root, root first, rising; 14 is a ninth, 17 an eleventh, 21 a thirteenth.
    needed
        The intervals that give the chord its sound on four strings, the most telling first.
    also
        Other ways to write it.
    kind
        What MusicXML 4.0 calls a chord of just these tones (its type `kind-value`); empty where it has no name.
    """

    name: str
    intervals: tuple[int, ...]
    needed: tuple[int, ...]
    also: tuple[str, ...] = ()
    kind: str = ""


QUALITIES: tuple[Quality, ...] = (
    Quality("", (0, 4, 7), (4, 0, 7), ("M", "maj", "major"), kind="major"),
    Quality("m", (0, 3, 7), (3, 0, 7), ("min", "mi", "-", "minor"), kind="minor"),
    Quality("7", (0, 4, 7, 10), (4, 10, 0), ("dom7",), kind="dominant"),
    Quality(
        "maj7",
        (0, 4, 7, 11),
        (4, 11, 0),
        ("M7", "Maj7", "ma7", "7M", "7maj", "Δ", "Δ7", "j7"),
        kind="major-seventh",
    ),
    Quality("m7", (0, 3, 7, 10), (3, 10, 0), ("min7", "mi7", "-7"), kind="minor-seventh"),
    Quality(
        "mmaj7",
        (0, 3, 7, 11),
        (3, 11, 0),
        ("m(maj7)", "mM7", "mMaj7", "minmaj7", "-maj7", "-Δ", "-Δ7", "mΔ", "mΔ7"),
        kind="major-minor",
    ),
    Quality("6", (0, 4, 7, 9), (4, 9, 0), ("maj6", "M6"), kind="major-sixth"),
    Quality("m6", (0, 3, 7, 9), (3, 9, 0), ("min6", "mi6", "-6"), kind="minor-sixth"),
    Quality("6/9", (0, 4, 7, 9, 14), (4, 9, 14), ("69", "6(9)", "6add9")),
    Quality("9", (0, 4, 7, 10, 14), (4, 10, 14), ("dom9",), kind="dominant-ninth"),
    Quality("maj9", (0, 4, 7, 11, 14), (4, 11, 14), ("M9", "Maj9", "ma9", "Δ9"), kind="major-ninth"),
    Quality("m9", (0, 3, 7, 10, 14), (3, 10, 14), ("min9", "mi9", "-9"), kind="minor-ninth"),
    Quality("add9", (0, 4, 7, 14), (4, 14, 0), ("add2", "(add9)", "2")),
    Quality("madd9", (0, 3, 7, 14), (3, 14, 0), ("m(add9)", "madd2", "m2", "-add9")),
    Quality("sus2", (0, 2, 7), (2, 0, 7), (), kind="suspended-second"),
    Quality("sus4", (0, 5, 7), (5, 0, 7), ("sus", "4"), kind="suspended-fourth"),
    Quality("7sus4", (0, 5, 7, 10), (5, 10, 0), ("7sus",)),
    Quality("9sus4", (0, 5, 7, 10, 14), (5, 10, 14), ("9sus",)),
    Quality("dim", (0, 3, 6), (3, 6, 0), ("°", "o", "mb5", "m(b5)"), kind="diminished"),
    Quality("dim7", (0, 3, 6, 9), (3, 6, 9), ("°7", "o7"), kind="diminished-seventh"),
    Quality(
        "m7b5",
        (0, 3, 6, 10),
        (3, 6, 10),
        ("ø", "ø7", "m7(b5)", "min7b5", "min7(b5)", "mi7b5", "-7b5", "-7(b5)", "m7-5"),
        kind="half-diminished",
    ),
    Quality("aug", (0, 4, 8), (4, 8, 0), ("+", "(#5)"), kind="augmented"),
    Quality("7#5", (0, 4, 8, 10), (4, 8, 10), ("+7", "aug7", "7+", "7(#5)", "7+5"), kind="augmented-seventh"),
    Quality("7b5", (0, 4, 6, 10), (4, 6, 10), ("7(b5)", "7-5")),
    Quality("7b9", (0, 4, 7, 10, 13), (4, 10, 13), ("7(b9)", "7-9")),
    Quality("7#9", (0, 4, 7, 10, 15), (4, 10, 15), ("7(#9)", "7+9")),
    Quality("11", (0, 4, 7, 10, 14, 17), (10, 17, 0), ("dom11",), kind="dominant-11th"),
    Quality("m11", (0, 3, 7, 10, 14, 17), (3, 10, 17), ("min11", "mi11", "-11"), kind="minor-11th"),
    Quality("13", (0, 4, 7, 10, 14, 21), (4, 10, 21), ("dom13",), kind="dominant-13th"),
    Quality("5", (0, 7), (0, 7), (), kind="power"),
)

MUSICXML_KINDS: dict[str, tuple[int, ...]] = {
    **{quality.kind: quality.intervals for quality in QUALITIES if quality.kind},
    "major-11th": (0, 4, 7, 11, 14, 17),
    "major-13th": (0, 4, 7, 11, 14, 21),
    "minor-13th": (0, 3, 7, 10, 14, 21),
}
"""Semitones above the root for each kind of MusicXML; the eleventh of a thirteenth is left out, as players do."""

DEGREES: dict[int, int] = {
    1: 0,
    2: 2,
    3: 4,
    4: 5,
    5: 7,
    6: 9,
    7: 10,
    8: 12,
    9: 14,
    10: 16,
    11: 17,
    12: 19,
    13: 21,
}
"""Semitones of a chord's degree above the root, the seventh being minor, as chord names count what is added."""

_SPELLINGS: dict[str, Quality] = {
    spelling: quality for quality in QUALITIES for spelling in (quality.name, *quality.also)
}
_SLIPS: dict[str, str] = {
    "7/9": "9",
    "sus7": "7sus4",
    "dom": "7",
    "halfdim": "m7b5",
    "mm7": "m7",
    "major7": "maj7",
}
"""What some write for a quality, small and without parentheses."""

_NEAREST: dict[str, str] = {"7alt": "7#9", "alt": "7#9", "maj11": "maj9", "maj13": "maj9", "m13": "m11"}
"""Qualities that Tercet doesn't know, and the one that sounds most like each."""

_SAME_SIGN = str.maketrans(
    {
        **dict.fromkeys("‐‑‒–—−﹣－", "-"),
        "♭": "b",
        **dict.fromkeys("♯＃", "#"),
        **dict.fromkeys("º˚⁰", "°"),
        **dict.fromkeys("∆△", "Δ"),
        **dict.fromkeys("Ø∅⌀", "ø"),
        "＋": "+",
        "／": "/",
    }
)
"""Signs that look alike, with the one that the table uses."""

_ROOT = re.compile(r"([A-G])([#b]?)(.*)", re.DOTALL)
_BASS = re.compile(r"(.*)/([A-G])([#b]?)", re.DOTALL)
_ANY_BASS = re.compile(r"(.+)/([^/\d]+)", re.DOTALL)
_ADDED = re.compile(r"[#b+(-]|add")
_MAJOR_THIRD = 4
_LONGEST_NAME = 20
"""For names longer than this nothing is suggested."""


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord as named.

    Parameters
    ----------
    letter, alter
        The root: A to G and −1, 0 or 1 semitones.
    quality
        One of `QUALITIES`.
    bass
        The note after the slash as (letter, alter), or None.
    """

    letter: str
    alter: int
    quality: Quality
    bass: tuple[str, int] | None = None

    @property
    def root_class(self) -> int:
        """Pitch class of the root, 0 to 11."""
        return (PITCH_CLASSES[self.letter] + self.alter) % 12

    @property
    def bass_class(self) -> int:
        """Pitch class of the lowest note that the name asks for: the bass, else the root."""
        if self.bass is None:
            return self.root_class
        return (PITCH_CLASSES[self.bass[0]] + self.bass[1]) % 12

    @property
    def pitch_classes(self) -> frozenset[int]:
        """All pitch classes of the chord, its bass included."""
        tones = {(self.root_class + interval) % 12 for interval in self.quality.intervals}
        return frozenset(tones | {self.bass_class})

    @property
    def needed_classes(self) -> tuple[int, ...]:
        """Pitch classes that give the chord its sound, the most telling first."""
        return tuple((self.root_class + interval) % 12 for interval in self.quality.needed)

    def transposed(self, semitones: int, prefer_flats: bool) -> Chord:
        """Return the chord that many semitones higher, spelt with flats or with sharps."""

        def moved(letter: str, alter: int) -> tuple[str, int]:
            wanted = (PITCH_CLASSES[letter] + alter + semitones) % 12
            order = (0, -1, 1) if prefer_flats else (0, 1, -1)
            return next(
                (name, sign)
                for sign in order
                for name, pc in PITCH_CLASSES.items()
                if (pc + sign) % 12 == wanted
            )

        if semitones % 12 == 0:
            return self
        letter, alter = moved(self.letter, self.alter)
        return Chord(letter, alter, self.quality, moved(*self.bass) if self.bass else None)

    def __str__(self) -> str:
        bass = f"/{self.bass[0]}{SIGNS[self.bass[1]]}" if self.bass else ""
        return f"{self.letter}{SIGNS[self.alter]}{self.quality.name}{bass}"


def plain_signs(text: str) -> str:
    """Return a chord name with one sign for all that look alike: ``♭`` as ``b``, ``△`` as ``Δ``."""
    return text.translate(_SAME_SIGN)


@lru_cache(maxsize=4096)
def parse_chord(text: str) -> Chord:
    """Read a chord name; `ChordNameError` with what was meant, where that can be told, for anything else."""
    name = plain_signs(text)
    match = _ROOT.fullmatch(name)
    if not match:
        raise ChordNameError(text, _meant(name), _nearest(name))
    letter, accidental, rest = match.groups()
    bass = None
    if rest not in _SPELLINGS and (slash := _BASS.fullmatch(rest)):
        rest, bass = slash[1], (slash[2], ALTERS[slash[3]])
    quality = _SPELLINGS.get(rest)
    if quality is None:
        raise ChordNameError(text, _meant(name), _nearest(name))
    return Chord(letter, ALTERS[accidental], quality, bass)


def _meant(name: str) -> str:
    """Return the chord that a name means though it is spelt in another way; an empty text when that isn't certain."""
    if len(name) > _LONGEST_NAME or name in _SPELLINGS:
        return ""  # `dom7` by itself is what a chord is, of no root
    head, bass = name, ""
    if slash := _ANY_BASS.fullmatch(name):
        named = next((note.name for note in notes_elsewhere(slash[2]) if not note.rest), "")
        if named:
            head, bass = slash[1], f"/{named}"
        if slash[2] in ("B", "b") and any(note.naming == "german" for note in notes_elsewhere(slash[1])):
            return ""  # its B may be a German one
    found = set()
    for note in notes_elsewhere(head):
        meant = _quality_and_mode(note.rest)
        if meant is None or (note.small and not meant[1] and meant[0].intervals[1] == _MAJOR_THIRD):
            continue  # a small letter alone means a minor chord to some
        quality, mode = meant
        root = "Bb" if mode in ("dur", "moll") and head[0] in "Bb" and note.name == "B" else note.name
        if _ROOT.fullmatch(root) and len(root) < 3:
            found.add(f"{root}{quality.name}{bass}")
    return found.pop() if len(found) == 1 else ""


def _quality_and_mode(rest: str) -> tuple[Quality, str] | None:
    """Return the quality that what follows a root means, and the word for major or minor in it, if there is one."""
    if rest in _SPELLINGS:
        return _SPELLINGS[rest], ""
    word = re.search(r"[a-z]{3,}", rest.lower())
    mode = word[0] if word and mode_of(word[0]) else ""
    plain = re.sub(r"M(?![a-zA-Z])", "maj", rest).lower()
    if mode:
        short = "m" if mode_of(mode) == "minor" else "maj"
        plain = re.sub(rf"^(\d*)[-_ ]*{mode}", rf"{short}\1", plain)
        plain = plain.removeprefix("maj") if mode == "dur" else plain
    plain = re.sub(r"[()., _]|/$", "", plain)
    quality = _SPELLINGS.get(_SLIPS.get(plain, plain))
    return (quality, mode) if quality is not None else None


def _nearest(name: str) -> str:
    """Return the chord that an unknown one adds something to, or an empty text: ``Fmaj7`` for ``Fmaj7#11``."""
    match = _ROOT.fullmatch(name[: _LONGEST_NAME + 1])
    if not match or len(name) > _LONGEST_NAME:
        return ""
    letter, accidental, rest = match.groups()
    rest = _BASS.sub(r"\1", rest)
    begun = [
        spelling
        for spelling in _SPELLINGS
        if spelling and rest.startswith(spelling) and _ADDED.match(rest, len(spelling))
    ]
    nearest = _NEAREST.get(rest) or max(begun, key=len, default="")
    return letter + accidental + _SPELLINGS[nearest].name if nearest else ""
