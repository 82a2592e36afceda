"""Using a page: by keyboard alone, by those who don't see it, on any window, in bars picked from the music."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.browser.firefox import AnyPage
from tests.browser.listening import set_speed
from tests.browser.windows import USABLE, Window

Opened = Callable[..., Window]
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def state(page: Page, what: str) -> Any:
    return page.evaluate(f"() => Tercet.player.{what}")


WAY_TO = """
(selector) => {
  const now = document.activeElement;
  if (now.matches(selector)) return "there";
  const before = document.querySelector(selector)?.compareDocumentPosition(now) & Node.DOCUMENT_POSITION_FOLLOWING;
  return before && now !== document.body ? "Shift+Tab" : "Tab";
}
"""


def tab_to(page: AnyPage, selector: str, most: int = 80) -> None:
    """Press Tab, or Shift and Tab for what lies before, until an element has the focus."""
    for _ in range(most):
        key = page.evaluate(WAY_TO, selector)
        if key == "there":
            return
        page.keyboard.press(key)
    raise AssertionError(f"Tab doesn't come to {selector}")


# By keyboard


def test_keys_alone_do_everything(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    tab_to(page, "#go")
    page.keyboard.press("Enter")
    page.wait_for_function("() => Tercet.player.state === 'playing' && Tercet.player.position().ms > 400")
    page.keyboard.press(" ")
    assert state(page, "state") == "still"
    tab_to(page, "#position")
    before = page.evaluate("Number(document.getElementById('position').value)")
    page.keyboard.press("ArrowRight")
    assert state(page, "at") > before
    tab_to(page, "#slower")
    page.keyboard.press("Enter")
    assert state(page, "speed.percent") == 95
    assert page.text_content("#speed") == "95 %"
    tab_to(page, "#quicker")
    page.keyboard.press(" ")
    assert state(page, "speed.percent") == 100
    set_speed(page, 120)
    page.focus("#quicker")
    page.keyboard.press("Enter")  # there is no quicker one
    assert state(page, "speed.percent") == 120
    assert page.get_attribute("#quicker", "aria-disabled") == "true"
    tab_to(page, "#back")
    page.keyboard.press("Enter")
    assert state(page, "at") == page.evaluate("Tercet.player.speed.startOf(0)")
    tab_to(page, "[name=place-melody]")
    page.keyboard.press("ArrowLeft")
    assert state(page, "places") == ["out", "middle", "back"]
    tab_to(page, "[name=place-between]")
    page.keyboard.press("ArrowRight")
    assert state(page, "places") == ["out", "back", "back"]
    tab_to(page, "#as-it-is")
    page.keyboard.press("Enter")
    assert state(page, "places") == ["front", "middle", "back"]
    tab_to(page, "#loop-off")
    page.keyboard.press("ArrowDown")
    assert state(page, "loop") == {"first": 0, "last": 16}
    tab_to(page, "#loop-from")
    page.keyboard.press("ArrowDown")
    assert state(page, "loop") == {"first": 1, "last": 16}
    tab_to(page, "[data-visit]")
    page.keyboard.press("Enter")
    assert state(page, "loop.first") == 0
    tab_to(page, "#count")
    page.keyboard.press("n")  # none
    assert state(page, "countBars") == 0


def test_keys_walk_through_the_bars_and_pick_a_loop(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    tab_to(page, "#pick")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.matches('.bar')")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    assert state(page, "loop") == {"first": 2, "last": 3}
    assert page.get_attribute("#pick", "aria-pressed") == "false"
    page.keyboard.press("Home")
    page.keyboard.press("Enter")
    assert page.text_content("#where") == "bar 2 of 16, verse, first time"  # a loop holds
    page.evaluate("document.getElementById('loop-off').click()")
    page.focus(".score.wide .bar[tabindex='0']")
    page.keyboard.press("End")
    page.keyboard.press("Enter")
    assert "of 16" in (page.text_content("#where") or "")
    assert state(page, "at") > 0


def test_keys_play_a_track_and_its_turns_are_shown_large(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.focus("[data-track]")
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.getElementById('track').currentTime > 0.1", timeout=15_000)
    for at_s, words in ((0.2, "Counting in"), (0.6, "Listen80%"), (2.0, "Your turn"), (5.0, "Together")):
        page.evaluate("(at) => { document.getElementById('track').currentTime = at; }", at_s)
        page.wait_for_function(
            "(words) => document.getElementById('turn').textContent === words", arg=words, timeout=5000
        )
    size = page.evaluate("parseFloat(getComputedStyle(document.getElementById('turn')).fontSize)")
    assert size > 40
    page.click("#go")
    page.wait_for_function("() => Tercet.player.state === 'playing'")
    assert page.evaluate("document.getElementById('track').paused")
    page.focus("[data-track]")
    page.keyboard.press("Enter")
    page.wait_for_function("() => Tercet.player.state === 'still'")


# By pointer


def test_a_press_on_a_bar_goes_there(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.locator(".score.wide .bar").nth(3).click()
    assert page.text_content("#where") == "bar 3 of 16, verse, first time"


def test_the_picture_is_a_map(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.locator("#map").scroll_into_view_if_needed()
    frame = page.evaluate(
        "(() => { const b = document.getElementById('map').getBoundingClientRect(); return [b.x, b.y, b.width]; })()"
    )
    facts = page.evaluate("Tercet.page.map")
    left, top, wide, tall, start, end = facts["rows"][2]
    zoom = frame[2] / facts["width"]
    page.evaluate("(y) => window.scrollBy(0, y)", frame[1] + zoom * top - 200)
    moved = page.evaluate("document.getElementById('map').getBoundingClientRect().y")
    page.mouse.click(frame[0] + zoom * (left + wide / 2), moved + zoom * (top + tall / 2))
    assert state(page, "at") == pytest.approx((start + end) / 2, abs=60)


def test_nobody_is_counted_into_another_song(opened: Opened, served: str) -> None:
    page = opened().show(f"{served}/index.html")
    page.click("text=Kettle and Cup")
    page.wait_for_function(USABLE)
    assert page.text_content("h1") == "Kettle and Cup"
    page.click("nav a")
    assert page.text_content("h1") == "Songs of the class"


# For everybody


@pytest.mark.parametrize(
    ("width", "scheme"), [(360, "dark"), (820, "light"), (1440, "dark"), (1440, "light")]
)
def test_nothing_is_in_anybodys_way(opened: Opened, song_address: str, width: int, scheme: str) -> None:
    page = opened(width=width, color_scheme=scheme).show(song_address)
    found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
    assert [
        (one["id"], [node["html"] for node in one["nodes"]]) for one in found.response["violations"]
    ] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_check_sees_what_is_in_the_way(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.evaluate("document.getElementById('position').removeAttribute('aria-label')")
    found = Axe().run(page, options={"preload": False})
    assert "label" in [one["id"] for one in found.response["violations"]]


@pytest.mark.parametrize("width", [320, 820, 1440, 2560])
def test_no_window_is_too_narrow_or_too_wide(opened: Opened, song_address: str, width: int) -> None:
    page = opened(width=width).show(song_address)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.evaluate(
        "(size) => { document.documentElement.style.fontSize = size; }", "200%" if width > 640 else "100%"
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, a, label, input[type=range]")]
          .filter((each) => each.offsetParent && !each.closest(".skip"))
          .map((each) => each.getBoundingClientRect()).filter((box) => box.height < 24).length"""
    )
    assert small == 0


