"""Words and swing on paper and page: kept by the songs, and each promise broken on purpose."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

import pytest

from tercet.arranging import Arrangement, arrange
from tercet.publish.score.pages import sheet_of, sheet_pdf, sheet_svg
from tercet.song import read_song
from tests.measure.pages import FACTS
from tests.measure.sheets import texts, texts_in_pdf
from tests.measure.song_text import SongText, read_song_text
from tests.publish.page.test_song_page import page_of
from tests.publish.papers import ROOT, arranged
from tests.publish.printed_promises import (
    swing_is_told,
    words_are_followed,
    words_are_printed,
    words_are_set,
)

SONGS = sorted(str(path.relative_to(ROOT)) for path in (ROOT / "songs").glob("*.yaml"))
SWUNG = "songs/bicycle-bell.yaml"


@lru_cache(maxsize=8)
def told(path: str) -> SongText:
    return read_song_text(ROOT / path)


def pages(made: Arrangement) -> list[str]:
    sheet = sheet_of(made)
    return [sheet_svg(sheet, index) for index in range(len(sheet.pages))]


def facts(made: Arrangement) -> list[str]:
    return [text for page in pages(made) for text in texts(page, "fact")]


def without_words(made: Arrangement, index: int) -> Arrangement:
    bars = list(made.bars)
    bars[index] = replace(bars[index], words=())
    return replace(made, bars=tuple(bars))


def without_swing(made: Arrangement) -> Arrangement:
    return replace(made, song=replace(made.song, swing=Fraction(1, 2)))


def with_words_all_later(html: str) -> str:
    """Return a page that follows each syllable at the note of the next."""
    match = FACTS.search(html)
    assert match
    page = json.loads(match[1])
    notes = [word[2] for word in page["words"]]
    for word, note in zip(page["words"], [*notes[1:], *notes[:1]], strict=True):
        word[2] = note
    return html[: match.start(1)] + json.dumps(page) + html[match.end(1) :]


@pytest.mark.parametrize("path", SONGS)
def test_every_word_is_printed_set_and_followed(path: str) -> None:
    made, song = arranged(path), told(path)
    words_are_printed(pages(made), song)
    words_are_set(sheet_pdf(sheet_of(made)), pages(made))
    words_are_followed(page_of(made), song)


@pytest.mark.parametrize("path", SONGS)
def test_swing_is_told_where_there_is_one(path: str) -> None:
    made, song = arranged(path), told(path)
    swing_is_told(facts(made), song)
    swing_is_told(texts_in_pdf(sheet_pdf(sheet_of(made))), song)


@pytest.mark.parametrize("swing", ["3/5", "0.6", "5/8", "2/3", "3/4", "1/2"])
def test_any_swing_is_told(tmp_path: Path, swing: str) -> None:
    path = tmp_path / "song.yaml"
    text = re.sub(r"^swing: .*$", f"swing: {swing}", (ROOT / SWUNG).read_text("utf-8"), flags=re.MULTILINE)
    path.write_text(text, encoding="utf-8")
    song = read_song_text(path)
    assert song.swing == Fraction(swing)
    swing_is_told(facts(arrange(read_song(path))), song)


@pytest.mark.parametrize("path", SONGS)
def test_words_dropped_from_a_bar_are_missed_on_paper_and_page(path: str) -> None:
    made, song = arranged(path), told(path)
    sung = [index for index, bar in enumerate(made.bars) if bar.words and bar.section_bar > 0]
    once = [index for index in sung if made.bars[index].words != made.bars[index - len(sung) // 2].words]
    spoilt = without_words(made, once[len(once) // 2])
    with pytest.raises(AssertionError):
        words_are_followed(page_of(spoilt), song)
    with pytest.raises(AssertionError, match="the PDF lacks"):
        words_are_set(sheet_pdf(sheet_of(spoilt)), pages(made))
    everywhere = spoilt
    for index in sung:
        if made.bars[index].words == made.bars[once[len(once) // 2]].words:
            everywhere = without_words(everywhere, index)
    with pytest.raises(AssertionError, match=r"bar \d+ lacks"):
        words_are_printed(pages(everywhere), song)


def test_words_of_another_bar_are_seen() -> None:
    made, song = arranged(SONGS[0]), told(SONGS[0])
    bars = list(made.bars)
    bars[5], bars[6] = (replace(bars[5], words=bars[6].words[:1]), replace(bars[6], words=bars[5].words[:1]))
    with pytest.raises(AssertionError, match=r"lacks|isn't sung there"):
        words_are_printed(pages(replace(made, bars=tuple(bars))), song)


@pytest.mark.parametrize(
    "read",
    [facts, lambda made: texts_in_pdf(sheet_pdf(sheet_of(made)))],
    ids=["as written", "as PDF"],
)
def test_swing_that_is_ignored_is_seen(read: Callable[[Arrangement], list[str]]) -> None:
    with pytest.raises(AssertionError, match="the sheet says None, the song 2/3"):
        swing_is_told(read(without_swing(arranged(SWUNG))), told(SWUNG))


def test_words_that_follow_the_wrong_note_are_seen() -> None:
    html = page_of(arranged(SWUNG))
    words_are_followed(html, told(SWUNG))
    with pytest.raises(AssertionError, match=r"follows \S+ of a bar in"):
        words_are_followed(with_words_all_later(html), told(SWUNG))
