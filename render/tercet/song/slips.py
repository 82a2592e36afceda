"""What people write when they mean something else: for each usual slip, how to see it and what to write.

A slip is tried by mending the word and reading the result; the first mend that can be read is what to write. Words that
may mean two things have no mend: what to look for is said in words.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from tercet.song.grammar import WordKind, read_word
from tercet.song.mistakes import SlipError
from tercet.song.model import RowName
from tercet.song.rows import KIND_OF_ROW
from tercet.theory.note_names import notes_elsewhere

__all__ = ["CALLED_B", "Around", "can_be_read", "explain_word", "read_as_meant", "words_as_meant"]

_LONGEST_WORD = 60
_Mend = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Around:
    """What is known of the file around a word, where that tells what it means.

    Parameters
    ----------
    h_beside_b
        Where the file's notes and chords called B stand, when it has an H too: they are most likely German.
    german
        Whether other names of the file are German, so that its B may be a German one.
    syllables
        Whether the file writes Do Re Mi.
    """

    h_beside_b: str = ""
    german: bool = False
    syllables: bool = False


_NOTHING_AROUND = Around()

_INVISIBLE = re.compile("[\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u2064\ufeff]")
_QUOTES = "\"'“”„‟‘’‚‛«»‹›`´"
_FRACTION_SIGN = re.compile(r"(\d*)([½⅓⅔¼¾⅛⅜⅝⅞])")
_WIDE = {code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)}
_AFTER_NOTE = re.compile(r"-?\d?(?:[:\[({=~].*)?")


def _swap(pattern: str, by: str | Callable[[re.Match[str]], str]) -> _Mend:
    """Return a mend that puts one thing in the place of another; the pattern is compiled when a slip first wants it."""
    return lambda text: re.sub(pattern, by, text)


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


def _point_first(text: str) -> str:
    """Return the word with a length that starts with its point as a fraction: ``A4:.5`` as ``A4:1/2``."""
    return re.sub(r":(0?\.\d{1,3})(?=$|\[)", lambda match: f":{Fraction(match[1])}", text)


def _english(text: str) -> str:
    """Return a note that has its German name, a syllable or its sign as a word in English."""
    for note in notes_elsewhere(text):
        if (note.naming, note.rest) != ("english", text[1:]) and _AFTER_NOTE.fullmatch(note.rest.lstrip("-")):
            return note.name + note.rest
    return text


def _clean(text: str) -> str:
    return _INVISIBLE.sub("", text)


_ANYWHERE: tuple[tuple[str, _Mend], ...] = (
    ("a character that can't be seen stands in this word", _clean),
    ("quotes have no meaning here", lambda text: _clean(text).strip(_QUOTES)),
    ("signs of double width stand in this word", lambda text: text.translate(_WIDE)),
    ("parentheses have no meaning here", lambda text: text.strip("(){}")),
)

_STRUM_WORDS = {"down": "d", "up": "u", "chop": "x", "rest": "."}
_LOUDNESS = {
    "pianissimo": "pp",
    "piano": "p",
    "mezzopiano": "mp",
    "mezzoforte": "mf",
    "forte": "f",
    "fortissimo": "ff",
    "soft": "p",
    "loud": "f",
}


def _dynamic(text: str) -> str:
    name, at, place = text.partition("@")
    layer, colon, word = name.rpartition(":")
    mark = _LOUDNESS.get(re.sub(r"[-_.]", "", word.casefold()))
    return f"{layer}{colon}{mark}{at}{place}" if mark else text


def _empty_slots(text: str) -> str:
    """Return a pattern with points for its empty slots, as in D-DU-UDU, where capitals aren't accents."""
    dotted = text.translate(str.maketrans("-_·–0", "....."))
    return dotted.lower() if dotted != text and text.isupper() and len(text) > 1 else dotted


