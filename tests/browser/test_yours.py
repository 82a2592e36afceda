"""Record yourself: the page hears a recording as the command line does, from a file and from the microphone."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.hearing import Heard, hear, read_recording
from tercet.song import parse_song
from tests.browser.test_practice import NO_MICROPHONE, REFUSED
from tests.browser.test_use import RULES
from tests.browser.windows import Window, listening_to, serving, window
from tests.hearing.conftest import LONGER, REPEATS, SLIPS
from tests.hearing.performances import Performance, play, record
from tests.kits import HARBOUR_LANTERNS, run_tercet

Opened = Callable[..., Window]

SHORT = Performance("short", ((0.0, 0.3),), (0.95,), wrong=1, seed=5)
RECORDINGS = {"slips": (SLIPS, "phone"), "repeats": (REPEATS, "gain"), "short": (SHORT, "phone")}
RATE_HZ = 24_000
COUNTED_IN_S = 2.6
"""The browser's fake microphone begins when it is opened, while the page still counts in."""


@pytest.fixture(scope="module")
def arrangement() -> Arrangement:
    song = parse_song(LONGER)
    return arrange(song, song_tuning(song))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, arrangement: Arrangement) -> Path:
    """A song's page, in a folder and in one file, and recordings of it."""
    base = tmp_path_factory.mktemp("yours")
    song = base / "kettle.yaml"
    song.write_text(LONGER, encoding="utf-8")
    run_tercet("page", song, "-o", base / "class", "--no-kit")
    run_tercet("page", song, "-o", base / "one.html", "--one-file")
    for name, (performance, device) in RECORDINGS.items():
        record(play(arrangement, performance), device, base / name)
    return base


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    with serving(folder / "class") as served:
        yield f"{served}/kettle/index.html"


def room(page: Page) -> Page:
    page.click("#yours-open")
    page.wait_for_selector("#yours-file", state="attached")
    return page


TOLD = """
() => document.querySelector(".told-first") || /[.?:]/.test(document.getElementById("yours-told").textContent)
"""


def choose(page: Page, path: Path) -> None:
    page.set_input_files("#yours-file", path)
    page.wait_for_function(TOLD)


LATEST = """
() => {
  const { heard, advice } = TercetHearing.latest;
  return {
    strokes: heard.strokes.map((each) => [each.stroke, each.verdict, each.heard, each.onset]),
    front: heard.front.lu,
    tuning: heard.tuning.map((each) => [each.string, each.cents]),
    told: [advice.well, advice.next && advice.next.sentence, ...advice.others.map((each) => each.sentence)],
    counts: [heard.repeats.length, heard.pauses.length, heard.bars.length, heard.firstBar, heard.lastBar],
    tempo: heard.tempo,
    trust: heard.trust,
  };
}
"""


def told(heard: Heard) -> list[str | None]:
    advice = heard.advice()
    others = [claim.sentence for claim in advice.others]
    return [advice.well, advice.next.sentence if advice.next else None, *others]


def check_alike(found: dict[str, Any], heard: Heard) -> None:
    """The page's figures against Python's: onsets to 5 ms, the front to 0.3 LU, the same verdicts and words."""
    assert len(heard.strokes) > 15
    assert [each[:3] for each in found["strokes"]] == [
        [each.stroke, each.verdict, each.heard_midi] for each in heard.strokes
    ]
    for (*_, onset_s), stroke in zip(found["strokes"], heard.strokes, strict=True):
        assert onset_s == (stroke.onset_s and pytest.approx(stroke.onset_s, abs=0.005))
    assert found["front"] == pytest.approx(heard.front.lu, abs=0.3)
    assert found["tuning"] == [[each.string, pytest.approx(each.cents, abs=0.5)] for each in heard.tuning]
    assert found["counts"] == [
        len(heard.repeats),
        len(heard.pauses),
        len(heard.tempi),
        heard.first_bar,
        heard.last_bar,
    ]
    assert found["tempo"] == pytest.approx(heard.tempo, rel=0.01)
    assert found["trust"] == pytest.approx(heard.trust, abs=0.02)
    assert found["told"] == told(heard)


