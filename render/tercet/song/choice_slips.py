"""What people write when they mean a choice of notes: each slip, how to see it, and what to write."""

from __future__ import annotations

import re
from collections.abc import Callable

from tercet.errors import Edit, Mistake, RequestError, shown_mistakes
from tercet.song.mistakes import meant_word
from tercet.song.note_choice import DIMENSIONS

__all__ = ["EXAMPLES", "ChoiceError", "explained"]

EXAMPLES = "open, or melody and not bar 3"


class ChoiceError(RequestError):
    """A choice of notes that can't be read; the message shows it with the slip marked.

    Parameters
    ----------
    text
        The choice as written.
    wrong
        What is wrong, in one sentence.
    start, width
        Which characters of the text, from 0; the width is at least 1.
    mend
        How to mend it, in words; empty when `write` says it.
    write
        The whole choice as it should be, empty when nobody but the writer can know.
    """

    def __init__(
        self, text: str, wrong: str, start: int, width: int, mend: str = "", write: str = ""
    ) -> None:
        self.text = text
        self.wrong = wrong
        self.start = start
        self.width = max(width, 1)
        self.mend = mend
        self.write = write
        edits = (Edit(1, 1, 1, len(text) + 1, write),) if write else ()
        shown = Mistake(wrong, 1, start + 1, "", mend, text, self.width, edits=edits)
        super().__init__(shown_mistakes([shown]).removeprefix("line 1: "))

    def __reduce__(self) -> tuple[type[ChoiceError], tuple[str, str, int, int, str, str]]:
        return ChoiceError, (self.text, self.wrong, self.start, self.width, self.mend, self.write)


_KNOWN = (
    *(word for words in DIMENSIONS.values() for word in words if " " not in word),
    *("string", "strings", "bar", "bars", "phrase", "phrases", "pass", "passes", "section"),
    *("odd", "even", "last", "and", "or", "not", "but"),
)
_OTHER_WORDS = {
    "everything": "all",
    "everybody": "all",
    "none": "nothing",
    "rhythm": "strums",
    "backing": "strums",
    "lead": "melody",
    "singing": "tune",
    "rolled": "roll",
    "alone": "single",
    "picked": "single",
    "stopped": "fretted",
    "pressed": "fretted",
    "chuck": "chop",
    "measure": "bar",
    "measures": "bars",
    "line": "phrase",
    "lines": "phrases",
    "time": "pass",
    "part": "section",
    "unless": "but not",
}


def _swap(pattern: str, by: str) -> Callable[[str], str]:
    compiled = re.compile(pattern, re.IGNORECASE)
    return lambda text: compiled.sub(by, text)


_SLIPS: tuple[tuple[str, str, str], ...] = (
    ("numbers have commas between them", r"(?<=\d)\s*(?:\band\b|\bor\b|&|\+|;|/)\s*(?=\d)", ", "),
    ("a run of numbers has a hyphen", r"(?<=\d)\s*(?:\bto\b|\buntil\b|\bthrough\b|\.{2,}|—|~)\s*(?=\d)", "-"),
    ("the number stands after its word", r"\b(\d)(?:st|nd|rd|th)\s+(string|bar|phrase|pass)\b", r"\2 \1"),
    (
        "a space stands before the number",
        r"\b(string|strings|bar|bars|phrase|phrases|pass|passes)[-_#.]?(?=\d)",
        r"\1 ",
    ),
    ("`string 1` needs no sign", r"\b(strings?|bars?|phrases?|pass|passes)\s*[#:=]\s*(?=\d)", r"\1 "),
    ("notes are taken away by `but not`", r"\b(?:except(?:\s+for)?|without|minus|save)\b", "but not"),
    ("notes are taken away by `but not`", r"\bbut\b(?!\s+not\b)(?:\s+no\b)?", "but not"),
    ("choices are joined by `and`, `or`, `but not`", r"\s*(?:&+|\+)\s*", " and "),
    ("choices are joined by `and`, `or`, `but not`", r"\s*(?:\|+|;|/)\s*", " or "),
    ("what isn't meant follows `not`", r"\bno\b|!", "not "),
    ("quotes have no meaning here", "[\"'“”„‘’«»`]", ""),
    (
        "a section's bars follow its name and a colon",
        r"\b(bars?)\s+(\d[\d–, -]*?)\s+(?:of|in)\s+(\w[\w@-]*)",
        r"\1 \3:\2",
    ),
    ("a section's bars follow its name and a colon", r"\bsection\s+(\w[\w@-]*):", r"bars \1:"),
    (
        "every other one is `odd bars` or `even bars`",
        r"\bevery\s+(?:other|second)\s+(bar|phrase)\b",
        r"even \1s",
    ),
    ("odd and even count bars, phrases or passes", r"\b(odd|even)\s+(bar|phrase)\b", r"\1 \2s"),
    ("odd and even count bars, phrases or passes", r"\b(odd|even)\s+pass\b", r"\1 passes"),
)


