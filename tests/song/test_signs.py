"""The signs of the rows are our own: nothing that is written reads as the language of another notation program."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tercet.arranging import arrange
from tercet.cli.new import starter
from tercet.errors import SongError
from tercet.exchange import LeadSheet, imported_text
from tercet.exchange.abc import abc_bytes, read_abc
from tercet.exchange.midi import plain_midi_bytes
from tercet.exchange.midi.reader import read_midi
from tercet.exchange.musicxml import musicxml_bytes, read_musicxml
from tercet.song import ROW_NAMES, parse_song

ROOT = Path(__file__).resolve().parents[2]
PAGES = (ROOT / "README.md", *sorted((ROOT / "docs").glob("**/*.md")))
SONGS = (*sorted((ROOT / "songs").glob("*.yaml")), *sorted((ROOT / "docs").glob("**/*.yaml")))

ROW = re.compile(rf"\s*({'|'.join(ROW_NAMES)})(?:\s+(?:\d+|last))*(?=[\s|])(.*)")
FENCE = re.compile(r"^```([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
INLINE = re.compile(r"(?<!`)`([^`\n]+)`(?!`)")
NOTES = ("melody", "between")
SUNG = ("words",)


@dataclass(frozen=True)
class Foreign:
    """A way of writing that isn't ours: in which rows, what it looks like, and music that has it."""

    rows: tuple[str, ...]
    pattern: str
    example: str


FOREIGN = {
    "a tie after the note": Foreign(NOTES, r"[\w\])]~", "C5:3~ | C5:2"),
    "a tie before the next note": Foreign(NOTES, r"(?:^|\s)~", "C5:3 ~ C5:2"),
    "a letter for a rest, with a figure": Foreign(NOTES, r"(?<![\w.])[rRsSzZ]:?\d+(?![\dfF])", "C4 r4 E4"),
    "a letter for a rest": Foreign(NOTES, r"(?:^|\s)[rRzZ](?=\s|$)", "C4 r E4"),
    "small letters for notes": Foreign(NOTES, r"(?:^|\s)[a-h](?:is|es)?[',]*\d*(?=[\s~(\[]|$)", "c d e"),
    "ticks and commas for octaves": Foreign(NOTES, r"[A-Ha-h](?:is|es)?\d?(?:'+|,+)", "C' E G,"),
    "names in -is and -es": Foreign(NOTES, r"(?<![A-Za-z])[A-Ha-h](?:is|es){1,2}(?![a-z])", "Fis4 Bes"),
    "a length glued to the letter": Foreign(
        NOTES, r"(?:^|\s)[a-h](?:is|es)?[',]*(?:1|2|4|8|16|32)\b", "c4 d8 e8"
    ),
    "a dotted length": Foreign(NOTES, r"(?<![.\d/])\d+\.+(?=[\s~]|$)", "C4:2. D4:4."),
    "slurs in parentheses": Foreign(NOTES, r"[()]", "C4( D4 E4)"),
    "beams in lone brackets": Foreign(NOTES, r"\[(?=\s)|(?:^|\s)\]", "C4[ D4 E4 ]"),
    "chords in angle brackets": Foreign(NOTES, r"[<>]", "<C4 E4 G4>"),
    "groups in braces": Foreign((), r"[{}]", "{ C4 D4 }"),
    "a wedge's sign": Foreign(("marks",), r"[<>]", "p@1 <@2"),
    "a wedge's sign for one layer": Foreign(("marks",), r":[<>!]", "between:<@2"),
    "a wedge's end": Foreign(("marks",), r"!", "p@1 !@2"),
    "words with a backslash": Foreign((), r"\\[A-Za-z<>!]+", r"\mf"),
    "a comment after a percent sign": Foreign((), r"(?:^|\s)%", "C4 D4 % the end"),
    "repeats in bar lines": Foreign((), r"\|:|:\||\|\||\|\s*\[\d", "|: C4:4 :|"),
    "lone double hyphens in words": Foreign(SUNG, r"(?:^|\s)--(?=\s|$)", "lan -- terns"),
    "double underscores in words": Foreign(SUNG, r"__", "lan __ terns"),
    "a chord's kind after a colon": Foreign(("chords",), r"(?:^|\s)[A-Ga-g][#b]?\d*:[a-z]", "c2:m7 g:7"),
    "small letters for chords": Foreign(("chords",), r"(?:^|\s)[a-h](?:is|es)?\d*(?=[\s:]|$)", "c1 g2"),
    "signs run together with a note": Foreign(NOTES, r"[A-G]\S*(?:-[>.^_]|\^|_)", "C4-> D4-."),
}