def test_bars_are_told_to_those_who_do_not_see_them(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    told = page.locator(".score.wide .bar").nth(1).get_attribute("aria-label") or ""
    assert told.startswith("Bar 1, verse, first time. Am. Words: kettle is.")
    assert "roll 4 fret" in told
    assert told.endswith("Also bar 9.")


def test_only_preferences_are_kept(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.click("#slower")
    page.select_option("#count", "2")
    page.uncheck("#follow")
    kept = page.evaluate("() => ({...localStorage})")
    assert {name: json.loads(value) for name, value in kept.items()} == {
        "tercet": {"songs": {page.evaluate("Tercet.page.song"): {"speed": 95}}, "count": "2", "follow": False}
    }
    assert page.evaluate("document.cookie") == ""
    page.reload()
    page.wait_for_function(USABLE)
    assert state(page, "speed.percent") == 95
    assert state(page, "countBars") == 2


def test_only_the_speed_in_use_is_loaded(opened: Opened, recorded_address: str) -> None:
    window = opened()
    page = window.show(recorded_address)
    assert not [url for url in window.asked if "melody" in url]
    page.click("#go")
    page.wait_for_function("() => Tercet.player.state === 'playing'")
    assert sorted(url.rsplit("/")[-1] for url in window.asked if "/100-" in url or "/80-" in url) == [
        "100-melody.js",
        "100-strums.js",
        "100-tune.js",
    ]


def test_missing_sound_is_told(opened: Opened, recorded: Path, tmp_path: Path) -> None:
    import shutil

    folder = shutil.copytree(recorded / "class" / "kettle-and-cup", tmp_path / "song")
    (folder / "page" / "100-strums.js").unlink()
    window = opened()
    page = window.show((folder / "index.html").as_uri())
    page.click("#go")
    page.wait_for_function(
        "() => document.getElementById('told').textContent.includes(\"couldn't be loaded\")"
    )
    assert state(page, "state") == "lost"
    assert [text for text in window.said if "ERR_FILE_NOT_FOUND" not in text] == []
    window.said.clear()


def shown_percent(page: Page) -> int:
    return int((page.text_content("#speed") or "").removesuffix("%").strip())


def test_a_press_on_slower_is_one_step_and_a_held_one_goes_on(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    steps: list[int] = page.evaluate("Tercet.page.percents")
    at = steps.index(shown_percent(page))
    page.click("#slower")
    assert shown_percent(page) == steps[at - 1]
    page.hover("#slower")
    page.mouse.down()
    page.wait_for_function(
        "(most) => parseInt(document.querySelector('#speed').textContent) <= most", arg=steps[at - 4]
    )
    page.mouse.up()
    here = shown_percent(page)
    page.focus("#quicker")
    page.keyboard.press("Enter")
    assert shown_percent(page) == steps[steps.index(here) + 1]
    page.keyboard.down("Enter")
    page.keyboard.down("Enter")  # as a keyboard repeats
    page.keyboard.up("Enter")
    assert shown_percent(page) == steps[steps.index(here) + 3]


def test_a_held_step_ends_where_the_hand_slips_off(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    percent = shown_percent(page)
    page.hover("#slower")
    page.mouse.down()
    page.wait_for_function(
        "(least) => parseInt(document.querySelector('#speed').textContent) < least", arg=percent
    )
    page.hover("#where")
    here = shown_percent(page)
    told = "new Promise((done) => setTimeout(() => done(document.querySelector('#speed').textContent), 500))"
    assert page.evaluate(told) == page.text_content("#speed")
    assert shown_percent(page) == here
    page.mouse.up()
    page.click("#quicker")
    assert shown_percent(page) > here


def test_paper_gets_the_music_and_no_buttons(opened: Opened, song_address: str) -> None:
    page = opened(width=360).show(song_address)
    lines = "document.querySelectorAll('.score.wide .system').length"
    assert page.evaluate(lines) == 0
    page.pdf()
    assert page.evaluate(lines) > 1
    page.emulate_media(media="print")
    assert page.is_visible(".score.wide .system >> nth=-1")
    assert not page.is_visible(".score.narrow")
    assert not page.is_visible(".stage")
    assert not page.is_visible("#go")
    assert page.is_visible("h1")


def test_without_script_the_music_and_the_files_are_there(opened: Opened, song_address: str) -> None:
    window = opened(java_script_enabled=False)
    window.page.goto(song_address)
    assert window.page.is_visible(".score.wide .system >> nth=-1")
    assert window.page.is_visible("noscript p, .note")
    assert window.page.locator("a[download]").count() >= 1
