"""The desk in a real browser: a lesson by keyboard alone, what is heard counted in samples, and no word lost."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from numpy.typing import NDArray
from playwright.sync_api import Browser, Page

from tests.browser.firefox import AnyPage, firefox_page
from tests.browser.listening import samples_of, sending
from tests.browser.test_use import RULES, tab_to
from tests.browser.windows import Window, window
from tests.desk.desks import Desk, desk

Opened = Callable[..., Window]

in_both = pytest.mark.parametrize("page", ["Chromium", "Firefox"], indirect=True)
"""Shown in both browsers."""

TAP = """
window.heard = [];
const plain = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (target, ...rest) {
  if (target instanceof AudioDestinationNode && !(this instanceof ScriptProcessorNode)) {
    const context = this.context;
    if (!context.tap) {
      context.tap = context.createScriptProcessor(1024, 2, 1);
      context.tap.onaudioprocess = (event) => window.heard.push(event.inputBuffer.getChannelData(0).slice());
      plain.call(context.tap, context.destination);
    }
    plain.call(this, context.tap);
  }
  return plain.call(this, target, ...rest);
};
"""
"""Run before the page's own scripts: all that goes to the loudspeaker is kept."""

TAKE = sending("""
() => {
  const blocks = window.heard.splice(0);
  const all = new Float32Array(blocks.reduce((sum, block) => sum + block.length, 0));
  let at = 0;
  for (const block of blocks) { all.set(block, at); at += block.length; }
  return sent(all);
}
""")

SONG = """\
title: Kettle
key: C major
meter: 3/4
tempo: 120
players: beginner
sections:
  verse: |
    chords   C       | F      | G7     | C
    melody   E4 G C5 | A4:2 F | G4 B D5 | C5:3
"""


@pytest.fixture
def open_desk(tmp_path: Path) -> Iterator[Desk]:
    with desk(tmp_path / "songs", grace_s=3.0) as found:
        yield found


@pytest.fixture
def page(browser: Browser, open_desk: Desk, request: pytest.FixtureRequest) -> Iterator[AnyPage]:
    """The desk in Chromium, or in the browser that a test names."""
    if getattr(request, "param", "Chromium") == "Firefox":
        with firefox_page(width=1280, height=900) as firefox:
            firefox.add_init_script(TAP)
            firefox.goto(open_desk.address)
            ready(firefox)
            yield firefox
        return
    with window(browser, width=1280, height=900) as opened:
        opened.page.add_init_script(TAP)
        opened.page.goto(open_desk.address)
        ready(opened.page)
        yield opened.page
        opened.said = [each for each in opened.said if "ScriptProcessorNode is deprecated" not in each]


def ready(page: AnyPage) -> None:
    page.wait_for_selector(".cm-content")
    until(
        page,
        "document.getElementById('saved').textContent !== '' && document.querySelectorAll('.layer').length > 0",
    )


def heard(page: AnyPage) -> NDArray[np.float32]:
    return samples_of(page.evaluate(TAKE))


def wait_for(condition: Callable[[], bool], most_s: float = 20.0) -> None:
    until = time.monotonic() + most_s
    while not condition():
        assert time.monotonic() < until, "it never came"
        time.sleep(0.05)


def until(page: AnyPage, condition: str, most_s: float = 20.0) -> None:
    """Wait for the page; its policy forbids what playwright's own waiting does."""
    wait_for(lambda: bool(page.evaluate(condition)), most_s)


def text_of(page: AnyPage) -> str:
    lines: list[str] = page.evaluate(
        "[...document.querySelectorAll('.cm-line')].map((line) => line.textContent)"
    )
    return "\n".join(lines)


PASTE = """
(text) => {
  const clipboardData = new DataTransfer();
  clipboardData.setData("text/plain", text);
  const paste = new ClipboardEvent("paste", { bubbles: true, cancelable: true });
  Object.defineProperty(paste, "clipboardData", { value: clipboardData });
  document.querySelector(".cm-content").dispatchEvent(paste);
}
"""


