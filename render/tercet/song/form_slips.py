"""What a form means that is written in another way: times before a name, brackets, arrows, letters run together."""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["meant_form", "plain_name"]

_BETWEEN = re.compile(r"(?:\s|[,;+&>→⟶|/]|-+>|=+>|[-–—](?=\s)|\bthen\b)+")
_TIMES = r"(\d{1,2})\s*(?:[x×X*]|times)"
_BEFORE = re.compile(_TIMES + r"\s*(?=[^\W\d]|\()")
_AFTER = re.compile(
    rf"\s*[*×]\s*(\d{{1,2}})(?!\w)|\s*[xX]\s*(\d{{1,2}})(?!\w)|\s*\(\s*(?:[xX×*]\s*(\d{{1,2}})|{_TIMES})\s*\)"
    r"|\s+(\d{1,2})\s*(?:[xX×]|times)(?=\s*(?:$|[,;)]))|\s+(twice)\b"
)
_MOST = 99


@dataclass(frozen=True, slots=True)
class _Reading:
    """Names in the order played, each with its times, and where the text goes on."""

    words: tuple[tuple[str, int], ...]
    end: int


def meant_form(text: str, known: list[str]) -> tuple[tuple[str, int], ...]:
    """Return the sections that a form means, each with how often it is played; empty where that isn't certain.

    >>> meant_form("2x verse, chorus -> verse (2x)", ["verse", "chorus"])
    (('verse', 2), ('chorus', 1), ('verse', 2))
    >>> meant_form("AABA", ["A", "B"])
    (('A', 1), ('A', 1), ('B', 1), ('A', 1))
    """
    if known and all(len(name) == 1 for name in known) and re.fullmatch(rf"[{''.join(known)}]+", text):
        text = " ".join(text)
    reading = _read(text.strip().strip("\"'“”„‘’"), 0, known, closed_by="")
    return reading.words if reading else ()


def plain_name(name: str) -> str:
    """Return a section's name as it may be written; an empty text where only the writer can know.

    >>> plain_name("Verse 1"), plain_name("2nd chorus"), plain_name("verse x2")
    ('Verse-1', 'chorus-2', '')
    """
    if re.search(r"\b[x×]\s*\d|\d\s*[x×]\b", name):
        return ""
    if first := re.fullmatch(r"(\d{1,2})(?:st|nd|rd|th|\.)?[\s-]*([^\W\d].*)", name):
        name = f"{first[2]}-{first[1]}"
    return re.sub(r"[^\w-]+", "-", name).strip("-_")[:40]


def _read(text: str, start: int, known: list[str], closed_by: str) -> _Reading | None:
    """Read names from a place on, to the end or to the bracket that closes them; None for anything else."""
    words: list[tuple[str, int]] = []
    at = start
    while True:
        between = _BETWEEN.match(text, at)
        at = between.end() if between else at
        if at == len(text) or text[at] == ")":
            closed = text[at : at + 1] == closed_by
            return _Reading(tuple(words), at) if closed and words else None
        before = _BEFORE.match(text, at)
        if before and words and between and not between[0].strip():
            return None  # `verse 2x chorus`: which of them is played twice?
        times = int(before[1]) if before else 1
        found = _item(text, before.end() if before else at, known)
        if found is None or (words and not between):
            return None
        at = found.end
        after = _AFTER.match(text, at)
        if after and before:
            return None
        if after:
            times = 2 if after[6] else int(next(figure for figure in after.groups() if figure))
            at = after.end()
        if not 1 <= times <= _MOST:
            return None
        one = len(found.words) == 1
        words += [(name, count * times) for name, count in found.words] if one else found.words * times


def _item(text: str, at: int, known: list[str]) -> _Reading | None:
    """Read a name, or names in brackets."""
    if text.startswith("(", at):
        inner = _read(text, at + 1, known, closed_by=")")
        return _Reading(inner.words, inner.end + 1) if inner else None
    exact = sorted((name for name in known if text.startswith(name, at)), key=len)
    folded = [name for name in known if text[at : at + len(name)].casefold() == name.casefold()]
    for name in (*exact[::-1], *sorted(folded, key=len)[::-1]):
        end = at + len(name)
        if not re.match(r"[\w-]", text[end : end + 1]) or re.match(r"[xX×]\d{1,2}(?!\w)|-+>", text[end:]):
            return _Reading(((name, 1),), end)
    return None
