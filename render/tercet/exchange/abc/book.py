"""ABC files as books of tunes: where each tune starts, and which one is wanted."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass

from tercet.exchange.abc.text import plain_text
from tercet.exchange.leadsheet import TuneError

__all__ = ["LARGEST_TUNE", "AbcTune", "chosen_tune", "tunes_of"]

LARGEST_TUNE = 400_000
"""Characters of one tune: an orchestra's score of a movement. A tune of a song's 2000 bars has far fewer."""

_MOST_TUNES = 40_000
"""Of a book of the largest size that is read, one for every 200 bytes."""

_START = re.compile(r"(?:^|(?<=[\r\n]))[ \t]{0,3}X:")
_GAP = re.compile(r"(?:\r\n?|\n)[ \t]*(?:\r\n?|\n)\s*")
_OF_A_HEAD = re.compile(r"[ABCDFGHILMmNORrSUZ]:|%%")
_STARTS_WITHOUT_NUMBER = re.compile(r"[TCMLQRPVK]:(?![|:])")
_BAR = re.compile(r"[A-Ga-gz][^|]*\|")
_SHOWN = 8


@dataclass(frozen=True, slots=True)
class AbcTune:
    """One tune of a book: its number, its title and its lines."""

    number: str
    title: str
    lines: tuple[str, ...]


def tunes_of(text: str) -> list[AbcTune]:
    """Return the tunes of a book, those without music left out.

    A tune starts at its ``X:``; in a file that has none, at the first field after an empty line.

    Raises
    ------
    TuneError
        When there are more than songs were ever printed in one book.
    """
    tunes: list[AbcTune] = []
    for number, lines in enumerate(_with_numbers(text) or _without_numbers(text), 1):
        if number > _MOST_TUNES:
            raise TuneError(f"there are more than {_MOST_TUNES} tunes in this book: cut it into several")
        if _has_music(lines):
            tunes.append(_tune(lines))
    return tunes


def _lines(text: str) -> list[str]:
    """Return the lines of a tune, of one that is too large so many that this shows."""
    lines = re.split(r"\r\n?|\n", text[: LARGEST_TUNE + 1])
    return lines if lines[-1] else lines[:-1]


def _with_numbers(text: str) -> Iterator[list[str]] | None:
    """Return the lines of every tune; fields before the first hold for all, and stand after its number.

    None where no tune has a number.
    """
    first = _START.search(text)
    if first is None:
        return None
    head = [line for line in _lines(text[: first.start()]) if _OF_A_HEAD.match(line)]
    starts = _START.finditer(text)
    next(starts)
    edges = (found.end() for found in starts)
    return _between(text, first.end(), edges, head)


def _between(text: str, start: int, edges: Iterator[int], head: list[str]) -> Iterator[list[str]]:
    """Yield the lines from one ``X:`` to the next, places counted from behind it."""
    for edge in (*edges, len(text) + len("X:")):
        number, *lines = _lines(text[start : edge - len("X:")]) or [""]
        yield [f"X:{number}", *head, *lines]
        start = edge


def _without_numbers(text: str) -> Iterator[list[str]]:
    """Yield the lines of every tune, a number before them; a tune starts at the first field after an empty line."""
    parts: list[list[str]] = []
    has_key = True
    for block in _GAP.split(text):
        if has_key and _STARTS_WITHOUT_NUMBER.match(block):
            parts.append([])
            has_key = False
        if len(parts) > _MOST_TUNES + 1:
            break
        if parts:
            parts[-1].append(block)
            has_key = has_key or re.search(r"^K:", block, re.MULTILINE) is not None
    for number, part in enumerate(parts, 1):
        yield [f"X:{number}", *_lines("\n\n".join(part))]


def _has_music(lines: list[str]) -> bool:
    return any(line.lstrip().startswith("K:") for line in lines) or any(
        _BAR.match(line) and not re.match(r"[A-Za-z]:|%", line) for line in lines
    )


def _tune(lines: list[str]) -> AbcTune:
    title = next((line.lstrip()[2:] for line in lines if line.lstrip().startswith("T:")), "")
    return AbcTune(lines[0][2:].partition("%")[0].strip(), plain_text(title).strip(), tuple(lines))


def chosen_tune(tunes: list[AbcTune], wanted: str, file: str) -> AbcTune:
    """Return the tune of a number or a title; a part of a title does where only one tune has it.

    Raises
    ------
    TuneError
        When none or several have it, or none is named where there are several.
    """
    if not wanted:
        if len(tunes) > 1:
            raise TuneError(
                f"{file} holds {len(tunes)} tunes: choose one with --tune, by number or title ({_shown(tunes)})"
            )
        return tunes[0]
    words = _plain_title(wanted)
    for each in tunes:
        if wanted.lstrip("0") == each.number.lstrip("0") or words == _plain_title(each.title):
            return each
    likely = [each for each in tunes if words and words in _plain_title(each.title)]
    if len(likely) == 1:
        return likely[0]
    if likely:
        raise TuneError(f"{file} has {len(likely)} tunes with {wanted!r} in the title: {_shown(likely)}")
    titles = {_plain_title(each.title): each for each in tunes}
    near = [titles[title] for title in difflib.get_close_matches(words, titles, n=3)]
    meant = f"; did you mean {_shown(near)}?" if near else f": it has {_shown(tunes)}"
    raise TuneError(f"{file} has no tune {wanted!r}{meant}")


def _shown(tunes: list[AbcTune]) -> str:
    shown = ", ".join(f"{each.number} {each.title}".strip() for each in tunes[:_SHOWN])
    return f"{shown}, and {len(tunes) - _SHOWN} more" if len(tunes) > _SHOWN else shown


def _plain_title(title: str) -> str:
    return " ".join(re.sub(r"[^\w\s]", " ", title.casefold()).split())
