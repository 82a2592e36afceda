"""The words of a choice of notes: a grammar, what is wrong with a text that it has no place for, and the mend.

``not`` binds closest, then ``and``, then ``or`` (a comma is one), then ``but not``, as in plain speech: ``open, single
but not bar 3`` leaves bar 3 out of both. ``string 1, string 2 and open`` would be read in two ways, so it is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache, lru_cache
from itertools import combinations
from typing import TYPE_CHECKING, Any, get_args

from tercet.song.choice_slips import EXAMPLES, ChoiceError, explained
from tercet.song.note_choice import (
    DIMENSIONS,
    BarsOfSection,
    Both,
    Choice,
    Counted,
    Either,
    Numbered,
    Parity,
    Ranges,
    Unless,
    Word,
    never_together,
)

if TYPE_CHECKING:
    from lark import Lark, Token, Tree
    from lark.exceptions import UnexpectedInput

__all__ = ["LONGEST_CHOICE", "ChoiceError", "parse_choice"]

LONGEST_CHOICE = 300
"""In characters: a choice is one line."""

_MOST_NESTED = 20
_COUNTED: tuple[Counted, ...] = get_args(Counted)
_STRINGS = range(1, 5)

_END = r"(?![\w-])"
_NUMBERS = r"\d{1,5}(\s*[-–]\s*\d{1,5})?(\s*,\s*\d{1,5}(\s*[-–]\s*\d{1,5})?)*"
_NAME = r"[^\W\d_][\w-]*(@(\d{1,5}|last))?"
_ALL_WORDS = [word for words in DIMENSIONS.values() for word in words]
_WORDS = "|".join(word.replace(" ", r"\s+") for word in _ALL_WORDS)
_ONE_WORD = "|".join(word for word in _ALL_WORDS if word.isalpha())
_PLURALS = "|".join((*DIMENSIONS["action"], "chord"))
_GRAMMAR = rf"""
?choice: either (_BUT_NOT either)* -> but_not
?either: both (OR both)*
?both: negated (_AND negated)*
?negated: _NOT negated -> unless
    | WORD -> word
    | COUNTED NUMBERS -> numbered
    | PARITY -> parity
    | COUNTED PLACE -> bars_of
    | _SECTION NAME -> section
    | "(" choice ")" -> bracketed