def write_all(page: AnyPage, text: str) -> None:
    """Put a text in the song's place: all is selected, and it is pasted."""
    page.focus(".cm-content")
    page.keyboard.press("Control+a")
    page.evaluate(PASTE, text)


# ---- first visit


@in_both
def test_a_song_of_ours_is_there_and_sounds_with_one_press(page: AnyPage, open_desk: Desk) -> None:
    assert page.inner_text("#song-title") == "Harbour Lanterns"
    page.click("#play")
    wait_for(lambda: page.inner_text("#where").startswith("bar "))
    time.sleep(0.8)
    page.click("#play")
    assert np.abs(heard(page)).max() > 0.01
    assert (open_desk.folder / "harbour-lanterns.yaml").is_file()
    assert page.evaluate("document.querySelectorAll('#drawn .now').length") == 0


@in_both
def test_what_sounds_is_marked_in_text_and_music(page: AnyPage) -> None:
    page.click("#play")
    page.wait_for_selector(".cm-content .sounding")
    page.wait_for_selector("#drawn .now")
    page.keyboard.press("Escape")
    until(page, "document.querySelectorAll('.sounding, #drawn .now').length === 0")


TWO_LINES = (
    SONG.replace("tempo: 120", "tempo: 208")
    + """
    chords   F       | C       | G7     | C
    melody   A4 F A  | G4 E G  | G4 B D5 | C5:3
"""
)


def bars_heard(page: AnyPage, count: int) -> list[str]:
    """Return the next bars that the desk says it is in."""
    found: list[str] = []

    def enough() -> bool:
        where = page.inner_text("#where").partition(" of")[0]
        if where and found[-1:] != [where]:
            found.append(where)
        return len(found) >= count

    wait_for(enough)
    return found


def test_the_music_and_the_sheet_go_on_with_the_sound(page: AnyPage) -> None:
    write_all(page, TWO_LINES)
    until(page, "document.getElementById('song-title').textContent === 'Kettle'")
    page.wait_for_timeout(4200)  # the hand has left the text
    page.click("#play")
    wait_for(lambda: page.inner_text("#where").startswith("bar 5"))
    until(page, "document.querySelectorAll('#drawn .now').length > 0")
    page.click("#play")
    page.click("#sheet-open")
    page.click("#play")
    page.wait_for_selector("#sheet .now")
    page.click("#play")
    until(page, "document.querySelectorAll('#sheet .now').length === 0")


def test_a_loop_stays_whole_without_front_and_back(page: AnyPage) -> None:
    write_all(page, TWO_LINES)
    until(page, "document.getElementById('song-title').textContent === 'Kettle'")
    page.check("#again")
    page.focus(".cm-content")
    page.keyboard.press("Control+Home")
    for _ in range(8):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+End")
    page.keyboard.press("Control+Enter")
    wait_for(lambda: page.inner_text("#where").startswith("bar 3"))
    page.keyboard.press("F9")
    assert "bar 1" in bars_heard(page, 4)
    page.keyboard.press("Control+Enter")


# ---- a lesson by keyboard alone


