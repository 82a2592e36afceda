"""One page for a mixed class: what is chosen once is what is seen, heard and taken home, and it is remembered."""

from __future__ import annotations

import json
import math
import re
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tercet.arranging import arrange
from tercet.publish.page import PagePlan, PageSet, song_page
from tercet.publish.pictures.chord_diagram import chord_diagram_drawing
from tercet.publish.pictures.shapes_used import shapes_by_line
from tercet.publish.svg import svg_element
from tercet.song import read_song
from tests.browser.firefox import AnyPage, firefox_page
from tests.browser.listening import OFFLINE, level_db, play, rendered
from tests.browser.test_taken_along import visited
from tests.browser.test_use import RULES, tab_to
from tests.browser.windows import USABLE, Window, serving, window
from tests.kits import SHORT_SONG, run_tercet
from tests.measure.midi import read_with_mido
from tests.publish.drawn import three_layers
from tests.publish.page.test_sets import HARMFUL
from tests.publish.page.test_song_page import sound_of

Opened = Callable[..., Window]
Note = tuple[str, float, int]
SETS = ("high-g-a-minor", "low-g-a-minor", "high-g-g-minor", "low-g-g-minor")
CHOICES = ("--tuning", "high-g,low-g", "--keys", "0,-2")
EXACT_S = 0.003
"""A MIDI file's ticks and a page's microseconds."""

DENIED = """
Object.defineProperty(window, "localStorage", { get() { throw new DOMException("denied", "SecurityError"); } });
"""


@pytest.fixture(scope="module")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A class's folder: a song in two tunings and two keys, its kit beside it; another song, with a second voice."""
    base = tmp_path_factory.mktemp("mixed")
    song, other = base / "kettle-and-cup.yaml", base / "other-cup.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    titled = SHORT_SONG.replace("Kettle and Cup", "Other Cup").replace("tempo:", "second: thirds\ntempo:")
    other.write_text(titled, encoding="utf-8")
    run_tercet("kit", song, "-o", base / "class", *CHOICES, "--tracks", "tune-up", "--formats", "mp3")
    run_tercet("page", song, other, "-o", base / "class", *CHOICES, "--no-kit")
    return base


@pytest.fixture
def address(mixed: Path) -> str:
    return (mixed / "class" / "kettle-and-cup" / "index.html").as_uri()


@pytest.fixture
def other_address(mixed: Path) -> str:
    return (mixed / "class" / "other-cup" / "index.html").as_uri()


def ready(page: AnyPage, **wanted: object) -> AnyPage:
    """Wait until a page stands for a set."""
    page.wait_for_function(
        f"{USABLE} && "
        f"Object.entries({json.dumps(wanted)}).every(([axis, value]) => TercetSet.current()[axis] === value)"
    )
    return page


def choose(page: AnyPage, axis: str, value: object) -> None:
    """Press a choice, having opened what holds it, and wait for its set."""
    page.evaluate("document.getElementById('mine').open = true")
    page.click(f'[data-axis="{axis}"][data-value="{value}"]')
    if axis in ("tuning", "players", "key"):
        ready(page, **{axis: value})


def notes_of(page: AnyPage) -> list[Note]:
    """Return what a page plays at full speed: layer, seconds since the first note, pitch."""
    found = page.evaluate(
        """() => Tercet.takeAt(Tercet.strokesOf(Tercet.sound().take), 1).notes.map(({ onset, string }, at) => [
          Tercet.page.layers[Tercet.page.notes[at][1]].name, onset,
          string.chop ? 0 : Tercet.sound().take.tones[string.tone].hz])"""
    )
    first = min(onset for _, onset, _ in found)
    return sorted(
        (layer, onset - first, round(69 + 12 * math.log2(hz / 440.0)) if hz else 0)
        for layer, onset, hz in found
    )


def notes_in(file: Path) -> list[Note]:
    """Return the same of a kit's MIDI file."""
    tracks = {
        name: notes
        for name, notes in read_with_mido(file).tracks.items()
        if name in ("melody", "between", "strums")
    }
    first = min(note.onset_s for notes in tracks.values() for note in notes)
    return sorted((name, note.onset_s - first, note.midi) for name, notes in tracks.items() for note in notes)


def differing(page_notes: list[Note], file_notes: list[Note]) -> int:
    """Return how many notes one has and not the other: of another layer or pitch, or not at its time."""

    def steps(notes: list[Note]) -> dict[tuple[str, int], list[float]]:
        found: dict[tuple[str, int], list[float]] = {}
        for layer, at_s, midi in notes:
            found.setdefault((layer, midi), []).append(at_s)
        return found

    ours, theirs = steps(page_notes), steps(file_notes)
    count = 0
    for key in ours.keys() | theirs.keys():
        one, other = ours.get(key, []), theirs.get(key, [])
        count += abs(len(one) - len(other))
        count += sum(abs(a - b) > EXACT_S for a, b in zip(one, other, strict=False))
    return count