def explained(text: str, start: int, can_be_read: Callable[[str], bool]) -> ChoiceError:
    """Return what is wrong with a text that the grammar has no place for, with the nearest mend.

    Parameters
    ----------
    text
        As written.
    start
        Where reading stopped, from 0; the length of the text at its end.
    can_be_read
        Tells of a mended text whether it is a choice.
    """
    word = re.match(r"[\w-]+|\S", text[start:])
    found = word[0] if word else text[start : start + 1]
    for wrong, pattern, by in _SLIPS:
        mended = " ".join(_swap(pattern, by)(text).split())
        if mended != text and can_be_read(mended):
            match = re.search(pattern, text, re.IGNORECASE)
            marked = match[0] if match else found
            at = (match.start() if match else start) + len(marked) - len(marked.lstrip())
            return ChoiceError(text, wrong, at, len(marked.strip()), write=mended)
    if start >= len(text.rstrip()):
        return _unfinished(text)
    wrong, mend, write = _wrong_word(text, start, found, can_be_read)
    return ChoiceError(text, wrong, start, len(found), mend, write)


def _unfinished(text: str) -> ChoiceError:
    bare = text.rstrip()
    words = bare.split()
    last = words[-1].casefold().strip("(),")
    start = len(bare) - len(words[-1])
    if bare.count("(") > bare.count(")"):
        opened = bare.rindex("(")
        return ChoiceError(
            text, "the parenthesis that opens here is never closed", opened, 1, write=f"{bare})"
        )
    if last in ("string", "strings", "bar", "bars", "phrase", "phrases", "pass", "passes"):
        return ChoiceError(
            text, f"`{last}` needs its number", start, len(words[-1]), f"write for instance {bare} 1"
        )
    if last == "section":
        return ChoiceError(
            text, "`section` needs its name", start, len(words[-1]), "write for instance section verse"
        )
    return ChoiceError(
        text,
        f"something is missing after `{words[-1]}`",
        start,
        len(words[-1]),
        f"name notes after it, or remove `{words[-1]}`",
    )


def _wrong_word(
    text: str, start: int, found: str, can_be_read: Callable[[str], bool]
) -> tuple[str, str, str]:
    """Return what is wrong with the word at a place, the mend in words, and the whole choice mended."""
    folded = found.casefold()
    before = next(iter(reversed(text[:start].split())), "").casefold()
    if folded in _SIGNS:
        return *_SIGNS[folded], ""
    if folded in ("odd", "even", "last"):
        counted = "pass" if folded == "last" else "bars"
        return f"`{folded}` needs what it counts", f"write for instance {folded} {counted}", ""
    if folded.isdigit():
        mend = f"write string {found}, bar {found} or phrase {found}"
        return f"`{found}` doesn't say what it counts", mend, ""
    if folded in _KNOWN or folded == "(":
        return _misplaced(text, start, found, before, can_be_read)
    if before in ("bar", "bars") and folded[0].isalpha():
        return (
            f"`{found}` stands where a bar's number is due",
            f"write section {found}, or bars {found}:1-4",
            "",
        )
    close = _OTHER_WORDS.get(folded) or meant_word(folded, _KNOWN)
    write = f"{text[:start]}{close}{text[start + len(found) :]}" if close else ""
    wrong = f"`{found[:40]}` isn't a word for notes"
    if not can_be_read(write):
        return wrong, f"write {close} for {found}" if close else _HOW, ""
    return wrong, "", write


def _misplaced(
    text: str, start: int, found: str, before: str, can_be_read: Callable[[str], bool]
) -> tuple[str, str, str]:
    """Return what is wrong with a known word that stands where it can't, as `_wrong_word` does."""
    if start > 0 and before not in ("and", "or", "not", "but", "(") and not before.endswith(","):
        joins = [join for join in ("and", "or") if can_be_read(f"{text[:start]} {join} {text[start:]}")]
        mend = "write and, or, but not before it"
        if joins:
            mended = " ".join(f"{text[:start]} {joins[0]} {text[start:]}".split())
            mend = f"write for instance {mended}"
        return f"a word that joins is missing before `{found}`", mend, ""
    if found.casefold() == "and" and before.endswith(","):
        return (
            "beside a comma, `and` can mean two things",
            "write or for any of these, and for what is all of them",
            "",
        )
    if found.casefold() in ("and", "or", "but"):
        return f"notes are missing before `{found}`", "name notes before it, or remove it", ""
    return f"`{found}` can't stand here", _HOW, ""


_SIGNS = {
    ")": ("no parenthesis is open here", "remove it, or write ( where it opens"),
    ",": ("a comma stands between two choices", "remove it"),
}
_HOW = (
    "notes are open, fretted, roll, single, strum, chop, melody, between, strums, tune, added, chord, "
    "string 1, bars 5-8, section verse, odd phrases, all; joined by and, or, but not"
)