_SLIPS: dict[WordKind, tuple[tuple[str, _Mend], ...]] = {
    "note": (
        ("lengths have a decimal point, not a comma", _swap(r"(?<=:\d),(?=\d)", ".")),
        ("notes have spaces between them, not commas", _swap(r"[,;]+", " ")),
        ("notes have spaces between them", _swap(r"(?<=[A-G#\d])(?=[A-G])", " ")),
        ("note letters are capitals", lambda text: text[:1].upper() + text[1:]),
        ("notes have English names, with # and b", _english),
        ("a small or capital letter stands where a digit is meant", _digits),
        ("a rest is written .", _swap(r"^(?:[rRzZ]|[Rr]est|REST)(?=:|$)", ".")),
        ("a rest is written ., and a length stands after a colon", _swap(r"^\.(?=\d)", ".:")),
        ("a rest takes no ~", _swap(r"^(?:[.rRzZ]|[Rr]est)(:[\d./]+)?~$", r".\1")),
        ("each sign stands alone, with spaces around it", _swap(r"(?<=[.=])(?=[.=])", " ")),
        ("a length stands after a colon", _swap(r"^([A-G][#b]?\d)[=_;-](?=\d)", r"\1:")),
        ("one colon is enough", _swap(r":{2,}", ":")),
        ("a length follows the note without anything else", _swap(r"[;:]+$", "")),
        ("a length less than 1 is written as a fraction", _point_first),
        ("the octave stands after the letter", _swap(r"^([3-6])([A-G][#b]?)(?=$|:)", r"\2\1")),
        ("the sign stands after the letter, before the octave", _swap(r"^([#b])([A-G])", r"\2\1")),
        ("the sign stands before the octave", _swap(r"^([A-G])(\d)([#♯b♭])", r"\1\3\2")),
        (
            "a plain letter is a natural note: the key adds no sharps or flats",
            _swap(r"(?<=^[A-G])(?:[♮n]|=(?=\d))", ""),
        ),
        ("a length stands before the pin", _swap(r"^([^:\[]+)(\[\w*\])(:[\d./]+)$", r"\1\3\2")),
        ("lengths are written with figures", _figures),
        ("a pin stands in square brackets", _swap(r"[({]([^(){}]*)[)}]", r"[\1]")),
    ),
    "chord": (
        ("lengths have a decimal point, not a comma", _swap(r"(?<=:\d),(?=\d)", ".")),
        ("chords have spaces between them, not commas", _swap(r"[,;]+", " ")),
        ("a small or capital letter stands where a digit is meant", _digits),
        ("this chord is written maj7", _swap(r"(?i)-?(?:major|maj)[ ^-]?7", "maj7")),
        ("a shape stands in square brackets", _swap(r"[({]([\dx.]{4,})[)}]", r"[\1]")),
        ("lengths are written with figures", _figures),
        ("one colon is enough", _swap(r":{2,}", ":")),
        ("a chord has no point after it", _swap(r"[.;]+(?=$|:)", "")),
        ("a chord stands without brackets", _swap(r"^\[([A-G][^\[\]]*)\](?=$|:)", r"\1")),
        ("no chord is written N.C.", _swap(r"(?i)^(?:n\.?c\.?|tacet|none)(?=$|:)", "N.C.")),
        ("a length less than 1 is written as a fraction", _point_first),
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
        ("loudness is written in letters", _dynamic),
        ("this mark is called rit", _swap(r"^(?:ritard|ritardando|rall|rallentando)\.?(?=@|$)", "rit")),
        ("this mark is called a-tempo", _swap(r"^a_?tempo\.?(?=@|$)", "a-tempo")),
        ("this mark is called accent", _swap(r"^(?:sfz?|sforzando|fz|marcato|\^)(?=@|$)", "accent")),
        ("a breath is written ,", _swap(r"^(?:breath|['’‘])(?=@|$)", ",")),
        ("the place stands after @", _swap(r"^([a-z,-]+):?(?=\d)", r"\1@")),
        ("one @ is enough", _swap(r"@{2,}", "@")),
        ("places have a decimal point, not a comma", _swap(r"(?<=@\d),(?=\d)", ".")),
    ),
    "strum": (
        ("slots have nothing between them but spaces", _swap(r"[,;/]+", " ")),
        ("down is written d and up u", lambda text: _STRUM_WORDS.get(text.casefold(), text)),
        ("down is written d and up u", lambda text: text.translate(str.maketrans("↓↑⬇⬆", "dudu"))),
        ("an empty slot is written .", _empty_slots),
        ("a chop is a small x", _swap(r"[XcC×]", "x")),
    ),
    "syllables": (
        ("`_` stands alone, with spaces around it", _swap(r"(?<!_)_(?!_)", " _ ")),
        ("one hyphen is enough", _swap(r"-{2,}", "-")),
    ),
}

