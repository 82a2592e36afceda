"""The words of a row: a grammar with a start for each kind of word, and what each word says.

Words are read one at a time, so that each bad word is its own mistake with its own place. A word says only what
stands in it: an octave that carries on or a chord's share of the bar is worked out later. Equal words are read
once.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

from tercet.song.chord_shapes import WrittenShape, read_shape
from tercet.song.mistakes import SlipError, meant_word
from tercet.song.model import LAYERS, Layer, MarkKind, Pin, Slot
from tercet.theory import DYNAMIC_MARKS, LAST_FRET, STRUM_SIGNS, Chord, ChordNameError, parse_chord

if TYPE_CHECKING:
    from lark import Lark

__all__ = [
    "ChordWord",
    "MarkWord",
    "NoteWord",
    "StrumWord",
    "WordKind",
    "WordOfSyllables",
    "read_number",
    "read_word",
]

WordKind = Literal["note", "chord", "mark", "strum", "syllables"]


_GRAMMAR = r"""
note: (_pitch | REST | POSITION | GOES_ON _pitch? | _pitch GOES_ON | GOES_ON OCTAVE) _length? BRACKET?
_pitch: LETTER SIGN? OCTAVE?
chord: NAME (BRACKET | BRACKET _length | _length | _length BRACKET)?
mark: WORD (":" WORD)? ("@" _number)?
strum: SLOT+
syllables: (TEXT | HOLD) (HYPHEN (TEXT | HOLD))* HYPHEN?
number: _number
_length: ":" _number
_number: FRACTION | DECIMAL | WHOLE

LETTER: /[A-G]/
SIGN: /##|bb|[#♯b♭]/
OCTAVE: /-1|\d/
REST: "."
GOES_ON: "="
POSITION: /s\d{1,2}f\d{1,2}/
BRACKET: /\[[^\[\]]*\]/
NAME: /[^:\[\]]+/
WORD: /[^:@]+/
TEXT: /[^-_]+/
HOLD: "_"
HYPHEN: "-"
FRACTION: /\d{1,6}\/\d{1,6}/
DECIMAL: /\d{1,6}\.\d{1,6}/
WHOLE: /\d{1,6}/
"""
_GRAMMAR += f"SLOT: /[{re.escape(''.join(STRUM_SIGNS))}]/\n"
_NUMBERS = ("FRACTION", "DECIMAL", "WHOLE")


@dataclass(frozen=True, slots=True)
class NoteWord:
    """A note or rest as written; `octave` and `length_beat` are None when they aren't.

    `letter` is empty for a rest, for a position and for a note that goes on.
    """

    letter: str = ""
    alter: int = 0
    octave: int | None = None
    position: tuple[int, int] | None = None
    length_beat: Fraction | None = None
    pin: Pin | None = None
    goes_on: bool = False

    @property
    def is_rest(self) -> bool:
        """Whether it is ``.``."""
        return not (self.letter or self.goes_on) and self.position is None


@dataclass(frozen=True, slots=True)
class ChordWord:
    """A chord as written; `chord` is None for N.C."""

    chord: Chord | None
    length_beat: Fraction | None = None
    shape: tuple[int | None, ...] | None = None
    fingers: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class MarkWord:
    """A mark as written; `place` counts from 1 and is None when it isn't written."""

    kind: MarkKind
    value: str = ""
    layer: Layer | None = None
    place: Fraction | None = None


@dataclass(frozen=True, slots=True)
class StrumWord:
    """One or more slots written without spaces."""

    slots: tuple[Slot, ...]


@dataclass(frozen=True, slots=True)
class WordOfSyllables:
    """A word of the song's text: its syllables (empty for ``_``) and whether it goes on after the last."""

    parts: tuple[str, ...]
    goes_on: bool


AnyWord = NoteWord | ChordWord | MarkWord | StrumWord | WordOfSyllables


@cache
def _parser() -> Lark:
    from lark import Lark

    starts = ["note", "chord", "mark", "strum", "syllables", "number"]
    return Lark(_GRAMMAR, start=starts, parser="lalr", maybe_placeholders=False)


def read_word(kind: WordKind, text: str) -> Any:
    """Read one word of a row.

    Parameters
    ----------
    kind
        What stands in that row.
    text
        The word, without spaces; the other hyphens (U+2010, U+2011) are read as the plain one.

    Returns
    -------
    NoteWord, ChordWord, MarkWord, StrumWord or WordOfSyllables
        After the kind.

    Raises
    ------
    SlipError
        With what is wrong and what to write instead.
    """
    word = _read_once(kind, text)
    if isinstance(word, SlipError):
        raise word.put()
    return word


_OTHER_HYPHENS = str.maketrans("\u2010\u2011", "--")


