"""The form: section names in the order played, and which pass of its section each is."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from tercet.song.form_slips import meant_form, plain_name
from tercet.song.frame import Listing, Node, Text
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import LEAD_INS, TAG, Song, Source, Visit
from tercet.song.values import place_within
from tercet.theory.limits import MOST_BARS, MOST_VISITS

__all__ = ["check_form", "played_form", "read_form", "visits_of"]

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


def played_form(song: Song) -> tuple[Visit, ...]:
    """Return the form with the sections that the song's settings add.

    A form that names an intro or a turnaround plays it there. Else the intro comes first, and a turnaround each time
    that the piece comes back to the section it began with. The tag comes last.
    """
    names = [visit.section for visit in song.form]
    first = next((name for name in names if not song.adds(name)), "")
    if song.turnaround_bars and "turnaround" not in names:
        seen: set[str] = set()
        laid: list[str] = []
        for name in names:
            laid += ["turnaround", name] if name == first and first in seen else [name]
            seen.add(name)
        names = laid
    if song.intro_bars and "intro" not in names and names:
        names = ["intro", *names]
    if song.tag_bars is not None and names:
        names = [*names, TAG]
    return visits_of(names)


def read_form(
    node: Node | None, sections: list[str], added: Sequence[str], book: MistakeBook
) -> tuple[Visit, ...]:
    """Read the setting `form`; without one, the sections as written.

    Parameters
    ----------
    node
        A text or a list of texts.
    sections
        Names of the sections, in the order written.
    added
        Names of sections that other settings add; the form may place them, but for a tag.
    book
        Where mistakes are noted.
    """
    if node is None:
        return visits_of(sections)
    known = [*sections, *(name for name in LEAD_INS if name in added and name not in sections)]
    names: list[str] = []
    try:
        found = _words(node)
    except SlipError as wrong:
        book.add_slip(wrong, node.place, "form")
        return ()
    meant = _form_as_meant(node, found, known, book)
    for word, place in () if meant else found:
        if word == TAG and TAG in added and TAG not in sections:
            book.add("a tag comes last by itself", place, "form", "leave this word out of the form")
            continue
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
    elif names and not set(names) & set(sections):
        book.add("the form plays none of the song's sections", node.place, "form", _sections_are(sections))
        return ()
    return visits_of(names)


def _sections_are(sections: Sequence[str]) -> str:
    return f"sections are {', '.join(sections[:20])}" if sections else ""


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
    meant = meant_form(node.text, [name for name in known if name not in LEAD_INS]) or meant_form(
        node.text, known
    )
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
    message = f"there is no section `{word[:40]}`"
    if bare in _ADDED_BY and not close:
        return message, _ADDED_BY[bare], None
    return message, "" if close else _sections_are(known), close or None


_ADDED_BY = {
    **{
        name: f"if Tercet is to make it of the song's own chords, write {name}: 2 among the settings"
        for name in LEAD_INS
    },
    TAG: f"a {TAG} comes last by itself: write ending: {TAG} among the settings, and leave it out of the form",
}
"""What to do where the form names a section that only a setting adds."""


def check_form(song: Song, book: MistakeBook) -> bool:
    """Note passes that the form never plays, and a piece that is too long; return whether it can be played."""
    plays = Counter(visit.section for visit in song.form)
    counts = {section.name: section.bar_count for section in song.sections}
    added = {
        **{name: song.lead_in_bars(name) for name in LEAD_INS if song.adds(name)},
        TAG: song.tag_bars or 0,
    }
    bars = sum({**added, **counts}.get(visit.section, 0) for visit in played_form(song))
    if bars > MOST_BARS:
        book.add(
            f"the piece must have at most {MOST_BARS} bars as played (got {bars})", mend="shorten the form"
        )
    for section in song.sections:
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
