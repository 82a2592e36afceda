"""What a page marks while it plays: note by note, on every pass, with the words and the shape that go with it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from tercet.arranging import Arrangement, arrange
from tercet.performing import Take, lay_out, perform
from tercet.song import read_song
from tests.browser.windows import Window
from tests.kits import SHORT_SONG

Opened = Callable[..., Window]

STILL_CLOCK = """
(() => {
  let waiting = [];
  const moving = window.requestAnimationFrame;
  const laid = () => document.body && document.body.matches(".laid");
  window.requestAnimationFrame = (then) => (laid() ? waiting.push(then) : moving(then));
  window.nextFrame = () => {
    const now = waiting;
    waiting = [];
    now.forEach((then) => then());
  };
  window.audioNow = 0;
  window.AudioContext = function () {
    const still = new OfflineAudioContext(1, 480, 48000);
    return new Proxy(still, {
      get: (context, name) => {
        if (name === "currentTime") return window.audioNow;
        if (name === "resume") return () => Promise.resolve();
        const found = context[name];
        return typeof found === "function" ? found.bind(context) : found;
      },
    });
  };
})();
"""
"""Run before the page's own script: once the page is laid out, time stands still until a test moves it."""

SEEN = """
(times) => times.map((ms) => {
  const round = Tercet.player.rounds[0];
  window.audioNow = round.when + (ms - round.from) / 1000;
  window.nextFrame();
  const marked = [...document.querySelectorAll(".score.wide .sounds")];
  return {
    marks: marked.map((each) => {
      const number = each.closest(".measure").querySelector(".bar-number");
      return [each.id, each.textContent, number ? number.textContent : "", [...each.classList].join(" ")];
    }),
    sung: [...document.querySelectorAll("#now-words .sung")].map((each) => each.textContent).join(""),
    shape: [...document.querySelectorAll("#now-shapes .sounding g title")].map((each) => each.textContent).join(""),
    bar: [...document.querySelectorAll(".score.wide .bar.here")].map((each) => each.dataset.bar),
    where: document.getElementById("where").textContent,
  };
})
"""


@dataclass(frozen=True)
class Short:
    """The short song, arranged and played apart from any page."""

    arrangement: Arrangement
    take: Take


@cache
def short(path: Path) -> Short:
    path.write_text(SHORT_SONG, encoding="utf-8")
    arrangement = arrange(read_song(path))
    return Short(arrangement, perform(arrangement, lay_out(arrangement, None, count_in_bars=0)))


@pytest.fixture
def song(tmp_path_factory: pytest.TempPathFactory) -> Short:
    return short(tmp_path_factory.getbasetemp() / "short.yaml")


def playing_page(opened: Opened, address: str) -> Page:
    window = opened()
    window.page.add_init_script(STILL_CLOCK)
    page = window.show(address)
    page.select_option("#count", "0")
    page.click("#go")
    page.wait_for_function("() => Tercet.player.state === 'playing'", polling=50)
    return page


def seen(page: Page, take: Take) -> list[dict[str, Any]]:
    """Return what is marked 3 ms after each note of a take."""
    found: list[dict[str, Any]] = page.evaluate(SEEN, [1000 * note.onset_s + 3 for note in take.notes])
    return found


def wrong_notes(take: Take, views: list[dict[str, Any]]) -> list[str]:
    """Return where what is marked isn't what sounds: strings, frets, and the printed bar (a pick-up has no number)."""
    wrong = []
    for struck, view in zip(take.notes, views, strict=True):
        at_s = struck.onset_s + 0.003
        strung = [note for note in take.notes if note.action != "chop"]
        edges = {  # notes that begin or end within 2 ms may be marked or not
            (note.string, note.fret or 0)
            for note in strung
            if min(abs(note.onset_s - at_s), abs(note.onset_s + note.length_s - at_s)) < 0.002
        }
        sounding = {
            (note.string, note.fret or 0, take.bars[note.bar_index].number)
            for note in strung
            if note.onset_s <= at_s < note.onset_s + note.length_s
        }
        marked: dict[tuple[int, int], set[int]] = {}
        for name, text, numbers, _ in view["marks"]:
            found = re.fullmatch(r"w-m\d+c\d+s(\d)", name)
            if found:
                printed = {int(number) for number in re.findall(r"\d+", numbers)}
                marked.setdefault((int(found[1]), int(text)), set()).update(printed)
        places = {(string, fret) for string, fret, _ in sounding}
        in_bar = all(not marked.get(each[:2]) or each[2] in marked[each[:2]] for each in sounding)
        if places - edges != set(marked) - edges or not in_bar:
            wrong.append(f"{at_s:.3f} s: {sorted(sounding)} sound, {marked} are marked")
    return wrong


