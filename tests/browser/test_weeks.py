"""The weeks of a class on its pages: this week first, earlier ones below, and a lesson that one key goes through."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.test_use import RULES, state
from tests.browser.windows import USABLE, Window
from tests.kits import SHORT_SONG, run_tercet

Opened = Callable[..., Window]

AXE = {"preload": False, "runOnly": {"type": "tag", "values": RULES}}

WEEKS = """\
this-week: 2
weeks:
- name: <b>Begin</b>
  note: Tune up.
  songs: {kettle: 1-2}
- name: 15 September
  note: Bring a pencil.
  songs:
    kettle: {bars: 3-4, note: Slow thumbs}
    cup: 5-6
- name: Later
  songs: {cup: {note: all of it}}
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("weeks")
    (folder / "kettle.yaml").write_text(SHORT_SONG, encoding="utf-8")
    (folder / "cup.yaml").write_text(
        SHORT_SONG.replace("Kettle and Cup", "Cup <i>alone</i>"), encoding="utf-8"
    )
    (folder / "class.yaml").write_text(WEEKS, encoding="utf-8")
    run_tercet("page", folder / "cup.yaml", folder / "kettle.yaml", "-o", folder / "class", "--no-kit")
    return folder / "class"


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1440, "light")])
def test_this_week_stands_first_and_earlier_ones_below(
    opened: Opened, made: Path, width: int, scheme: str
) -> None:
    page = opened(width=width, color_scheme=scheme).show((made / "index.html").as_uri())
    assert page.text_content("#week-title") == "This week: 15 September"
    first = page.locator("section.week")
    assert first.locator("li").all_text_contents() == [
        "Kettle and Cup bars 3–4. Slow thumbs",
        "Cup <i>alone</i> bars 5–6",
    ]
    assert "Bring a pencil." in (first.text_content() or "")
    assert page.text_content("h3") == "<b>Begin</b>"
    told = page.text_content("main") or ""
    assert told.index("15 September") < told.index("Earlier weeks") < told.index("Begin")
    assert "Later" not in told, "what comes is the teacher's"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert Axe().run(page, options=AXE).response["violations"] == []


def test_one_key_goes_through_the_lesson_on_the_board(opened: Opened, made: Path) -> None:
    page = opened(width=1280, height=720).show((made / "index.html").as_uri())
    page.click("text=The lesson on the board")
    page.wait_for_function(USABLE)
    assert page.text_content("h1") == "Kettle and Cup"
    assert page.is_visible("#board")
    assert state(page, "loop") == {"first": 3, "last": 4}, "the board opens with this week's bars"
    page.evaluate("Tercet.player.setLoop(null)")
    page.keyboard.press("n")
    assert state(page, "loop") == {"first": 3, "last": 4}
    page.keyboard.press("n")
    page.wait_for_function("() => document.querySelector('h1')?.textContent.startsWith('Cup')")
    page.wait_for_function(USABLE)
    assert page.is_visible("#board")
    assert state(page, "loop") == {"first": 5, "last": 6}
    page.keyboard.press("N")
    assert (page.text_content("h1") or "").startswith("Cup"), "it is the last"
    page.keyboard.press("p")
    page.wait_for_function("() => document.querySelector('h1')?.textContent === 'Kettle and Cup'")


def test_a_page_in_a_lesson_says_where_it_stands(opened: Opened, made: Path) -> None:
    page = opened(width=360).show((made / "kettle" / "index.html").as_uri())
    told = page.text_content("section.week") or ""
    assert "Song 1 of 2 in the lesson. Next: Cup <i>alone</i>" in " ".join(told.split())
    assert page.get_attribute("#lesson-after", "href") == "../cup/index.html#board"
    assert page.query_selector("#lesson-before") is None
    page.keyboard.press("n")
    assert page.text_content("h1") == "Kettle and Cup", "only the board listens to that key"
    assert Axe().run(page, options=AXE).response["violations"] == []


def test_pages_without_weeks_have_none_of_it(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    assert page.query_selector("#lesson-after") is None
    assert "lesson-" not in page.evaluate("fetch ? document.documentElement.outerHTML : ''")
