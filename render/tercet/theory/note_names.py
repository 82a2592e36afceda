"""What notes and keys are called elsewhere, in English: German names, Do Re Mi, names spelt out.

Only what can be meant in one way is turned into English. German has a trap: its H is our B, and its B our Bb.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from tercet.errors import ParameterError
from tercet.theory.pitch import parse_key

__all__ = ["ElsewhereNote", "Naming", "meant_key", "mode_of", "notes_elsewhere"]

Naming = Literal["english", "german", "syllables"]

_SYLLABLES = {
    "do": "C",
    "ut": "C",
    "re": "D",
    "ré": "D",
    "mi": "E",
    "fa": "F",
    "sol": "G",
    "so": "G",
    "la": "A",
    "si": "B",
    "ti": "B",
}
"""The fixed syllables of French, Italian, Spanish and Portuguese, with English ones that sound like them."""

_SIGN_WORDS = {
    **dict.fromkeys(("sharp", "dièse", "diese", "diesis", "sostenido", "♯", "#"), "#"),
    **dict.fromkeys(("flat", "bémol", "bemol", "bemolle", "♭", "b"), "b"),
    "": "",
}
_GERMAN_ENDINGS = {"isis": "##", "eses": "bb", "is": "#", "es": "b", "s": "b", "": ""}

_MODES = {
    **dict.fromkeys(("major", "maj", "dur", "mayor", "majeur", "maggiore", "maior"), "major"),
    **dict.fromkeys(("minor", "min", "moll", "mol", "menor", "mineur", "minore", "m"), "minor"),
}
_GERMAN_MODES = ("dur", "moll")

_SIGN = rf"((?:[ -]?(?i:{'|'.join(word for word in _SIGN_WORDS if len(word) > 1)})|[#b♯♭])?)"
_ENGLISH = re.compile(rf"([A-Ga-g]){_SIGN}(.*)", re.DOTALL)
_GERMAN = re.compile(r"([A-Ha-h])(isis|eses|is|es|s|)(.*)", re.DOTALL)
_SYLLABLE = re.compile(rf"((?i:{'|'.join(sorted(_SYLLABLES, key=len, reverse=True))})){_SIGN}(.*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class ElsewhereNote:
    """A note's name at the start of a word.

    Parameters
    ----------
    name
        In English, such as ``"Eb"``.
    rest
        What follows it in the word.
    naming
        How it was named.
    small
        Whether its letter was a small one, which some use for minor chords and keys.
    """

    name: str
    rest: str
    naming: Naming
    small: bool


def notes_elsewhere(text: str) -> Iterator[ElsewhereNote]:
    """Go through the notes that the start of a word may name, the likeliest first.

    >>> [note.name for note in notes_elsewhere("Fis4")]
    ['F', 'F#']
    """
    if match := _ENGLISH.fullmatch(text):
        yield ElsewhereNote(match[1].upper() + _sign(match[2]), match[3], "english", match[1].islower())
    match = _GERMAN.fullmatch(text)
    if match and (match[2] not in ("", "s") or match[1] + match[2] in ("H", "h", "Es", "es", "As", "as")):
        name = match[1].upper().replace("H", "B") + _GERMAN_ENDINGS[match[2]]
        yield ElsewhereNote(name, match[3], "german", match[1].islower())
    if (match := _SYLLABLE.fullmatch(text)) and not match[3].startswith("o"):  # a solo is no chord
        name = _SYLLABLES[match[1].casefold()] + _sign(match[2])
        yield ElsewhereNote(name, match[3], "syllables", small=False)


def _sign(word: str) -> str:
    return _SIGN_WORDS[word.strip(" -").casefold()]


def mode_of(word: str) -> str:
    """Return ``major`` or ``minor`` for a word that means it in one of some languages, else an empty text."""
    return _MODES.get(word.casefold(), "")


def meant_key(text: str) -> str:
    """Return the key that a text means, as Tercet writes it; an empty text when that isn't certain.

    >>> meant_key("fis-Moll"), meant_key("B-Dur"), meant_key("Key of G"), meant_key("e")
    ('F# minor', 'Bb major', 'G major', '')
    """
    plain = re.sub(
        r"(?i)^\W*(?:(?:in |the )*key(?: of| signature)?|in|tonart)\b\W*", "", text.strip()
    ).rstrip(" .")
    for note in notes_elsewhere(plain):
        word = note.rest.strip(" -_.")
        mode = mode_of(word) or ("major" if not word and not note.small else "")
        name = (
            "Bb" if note.name == "B" and word.casefold() in _GERMAN_MODES and plain[0] in "Bb" else note.name
        )
        try:
            if mode:
                return str(parse_key(f"{name} {mode}"))
        except ParameterError:
            continue
    return ""
