"""Choices of notes that can't be read: what is said, what is marked, and that the mend can be read."""

from __future__ import annotations

import pickle
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.errors import RequestError
from tercet.song.choice_words import LONGEST_CHOICE, ChoiceError, _parsed, parse_choice
from tercet.song.note_choice import Choice
from tests.strategies import choices, slips


def wrong(text: str) -> ChoiceError:
    with pytest.raises(ChoiceError, match=r"»|no notes") as caught:
        parse_choice(text)
    return caught.value


MENDED = [
    # the text, what is marked, a part of what is said, the text as mended
    ("opn", "opn", "isn't a word for notes", "open"),
    ("rhythm", "rhythm", "isn't a word for notes", "strums"),
    ("everything", "everything", "isn't a word for notes", "all"),
    ("strings 1 and 2", "and", "commas between them", "strings 1, 2"),
    ("bars 3 to 5", "to", "has a hyphen", "bars 3-5"),
    ("2nd string", "2nd string", "stands after its word", "string 2"),
    ("string1", "string", "a space stands before the number", "string 1"),
    ("string #2", "string #", "needs no sign", "string 2"),
    ("all except strums", "except", "`but not`", "all but not strums"),
    ("melody but bar 3", "but", "`but not`", "melody but not bar 3"),
    ("open & string 1", "&", "joined by", "open and string 1"),
    ("open / string 1", "/", "joined by", "open or string 1"),
    ("every other bar", "every other bar", "odd bars", "even bars"),
    ("odd bar", "odd bar", "count bars, phrases or passes", "odd bars"),
    ("bars 3-4 of verse", "bars 3-4 of verse", "a section's bars", "bars verse:3-4"),
    ("section verse:3", "section verse:", "a section's bars", "bars verse:3"),
    ("“open”", "“", "quotes have no meaning", "open"),
    ("open melody", "melody", "a word that joins is missing", "open and melody"),
    ("(open", "(", "never closed", "(open)"),
    ("bar", "bar", "needs its number", "bar 1"),
    ("odd", "odd", "needs what it counts", "odd bars"),
    (
        "string 1 and string 2",
        "string 2",
        "no note is `string 1` and `string 2` at once",
        "string 1 or string 2",
    ),
    ("melody and strums", "strums", "at once", "melody or strums"),
    ("melody and open and fretted", "fretted", "at once", "open or fretted"),
    ("odd bars and even bars", "even bars", "at once", "odd bars or even bars"),
    ("section a and bar b:2", "bar b:2", "at once", "section a or bar b:2"),
    ("bars 5-3", "5-3", "ends before it starts", "3-5"),
    ("phrase 0", "0", "counted from 1", "phrase 1"),
    ("section verse@0", "verse@0", "counted from 1", "verse@1"),
    ("string 5", "5", "1 (nearest the floor) to 4 (got 5)", "strings 1-2"),
]


@pytest.mark.parametrize(("text", "marked", "said", "mended"), MENDED, ids=[row[0] for row in MENDED])
def test_said_marked_and_mended(text: str, marked: str, said: str, mended: str) -> None:
    error = wrong(text)
    assert said in error.wrong
    assert text[error.start : error.start + error.width] == marked
    assert f"{mended}" in (error.write or error.mend)
    if error.write:
        parse_choice(error.write)
    if re.match(r"[a-z(]", mended) and not mended.startswith(("3-5", "verse@")):
        parse_choice(mended)


@pytest.mark.parametrize(
    ("text", "marked", "said"),
    [
        ("open and", "and", "something is missing after `and`"),
        ("open)", ")", "no parenthesis is open here"),
        ("open,, melody", ",", "a comma stands between two choices"),
        ("and open", "and", "notes are missing before `and`"),
        ("verse", "verse", "isn't a word for notes"),
        ("bars verse", "verse", "stands where a bar's number is due"),
        ("section", "section", "needs its name"),
        ("3", "3", "doesn't say what it counts"),
        ("phrases verse:3", "phrases", "only bars are counted by section"),
        ("string 1, string 2 and open", "string 2 and open", "beside a comma, `and` can mean two things"),
        ("string 1, string 2, and open", "and", "beside a comma, `and` can mean two things"),
        ("$", "$", "isn't a word for notes"),
        ("open ()", "(", "a word that joins is missing"),
        ("open or or", "or", "notes are missing before `or`"),
    ],
)
def test_said_and_marked(text: str, marked: str, said: str) -> None:
    error = wrong(text)
    assert said in error.wrong
    assert text[error.start : error.start + error.width] == marked
    assert error.mend or error.write


def test_as_shown() -> None:
    error = wrong("opn and melody")
    assert isinstance(error, RequestError)
    assert str(error).splitlines() == [
        "`opn` isn't a word for notes",
        "    now:    »opn« and melody",
        "    write:  open and melody",
    ]
    kind, parts = error.__reduce__()  # by itself: Dask, where it is loaded, pickles tracebacks along
    assert str(kind(*pickle.loads(pickle.dumps(parts)))) == str(error)  # noqa: S301 - pickled a moment ago


@pytest.mark.parametrize("text", ["", "  "])
def test_nothing_written(text: str) -> None:
    assert wrong(text).wrong == "no notes are chosen"


def test_too_long_and_too_deep() -> None:
    assert "at most 300 characters (got 301)" in wrong("a" * (LONGEST_CHOICE + 1)).wrong
    assert "at most 20 parentheses" in wrong("(" * 21 + "open").wrong
    assert str(parse_choice("(" * 20 + "open" + ")" * 20)) == "open"
    assert str(parse_choice("not " * 70 + "open")).count("not") == 70


@given(choice=choices, seed=st.integers(0, 10**6))
def test_whatever_is_written_is_read_or_explained(choice: Choice, seed: int) -> None:
    text = slips(seed, str(choice))
    found = _parsed(text)
    if isinstance(found, ChoiceError):
        assert found.wrong
        assert 0 <= found.start <= len(found.text)
        assert found.width >= 1
    elif len(str(found)) <= LONGEST_CHOICE:
        assert parse_choice(str(found)) == found
