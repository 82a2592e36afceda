"""How Tercet writes things: one spelling for every number, note, chord, mark and text."""

from __future__ import annotations

import json
import re
from fractions import Fraction

from tercet.song.grammar import ChordWord, MarkWord, NoteWord, StrumWord, WordOfSyllables
from tercet.song.model import Pin
from tercet.theory.pitch import SIGNS

__all__ = ["number_text", "word_text", "yaml_text"]

_PLAIN_YAML = re.compile(r"[^\W\d_](?:[\w ,.()/+'’–—-]*[\w.)])?")
_RESERVED = {"null", "true", "false", "yes", "no", "on", "off", "y", "n"}


def number_text(number: Fraction) -> str:
    """Return a number as it is read most easily: ``2``, ``1.5``, ``1/2``, ``4/3``.

    Halves, quarters and decimals of more than 1 have a point; everything else that isn't whole is a fraction.
    """
    if number.denominator == 1:
        return str(number.numerator)
    if number > 1 and 10**4 % number.denominator == 0:
        text = f"{float(number):.4f}".rstrip("0")
        if Fraction(text) == number:
            return text
    return f"{number.numerator}/{number.denominator}"


def yaml_text(text: str) -> str:
    """Return a text as YAML takes it: plain when that is safe, else between double quotes; empty for nothing."""
    if not text:
        return ""
    if _PLAIN_YAML.fullmatch(text) and text.casefold() not in _RESERVED:
        return text
    return json.dumps(text, ensure_ascii=False)


def word_text(word: NoteWord | ChordWord | MarkWord | StrumWord | WordOfSyllables) -> str:
    """Return a word of a row as Tercet spells it; what the word doesn't say isn't added."""
    if isinstance(word, NoteWord):
        return _note_text(word)
    if isinstance(word, ChordWord):
        name = "N.C." if word.chord is None else str(word.chord)
        return name + _shape_text(word.shape) + _length_text(word.length_beat)
    if isinstance(word, MarkWord):
        return _mark_text(word)
    if isinstance(word, StrumWord):
        return " ".join(word.slots)
    return _syllables_text(word)


def _note_text(word: NoteWord) -> str:
    if word.is_rest:
        head = "r"
    elif word.position is not None:
        head = "s{}f{}".format(*word.position)
    else:
        head = word.letter + SIGNS[word.alter] + ("" if word.octave is None else str(word.octave))
    tie = "~" if word.tied_on else ""
    return head + _length_text(word.length_beat) + _pin_text(word.pin) + tie


def _length_text(length_beat: Fraction | None) -> str:
    return "" if length_beat is None else f":{number_text(length_beat)}"


def _pin_text(pin: Pin | None) -> str:
    if pin is None:
        return ""
    return f"[{''.join(map(str, pin.strings)) or pin.action}]"


def _shape_text(shape: tuple[int | None, ...] | None) -> str:
    if shape is None:
        return ""
    frets = ["x" if fret is None else str(fret) for fret in shape]
    return f"[{('.' if any(len(fret) > 1 for fret in frets) else '').join(frets)}]"


def _mark_text(word: MarkWord) -> str:
    name = word.value or {"breath": ","}.get(word.kind, word.kind)
    layer = f"{word.layer}:" if word.layer else ""
    return layer + name + ("" if word.place is None else f"@{number_text(word.place)}")


def _syllables_text(word: WordOfSyllables) -> str:
    text = ""
    for index, part in enumerate(word.parts):
        if not part:
            text += " _ "
        else:
            text += part + ("-" if index < len(word.parts) - 1 or word.goes_on else "")
    return " ".join(text.split())