_TICKS = "octaves have numbers, not ticks or commas"


def _in_a_list(text: str, bar: tuple[str, ...]) -> bool:
    """Return whether a bar's commas or quotes stand between its notes and around them, and don't move octaves."""
    if "," in text:
        return any(re.fullmatch(r".*\d,+", word) for word in bar)
    return any(word.startswith(tuple(_QUOTES)) for word in bar)


_UNSURE: dict[WordKind, tuple[tuple[str, str, str], ...]] = {
    "note": (
        (
            _TICKS,
            r"(?:,+[A-Ga-g][#b♯♭]?\d?|[A-Ga-g][#b♯♭]?(?:,+|\d?['’′`´]+))(?:[:\[].*)?",
            "write the number after the letter: C4 is middle C, A4 the A above it; the next notes keep it",
        ),
        (
            "a point doesn't make a note longer",
            r"[A-Ga-g][#b♯♭]?\d?(?::\d+)?\.+",
            "write its length after a colon, C4:1.5 for a dotted note; if none is meant, leave the point out",
        ),
        (
            "a length stands after a colon",
            r"(?P<note>[A-Ga-g][#b♯♭]?\d)[/.](?P<figure>\d+)",
            "{note}:{figure} is a note of {figure} beats, {note}:1/{figure} a part of one",
        ),
        (
            "a length stands after a colon",
            r"(?P<note>[A-Ga-g][#b♯♭]?\d)[*x×](?P<figure>\d+)",
            "write {note}:{figure} for one note of {figure} beats, or the note {figure} times if it is struck again",
        ),
        (
            "a figure in parentheses may be a string or a length",
            r"(?P<note>[A-Ga-g][#b♯♭]?\d?)[({](?P<figure>\d)[)}]",
            "{note}[{figure}] is played alone on string {figure}, {note}:{figure} is {figure} beats long",
        ),
        (
            "a rest is written ., and its length is a number of beats after a colon",
            r"[rRzZ]\d+\.?",
            "write . for one beat of silence, .:2 for two, .:1/2 for half of one",
        ),
        (
            "lengths are numbers of beats",
            r"(?i)[A-Ga-g][#b♯♭]?\d(?:whole|half|quarter|eighth|[whqest])\.?",
            "write the beats after a colon, a bare note being 1: C4:2, C4:1/2",
        ),
        (
            "a dash may mean silence or a note that goes on",
            r"[-–—_]+(?::[\d./]+)?",
            "write . for silence, and = where the note before goes on; or one note with its length, C4:4",
        ),
        (
            "a figure alone isn't a note",
            r"\d+",
            "write a letter and its octave, A4, or string and fret, s1f3; a length stands after a colon, A4:2",
        ),
    ),
    "chord": (
        (
            "a dash may mean that the chord goes on, or that there is none",
            r"[-–—_]+",
            "leave the place empty where the chord goes on; N.C. is no chord",
        ),
        (
            "a small letter may mean a major or a minor chord",
            r"(?P<root>[a-g][#b♯♭]?)(?P<rest>(?:6|7|9|11|13|6/9)?(?:/[A-Ga-g][#b]?)?)",
            "write {Root}{rest}, or {Root}m{rest} if it is minor",
        ),
        (
            "a small letter may mean a major or a minor chord",
            r"(?:[a-g](?:is|es)|es|as|h)\d*",
            "write it in English: es is Eb or Ebm, fis F# or F#m, h B or Bm",
        ),
    ),
    "mark": (
        (
            "this mark is called a-tempo",
            r"(?i)a|(?:in )?tempo(?:@.*)?",
            "write a-tempo, as one word",
        ),
    ),
    "strum": (
        (
            "a hyphen may be an empty slot, or nothing but a line between two",
            r"[dDuUxX](?:-[dDuUxX])+",
            "write . for each slot in which nothing happens, and leave out the hyphens",
        ),
    ),
    "syllables": (
        (
            "a hyphen stands right after its syllable, without a space",
            r"-+\S*|[–—]+",
            "write Lan-terns for two syllables of a word; a note that holds the syllable is written _",
        ),
        (
            "each `_` is one note that holds the syllable",
            r"[^_]*_{2,}[^_]*",
            "write one _ for each such note, with spaces around it: long _ _",
        ),
    ),
}
"""What may mean two things: what is said, how to see it, and how to write each."""

