"""Songs that are meant to do harm, or are just out of all proportion: pages stay whole, correct and harmless."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tercet.arranging import arrange
from tercet.performing import lay_out, perform
from tercet.publish.page import PagePlan, PageSet, PageSound, song_page
from tercet.publish.page.sound import SpeedTiming
from tercet.publish.page.take_home import Files
from tercet.song import LAYERS, read_song
from tests.browser.windows import Window

Opened = Callable[..., Window]

SCRIPT = "</script><script>window.harmed=1</script><img src=x onerror=window.harmed=2>{{7*7}}{bar}$&"
HEBREW = "שיר הנמל \u202eabc"
CHINESE = "港口的燈籠"


def song_text(
    *, title: str = "A song", composer: str = "us", words: str = "", bars: int = 4, chords: bool = True
) -> str:
    """Return a song file; words are given as one syllable for each bar."""
    quoted = title.replace("\\", "\\\\").replace('"', '\\"')
    lines = []
    for first in range(0, bars, 8):
        line = range(first, min(first + 8, bars))
        rows = {
            "chords": [["C", "F", "G7", "C"][at % 4] if chords else "N.C." for at in line],
            "melody": ["G4:4" if words else "G4:2 A:2" for _ in line],
            "words": [words for _ in line] if words else [],
        }
        lines.append("".join(f"    {name}  {' | '.join(cells)}\n" for name, cells in rows.items() if cells))
    return (
        f'title: "{quoted}"\ncomposer: "{composer}"\nlicence: CC0-1.0\nkey: C major\nmeter: 4/4\ntempo: 120\n'
        f"sections:\n  verse: |\n" + "\n".join(lines)
    )


def page_of(folder: Path, text: str, title: str = "", downloads: Files | None = None) -> str:
    """Make the page of a song without its sound, under a title that no file could give it; return its address."""
    path = folder / "song.yaml"
    path.write_text(text, encoding="utf-8")
    song = read_song(path)
    arrangement = arrange(replace(song, title=title or song.title))
    take = perform(arrangement, lay_out(arrangement, None, count_in_bars=0))
    peaks: dict[str, list[float]] = {layer: [0.1] * len(take.bars) for layer in LAYERS}
    sound = PageSound((SpeedTiming(Fraction(1), take, take.length_s, peaks),), {}, 0.0)
    for name, data in song_page(PagePlan([PageSet(arrangement, sound, downloads=downloads)])).items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
    return (folder / "index.html").as_uri()


def whole(page: Page, title: str) -> None:
    """Check that a page is complete, says its title, and has run nothing but its own script."""
    assert page.evaluate("window.harmed") is None
    assert page.text_content("h1") == title
    assert page.evaluate("document.scripts.length") == 3
    assert page.evaluate("document.querySelectorAll('img').length") == 1
    assert page.is_visible("#go")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize("width", [320, 1440])
@pytest.mark.parametrize(
    "title",
    [SCRIPT, "x" * 20_000, HEBREW, CHINESE, "'\"<&>--><!--"],
    ids=["script", "20 kB", "rtl", "cjk", "signs"],
)
def test_a_title_is_only_a_title(opened: Opened, tmp_path: Path, title: str, width: int) -> None:
    address = page_of(tmp_path, song_text(composer="<b onclick=alert(1)>us</b>"), title)
    whole(opened(width=width).show(address), title)


def test_a_title_in_a_file_is_only_a_title(opened: Opened, tmp_path: Path) -> None:
    title = SCRIPT[:100]
    whole(opened().show(page_of(tmp_path, song_text(title=title))), title)


@pytest.mark.parametrize(
    "words",
    ["</script><script>window.harmed=1</script>", "<img/src=x/onerror=window.harmed=2>", "שלום", "燈籠"],
)
def test_words_are_only_words(opened: Opened, tmp_path: Path, words: str) -> None:
    page = opened().show(page_of(tmp_path, song_text(words=words)))
    whole(page, "A song")
    assert words in (page.text_content("#now-words") or "")
    engraved = (page.text_content(".score.wide .word") or "").removesuffix("…")
    assert engraved
    assert words.startswith(engraved)


def test_a_single_bar_is_a_page(opened: Opened, tmp_path: Path) -> None:
    page = opened().show(page_of(tmp_path, song_text(bars=1)))
    whole(page, "A song")
    assert page.locator(".score.wide .bar").count() == 1


def test_six_hundred_bars_are_a_page(opened: Opened, tmp_path: Path) -> None:
    page = opened().show(page_of(tmp_path, song_text(bars=600)))
    whole(page, "A song")
    assert page.locator(".score.wide .bar").count() == 600
    page.locator(".score.wide .bar").nth(599).click()
    assert (page.text_content("#where") or "").startswith("bar 600 of 600")


def test_no_words_and_no_chords_are_a_page(opened: Opened, tmp_path: Path) -> None:
    page = opened().show(page_of(tmp_path, song_text(chords=False)))
    whole(page, "A song")
    assert not page.is_visible("#now-words")


def test_a_policy_stops_what_escaping_would_miss(opened: Opened, tmp_path: Path) -> None:
    """Even a script that stood in the page would not run: the policy forbids it."""
    address = page_of(tmp_path, song_text())
    path = tmp_path / "index.html"
    path.write_text(
        path.read_text(encoding="utf-8").replace("</h1>", "</h1><script>window.harmed=1</script>"),
        encoding="utf-8",
    )
    window = opened()
    page = window.show(address)
    assert page.evaluate("window.harmed") is None
    assert any("Content Security Policy" in text for text in window.said)
    window.said.clear()


def test_a_chord_that_is_none_is_a_mistake_of_the_song(tmp_path: Path) -> None:
    from tercet.errors import SongError

    path = tmp_path / "song.yaml"
    path.write_text(song_text().replace("C | F", "<script> | F", 1), encoding="utf-8")
    with pytest.raises(SongError, match="chord"):
        read_song(path)
