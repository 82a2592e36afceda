"""Record yourself at the desk: from the microphone and from a file, what the desk refuses, and that nothing is left."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tercet.arranging import arrange, song_tuning
from tercet.desk.page_files import page_words
from tercet.song import parse_song
from tests.browser.test_desk import until, wait_for, write_all
from tests.browser.test_practice import NO_MICROPHONE, REFUSED
from tests.browser.test_use import RULES, tab_to
from tests.browser.test_yours import COUNTED_IN_S, LISTENING, SHORT
from tests.browser.windows import Window, listening_to, window
from tests.desk.desks import Desk, desk
from tests.hearing.conftest import LONGER
from tests.hearing.performances import play, record
from tests.kits import run_tercet

WORDS = page_words()
NAME = "kettle.yaml"
ANSWERS = """
window.answers = [];
const plain = window.fetch;
window.fetch = async (...asked) => {
  const response = await plain(...asked);
  if (asked[0] === "recording" && response.status === 200) window.answers.push(await response.clone().json());
  return response;
};
"""
"""Run before the page's own scripts: what the desk says of recordings is kept."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A song, and a recording of a part of it with a wrong note."""
    base = tmp_path_factory.mktemp("desk-recording")
    (base / "songs").mkdir()
    (base / "songs" / NAME).write_text(LONGER, encoding="utf-8")
    song = parse_song(LONGER)
    record(play(arrange(song, song_tuning(song)), SHORT), "phone", base / "Ada")
    return base


@pytest.fixture
def open_desk(tmp_path: Path) -> Iterator[Desk]:
    (tmp_path / "songs").mkdir()
    (tmp_path / "songs" / NAME).write_text(LONGER, encoding="utf-8")
    with desk(tmp_path / "songs", grace_s=1.0) as found:
        yield found


def show(opened: Window, open_desk: Desk, script: str = "") -> Page:
    """Show the desk with the slip open."""
    page = opened.page
    page.add_init_script(ANSWERS + script)
    page.goto(open_desk.address)
    until(page, "document.querySelectorAll('.layer').length > 0")
    page.click("[data-slip=yours]")
    return page


@pytest.fixture
def page(browser: Browser, open_desk: Desk) -> Iterator[Page]:
    with window(browser, width=1024, height=768) as opened:
        yield show(opened, open_desk)
        opened.said = [each for each in opened.said if "status of 422" not in each]


def choose(page: Page, path: Path) -> None:
    page.set_input_files("#yours-file", path)
    until(
        page,
        "document.querySelector('.note.heard') || /[.?:]/.test(document.getElementById('yours-told').textContent)",
    )


def told(page: Page) -> str:
    return page.inner_text("#yours-told")


def printed(folder: Path, path: Path) -> Any:
    (facts,) = json.loads(run_tercet("hear", folder / "songs" / NAME, path, "--json"))
    return facts


def check_shown(page: Page, facts: Any) -> None:
    """What the page shows first is the advice."""
    advice = facts["advice"]
    shown = page.locator(".note.heard p:not(.place, .tools)").all_inner_texts()
    assert shown == [advice["well"], advice["next"]["sentence"]]


def test_a_chosen_recording_gets_the_advice_of_the_command(page: Page, folder: Path, open_desk: Desk) -> None:
    choose(page, folder / "Ada.wav")
    facts = printed(folder, folder / "Ada.wav")
    assert page.evaluate("window.answers[0].facts") == facts
    check_shown(page, facts)
    assert not page.is_visible("#yours-report details ul")
    assert page.locator("#yours-report svg").count() == 1
    page.click("#yours-report .note .tools button")
    wait_for(lambda: page.inner_text("#where") != "")
    first, *_, last = facts["advice"]["next"]["bars"]
    seen = [page.inner_text("#where").split()[1]]

    def again() -> bool:
        bar = page.inner_text("#where").split()[1]
        if bar != seen[-1]:
            seen.append(bar)
        return len(seen) == 3

    page.fill("#speed", "200")
    wait_for(again)
    assert seen == [str(first), str(last), str(first)]
    page.keyboard.press("Escape")
    assert sorted(path.name for path in open_desk.folder.iterdir() if path.is_file()) == [NAME]


def test_what_the_browser_reads_and_the_desk_does_not_is_heard(
    page: Page, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "Ada.m4a").write_bytes((folder / "Ada.wav").read_bytes())
    choose(page, tmp_path / "Ada.m4a")
    check_shown(page, printed(folder, folder / "Ada.wav"))
    posted = page.evaluate("window.answers[0].facts.recording")
    assert posted == "Ada"


