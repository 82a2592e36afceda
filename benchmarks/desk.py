"""How soon the desk lets an edit be heard, what it keeps when it is killed, and what memory it needs; see README.md.

Run as ``.venv/bin/python benchmarks/desk.py``. The desk runs in a process of its own and is asked over its port, as its
page asks it; keys are pressed in a real browser. Ends with 1 if an aim is missed.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from statistics import median
from typing import Any
from urllib.parse import urlsplit

import psutil
from measuring import SONG, Aims, NothingMadeError, asked, counted, environment, machine, parser_of
from playwright.sync_api import Browser, Page, sync_playwright

TWICE = {"form: verse verse chorus\n": "form: verse verse chorus verse verse chorus\n"}
MOST_S = {98: 0.120, 195: 0.200}
"""Aims, by the seconds of music: what the desk works for an edit, sound, music and notes."""

SILENT_MS = 500
"""What sounded before is over."""

KEY_S = 0.300
"""Aim: from a key to the first sample, on an idle machine."""

LOST_S = 1.0
"""Aim: what is typed earlier than so long before a kill is on the disk."""

GROWN = 1.15
"""Aim: memory after 500 edits, as a part of that after the first fifty."""

PITCHES = ("C5", "D5", "B4", "E5", "G4", "F4", "F5", "G#4", "Bb4", "C#5")
NOTE = "B4 A G  "
NAME = "song.yaml"
MOMENTS = 30
EDITS = 500
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
BROWSERS = ("chromium", "chromium-browser", "google-chrome")

HEARD = """
const plain = AudioNode.prototype.connect;
window.first = null;
AudioNode.prototype.connect = function (target, ...rest) {
  if (target instanceof AudioDestinationNode && !(this instanceof ScriptProcessorNode)) {
    const context = this.context;
    if (!context.tap) {
      context.tap = context.createScriptProcessor(256, 2, 1);
      context.tap.onaudioprocess = (event) => {
        const samples = event.inputBuffer.getChannelData(0);
        const at = samples.findIndex((sample) => Math.abs(sample) > 1e-4);
        if (at >= 0) window.loud = performance.now();
        if (at < 0 || window.first !== null || !window.pressed) return;
        window.first = performance.now() + 1000 * (event.playbackTime - context.currentTime + at / context.sampleRate);
      };
      plain.call(context.tap, context.destination);
    }
    plain.call(this, context.tap);
  }
  return plain.call(this, target, ...rest);
};
addEventListener("keydown", () => { window.pressed = performance.now(); window.first = null; }, true);
"""
"""Tells when the first sample after a key comes out."""


def main() -> int:
    """Edit over the port at two lengths, then in a browser; kill; edit for long; print each figure beside its aim."""
    parser = parser_of("Time the desk, and kill it.", 20)
    given = asked(parser)
    aims = Aims(judged=not given.short)
    print(machine())
    text = SONG.read_text("utf-8")
    for music_s, song in {98: text, 195: _replaced(text, TWICE)}.items():
        if not (given.short and music_s > min(MOST_S)):
            with _desk(song) as desk:
                _edits(desk, song, music_s, given.rounds, aims)
    with sync_playwright() as playwright:
        program = next(filter(None, map(shutil.which, BROWSERS)), BROWSERS[0])
        browser = playwright.chromium.launch(executable_path=program, headless=True, args=list(FLAGS))
        with _desk(text) as desk:
            _keys(browser, desk, 2 if given.short else given.rounds, aims)
        browser.close()
        _kills(playwright, program, text, 1 if given.short else MOMENTS, aims)
    with _desk(text) as desk:
        _memory(desk, text, 6 if given.short else EDITS, aims)
    return aims.exit_code


def _replaced(text: str, words: Mapping[str, str]) -> str:
    for before, after in words.items():
        if before not in text:
            raise SystemExit(f"{SONG.name} no longer holds «{before.strip()}»: mend {Path(__file__).name}")
        text = text.replace(before, after, 1)
    return text


# ---- a desk


class _Desk:
    """A desk that is open, in a process of its own."""

    def __init__(self, process: subprocess.Popen[str], folder: Path) -> None:
        self.process = process
        self.folder = folder
        self.address = process.stdout.readline().strip() if process.stdout is not None else ""
        self._parts = urlsplit(self.address)

    def ask(self, what: str, **facts: Any) -> bytes:
        connection = http.client.HTTPConnection("127.0.0.1", self._parts.port or 0, timeout=60)
        headers = {"Origin": f"http://{self._parts.netloc}", "Content-Type": "application/json"}
        body = json.dumps({"window": "benchmark", "name": NAME, **facts})
        try:
            connection.request("POST", self._parts.path + what, body, headers)
            answer = connection.getresponse()
            data = answer.read()
        finally:
            connection.close()
        if answer.status != http.client.OK:
            raise NothingMadeError(f"{what} was refused: {data[:300].decode(errors='replace')}")
        return data

    def sound(self, text: str, bar: int) -> bytes:
        where = {"from_bar": bar, "to_bar": bar, "at_least_s": 1.0, "begins": True}
        return self.ask("sound", text=text, speed=100, flat=False, count_in_bars=0, **where)

    def worked_s(self) -> float:
        times = psutil.Process(self.process.pid).cpu_times()
        return float(times.user + times.system)

    def held_bytes(self) -> int:
        return int(psutil.Process(self.process.pid).memory_info().rss)


@contextmanager
def _desk(text: str) -> Iterator[_Desk]:
    with tempfile.TemporaryDirectory() as base:
        folder = Path(base) / "songs"
        folder.mkdir()
        (folder / NAME).write_text(text, "utf-8")
        command = [sys.executable, "-m", "tercet", "desk", str(folder), "--no-window"]
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment()
        )
        try:
            yield _Desk(process, folder)
        finally:
            process.send_signal(signal.SIGINT)
            with suppress(subprocess.TimeoutExpired):
                process.wait(timeout=20)
            process.kill()
            process.wait()
            if process.stdout is not None:
                process.stdout.close()


# ---- what is measured


def _edits(desk: _Desk, text: str, music_s: int, rounds: int, aims: Aims) -> None:
    """Edit a note in the middle: its bar is heard, then looked at."""
    above = text[: text.index(NOTE)]
    line, cell = above.count("\n") + 1, above.rpartition("\n")[2].count("|")
    view = json.loads(desk.ask("look", text=text, line=line))
    bar = next(
        each["bars"][cell] for each in view["song"]["lines"] if each["from_line"] <= line <= each["to_line"]
    )
    desk.sound(text, bar)
    time.sleep(3.0)  # the balance is measured while nobody types
    worked, sounds = [], set()
    for at in range(rounds):
        edited = _replaced(text, {NOTE: f"{PITCHES[at % len(PITCHES)]} A4 G "})
        before = desk.worked_s()
        sounds.add(desk.sound(edited, bar))
        seen = json.loads(desk.ask("look", text=edited, line=line))
        worked.append(desk.worked_s() - before)
        if not seen["music"] or not seen["song"]:
            raise NothingMadeError("nothing was seen, so nothing was timed")
    if rounds > 1 and len(sounds) < min(rounds, len(PITCHES)):
        raise NothingMadeError("edits didn't sound different, so nothing was timed")
    counted(f"edits of {music_s} s of music, heard and seen", len(worked))
    aims.say(f"{music_s} s of music: worked for an edit, median, s", median(worked), most=MOST_S[music_s])


def _keys(browser: Browser, desk: _Desk, rounds: int, aims: Aims) -> None:
    """Press a key that makes another note of one; the time until the first sample comes out."""
    page = _opened(browser, desk)
    page.click("#play")
    time.sleep(1.0)
    page.click("#play")
    page.focus(".cm-content")
    page.keyboard.press("Control+f")
    page.keyboard.type(NOTE.strip())
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowRight")
    page.check("#each-change")
    page.focus(".cm-content")
    taken = []
    for at in range(rounds):
        page.keyboard.press("Shift+ArrowLeft")
        while page.evaluate("performance.now() - (window.loud || 0)") < SILENT_MS:
            time.sleep(0.05)
        page.evaluate("() => { window.first = null; window.pressed = 0; }")
        page.keyboard.press("ACDEFG"[at % 6])
        until = time.monotonic() + 5
        while time.monotonic() < until and page.evaluate("window.first === null"):
            time.sleep(0.02)
        first = page.evaluate("window.first === null ? null : window.first - window.pressed")
        if first is not None:
            taken.append(first / 1000)
    time.sleep(1.5)  # it is on the disk
    written = (desk.folder / NAME).read_text("utf-8")
    page.context.close()
    if f"{'ACDEFG'[(rounds - 1) % 6]}4 A G" not in written:
        raise NothingMadeError("the note wasn't changed, so nothing was timed")
    counted("keys whose sound came out", len(taken))
    aims.say("from a key to the first sample, median, s", median(taken), most=KEY_S)


def _opened(browser: Browser, desk: _Desk) -> Page:
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.add_init_script(HEARD)
    page.goto(desk.address)
    page.wait_for_selector("#drawn svg.system")
    return page


def _kills(playwright: Any, program: str, text: str, moments: int, aims: Aims) -> None:
    """Type, kill desk and browser at some moment, and look at what is on the disk."""
    lost_s = []
    chance = random.Random(7)  # noqa: S311 - moments, not secrets
    for _ in range(moments):
        with _desk(text) as desk:
            profile = tempfile.mkdtemp(prefix="desk-benchmark-")
            context = playwright.chromium.launch_persistent_context(
                profile, executable_path=program, headless=True, args=list(FLAGS)
            )
            page = context.new_page()
            page.goto(desk.address)
            page.wait_for_selector("#drawn svg.system")
            page.focus(".cm-content")
            page.keyboard.press("Control+Home")
            page.keyboard.type("# ")
            typed: list[tuple[float, str]] = []
            end = time.monotonic() + 1.5 + 2.0 * chance.random()
            while time.monotonic() < end:
                sign = chr(ord("a") + len(typed) % 26)
                page.keyboard.type(sign)
                typed.append((time.monotonic(), sign))
                time.sleep(0.03 + 0.1 * chance.random())
            os.kill(desk.process.pid, signal.SIGKILL)
            killed = time.monotonic()
            for each in psutil.process_iter(["cmdline"]):
                if profile in " ".join(each.info["cmdline"] or ()):
                    with suppress(psutil.NoSuchProcess):
                        each.kill()
            with suppress(Exception):
                context.close()
            shutil.rmtree(profile, ignore_errors=True)
            first = (desk.folder / NAME).read_text("utf-8").partition("\n")[0].removeprefix("# ")
            wanted = "".join(sign for _, sign in typed)
            kept = next(
                (n for n, pair in enumerate(zip(first, wanted, strict=False)) if len(set(pair)) > 1),
                len(first),
            )
            lost_s.append(killed - typed[kept][0] if kept < len(typed) else 0.0)
    counted("kills while typing", len(lost_s))
    print(f"  {'lost at a kill, median, s':<62} {median(lost_s):8.3f}")
    aims.say("lost at a kill, the most, s", max(lost_s), most=LOST_S)


def _memory(desk: _Desk, text: str, edits: int, aims: Aims) -> None:
    """Edit again and again, and look at the memory that the desk holds."""
    line = text[: text.index(NOTE)].count("\n") + 1
    held = []
    for at in range(edits):
        pitch = PITCHES[at % len(PITCHES)]
        edited = _replaced(text, {NOTE: f"{pitch} A4 G ", "tempo: 92": f"tempo: {60 + at % 97}"})
        desk.sound(edited, at % 40)
        desk.ask("look", text=edited, line=line)
        held.append(desk.held_bytes())
    counted("edits in a row", len(held))
    tenth = max(len(held) // 10, 1)
    print(f"  {'memory at the end, MB':<62} {held[-1] / 1e6:8.1f}")
    aims.say(
        "memory at the end, by that after a tenth of the edits",
        median(held[-tenth:]) / max(held[:tenth]),
        most=GROWN,
    )


if __name__ == "__main__":
    sys.exit(main())
