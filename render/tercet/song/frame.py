"""The frame of an arrangement file: YAML read into a small tree that remembers where everything stands.

Only what an arrangement file needs of YAML is let through: mappings, lists and texts. Aliases, anchors, tags,
several documents and deep nesting are refused as soon as the parser meets them, before anything is built.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, NoReturn

from tercet.errors import Edit
from tercet.printable import UNPRINTABLE, visible
from tercet.song.blocks import MeantLines, lines_as_meant
from tercet.song.mistakes import MistakeBook, SlipError
from tercet.song.model import Source
from tercet.song.setting_lines import note_setting_lines

__all__ = ["BodyLine", "Entry", "Listing", "Mapping", "Node", "Text", "read_frame"]

_DEEPEST = 12
_MOST_EVENTS = 5000
"""More than any song needs; reading so many takes about 0.2 s."""


@dataclass(frozen=True, slots=True)
class BodyLine:
    """One line of a block: its number in the file and its text, indentation included."""

    number: int
    text: str


@dataclass(frozen=True, slots=True)
class Text:
    """A text. `style` is empty when it is plain, else a quote, ``|`` or ``>``; `body` holds a block's lines."""

    text: str
    style: str
    place: Source
    body: tuple[BodyLine, ...] = ()


@dataclass(frozen=True, slots=True)
class Listing:
    """A list of nodes."""

    items: tuple[Node, ...]
    place: Source


@dataclass(frozen=True, slots=True)
class Entry:
    """A key and its value."""

    key: Text
    value: Node


@dataclass(frozen=True, slots=True)
class Mapping:
    """Keys and values, in the order written; a key that is written twice is there once."""

    entries: tuple[Entry, ...]
    place: Source


Node = Text | Listing | Mapping


class _RefusedError(Exception):
    """The file is noted as unreadable; nothing more is read."""


def read_frame(book: MistakeBook, names: dict[str, str]) -> Mapping:
    """Read the book's lines as YAML; `SongError` when they can't be.

    Slips that leave the rest readable are noted in the book.

    Parameters
    ----------
    book
        Holds the lines.
    names
        What settings are called, written small, with all other words for them.
    """
    slips = note_setting_lines(book.lines, names, book)
    meant = lines_as_meant(book.lines, book)
    if meant is None or slips:
        raise book.error()
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError

    try:
        events = YAML(typ="safe", pure=True).parse("\n".join(meant.lines))
        return _TreeBuilder(events, meant, book).document()
    except _RefusedError:
        pass
    except MarkedYAMLError as error:
        _note_yaml_error(error, book)
    except Exception as error:  # noqa: BLE001 - the YAML library raises many kinds on odd input: all mean this
        book.add(f"this file can't be read ({error})", mend=_GENERAL_MEND)
    raise book.error()