def foreign_in(rows: Iterator[tuple[str, str]]) -> list[str]:
    """Return what is foreign in some music: the way of writing, and the row that has it."""
    return [
        f"{name}: {row} {music}"
        for row, music in rows
        for name, way in FOREIGN.items()
        if (not way.rows or row in way.rows) and re.search(way.pattern, music)
    ]


def rows_of(text: str) -> Iterator[tuple[str, str]]:
    """Yield the name and the music of each row of a text, comments left out."""
    for line in text.splitlines():
        if found := ROW.fullmatch(line):
            yield found[1], found[2].strip()


def rows_of_page(page: str) -> Iterator[tuple[str, str]]:
    """Yield the rows of the examples of a page that aren't there to be wrong."""
    for kind, text in FENCE.findall(page):
        if "wrong" not in kind and not kind.startswith("text"):
            yield from rows_of(text)


def words_of_page(page: str) -> Iterator[tuple[str, str]]:
    """Yield what a page shows of melody and marks in the middle of a sentence: all words of notes and of marks."""
    for word in INLINE.findall(FENCE.sub("", page)):
        if re.fullmatch(r"(?:[A-G=.][#b]?\d?(?::[\d./]+)?(?:\[\w+\])?[~']*\s?)+", word):
            yield "melody", word
        elif re.fullmatch(r"(?:\w+:)?[\w<>!,-]+@[\d./]+|[<>]", word):
            yield "marks", word


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.name)
def test_our_songs(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(list(rows_of(text))) > 2
    assert foreign_in(rows_of(text)) == []


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_our_pages(path: Path) -> None:
    page = path.read_text(encoding="utf-8")
    assert foreign_in(rows_of_page(page)) == []


def test_the_format_page_in_its_sentences() -> None:
    page, _, _ = (ROOT / "docs" / "format.md").read_text(encoding="utf-8").partition("\n## Mistakes")
    assert len(list(words_of_page(page))) > 20
    assert foreign_in(words_of_page(page)) == []


def test_the_starter_song() -> None:
    text = starter(Path("kettle.yaml"))
    assert len(list(rows_of(text))) == 3
    assert foreign_in(rows_of(text)) == []


EVERY_SIGN = """\
title: Every Sign
meter: 4/4
sections:
  verse: |
    chords   N.C.:2 C:2     | C      | F:2 G7:2         | C
    melody   . E4:1/2 =:1/2 C5:2 | = .:2 F#4 | Bb4:1.5[roll] A:1/2 G:2 | =:4
    words    la sha-        | la     | la lan-terns     |
    marks    p@1 louder@3   | f@2    | softer@1 accent@3 | mp@1 rit@2 fermata@3
"""


def through_abc() -> LeadSheet:
    return read_abc(abc_bytes(parse_song(EVERY_SIGN))[0], "sign")


def through_musicxml() -> LeadSheet:
    return read_musicxml(musicxml_bytes(arrange(parse_song(EVERY_SIGN)))[0], "sign")


def through_midi() -> LeadSheet:
    return read_midi(plain_midi_bytes(parse_song(EVERY_SIGN))[0], "sign")


@pytest.mark.parametrize("through", [through_abc, through_musicxml, through_midi])
def test_what_importers_write(through: Callable[[], LeadSheet]) -> None:
    text = imported_text(through(), "sign")[0]
    assert re.search(r"melody .*=:4 +\|", text)
    assert re.search(r"melody +\. ", text)
    assert foreign_in(rows_of(text)) == []


@pytest.mark.parametrize("name", FOREIGN)
def test_each_way_is_found(name: str) -> None:
    way = FOREIGN[name]
    row = way.rows[0] if way.rows else "melody"
    song = f"title: One\nsections:\n  verse: |\n    chords  C\n    {row}  {way.example}\n"
    for rows in (rows_of(song), rows_of_page(f"# Page\n\n```yaml\n{song}```\n")):
        assert name in {found.partition(":")[0] for found in foreign_in(rows)}
    assert foreign_in(rows_of_page(f"```yaml wrong\n{song}```\n")) == []


@pytest.mark.parametrize("name", FOREIGN)
def test_each_way_is_a_mistake(name: str) -> None:
    way = FOREIGN[name]
    row = way.rows[0] if way.rows else "melody"
    chords = "" if row == "chords" else "    chords  C\n"
    with pytest.raises(SongError, match="mistake"):
        parse_song(f"title: One\nsections:\n  verse: |\n{chords}    {row}  {way.example}\n")


@pytest.mark.parametrize("word", ["C5:3~", "A4'", "<@2", ">"])
def test_sentences_are_searched(word: str) -> None:
    assert foreign_in(words_of_page(f"Write `{word}` there.")) != []