@in_both
def test_a_whole_lesson_from_nothing_to_a_class_page(page: AnyPage, open_desk: Desk) -> None:
    tab_to(page, "#songs-open")
    page.keyboard.press("Enter")
    page.wait_for_selector("#new-song")
    tab_to(page, "#new-song")
    page.keyboard.press("Enter")
    page.wait_for_selector("#songs [name=title]")
    page.keyboard.type("Tea for Two Cats")
    tab_to(page, "#songs [name=bars]")
    page.keyboard.press("Control+a")
    page.keyboard.type("2")
    tab_to(page, "#songs [name=words]")
    page.keyboard.type("one for the pot")
    tab_to(page, "#songs [type=submit]")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('song-title').textContent === 'Tea for Two Cats'")
    song = open_desk.folder / "tea-for-two-cats.yaml"
    assert "words    one for | the pot" in song.read_text()

    # The tune is typed over what stands there, with three slips.
    page.keyboard.press("Control+End")
    for _ in range(3):
        page.keyboard.press("Shift+ArrowUp")
    page.keyboard.press("Shift+Home")
    page.keyboard.press("Delete")
    page.keyboard.press("Control+End")
    page.keyboard.type("chords   C | F | G7 | C")
    page.keyboard.press("Enter")
    page.keyboard.type("melody   E4 G E c5 | A4:2 F:2 | G4 B D5 | C5:4")
    page.keyboard.press("Enter")
    page.keyboard.type("word     one for the pot | tea time | two of us | there")
    until(page, "document.querySelectorAll('#notes .note.wrong').length === 3")
    for left in (2, 1, 0):
        page.keyboard.press("Control+.")
        until(page, f"document.querySelectorAll('#notes .note.wrong').length === {left}")
    assert page.inner_text("#mistake-count") == "No mistakes."
    for mended in ("E C5 |", "words", "D5:2"):
        assert mended in text_of(page)
    wait_for(lambda: "D5:2" in song.read_text())

    page.keyboard.press("Control+Enter")
    wait_for(lambda: page.inner_text("#where") != "")
    page.keyboard.press("Control+Enter")

    page.keyboard.press("Escape")
    page.keyboard.press("Tab")
    tab_to(page, "button.slip[data-slip=make]", most=120)
    page.keyboard.press("Enter")
    page.wait_for_selector("#make [aria-label='Make it: Class page']")
    tab_to(page, "#make [aria-label='Make it: Class page']")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('making-now')?.textContent.includes('Ready.')", most_s=120.0)
    made = open_desk.folder / "made" / "pages" / "tea-for-two-cats" / "index.html"
    assert "Tea for Two Cats" in made.read_text()
    opens = "[aria-label='Open: Class page: tea for two cats']"
    assert page.evaluate("(selector) => document.querySelectorAll(selector).length", opens) == 1


def test_what_is_made_is_chosen(page: Page, open_desk: Desk) -> None:
    write_all(page, SONG)
    until(page, "document.querySelectorAll('#drawn svg').length > 0")
    page.click("button.slip[data-slip=make]")
    page.wait_for_selector("[data-what=tracks] summary")
    page.click("[data-what=tracks] summary")
    for value in ("without-melody", "demo", "ogg", "70%"):
        page.click(f"[data-what=tracks] label:has-text('{value}') >> nth=0")
    page.click("[aria-label='Make it: Practice tracks']")
    until(page, "document.getElementById('making-now')?.textContent.includes('Ready.')", most_s=60.0)
    made = open_desk.folder / "made" / "tracks" / "harbour-lanterns"
    assert sorted(path.name for path in made.glob("*.ogg")) == ["02-demo-70.ogg", "10-without-melody-70.ogg"]
    assert not list(made.glob("*.wav"))
    assert page.evaluate("document.querySelector('[data-what=tracks] details').open")


# ---- what is heard


def test_each_change_is_heard(page: Page) -> None:
    write_all(page, SONG)
    until(page, "document.getElementById('song-title').textContent === 'Kettle'")
    notes = {}
    for note in ("C5", "E5"):
        page.uncheck("#each-change")
        write_all(page, SONG.replace("C5:3", f"{note}:2 .:1").rstrip())
        page.wait_for_timeout(500)
        page.check("#each-change")
        page.focus(".cm-content")
        page.keyboard.press("Control+End")
        for _ in range(5):
            page.keyboard.press("Backspace")
        page.wait_for_timeout(500)
        wait_for(lambda: page.get_attribute("#play", "aria-pressed") == "false")
        heard(page)
        page.keyboard.type("3")
        wait_for(lambda: page.get_attribute("#play", "aria-pressed") == "true")
        wait_for(lambda: page.get_attribute("#play", "aria-pressed") == "false")
        samples = heard(page)
        start = int(np.argmax(np.abs(samples) > 0.02))
        piece = samples[start + 4800 : start + 4800 + 24000]
        spectrum = np.abs(np.fft.rfft(piece * np.hanning(len(piece)), 24000))
        notes[note] = {hz: spectrum[round(hz / 2) - 4 : round(hz / 2) + 5].max() for hz in (523.25, 659.26)}
    # Chord tones have the other pitch among their partials: so the two edits are held against each other.
    share = {note: found[523.25] / found[659.26] for note, found in notes.items()}
    assert share["C5"] > 2 * share["E5"]


