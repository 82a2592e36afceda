"""Each mistake's edits, applied to the text of its file, mend it: from what `tercet check --json` says alone."""

from __future__ import annotations

import json
import sys
from collections import Counter

import pytest

from tercet.errors import SongError
from tercet.song import parse_song
from tests.remake_goldens import MALFORMED
from tests.song.editor import Facts, edited


def facts_of(text: str) -> list[Facts]:
    """Return the mistakes of a text as JSON tells them."""
    try:
        parse_song(text)
    except SongError as error:
        facts: list[Facts] = json.loads(json.dumps([each.as_json() for each in error.mistakes]))
        return facts
    return []


def names(facts: list[Facts]) -> Counter[str]:
    """Return what the mistakes are, without their lines: an edit may add some above."""
    return Counter(f"{each['section']} {each['bar']} {each['row']}: {each['message']}" for each in facts)


def all_edits(facts: list[Facts]) -> list[Facts]:
    """Return the edits of all mistakes, those that several share once."""
    return [json.loads(edit) for edit in {json.dumps(edit) for each in facts for edit in each["edits"]}]


FILES = {path.stem: path.read_text(encoding="utf-8") for path in sorted(MALFORMED.glob("*.yaml"))}
WITH_EDITS = {name: text for name, text in FILES.items() if all_edits(facts_of(text))}
WHOLE = {name: text for name, text in WITH_EDITS.items() if all(each["edits"] for each in facts_of(text))}


def test_many_mistakes_have_edits() -> None:
    count, whole = len(WITH_EDITS), len(WHOLE)
    sys.stdout.write(f"{count} of {len(FILES)} malformed files have edits, {whole} for all their mistakes\n")
    assert len(WITH_EDITS) >= 70
    assert len(WHOLE) >= 44


@pytest.mark.parametrize("name", WITH_EDITS)
def test_each_mend_by_itself(name: str) -> None:
    text = FILES[name]
    before = facts_of(text)
    for mistake in before:
        if mistake["edits"]:
            after = names(facts_of(edited(text, mistake["edits"])))
            (told,) = names([mistake])
            assert after[told] < names(before)[told], edited(text, mistake["edits"])


@pytest.mark.parametrize("name", WHOLE)
def test_all_mends_at_once(name: str) -> None:
    """One go is enough, but for slips that keep the lines below from being read: those hide others."""
    text = FILES[name]
    first = names(facts_of(text))
    for _ in range(3):
        text = edited(text, all_edits(facts_of(text)))
        assert not first & names(facts_of(text)), text
    assert facts_of(text) == [], text


@pytest.mark.parametrize("name", FILES)
def test_edits_stand_within_the_text(name: str) -> None:
    lines = FILES[name].split("\n")
    for mistake in facts_of(FILES[name]):
        assert mistake["mend"] or mistake["edits"] or mistake["message"]
        for edit in mistake["edits"]:
            start, end = (edit["line"], edit["column"]), (edit["end_line"], edit["end_column"])
            assert (1, 1) <= start <= end
            assert edit["end_line"] <= len(lines)
            assert edit["end_column"] <= len(lines[edit["end_line"] - 1]) + 1
            assert mistake["mend"] or start[0] == end[0] == mistake["line"], (
                "what is shown can't hold this edit"
            )