# ---- what follows


def test_what_is_chosen_is_what_the_kit_of_that_set_plays(opened: Opened, mixed: Path, address: str) -> None:
    page = opened().show(address)
    files = {name: mixed / "class" / "kettle-and-cup" / name / "kettle-and-cup.mid" for name in SETS}
    wanted = {name: notes_in(file) for name, file in files.items()}
    for tuning, key, name in zip(("high-g", "low-g") * 2, (0, 0, -2, -2), SETS, strict=True):
        choose(page, "tuning", tuning)
        choose(page, "key", key)
        played = notes_of(page)
        assert len(played) > 50
        assert differing(played, wanted[name]) == 0
        for other in set(SETS) - {name}:  # that this would be found
            assert differing(played, wanted[other]) > 5
        assert (
            page.evaluate(
                "() => [...document.querySelectorAll('.home a, .tracks a')].map((link) => "
                "link.getAttribute('href').split('/')[0])"
            )
            == [name] * page.locator(".home a, .tracks a").count()
        )
        assert page.locator(".home a").count() == 3  # sheet, tune-up, MIDI
        assert page.text_content("#line").endswith(tuning)  # type: ignore[union-attr]
        assert ("G minor" if key else "A minor") in (page.text_content("#line") or "")
        (first,) = ({"0": "Am", "-2": "Gm"}[str(key)],)
        assert page.text_content(".score.wide text.chord") == first
        assert f" {first}. " in (page.locator(".score.wide .bar").nth(1).get_attribute("aria-label") or "")
        assert page.evaluate(
            "() => Tercet.page.marks.flat().every((name) => document.getElementById('w-' + name))"
        )


def test_another_set_is_heard(opened: Opened, address: str) -> None:
    page = opened().page
    page.add_init_script(OFFLINE)
    page.goto(address)
    heard = []
    for key in (0, -2):
        choose(page, "key", key)
        page.select_option("#count", "0")
        play(page)
        heard.append(rendered(page)[: 48_000 * 4])
    assert min(map(level_db, heard)) > -40
    assert level_db(heard[0] - heard[1]) > level_db(heard[0]) - 6


def test_shapes_are_those_of_the_left_hand(opened: Opened, mixed: Path, address: str) -> None:
    arrangement = arrange(read_song(mixed / "kettle-and-cup.yaml"))
    uses = dict.fromkeys(shape for line in shapes_by_line(arrangement) for shape in line.shapes)

    def drawn(svg: str) -> Counter[Any]:
        """Return what is drawn, however it is written."""
        found: Counter[Any] = Counter()
        for element in ET.fromstring(svg).iter():
            kind = element.tag.rpartition("}")[2]
            if kind == "polyline":
                points = [tuple(map(float, point.split(","))) for point in element.get("points", "").split()]
                found[kind, frozenset(points)] += 1
            elif kind == "circle":
                found[kind, *(float(element.get(name, "")) for name in ("cx", "cy", "r"))] += 1
            elif kind == "text":
                place = (float(element.get("x", "")), float(element.get("y", "")))
                found[kind, element.text, *place, element.get("text-anchor") or "start"] += 1
        return found

    page = opened().show(address)
    choose(page, "hand", "left")
    shown = page.evaluate(
        "() => [...document.querySelectorAll('#shapes > svg')].map((svg) => new XMLSerializer().serializeToString(svg))"
    )
    assert len(shown) == len(uses)
    for svg, use in zip(shown, uses, strict=True):
        assert drawn(svg) == drawn(svg_element(chord_diagram_drawing(use, left_handed=True)))
        assert drawn(svg) != drawn(svg_element(chord_diagram_drawing(use)))
    one = "document.querySelector('#now-shapes circle').getAttribute('cx')"
    left = page.evaluate(one)
    choose(page, "hand", "right")
    assert page.evaluate(one) != left
    choose(page, "hand", "left")
    page.reload()
    assert ready(page).evaluate(one) == left


