"""What is said of a setting that there isn't, and of a value that can't be read."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

from tercet.song.frame import Entry, Node, Text
from tercet.song.mistakes import MistakeBook, SlipError, nearest

__all__ = ["meant_name", "note_unknown", "note_wrong"]


def meant_name(name: str, known: Collection[str], others: Mapping[str, str]) -> str:
    """Return the setting that a name means: itself, another word for it, one that looks like it, or an empty text."""
    return name if name in known else others.get(name.casefold()) or nearest(name, known)


def note_unknown(entry: Entry, known: Collection[str], others: Mapping[str, str], book: MistakeBook) -> None:
    """Note a setting that there isn't."""
    name = entry.key.text
    meant = meant_name(name, known, others)
    mend = f"write {meant}:" if meant else "settings are " + ", ".join(known)
    book.add(f"there is no setting `{name[:40]}`", entry.key.place, mend=mend)


def note_wrong(
    name: str, read: Callable[[Node], Any], entry: Entry, wrong: SlipError, book: MistakeBook
) -> None:
    """Note a value that can't be read; quotes from a word processor are the likeliest reason."""
    mend = wrong.mend
    value = entry.value
    if isinstance(value, Text):
        bare = value.text.strip("\"'“”„‘’«» ")
        if bare != value.text:
            try:
                read(Text(bare, "", value.place))
                mend = f"write {bare}, without the quotes"
            except SlipError:
                pass
    empty = isinstance(value, Text) and not value.text and not value.style
    place = entry.key.place if empty else value.place
    book.add(wrong.message, wrong.place or place, name, mend)
