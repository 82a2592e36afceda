"""The frame: what is let through of YAML, with its place; and what is refused, with words and place of its own."""

from __future__ import annotations

import pytest

from tercet.errors import SongError, shown_mistakes
from tercet.song.frame import BodyLine, Listing, Mapping, Node, Text, read_frame
from tercet.song.mistakes import MistakeBook
from tercet.song.reader import open_book
from tercet.song.settings import SETTING_NAMES


def read(text: str) -> tuple[Mapping, MistakeBook]:
    book = open_book(text, "song.yaml")
    return read_frame(book, SETTING_NAMES), book


def shown(node: Node) -> object:
    if isinstance(node, Text):
        return node.text
    if isinstance(node, Listing):
        return [shown(item) for item in node.items]
    return {entry.key.text: shown(entry.value) for entry in node.entries}


def value(text: str) -> Node:
    return read(text)[0].entries[0].value


def refused(text: str) -> list[tuple[str, int, int]]:
    """Return what is wrong, with line and column."""
    with pytest.raises(SongError) as caught:
        read_frame(open_book(text, "song.yaml"), SETTING_NAMES)
    return [(mistake.message, mistake.line, mistake.column) for mistake in caught.value.mistakes]


def fixes(text: str) -> list[str]:
    """Return what is told of the mend: the sentence, or what to write."""
    with pytest.raises(SongError) as caught:
        read_frame(open_book(text, "song.yaml"), SETTING_NAMES)
    return [
        mistake.mend or shown_mistakes([mistake]).splitlines()[-1].removeprefix("    write:  ")
        for mistake in caught.value.mistakes
    ]


def test_mappings_lists_and_texts_are_let_through() -> None:
    tree, book = read("a: one two\nb: [x, 'y z']\nc: {d: 1, e: {f: g}}\nh:\n  - i\n  - j\n")
    assert shown(tree) == {
        "a": "one two",
        "b": ["x", "y z"],
        "c": {"d": "1", "e": {"f": "g"}},
        "h": ["i", "j"],
    }
    assert not len(book)


@pytest.mark.parametrize("nothing", ["", "~", "null", "Null", "NULL"])
def test_yaml_words_for_nothing_are_an_empty_text(nothing: str) -> None:
    assert shown(value(f"a: {nothing}\nb: c\n")) == ""


@pytest.mark.parametrize("word", ["'~'", '"null"', "nUll", "none", "~~"])
def test_other_texts_like_them_stay(word: str) -> None:
    assert shown(value(f"a: {word}\n")) == word.strip("'\"")


def test_every_node_knows_its_place() -> None:
    tree, _ = read("title: 'One'\n\ntracks:\n  mine:\n    yours: open\n")
    title, tracks = tree.entries
    assert (title.key.place.line, title.key.place.column, title.key.place.width) == (1, 1, 5)
    assert isinstance(title.value, Text)
    assert (title.value.place.line, title.value.place.column, title.value.place.width) == (1, 8, 5)
    assert title.value.style == "'"
    assert isinstance(tracks.value, Mapping)
    mine = tracks.value.entries[0]
    assert isinstance(mine.value, Mapping)
    assert (mine.key.place.line, mine.value.entries[0].value.place.line) == (4, 5)
    assert mine.value.entries[0].value.place.column == 12


def test_a_text_over_several_lines_has_the_place_of_its_first_sign() -> None:
    text = value("title: one\n  two\n")
    assert isinstance(text, Text)
    assert (text.text, text.place.line, text.place.column, text.place.width) == ("one two", 1, 8, 1)


def test_a_text_of_nothing_has_a_place_that_can_be_marked() -> None:
    assert value("a:\nb: c\n").place.width == 1


@pytest.mark.parametrize("style", ["|", ">"])
def test_a_block_keeps_its_lines_with_their_numbers_and_indentation(style: str) -> None:
    block = value(f"verse: {style}\n  chords C\n\n    melody C4\nnext: one\n")
    assert isinstance(block, Text)
    assert block.style == style
    assert block.body[0] == BodyLine(2, "  chords C")
    assert block.body[2] == BodyLine(4, "    melody C4")
    assert [line.number for line in block.body] == [2, 3, 4]


def test_a_name_over_lines_or_tabs_has_single_spaces() -> None:
    tree, _ = read('"a\\t b\\nc": d\n')
    assert tree.entries[0].key.text == "a b c"


@pytest.mark.parametrize(
    ("text", "first", "fix"),
    [
        ("a: 1\nb: 2\na: 3\n", 1, "keep one of them"),
        ("t:\n  a: 1\n  a: 3\n", 2, "keep one of them, or give it another name"),
    ],
)
def test_of_two_alike_the_first_is_kept(text: str, first: int, fix: str) -> None:
    tree, book = read(text)
    (mistake,) = book.error().mistakes
    assert mistake.message == f"`a` is written twice (first on line {first})"
    assert (mistake.line, mistake.mend) == (3, fix)
    assert "1" in str(shown(tree))
    assert "3" not in str(shown(tree))


