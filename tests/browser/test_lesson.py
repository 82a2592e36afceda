"""A page in a lesson: a phone on a stand, a hand that scrolls, a pedal under the foot, a board for the whole room."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.browser.firefox import firefox_page
from tests.browser.test_following import STILL_CLOCK, Short, short
from tests.browser.test_hostile import page_of, song_text
from tests.browser.test_use import RULES, state, tab_to
from tests.browser.windows import USABLE, Window

Opened = Callable[..., Window]

STILL_HANDS = "window.handNow = 0; window.performance.now = () => window.handNow;"
"""Run before the page's own script: what waits for a hand waits until a test lets time go on."""

AT = """
(ms) => {
  const round = Tercet.player.rounds[0];
  window.audioNow = round.when + (ms - round.from) / 1000;
  window.nextFrame();
}
"""

AWAY = """
() => {
  const score = [...document.querySelectorAll(".score")].find((each) => each.offsetParent);
  const bar = score.querySelector(".bar.here").dataset.bar;
  const line = document.getElementById(score.dataset.prefix + bar).closest("svg");
  return line.getBoundingClientRect().top - document.getElementById("now").getBoundingClientRect().bottom;
}
"""
"""How far below the shapes and words the line begins that is played."""


def shown(page: Page, selector: str) -> bool:
    return bool(page.evaluate("(each) => document.querySelector(each).offsetParent !== null", selector))


def playing(opened: Opened, address: str, width: int, height: int) -> Page:
    """Play without a count-in, on a clock that stands."""
    window = opened(width=width, height=height)
    window.page.add_init_script(STILL_CLOCK)
    window.page.add_init_script(STILL_HANDS)
    page = window.show(address)
    page.evaluate("Tercet.player.countBars = 0")
    page.click("#go")
    page.wait_for_function("() => Tercet.player.state === 'playing'", polling=50)
    return page


def start_ms(page: Page, bar: int) -> float:
    return float(page.evaluate("(bar) => Tercet.player.speed.startOf(bar) + 5", bar))


# On a phone


def test_on_a_phone_the_music_is_there_at_once_and_everything_in_reach(
    opened: Opened, song_address: str
) -> None:
    page = opened(width=360, height=740).show(song_address)
    first = page.evaluate(
        "document.querySelector('.score.narrow svg.system').getBoundingClientRect().toJSON()"
    )
    bar = page.evaluate("document.getElementById('transport').getBoundingClientRect().toJSON()")
    assert first["bottom"] < bar["top"], "the first line of music is seen whole"
    assert first["width"] > 330
    assert bar["bottom"] == 740
    assert bar["height"] < 140
    for drawer, inside in (("stage", "#tune-out"), ("again", "#count")):
        handle = f".drawer[aria-controls=panel-{drawer}]"
        assert not shown(page, inside)
        page.click(handle)
        assert shown(page, inside)
        assert page.get_attribute(handle, "aria-expanded") == "true"
        assert page.evaluate("document.querySelector('.desk').getBoundingClientRect().bottom") == bar["top"]
        found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
        assert [one["id"] for one in found.response["violations"]] == []
    page.focus("#count")
    page.keyboard.press("Escape")
    assert not shown(page, "#count")
    assert page.evaluate("document.activeElement.getAttribute('aria-controls')") == "panel-again"
    page.click(".drawer[aria-controls=panel-stage]")
    page.check("input[name=place-melody][value=out]")
    assert page.text_content("#now-stage") == "melody out"
    page.set_viewport_size({"width": 740, "height": 360})
    assert page.evaluate("document.getElementById('transport').getBoundingClientRect().height") < 90
    page.evaluate("Tercet.pickLoop(3, 4)")
    assert page.text_content("#now-again") == "bars 3–4"


