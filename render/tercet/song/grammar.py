"""The words of a row: a pattern for each kind of word, and what each word says.

Words are read one at a time, so that each bad word is its own mistake with its own place. A word says only what
stands in it: an octave that carries on or a chord's share of the bar is worked out later. Equal words are read
once.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import Any, Literal

from tercet.song.chord_shapes import WrittenShape, read_shape
from tercet.song.mistakes import SlipError, meant_word
from tercet.song.model import LAYERS, Layer, MarkKind, Pin, Slot
from tercet.theory import DYNAMIC_MARKS, LAST_FRET, STRUM_SIGNS, Chord, ChordNameError, parse_chord

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


_NUMBER = r"\d{1,6}(?:[/.]\d{1,6})?"
_LENGTH = f"(?::(?P<NUMBER>{_NUMBER}))?"
_BRACKET = r"(?P<BRACKET>\[[^\[\]]*\])?"
_PITCH = r"(?:(?P<LETTER>[A-G])(?P<SIGN>##|bb|[#♯b♭])?)?(?P<OCTAVE>-1|\d)?"
_SOUNDING = f"(?=[A-G=])(?P<GOES_ON>=)?{_PITCH}(?(GOES_ON)|(?P<GOES_ON_AFTER>=)?)"
_PATTERNS: dict[WordKind | Literal["number"], re.Pattern[str]] = {
    "note": re.compile(
        rf"(?:(?P<REST>\.)|(?P<POSITION>s\d{{1,2}}f\d{{1,2}})|{_SOUNDING}){_LENGTH}{_BRACKET}"
    ),
    "chord": re.compile(
        rf"(?P<NAME>[^:\[\]]+){_LENGTH}{_BRACKET}(?(NUMBER)|(?::(?P<NUMBER_AFTER>{_NUMBER}))?)"
    ),
    "mark": re.compile(rf"(?:(?P<LAYER>[^:@]+):)?(?P<WORD>[^:@]+)(?:@(?P<NUMBER>{_NUMBER}))?"),
    "strum": re.compile(rf"(?P<SLOTS>[{re.escape(''.join(STRUM_SIGNS))}]+)"),
    "syllables": re.compile(r"(?P<SYLLABLES>(?:[^-_]+|_)(?:-(?:[^-_]+|_))*)(?P<HYPHEN>-)?"),
    "number": re.compile(rf"(?P<NUMBER>{_NUMBER})"),
}
"""What a word is made of; a part that may stand in two places has a second name for the later one."""

_LATER = "_AFTER"


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
        plain = text.translate(_OTHER_HYPHENS)
        return _READERS[kind](_parts(kind, plain), plain)
    except SlipError as wrong:
        return wrong


def _parts(kind: WordKind | Literal["number"], text: str) -> dict[str, str]:
    """Return the parts of a word, by name; `SlipError` without a message when its pattern has no place for it."""
    found = _PATTERNS[kind].fullmatch(text)
    if found is None:
        raise SlipError("")
    parts = found.groupdict()
    return {name.removesuffix(_LATER): part for name, part in parts.items() if part is not None}


def read_number(text: str) -> Fraction:
    """Read ``2``, ``1.5`` or ``1/3`` exactly; `SlipError` for anything else."""
    return _exact(_parts("number", text)["NUMBER"])


def _number(parts: dict[str, str]) -> Fraction | None:
    return _exact(parts["NUMBER"]) if "NUMBER" in parts else None


def _exact(text: str) -> Fraction:
    try:
        return Fraction(text)
    except ZeroDivisionError:
        raise SlipError(f"{text} divides by zero") from None


def _length(parts: dict[str, str]) -> Fraction | None:
    length_beat = _number(parts)
    if length_beat is not None and not Fraction(1, 1000) <= length_beat <= 1000:
        raise SlipError(f"a length must be 1/1000 to 1000 beats (got {length_beat})")
    return length_beat


def _note(parts: dict[str, str], text: str) -> NoteWord:
    length_beat = _length(parts)
    pin = _pin(parts["BRACKET"][1:-1], text) if "BRACKET" in parts else None
    if "GOES_ON" in parts:
        return _going_on(parts, length_beat)
    if "REST" in parts:
        if pin:
            bare = "." + _written_length(parts)
            raise SlipError("a rest isn't struck, so it takes no pin", write=bare)
        return NoteWord(length_beat=length_beat)
    if "POSITION" in parts:
        string, fret = (int(part) for part in parts["POSITION"][1:].split("f"))
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
    sign = parts.get("SIGN", "").replace("♯", "#").replace("♭", "b")
    octave = int(parts["OCTAVE"]) if "OCTAVE" in parts else None
    alter = sign.count("#") - sign.count("b")
    return NoteWord(parts["LETTER"], alter, octave, None, length_beat, pin)


def _going_on(parts: dict[str, str], length_beat: Fraction | None) -> NoteWord:
    """Return the word ``=``, which says nothing but its length."""
    bare = "=" + _written_length(parts)
    if "LETTER" in parts:
        note = "".join(parts.get(part, "") for part in ("LETTER", "SIGN", "OCTAVE"))
        raise SlipError(
            "= is the note before, going on: it has no letter of its own",
            f"write {bare} if that note goes on, or {note}{bare[1:]} if this one is struck",
        )
    if "OCTAVE" in parts:
        bare = f"=:{parts['OCTAVE']}" if length_beat is None else bare
        raise SlipError(
            "= is the note before, going on: it has no octave of its own, and its length stands after a colon",
            write=bare,
        )
    if "BRACKET" in parts:
        raise SlipError(
            "= isn't struck again, so it takes no pin; a pin stands at the note that goes on", write=bare
        )
    return NoteWord(length_beat=length_beat, goes_on=True)


def _written_length(parts: dict[str, str]) -> str:
    """Return a length as written, with its colon; empty without one."""
    return f":{parts['NUMBER']}" if "NUMBER" in parts else ""


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


def _chord(parts: dict[str, str], _: str) -> ChordWord:
    name = parts["NAME"]
    length_beat = _length(parts)
    shape = _shape(parts)
    if name in ("N.C.", "N.C", "NC", "."):
        if shape:
            bare = f"N.C.{_written_length(parts)}"
            raise SlipError("N.C. means no chord, so it takes no shape", write=bare)
        return ChordWord(None, length_beat)
    if len(name) > 20:
        raise SlipError(f"a chord name must have at most 20 characters (got {len(name)})")
    try:
        chord = parse_chord(name)
    except ChordNameError as error:
        write = f"{error.suggestion}{_after_name(parts)}" if error.suggestion else None
        mend = f"the nearest that it knows is {error.nearest}" if error.nearest and not write else ""
        raise SlipError(f"`{name}` isn't a chord name that Tercet knows", mend, write=write) from None
    return (
        ChordWord(chord, length_beat, shape.frets, shape.fingers) if shape else ChordWord(chord, length_beat)
    )


def _after_name(parts: dict[str, str]) -> str:
    """Return shape and length of a chord as written."""
    return parts.get("BRACKET", "") + _written_length(parts)


def _shape(parts: dict[str, str]) -> WrittenShape | None:
    if "BRACKET" not in parts:
        return None
    try:
        return read_shape(parts["BRACKET"][1:-1])
    except SlipError as slip:
        if slip.write is None:
            raise
        write = parts["NAME"] + _after_name({**parts, "BRACKET": f"[{slip.write}]"})
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


def _mark(parts: dict[str, str], _: str) -> MarkWord:
    place = _number(parts)
    at = f"@{parts['NUMBER']}" if "NUMBER" in parts else ""
    name, own_layer = parts["WORD"], parts.get("LAYER")
    if name == ".":
        raise SlipError("silence needs no mark", write="")
    if name not in _PLAIN_MARKS:
        close = meant_word(name, _PLAIN_MARKS)
        layer_text = "" if own_layer is None else f"{own_layer}:"
        raise SlipError(
            f"`{name[:40]}` isn't a mark",
            "" if close else "marks are " + " ".join(_PLAIN_MARKS),
            write=f"{layer_text}{close}{at}" if close else None,
        )
    kind = _PLAIN_MARKS[name]
    layer = None if own_layer is None else _layer(own_layer, f"{name}{at}")
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


def _strum(parts: dict[str, str], _: str) -> StrumWord:
    return StrumWord(tuple(parts["SLOTS"]))


_UNSUNG = {".": "a rest", "=": "a note that goes on"}


def _syllables(parts: dict[str, str], text: str) -> WordOfSyllables:
    if text in _UNSUNG:
        raise SlipError(f"{_UNSUNG[text]} has no syllable", write="")
    sung = tuple("" if part == "_" else part for part in parts["SYLLABLES"].split("-"))
    return WordOfSyllables(sung, "HYPHEN" in parts)


_READERS: dict[WordKind, Callable[[dict[str, str], str], AnyWord]] = {
    "note": _note,
    "chord": _chord,
    "mark": _mark,
    "strum": _strum,
    "syllables": _syllables,
}
