"""Styles: how a tune and its chords share the strings, for the whole song, or by section and pass."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal, get_args

from tercet.song.frame import Mapping, Node, Text
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import SectionStyle, Song, Style, Visit
from tercet.song.values import one_of, value_of
from tercet.wording import counted

__all__ = ["STYLES", "STYLE_SCHEMA", "StyleRow", "check_styles", "read_style", "style_text"]


@dataclass(frozen=True, slots=True)
class StyleRow:
    """What a style asks of the hands.

    Parameters
    ----------
    about
        What it is, in a few words.
    rolled
        Which notes of the tune are rolled: those that want it, only those that are held long, or none.
    rings
        Whether neighbouring notes of the tune go to different strings and ring over one another.
    broken
        Whether chords are played string by string behind the tune.
    filled
        Whether single notes may be added in long spaces, where the song says `between: fill`.
    downs
        Whether strums that the song doesn't write out are a down stroke on each pulse, and nothing livelier.
    """

    about: str
    rolled: Literal["wanted", "long", "none"]
    rings: bool = False
    broken: bool = False
    filled: bool = True
    downs: bool = False


STYLES: dict[Style, StyleRow] = {
    "rolls": StyleRow(
        "rolls that stop on the tune, single notes between them, strums in long spaces", "wanted"
    ),
    "ringing": StyleRow(
        "the tune from string to string, its notes ringing over one another", "long", rings=True
    ),
    "broken": StyleRow(
        "the tune in single notes, its chords string by string behind it", "none", broken=True, filled=False
    ),
    "plain": StyleRow("the tune in single notes, and quiet down strums", "none", filled=False, downs=True),
}
"""The styles, by the word that the song file has for each."""

_NAMES: tuple[Style, ...] = get_args(Style)

_OTHER_WORDS: dict[str, Style] = {
    **dict.fromkeys(("roll", "rolled", "thumb"), "rolls"),
    **dict.fromkeys(("campanella", "campanela", "harp", "ring", "rings", "bells"), "ringing"),
    **dict.fromkeys(
        ("arpeggio", "arpeggios", "arpeggiated", "picking", "fingerpicking", "picked", "broken chords"),
        "broken",
    ),
    **dict.fromkeys(("simple", "easy", "single", "singles"), "plain"),
}

_WANTED = "write for instance style: ringing, or style: {verse: plain, chorus: rolls}"

_PLACE = re.compile(r"([^\W\d_][\w-]*)(?:@(\d{1,3}|last))?")

STYLE_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"enum": list(_NAMES)},
        {
            "type": "object",
            "propertyNames": {"pattern": r"^[^\W\d_][\w-]*(@([1-9][0-9]{0,2}|last))?$"},
            "additionalProperties": {"enum": list(_NAMES)},
            "minProperties": 1,
        },
    ]
}


def read_style(node: Node) -> dict[str, Any]:
    """Read the setting `style`: a style for the song, or one for each of some sections or passes."""
    if not isinstance(node, Mapping):
        return {"style": _style(value_of(node))}
    if not node.entries:
        raise SlipError("must be a style, or name sections", _WANTED)
    return {"section_styles": tuple(_section_style(entry.key, entry.value) for entry in node.entries)}


def _style(text: str) -> Style:
    other = _OTHER_WORDS.get(text.casefold())
    try:
        found: Style = one_of(text, _NAMES)  # type: ignore[assignment]
    except SlipError as wrong:
        meant = other or wrong.write
        raise SlipError(wrong.message, "" if meant else _WANTED, write=meant) from None
    return found


def _section_style(key: Text, value: Node) -> SectionStyle:
    match = _PLACE.fullmatch(key.text)
    if match is None or match[2] == "0":
        raise SlipError(
            f"`{key.text[:40]}` doesn't name a section or a pass",
            "write for instance verse, verse@2 or verse@last",
            key.place,
        )
    passed = None if match[2] is None else -1 if match[2] == "last" else int(match[2])
    try:
        style = _style(value_of(value))
    except SlipError as wrong:
        raise wrong.put(f"{key.text} {wrong.message}", value.place) from None
    return SectionStyle(match[1], passed, style, key.place)


def style_text(song: Song) -> str:
    """Return the setting as it is written; empty where all of the song has the usual style."""
    if not song.section_styles:
        return song.style if song.style != "rolls" else ""
    return "{" + ", ".join(f"{_named(each)}: {each.style}" for each in song.section_styles) + "}"


def _named(each: SectionStyle) -> str:
    if each.pass_number is None:
        return each.section
    return f"{each.section}@{'last' if each.pass_number < 0 else each.pass_number}"


def check_styles(song: Song, book: MistakeBook) -> None:
    """Note styles for sections that there aren't, and for passes that aren't played."""
    names = [section.name for section in song.sections]
    for each in song.section_styles:
        if each.section not in names:
            meant = meant_word(each.section, names)
            book.add(
                f"there is no section `{each.section[:40]}`",
                each.source,
                "style",
                "" if meant else f"sections are {', '.join(names)}",
                write=_named(SectionStyle(meant, each.pass_number, each.style)) if meant else None,
            )
        elif each.pass_number is not None and each.pass_number > _times(each.section, song.form):
            times = {0: "isn't played", 1: "is played once", 2: "is played twice"}
            played = times.get(
                _times(each.section, song.form),
                f"is played {counted(_times(each.section, song.form), 'time')}",
            )
            book.add(
                f"`{each.section}` {played}, so it has no pass {each.pass_number}",
                each.source,
                "style",
                "name a pass that the form has, or the section alone for all its passes",
            )


def _times(section: str, form: tuple[Visit, ...]) -> int:
    return sum(visit.section == section for visit in form)
