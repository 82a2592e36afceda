"""The directives of the public standard (https://www.chordpro.org, version 6): which are read, and which written."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

__all__ = ["DIRECTIVES", "ENVIRONMENTS", "OWN", "Directive", "environment_of", "known_directive"]

Use = Literal["head", "body", "look", "elsewhere"]
"""What a directive is about: the song as a whole, its music, how another program prints it, what is in other files."""


@dataclass(frozen=True, slots=True)
class Directive:
    """One directive.

    Parameters
    ----------
    name, short
        As the standard has them; `short` is empty where it has no short form.
    use
        What it is about.
    read, written
        What becomes of it in a song, and what of a song it says; empty where it is passed over, or never written.
    """

    name: str
    short: str
    use: Use
    read: str = ""
    written: str = ""


_ROWS = (
    Directive("title", "t", "head", "title", "title"),
    Directive("sorttitle", "", "look"),
    Directive("subtitle", "st", "head", "source", "source"),
    Directive("artist", "", "head", "composer, where none is named", ""),
    Directive("composer", "", "head", "composer", "composer"),
    Directive("lyricist", "", "head", "source", "source, where it names who wrote the words"),
    Directive("arranger", "", "head", "source", ""),
    Directive("copyright", "", "head", "licence", "licence"),
    Directive("album", "", "look"),
    Directive("year", "", "head", "source", ""),
    Directive("key", "", "head", "key", "key"),
    Directive("time", "", "body", "meter", "meter"),
    Directive("tempo", "", "head", "tempo, pulses a minute", "tempo"),
    Directive("duration", "", "look"),
    Directive("capo", "", "head", "`sounding`: so many semitones higher", ""),
    Directive("meta", "", "head", "as the directive that it names", "instrument and tuning"),
    Directive("comment", "c", "body", "a section's name, if it is one", "the strings"),
    Directive("comment_italic", "ci", "body", "a section's name, if it is one", ""),
    Directive("comment_box", "cb", "body", "a section's name, if it is one", ""),
    Directive("highlight", "", "body", "a section's name, if it is one", ""),
    Directive("image", "", "elsewhere"),
    Directive("start_of_verse", "sov", "body", "a section", "a section"),
    Directive("end_of_verse", "eov", "body", "its end", "its end"),
    Directive("start_of_chorus", "soc", "body", "a section", "a section"),
    Directive("end_of_chorus", "eoc", "body", "its end", "its end"),
    Directive("chorus", "", "body", "the chorus once more", "a chorus just as it was"),
    Directive("start_of_bridge", "sob", "body", "a section", "a section"),
    Directive("end_of_bridge", "eob", "body", "its end", "its end"),
    Directive(
        "start_of_grid", "sog", "body", "bars, repeats, strum patterns", "sections without words, the strum"
    ),
    Directive("end_of_grid", "eog", "body", "its end", "its end"),
    Directive("start_of_tab", "sot", "elsewhere"),
    Directive("end_of_tab", "eot", "elsewhere"),
    Directive("start_of_abc", "", "elsewhere"),
    Directive("end_of_abc", "", "elsewhere"),
    Directive("start_of_ly", "", "elsewhere"),
    Directive("end_of_ly", "", "elsewhere"),
    Directive("start_of_svg", "", "elsewhere"),
    Directive("end_of_svg", "", "elsewhere"),
    Directive("start_of_textblock", "", "elsewhere"),
    Directive("end_of_textblock", "", "elsewhere"),
    Directive("start_of_strum", "", "elsewhere"),
    Directive("end_of_strum", "", "elsewhere"),
    Directive("define", "", "head", "the shape of a chord, of four strings", "the shapes used"),
    Directive("chord", "", "head", "as `define`, where it has frets", ""),
    Directive("transpose", "", "body", "the chords that follow, moved", ""),
    Directive("new_song", "ns", "body", "the next song of a book", ""),
    Directive("diagrams", "", "look"),
    Directive("grid", "g", "look"),
    Directive("no_grid", "ng", "look"),
    Directive("titles", "", "look"),
    Directive("columns", "col", "look"),
    Directive("column_break", "colb", "look"),
    Directive("new_page", "np", "look"),
    Directive("new_physical_page", "npp", "look"),
    Directive("pagetype", "", "look"),
    *(
        Directive(f"{part}{of}", short.get(of, ""), "look")
        for part, short in (
            ("chord", {"font": "cf", "size": "cs"}),
            ("text", {"font": "tf", "size": "ts"}),
            *((each, {}) for each in ("chorus", "footer", "grid", "label", "tab", "title", "toc")),
        )
        for of in ("font", "size", "colour")
    ),
)

DIRECTIVES: dict[str, Directive] = {row.name: row for row in _ROWS}
"""All directives by name; a section of any other name has ``start_of_`` and ``end_of_`` too, and ``x_`` is anyone's."""

_SHORT = {row.short: row for row in _ROWS if row.short}
_OTHER_SPELLINGS = {"su": "subtitle"}

ENVIRONMENTS = ("verse", "chorus", "bridge", "grid")
"""Those of the standard that hold music of ours."""

OWN = "x_tercet_"
"""How directives of our own begin, which other programs pass over."""

_START = re.compile(r"start_of_(\w+)")


def known_directive(name: str) -> Directive | None:
    """Return the directive of a name or short form; None for one that the standard hasn't.

    >>> known_directive("soc").name, known_directive("textcolor").name
    ('start_of_chorus', 'textcolour')
    """
    name = name.casefold()
    found = DIRECTIVES.get(name) or _SHORT.get(name)
    if found is None and name.endswith("color"):
        found = DIRECTIVES.get(f"{name[:-2]}our")
    return found or DIRECTIVES.get(_OTHER_SPELLINGS.get(name, ""))


def environment_of(name: str) -> str:
    """Return what a directive starts a section of; empty for one that starts none.

    >>> environment_of("sob"), environment_of("start_of_intro"), environment_of("title")
    ('bridge', 'intro', '')
    """
    known = known_directive(name)
    match = _START.fullmatch(known.name if known else name.casefold())
    return match[1] if match else ""