def test_a_name_that_is_a_list_is_noted_and_the_rest_is_read() -> None:
    tree, book = read("? [a, b]\n: c\nd: e\n")
    assert shown(tree) == {"d": "e"}
    assert [mistake.message for mistake in book.error().mistakes] == ["a name must be a plain word"]


@pytest.mark.parametrize(
    ("text", "message", "line", "column"),
    [
        ("a: *b\n", "`*b` can't stand here: a value starts with * only between quotes", 1, 4),
        ("a: &b c\n", "`&b` can't stand here: a value starts with & only between quotes", 1, 4),
        ("a: &b\n  c: d\n", "`&b` can't stand here: a value starts with & only between quotes", 1, 4),
        ("a: &b [c]\n", "`&b` can't stand here: a value starts with & only between quotes", 1, 4),
        ("a: !!str c\n", "`!!str` can't stand here: a value starts with ! only between quotes", 1, 4),
        ("a: !b [c]\n", "`!b` can't stand here: a value starts with ! only between quotes", 1, 4),
        ("a: b\n---\nc: d\n", "a second file starts within this one", 2, 1),
        ("a: b\n...\nc: d\n", "a second file starts within this one", 3, 1),
    ],
)
def test_what_songs_have_no_use_for_is_refused(text: str, message: str, line: int, column: int) -> None:
    assert refused(text) == [(message, line, column)]


def test_a_long_alias_is_shown_cut() -> None:
    assert (
        refused(f"a: *{'b' * 60}\n")[0][0]
        == f"`*{'b' * 39}` can't stand here: a value starts with * only between quotes"
    )


@pytest.mark.parametrize("text", ["", "# only this\n", "---\n", "\n\n", "~\n"])
def test_an_empty_file_is_told_how_to_begin(text: str) -> None:
    ((message, line, _),) = refused(text)
    assert (message, line) == ("the file is empty", 0)


@pytest.mark.parametrize(("text", "line"), [("just words\n", 1), ("- a\n- b\n", 1), ("\n'words'\n", 2)])
def test_a_file_that_is_no_mapping_is_told_so(text: str, line: int) -> None:
    ((message, found, column),) = refused(text)
    assert message == "the file doesn't start with a setting such as `title: …`"
    assert (found, column) == (line, 1)


@pytest.mark.parametrize(("deep", "is_read"), [(11, True), (12, False)])
def test_values_may_be_nested_so_deep(deep: int, is_read: bool) -> None:
    text = f"a: {'[' * deep}{']' * deep}\n"
    if is_read:
        assert isinstance(value(text), Listing)
    else:
        assert refused(text) == [("values are nested more than 12 deep", 1, 4 + deep - 1)]


@pytest.mark.parametrize(("lines", "is_read"), [(2490, True), (2510, False)])
def test_a_file_may_hold_so_many_values(lines: int, is_read: bool) -> None:
    text = "".join(f"a{number}: b\n" for number in range(lines))
    if is_read:
        assert len(read(text)[0].entries) == lines
    else:
        ((message, line, _),) = refused(text)
        assert message == "the file holds far more values than a song needs"
        assert line > 2490


def test_what_escapes_hide_is_noted_and_shown() -> None:
    tree, book = read('a: "b\\x07c"\nd: "\\ud83c"\n')
    first, second = book.error().mistakes
    assert first.message == "\\ makes a character here that can't be printed (U+0007)"
    assert (first.line, first.column) == (1, 4)
    assert first.mend.startswith("between double quotes")
    assert second.mend == "write the sign itself"
    hidden = tree.entries[0].value
    assert isinstance(hidden, Text)
    assert hidden.text not in ("b\x07c", "bc")
    assert "\x07" not in hidden.text


@pytest.mark.parametrize(
    ("text", "message", "line", "column", "fix"),
    [
        ("title: One: two\n", "there is a second colon in this line", 1, 11, 'title: "One: two"'),
        (
            "key: C\ntitle: One: two\n",
            "there is a second colon in this line",
            2,
            11,
            'title: "One: two"',
        ),
        ("title: 'One\nkey: C\n", "the quote that opens here is never closed", 1, 8, "title: 'One'"),
        ('title: "a\\qb"\n', "inside double quotes, \\ has a special meaning", 1, 11, "title: 'a\\qb'"),
        ("form: [a, b\n", "the list that opens here isn't closed, or lacks a comma", 1, 7, "form: [a, b]"),
        (
            "dynamics: {melody: f\n",
            "the braces that open here aren't closed, or lack a comma",
            1,
            11,
            "dynamics: {melody: f}",
        ),
        ("a: @b\n", "a text can't start with this sign", 1, 4, "put the whole text"),
        (
            "title\nkey: C\n",
            "a colon is missing after the name",
            1,
            1,
            "title:",
        ),
        (
            "title: One\n\n  key: C\n",
            "this line stands further in than the setting above it",
            3,
            3,
            "start both in the same column",
        ),
    ],
)
def test_what_is_no_yaml_is_told_in_words(text: str, message: str, line: int, column: int, fix: str) -> None:
    assert refused(text) == [(message, line, column)]
    assert fixes(text)[0].startswith(fix)