def test_who_takes_the_second_voice_has_it_in_front(opened: Opened, other_address: str) -> None:
    page = opened().show(other_address)
    names = page.evaluate("Tercet.page.layers.map(({ name }) => name)")
    as_it_is = page.evaluate("Tercet.player.places")
    choose(page, "part", "second")
    places = ["front" if name == "second" else "back" for name in names]
    for _ in range(2):
        assert page.evaluate("Tercet.player.places") == places
        assert page.is_visible('.score.wide[data-part="second"]')
        assert not page.is_visible('.score.wide[data-part="song"]')
        page.reload()
        ready(page)
    choose(page, "part", "song")
    assert page.evaluate("Tercet.player.places") == as_it_is
    assert page.is_visible('.score.wide[data-part="song"]')


# ---- remembered


def test_a_choice_is_the_classes_and_a_key_the_songs(opened: Opened, mixed: Path) -> None:
    with serving(mixed / "class") as served:
        for home in (served, (mixed / "class").as_uri()):
            page = opened().show(f"{home}/kettle-and-cup/index.html")
            assert page.is_visible("#mine-ask")
            choose(page, "tuning", "low-g")
            choose(page, "key", -2)
            page.reload()
            ready(page, tuning="low-g", key=-2)
            assert not page.is_visible("#mine-ask")
            assert page.text_content("#mine-now") == "low-g ukulele · in G minor · right-handed"
            page.goto(f"{home}/other-cup/index.html")
            ready(page, tuning="low-g", key=0)
            assert not page.evaluate("document.getElementById('mine').open")


def test_the_list_of_songs_takes_the_choice_for_all_of_them(
    opened: Opened, mixed: Path, address: str
) -> None:
    page = opened(width=360).page
    page.goto((mixed / "class" / "index.html").as_uri())
    finger = "document.querySelector('.chords circle').getAttribute('cx')"
    right = page.evaluate(finger)
    page.click("#mine summary")
    assert page.evaluate(
        "[...document.querySelectorAll('[data-axis]')].map((each) => each.dataset.value)"
    ) == [
        "high-g",
        "low-g",
        "right",
        "left",
    ]
    found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
    assert [one["id"] for one in found.response["violations"]] == []
    page.click('[data-value="low-g"]')
    page.click('[data-value="left"]')
    assert page.evaluate(finger) != right
    assert page.text_content("#mine-now") == "low-g ukulele · left-handed"
    page.click(".songs .name")
    ready(page, tuning="low-g")
    assert page.url == address
    assert not page.evaluate("document.getElementById('mine').open")
    assert page.get_attribute('[data-axis="hand"][data-value="left"]', "aria-pressed") == "true"
    page.go_back()
    assert page.text_content("#mine-now") == "low-g ukulele · left-handed"
    assert page.evaluate(finger) != right


def test_where_nothing_may_be_kept_it_holds_for_the_visit(opened: Opened, address: str) -> None:
    page = opened().page
    page.add_init_script(DENIED)
    page.goto(address)
    ready(page, tuning="high-g")
    choose(page, "tuning", "low-g")
    page.reload()
    ready(page, tuning="low-g")
    page.goto(address + "#later")
    page.goto("about:blank")
    page.goto(address)
    ready(page, tuning="high-g")


def test_who_plays_at_once_is_asked_once(opened: Opened, address: str) -> None:
    page = opened().show(address)
    assert page.is_visible("#mine-ask")
    play(page)
    assert not page.is_visible("#mine-ask")
    page.reload()
    ready(page, tuning="high-g")
    assert not page.evaluate("document.getElementById('mine').open")


# ---- where it can't be


def test_a_browser_that_can_not_unpack_says_so_and_plays(opened: Opened, address: str) -> None:
    page = opened().page
    page.add_init_script("delete window.DecompressionStream;")
    page.goto(address)
    ready(page)
    page.evaluate("document.getElementById('mine').open = true")
    page.click('[data-value="low-g"]')
    page.wait_for_function("() => document.getElementById('mine-old')?.checkVisibility()")
    ready(page, tuning="high-g")
    assert "can't unpack" in page.inner_text("#mine-old")
    play(page)


