"""Take the pictures of ``docs/page.md``, ``docs/desk.md`` and ``docs/guide.md`` anew.

``python tests/browser/remake_pictures.py`` takes all, with ``page``, ``desk`` or ``guide`` some.

Each of the page's shows Harbour Lanterns at one width, in one scheme of colours, some bars into the second verse. Those
of the guide show what its reader has made, those of the desk the same song while it sounds.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

import pytest  # noqa: E402
from PIL import Image  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

from tests.browser.windows import FLAGS, PROGRAM, window  # noqa: E402
from tests.desk.desks import desk  # noqa: E402
from tests.guide_pictures import DRAWN, guide_picture, keep_small  # noqa: E402
from tests.kits import run_tercet  # noqa: E402
from tests.worked_pages import work_through  # noqa: E402

PICTURES = ROOT / "docs" / "pictures"
SIZES = {360: 740, 820: 1100, 1440: 900, 1920: 1080}
BOARD_WIDTH = 1920
"""At this width the board is seen."""

DESK_SIZES = {1024: 768, 1440: 900, 1920: 1080}
SCHEMES = ("light", "dark")
BAR = 20
"""Index of the bar at which the page is seen."""


STRIP_FRAMES, STRIP_EVERY_MS, STRIP_WIDTH = 6, 900, 300
"""The strip of a phone that plays: how many pictures, how far apart in the music, and how wide each."""

GUIDE_WINDOW = (400, 800)
"""Width and height of the phone on which the guide shows its page."""


def main() -> None:
    """Take the pictures that are asked for."""
    taken = {
        "page": take_those_of_the_page,
        "desk": take_those_of_the_desk,
        "guide": take_those_of_the_guide,
    }
    for name in sys.argv[1:] or taken:
        taken[name]()


def take_those_of_the_desk() -> None:
    """Open the desk at the sizes of a laptop, a screen and a projector, and keep what is seen while a song sounds."""
    with (
        tempfile.TemporaryDirectory() as base,
        desk(Path(base), grace_s=3.0) as found,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=PROGRAM, headless=True, args=list(FLAGS))
        for width, height in DESK_SIZES.items():
            for scheme in SCHEMES:
                with window(browser, width=width, height=height, color_scheme=scheme) as opened:
                    page = opened.page
                    page.goto(found.address)
                    page.wait_for_selector("#drawn svg.system")
                    page.click("#play")
                    page.wait_for_selector("#drawn .now")
                    page.wait_for_timeout(2500)
                    _keep(page.screenshot(), PICTURES / f"desk-{width}-{scheme}.webp")
        browser.close()


def take_those_of_the_guide() -> None:
    """Do what the guide says, and keep what its reader sees."""
    with tempfile.TemporaryDirectory() as base, pytest.MonkeyPatch.context() as monkeypatch:
        folder = work_through(
            (ROOT / "docs" / "guide.md").read_text(encoding="utf-8"), Path(base), monkeypatch
        )
        for name in DRAWN:
            keep_small(guide_picture(name, folder), PICTURES / name)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=PROGRAM, headless=True, args=list(FLAGS))
            width, height = GUIDE_WINDOW
            with window(browser, width=width, height=height, color_scheme="light") as opened:
                page = opened.show((folder / "class" / "apples" / "index.html").as_uri())
                page.evaluate("Tercet.player.countBars = 0")
                page.click("#go")
                page.wait_for_function(
                    "() => Tercet.player.position().ms > Tercet.speedOf(100).bars[2][0] + 300"
                )
                page.click(".drawer[aria-controls=panel-stage]")
                with Image.open(io.BytesIO(page.screenshot())) as seen:
                    keep_small(seen, PICTURES / "guide-page.png")
            browser.close()


def take_those_of_the_page() -> None:
    """Make the page, open it at each width in both schemes, and keep what is seen; at the widest the board."""
    with tempfile.TemporaryDirectory() as base, sync_playwright() as playwright:
        song = ROOT / "songs" / "harbour-lanterns.yaml"
        run_tercet("page", song, "-o", base, "--no-kit", "--speeds", "60%,80%,100%")
        address = (Path(base) / "harbour-lanterns" / "index.html").as_uri()
        browser = playwright.chromium.launch(executable_path=PROGRAM, headless=True, args=list(FLAGS))
        for width, height in SIZES.items():
            for scheme in SCHEMES:
                with window(browser, width=width, height=height, color_scheme=scheme) as opened:
                    page = opened.show(address)
                    page.evaluate("(bar) => Tercet.player.goToBar(bar)", BAR)
                    page.evaluate("Tercet.player.countBars = 0")
                    page.click("#go")
                    reached = "(bar) => Tercet.player.position().ms > Tercet.speedOf(100).bars[bar][0] + 900"
                    page.wait_for_function(reached, arg=BAR)
                    if width == BOARD_WIDTH:
                        page.click("#to-board")
                        page.wait_for_selector("#board .sounds", state="attached")
                    _keep(page.screenshot(), PICTURES / f"page-{width}-{scheme}.webp")
        width, height = min(SIZES.items())
        with window(browser, width=width, height=height, color_scheme="light") as opened:
            page = opened.show(address)
            page.evaluate("(bar) => Tercet.player.goToBar(bar)", BAR)
            page.evaluate("Tercet.player.countBars = 0")
            page.click("#go")
            passed = "(at_ms) => Tercet.player.position().ms > at_ms"
            begins_ms = page.evaluate("(bar) => Tercet.speedOf(100).bars[bar][0]", BAR)
            strip = Image.new("RGB", (STRIP_FRAMES * STRIP_WIDTH, STRIP_WIDTH * height // width))
            for at in range(STRIP_FRAMES):
                page.wait_for_function(passed, arg=begins_ms + 150 + at * STRIP_EVERY_MS)
                with Image.open(io.BytesIO(page.screenshot())) as seen:
                    frame = seen.convert("RGB").resize((STRIP_WIDTH, strip.height), Image.Resampling.LANCZOS)
                strip.paste(frame, (at * STRIP_WIDTH, 0))
            _keep(strip, PICTURES / f"page-{width}-strip.webp")
        browser.close()


def _keep(picture: bytes | Image.Image, path: Path) -> None:
    """Write a picture small enough for a repository."""
    opened = Image.open(io.BytesIO(picture)) if isinstance(picture, bytes) else picture
    opened.convert("RGB").save(path, "WEBP", quality=80, method=6)
    sys.stdout.write(f"{path.relative_to(ROOT)}: {path.stat().st_size / 1e3:.0f} kB\n")


if __name__ == "__main__":
    main()
