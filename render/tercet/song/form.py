"""The form: section names in the order played, and which pass of its section each is."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from tercet.song.form_slips import meant_form, plain_name
from tercet.song.frame import Listing, Node, Text
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import Section, Source, Visit
from tercet.song.values import place_within
from tercet.theory.limits import MOST_BARS, MOST_VISITS

__all__ = ["check_form", "read_form", "visits_of"]

_MOST_TIMES = 99
_WORD = re.compile(r"\S+")
_NAME_AND_TIMES = re.compile(r"([^*×]+?)(?:\*(\d+))?")
_TIMES_SLIP = re.compile(r"(.+?)(?:[x×X]|\*\s*|\()(\d{1,2})\)?")


def visits_of(names: Sequence[str]) -> tuple[Visit, ...]:
    """Return the visits of a form given by section names, one for each playing."""
    total = Counter(names)
    seen: Counter[str] = Counter()
    visits = []
    for name in names:
        seen[name] += 1
        visits.append(Visit(name, seen[name], seen[name] == total[name]))
    return tuple(visits)


def read_form(node: Node | None, known: list[str], book: MistakeBook) -> tuple[Visit, ...]:
    """Read the setting `form`; without one, the sections as written.

    Parameters
    ----------
    node
        A text or a list of texts.
    known
        Names of the sections, in the order written.
    book
        Where mistakes are noted.
    """
    if node is None:
        return visits_of(known)
    names: list[str] = []
    try:
        found = _words(node)
    except SlipError as wrong:
        book.add_slip(wrong, node.place, "form")
        return ()
    meant = _form_as_meant(node, found, known, book)
    for word, place in () if meant else found:
        name, times = _name_and_times(word, place, known, book)
        names += [name] * times
        if len(names) > MOST_VISITS:
            book.add(
                f"a form must play at most {MOST_VISITS} sections (got more)", place, "form", "shorten it"
            )
            return ()
    names = [name for name, times in meant for _ in range(times)] or names
    if not found:
        book.add("the form is empty", node.place, "form", f"write for instance form: {' '.join(known[:3])}")
    return visits_of(names)


def _words(node: Node) -> list[tuple[str, Source]]:
    if isinstance(node, Listing):
        return [pair for item in node.items for pair in _words(item)]
    if not isinstance(node, Text):
        raise SlipError(
            "the form must be section names", "write for instance form: verse verse chorus", node.place
        )
    return [
        (match[0], place_within(node, match.start(), len(match[0]))) for match in _WORD.finditer(node.text)
    ]


def _form_as_meant(
    node: Node, found: list[tuple[str, Source]], known: list[str], book: MistakeBook
) -> tuple[tuple[str, int], ...]:
    """Return the sections of a form that is written in another way, and note it; nothing for all others."""
    first = next((word for word, _ in found if not _is_known(word, known)), "")
    if not first or not isinstance(node, Text) or len(node.text) > node.place.width:
        return ()
    meant = meant_form(node.text, known)
    if meant:
        written = " ".join(
            f"{plain_name(name)}*{times}" if times > 1 else plain_name(name) for name, times in meant
        )
        book.add(
            "a form is section names with spaces between them, and * for times",
            node.place,
            "form",
            write=written if all(plain_name(name) for name, _ in meant) else None,
        )
    return meant


def _is_known(word: str, known: list[str]) -> bool:
    match = _NAME_AND_TIMES.fullmatch(word)
    return match is not None and match[1] in known


def _name_and_times(word: str, place: Source, known: list[str], book: MistakeBook) -> tuple[str, int]:
    """Return a section's name and how often it is played; 0 times, and a mistake, when it can't be read."""
    match = _NAME_AND_TIMES.fullmatch(word)
    name, times = (match[1], int(match[2] or 1)) if match else (word, 1)
    if match and name in known:
        if not 1 <= times <= _MOST_TIMES:
            book.add(f"a section must be played 1 to {_MOST_TIMES} times (got {times})", place, "form")
            return name, 0
        return name, times
    message, mend, write = _form_slip(word, known)
    if write and place.width < len(word):  # of a text over several lines only its start is known
        mend, write = f"write {write}", None
    book.add(message, place, "form", mend, write=write)
    return name, 0


def _form_slip(word: str, known: list[str]) -> tuple[str, str, str | None]:
    """Return what is wrong with a word of the form, the mend in words, and what to write."""
    bare = word.strip("\"'“”„‘’[](),;.")
    slip = _TIMES_SLIP.fullmatch(bare) or _TIMES_SLIP.fullmatch(word)
    if slip and slip[1] in known:
        return "repeats are written with *", "", f"{slip[1]}*{slip[2]}"
    if bare in known:
        return "sections have only spaces between them", "", bare
    if re.fullmatch(r"\d{1,2}[xX×*]|[xX×*]\d{1,2}|[xX×*]|\d{1,2}", bare):
        name = known[0] if known else "verse"
        return f"`{word}` belongs to no section", f"times stand right after a name: {name}*2", None
    close = meant_word(bare, known)
    if re.findall(r"\d+", close) != re.findall(r"\d+", bare):
        close = ""  # verse2 isn't verse1, nor verse
    sections = f"sections are {', '.join(known[:20])}" if known else ""
    return f"there is no section `{word[:40]}`", "" if close else sections, close or None


def check_form(visits: tuple[Visit, ...], sections: tuple[Section, ...], book: MistakeBook) -> bool:
    """Note passes that the form never plays, and a piece that is too long; return whether it can be played."""
    plays = Counter(visit.section for visit in visits)
    counts = {section.name: section.bar_count for section in sections}
    bars = sum(counts.get(visit.section, 0) for visit in visits)
    if bars > MOST_BARS:
        book.add(
            f"the piece must have at most {MOST_BARS} bars as played (got {bars})", mend="shorten the form"
        )
    for section in sections:
        for row in (row for line in section.lines for row in line.rows):
            for number in row.passes:
                if 0 < plays[section.name] < number:
                    times = plays[section.name]
                    played = {1: "once", 2: "twice"}.get(times, f"{times} times")
                    book.add(
                        f"the form plays `{section.name}` {played}, so it has no pass {number}",
                        row.source,
                        row.name,
                        "change the pass, or the form",
                    )
    return bars <= MOST_BARS