_BUT_NOT.3: /,?\s*but\s+not{_END}/i
_AND.3: /and{_END}/i
OR.2: /(,\s*)?or{_END}|,/i
_NOT.2: /not{_END}/i
PARITY.2: /(odd|even)\s+(bars|phrases|passes){_END}/i
WORD: /(({_ONE_WORD})\s+(strings?|notes?)(?!\s*\d)|({_PLURALS})s?|{_WORDS}){_END}/i
COUNTED: /(strings?|bars?|phrases?|pass(es)?){_END}/i
_SECTION: /section{_END}/i
PLACE.2: /{_NAME}:\s*{_NUMBERS}/
NAME: /{_NAME}/
NUMBERS: /{_NUMBERS}/
%ignore /\s+/
"""


@cache
def _parser() -> Lark:
    from lark import Lark

    return Lark(
        _GRAMMAR,
        start="choice",
        parser="lalr",
        maybe_placeholders=False,
        propagate_positions=True,
        regex=False,
    )


def parse_choice(text: str) -> Choice:
    """Read a choice of notes.

    Parameters
    ----------
    text
        One line, such as ``open but not strums``, ``strings 1-2``, ``bars verse:3-4``, ``odd phrases and melody``.

    Returns
    -------
    Choice
        Its `str` is the same choice in one spelling.

    Raises
    ------
    ChoiceError
        With the place in the text and the mend.

    Examples
    --------
    >>> str(parse_choice("Open strings, singles but not bar 3"))
    '(open or single) and not bar 3'
    """
    found = _parsed(str(text))  # YAML gives texts that carry more, and what is kept must be plain
    if isinstance(found, ChoiceError):
        raise found.with_traceback(None)
    return found


@lru_cache(maxsize=1024)
def _parsed(text: str) -> Choice | ChoiceError:
    try:
        return _read(text)
    except ChoiceError as wrong:
        return wrong


def _read(text: str) -> Choice:
    from lark.exceptions import UnexpectedInput

    if not text.strip():
        raise ChoiceError(text, "no notes are chosen", 0, 1, f"write for instance {EXAMPLES}")
    if len(text) > LONGEST_CHOICE:
        wrong = f"a choice of notes must have at most {LONGEST_CHOICE} characters (got {len(text)})"
        raise ChoiceError(text[:LONGEST_CHOICE] + "…", wrong, 0, 1, "shorten it")
    if text.count("(") > _MOST_NESTED:
        wrong = f"a choice of notes must have at most {_MOST_NESTED} parentheses"
        raise ChoiceError(text, wrong, 0, 1, "shorten it")
    try:
        tree = _parser().parse(text)
    except UnexpectedInput as error:
        raise explained(text, _place_of(error, text), _can_be_read) from None
    return _Reading(text).choice(tree)


class _Reading:
    """Makes a choice of a parsed text, and says what can't be meant."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._of: dict[str, Callable[[Tree[Token]], Choice]] = {
            "but_not": self._but_not,
            "either": self._either,
            "both": self._both,
            "unless": lambda tree: Unless(*self._parts(tree)),
            "bracketed": lambda tree: self._parts(tree)[0],
            "word": self._word,
            "numbered": self._numbered,
            "parity": self._parity,
            "bars_of": self._bars_of,
            "section": self._section,
        }

    def choice(self, tree: Tree[Token]) -> Choice:
        """Return what a part of the text chooses."""
        return self._of[tree.data](tree)

    def _parts(self, tree: Tree[Token]) -> list[Choice]:
        return [self.choice(child) for child in _subtrees(tree)]

    def _slip(self, start: int, end: int, wrong: str, mend: str) -> ChoiceError:
        return ChoiceError(self._text, wrong, start, end - start, mend)

    def _put(self, start: int, end: int, wrong: str, by: str) -> ChoiceError:
        """Return a slip that other words for a part of the text mend."""
        write = f"{self._text[:start]}{by}{self._text[end:]}"
        return ChoiceError(self._text, wrong, start, end - start, write=write)

    def _but_not(self, tree: Tree[Token]) -> Choice:
        first, *others = self._parts(tree)
        return _joined(Both, [first, *map(Unless, others)])

    def _either(self, tree: Tree[Token]) -> Choice:
        parts = self._parts(tree)
        comma = next(
            (child for child in tree.children if isinstance(child, str) and child.startswith(",")), None
        )
        mixed = next((child for child in _subtrees(tree) if child.data == "both"), None)
        if comma is not None and mixed is not None:
            first, *others = self._parts(mixed)
            raise self._slip(
                mixed.meta.start_pos,
                mixed.meta.end_pos,
                "beside a comma, `and` can mean two things",
                f"write {first} or {' or '.join(map(str, others))} if each is meant, and "
                f"({_joined(Both, [first, *others])}) if only what is both",
            )
        return _joined(Either, parts)

    def _both(self, tree: Tree[Token]) -> Choice:
        parts = self._parts(tree)
        for (one, other), (_, there) in zip(
            combinations(parts, 2), combinations(_subtrees(tree), 2), strict=True
        ):
            if never_together(one, other):
                raise self._slip(
                    there.meta.start_pos,
                    there.meta.end_pos,
                    f"no note is `{one}` and `{other}` at once",
                    f"write {one} or {other}, if both are meant",
                )
        return _joined(Both, parts)

    def _word(self, tree: Tree[Token]) -> Choice:
        text = " ".join(str(tree.children[0]).casefold().split())
        first = text.split()[0]
        for known in (text, first, first.removesuffix("s")):
            if any(known in words for words in DIMENSIONS.values()):
                return Word(known)
        raise AssertionError(f"the grammar has a word more than the table: {text}")  # pragma: no cover

    def _numbered(self, tree: Tree[Token]) -> Choice:
        name, numbers = tree.children
        counted, start = _counted(str(name)), _start_of(numbers)
        ranges = self._ranges(str(numbers), start)
        least = {"string": 1, "bar": 0, "phrase": 1, "pass": 1}[counted]
        if counted == "string" and any(number not in _STRINGS for pair in ranges for number in pair):
            raise self._slip(
                start,
                start + len(str(numbers)),
                f"a string must be 1 (nearest the floor) to 4 (got {numbers})",
                "write for instance strings 1-2",
            )
        if ranges[0][0] < least:
            end = start + len(str(numbers))
            plural = "passes" if counted == "pass" else f"{counted}s"
            raise self._slip(
                start, end, f"{plural} are counted from {least}", f"write for instance {counted} {least}"
            )
        return Numbered(counted, ranges)

    def _parity(self, tree: Tree[Token]) -> Choice:
        which, name = str(tree.children[0]).casefold().split()
        return Parity(_counted(name), which == "odd")

    def _bars_of(self, tree: Tree[Token]) -> Choice:
        name, place = tree.children
        section, _, numbers = str(place).partition(":")
        counted = _counted(str(name))
        if counted != "bar":
            start = _start_of(name)
            wrong = "only bars are counted by section"
            raise self._slip(start, start + len(str(name)), wrong, f"write bars {place}, or {counted} 1")
        return self._in_section(section, _start_of(place), numbers)

    def _section(self, tree: Tree[Token]) -> Choice:
        return self._in_section(str(tree.children[0]), _start_of(tree.children[0]), "")

    def _in_section(self, text: str, start: int, numbers: str) -> Choice:
        name, _, visit = text.partition("@")
        pass_number = None if not visit else -1 if visit == "last" else int(visit)
        if pass_number == 0:
            wrong = "passes are counted from 1"
            raise self._slip(start, start + len(text), wrong, f"write for instance {name}@1")
        ranges = self._ranges(numbers, start + len(text) + 1) if numbers else ()
        return BarsOfSection(name, pass_number, ranges)

    def _ranges(self, text: str, start: int) -> Ranges:
        """Return runs of numbers, rising, those that touch made one."""
        found = []
        for match in re.finditer(r"(\d+)(?:\s*[-–]\s*(\d+))?", text):
            first, last = int(match[1]), int(match[2] or match[1])
            if last < first:
                at = start + match.start()
                end = at + len(match[0])
                raise self._put(at, end, f"{match[0]} ends before it starts", f"{last}-{first}")
            found.append((first, last))
        return _merged(found)


