"""Things are counted by one function, in all rooms: no message says 1 bars."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tercet.wording import counted, did_you_mean, listed, lookalikes

SOURCES = Path(__file__).resolve().parent.parent / "render"
MODULES = sorted(SOURCES.rglob("*.py"))

THINGS = (
    "bar|beat|chord|file|finger|font|fret|gesture|job|line|mistake|note|page|part|picture|player|pulse|roll|row|section|"
    "semitone|set|slot|song|string|strum|syllable|text|thing|track|tune|verse|voice|word"
)
PLURAL = re.compile(rf"^ (?:[a-z]+ )?(?:{THINGS})s\b")
LIMIT = re.compile(r"MOST|LONGEST|FEWEST|LAST|LOSSES|Number")
"""Numbers of the house's own, none of which is 1."""

SURELY_SEVERAL = {
    *(
        "len(likely)",
        "len(tunes)",
        "left_out",
        "said_tracks",
        "hold",
        "len(sections)",
        "printed",
        "float(beats)",
        "count",
    ),
    *("several", "wanted", "high", "upper", "longest", "len(parts)", "verses.count"),
}
"""What is told of more than one alone."""

NO_COUNT = {
    *(
        "totals.shift_per_bar",
        "sign",
        "others",
        "float(tempo)",
        "max(bars)",
        "where",
        "counts",
        "float(length_beat)",
    ),
    *("'s' if len(bars) > 1 else ''", "'' if len(places) == 1 else 's'", "'s' if len(places) > 1 else ''"),
    *("'s' if len(b_lines) > 1 else ''", "'s' if len(names) == 1 else ''"),
    "'s' if length_beat > 1 or not length_beat else ''",
}
"""Parts of numbers, lengths with fractions, and lists of places: the number doesn't stand before its noun."""


def wrong_counts(source: str) -> Iterator[str]:
    """Yield each place where a text puts a number before a plural, or makes a plural, by itself."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.JoinedStr):
            continue
        for value, after in zip(node.values, [*node.values[1:], None], strict=True):
            if not isinstance(value, ast.FormattedValue):
                continue
            said = ast.unparse(value.value)
            if LIMIT.search(said) or said in SURELY_SEVERAL | NO_COUNT:
                continue
            if isinstance(value.value, ast.IfExp) and {"'s'", "''"} <= {*re.findall(r"'\w?'", said)}:
                yield f"line {node.lineno}: {said}"
            if isinstance(after, ast.Constant) and PLURAL.match(str(after.value)):
                yield f"line {node.lineno}: {said}{str(after.value)[:20]}"


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(SOURCES).as_posix())
def test_numbers_are_counted_by_one_function(path: Path) -> None:
    assert [*wrong_counts(path.read_text("utf-8"))] == []


@pytest.mark.parametrize(
    "wrong",
    [
        "f'{n} bars'",
        "f'there are {len(a)} struck notes'",
        "f\"{n} bar{'s' if n != 1 else ''}\"",
        "f'{a}: {b} files, {c}'",
    ],
)
def test_a_wrong_count_is_seen(wrong: str) -> None:
    assert [*wrong_counts(wrong)]


@pytest.mark.parametrize(("number", "said"), [(0, "0 bars"), (1, "1 bar"), (2, "2 bars")])
def test_counts(number: int, said: str) -> None:
    assert counted(number, "bar") == said


def test_sentences() -> None:
    assert [listed(["a", "b", "c"][:count], "or") for count in range(4)] == ["", "a", "a or b", "a, b or c"]
    assert (did_you_mean(()), did_you_mean(["a", "b"])) == ("", "; did you mean a or b?")
    assert lookalikes("HARBOR", ["harbour", "kettle"]) == ("harbour",)
    assert lookalikes("waltz", ["harbour", "kettle"]) == ()
