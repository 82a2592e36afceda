"""The documentation becomes pages without a warning, every link holds, and reading them asks nothing of the net."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import tercet
from tools.docs_site import SOURCES, rooms

ROOT = Path(__file__).resolve().parent.parent
PAGES = ROOT / "build" / "docs"


def build(*command: str) -> subprocess.CompletedProcess[str]:
    settings = {**os.environ, "NO_MKDOCS_2_WARNING": "1"}
    return subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=settings, capture_output=True, text=True, check=False
    )


def test_the_pages_are_made_and_a_dead_link_is_found() -> None:
    done = build("tools/docs_site.py")
    assert done.returncode == 0, done.stderr[-3000:]
    assert "WARNING" not in done.stderr
    door = (PAGES / "reference" / "index.html").read_text(encoding="utf-8")
    for name in set(tercet.__all__) - {"__version__"}:
        assert f'id="tercet.{name}"' in door, name
    assert "<blockquote>" not in door  # an example that stands as text
    for room in rooms():
        assert (PAGES / "reference" / f"{room}.html").stat().st_size > 20_000
    for page in PAGES.rglob("*.html"):
        # What a page loads, as against where it leads to.
        loaded = re.findall(
            r'<(?:script|img|link)\b[^>]*\b(?:src|href)="(https?:[^"]*)', page.read_text(encoding="utf-8")
        )
        assert loaded == [], page
    sheet = SOURCES / "docs" / "sheet.md"
    sheet.write_text(sheet.read_text(encoding="utf-8") + "[nowhere](nowhere.md)\n", encoding="utf-8")
    spoilt = build("-m", "mkdocs", "build", "--site-dir", "build/spoilt-docs")
    assert spoilt.returncode != 0
    assert "nowhere.md" in spoilt.stderr
