"""Texts of ABC files: character sets, accents as TeX writes them, entities of web pages; what stands in quotes."""

from __future__ import annotations

import html
import re
import unicodedata
from dataclasses import dataclass

from tercet.exchange.chord_names import NamedChord, read_chord_name
from tercet.exchange.outside import text_of
from tercet.exchange.words import jumps_of_words, mark_of_words, names_section
from tercet.song import MarkKind
from tercet.theory.chords import ChordNameError

__all__ = ["Quoted", "decoded", "plain_text", "read_quoted"]

_CHARSET = re.compile(rb"^(?:%%|I:)\s*abc-charset\s+([\w-]{1,20})", re.MULTILINE)
_ONE_BYTE = re.compile(rb"iso-8859-([2-9]|1[0-6])", re.IGNORECASE)
"""Character sets that Windows 1252 doesn't hold already."""

_ENTITY = re.compile(r"&#?\w{2,31};")
_ACCENT = re.compile(r"\\([`'^~\"=.;/,cvuHt])([A-Za-z])")
_COMBINING = {
    "`": "\u0300",
    "'": "\u0301",
    "^": "\u0302",
    "~": "\u0303",
    '"': "\u0308",
    "=": "\u0304",
    ".": "\u0307",
    ";": "\u0328",
    ",": "\u0327",
    "c": "\u0327",
    "v": "\u030c",
    "u": "\u0306",
    "H": "\u030b",
}
"""Signs that combine with the letter before them."""

_LETTERS = {
    "ss": "ß", "ae": "æ", "AE": "Æ", "oe": "œ", "OE": "Œ", "aa": "å", "AA": "Å",
    "dh": "ð", "DH": "Ð", "th": "þ", "TH": "Þ", "/o": "ø", "/O": "Ø", "/l": "ł", "/L": "Ł", "ng": "ŋ",
}  # fmt: skip
_LETTER = re.compile(r"\\(" + "|".join(map(re.escape, _LETTERS)) + ")")
_CODE = re.compile(r"\\u([0-9A-Fa-f]{4})|\\U([0-9A-Fa-f]{8})")
_LAST_CODE = 0x10FFFF


def decoded(data: bytes) -> str:
    """Return the text of a file.

    What it is encoded in is told by its first bytes, or by every other byte being 0 (UTF-16); else it is the character
    set that it names, UTF-8, or Windows code page 1252.
    """
    return text_of(data, _named_encoding(data))


def _named_encoding(data: bytes) -> str:
    """Return the one-byte encoding that a file names; empty for none, and for one that needs no naming."""
    named = _CHARSET.search(data[:10_000])
    found = _ONE_BYTE.fullmatch(named[1]) if named else None
    if found is None:
        return ""
    return f"iso8859-{int(found[1])}" if found[1] != b"12" else "cp1252"


def plain_text(text: str) -> str:
    r"""Return a text with accents and letters put in that ABC writes as TeX or web pages do.

    >>> plain_text(r"Caf\'e M\"uller &eacute;t&#233; \aa \u00e9")
    'Café Müller été å é'
    """
    text = _ENTITY.sub(lambda found: html.unescape(found[0]), text)
    text = _CODE.sub(_by_code, text)
    text = _ACCENT.sub(_accented, text)
    text = _LETTER.sub(lambda found: _LETTERS[found[1]], text)
    return text.replace("\\&", "&").replace("\\'", "'").replace('\\"', '"')


def _by_code(found: re.Match[str]) -> str:
    code = int(found[1] or found[2], 16)
    surrogate = 0xD800 <= code <= 0xDFFF
    return "" if surrogate or code > _LAST_CODE else chr(code)


def _accented(found: re.Match[str]) -> str:
    """Return a letter with its accent, or what stands there where no such letter is."""
    combining = _COMBINING.get(found[1], "")
    letter = unicodedata.normalize("NFC", found[2] + combining)
    return letter if combining and len(letter) == 1 else found[0]


_ANNOTATION = tuple("^_<>@")
_NO_CHORD = re.compile(r"n\.?\s?c\.?|no chord", re.IGNORECASE)
_PLACE = re.compile(r"@-?[0-9.]*,?\s*-?[0-9.]*\s*")
_SEVERAL = re.compile(r"[;\n|]|\s+|,\s*|\s*/\s+")


@dataclass(frozen=True, slots=True)
class Quoted:
    """What a text above the notes says: one of these, or nothing that a song can hold.

    Parameters
    ----------
    chord, no_chord
        A chord symbol, or N.C.
    mark, jumps, section
        *rit.* and the like, where to go on, the name of a section.
    remark
        What is lost, in a sentence; empty when nothing is.
    """

    chord: NamedChord | None = None
    no_chord: bool = False
    mark: MarkKind | None = None
    jumps: tuple[str, ...] = ()
    section: str = ""
    remark: str = ""


def read_quoted(text: str) -> Quoted:
    """Read a text without its quotes.

    >>> str(read_quoted("A/c#").chord.chord), read_quoted("^D.C. al Fine").jumps, read_quoted("G;D").remark
    ('A/C#', ('da_capo',), '“G;D” above the notes: only the first of these chords is kept')
    """
    shown = plain_text(text.strip())
    if not shown:
        return Quoted()
    if shown.startswith(_ANNOTATION):
        words = _PLACE.sub("", shown, count=1) if shown[0] == "@" else shown[1:]
        return _words(words.strip(), f"the annotation “{words.strip()[:40]}” is left out")
    name = re.sub(r"^\$\d|[*!?]+$", "", shown).strip()
    if _NO_CHORD.fullmatch(name):
        return Quoted(no_chord=True)
    chord = _chord(name)
    if chord is not None:
        return Quoted(chord=chord, remark=_nearest(shown, chord))
    parts = [part for part in _SEVERAL.split(re.sub(r"[()\[\]]", " ", name).strip()) if part]
    chords = [_chord(part) for part in parts]
    if len(parts) > 1 and chords[0] is not None and None not in chords:
        first = f"“{shown[:30]}” above the notes: only the first of these chords is kept"
        return Quoted(chord=chords[0], remark=first)
    return _words(shown, f"“{shown[:30]}” above the notes isn't a chord, and is left out")


def _words(words: str, lost: str) -> Quoted:
    kind = mark_of_words(words)
    if kind:
        return Quoted(mark=kind)
    jumps = jumps_of_words(words)
    if jumps:
        return Quoted(jumps=jumps)
    if names_section(words):
        return Quoted(section=words)
    return Quoted(remark=lost if words else "")


def _chord(name: str) -> NamedChord | None:
    """Return the chord of a name, its root or bass written small or all of it in brackets too."""
    for opening, closing in ("()", "[]"):
        if name.startswith(opening) and name.endswith(closing) and opening not in name[1:]:
            name = name[1:-1].strip()
    name = re.sub(r"/([a-g])(?=[#b♯♭]?$)", lambda found: found[0].upper(), name)
    name = re.sub(r"^[a-g](?=[#b♯♭]?m(?!aj))", lambda found: found[0].upper(), name)
    try:
        return read_chord_name(name)
    except ChordNameError:
        return None


def _nearest(shown: str, chord: NamedChord) -> str:
    return "" if chord.exact else f"chord symbol {shown[:30]} became {chord.chord}"