@in_both
def test_a_layer_that_is_out_is_not_heard(page: AnyPage) -> None:
    write_all(page, SONG.replace("E4 G C5", "C5:3   "))  # a long note has strums from its second beat on
    until(page, "document.getElementById('song-title').textContent === 'Kettle'")
    levels = {}
    for places in ((), ("strums",), ("melody", "between", "strums")):
        for layer in places:
            page.check(f"[name=place-{layer}][value=out]")
        page.wait_for_timeout(200)
        heard(page)
        page.click("#play")
        wait_for(lambda: page.inner_text("#where") != "")
        page.wait_for_timeout(1500)
        page.click("#play")
        samples = heard(page)
        start = int(np.argmax(np.abs(samples) > 0))
        levels[places] = float(np.sqrt((samples[start : start + 67_200] ** 2).mean()))  # 1.4 s at 48 kHz
    assert levels[()] > 1.02 * levels[("strums",)] > 0
    assert levels[("melody", "between", "strums")] < levels[()] / 1000


# ---- never lose a word


def test_what_one_types_is_on_the_disk_within_a_second(page: Page, open_desk: Desk) -> None:
    file = open_desk.folder / "harbour-lanterns.yaml"
    page.focus(".cm-content")
    page.keyboard.press("Control+Home")
    page.keyboard.type("# one more remark ")
    wait_for(lambda: file.read_text().startswith("# one more remark "), most_s=1.5)
    page.keyboard.press("Control+z")
    wait_for(lambda: not file.read_text().startswith("# one more"), most_s=2.0)


def test_a_change_from_outside_is_shown_and_neither_is_lost(page: Page, open_desk: Desk) -> None:
    file = open_desk.folder / "harbour-lanterns.yaml"
    original = file.read_text()
    page.wait_for_timeout(1000)
    file.write_text("# of another program\n" + original)
    page.wait_for_selector("#take-other")
    assert "another program" in page.inner_text("#slip-both")
    page.focus(".cm-content")
    page.keyboard.press("Control+Home")
    page.keyboard.type("# mine ")
    page.click("#take-mine")
    wait_for(lambda: file.read_text().startswith("# mine "))
    page.click("button.slip[data-slip=versions]")
    page.wait_for_selector("#versions li")
    kept = [
        open_desk.ask("version", name=file.name, key=each["key"])["text"]
        for each in open_desk.ask("history", name=file.name)["versions"]
    ]
    assert any(text.startswith("# of another program") for text in kept)


def test_a_tune_from_a_file_is_opened_and_what_was_guessed_is_said(
    page: Page, open_desk: Desk, tmp_path: Path
) -> None:
    tune = tmp_path / "Owl on the wall é.abc"
    tune.write_text("X:1\nT:Owl\nM:3/4\nL:1/4\nK:G\nG A B|c2 B|A G F|G3|\n")
    page.click("#songs-open")
    page.set_input_files("#bring", tune)
    until(page, "document.getElementById('song-title').textContent === 'Owl'")
    wait_for((open_desk.folder / "owl-on-the-wall-é.yaml").is_file)
    until(page, "document.querySelectorAll('#songs .note').length > 0")
    assert "chords" in page.inner_text("#songs")


def test_what_is_taken_back_at_once_is_saved_and_says_so(page: Page) -> None:
    page.focus(".cm-content")
    page.keyboard.type("x")
    page.keyboard.press("Control+z")
    until(page, "document.getElementById('saved').textContent === 'Saved'")


def test_a_desk_that_has_gone_says_so_and_offers_a_copy(browser: Browser, open_desk: Desk) -> None:
    with window(browser, width=1280, height=900) as opened:
        page = opened.page
        page.goto(open_desk.address)
        ready(page)
        page.route("**/*", lambda route: route.abort())
        page.focus(".cm-content")
        page.keyboard.press("Control+Home")
        page.keyboard.type("# mine ")
        until(page, "document.getElementById('saved').textContent.includes('has stopped')")
        with page.expect_download() as saved:
            page.click("#saved button")
        assert saved.value.suggested_filename == "harbour-lanterns.yaml"
        assert Path(saved.value.path()).read_text().startswith("# mine ")
        page.unroute_all()
        until(page, "document.getElementById('saved').textContent === 'Saved'")
        assert (open_desk.folder / "harbour-lanterns.yaml").read_text().startswith("# mine ")
        opened.said = [each for each in opened.said if "net::ERR_FAILED" not in each]