@pytest.mark.parametrize(("name", "one_file"), [("slips", False), ("repeats", True)])
def test_the_page_hears_what_python_hears(
    browser: Browser,
    opened: Opened,
    folder: Path,
    address: str,
    arrangement: Arrangement,
    name: str,
    one_file: bool,
) -> None:
    window = opened(width=360, height=740)
    page = room(window.show((folder / "one.html").as_uri() if one_file else address))
    clock = browser.new_browser_cdp_session()
    choose(page, folder / f"{name}.wav")
    recording = read_recording(folder / f"{name}.wav")
    check_alike(page.evaluate(LATEST), hear(recording, arrangement))
    assert page.locator("#yours-takes li").count() == 1
    assert f"{name}.wav" in page.inner_text("#yours-takes")
    spent_s = [processor_s(clock)]
    for _ in range(3):
        choose(page, folder / f"{name}.wav")
        spent_s.append(processor_s(clock))
    assert min(np.diff(spent_s)) * 60.0 / recording.length_s < 2.0, spent_s


def processor_s(clock: Any) -> float:
    """Return the processor time that pages have taken."""
    found = clock.send("SystemInfo.getProcessInfo")["processInfo"]
    return float(sum(each["cpuTime"] for each in found if each["type"] == "renderer"))


@pytest.mark.parametrize(
    ("figure", "value"),
    [("levels.DECAY_DB_A_S", 900), ("onsets.PLUCK_LAG_MS", 30), ("verdicts.PAST_PART", 0)],
)
def test_a_figure_that_differs_is_noticed(
    opened: Opened, folder: Path, address: str, arrangement: Arrangement, figure: str, value: float
) -> None:
    page = room(opened().show(address))
    page.evaluate(f"() => {{ TercetHearing.figures.{figure} = {value}; }}")
    choose(page, folder / "short.wav")
    heard = hear(read_recording(folder / "short.wav"), arrangement)
    with pytest.raises(AssertionError):
        check_alike(page.evaluate(LATEST), heard)


def test_what_tells_nothing_is_refused_with_the_reason(
    opened: Opened, folder: Path, address: str, tmp_path: Path
) -> None:
    rng = np.random.default_rng(1)
    sounds = {
        "short": rng.normal(0, 0.1, 2 * RATE_HZ),
        "silent": np.zeros(8 * RATE_HZ),
        "noise": rng.normal(0, 0.05, 8 * RATE_HZ),
        "clipped": np.sign(np.sin(np.arange(8 * RATE_HZ) / 20.0)),
    }
    page = room(opened().show(address))
    words = page.evaluate("Tercet.page.text")
    for name, sound in sounds.items():
        soundfile.write(tmp_path / f"{name}.wav", sound.astype(np.float32), RATE_HZ)
        choose(page, tmp_path / f"{name}.wav")
        assert page.inner_text("#yours-told") == words[f"yours_{name}"]
    (tmp_path / "text.wav").write_text("a song", encoding="utf-8")
    choose(page, tmp_path / "text.wav")
    assert page.inner_text("#yours-told") == words["yours_unread"]
    assert page.locator("#yours-takes li").count() == 0
    other = parse_song(HARBOUR_LANTERNS.read_text(encoding="utf-8"))
    record(
        play(arrange(other, song_tuning(other)), Performance("other", ((0.0, 0.4),))),
        "phone",
        tmp_path / "other",
    )
    choose(page, tmp_path / "other.wav")
    assert page.inner_text(".told-first").startswith("Is this Kettle and Cup")


@pytest.mark.parametrize(("script", "said"), [(NO_MICROPHONE, "yours_closed"), (REFUSED, "yours_refused")])
def test_without_a_microphone_a_recording_is_chosen(
    opened: Opened, address: str, script: str, said: str
) -> None:
    window = opened()
    window.page.add_init_script(script)
    page = room(window.show(address))
    words = page.evaluate("Tercet.page.text")
    record = page.get_by_role("button", name=words["yours_record"], exact=True)
    if said == "yours_refused":
        record.click()
        page.wait_for_function(
            "(said) => document.getElementById('yours-told').textContent === said", arg=words[said]
        )
    else:
        assert record.count() == 0
        assert words[said] in page.inner_text("#yours-room")
    assert page.get_by_role("button", name=words["yours_choose"]).is_enabled()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_was_heard_is_accessible_and_fits_a_phone(
    opened: Opened, folder: Path, address: str, scheme: str
) -> None:
    page = room(opened(width=360, height=740, color_scheme=scheme).show(address))
    choose(page, folder / "short.wav")
    page.click("#yours-report summary")
    found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
    assert found.response["violations"] == [], found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    bars = page.locator(".told-first button")
    if bars.count():
        bars.click()
        page.wait_for_function("() => Tercet.player.state === 'playing'")
        assert page.evaluate("Tercet.player.loop !== null")