class _TreeBuilder:
    """Turns the parser's events into nodes, refusing what an arrangement file doesn't use."""

    def __init__(self, events: Iterator[Any], meant: MeantLines, book: MistakeBook) -> None:
        self._events = events
        self._meant = meant
        self._book = book
        self._seen = 0

    def document(self) -> Mapping:
        """Return the top mapping of the only document."""
        self._next()
        event = self._next()
        if _kind(event) != "DocumentStart":
            self._refuse("the file is empty", Source(0, 0), self._book.kind.start)
        node = self._node(self._next(), 1)
        self._next()
        after = self._next()
        if _kind(after) == "DocumentStart":
            self._refuse(
                "a second file starts within this one",
                _place(after),
                f"{self._book.kind.apart}, and leave out lines with only ---",
            )
        if not isinstance(node, Mapping):
            empty = isinstance(node, Text) and not node.text
            self._refuse(
                "the file is empty"
                if empty
                else f"the file doesn't start with a setting such as `{self._book.kind.first}: …`",
                Source(0, 0) if empty else node.place,
                self._book.kind.start,
            )
        return node

    def _refuse(self, message: str, place: Source, mend: str, edits: tuple[Edit, ...] = ()) -> NoReturn:
        self._book.add(message, place, mend="" if edits else mend, edits=edits)
        raise _RefusedError

    def _next(self) -> Any:
        self._seen += 1
        event = next(self._events)
        if self._seen > _MOST_EVENTS:
            self._refuse(
                f"the file holds far more values than {self._book.kind.holds} needs",
                _place(event),
                "shorten it",
            )
        sign = _reserved_sign(event)
        if sign:
            line = event.start_mark.line
            self._refuse(
                f"`{self._written(event)}` can't stand here: a value starts with {sign} only between quotes",
                _place(event),
                f'put quotes around a text: "{sign}…"',
                _quoted_text(line, self._book.lines[line]),
            )
        return event

    def _written(self, event: Any) -> str:
        """Return the first word at the event's place, as it stands in the file."""
        mark = event.start_mark
        words = self._book.lines[mark.line][mark.column :].split()
        return str(words[0])[:40] if words else ""

    def _node(self, event: Any, depth: int) -> Node:
        kind = _kind(event)
        if depth > _DEEPEST:
            self._refuse(
                f"values are nested more than {_DEEPEST} deep", _place(event), "no setting needs that"
            )
        if kind == "Scalar":
            return self._text(event)
        if kind == "SequenceStart":
            items = []
            while _kind(inner := self._next()) != "SequenceEnd":
                items.append(self._node(inner, depth + 1))
            return Listing(tuple(items), _whole_place(event, inner))
        return self._mapping(event, depth)

    def _mapping(self, event: Any, depth: int) -> Mapping:
        entries: dict[str, Entry] = {}
        while _kind(inner := self._next()) != "MappingEnd":
            key = _in_one_line(self._node(inner, depth + 1))
            value = self._node(self._next(), depth + 1)
            if not isinstance(key, Text):
                self._book.add("a name must be a plain word", key.place, mend="write `name: value`")
            elif key.text in entries:
                first = entries[key.text].key.place.line
                self._book.add(
                    f"`{key.text}` is written twice (first on line {first})",
                    key.place,
                    mend="keep one of them" if depth == 1 else "keep one of them, or give it another name",
                )
            else:
                entries[key.text] = Entry(key, value)
        return Mapping(tuple(entries.values()), _whole_place(event, inner))

    def _text(self, event: Any) -> Text:
        body: tuple[BodyLine, ...] = ()
        style = event.style or ""
        text = event.value
        if style in ("|", ">"):
            header = event.start_mark.line
            start, end = self._meant.blocks.get(header, (header + 1, event.end_mark.line))
            body = tuple(BodyLine(index + 1, self._book.lines[index]) for index in range(start, end))
        elif not style and text in ("~", "null", "Null", "NULL"):
            text = ""
        return Text(self._printable(text, _place(event)), style, _place(event), body)

    def _printable(self, text: str, place: Source) -> str:
        """Return a text without what its escapes hide from `check_characters`; note it."""
        hidden = UNPRINTABLE.search(text)
        if hidden is None:
            return text
        half = "\ud800" <= hidden[0] <= "\udfff"
        match = _SINGLE_QUOTES.fullmatch(self._book.lines[place.line - 1])
        is_path = match is not None and re.match(r"[A-Za-z]:\\", match[2]) is not None
        self._book.add(
            f"\\ makes a character here that can't be printed (U+{ord(hidden[0]):04X})",
            place,
            mend="" if is_path else "write the sign itself" if half else _NO_ESCAPES,
            write=f"'{match[2]}'" if match and is_path else None,
        )
        return visible(text)


def _reserved_sign(event: Any) -> str:
    """Return the sign by which YAML names, repeats or types a value: a song needs none of that."""
    if _kind(event) == "Alias":
        return "*"
    return "&" if getattr(event, "anchor", None) else "!" if getattr(event, "tag", None) else ""


def _in_one_line(key: Node) -> Node:
    """Return a name with what its escapes made of lines and tabs as single spaces."""
    return replace(key, text=" ".join(key.text.split())) if isinstance(key, Text) else key


def _kind(event: Any) -> str:
    return type(event).__name__.removesuffix("Event")


def _place(event: Any) -> Source:
    start, end = event.start_mark, event.end_mark
    width = end.column - start.column if end.line == start.line else 1
    return Source(start.line + 1, start.column + 1, max(width, 1))


def _whole_place(opens: Any, closes: Any) -> Source:
    """Return the place of what stands between brackets; for a list or names without them where they start."""
    place = _place(opens)
    in_brackets = opens.flow_style and opens.start_mark.line == closes.end_mark.line
    return replace(place, width=closes.end_mark.column - opens.start_mark.column) if in_brackets else place


_NOWHERE = Source(0, 0)
_NO_ESCAPES = "between double quotes, \\ has a special meaning: use single quotes, or write \\\\"
_GENERAL_MEND = (
    "a setting is written `name: value` from column 1; put a text that holds : or # or starts with a sign "
    'between quotes: "…"'
)
_YAML_ERRORS: tuple[tuple[str, bool, str, str], ...] = (
    # part of the library's text, whether its context tells the place, what is wrong, the mend
    (
        "mapping values are not allowed here",
        False,
        "there is a second colon in this line",
        'put the text that holds a colon between quotes: title: "One: two"',
    ),
    (
        "could not find expected ':'",
        True,
        "a colon is missing after the name",
        "a setting is written `name: value`; the rows of a section stand under `name: |`, further in",
    ),
    (
        "while scanning a quoted scalar",
        True,
        "the quote that opens here is never closed",
        "close it, or leave quotes out where the text is plain",
    ),
    (
        "unknown escape character",
        False,
        "inside double quotes, \\ has a special meaning",
        "use single quotes, or write \\\\",
    ),
    (
        "while parsing a flow sequence",
        True,
        "the list that opens here isn't closed, or lacks a comma",
        "write [one, two, three]",
    ),
    (
        "while parsing a flow mapping",
        True,
        "the braces that open here aren't closed, or lack a comma",
        "write {melody: f, between: mp, strums: p}",
    ),
    (
        "a comment or a line break",
        False,
        "after | or > nothing more stands in the line",
        'put the rows on the lines below; a text that starts with | or > goes between quotes: "|…"',
    ),
    (
        "indentation indicator",
        False,
        "after | or > nothing more stands in the line",
        'put the rows on the lines below; a text that starts with | or > goes between quotes: "|…"',
    ),
    *(
        (part, False, "a text can't start with this sign", 'put the whole text between quotes: "…"')
        for part in (
            "that cannot start any token",
            "the node content",
            "keys are not allowed here",
            "entries are not allowed here",
            "alphabetic or numeric",
            "undefined tag",
            "URI",
            "expected ' '",
        )
    ),
    (
        "after document end marker",
        False,
        "the file goes on after ...",
        "remove the line with ...",
    ),
    (
        "<document start>",
        False,
        "this line doesn't belong to what stands above it",
        "{one} is settings, `name: value`, from its first line on",
    ),
    (
        "expected <block end>",
        False,
        "this line doesn't belong to what stands above it",
        "settings start in column 1; section names stand two further in, their rows four",
    ),
)