def test_every_note_is_marked_while_it_sounds(opened: Opened, song_address: str, song: Short) -> None:
    views = seen(playing_page(opened, song_address), song.take)
    assert len(views) == len(song.take.notes) > 60
    assert {bar.pass_number for bar in song.take.bars} == {1, 2}
    assert wrong_notes(song.take, views) == []


def test_the_look_at_marks_sees_a_wrong_one(opened: Opened, song_address: str, song: Short) -> None:
    page = playing_page(opened, song_address)
    page.evaluate("() => { const { marks } = Tercet.page; [marks[2], marks[40]] = [marks[40], marks[2]]; }")
    assert wrong_notes(song.take, seen(page, song.take)) != []


def test_a_roll_is_marked_string_by_string(opened: Opened, song_address: str, song: Short) -> None:
    views = seen(playing_page(opened, song_address), song.take)
    rolls = [
        (note, {name for name, *_ in view["marks"]})
        for note, view in zip(song.take.notes, views, strict=True)
        if note.action == "roll"
    ]
    for _, strings in groupby(rolls, key=lambda pair: pair[0].gesture):
        steps = [marked for _, marked in strings]
        assert all(before != after for before, after in pairwise(steps))


def test_the_note_on_the_staff_and_its_word_go_with_the_tune(
    opened: Opened, song_address: str, song: Short
) -> None:
    views = seen(playing_page(opened, song_address), song.take)
    for note, view in zip(song.take.notes, views, strict=True):
        if note.part == "tune":
            assert any(re.fullmatch(r"w-m\d+t\d+", name) for name, *_ in view["marks"])


def test_words_are_sung_in_time_on_every_pass(opened: Opened, song_address: str, song: Short) -> None:
    views = seen(playing_page(opened, song_address), song.take)
    heard = [view["sung"].replace("\u00ad", "-") for view in views]
    heard = [syllable for syllable, _ in groupby(syllable for syllable in heard if syllable)]
    rows = re.findall(r"words (.*)", SHORT_SONG)
    verse = [part for row in rows for part in re.findall(r"[^\s|-]+-?", row)]
    assert heard == verse * 2


def test_the_sounding_shape_is_the_one_that_is_struck(opened: Opened, song_address: str, song: Short) -> None:
    views = seen(playing_page(opened, song_address), song.take)
    checked = 0
    gestures = {(gesture.start_beat, gesture.layer): gesture for gesture in song.arrangement.gestures}
    for note, view in zip(song.take.notes, views, strict=True):
        gesture = gestures[note.beat, note.layer]
        if gesture.action in ("roll", "strum"):
            spoken = re.findall(r"string (\d) (open|not played|fret (\d+))", view["shape"])
            frets = tuple(None if how == "not played" else int(fret or 0) for _, how, fret in spoken)
            assert frets == gesture.shape
            checked += 1
    assert checked > 30


def test_the_bar_that_is_played_is_marked(opened: Opened, song_address: str, song: Short) -> None:
    views = seen(playing_page(opened, song_address), song.take)
    for note, view in zip(song.take.notes, views, strict=True):
        bar = song.take.bars[note.bar_index]
        assert view["where"].startswith(f"bar {bar.number} of " if bar.number else "pick-up, ")
        assert view["bar"]


def test_both_widths_show_the_same_bars(opened: Opened, song_address: str) -> None:
    page = opened().show(song_address)
    page.evaluate("Tercet.wholeMusic('.score')")
    names = "(view) => [...document.querySelectorAll(view + ' .measure')].map((each) => each.id.slice(2))"
    wide, narrow = (page.evaluate(names, f".score.{view}") for view in ("wide", "narrow"))
    assert wide == narrow
    assert len(set(wide)) == len(wide) > 8