_ENDED: dict[WordKind, RowName] = {kind: row for row, kind in reversed(KIND_OF_ROW.items())}
_ENDING = re.compile(r"\[?\d[.)](?:\d[.)])*\]?")

_HOW_TO_WRITE: dict[WordKind, tuple[str, str]] = {
    "note": (
        "a note",
        "notes are written A4, F#4:2, C:1/2, s1f3 (string 1, fret 3); . is a rest, = the note before going on",
    ),
    "chord": ("a chord", "chords are written Am, C:3, G7:1/2, Am[2000], and N.C. for none"),
    "mark": ("a mark", "marks are written mf@1, louder@3, rit@1, strums:pp@1, and ,@3 for a breath"),
    "strum": ("a strum sign", "slots are d and u (down, up), D and U (accented), x (chop) and . (nothing)"),
    "syllables": ("words to sing", "words are written Lan-terns, and _ holds a syllable over one more note"),
}


def explain_word(
    kind: WordKind, text: str, around: Around = _NOTHING_AROUND, bar: tuple[str, ...] = ()
) -> SlipError | None:
    """Return what is wrong with a word, with its mend where that is certain; None when it can be read as meant.

    The parameters are those of `read_as_meant`.
    """
    read = read_as_meant(kind, text, around, bar)
    return read if isinstance(read, SlipError) else None


def read_as_meant(
    kind: WordKind, text: str, around: Around = _NOTHING_AROUND, bar: tuple[str, ...] = ()
) -> Any:
    """Return a word as `tercet.song.grammar.read_word` reads it, or its slip, with a mend where that is certain.

    Parameters
    ----------
    kind, text
        As given to `read_word`.
    around
        What is known of the rest of the file.
    bar
        All words of its bar.
    """
    try:
        word = read_word(kind, text)
    except SlipError as wrong:
        return _explained(kind, text, wrong, around, bar)
    return _quiet(kind, text, around) or word


def words_as_meant(kind: WordKind, words: Iterable[str]) -> str | None:
    """Return words with all slips mended, joined by spaces; None when what is meant isn't certain."""
    meant: list[str] = []
    for text in words:
        wrong = explain_word(kind, text)
        if wrong is not None and wrong.write is None:
            return None
        meant.append(text if wrong is None else wrong.write or "")
    return " ".join(meant)