LISTENING = """
window.streams = [];
const get = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
navigator.mediaDevices.getUserMedia = async (wish) => {
  window.wish = wish;
  window.streams.push(await get(wish));
  return window.streams[window.streams.length - 1];
};
"""
TAKE = """
async () => {
  const [{ blob }] = await TercetHearing.keptTakes(Tercet.page.song);
  return btoa(Array.from(new Uint8Array(await blob.arrayBuffer()), (byte) => String.fromCharCode(byte)).join(""));
}
"""


def test_a_take_is_recorded_heard_kept_and_deleted(
    browser: Browser, folder: Path, address: str, arrangement: Arrangement, tmp_path: Path
) -> None:
    sound, rate_hz = soundfile.read(folder / "short.wav", dtype="float32")
    rng = np.random.default_rng(2)
    before = rng.normal(0, 3e-4, round(COUNTED_IN_S * rate_hz)).astype(np.float32)
    soundfile.write(tmp_path / "played.wav", np.concatenate([before, sound]), rate_hz, subtype="PCM_16")
    with (
        listening_to(browser, f"{tmp_path / 'played.wav'}%noloop") as listening,
        window(listening, width=360, height=740) as one,
    ):
        one.page.add_init_script(LISTENING)
        page = room(one.show(address))
        assert page.evaluate("window.streams.length") == 0, "nobody is asked before a press"
        words = page.evaluate("Tercet.page.text")
        page.get_by_role("button", name=words["yours_record"], exact=True).click()
        page.wait_for_function("() => Tercet.player.state === 'playing'")
        assert page.evaluate("Tercet.player.places") == ["out", "out", "out"]
        page.wait_for_function("() => Tercet.player.state === 'still'")
        assert page.evaluate("Tercet.player.places") == ["front", "middle", "back"], (
            "the lines are as they were"
        )
        assert page.evaluate("Object.values(window.wish.audio)") == [False, False, False]
        assert page.inner_text("#yours-told") == words["yours_all_off"]
        page.wait_for_timeout(1000.0 * (len(sound) / rate_hz + 0.5))
        page.get_by_role("button", name=words["yours_stop"]).click()
        page.wait_for_selector(".told-first")
        assert page.evaluate("window.streams[0].getTracks().map((track) => track.readyState)") == ["ended"]
        (tmp_path / "take.wav").write_bytes(base64.b64decode(page.evaluate(TAKE)))
        heard = hear(read_recording(tmp_path / "take.wav"), arrangement)
        assert heard.trust > 0.9
        check_alike(page.evaluate(LATEST), heard)
        asked = len(one.asked)
        page.get_by_role("button", name=words["yours_own"]).click()
        assert page.locator("#yours-report [aria-pressed=true]").count() == 1
        page.get_by_role("button", name=words["yours_model"]).click()
        page.wait_for_function("() => Tercet.player.state === 'playing'")
        assert page.locator("#yours-report [aria-pressed=true]").count() == 0
        assert len(one.asked) == asked
        page.reload()
        room(page)
        page.wait_for_selector("#yours-takes li")
        page.locator("#yours-takes button").last.click()
        page.wait_for_function("() => !document.querySelector('#yours-takes li')")
        page.reload()
        room(page)
        assert page.evaluate("TercetHearing.keptTakes(Tercet.page.song)") == []


def test_lines_are_heard_along_and_the_take_ends_with_the_song(browser: Browser, address: str) -> None:
    with (
        listening_to(browser) as listening,
        window(listening) as one,
    ):
        page = room(one.show(address))
        words = page.evaluate("Tercet.page.text")
        page.check("#yours-room fieldset:nth-of-type(2) input[value=strums]")
        page.get_by_role("button", name=words["yours_record"], exact=True).click()
        page.wait_for_function(
            "() => Tercet.player.state === 'playing' && !Tercet.player.position().counting"
        )
        assert page.evaluate("Tercet.player.places") == ["out", "out", "back"]
        page.evaluate("Tercet.player.go(Tercet.player.speed.length - 300)")
        page.get_by_role("button", name=words["yours_record"], exact=True).wait_for()
        assert page.evaluate("Tercet.player.places") == ["front", "middle", "back"]