def test_bars_are_picked_from_a_drawer_that_makes_way(opened: Opened, song_address: str) -> None:
    page = opened(width=360, height=740).show(song_address)
    page.click(".drawer[aria-controls=panel-again]")
    page.click("#pick")
    assert not shown(page, "#pick")
    assert "first bar" in (page.text_content("#told") or "")
    page.keyboard.press("Escape")
    assert page.get_attribute("#pick", "aria-pressed") == "false"
    assert page.text_content("#told") == ""
    page.click(".drawer[aria-controls=panel-again]")
    page.click("#pick")
    page.locator(".score.narrow .bar").nth(1).click()
    page.locator(".score.narrow .bar").nth(2).click()
    assert state(page, "loop") == {"first": 1, "last": 2}


def contrast(page: Page, selector: str) -> float:
    """Return the contrast of a button's letters, by the formula of WCAG 2."""
    colours = page.evaluate(
        "(each) => { const s = getComputedStyle(document.querySelector(each)); return [s.color, s.backgroundColor]; }",
        selector,
    )
    lights = []
    for colour in colours:
        parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        lights.append(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])
    return (max(lights) + 0.05) / (min(lights) + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_pressed_button_can_be_read(opened: Opened, song_address: str, scheme: str) -> None:
    page = opened(color_scheme=scheme).show(song_address)
    for button in ("#pick", "#tune-out"):
        page.click(button)
        assert page.get_attribute(button, "aria-pressed") == "true"
        assert contrast(page, button) > 7, "under the hand"
        page.mouse.move(2, 2)
        assert contrast(page, button) > 7
    page.evaluate("() => { document.getElementById('pick').style.background = 'var(--paper)'; }")
    assert contrast(page, "#pick") < 2, "the measure sees what can't be read"


def test_what_is_sung_stays_under_the_eye_until_a_hand_scrolls(opened: Opened, song_address: str) -> None:
    page = playing(opened, song_address, 360, 740)
    lines = page.evaluate("document.querySelectorAll('.score.narrow svg.system').length")
    assert lines >= 4
    for bar in (0, 3, 5):
        page.evaluate(AT, start_ms(page, bar))
        assert abs(page.evaluate(AWAY) - 8) < 3, f"bar {bar}"
    page.mouse.move(180, 300)
    page.mouse.wheel(0, 300)
    page.wait_for_timeout(300)
    seen = "document.querySelector('.score.narrow').getBoundingClientRect().top"
    by_hand = page.evaluate(seen)
    page.evaluate("window.handNow = 4000")
    page.evaluate(AT, start_ms(page, 7))
    assert page.evaluate(seen) == pytest.approx(by_hand, abs=1), "nothing is pulled from under a hand"
    page.evaluate("window.handNow = 7000")
    page.evaluate(AT, start_ms(page, 7) + 50)
    assert abs(page.evaluate(AWAY) - 8) < 3, "after some seconds it goes along again"
    page.uncheck("#follow")
    before = page.evaluate("window.scrollY")
    page.evaluate(AT, start_ms(page, 1))
    assert page.evaluate("window.scrollY") == before


def test_a_phone_stays_awake_while_it_plays(opened: Opened, song_address: str) -> None:
    window = opened(width=360, height=740)
    window.page.add_init_script(
        """window.locks = [];
        Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
          const lock = { kind: kind, held: true, release: async () => { lock.held = false; } };
          window.locks.push(lock);
          return lock;
        } } });"""
    )
    page = window.show(song_address)
    page.evaluate("Tercet.player.countBars = 0")
    assert page.evaluate("window.locks.length") == 0
    page.click("#go")
    page.wait_for_function("() => Tercet.player.state === 'playing'")
    assert page.evaluate("window.locks.map((lock) => [lock.kind, lock.held])") == [["screen", True]]
    page.click("#go")
    page.wait_for_function("() => !window.locks[0].held")


# Space


def test_space_plays_everywhere_but_in_fields(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.evaluate("Tercet.player.countBars = 0")
    page.evaluate("() => { document.getElementById('follow').checked = false; }")

    def toggled() -> bool:
        before = state(page, "state")
        page.keyboard.press(" ")
        page.wait_for_timeout(30)
        page.wait_for_function("() => Tercet.player.state !== 'loading'")
        return bool(before != state(page, "state"))

    assert toggled(), "nothing has the focus"
    assert page.evaluate("window.scrollY") == 0
    assert toggled()
    page.click("#tune-out")
    assert toggled(), "a mouse left the focus on a button"
    assert page.get_attribute("#tune-out", "aria-pressed") == "true"
    page.focus(".score.wide .bar")
    assert toggled(), "in the music Enter chooses, Space plays"
    assert state(page, "state") == "still"
    page.focus("#count")
    assert not toggled(), "a field"
    page.keyboard.press("Escape")
    tab_to(page, "#as-it-is")
    assert not toggled(), "who comes to a button by Tab presses it"
    assert page.get_attribute("#tune-out", "aria-pressed") == "false"


# The board


@pytest.fixture
def song(tmp_path_factory: pytest.TempPathFactory) -> Short:
    return short(tmp_path_factory.getbasetemp() / "short-on-board.yaml")


ON_BOARD = """
() => {
  const rows = [...document.querySelectorAll("#board .row")].filter((row) => !row.hidden);
  rows.sort((one, other) => one.style.order - other.style.order);
  const seen = (each) => {
    const style = getComputedStyle(each);
    return style.visibility === "visible" && style.display !== "none" && each.getBoundingClientRect().width > 0;
  };
  return rows.map((row) => ({
    now: row.classList.contains("playing"),
    bottom: row.getBoundingClientRect().bottom,
    words: [...row.querySelectorAll(".syl:not(.silent) .word")].filter(seen).map((each) => each.textContent),
    strums: [...row.querySelectorAll(".strum")].filter(seen).map((each) => each.textContent),
    chords: [...row.querySelectorAll(".system text.chord")].map((each) => each.textContent),
    shapes: [...row.querySelectorAll(".shapes desc")].map((each) => each.textContent),
    letters: Math.min(...[...row.querySelectorAll(".syl:not(.silent) .word, text.strum, .system text.chord")]
      .filter(seen).map((each) => parseFloat(getComputedStyle(each).fontSize) * each.getScreenCTM().a)),
    staff: [...row.querySelectorAll(".system :is(.notehead, .count, .finger)")].filter(seen).length,
    sounds: [...row.querySelectorAll(".sounds")].length,
    silent: [...row.querySelectorAll(".silent.sounds")].length,
    overlap: (() => {
      const boxes = [...row.querySelectorAll(".shapes svg")].map((each) => each.getBoundingClientRect());
      return boxes.some((box, index) => index && box.left < boxes[index - 1].right - 1);
    })(),
  }));
}
"""


def frets_of(descriptions: list[str]) -> list[tuple[int | None, ...]]:
    found = []
    for text in descriptions:
        spoken = re.findall(r"string (\d) (open|not played|fret (\d+))", text)
        found.append(tuple(None if how == "not played" else int(fret or 0) for _, how, fret in spoken))
    return found


def taken_shapes(song: Short, first: int, last: int) -> list[tuple[int | None, ...]]:
    """Return the shapes that are taken in some bars, one after the other."""
    found: list[tuple[int | None, ...]] = []
    for bar in song.arrangement.bars[first : last + 1]:
        for gesture in song.arrangement.by_bar[bar.number]:
            if gesture.action in ("roll", "strum") and gesture.shape not in found[-1:]:
                found.append(gesture.shape)
    return found


def rows_of(page: Page) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate(ON_BOARD)
    return found


def test_the_board_shows_two_large_lines_and_what_is_sung_on_this_pass(
    opened: Opened, song_address: str, song: Short
) -> None:
    page = playing(opened, song_address, 1920, 1080)
    page.click("#to-board")
    printed = page.evaluate(
        "[...document.querySelectorAll('#board .row')].map((row) => row.querySelectorAll('.measure').length)"
    )
    assert len(printed) > 1
    strums, marked = set(), 0
    for note in song.take.notes:
        page.evaluate(AT, 1000 * note.onset_s + 3)
        rows = rows_of(page)
        assert [row["now"] for row in rows].count(True) == 1
        assert len(rows) == 2 or note.bar_index >= len(song.take.bars) - printed[-1]
        assert max(row["bottom"] for row in rows) <= 1080
        assert min(row["letters"] for row in rows) >= 36, rows
        assert not any(row["staff"] or row["silent"] or row["overlap"] for row in rows)
        marked += sum(row["sounds"] for row in rows if row["now"])
        assert any(row["sounds"] for row in rows if row["now"])
        strums |= {sign for row in rows for sign in row["strums"]}
    assert marked > 60
    assert strums == {"d", "u"}
    page.evaluate(AT, start_ms(page, 0))
    first = rows_of(page)[0]
    assert frets_of(first["shapes"]) == taken_shapes(song, 0, printed[0] - 1)
    assert first["words"][:3] == ["The", "ket", "tle"]
    assert page.text_content("#board-where") == "verse, first time"
    page.evaluate("() => { Tercet.page.gestures[Tercet.page.notes[1][3]] = -1; }")
    page.set_viewport_size({"width": 1900, "height": 1080})
    page.wait_for_timeout(200)
    assert frets_of(rows_of(page)[0]["shapes"]) == taken_shapes(song, 0, printed[0] - 1)[1:], (
        "a lost one is seen"
    )


def test_the_board_has_no_controls_and_a_pedal_leads_through_it(opened: Opened, song_address: str) -> None:
    window = opened(width=1920, height=1080)
    page = window.show(song_address)
    page.evaluate("Tercet.player.countBars = 0")
    page.evaluate("Tercet.markNotes([0])")
    page.click("#to-board")
    page.evaluate("Tercet.markNotes([])")
    assert page.locator("#board .sounds").count() == 0
    seen = """() => [...document.querySelectorAll("button, input, select, a")].filter((each) => (
      each.checkVisibility({ opacityProperty: true, visibilityProperty: true }))).length"""
    assert page.evaluate(seen) == 0
    found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
    assert [
        (one["id"], [node["html"] for node in one["nodes"]]) for one in found.response["violations"]
    ] == []
    page.mouse.move(900, 500)
    page.mouse.move(910, 510)
    assert page.evaluate(seen) == 1
    starts = page.evaluate("Tercet.page.phrases.map((note) => Tercet.player.speed.onset[note] - 4)")
    assert len(starts) == 4

    def press(key: str, wanted: str) -> None:
        page.keyboard.press(key)
        page.wait_for_function("(state) => Tercet.player.state === state", arg=wanted)

    press("ArrowRight", "still")
    assert state(page, "at") == starts[1]
    press("ArrowRight", "still")
    press("ArrowLeft", "still")
    assert state(page, "at") == starts[1]
    press(" ", "playing")
    press(" ", "still")
    press("PageDown", "playing")
    assert starts[1] <= page.evaluate("Tercet.player.position().ms") < starts[2]
    press("PageDown", "playing")
    assert starts[2] <= page.evaluate("Tercet.player.position().ms") < starts[3]
    press("PageUp", "still")
    assert state(page, "at") == starts[2], "back to where the phrase begins, and there it waits"
    press("ArrowUp", "still")
    assert state(page, "at") == starts[1]
    press("ArrowDown", "playing")
    press("ArrowLeft", "playing")
    page.keyboard.press("Escape")
    assert not page.is_visible("#board")
    assert page.evaluate("document.activeElement.id") == "to-board"
    assert shown(page, ".score.wide")
    page.keyboard.press("PageUp")
    assert state(page, "state") == "playing", "a page without the board keeps its keys"


def test_the_board_says_whose_turn_it_is(opened: Opened, song_address: str) -> None:
    page = opened(width=1280, height=720).show(song_address + "#board")
    assert page.is_visible("#board")
    page.evaluate("document.querySelector('[data-track]').click()")
    page.wait_for_function("() => document.getElementById('track').currentTime > 0.1", timeout=15_000)
    page.evaluate("document.getElementById('track').currentTime = 2")
    page.wait_for_function(
        "() => document.getElementById('board-turn').textContent === 'Your turn'", timeout=5000
    )
    assert page.evaluate("parseFloat(getComputedStyle(document.getElementById('board-turn')).fontSize)") > 45
    page.keyboard.press(" ")
    page.wait_for_function("() => document.getElementById('track').paused")
    assert state(page, "state") == "still", "Space goes on with what played last"


def test_firefox_plays_by_space_and_shows_the_board(song_address: str) -> None:
    with firefox_page(width=1440, height=900) as page:
        page.goto(song_address)
        page.wait_for_function(USABLE)
        assert page.evaluate("() => document.querySelector('.score.wide').offsetParent !== null")
        page.evaluate("() => { Tercet.player.countBars = 0; }")
        page.keyboard.press(" ")
        page.wait_for_function(
            "() => Tercet.player.state === 'playing' && document.querySelector('.score .sounds') !== null"
        )
        page.keyboard.press(" ")
        assert page.evaluate("() => Tercet.player.state") == "still"
        page.click("#to-board")
        page.wait_for_function("() => document.querySelectorAll('#board .row:not([hidden])').length === 2")
        rows = page.evaluate(ON_BOARD)
        assert [bool(row["words"] and row["shapes"] and row["strums"]) for row in rows] == [True, True]
        assert not any(row["staff"] or row["overlap"] for row in rows)
        page.keyboard.press("PageDown")
        page.wait_for_function("() => document.querySelector('#board .playing .sounds') !== null")
        page.keyboard.press("Escape")
        page.wait_for_function("() => document.getElementById('board').hidden")
        assert page.said == []


# The list, and what is taken home


def test_the_list_plays_a_first_line_of_one_song_at_a_time(opened: Opened, served: str) -> None:
    page = opened(width=360, height=740).show(f"{served}/index.html")
    found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
    assert [one["id"] for one in found.response["violations"]] == []
    line = page.locator(".first-line")
    assert line.count() == 1
    assert line.get_attribute("role") == "button"
    line.press(" ")
    page.wait_for_function("() => document.querySelector('.first-line').textContent.startsWith('Stop')")
    line.click()
    assert (line.text_content() or "").startswith("Hear the first line")
    assert "new" not in (page.text_content("h1") or "")


def test_what_is_taken_home_is_short_until_it_is_opened(opened: Opened, tmp_path: Path) -> None:
    sets = [f"{tuning}-{speed}" for tuning in ("high-g", "low-g", "baritone") for speed in ("60", "100")]
    files = [(f"{folder}/{number:02}-track.mp3", 900_000) for folder in sets for number in range(20)]
    address = page_of(tmp_path, song_text(), downloads={"mp3": files, "pdf": [("song.pdf", 60_000)]})
    page = opened(width=360, height=740).show(address)
    tall = "document.querySelector('.home').getBoundingClientRect().height"
    assert page.evaluate(tall) < 450
    assert page.locator(".home a[download]").count() == 121
    page.locator(".home summary").first.click()
    assert page.evaluate(tall) > 900


def test_pictures_are_dark_where_the_system_is(opened: Opened, tmp_path: Path) -> None:
    from io import BytesIO

    from PIL import Image, ImageStat

    address = page_of(tmp_path, song_text())
    light = {}
    for scheme in ("light", "dark"):
        page = opened(width=820, color_scheme=scheme).show(address)
        page.locator("#map img").scroll_into_view_if_needed()
        page.wait_for_function("() => document.querySelector('#map img').complete")
        with Image.open(BytesIO(page.locator("#map").screenshot())) as seen:
            light[scheme] = ImageStat.Stat(seen.convert("L")).median[0]
    assert light["light"] > 230
    assert light["dark"] < 45