@lru_cache(maxsize=16384)
def _read_once(kind: WordKind, text: str) -> AnyWord | SlipError:
    try:
        return _READERS[kind](_tokens(kind, text.translate(_OTHER_HYPHENS)))
    except SlipError as wrong:
        return wrong


def _tokens(start: str, text: str) -> list[Any]:
    """Return the tokens of a word; `SlipError` without a message when the grammar has no place for it."""
    from lark.exceptions import UnexpectedInput

    try:
        return list(_parser().parse(text, start=start).scan_values(lambda _: True))
    except UnexpectedInput:
        raise SlipError("") from None


def read_number(text: str) -> Fraction:
    """Read ``2``, ``1.5`` or ``1/3`` exactly; `SlipError` for anything else."""
    number = _number({token.type: str(token) for token in _tokens("number", text)})
    if number is None:  # pragma: no cover - the grammar holds a number or refuses
        raise SlipError("")
    return number


def _number(tokens: dict[str, str]) -> Fraction | None:
    text = next((tokens[kind] for kind in _NUMBERS if kind in tokens), None)
    if text is None:
        return None
    try:
        return Fraction(text)
    except ZeroDivisionError:
        raise SlipError(f"{text} divides by zero") from None


def _length(tokens: dict[str, str]) -> Fraction | None:
    length_beat = _number(tokens)
    if length_beat is not None and not Fraction(1, 1000) <= length_beat <= 1000:
        raise SlipError(f"a length must be 1/1000 to 1000 beats (got {length_beat})")
    return length_beat


def _note(found: list[Any]) -> NoteWord:
    tokens = {token.type: str(token) for token in found}
    length_beat = _length(tokens)
    pin = _pin(tokens["BRACKET"][1:-1], "".join(map(str, found))) if "BRACKET" in tokens else None
    if "GOES_ON" in tokens:
        return _going_on(tokens, length_beat)
    if "REST" in tokens:
        if pin:
            bare = "." + _written_length(tokens)
            raise SlipError("a rest isn't struck, so it takes no pin", write=bare)
        return NoteWord(length_beat=length_beat)
    if "POSITION" in tokens:
        string, fret = (int(part) for part in tokens["POSITION"][1:].split("f"))
        if not 1 <= string <= 4:
            raise SlipError(f"a string must be 1 (nearest the floor) to 4 (got {string})")
        if fret > LAST_FRET:
            raise SlipError(f"a fret must be 0 (the open string) to {LAST_FRET} (got {fret})")
        if pin and pin.strings and pin.strings[-1] != string:
            raise SlipError(
                f"the note is on string {string}, but its pin ends on string {pin.strings[-1]}",
                f"end the pin with the tune's string: [{string}]",
            )
        return NoteWord(position=(string, fret), length_beat=length_beat, pin=pin)
    sign = tokens.get("SIGN", "").replace("♯", "#").replace("♭", "b")
    octave = int(tokens["OCTAVE"]) if "OCTAVE" in tokens else None
    alter = sign.count("#") - sign.count("b")
    return NoteWord(tokens["LETTER"], alter, octave, None, length_beat, pin)


def _going_on(tokens: dict[str, str], length_beat: Fraction | None) -> NoteWord:
    """Return the word ``=``, which says nothing but its length."""
    bare = "=" + _written_length(tokens)
    if "LETTER" in tokens:
        note = "".join(tokens.get(part, "") for part in ("LETTER", "SIGN", "OCTAVE"))
        raise SlipError(
            "= is the note before, going on: it has no letter of its own",
            f"write {bare} if that note goes on, or {note}{bare[1:]} if this one is struck",
        )
    if "OCTAVE" in tokens:
        bare = f"=:{tokens['OCTAVE']}" if length_beat is None else bare
        raise SlipError(
            "= is the note before, going on: it has no octave of its own, and its length stands after a colon",
            write=bare,
        )
    if "BRACKET" in tokens:
        raise SlipError(
            "= isn't struck again, so it takes no pin; a pin stands at the note that goes on", write=bare
        )
    return NoteWord(length_beat=length_beat, goes_on=True)


def _written_length(tokens: dict[str, str]) -> str:
    """Return a length as written, with its colon; empty without one."""
    return next((f":{tokens[kind]}" for kind in _NUMBERS if kind in tokens), "")


def _pin(text: str, word: str) -> Pin:
    if text in ("roll", "alone"):
        return Pin("roll" if text == "roll" else "alone")
    wanted = "write the strings struck, falling to the tune's: [4321], [321], [32], [1], or [roll], [alone]"
    if not text or not set(text) <= set("1234"):
        raise SlipError(f"[{text}] isn't a pin", wanted)
    strings = tuple(int(digit) for digit in text)
    if any(before - after != 1 for before, after in pairwise(strings)):
        low, high = min(strings), max(strings)
        instead = "".join(str(string) for string in range(high, low - 1, -1))
        wrong = f"[{text}] can't be rolled: the thumb falls over neighbouring strings, 4 towards 1"
        if text[::-1] == instead:
            raise SlipError(wrong, write=word.replace(f"[{text}]", f"[{instead}]"))
        raise SlipError(wrong, f"write for instance [{instead}]" if instead != text else wanted)
    return Pin("roll" if len(strings) > 1 else "alone", strings)


