"""Practice that remembers: named bars, a ladder of speeds, clicks, and strings to tune by ear or by microphone."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable, Iterator
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.browser.listening import RATE_HZ, Samples, play, rendered, rendered_sides, set_speed
from tests.browser.test_sound import BEGIN_S, choose, fitted, lag_frames, no_count_in, offline_page, onsets_s
from tests.browser.test_use import RULES, state, tab_to
from tests.browser.windows import USABLE, Window, listening_to, window
from tests.kits import SHORT_SONG, run_tercet

Opened = Callable[..., Window]

PULSE_S = 60 / 132
HZ = {
    "D3": 146.8324,
    "G3": 195.9977,
    "B3": 246.9417,
    "C4": 261.6256,
    "E4": 329.6276,
    "G4": 391.9954,
    "A4": 440.0,
}
TUNINGS = {
    "high-g": ("G4", "C4", "E4", "A4"),
    "low-g": ("G3", "C4", "E4", "A4"),
    "baritone": ("D3", "G3", "B3", "E4"),
}
OFF_CENTS = (-30, -7, 0, 12)
HOSTILE = '"><img src=x onerror=alert(1)> </script>'

LOOPS = """
() => [...document.querySelectorAll("#loops li")].map((item) => (
  [item.querySelector("strong").textContent, item.querySelector(".loop-play").getAttribute("aria-pressed")]))
