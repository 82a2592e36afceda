"""What stands in quotes above the notes of ABC: a chord, an instruction, the name of a section, or words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tercet.exchange.abc.text import plain_text
from tercet.exchange.chord_names import NamedChord, read_chord_name
from tercet.exchange.directions import jumps_of_words, mark_of_words, names_section
from tercet.song import MarkKind
from tercet.theory.chords import ChordNameError

__all__ = ["Quoted", "read_quoted"]

_ANNOTATION = tuple("^_<>@")
_NO_CHORD = re.compile(r"n\.?\s?c\.?|no chord", re.IGNORECASE)
_PLACE = re.compile(r"@-?[0-9.]*,?\s*-?[0-9.]*\s*")
_SEVERAL = re.compile(r"[;\n|]|\s+|,\s*|\s*/\s+")


@dataclass(frozen=True, slots=True)
class Quoted:
    """What a text above the notes says: one of these, or nothing that a song can hold.

    Parameters
    ----------
    chord, no_chord
        A chord symbol, or N.C.
    mark, jumps, section
        *rit.* and the like, where to go on, the name of a section.
    remark
        What is lost, in a sentence; empty when nothing is.
    """

    chord: NamedChord | None = None
    no_chord: bool = False
    mark: MarkKind | None = None
    jumps: tuple[str, ...] = ()
    section: str = ""
    remark: str = ""


def read_quoted(text: str) -> Quoted:
    """Read a text without its quotes.

    >>> str(read_quoted("A/c#").chord.chord), read_quoted("^D.C. al Fine").jumps, read_quoted("G;D").remark
    ('A/C#', ('da_capo',), 'above the notes stands “G;D”: the first of these chords is kept')
    """
    shown = plain_text(text.strip())
    if not shown:
        return Quoted()
    if shown.startswith(_ANNOTATION):
        words = _PLACE.sub("", shown, count=1) if shown[0] == "@" else shown[1:]
        return _words(words.strip(), f"the annotation “{words.strip()[:40]}” is left out")
    name = re.sub(r"^\$\d|[*!?]+$", "", shown).strip()
    if _NO_CHORD.fullmatch(name):
        return Quoted(no_chord=True)
    chord = _chord(name)
    if chord is not None:
        return Quoted(chord=chord, remark=_nearest(shown, chord))
    parts = [part for part in _SEVERAL.split(re.sub(r"[()\[\]]", " ", name).strip()) if part]
    chords = [_chord(part) for part in parts]
    if len(parts) > 1 and chords[0] is not None and None not in chords:
        first = f"above the notes stands “{shown[:30]}”: the first of these chords is kept"
        return Quoted(chord=chords[0], remark=first)
    return _words(shown, f"“{shown[:30]}” above the notes isn't a chord, and is left out")


def _words(words: str, lost: str) -> Quoted:
    kind = mark_of_words(words)
    if kind:
        return Quoted(mark=kind)
    jumps = jumps_of_words(words)
    if jumps:
        return Quoted(jumps=jumps)
    if names_section(words):
        return Quoted(section=words)
    return Quoted(remark=lost if words else "")


def _chord(name: str) -> NamedChord | None:
    """Return the chord of a name, its root or bass written small or all of it in brackets too."""
    for opening, closing in ("()", "[]"):
        if name.startswith(opening) and name.endswith(closing) and opening not in name[1:]:
            name = name[1:-1].strip()
    name = re.sub(r"/([a-g])(?=[#b♯♭]?$)", lambda found: found[0].upper(), name)
    name = re.sub(r"^[a-g](?=[#b♯♭]?m(?!aj))", lambda found: found[0].upper(), name)
    try:
        return read_chord_name(name)
    except ChordNameError:
        return None


def _nearest(shown: str, chord: NamedChord) -> str:
    return "" if chord.exact else f"chord symbol {shown[:30]} became {chord.chord}"
