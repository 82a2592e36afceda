"""Reading the value of a setting: a text, one of some words, a number, a speed, yes or no."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from fractions import Fraction
from typing import Any

from tercet.song.frame import Entry, Listing, Node, Text
from tercet.song.grammar import read_number
from tercet.song.mistakes import MistakeBook, SlipError, meant_word
from tercet.song.model import Source
from tercet.theory.limits import SPEED_RANGE, percent_range

__all__ = [
    "SPEED_SCHEMA",
    "in_one_piece",
    "meant_name",
    "note_unknown",
    "note_wrong",
    "number_of",
    "one_of",
    "or_words",
    "place_within",
    "speeds_of",
    "text_of",
    "value_of",
    "words_of",
    "yes_or_no",
]

SPEED_SCHEMA = {"type": ["string", "number"], "pattern": r"^[0-9./]+ ?%?([ ,]+[0-9./]+ ?%?)*$"}


def text_of(node: Node, longest: int = 200) -> str:
    """Return a text of a setting in one line; `SlipError` for a list, for names, and for too long a text."""
    if not isinstance(node, Text):
        kind = "a list" if isinstance(node, Listing) else "names with values"
        raise SlipError(
            f"must be a text (got {kind})", 'put a text that starts with [ or { between quotes: "…"'
        )
    text = " ".join(node.text.split())
    if len(text) > longest:
        raise SlipError(f"must have at most {longest} characters (got {len(text)})", "shorten it")
    return text


def value_of(node: Node, longest: int = 200) -> str:
    """Return a text that can't be empty."""
    text = text_of(node, longest)
    if not text:
        raise SlipError("nothing is written after the colon", "write a value, or leave the setting out")
    return text


def one_of(text: str, known: tuple[str, ...]) -> str:
    """Return the text if it is one of the words known."""
    if text in known:
        return text
    raise SlipError(f"must be {or_words(known)} (got {text})", write=meant_word(text, known) or None)


def or_words(words: tuple[str, ...]) -> str:
    """Return the words as people list them: ``high-g, low-g or baritone``."""
    return f"{', '.join(words[:-1])} or {words[-1]}"


def number_of(text: str) -> Fraction | None:
    """Return the number that a text is, exactly, or None."""
    try:
        return read_number(text)
    except SlipError:
        return None


def place_within(node: Text, start: int, width: int) -> Source:
    """Return the place of a part of a text, or of the whole text where its parts can't be told (several lines)."""
    quote = 1 if node.style in ("'", '"') else 0
    if node.style in ("", "'", '"') and len(node.text) + 2 * quote == node.place.width:
        return Source(node.place.line, node.place.column + quote + start, width)
    return node.place


def words_of(node: Node) -> list[tuple[str, Source]]:
    """Return the words of a list, or of a text with spaces or commas between them, each with its place."""
    if isinstance(node, Listing):
        return [(value_of(item), item.place) for item in node.items]
    value_of(node)
    if not isinstance(node, Text):  # pragma: no cover - not a text: value_of has refused it
        return []
    # A number keeps its sign: 70 % is one word.
    return [
        (" ".join(match[0].split()), place_within(node, match.start(), len(match[0])))
        for match in re.finditer(r"[\d./]+\s*%|[^\s,;]+", node.text)
    ]


def speeds_of(node: Node) -> tuple[Fraction, ...]:
    """Read ``70%``, or several such as ``60% 80% 100%``: parts of the song's tempo, each there once."""
    speeds: list[Fraction] = []
    for word, place in words_of(node):
        try:
            speed = _speed(word, place)
        except SlipError as wrong:
            raise _all_in_percent(node, wrong) from None
        if speed in speeds:
            raise SlipError(f"{word} appears twice", "remove one", place)
        speeds.append(speed)
    if not speeds:
        raise SlipError("no speed is written", "write for instance 70%")
    return tuple(speeds)


def _all_in_percent(node: Node, wrong: SlipError) -> SlipError:
    """Return what is wrong with a speed; of several figures without their sign all are mended at once."""
    words = [word for word, _ in words_of(node)]
    if wrong.write is None or not isinstance(node, Text) or len(words) < 2 or not in_one_piece(node):
        return wrong
    low, high = SPEED_RANGE
    figures = [number_of(word) for word in words]
    if not all(figure is not None and low <= figure / 100 <= high for figure in figures):
        return wrong
    return SlipError(wrong.message, place=node.place, write=" ".join(f"{word}%" for word in words))


def _speed(word: str, place: Source) -> Fraction:
    figure, percent, _ = word.partition("%")
    number = number_of(figure.strip())
    speed = number / 100 if number is not None and percent else number
    low, high = SPEED_RANGE
    if speed is None or not low <= speed <= high:
        apt = number is not None and not percent and low <= number / 100 <= high
        wrong = f"a speed must be {percent_range()} (got {word})"
        if apt:
            raise SlipError(wrong, place=place, write=f"{word}%")
        raise SlipError(wrong, "write for instance 70%", place)
    return speed


def yes_or_no(node: Node) -> bool:
    """Read ``yes`` or ``no``; YAML's other words for them will do."""
    text = value_of(node).casefold()
    if text in ("yes", "true", "on"):
        return True
    if text in ("no", "false", "off"):
        return False
    raise SlipError(f"must be yes or no (got {text})", "write yes, or leave the setting out")


# ---- what is said of a setting that there isn't, and of a value that can't be read


def meant_name(name: str, known: Collection[str], others: Mapping[str, str]) -> str:
    """Return the setting that a name means: itself, another word for it, one that looks like it, or an empty text."""
    return name if name in known else others.get(name.casefold()) or meant_word(name, known)


_INSTEAD = {
    "capo": "for a capo at fret 2 write sounding: 2, and as tuning the strings as it makes them; or let "
    "`tercet transpose` write the chords that sound",
    "transpose": "`tercet transpose` writes the song in another key",
}
"""What to do instead of a setting that people look for."""


def note_unknown(
    entry: Entry,
    known: Collection[str],
    others: Mapping[str, str],
    written: Collection[str],
    book: MistakeBook,
) -> None:
    """Note a setting that there isn't; `written` are those of the file."""
    name = entry.key.text
    meant = meant_name(name, known, others)
    wrong = f"there is no setting `{name[:40]}`"
    if meant and meant not in written:
        book.add(wrong, entry.key.place, write=meant)
    else:
        mend = f"`{meant}` is there already" if meant else _INSTEAD.get(name.casefold())
        mend = mend or "settings are " + ", ".join(known)
        book.add(wrong, entry.key.place, mend=mend)


def note_wrong(
    name: str, read: Callable[[Node], Any], entry: Entry, wrong: SlipError, book: MistakeBook
) -> None:
    """Note a value that can't be read; quotes from a word processor are the likeliest reason."""
    value = entry.value
    if isinstance(value, Text):
        bare = value.text.strip("\"'“”„‘’«» ")
        if bare != value.text:
            try:
                read(Text(bare, "", value.place))
                wrong = SlipError(wrong.message, write=bare)
            except SlipError:
                pass
    if wrong.write is not None and wrong.place is None and not in_one_piece(value):
        wrong = SlipError(wrong.message, f"write {wrong.write}")
    empty = isinstance(value, Text) and not value.text and not value.style
    book.add_slip(wrong, entry.key.place if empty else value.place, name)


def in_one_piece(value: Node) -> bool:
    """Return whether a value's place is all of it, so that something else can be written there."""
    if not isinstance(value, Text) or value.style in ("|", ">"):
        return False
    return value.place.width >= min(len(value.text), 2)
