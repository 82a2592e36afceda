"""A choice of notes: what each word picks, the laws of and, or and not, and one spelling that reads as the same."""

from __future__ import annotations

import pickle
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.song.choice_words import LONGEST_CHOICE, parse_choice
from tercet.song.note_choice import (
    DIMENSIONS,
    BarsOfSection,
    Both,
    Choice,
    Either,
    NoteFacts,
    Numbered,
    Unless,
    Word,
    never_together,
    parts_of,
)
from tests.strategies import choices, note_facts

NOTE = NoteFacts(
    layer="melody",
    string=2,
    fret=0,
    action="roll",
    part="tune",
    bar_number=6,
    section="verse",
    section_bar=2,
    pass_number=2,
    last_pass=True,
    phrase=3,
)
STRUM = replace(NOTE, layer="strums", action="strum", part="chord", fret=2, string=4, last_pass=False)


@pytest.mark.parametrize(
    "text",
    [
        *("all", "melody", "tune", "roll", "open", "last pass", "string 2", "strings 1-2", "strings 2, 4"),
        *(
            "bar 6",
            "bars 1, 5-8",
            "even bars",
            "phrase 3",
            "phrases 1-3",
            "odd phrases",
            "pass 2",
            "even passes",
        ),
        *("section verse", "section verse@2", "section verse@last", "bar verse:2", "bars verse@2:1-2"),
        *("open and melody", "fretted or roll", "not strums", "all but not strums", "between, roll"),
        "(open or fretted) and not (strums or string 1)",
    ],
)
def test_picked(text: str) -> None:
    assert parse_choice(text).picks(NOTE)


@pytest.mark.parametrize(
    "text",
    [
        *("nothing", "strums", "between", "added", "chord", "single", "strum", "chop", "fretted"),
        *(
            "string 1",
            "strings 1, 3-4",
            "bar 5",
            "bars 1-5, 7",
            "odd bars",
            "phrase 2",
            "even phrases",
            "pass 1",
        ),
        *("odd passes", "section chorus", "section verse@1", "bar verse:3", "bar verse@1:2", "bar chorus:2"),
        *("open and strums", "fretted or single", "not melody", "melody but not open", "not not strums"),
    ],
)
def test_not_picked(text: str) -> None:
    assert not parse_choice(text).picks(NOTE)


def test_a_pass_that_is_not_the_last() -> None:
    assert not parse_choice("last pass").picks(STRUM)
    assert not parse_choice("section verse@last").picks(STRUM)
    assert parse_choice("strum and fretted and string 4 and chord").picks(STRUM)


@pytest.mark.parametrize("dimension", [name for name in DIMENSIONS if name not in ("any", "last")])
@given(note=note_facts)
def test_the_words_of_a_kind_share_the_notes_out(dimension: str, note: NoteFacts) -> None:
    assert sum(Word(word).picks(note) for word in DIMENSIONS[dimension]) == 1


@given(choice=choices)
def test_what_is_written_reads_as_the_same(choice: Choice) -> None:
    text = str(choice)
    if len(text) <= LONGEST_CHOICE:
        assert parse_choice(text) == choice
        if "section" not in text and ":" not in text:
            assert parse_choice(text.upper()) == choice


@given(choice=choices, note=note_facts)
def test_not(choice: Choice, note: NoteFacts) -> None:
    assert Unless(choice).picks(note) is not choice.picks(note)


@given(one=choices, other=choices, note=note_facts)
def test_laws_of_and_and_or(one: Choice, other: Choice, note: NoteFacts) -> None:
    assert Both((one, other)).picks(note) == (one.picks(note) and other.picks(note))
    assert Either((one, other)).picks(note) == (one.picks(note) or other.picks(note))
    neither = Unless(Either((one, other)))
    assert neither.picks(note) == Both((Unless(one), Unless(other))).picks(note)
    assert Unless(Both((one, other))).picks(note) == Either((Unless(one), Unless(other))).picks(note)


@given(one=choices, two=choices, three=choices, note=note_facts)
def test_how_words_bind(one: Choice, two: Choice, three: Choice, note: NoteFacts) -> None:
    """`not` binds closest, then `and`, then `or`, then `but not`."""

    def picks(choice: Choice) -> bool:
        return choice.picks(note)

    parts = [f"({part})" for part in (one, two, three)]
    if sum(map(len, parts)) > LONGEST_CHOICE - 20 or never_together(two, three):
        return  # too long to write, or refused as no note is both
    first, second, third = parts
    assert picks(parse_choice(f"{first} or {second} and {third}")) == (
        picks(one) or (picks(two) and picks(three))
    )
    unless = picks(parse_choice(f"{first}, {second} but not {third}"))
    assert unless == ((picks(one) or picks(two)) and not picks(three))
    unless = picks(parse_choice(f"{first} but not {second} or {third}"))
    assert unless == (picks(one) and not (picks(two) or picks(three)))
    assert picks(parse_choice(f"not {first} and {second}")) == (not picks(one) and picks(two))


@given(one=choices, other=choices, note=note_facts)
def test_what_excludes_each_other_never_picks_one_note(one: Choice, other: Choice, note: NoteFacts) -> None:
    if never_together(one, other):
        assert not (one.picks(note) and other.picks(note))


@given(choice=choices)
def test_values(choice: Choice) -> None:
    assert pickle.loads(pickle.dumps(choice)) == choice  # noqa: S301 - pickled a moment ago
    assert hash(pickle.loads(pickle.dumps(choice))) == hash(choice)  # noqa: S301
    assert next(parts_of(choice)) == choice


def test_parts() -> None:
    choice = parse_choice("open and not (bar 3 or section verse)")
    assert list(map(str, parts_of(choice)))[3:] == ["bar 3 or section verse", "bar 3", "section verse"]


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("Open Strings", "open"),
        ("single notes, chops", "single or chop"),
        ("strings 3,1,2", "strings 1-3"),
        ("bars 7–8, 1", "bars 1, 7-8"),
        ("string 2-2", "string 2"),
        ("bar verse@last: 3", "bar verse@last:3"),
        ("all, but not strums", "all and not strums"),
        ("((open))", "open"),
        ("open or (single or (chop))", "open or single or chop"),
        ("open and (melody and bar 3)", "open and melody and bar 3"),
        ("  melody\tand\u00a0open ", "melody and open"),
        ("section or or section and", "section or or section and"),
    ],
)
def test_one_spelling(text: str, written: str) -> None:
    assert str(parse_choice(text)) == written


@given(numbers=st.lists(st.integers(1, 4), min_size=1, max_size=5))
def test_numbers_in_any_order(numbers: list[int]) -> None:
    choice = parse_choice("strings " + ", ".join(map(str, numbers)))
    assert isinstance(choice, Numbered)
    assert {string for string in range(1, 5) if choice.picks(replace(NOTE, string=string))} == set(numbers)


def test_a_section_without_bars_takes_its_pick_up_too() -> None:
    assert BarsOfSection("verse").picks(replace(NOTE, section_bar=0))
    assert not BarsOfSection("verse", None, ((1, 9),)).picks(replace(NOTE, section_bar=0))