def test_a_set_that_is_damaged_is_told(opened: Opened, mixed: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(mixed / "class" / "kettle-and-cup", tmp_path / "song")
    page_file = folder / "index.html"
    html = page_file.read_text("utf-8")
    page_file.write_text(re.sub(r'(data-set="1">.{2000})....', r"\1AAAA", html), "utf-8")
    page = opened().show(page_file.as_uri())
    page.click('[data-value="low-g"]')
    page.wait_for_function("() => document.getElementById('mine-old')?.checkVisibility()")
    ready(page, tuning="high-g")


def test_what_a_further_set_says_stays_text(opened: Opened, tmp_path: Path) -> None:
    made = three_layers(title=HARMFUL)
    sets = [PageSet(made, sound_of(made), key_semitones=key) for key in (0, 1)]
    for name, data in song_page(PagePlan(sets)).items():
        (tmp_path / name).parent.mkdir(exist_ok=True, parents=True)
        (tmp_path / name).write_bytes(data)
    page = opened().show((tmp_path / "index.html").as_uri())
    counted = """() => {
      Tercet.wholeMusic(".score");
      return document.querySelectorAll("*").length - document.querySelectorAll(".bars, .bars *, noscript").length;
    }"""
    before = page.evaluate(counted)
    choose(page, "key", 1)
    assert page.evaluate("window.harmed") is None
    assert page.text_content("h1") == HARMFUL
    assert page.evaluate("Tercet.page.title") == HARMFUL
    assert page.locator("img").count() == 1
    assert page.evaluate(counted) == before


# ---- for everybody


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (820, "dark"), (1440, "light")])
def test_the_choice_is_for_all_eyes_and_hands(
    opened: Opened, other_address: str, width: int, scheme: str
) -> None:
    page = opened(width=width, color_scheme=scheme).show(other_address)
    assert page.evaluate("document.getElementById('mine').open")
    found = Axe().run(page, options={"preload": False, "runOnly": {"type": "tag", "values": RULES}})
    assert [
        (one["id"], [node["html"] for node in one["nodes"]]) for one in found.response["violations"]
    ] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(
        "() => [...document.querySelectorAll('#mine button, #mine summary')].every("
        "(each) => !each.checkVisibility() || each.getBoundingClientRect().height >= 24)"
    )


def test_keys_choose_and_come_back_to_where_they_were(opened: Opened, address: str) -> None:
    page = opened().show(address)
    wanted = '[data-axis="tuning"][data-value="low-g"]'
    tab_to(page, wanted)
    page.keyboard.press("Enter")
    ready(page, tuning="low-g")
    assert page.evaluate("(wanted) => document.activeElement.matches(wanted)", wanted)
    assert page.get_attribute(wanted, "aria-pressed") == "true"
    assert page.text_content("#mine-told") == "You play: low-g ukulele · in A minor · right-handed."
    tab_to(page, '[data-axis="hand"][data-value="left"]')
    page.keyboard.press(" ")
    assert (page.text_content("#mine-told") or "").endswith("left-handed.")
    assert page.evaluate("Tercet.player.state") == "still"


def test_firefox_unpacks_and_remembers(mixed: Path, address: str) -> None:
    with firefox_page(width=1280) as page:
        page.goto(address)
        ready(page, tuning="high-g")
        choose(page, "tuning", "low-g")
        midi = mixed / "class" / "kettle-and-cup" / "low-g-a-minor" / "kettle-and-cup.mid"
        assert differing(notes_of(page), notes_in(midi)) == 0
        page.goto(address)
        ready(page, tuning="low-g")
        assert page.evaluate("location.protocol") == "file:"
        assert page.inner_text("#mine-now").startswith("low-g ukulele")


def test_a_set_that_was_chosen_opens_without_the_server(browser: Browser, mixed: Path) -> None:
    with window(browser) as opened:
        page = opened.page
        with serving(mixed / "class") as home:
            address = f"{home}/kettle-and-cup/index.html"
            visited(page, address)
            choose(page, "tuning", "low-g")
            choose(page, "key", -2)
        page.goto(address)
        ready(page, tuning="low-g", key=-2)
        midi = mixed / "class" / "kettle-and-cup" / "low-g-g-minor" / "kettle-and-cup.mid"
        assert differing(notes_of(page), notes_in(midi)) == 0
        page.click("#go")
        page.wait_for_function("() => Tercet.player.state === 'playing' && Tercet.player.position().ms > 200")
        opened.said = [each for each in opened.said if "Failed to load resource" not in each]


def test_a_page_with_one_key_speaks_of_none(opened: Opened, address: str, song_address: str) -> None:
    kept = "document.querySelector('#mine .small').textContent"
    assert "key" in opened().show(address).evaluate(kept)
    assert "key" not in opened().show(song_address).evaluate(kept)


def test_the_window_is_left_as_a_page_of_one_file_too(opened: Opened, mixed: Path, tmp_path: Path) -> None:
    run_tercet(
        "page",
        mixed / "kettle-and-cup.yaml",
        "-o",
        tmp_path / "a.html",
        "--one-file",
        "--tuning",
        "high-g,low-g",
    )
    page: Page = opened().show((tmp_path / "a.html").as_uri())
    choose(page, "tuning", "low-g")
    assert page.evaluate("document.querySelector('#map img').decode().then(() => true)")
    assert page.text_content("#line").endswith("low-g")  # type: ignore[union-attr]
    play(page)
