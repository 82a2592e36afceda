"""What a class page of a three-minute song weighs and how soon it is there; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/page.py``. The page is made by the command in processes of its own, start-up
included, served from this machine, and opened in a real browser.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright
from three_minutes import FORM, SONG, TEMPO

FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def main() -> int:
    """Make the page, open it, and print each figure beside its aim."""
    parser = argparse.ArgumentParser(description="Weigh and time the class page of a three-minute song.")
    parser.add_argument(
        "--rounds", type=int, default=5, help="times that a page is made and opened (default 5)"
    )
    rounds: int = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as base:
        song = Path(base) / "three-minutes.yaml"
        song.write_text(SONG.read_text("utf-8").replace(*FORM).replace(*TEMPO), "utf-8")
        first_s, _ = _made(song, Path(base) / "class")
        again = [_made(song, Path(base) / "class") for _ in range(rounds)]
        folder = Path(base) / "class" / song.stem
        kept = json.loads((folder / "page" / "kept.json").read_text("utf-8"))
        rates = [speed["kbit_s"] for speed in kept.values()]
        code = sum((folder / "page" / name).stat().st_size for name in ("look.css", "player.js"))
        with _served(folder) as address:
            opened = [_opened(address) for _ in range(rounds)]
    print(f"length of the stems at full speed         {kept['100']['length_s']:.0f} s")
    print(f"page and stems at three speeds            {first_s:.1f} s")
    wall, processor = (statistics.median(values) for values in zip(*again, strict=True))
    print(
        f"page from a ready kit                     {wall:.2f} s, {processor:.2f} s of processor   aim: < 1 s"
    )
    print(f"rate of the heaviest stem                 {max(rates):.1f} kbit/s   aim: at most 56")
    print(f"script and style                          {code / 1e3:.1f} kB   aim: < 60")
    print(f"fetched until the first note              {opened[0]['bytes'] / 1e6:.2f} MB   aim: < 4.5")
    ready_s = statistics.median(one["ready_s"] for one in opened)
    print(f"interactive after                         {ready_s:.2f} s   aim: < 1")
    sounding_s = statistics.median(one["sounding_s"] for one in opened)
    print(f"from Play to the first note on the clock  {sounding_s:.2f} s")
    return 0


def _made(song: Path, folder: Path) -> tuple[float, float]:
    """Make a page in a process of its own; return how long it took, and how much of a processor."""
    command = [sys.executable, "-m", "tercet", "page", str(song), "-o", str(folder), "--no-kit"]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start_s = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, env=os.environ)
    wall_s = time.perf_counter() - start_s
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall_s, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


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


def _opened(address: str) -> dict[str, float]:
    """Open the page in a fresh browser and play; return when it could be used, and what was fetched by then."""
    program = next(filter(None, map(shutil.which, BROWSERS)), BROWSERS[0])
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, headless=True, args=list(FLAGS))
        page = browser.new_page()
        sizes: list[int] = []
        page.on("response", lambda response: sizes.append(int(response.headers.get("content-length", 0))))
        page.goto(address, wait_until="commit")
        page.wait_for_function("() => window.Tercet && Tercet.player && document.readyState !== 'loading'")
        ready_s = page.evaluate("performance.getEntriesByType('navigation')[0].domInteractive") / 1000
        page.select_option("#count", "0")
        start_s = time.perf_counter()
        page.click("#go")
        page.wait_for_function("() => Tercet.player.state === 'playing'")
        sounding_s = time.perf_counter() - start_s
        browser.close()
    return {"ready_s": ready_s, "sounding_s": sounding_s, "bytes": sum(sizes)}


if __name__ == "__main__":
    sys.exit(main())
