"""What is unprintable, and that nothing of it is left where it could do harm."""

from __future__ import annotations

import json
import unicodedata
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.printable import UNPRINTABLE, visible, visible_json, visible_line
from tests.unprintable import HARMFUL

HARMLESS = {
    "line end": "\n",
    "tab": "\t",
    "joiner of Persian and emoji": "\u200d",
    "mark of direction": "\u200f",
    "no-break space": "\xa0",
    "soft hyphen": "\xad",
    "Hebrew": "שיר",
    "beyond the first plane": "𝄞",
    "private use": "\ue000",
    "replacement": "�",
}


@pytest.mark.parametrize("name", HARMFUL)
def test_what_does_harm_is_seen(name: str) -> None:
    assert UNPRINTABLE.search(HARMFUL[name])
    assert visible(f"a{HARMFUL[name]}b") == "a�b"


@pytest.mark.parametrize("name", HARMLESS)
def test_what_people_write_stays(name: str) -> None:
    assert not UNPRINTABLE.search(HARMLESS[name])
    assert visible(f"a{HARMLESS[name]}b") == f"a{HARMLESS[name]}b"


def test_line_ends_that_only_some_programs_know_are_for_no_terminal() -> None:
    assert visible("a\x85b\u2028c\u2029d") == "a�b�c�d"


def test_a_name_is_one_line() -> None:
    assert visible_line("song\n2 mistakes\t.yaml") == "song�2 mistakes�.yaml"


@given(st.text(st.characters(), max_size=40))
def test_what_is_visible_is_text_everywhere(text: str) -> None:
    """Every Unicode file, XML document and terminal takes it; what was visible stays as it was."""
    shown = visible(text)
    shown.encode("utf-8")
    assert ET.fromstring(f"<a>{shown.translate({38: None, 60: None})}</a>") is not None
    assert not any(unicodedata.category(sign) in ("Cc", "Cs") for sign in shown if sign not in "\t\n")
    assert visible(shown) == shown
    assert [after for before, after in zip(text, shown, strict=True) if after not in (before, "�")] == []


@given(st.recursive(st.text(st.characters(exclude_categories=())), lambda inner: st.lists(inner, max_size=3)))
def test_json_says_the_same(facts: object) -> None:
    shown = visible_json(json.dumps(facts, ensure_ascii=False))
    assert visible(shown) == shown
    assert json.loads(shown) == json.loads(json.dumps(facts))