"""
DENIED = """
Object.defineProperty(window, "localStorage", { get() { throw new DOMException("denied", "SecurityError"); } });
"""


def keep_bars(page: Page, first: int, last: int, name: str) -> None:
    page.evaluate("([first, last]) => Tercet.pickLoop(first, last)", [first, last])
    page.fill("#loop-name", name)
    page.press("#loop-name", "Enter")


# Bars with names


def test_bars_get_names_that_stay(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    keep_bars(page, 3, 4, "the jump")
    keep_bars(page, 0, 2, HOSTILE)
    keep_bars(page, 5, 5, "")
    shown = [["the jump", "false"], [HOSTILE, "false"], ["bar 5", "true"]]
    assert page.evaluate(LOOPS) == shown
    assert "Kept on this device: bar 5." in (page.text_content("#loops-told") or "")
    page.reload()
    page.wait_for_function(USABLE)
    assert [name for name, _ in page.evaluate(LOOPS)] == [name for name, _ in shown]
    assert page.evaluate("document.querySelectorAll('#loops img').length") == 0
    page.click("#loops li:nth-child(1) .loop-play")
    page.wait_for_function("() => Tercet.player.state === 'playing'")
    assert state(page, "loop") == {"first": 3, "last": 4}
    assert page.evaluate(LOOPS)[0][1] == "true"
    page.click("#go")
    page.click("#loops li:nth-child(2) .link:last-child")
    assert [name for name, _ in page.evaluate(LOOPS)] == ["the jump", "bar 5"]
    kept = json.loads(page.evaluate("localStorage.getItem('tercet')"))["songs"]
    assert [one["loops"] for one in kept.values()] == [[["the jump", 3, 4], ["", 5, 5]]]


def test_keys_rename_and_delete_named_bars(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    keep_bars(page, 3, 4, "jump")
    tab_to(page, "#loops .link:not(:last-child)")
    page.keyboard.press("Enter")
    page.keyboard.type("my jump")
    assert state(page, "state") == "still"  # the space is the name's
    page.keyboard.press("Enter")
    assert page.evaluate(LOOPS)[0][0] == "my jump"
    assert page.evaluate("document.activeElement.className") == "quiet loop-play"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.keyboard.type("no")
    page.keyboard.press("Escape")
    assert page.evaluate(LOOPS)[0][0] == "my jump"
    tab_to(page, "#loops .link:last-child")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Delete my jump"
    page.keyboard.press("Enter")
    assert page.evaluate(LOOPS) == []
    assert page.evaluate("document.activeElement.id") == "loop-name"


def test_a_browser_that_keeps_nothing_says_so(opened: Opened, song_address: str) -> None:
    window = opened()
    window.page.add_init_script(DENIED)
    page = window.show(song_address)
    keep_bars(page, 3, 4, "jump")
    assert page.evaluate(LOOPS) == [["jump", "true"]]
    assert "keeps nothing" in (page.text_content("#loops-told") or "")
    page.click("#slower")
    assert page.evaluate("Tercet.kept.song().speed") == 95


@pytest.mark.parametrize(
    "left",
    [
        "null",
        "7",
        '{"songs": []}',
        '{"songs": {"ID": {"loops": 5, "speed": "fast"}}}',
        '{"songs": {"ID": {"loops": [1, ["x"], ["far", 3, 999], ["back", 4, 3], ["good", 1, 2]]}}}',
    ],
)
def test_what_lies_in_the_store_is_data(opened: Opened, song_address: str, left: str) -> None:
    page = opened().show(song_address)
    own = page.evaluate("Tercet.page.song")
    page.evaluate("(left) => localStorage.setItem('tercet', left)", left.replace("ID", own))
    page.reload()
    page.wait_for_function(USABLE)
    assert [name for name, _ in page.evaluate(LOOPS)] == (["good"] if "good" in left else [])
    assert state(page, "speed.percent") == 100


# A ladder


def test_a_ladder_climbs_bar_by_bar_and_stops_at_the_top(opened: Opened, song_address: str) -> None:
    """Bars 3 and 4 twice at 80 %, twice at 100 %: what is heard is what loops at these speeds play."""
    rounds, early = {}, {}
    for percent in (80, 100):
        page = offline_page(opened, song_address)
        no_count_in(page)
        set_speed(page, percent)
        page.evaluate("Tercet.pickLoop(3, 4)")
        play(page)
        bars, start = page.evaluate("[Tercet.player.speed.bars, Tercet.player.speed.startOf(3)]")
        early[percent] = round((bars[3][0] - start) / 1000 * RATE_HZ)
        frames = round((bars[4][1] - bars[3][0]) / 1000 * RATE_HZ)
        rounds[percent] = rendered(page)[round(BEGIN_S * RATE_HZ) :][:frames]
    page = offline_page(opened, song_address)
    no_count_in(page)
    page.evaluate("Tercet.pickLoop(3, 4)")
    page.select_option("#ladder-from", "80")
    page.select_option("#ladder-step", "20")
    page.click("#ladder-go")
    page.wait_for_function("() => Tercet.player.state === 'playing'")
    assert page.text_content("#rungs [aria-current]") == "80 %"
    assert page.text_content("#ladder-told") == "80 %, 1 of 2"
    heard = rendered(page)[round(BEGIN_S * RATE_HZ) :]
    beat = early[80]
    for percent in (80, 80, 100, 100):
        frames = len(rounds[percent])
        part, middle = heard[beat - early[percent] :][:frames], slice(4800, frames - 9600)
        assert abs(lag_frames(part, rounds[percent])) <= 0.01 * RATE_HZ
        assert fitted(part[middle], rounds[percent][middle])[1] < -14
        assert fitted(part[middle], rounds[180 - percent][4800:])[1] > -6, "the measure sees another speed"
        beat += frames
    assert np.abs(heard[beat + RATE_HZ // 2 :]).max() < 1e-4
    page.evaluate("Tercet.player.tick()")
    assert state(page, "ladder") is None
    assert state(page, "speed.percent") == 100
    assert state(page, "state") == "still"


def test_a_ladder_counts_in_at_each_speed_and_one_press_ends_it(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.evaluate("Tercet.pickLoop(3, 3)")
    page.select_option("#ladder-from", "90")
    page.select_option("#ladder-times", "1")
    page.click("#ladder-go")
    page.wait_for_function("() => Tercet.player.rounds.length > 1")
    apart, bar_s, counted_s = page.evaluate("""() => {
      const [one, two] = Tercet.player.rounds;
      const from = ({ speed, from }) => (speed.bars[3][0] - from) / 1000;
      return [two.when + from(two) - one.when - from(one), (one.speed.bars[3][1] - one.speed.bars[3][0]) / 1000,
        -two.speed.count.bar[0][0][0] / 1000, document.getElementById("ladder-go").click()].slice(0, 3);
    }""")
    assert apart == pytest.approx(bar_s + counted_s, abs=0.001)
    assert state(page, "state") == "still"
    assert state(page, "ladder") is None
    assert state(page, "speed.percent") == 100
    assert page.evaluate("Tercet.kept.song().speed") is None
    page.click("#ladder-go")
    page.wait_for_function("() => Tercet.player.state === 'playing'")
    page.click("#quicker")
    assert state(page, "ladder") is None


def test_recorded_stems_climb_too(opened: Opened, recorded_address: str) -> None:
    page = offline_page(opened, recorded_address)
    no_count_in(page)
    page.evaluate("Tercet.pickLoop(3, 3)")
    page.select_option("#ladder-step", "20")
    page.select_option("#ladder-times", "1")
    assert page.text_content("#rungs") == "80 %100 %"
    page.click("#ladder-go")
    page.wait_for_function("() => Tercet.player.rounds.length === 2")
    assert page.evaluate("Tercet.player.rounds.map((round) => round.speed.percent)") == [80, 100]


# Clicks


def only_clicks(page: Page, percent: int = 100) -> None:
    no_count_in(page)
    set_speed(page, percent)
    for layer in ("melody", "between", "strums"):
        choose(page, layer, "out")
    page.check("#click-along")


def test_the_metronome_clicks_on_each_pulse_of_the_music(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    only_clicks(page, 80)
    play(page)
    begun, bars = page.evaluate(
        "[Tercet.player.rounds[0].when - Tercet.player.rounds[0].from / 1000, Tercet.player.speed.bars]"
    )
    heard = onsets_s(rendered(page))
    starts = [begun + start / 1000 for start, _ in bars[1:] if begun + start / 1000 < 19]
    assert len(starts) > 8
    for start, end in pairwise(starts):
        within = [onset for onset in heard if start - 0.02 < onset < end - 0.02]
        assert len(within) == 3
        assert within[0] == pytest.approx(start, abs=0.003)
        assert within[1] - start == pytest.approx((end - start) / 3, abs=0.02)
    assert max(abs(onset - start - PULSE_S) for onset, start in zip(heard[1:4], starts, strict=False)) > 0.05


def test_a_metronome_that_joins_a_loop_clicks_once_a_pulse(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    no_count_in(page)
    page.evaluate("Tercet.pickLoop(3, 4)")
    play(page)
    due = page.evaluate("""() => {
      const { player } = Tercet;
      const due = [];
      const click = player.clickAt.bind(player);
      player.clickAt = (when, first) => { due.push(when); click(when, first); };
      player.setClicking(true, 0.5);
      return due;
    }""")
    assert len(due) > 5
    assert np.diff(sorted(due)).min() > 0.9 * PULSE_S


def test_the_metronome_goes_on_alone(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    set_speed(page, 90)
    page.click("#click-alone")
    assert page.get_attribute("#click-alone", "aria-pressed") == "true"
    heard = rendered(page)
    onsets = np.array(onsets_s(heard))
    assert len(onsets) >= 5
    assert np.diff(onsets) == pytest.approx(PULSE_S / 0.9, abs=0.001)
    heights = [float(np.abs(heard[round(onset * RATE_HZ) :][:2400]).max()) for onset in onsets[:4]]
    assert heights[1] == pytest.approx(heights[2], rel=0.01)


def test_clicks_and_music_together_never_clip(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    page.evaluate("window.audioSides = 2")
    no_count_in(page)
    for layer in ("melody", "between", "strums"):
        choose(page, layer, "front")
    page.fill("#click-level", "100")
    page.check("#click-along")
    play(page)
    assert np.abs(rendered_sides(page)).max() <= 1.0


def test_music_is_as_much_lower_as_clicks_need(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    play(page)
    gains = "[Tercet.player.whole.gain.value, Tercet.player.clickGain.gain.value * Tercet.page.knock_peak]"
    page.evaluate("Tercet.player.setClicking(true, 1)")
    page.wait_for_function(f"() => Math.abs({gains}[0] - 0.75) < 0.01")
    whole, click = page.evaluate(gains)
    assert whole + click == pytest.approx(1.0, abs=0.01)
    page.evaluate("Tercet.player.setClicking(false, 1)")
    page.wait_for_function(f"() => {gains}[0] > 0.99")
    assert page.evaluate("Tercet.player.clicks.size") == 0


# The tuner


def tone(
    name: str, off_cents: float, seconds: float, rng: np.random.Generator, lowest_hz: float = 0.0
) -> Samples:
    """A plucked string: stretched partials that fade, noise 35 dB below; little under `lowest_hz`, as in phones."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    hz = HZ[name] * 2 ** (off_cents / 1200)
    sound = np.zeros(len(time_s))
    for partial in range(1, 13):
        own_hz = partial * hz * np.sqrt((1 + 3e-5 * partial**2) / (1 + 3e-5))
        height = abs(np.sin(np.pi * partial * 0.21)) / partial**1.1 / (1 + (lowest_hz / own_hz) ** 4)
        phase = rng.uniform(0, 2 * np.pi)
        sound += (
            height * np.exp(-time_s * (0.8 + 0.5 * partial)) * np.sin(2 * np.pi * own_hz * time_s + phase)
        )
    sound *= 0.2 / np.abs(sound).max()
    return np.asarray(sound + rng.normal(0, 0.2 * 10 ** (-35 / 20) / 3, len(sound)), np.float32)


