"""One note of MusicXML: its pitch, its words, its place on the neck, the marks that stand at it."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from tercet.errors import ParameterError
from tercet.exchange.leadsheet import LeadMark
from tercet.exchange.musicxml.directions import add_dynamics
from tercet.exchange.words import sung_text
from tercet.song import Pin, Syllable
from tercet.theory import Pitch

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from tercet.exchange.musicxml.measures import Draft, Log

__all__ = [
    "HELD_ON",
    "add_notations",
    "is_held_on",
    "is_tied",
    "pin_of",
    "pitch_of",
    "position_of",
    "words_of",
]

HELD_ON = "[=]"
"""What stands beside a note of ours that only goes on with the length of the one before."""


def pitch_of(element: Element, log: Log) -> Pitch | None:
    """Return the pitch of a note as written; None for a rest, and for a note without one, which is said."""
    written = element.find("pitch")
    if written is None:
        if element.find("unpitched") is not None:
            log.drop("notes without a pitch became rests")
        return None
    letter = (written.findtext("step") or "").strip()
    alter = log.fraction(written.findtext("alter") or "0", "alter")
    octave = log.whole(written.findtext("octave"), "an octave", 0, 9)
    if alter.denominator != 1:
        log.drop("quarter tones were rounded to semitones")
    try:
        return Pitch(letter, round(alter), octave)
    except ParameterError as error:
        raise log.damaged(str(error)) from None


def is_tied(element: Element) -> bool:
    """Return whether a note goes on in the next."""
    return any(tie.get("type") == "start" for tie in element.findall("tie"))


def words_of(element: Element) -> tuple[tuple[int, Syllable], ...]:
    """Return what each verse sings on a note."""
    words: dict[int, Syllable] = {}
    for place, lyric in enumerate(element.findall("lyric"), 1):
        number = re.match(r"\d{1,2}", lyric.get("number", ""))
        verse = int(number[0]) if number and int(number[0]) > 0 else place
        texts = [child.text or ("‿" if child.tag == "elision" else "") for child in lyric
                 if child.tag in ("text", "elision")]  # fmt: skip
        text = sung_text("".join(texts))
        extend = lyric.find("extend")
        if text and verse not in words:
            joined = [child.text for child in lyric.findall("syllabic")][-1:] in (["begin"], ["middle"])
            words[verse] = Syllable(text, joined)
        elif not text and extend is not None and extend.get("type") in ("continue", "stop"):
            words.setdefault(verse, Syllable(""))
    return tuple(sorted(words.items()))


def position_of(element: Element, log: Log) -> tuple[int, int] | None:
    """Return string and fret; None where the file gives none."""
    string = element.findtext("notations/technical/string")
    fret = element.findtext("notations/technical/fret")
    if string is None or fret is None:
        return None
    return log.whole(string, "a string", 1, 99), log.whole(fret, "a fret", 0, 99)


def add_notations(element: Element, start: Fraction, end: Fraction, draft: Draft, log: Log) -> None:
    """Add the marks that a note from one place to another carries."""
    if element.find("notations/fermata") is not None:
        draft.marks.append(LeadMark(start, "fermata"))
    if any(
        element.find(f"notations/articulations/{name}") is not None for name in ("accent", "strong-accent")
    ):
        draft.marks.append(LeadMark(start, "accent"))
    if any(
        element.find(f"notations/articulations/{name}") is not None for name in ("breath-mark", "caesura")
    ):
        draft.marks.append(LeadMark(end, "breath"))
    for dynamics in element.findall("notations/dynamics"):
        add_dynamics(dynamics, start, draft, log)


def is_held_on(element: Element) -> bool:
    """Return whether a note of ours is there only since no single note has the length of the one before."""
    others = element.findall("notations/technical/other-technical")
    return any((other.text or "").strip() == HELD_ON for other in others)


def pin_of(element: Element) -> Pin | None:
    """Return the pin that a file of ours holds beside a note."""
    for other in element.findall("notations/technical/other-technical"):
        found = re.fullmatch(r"\[(roll|alone|4?3?2?1?)\]", (other.text or "").strip())
        if found and found[1] in ("roll", "alone"):
            return Pin("roll" if found[1] == "roll" else "alone")
        if found and found[1] in "4321":
            strings = tuple(map(int, found[1]))
            return Pin("roll" if len(strings) > 1 else "alone", strings) if strings else None
    return None