def test_what_tells_nothing_is_refused_with_the_reason(page: Page, tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    soundfile.write(tmp_path / "silent.wav", np.zeros(8 * 24_000), 24_000)
    soundfile.write(tmp_path / "short.wav", rng.normal(0, 0.1, 2 * 24_000), 24_000)
    (tmp_path / "text.wav").write_text("a song", encoding="utf-8")
    reasons = {
        "silent": "silent.wav is silent",
        "short": "short.wav is 2.0 s long",
        "text": "isn't an audio file",
    }
    for name, reason in reasons.items():
        choose(page, tmp_path / f"{name}.wav")
        assert reason in told(page)
    page.evaluate("document.getElementById('yours').dataset.largest = '1000'")
    choose(page, tmp_path / "short.wav")
    assert told(page) == WORDS["yours_large"].replace("{megabytes}", "0")
    page.evaluate("document.getElementById('yours').dataset.largest = '1000000000'")
    write_all(page, "title: nothing")
    choose(page, tmp_path / "short.wav")
    assert told(page) == WORDS["has_mistakes"]
    assert page.locator("#yours-takes li").count() == 0
    assert page.locator(".note.heard").count() == 0


@pytest.mark.parametrize(("script", "said"), [(NO_MICROPHONE, "yours_closed"), (REFUSED, "yours_refused")])
def test_without_a_microphone_a_recording_is_chosen(
    browser: Browser, open_desk: Desk, script: str, said: str
) -> None:
    with window(browser) as opened:
        page = show(opened, open_desk, script)
        if said == "yours_refused":
            page.click("#yours-go")
            wait_for(lambda: told(page) == WORDS[said])
            assert page.inner_text("[data-slip=yours]") == WORDS["yours_open"]
        else:
            assert not page.is_visible("#yours-go")
            assert WORDS[said] in page.inner_text("#yours")
        assert page.get_by_role("button", name=WORDS["yours_choose"]).is_enabled()


def test_a_take_is_recorded_heard_and_deleted_by_keyboard(
    browser: Browser, folder: Path, open_desk: Desk, tmp_path: Path
) -> None:
    sound, rate_hz = soundfile.read(folder / "Ada.wav", dtype="float32")
    quiet = np.random.default_rng(2).normal(0, 3e-4, round(COUNTED_IN_S * rate_hz)).astype(np.float32)
    soundfile.write(tmp_path / "played.wav", np.concatenate([quiet, sound]), rate_hz, subtype="PCM_16")
    with (
        listening_to(browser, f"{tmp_path / 'played.wav'}%noloop") as listening,
        window(listening) as opened,
    ):
        page = show(opened, open_desk, LISTENING)
        assert page.evaluate("window.streams.length") == 0, "nobody is asked before a press"
        tab_to(page, "#yours-go")
        page.keyboard.press("Enter")
        until(page, "document.getElementById('play').getAttribute('aria-pressed') === 'true'")
        assert page.inner_text("[data-slip=yours]") == WORDS["yours_on"]
        assert page.evaluate("Object.values(window.wish.audio)") == [False, False, False]
        assert told(page) == WORDS["yours_all_off"]
        until(page, "document.getElementById('play').getAttribute('aria-pressed') === 'false'")
        page.wait_for_timeout(1000.0 * (len(sound) / rate_hz + 0.5))
        page.keyboard.press("Enter")
        page.wait_for_selector(".note.heard")
        assert page.evaluate("window.streams[0].getTracks().map((track) => track.readyState)") == ["ended"]
        with page.expect_download() as saving:
            page.get_by_role("button", name="Save").click()
        saving.value.save_as(tmp_path / "take.wav")
        facts = printed(folder, tmp_path / "take.wav")
        (answer,) = page.evaluate("window.answers")
        assert answer["facts"] | {"recording": "take"} == facts
        length_s = soundfile.info(tmp_path / "take.wav").duration
        assert length_s - len(sound) / rate_hz == pytest.approx(0.7, abs=0.6), "the count-in is cut off"
        assert facts["trust"] > 0.9
        check_shown(page, facts)
        page.get_by_role("button", name=WORDS["yours_own"]).click()
        assert page.locator("#yours-report [aria-pressed=true]").count() == 1
        page.get_by_role("button", name=WORDS["yours_model"]).click()
        until(page, "document.getElementById('play').getAttribute('aria-pressed') === 'true'")
        assert page.locator("#yours-report [aria-pressed=true]").count() == 0
        page.click("#play")
        page.get_by_role("button", name="Delete").focus()
        page.keyboard.press("Enter")
        assert page.locator("#yours-takes li, .note.heard").count() == 0
        assert page.evaluate("document.activeElement.id") == "yours-go"
        assert page.evaluate("indexedDB.databases()") == []


def test_layers_are_heard_along_and_the_take_ends_with_the_song(browser: Browser, open_desk: Desk) -> None:
    with listening_to(browser) as listening, window(listening) as opened:
        page = show(opened, open_desk)
        write_all(page, LONGER.replace("form: verse*3", "form: verse*2").replace("tempo: 104", "tempo: 180"))
        page.fill("#speed", "200")
        page.check("#yours fieldset:nth-of-type(2) input[value=strums]")
        page.click("#yours-go")
        wait_for(lambda: page.inner_text("#where").startswith("bar 2"))
        assert page.is_disabled("#yours fieldset:nth-of-type(2) input[value=strums]")
        until(page, "document.querySelectorAll('#yours-takes li').length === 1")


def test_what_is_stopped_in_the_count_in_is_no_take(browser: Browser, open_desk: Desk) -> None:
    with listening_to(browser) as listening, window(listening) as opened:
        page = show(opened, open_desk)
        page.click("#yours-go")
        until(page, "document.getElementById('play').getAttribute('aria-pressed') === 'true'")
        page.click("#play")
        until(page, f"document.getElementById('yours-go').textContent === '{WORDS['yours_record']}'")
        assert page.locator("#yours-takes li").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1920])
def test_what_was_heard_is_accessible_and_fits(
    browser: Browser, open_desk: Desk, folder: Path, scheme: str, width: int
) -> None:
    with window(browser, width=width, height=800, color_scheme=scheme) as opened:
        page = show(opened, open_desk)
        choose(page, folder / "Ada.wav")
        page.click("#yours-report summary")
        found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
        assert found.response["violations"] == [], found.generate_report()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
