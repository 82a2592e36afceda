"""Take the pictures of ``docs/page.md`` anew: ``python tests/browser/remake_pictures.py``.

Each shows the page of Harbour Lanterns at one width, in one scheme of colours, some bars into the second verse.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from PIL import Image  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

from tests.browser.windows import FLAGS, PROGRAM, window  # noqa: E402
from tests.kits import run_tercet  # noqa: E402

PICTURES = ROOT / "docs" / "pictures"
SIZES = {360: 740, 820: 1100, 1440: 900}
SCHEMES = ("light", "dark")
BAR = 20
"""Index of the bar at which the page is seen."""


def main() -> None:
    """Make the page, open it six times, and keep what is seen."""
    with tempfile.TemporaryDirectory() as base, sync_playwright() as playwright:
        song = ROOT / "songs" / "harbour-lanterns.yaml"
        run_tercet("page", song, "-o", base, "--no-kit", "--speeds", "60%,80%,100%")
        address = (Path(base) / "harbour-lanterns" / "index.html").as_uri()
        browser = playwright.chromium.launch(executable_path=PROGRAM, headless=True, args=list(FLAGS))
        for width, height in SIZES.items():
            for scheme in SCHEMES:
                with window(browser, width=width, height=height, color_scheme=scheme) as opened:
                    page = opened.show(address)
                    if width < 1000 and scheme == "light":
                        page.uncheck("#follow")
                    page.evaluate("(bar) => Tercet.player.goToBar(bar)", BAR)
                    page.select_option("#count", "0")
                    page.click("#go")
                    reached = "(bar) => Tercet.player.position().ms > Tercet.speeds[2].bars[bar][0] + 900"
                    page.wait_for_function(reached, arg=BAR)
                    _keep(page.screenshot(), PICTURES / f"page-{width}-{scheme}.webp")
        browser.close()


def _keep(png: bytes, path: Path) -> None:
    """Write a picture small enough for a repository."""
    Image.open(io.BytesIO(png)).convert("RGB").save(path, "WEBP", quality=80, method=6)
    sys.stdout.write(f"{path.relative_to(ROOT)}: {path.stat().st_size / 1e3:.0f} kB\n")


if __name__ == "__main__":
    main()