def _explained(
    kind: WordKind, text: str, wrong: SlipError, around: Around, bar: tuple[str, ...]
) -> SlipError:
    """Return what is wrong with a word that can't be read."""
    what, how = _HOW_TO_WRITE[kind]
    if len(text) > _LONGEST_WORD:
        return SlipError(f"`{text[:_LONGEST_WORD]}…` isn't {what}", how)
    if unsure := _unsure(kind, text, around, bar):
        return unsure
    for message, mend in (*_ANYWHERE, *_SLIPS[kind]):
        mended = mend(text).strip()
        if mended != text and can_be_read(kind, mended):
            return SlipError(_named(message, text), write=mended)
    if wrong.message:
        return SlipError(
            wrong.message, "" if wrong.write is not None else wrong.mend or how, write=wrong.write
        )
    mended = _all_mends(kind, text)
    message = f"`{text}` isn't {what}"
    return SlipError(message, write=mended) if mended else SlipError(message, how)


def _quiet(kind: WordKind, text: str, around: Around) -> SlipError | None:
    """Return what is wrong with a word that can be read, but means something else; None for most."""
    if kind == "syllables" and (bracket := _CHORD_IN_WORDS.search(text)) and can_be_read("chord", bracket[1]):
        return SlipError(
            f"the chord {bracket[1]} stands among the words",
            "write it in the row chords, in the bar of this syllable",
        )
    if kind in ("chord", "note") and around.german and not around.h_beside_b and CALLED_B.match(text):
        return SlipError(
            "B is a B natural here; among German names it is most likely the German B, which is written Bb",
            f"write Bb{text[1:]}; or, if B natural is meant, mend the German names first",
        )
    if kind == "chord" and around.syllables and text.startswith("Do"):
        return SlipError("Do is a D diminished here; this file's notes are Do Re Mi", write=f"C{text[2:]}")
    return None


CALLED_B = re.compile(r"[Bb](?![b♭]|-?flat|es)")
"""How a note or chord begins that is called B and isn't a B flat."""

_GERMAN_B_OR_H = re.compile(r"[Hh]|b(?![b♭]|-?flat|es)")
_CHORD_IN_WORDS = re.compile(r"\[([A-G][^\[\]\s]*)\]")


def _unsure(kind: WordKind, text: str, around: Around, bar: tuple[str, ...]) -> SlipError | None:
    """Return what is said of a word that may mean two things; None when it isn't one of those known."""
    if _ENDING.fullmatch(text):
        return SlipError(
            "first and second endings are written as passes",
            f"write the first ending here, and the second in a row `{_ENDED[kind]} 2`; bars left empty "
            "there are as in this row",
        )
    if around.h_beside_b and kind in ("note", "chord") and _GERMAN_B_OR_H.match(text):
        return SlipError(
            f"H is the German name of B; what this file calls B ({around.h_beside_b}) is then most likely Bb",
            "write B for H, and Bb for each B that is a German one",
        )
    for message, pattern, how in _UNSURE[kind]:
        match = re.fullmatch(pattern, text)
        if match and not (message == _TICKS and _in_a_list(text, bar)):
            parts = {name: value or "" for name, value in match.groupdict().items()}
            root = parts.get("root", "")
            return SlipError(message, how.format(**parts, Root=root[:1].upper() + root[1:]))
    return None


def _named(message: str, text: str) -> str:
    """Return the message with the code of a character that can't be seen."""
    hidden = _INVISIBLE.search(text)
    return f"{message} (U+{ord(hidden[0]):04X})" if hidden and "can't be seen" in message else message


def _all_mends(kind: WordKind, text: str) -> str:
    """Return the word after every mend that applies, if that can be read: two slips in one word."""
    for _, mend in (*_ANYWHERE, *_SLIPS[kind]):
        mended = mend(text).strip()
        text = mended or text
    return text if can_be_read(kind, text) else ""


def can_be_read(kind: WordKind, text: str) -> bool:
    """Return whether a word, or each of several, is one of its kind."""
    try:
        for part in text.split():
            read_word(kind, part)
    except SlipError:
        return False
    return True