def _merged(ranges: list[tuple[int, int]]) -> Ranges:
    merged: list[tuple[int, int]] = []
    for first, last in sorted(ranges):
        if merged and first <= merged[-1][1] + 1:
            merged[-1] = (merged[-1][0], max(last, merged[-1][1]))
        else:
            merged.append((first, last))
    return tuple(merged)


def _joined(kind: type[Both | Either], parts: list[Choice]) -> Choice:
    """Return the parts joined, a single one as it is; parts that are joined in the same way are taken apart first."""
    flat: list[Choice] = []
    for part in parts:
        flat += part.parts if isinstance(part, kind) else (part,)
    return kind(tuple(flat)) if len(parts) > 1 else parts[0]


def _counted(word: str) -> Counted:
    return next(counted for counted in _COUNTED if word.casefold().startswith(counted))


def _subtrees(tree: Tree[Token]) -> list[Tree[Token]]:
    return [child for child in tree.children if not isinstance(child, str)]


def _start_of(token: Any) -> int:
    return int(token.start_pos)


def _can_be_read(text: str) -> bool:
    from lark.exceptions import UnexpectedInput

    try:
        _Reading(text).choice(_parser().parse(text))
    except (UnexpectedInput, ChoiceError):
        return False
    return True


def _place_of(error: UnexpectedInput, text: str) -> int:
    """Return where reading stopped, from 0; the length of the text at its end."""
    token = getattr(error, "token", None)
    if token is not None:
        return len(text) if token.type == "$END" else int(token.start_pos)
    return int(error.pos_in_stream or 0)
