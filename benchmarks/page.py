"""What a class page of a three-minute song weighs and how soon it is there; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/page.py``. The page is made by the command in processes of its own, start-up
included, served from this machine, and opened in a real browser.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from measuring import Aims, Cost, asked, parser_of, run, song_to_time, tercet
from playwright.sync_api import sync_playwright

FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
BROWSERS = ("chromium", "chromium-browser", "google-chrome")

SLOWER = 4
"""A phone's processor is about so many times slower than this one: the browser's own throttle."""

HEARD = """
window.first_ms = null;
const plain = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function (when = 0, offset = 0, ...rest) {
  const now = this.context.currentTime;
  const skipped = Math.round(offset * this.buffer.sampleRate);
  const channels = [...Array(this.buffer.numberOfChannels).keys()];
  const places = channels.map((channel) =>
    this.buffer.getChannelData(channel).subarray(skipped).findIndex((sample) => Math.abs(sample) > 1e-4));
  const at = Math.min(...places.filter((place) => place >= 0));
  if (Number.isFinite(at)) {
    const sounds_s = Math.max(when - now, 0) + at / this.buffer.sampleRate + (this.context.outputLatency || 0);
    const found_ms = performance.now() + 1000 * sounds_s;
    if (window.first_ms === null || found_ms < window.first_ms) window.first_ms = found_ms;
  }
  return plain.call(this, when, offset, ...rest);
};
localStorage.setItem("tercet", '{"count": "0"}');
addEventListener("click", () => {
  window.pressed_ms = performance.now();
  const told = new MutationObserver(() => { window.answered_ms = window.answered_ms || performance.now(); });
  told.observe(document.querySelector("#go"), { attributeFilter: ["data-state"] });
}, true);
window.ready_ms = null;
(function look() {
  requestAnimationFrame(() => {
    if (!window.Tercet || !Tercet.player) {
      look();
      return;
    }
    const drawn = new MessageChannel();
    drawn.port1.onmessage = () => { window.ready_ms = performance.now(); };
    drawn.port2.postMessage(null);
  });
})();
"""
"""Run before the page's own scripts, with nobody counting in: tells when the page can be used, when a press on Play is
answered, and when the first sample comes out that can be heard. The page can be used when a frame has been drawn after
all of its script has run: Play is seen, and everything on the page listens."""


def main() -> int:
    """Make the page, open it, and print each figure beside its aim."""
    given = asked(parser_of("Weigh and time the class page of a three-minute song.", 5))
    aims = Aims(judged=not given.short)
    with tempfile.TemporaryDirectory() as base:
        song = song_to_time(Path(base), short=given.short)
        place = Path(base) / "class"
        command = tercet("page", song, "-o", place, "--no-kit")
        first = run(place, *command)
        again = [run(place, *command) for _ in range(given.rounds)]
        folder = place / song.stem
        code = sum((folder / "page" / name).stat().st_size for name in ("look.css", "player.js"))
        with _served(folder) as address:
            opened = [_opened(address, SLOWER) for _ in range(given.rounds)]
            unhindered = [_opened(address, 1) for _ in range(given.rounds)]
    print(f"made: {first.made}")
    print(f"a page for any speed: {first.clock_s:.1f} s by the clock, {first.worked_s:.1f} s worked")
    _show(again, opened, unhindered, code / 1e3, aims)
    return aims.exit_code


def _show(
    again: list[Cost],
    opened: list[dict[str, float]],
    unhindered: list[dict[str, float]],
    code_kb: float,
    aims: Aims,
) -> None:
    def middle(name: str, among: list[dict[str, float]] = opened) -> float:
        return statistics.median(one[name] for one in among)

    aims.say("a complete page again, seconds", statistics.median(cost.clock_s for cost in again), most=1.0)
    print(f"  of which worked: {statistics.median(cost.worked_s for cost in again):.2f} s")
    aims.say("script and style, kB", code_kb, most=80.0)
    aims.say("fetched until the first note, MB", middle("bytes") / 1e6, most=1.2)
    aims.say(f"interactive after, {SLOWER} x slower, seconds", middle("ready_s"), most=0.5)
    print(f"  a press on Play is answered after, {SLOWER} x slower: {middle('answered_s'):.2f} s")
    aims.say(f"from Play to the first sound, {SLOWER} x slower, seconds", middle("sounding_s"), most=1.0)
    print(f"  interactive after, as fast as this machine is: {middle('ready_s', unhindered):.2f} s")
    print(f"  from Play to the first sound, likewise: {middle('sounding_s', unhindered):.2f} s")


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: Any) -> None:
        """Say nothing."""


@contextmanager
def _served(folder: Path) -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(folder)))
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/index.html"
    server.shutdown()
    server.server_close()


def _opened(address: str, slower: int) -> dict[str, float]:
    """Open the page in a fresh browser and play; return when it could be used, answered, was heard, what it fetched."""
    program = next(filter(None, map(shutil.which, BROWSERS)), BROWSERS[0])
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, headless=True, args=list(FLAGS))
        page = browser.new_page()
        page.add_init_script(HEARD)
        page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slower})
        sizes: list[int] = []
        page.on("response", lambda response: sizes.append(int(response.headers.get("content-length", 0))))
        page.goto(address, wait_until="commit")
        page.wait_for_function("() => window.ready_ms !== null")
        ready_s = page.evaluate("window.ready_ms") / 1000
        page.click("#go")
        page.wait_for_function("() => window.first_ms !== null && performance.now() > window.first_ms")
        sounding_s = page.evaluate("(window.first_ms - window.pressed_ms) / 1000")
        answered_s = page.evaluate("(window.answered_ms - window.pressed_ms) / 1000")
        browser.close()
    return {"ready_s": ready_s, "answered_s": answered_s, "sounding_s": sounding_s, "bytes": sum(sizes)}


if __name__ == "__main__":
    sys.exit(main())
