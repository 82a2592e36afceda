"""The sheet of words and chords, as it is drawn: every bar once, chords over what is sung with them, one page."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from functools import cache
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.cli import main
from tercet.exchange import imported_text
from tercet.exchange.chordpro import read_chordpro
from tercet.publish.picture_files import PAPERS_PT
from tercet.publish.score.pages import Sheet, SheetLook, margin_of, sheet_pdf, sheet_svg
from tercet.publish.score.words_sheet import words_sheet
from tercet.publish.shapes import Group, Text, groups_in, texts_in
from tercet.publish.typefaces import text_width_em
from tercet.song import Song, read_song
from tests.measure.sheets import overlaps

SONGS = sorted(Path("songs").glob("*.yaml"))
LOOKS = (
    SheetLook(),
    SheetLook("Letter", left_handed=True),
    SheetLook(large=True),
    SheetLook("Letter", large=True),
    SheetLook(None),
)


@cache
def arrangement(path: Path) -> Arrangement:
    song = read_song(path)
    return arrange(song, song_tuning(song))


@cache
def sheet(path: Path, look: SheetLook) -> Sheet:
    return words_sheet(arrangement(path), look)


def bars(made: Sheet) -> list[Group]:
    return [
        group for page in made.pages for group in groups_in(page.shapes) if group.name in ("bar", "pick-up")
    ]


def named(group: Group, name: str) -> list[Text]:
    return [text for text in texts_in(group.shapes) if text.name == name]


@pytest.mark.parametrize("look", LOOKS, ids=str)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_every_bar_is_printed_once_or_told_to_be_as_before(path: Path, look: SheetLook) -> None:
    made = sheet(path, look)
    printed = Counter(group.id for group in bars(made) if group.name == "bar")
    assert set(printed.values()) == {1}
    again = [
        text for page in made.pages for text in texts_in(page.shapes) if text.text.endswith(", as before")
    ]
    played = {f"bar-{bar.number}" for bar in arrangement(path).bars if bar.section_bar}
    missing = played - set(printed)
    assert set(printed) <= played
    assert bool(missing) == bool(again)
    words = " ".join(
        text.text for page in made.pages for text in texts_in(page.shapes) if text.name == "words"
    )
    sung = {each.text for bar in arrangement(path).bars for _, each in bar.words if not each.holds}
    assert all(each.replace("‿", " ") in words for each in sung)


@pytest.mark.parametrize("look", LOOKS, ids=str)
@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_all_stays_on_its_page_and_nothing_overlaps(path: Path, look: SheetLook) -> None:
    made = sheet(path, look)
    width, _ = PAPERS_PT[look.paper or "A4"]
    for group in bars(made):
        for text in texts_in(group.shapes):
            assert (
                text.x + text_width_em(text.text, text.style) * text.size
                <= width - 2 * margin_of(width) + 0.1
            )
    for number in range(len(made.pages)):
        assert not overlaps(sheet_svg(made, number))


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_fit_on_one_page_and_their_text_can_be_taken_out(path: Path) -> None:
    pages = PdfReader(BytesIO(sheet_pdf(sheet(path, LOOKS[0])))).pages
    assert len(pages) == 1
    text = pages[0].extract_text()
    assert arrangement(path).song.title in text.replace("\n", " ")
    assert "As sung:" in text


def imported(text: str) -> Song:
    return imported_text(read_chordpro(text.encode(), "x", bars_per_chord=Fraction(1)), "x")[1]


def test_chords_stand_over_the_syllable_that_they_come_with() -> None:
    song = imported(
        "{time: 4/4}\n{sov}\nOh [|][C]down [G7]in the val-ley, a-[|][F]long [|]\n[|][C][/][|]\n{eov}\n"
    )
    pickup, first, second, third = bars(words_sheet(arrange(song, song_tuning(song)), LOOKS[0]))
    assert (pickup.name, [text.text for text in named(pickup, "words")]) == ("pick-up", ["Oh"])
    placed = {text.text: text.x for text in named(first, "words")}
    over = {text.text: text.x for text in named(first, "chord")}
    assert list(placed) == ["down", "in", "the", "valley,", "a-"]
    assert over == {"C": placed["down"], "G7": placed["in"]}
    assert [text.text for text in named(second, "chord")] == ["F"]
    assert [text.text for text in named(third, "chord")] == ["C"]
    assert [text.text for text in named(third, "chord going on")] == ["/", "/", "/"]


def test_a_chorus_that_is_sung_again_is_named_and_verses_are_numbered() -> None:
    chorus = "{soc}\n[C]la [G]la\n{eoc}\n"
    song = imported(f"{{sov}}\n[C]one\n{{eov}}\n{chorus}{{sov}}\n[C]two\n{{eov}}\n{chorus}")
    made = words_sheet(arrange(song, song_tuning(song)), LOOKS[0])
    headings = [text.text for page in made.pages for text in texts_in(page.shapes) if text.name == "section"]
    assert headings == ["Verse 1", "Chorus", "Verse 2", "Chorus, as before"]


def test_a_long_song_goes_on_over_pages_and_no_bar_is_lost() -> None:
    song = imported(
        "".join(
            f"{{start_of_part{n}}}\n" + "[C]la la [G]la la\n" * 9 + f"{{end_of_part{n}}}\n" for n in range(9)
        )
    )
    made = words_sheet(arrange(song, song_tuning(song)), LOOKS[0])
    assert len(made.pages) > 1
    assert [group.id for group in bars(made)] == [f"bar-{number}" for number in range(1, 163)]


def test_the_command_makes_it_and_refuses_what_does_not_go_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = tmp_path / "words.pdf"
    assert main(["sheet", str(SONGS[0]), "--words", "-o", str(made)]) == 0
    assert "As sung:" in PdfReader(made).pages[0].extract_text()
    assert main(["sheet", str(SONGS[0]), "--words", "--handout", "-o", str(tmp_path / "h.png")]) == 1
    assert "leave --large, --paper and --words out" in capsys.readouterr().err
