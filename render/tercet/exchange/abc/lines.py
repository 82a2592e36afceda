"""The lines of an ABC tune as they are meant, and which of them, or pieces of them, belong to the voice of the tune."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from tercet.exchange.leadsheet import TuneError

__all__ = ["MOST_VOICES", "AbcLine", "VoiceLines", "lines_of_voice", "meant_lines"]

_FIELD = re.compile(r"\s{0,3}([A-Zmrsw+]):(?![|:])(.*)", re.DOTALL)
_COMMENT = re.compile(r"(?<!\\)%")
_BEGIN = re.compile(r"%%\s*begin(\w{1,20})")
_QUOTES = str.maketrans(
    {"“": '"', "”": '"', "„": '"', "’": "'", "‘": "'", "´": "'", "\u00a0": " ", "\t": " "}
)
"""Signs that programs for texts put in the place of those that music is written in."""


@dataclass(frozen=True, slots=True)
class AbcLine:
    """A line as it is meant.

    Parameters
    ----------
    letter
        Of its field; empty for a line of music, ``"I"`` for an instruction (``I:`` or ``%%``).
    text
        What it holds; empty for an empty line.
    goes_on
        Whether the next line of music is printed on the same line.
    """

    letter: str
    text: str
    goes_on: bool = False


def meant_lines(raw: Iterable[str]) -> Iterator[AbcLine]:
    """Yield the lines of a tune."""
    waiting: AbcLine | None = None
    for line in _without_typeset_text(raw):
        found = _read_line(line, continued=waiting is not None and waiting.goes_on)
        if found is None:
            continue
        if waiting is not None and (joined := _joined(waiting, found)):
            waiting = joined
            continue
        if waiting is not None:
            yield waiting
        waiting = found
    if waiting is not None:
        yield waiting


def _without_typeset_text(raw: Iterable[str]) -> Iterator[str]:
    """Yield the lines without what stands from ``%%begintext`` to ``%%endtext``, and the like."""
    end = ""
    for line in raw:
        if end:
            end = "" if re.match(rf"%%\s*end{end}\b", line) else end
        elif found := _BEGIN.match(line):
            end = found[1]
        else:
            yield line


def _read_line(line: str, *, continued: bool) -> AbcLine | None:
    """Return a line without its comment; None for one that is a comment alone."""
    if line.startswith("%%"):
        return AbcLine("I", line[2:].strip())
    text = _without_comment(line)
    if not text.strip() and line.strip():
        return None
    found = _FIELD.match(text)
    if found:
        return _going_on(found[1], found[2].strip())
    if continued:
        return _going_on("", text.strip())
    return _going_on("", text.rstrip())


def _going_on(letter: str, text: str) -> AbcLine:
    goes_on = text.endswith("\\") and letter in ("", "w", "W", "s")
    text = text[:-1].rstrip() if goes_on else text
    return AbcLine(letter, text if letter else text.translate(_QUOTES), goes_on)


def _joined(before: AbcLine, line: AbcLine) -> AbcLine | None:
    """Return two lines as the field that they are together, or None where the second stands for itself."""
    if line.letter == "+" and before.letter not in ("", "+"):
        return AbcLine(before.letter, f"{before.text} {line.text}".strip(), line.goes_on)
    if before.letter in ("w", "W", "s") and before.goes_on and line.letter in ("", before.letter):
        return AbcLine(before.letter, f"{before.text} {line.text}".strip(), line.goes_on)
    return None


def _without_comment(line: str) -> str:
    found = _COMMENT.search(line)
    return (line[: found.start()].rstrip() if found else line).replace("\\%", "%")


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
        raise TuneError(f"it has more than {MOST_VOICES} voices: export just the tune")
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