def _note_yaml_error(error: Any, book: MistakeBook) -> None:
    told = f"{error.context or ''} {error.problem or ''}"
    mark = error.problem_mark or error.context_mark
    message, mend = f"this line can't be read: {error.problem or error}", _GENERAL_MEND
    for part, use_context, meaning, how in _YAML_ERRORS:
        if part in told:
            message, mend = meaning, how
            mark = (error.context_mark if use_context else None) or mark
            break
    if mark and "mapping values" in told:
        slip = _slip_before_colon(mark.line, mark.column, book)
        if slip is not None:
            book.add_slip(slip, _NOWHERE)
            return
    place = Source(min(mark.line + 1, len(book.lines)), mark.column + 1) if mark else Source(0, 0)
    edits = _edits_for(told, place, book.lines[place.line - 1]) if mark else ()
    book.add(message, place, mend="" if edits else mend.replace("{one}", book.kind.one), edits=edits)


_FREE_TEXT = re.compile(r"(\s*(?:title|composer|from|licence|name|purpose):\s+)([^\s\"'].*?)\s*")
_SINGLE_QUOTES = re.compile(r"(\s*[\w-]+:\s+)\"([^\"']*)\"\s*")


def _quoted_text(index: int, line: str) -> tuple[Edit, ...]:
    """Return the edit that puts quotes around the text of a setting that may hold any text; none for others."""
    match = _FREE_TEXT.fullmatch(line)
    if match is None:
        return ()
    text = match[2].strip("“”„‟«»")
    quoted = "'" + text.replace("'", "''") + "'" if re.search(r'["\\]', text) else f'"{text}"'
    return (Edit(index + 1, match.start(2) + 1, index + 1, match.end(2) + 1, quoted),)


def _edits_for(told: str, place: Source, line: str) -> tuple[Edit, ...]:
    """Return the edits that mend what the YAML library stumbled over, where only one thing can be meant."""
    rest = line[place.column - 1 :].rstrip()
    end = place.column + len(rest)
    if "quoted scalar" in told and "escape" not in told and rest.count(rest[:1]) == 1:
        return (Edit(place.line, end, place.line, end, rest[0]),)
    if "escape character" in told and (match := _SINGLE_QUOTES.fullmatch(line)):
        return (Edit(place.line, match.end(1) + 1, place.line, match.end(2) + 2, f"'{match[2]}'"),)
    if "could not find expected ':'" in told and len(words := rest.split()) > 1:
        after = place.column + len(words[0])
        return (Edit(place.line, after, place.line, after, ":"),)
    for part, opens, closes in (("flow sequence", "[", "]"), ("flow mapping", "{", "}")):
        if (
            part in told
            and rest.count(opens) == 1
            and closes not in rest
            and not re.search(r"[,#]\s*$", rest)
        ):
            return (Edit(place.line, end, place.line, end, closes),)
    signs = (
        "mapping values",
        "cannot start any token",
        "node content",
        "entries are not allowed",
        "keys are not",
    )
    return _quoted_text(place.line - 1, line) if any(part in told for part in signs) else ()


def _slip_before_colon(line: int, column: int, book: MistakeBook) -> SlipError | None:
    """Return the slip when a colon surprises YAML, though it is the first of its line."""
    text = book.lines[line]
    before = line - 1
    while before >= 0 and not book.lines[before].strip():
        before -= 1
    if ":" in text[:column] or before < 0:
        return None
    above = book.lines[before]
    if ":" not in above:
        word = above.split()[0]
        place = Source(before + 1, above.index(word) + 1, len(word))
        after = place.column + place.width
        colon = Edit(place.line, after, place.line, after, ":")
        return SlipError("a colon is missing after the name", "", place, edits=(colon,))
    word = text.split()[0]
    place = Source(line + 1, text.index(word) + 1, len(word))
    wrong = "this line stands further in than the setting above it"
    indent = " " * (len(above) - len(above.lstrip()))
    return SlipError(
        wrong,
        "start both in the same column",
        place,
        edits=(Edit(line + 1, 1, line + 1, place.column, indent),),
    )
