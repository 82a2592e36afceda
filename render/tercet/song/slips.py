"""What people write when they mean something else: for each usual slip, how to see it and what to write.

A slip is tried by mending the word and reading the result; the first mend that can be read is the one shown.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from fractions import Fraction

from tercet.song.grammar import WordKind, read_word
from tercet.song.mistakes import SlipError

__all__ = ["explain_word"]

_LONGEST_WORD = 60
_Mend = Callable[[str], str]

_INVISIBLE = re.compile("[\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2064\ufeff]")
_QUOTES = "\"'“”„‟‘’‚‛«»‹›`´"
_FRACTION_SIGN = re.compile(r"(\d*)([½⅓⅔¼¾⅛⅜⅝⅞])")
_GERMAN = re.compile(r"([A-Ha-h])(isis|eses|is|es|s)(?![a-z])(.*)")


def _swap(pattern: str, by: str | Callable[[re.Match[str]], str]) -> _Mend:
    compiled = re.compile(pattern)
    return lambda text: compiled.sub(by, text)


def _figures(text: str) -> str:
    """Return the word with ½ and the like written with figures: ``C4:1½`` as ``C4:3/2``."""

    def written(match: re.Match[str]) -> str:
        part = Fraction(unicodedata.numeric(match[2])).limit_denominator(8)
        return str(int(match[1] or 0) + part)

    return _FRACTION_SIGN.sub(written, text)


def _digits(text: str) -> str:
    """Return the word with letters that look like digits turned into digits where a figure is due."""
    head = re.match(r"[^:\[\d]*", text)
    start = head.end() if head else 0
    return text[:start] + text[start:].translate(str.maketrans("oOlI", "0011"))


def _german(text: str) -> str:
    match = _GERMAN.fullmatch(text)
    if not match:
        return text
    letter, ending, rest = match.groups()
    sign = {"isis": "##", "eses": "bb", "is": "#"}.get(ending, "b")
    return letter.upper().replace("H", "B") + sign + rest


def _clean(text: str) -> str:
    return _INVISIBLE.sub("", text)


_ANYWHERE: tuple[tuple[str, _Mend], ...] = (
    ("a character that can't be seen stands in this word", _clean),
    ("quotes have no meaning here", lambda text: _clean(text).strip(_QUOTES)),
    ("parentheses have no meaning here", lambda text: text.strip("(){}")),
)

_SLIPS: dict[WordKind, tuple[tuple[str, _Mend], ...]] = {
    "note": (
        ("lengths have a decimal point, not a comma", _swap(r"(?<=:\d),(?=\d)", ".")),
        ("notes have spaces between them, not commas", _swap(r"[,;]+", " ")),
        ("notes have spaces between them", _swap(r"(?<=[A-G#\d])(?=[A-G])", " ")),
        ("note letters are capitals", lambda text: text[:1].upper() + text[1:]),
        ("the note H is written B, and the German B is written Bb", _swap(r"^[Hh]", "B")),
        ("notes have English names, with # and b", _german),
        ("a small or capital letter stands where a digit is meant", _digits),
        ("a rest is written .", _swap(r"^(?:[rRzZ]|[Rr]est|REST|-+|_|0)(?=:|$)", ".")),
        ("a rest is written ., and a length stands after a colon", _swap(r"^[rRzZ.](?=\d)", ".:")),
        ("a rest takes no ~", _swap(r"^(?:[.rRzZ]|[Rr]est)(:[\d./]+)?~$", r".\1")),
        ("each sign stands alone, with spaces around it", _swap(r"(?<=[.=])(?=[.=])", " ")),
        ("a length stands after a colon", _swap(r"^([A-G][#b]?-?\d)[.=*x/_-](?=\d)", r"\1:")),
        ("one colon is enough", _swap(r":{2,}", ":")),
        ("a length follows the note without anything else", _swap(r"[.,;:]+$", "")),
        ("the octave stands after the letter", _swap(r"^(\d)([A-G][#b]?)", r"\2\1")),
        ("the sign stands after the letter, before the octave", _swap(r"^([#b])([A-G])", r"\2\1")),
        ("the sign stands before the octave", _swap(r"^([A-G])(\d)([#♯b♭])", r"\1\3\2")),
        (
            "a plain letter is a natural note: the key adds no sharps or flats",
            _swap(r"[♮n]|(?<=[A-G])=(?=\d)", ""),
        ),
        ("a length stands before the pin", _swap(r"^([^:\[]+)(\[\w*\])(:[\d./]+)$", r"\1\3\2")),
        ("lengths are written with figures", _figures),
        ("a pin stands in square brackets", _swap(r"[({]([^(){}]*)[)}]", r"[\1]")),
    ),
    "chord": (
        ("lengths have a decimal point, not a comma", _swap(r"(?<=:\d),(?=\d)", ".")),
        ("chords have spaces between them, not commas", _swap(r"[,;]+", " ")),
        ("a small or capital letter stands where a digit is meant", _digits),
        ("this chord is written maj7", _swap(r"(?i)(?:major|maj)[ ^-]?7", "maj7")),
        ("a shape stands in square brackets", _swap(r"[({]([\dx.]{4,})[)}]", r"[\1]")),
        ("lengths are written with figures", _figures),
        ("one colon is enough", _swap(r":{2,}", ":")),
        (
            "a bar that is left empty goes on with the chord",
            lambda text: "" if text in ("%", "-", "/", "=") else text,
        ),
    ),
    "mark": (
        ("marks have spaces between them", _swap(r"(?<=[\da-z<>])[,;](?=[a-z<>])", " ")),
        ("marks have no point after them", _swap(r"(?<=\w)\.(?=@|$)", "")),
        ("marks are written small", str.lower),
        (
            "getting louder is written as a word, louder",
            _swap(r"^((?:\w+:)?)(?:<|cresc(?:\.|endo)?)(?=[@:\d]|$)", r"\1louder"),
        ),
        (
            "getting softer is written as a word, softer",
            _swap(r"^((?:\w+:)?)(?:>|(?:decresc|dim)(?:\.|inuendo|endo)?)(?=[@:\d]|$)", r"\1softer"),
        ),
        ("this mark is called rit", _swap(r"^(?:ritard|ritardando|rall|rallentando)\.?(?=@|$)", "rit")),
        ("this mark is called a-tempo", _swap(r"^(?:a_?tempo|tempo|a)\.?(?=@|$)", "a-tempo")),
        ("this mark is called accent", _swap(r"^(?:sfz?|sforzando|fz|marcato|\^)(?=@|$)", "accent")),
        ("a breath is written ,", _swap(r"^(?:breath|['’‘])(?=@|$)", ",")),
        ("the place stands after @", _swap(r"^([a-z,-]+):?(?=\d)", r"\1@")),
        ("one @ is enough", _swap(r"@{2,}", "@")),
        ("places have a decimal point, not a comma", _swap(r"(?<=@\d),(?=\d)", ".")),
    ),
    "strum": (
        ("slots have nothing between them but spaces", _swap(r"[,;/]+", " ")),
        ("down is written d and up u", lambda text: text.translate(str.maketrans("↓↑v^", "dudu"))),
        ("an empty slot is written .", lambda text: text.translate(str.maketrans("-_·–0", "....."))),
        ("a chop is a small x", _swap(r"[XcC×]", "x")),
    ),
    "syllables": (
        ("`_` stands alone, with spaces around it", _swap(r"\s*_\s*", " _ ")),
        ("one hyphen is enough", _swap(r"-{2,}", "-")),
        ("a hyphen stands right after its syllable", _swap(r"^-+", "")),
        ("a note that holds the syllable is written _", lambda text: "_" if not text.strip("-—–") else text),
    ),
}

_HOW_TO_WRITE: dict[WordKind, tuple[str, str]] = {
    "note": (
        "a note",
        "notes are written A4, F#4:2, C:1/2, s1f3 (string 1, fret 3); . is a rest, = the note before going on",
    ),
    "chord": ("a chord", "chords are written Am, C:3, G7:1/2, Am[2000], and N.C. for none"),
    "mark": ("a mark", "marks are written mf@1, louder@3, rit@1, strums:pp@1, and ,@3 for a breath"),
    "strum": ("strum slots", "slots are d and u (down, up), D and U (accented), x (chop) and . (nothing)"),
    "syllables": ("words to sing", "words are written Lan-terns, and _ holds a syllable over one more note"),
}


def explain_word(kind: WordKind, text: str, wrong: SlipError) -> SlipError:
    """Return what is wrong with a word that couldn't be read, with the nearest mend.

    Parameters
    ----------
    kind, text
        As given to `tercet.song.grammar.read_word`.
    wrong
        What that raised; its message is empty when the grammar had no place for the word.
    """
    what, how = _HOW_TO_WRITE[kind]
    if len(text) > _LONGEST_WORD:
        return SlipError(f"`{text[:_LONGEST_WORD]}…` isn't {what}", how)
    for message, mend in (*_ANYWHERE, *_SLIPS[kind]):
        mended = mend(text).strip()
        if mended != text and _can_be_read(kind, mended):
            return SlipError(_named(message, text), f"write {mended}" if mended else "leave it out")
    if wrong.message:
        return SlipError(
            wrong.message, "" if wrong.write is not None else wrong.mend or how, write=wrong.write
        )
    mended = _all_mends(kind, text)
    return SlipError(f"`{text}` isn't {what}", f"write {mended}" if mended else how)


def _named(message: str, text: str) -> str:
    """Return the message with the code of a character that can't be seen."""
    hidden = _INVISIBLE.search(text)
    return f"{message} (U+{ord(hidden[0]):04X})" if hidden and "can't be seen" in message else message


def _all_mends(kind: WordKind, text: str) -> str:
    """Return the word after every mend that applies, if that can be read: two slips in one word."""
    for _, mend in (*_ANYWHERE, *_SLIPS[kind]):
        mended = mend(text).strip()
        text = mended or text
    return text if _can_be_read(kind, text) else ""


def _can_be_read(kind: WordKind, text: str) -> bool:
    try:
        for part in text.split():
            read_word(kind, part)
    except SlipError:
        return False
    return True