def _chord(found: list[Any]) -> ChordWord:
    tokens = {token.type: str(token) for token in found}
    name = tokens["NAME"]
    length_beat = _length(tokens)
    shape = _shape(tokens)
    if name in ("N.C.", "N.C", "NC", "."):
        if shape:
            bare = f"N.C.{_written_length(tokens)}"
            raise SlipError("N.C. means no chord, so it takes no shape", write=bare)
        return ChordWord(None, length_beat)
    if len(name) > 20:
        raise SlipError(f"a chord name must have at most 20 characters (got {len(name)})")
    try:
        chord = parse_chord(name)
    except ChordNameError as error:
        write = f"{error.suggestion}{_after_name(tokens)}" if error.suggestion else None
        mend = f"the nearest that it knows is {error.nearest}" if error.nearest and not write else ""
        raise SlipError(f"`{name}` isn't a chord name that Tercet knows", mend, write=write) from None
    return (
        ChordWord(chord, length_beat, shape.frets, shape.fingers) if shape else ChordWord(chord, length_beat)
    )


def _after_name(tokens: dict[str, str]) -> str:
    """Return shape and length of a chord as written."""
    return tokens.get("BRACKET", "") + _written_length(tokens)


def _shape(tokens: dict[str, str]) -> WrittenShape | None:
    if "BRACKET" not in tokens:
        return None
    try:
        return read_shape(tokens["BRACKET"][1:-1])
    except SlipError as slip:
        if slip.write is None:
            raise
        write = tokens["NAME"] + _after_name({**tokens, "BRACKET": f"[{slip.write}]"})
        raise SlipError(slip.message, write=write) from None


_PLAIN_MARKS: dict[str, MarkKind] = {
    "louder": "hairpin",
    "softer": "hairpin",
    "rit": "rit",
    "a-tempo": "a-tempo",
    "fermata": "fermata",
    "accent": "accent",
    ",": "breath",
    **dict.fromkeys(DYNAMIC_MARKS, "dynamic"),
}
_LAYERED: tuple[MarkKind, ...] = ("dynamic", "hairpin", "accent")


def _mark(found: list[Any]) -> MarkWord:
    words = [str(token) for token in found if token.type == "WORD"]
    tokens = {token.type: str(token) for token in found}
    place = _number(tokens)
    at = next((f"@{tokens[kind]}" for kind in _NUMBERS if kind in tokens), "")
    name = words[-1]
    if name == ".":
        raise SlipError("silence needs no mark", write="")
    if name not in _PLAIN_MARKS:
        close = meant_word(name, _PLAIN_MARKS)
        layer_text = f"{words[0]}:" if len(words) == 2 else ""
        raise SlipError(
            f"`{name[:40]}` isn't a mark",
            "" if close else "marks are " + " ".join(_PLAIN_MARKS),
            write=f"{layer_text}{close}{at}" if close else None,
        )
    kind = _PLAIN_MARKS[name]
    layer = _layer(words[0], f"{name}{at}") if len(words) == 2 else None
    if layer is not None and kind not in _LAYERED:
        raise SlipError(f"{name} is for all layers together", write=f"{name}{at}")
    return MarkWord(kind, name if kind in ("dynamic", "hairpin") else "", layer, place)


def _layer(text: str, rest: str) -> Layer:
    for layer in LAYERS:
        if layer == text:
            return layer
    close = "melody" if text == "tune" else meant_word(text, LAYERS)
    raise SlipError(
        f"`{text[:40]}` isn't a layer",
        "" if close else "layers are " + ", ".join(LAYERS),
        write=f"{close}:{rest}" if close else None,
    )


def _strum(found: list[Any]) -> StrumWord:
    return StrumWord(tuple(map(str, found)))


_UNSUNG = {(".",): "a rest", ("=",): "a note that goes on"}


def _syllables(found: list[Any]) -> WordOfSyllables:
    parts = tuple("" if token.type == "HOLD" else str(token) for token in found if token.type != "HYPHEN")
    if parts in _UNSUNG and len(found) == 1:
        raise SlipError(f"{_UNSUNG[parts]} has no syllable", write="")
    return WordOfSyllables(parts, found[-1].type == "HYPHEN")


_READERS: dict[WordKind, Callable[[list[Any]], AnyWord]] = {
    "note": _note,
    "chord": _chord,
    "mark": _mark,
    "strum": _strum,
    "syllables": _syllables,
}
