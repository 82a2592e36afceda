"""The voices of an ABC tune: which lines, or pieces of lines, belong to the one that has the tune."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from tercet.exchange.abc.lines import AbcLine
from tercet.exchange.leadsheet import TuneError

__all__ = ["MOST_VOICES", "VoiceLines", "lines_of_voice"]

MOST_VOICES = 100
"""Of a tune: an orchestra's."""

_CHANGE = re.compile(r"\[V:([^\]]*)\]")
_NOTE = re.compile(r"[A-Ga-g]")
_OF_A_VOICE = frozenset("KMLQVwsr")
"""Fields that belong to the voice in which they stand; the others are the tune's."""


@dataclass(frozen=True, slots=True)
class VoiceLines:
    """The lines of one voice, in order, with the tune's own, and what is said about the choice."""

    lines: tuple[AbcLine, ...]
    remarks: tuple[str, ...]


def lines_of_voice(lines: Sequence[AbcLine], wanted: str) -> VoiceLines:
    """Return the lines of the voice that is wanted; else of the one with most words, or else of the first with notes.

    A tune that names no voices has one.

    Raises
    ------
    TuneError
        When there is no such voice, or more than `MOST_VOICES`.
    """
    if not any(line.letter == "V" or "[V:" in line.text for line in lines) and not wanted:
        return VoiceLines(tuple(lines), ())
    head = next((at + 1 for at, line in enumerate(lines) if line.letter == "K"), 0)
    placed = list(_placed(lines, head))
    declared = [_name(line.text) for line in lines[:head] if line.letter == "V"]
    used = (name for name, line in placed[head:] if line.letter in ("", "V") and line.text.strip())
    names = list(dict.fromkeys(name for name in (*declared, *used) if name))
    if len(names) > MOST_VOICES:
        raise TuneError(f"it has more than {MOST_VOICES} voices: export the tune alone")
    if wanted and wanted not in names:
        raise TuneError(f"it has no voice {wanted!r}: its voices are {', '.join(names) or 'none'}")
    words, notes = Counter[str](), Counter[str]()
    for name, line in placed[head:]:
        words[name] += len(line.text.split()) if line.letter == "w" else 0
        notes[name] += 0 if line.letter else len(_NOTE.findall(line.text))
    playing = [name for name in names if notes[name]] or names
    chosen = wanted or max(playing, key=lambda name: words[name])
    ours = [
        line
        for at, (name, line) in enumerate(placed)
        if name == chosen
        or (at < head and line.letter != "V")
        or (line.letter and line.letter not in _OF_A_VOICE)
    ]
    return VoiceLines(tuple(ours), _remarks(names, chosen, words) if not wanted else ())


def _remarks(names: Sequence[str], chosen: str, words: Counter[str]) -> tuple[str, ...]:
    if len(names) < 2:
        return ()
    why = (
        "the first"
        if chosen == names[0]
        else "the one with most words"
        if words[chosen]
        else "the first with notes"
    )
    return (f"the tune is taken from voice {chosen}, {why} of {', '.join(names)}",)


def _placed(lines: Sequence[AbcLine], head: int) -> Iterator[tuple[str, AbcLine]]:
    """Yield every line with its voice, one in which the voice changes as several.

    Music before any voice is named is the first voice's that the header names, or else voice 1.
    """
    first = next((_name(line.text) for line in lines[:head] if line.letter == "V"), "1")
    now = first
    for at, line in enumerate(lines):
        if at == head:
            now = first
        if line.letter == "V":
            now = _name(line.text) or now
        if line.letter or "[V:" not in line.text:
            yield now, line
            continue
        before, *changes = _CHANGE.split(line.text)
        pieces = [(now, before)] if before.strip() else []
        for text, music in zip(changes[::2], changes[1::2], strict=True):
            now = _name(text) or now
            yield now, AbcLine("V", text)
            pieces.append((now, music))
        for index, (name, music) in enumerate(pieces):
            more = any(other == name for other, _ in pieces[index + 1 :])
            yield name, replace(line, text=music, goes_on=more or line.goes_on)


def _name(text: str) -> str:
    words = text.split(maxsplit=1)
    return words[0].strip('"') if words else ""