@pytest.fixture(scope="module")
def ear(browser: Browser) -> Iterator[Page]:
    """A page with nothing but the tuner's ear."""
    page = browser.new_page()
    page.goto("about:blank")
    script = files("tercet.publish.page").joinpath("player", "2-pitch.js").read_text(encoding="utf-8")
    page.add_script_tag(content="window.Tercet = {};" + script)
    yield page
    page.close()


HEAR = """
([sounds, strings]) => sounds.map((text) => {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const found = Tercet.heardString(new Float32Array(bytes.buffer), 48000, strings);
  return found && [found.string, found.cents];
})
"""


def heard_strings(ear: Page, sounds: list[Samples], tuning: str) -> list[Any]:
    texts = [base64.b64encode(sound.tobytes()).decode() for sound in sounds]
    found: list[Any] = ear.evaluate(HEAR, [texts, [HZ[name] for name in TUNINGS[tuning]]])
    return found


@pytest.mark.parametrize("tuning", TUNINGS)
@pytest.mark.parametrize("lowest_hz", [0.0, 300.0])
def test_each_string_is_known_within_two_cents(ear: Page, tuning: str, lowest_hz: float) -> None:
    rng = np.random.default_rng(1)
    wanted = [(string, cents) for string in range(4) for cents in (*OFF_CENTS, -90, 70)]
    sounds = [
        tone(TUNINGS[tuning][string], cents, 0.6, rng, lowest_hz)[at : at + 8192]
        for string, cents in wanted
        for at in (2_000, 20_000)
    ]
    found = heard_strings(ear, sounds, tuning)
    for (string, cents), (heard, heard_cents) in zip(np.repeat(wanted, 2, axis=0), found, strict=True):
        assert heard == string
        assert heard_cents == pytest.approx(cents, abs=2.0)