def test_two_windows_on_one_song_follow_each_other(browser: Browser, page: Page, open_desk: Desk) -> None:
    with window(browser, width=1280, height=900) as second:
        second.page.goto(open_desk.address)
        ready(second.page)
        page.focus(".cm-content")
        page.keyboard.press("Control+Home")
        page.keyboard.type("# from the first ")
        until(second.page, "document.querySelector('.cm-line').textContent.startsWith('# from the first ')")
        second.page.focus(".cm-content")
        second.page.keyboard.press("Control+Home")
        second.page.keyboard.type("# from the second ")
        until(
            page,
            "document.querySelector('.cm-line').textContent.startsWith('# from the second # from the first ')",
        )
    wait_for(
        lambda: (
            (open_desk.folder / "harbour-lanterns.yaml")
            .read_text()
            .startswith("# from the second # from the first ")
        )
    )


def test_a_version_is_restored_by_its_date(page: Page, open_desk: Desk) -> None:
    original = (open_desk.folder / "harbour-lanterns.yaml").read_text()
    page.focus(".cm-content")
    page.keyboard.press("Control+Home")
    page.keyboard.type("# spoilt ")
    wait_for(lambda: (open_desk.folder / "harbour-lanterns.yaml").read_text() != original)
    page.click("button.slip[data-slip=versions]")
    page.click("#versions li >> text=Go back to this one")
    wait_for(lambda: (open_desk.folder / "harbour-lanterns.yaml").read_text() == original)
    assert open_desk.ask("history", name="harbour-lanterns.yaml")["versions"]


# ---- for everyone


def test_nothing_keeps_people_out(page: Page) -> None:
    """Every slip, the whole sheet and a mistake, to axe-core; in the dark what is seen first and what is hardest."""
    page.wait_for_selector("#drawn svg.system")
    for scheme, slips in (
        ("light", ("notes", "about", "advice", "make", "versions", "keys")),
        ("dark", ("about", "advice")),
    ):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        for slip in slips:
            page.click(f"button.slip[data-slip={slip}]")
            until(page, f"document.getElementById('{slip}').textContent !== ''")
            if slip == "advice":
                page.wait_for_selector("#advice li")
            found = Axe().run(page, options={"runOnly": RULES})
            assert found.violations_count == 0, found.generate_report()


@pytest.mark.parametrize("size", [(1024, 768), (1440, 900), (1920, 1080), (512, 384)])
def test_every_size_holds_all_of_it(browser: Browser, open_desk: Desk, size: tuple[int, int]) -> None:
    """Down to a laptop at twice the size: nothing runs out of the window sideways, and play is in it."""
    with window(browser, width=size[0], height=size[1]) as opened:
        opened.page.goto(open_desk.address)
        ready(opened.page)
        opened.page.wait_for_selector("#drawn svg.system")
        assert opened.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        box = opened.page.locator("#play").bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= size[0]
        if size[0] >= 1024:
            assert box["y"] + box["height"] <= size[1]
            written = opened.page.locator("#editor").bounding_box()
            assert written is not None
            assert written["height"] >= size[1] / 4


def test_hostile_titles_and_names_stay_text(page: Page, open_desk: Desk) -> None:
    hostile = '<img src=x onerror="document.title=1"><script>document.title=2</script>'
    open_desk.ask("save", name="odd.yaml", text=SONG.replace("Kettle", f"'{hostile}'"), seen=None)
    page.click("#songs-open")
    page.click("#songs button.name >> text=onerror")
    until(page, "document.getElementById('song-title').textContent.startsWith('<img')")
    assert page.title().startswith("<img")
    assert page.evaluate("document.querySelectorAll('h1 img, h1 script').length") == 0