def test_the_measure_sees_three_cents(ear: Page) -> None:
    rng = np.random.default_rng(2)
    ((string, cents),) = heard_strings(ear, [tone("C4", 3, 0.6, rng)[2000 : 2000 + 8192]], "high-g")
    assert string == 1
    assert abs(cents) > 2.0


def test_noise_and_silence_are_no_string(ear: Page) -> None:
    rng = np.random.default_rng(3)
    noise = np.asarray(rng.normal(0, 0.05, 8192), np.float32)
    assert (
        heard_strings(ear, [np.zeros(8192, np.float32), noise, np.float32(1e-3) * noise], "high-g")
        == [None] * 3
    )


def test_a_string_is_heard_in_tune_again_and_again(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    assert page.locator("#strings button").all_inner_texts() == ["4 G", "3 C", "2 E", "1 A"]
    assert page.get_attribute("#strings button", "aria-label") == "Hear string 4, G"
    page.click("#strings button:nth-child(2)")
    assert page.get_attribute("#strings button:nth-child(2)", "aria-pressed") == "true"
    heard = rendered(page)
    spectrum = np.abs(
        np.fft.rfft(heard[RATE_HZ // 4 :][: 2 * RATE_HZ] * np.hanning(2 * RATE_HZ), 32 * RATE_HZ)
    )
    low, high = (round(32 * hz) for hz in (250, 275))
    peak = (low + int(np.argmax(spectrum[low:high]))) / 32
    assert 1200 * np.log2(peak / HZ["C4"]) == pytest.approx(0, abs=1.0)
    assert 0.2 < np.abs(heard).max() <= 0.31
    loud = [float(np.abs(heard[round(2.4 * turn * RATE_HZ) :][:9600]).max()) for turn in range(4)]
    assert min(loud) > 0.2, "it is struck again"
    page.click("#strings button:nth-child(2)")
    assert page.get_attribute("#strings button:nth-child(2)", "aria-pressed") == "false"


NO_MICROPHONE = "Object.defineProperty(navigator, 'mediaDevices', { value: undefined });"
REFUSED = """
navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException("no", "NotAllowedError"));
"""


@pytest.mark.parametrize(("script", "said"), [(NO_MICROPHONE, "https address"), (REFUSED, "wasn't allowed")])
def test_without_a_microphone_strings_are_tuned_by_ear(
    opened: Opened, song_address: str, script: str, said: str
) -> None:
    window = opened()
    window.page.add_init_script(script)
    page = window.show(song_address)
    page.click("#listen")
    page.wait_for_function("() => document.getElementById('heard-words').textContent.includes('by ear')")
    assert said in (page.text_content("#heard-words") or "")
    assert page.get_attribute("#listen", "aria-pressed") == "false"


TONE_S, GAP_S = 0.45, 0.19
LISTENING = """
window.readings = [];
window.words = [];
const get = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
navigator.mediaDevices.getUserMedia = async (wish) => { window.stream = await get(wish); return window.stream; };
window.addEventListener("load", () => {
  const hear = Tercet.heardString;
  Tercet.heardString = (...all) => {
    const found = hear(...all);
    window.readings.push(found && [found.string, found.cents]);
    return found;
  };
  const words = document.getElementById("heard-words");
  new MutationObserver(() => window.words.push(words.textContent)).observe(words, { childList: true });
});
"""


HEARD_ALL = """
(wanted) => [0, 1, 2, 3].every((string) => wanted.every((cents) => (
  window.readings.filter((each) => each && each[0] === string && Math.abs(each[1] - cents) <= 2).length > 1)))
"""
"""Each string was heard twice in each way; the recording comes round again until then."""


@pytest.fixture(scope="module")
def tuned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages of two tunings in one file each, and a recording of all their strings, each a little off in four ways."""
    base = tmp_path_factory.mktemp("tuned")
    song = base / "kettle-and-cup.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    for tuning in ("high-g", "baritone"):
        run_tercet("page", song, "-o", base / f"{tuning}.html", "--one-file", "--tuning", tuning)
    rng = np.random.default_rng(4)
    quiet = np.zeros(round(GAP_S * RATE_HZ), np.float32)
    parts = [part for name in HZ for cents in OFF_CENTS for part in (tone(name, cents, TONE_S, rng), quiet)]
    soundfile.write(base / "strings.wav", np.concatenate(parts), RATE_HZ, subtype="PCM_16")
    return base


def test_a_microphone_hears_every_string_of_two_tunings(browser: Browser, tuned: Path) -> None:
    with (
        listening_to(browser, str(tuned / "strings.wav")) as listening,
        window(listening) as one,
        window(listening) as other,
    ):
        shown = {"high-g": one, "baritone": other}
        for tuning, each in shown.items():
            each.page.add_init_script(LISTENING)
            each.show((tuned / f"{tuning}.html").as_uri())
            assert each.page.evaluate("window.stream") is None, "nobody is asked before a press"
            each.page.click("#listen")
        for each in shown.values():
            each.page.wait_for_function(HEARD_ALL, arg=list(OFF_CENTS), timeout=90_000)
        for tuning, each in shown.items():
            readings = each.page.evaluate("window.readings")
            words = each.page.evaluate("window.words")
            check_readings(readings, tuning)
            assert any(text.endswith("in tune") for text in words)
            assert any(text.endswith("a little low, tighten it") for text in words)
            each.page.click("#listen")
            assert each.page.evaluate("window.stream.getTracks().map((track) => track.readyState)") == [
                "ended"
            ]


def check_readings(readings: list[Any], tuning: str) -> None:
    """Most of what was heard of each string lies within two cents of a way in which it was played."""
    for string, name in enumerate(TUNINGS[tuning]):
        found = np.array(
            [cents for heard, cents in filter(None, readings) if heard == string and abs(cents) < 60]
        )
        away = np.abs(found[:, None] - np.array(OFF_CENTS))
        assert (away.min(axis=1) <= 2.0).mean() > 0.75, (name, found)


def test_the_microphone_is_let_go_where_the_drawer_is_shut(browser: Browser, tuned: Path) -> None:
    with (
        listening_to(browser) as listening,
        window(listening, width=360, height=740) as one,
    ):
        one.page.add_init_script(LISTENING)
        page = one.show((tuned / "high-g.html").as_uri())
        for leave in ("Escape", "play"):
            page.click("#handle-practise")
            page.click("#listen")
            page.wait_for_function("() => !document.getElementById('heard').hidden")
            assert page.text_content("#now-practise") == "Tuner"
            if leave == "play":
                page.click("#go")
            else:
                page.keyboard.press(leave)
            page.wait_for_function("() => window.stream.getTracks()[0].readyState === 'ended'")
            assert page.text_content("#now-practise") == "off"


# This week


def test_this_week_stands_on_top_and_is_repeated(opened: Opened, tmp_path: Path) -> None:
    song = tmp_path / "kettle-and-cup.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    said = 'this-week:\n  kettle-and-cup: {bars: 3-4, note: "<b>Slow</b> thumbs"}\n'
    (tmp_path / "class.yaml").write_text(said, encoding="utf-8")
    run_tercet("page", song, "-o", tmp_path / "class", "--no-kit")
    page = opened(width=360).show((tmp_path / "class" / "index.html").as_uri())
    assert page.text_content(".week") == "This week: bars 3–4. <b>Slow</b> thumbs"
    page.click("text=Kettle and Cup")
    page.wait_for_function(USABLE)
    assert page.text_content(".week p") == "<b>Slow</b> thumbs"
    page.click("text=Repeat bars 3–4")
    page.wait_for_function("() => Tercet.player.state === 'playing'")
    assert state(page, "loop") == {"first": 3, "last": 4}


# For everybody


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (768, "light"), (1440, "dark")])
def test_tools_are_in_nobodys_way(opened: Opened, song_address: str, width: int, scheme: str) -> None:
    page = opened(width=width, color_scheme=scheme).show(song_address)
    for panel in ("again", "practise"):
        if width < 1000:
            page.click(f"#handle-{panel}")
        if panel == "again":
            keep_bars(page, 3, 4, "a name as long as names may get, honestly")
        else:
            page.click("#ladder-go")
        page.evaluate("document.getElementById('heard').hidden = false")
        found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
        assert [
            (one["id"], [node["html"] for node in one["nodes"]]) for one in found.response["violations"]
        ] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        cut = """() => [...document.querySelectorAll(".drawer")].filter((each) => each.offsetParent
          && each.firstChild.textContent.trim().length * 5 > each.clientWidth).length"""
        assert page.evaluate(cut) == 0
        page.evaluate("Tercet.player.halt()")
