"""Make the pages of the documentation in ``build/docs``: ``make docs``, which fails at a warning or a dead link.

The sources are laid out as they lie in the checkout, so that a link that holds there holds in the pages too. The
reference is made of the docstrings: a page for the front door and one for each room that has an ``__all__``.
"""

from __future__ import annotations

import ast
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

__all__ = ["laid_out", "main", "rooms"]

ROOT = Path(__file__).resolve().parent.parent
SOURCES = ROOT / "build" / "docs-source"
TAKEN = (
    "*.md",
    "LICENSE",
    "docs/**/*",
    "songs/*",
    "soundfonts/*.md",
    "benchmarks/*.md",
    "render/tercet/**/*.md",
    "render/tercet/**/*.json",
)
"""What pages are made of, and what they link to."""


def main() -> int:
    """Lay the sources out and make the pages; return the exit code."""
    laid_out(SOURCES)
    settings = {**os.environ, "NO_MKDOCS_2_WARNING": "1"}  # an advertisement, not a warning
    done = subprocess.run([sys.executable, "-m", "mkdocs", "build"], cwd=ROOT, env=settings, check=False)
    if done.returncode == 0:
        print(ROOT / "build" / "docs" / "index.html")
    return done.returncode


def laid_out(folder: Path) -> None:
    """Lay out what the pages are made of, in a folder that is made anew."""
    shutil.rmtree(folder, ignore_errors=True)
    for path in sorted({path for pattern in TAKEN for path in ROOT.glob(pattern) if path.is_file()}):
        place = folder / path.relative_to(ROOT)
        place.parent.mkdir(parents=True, exist_ok=True)
        if path.suffix == ".md":
            place.write_text(_plain_fences(path.read_text(encoding="utf-8")), encoding="utf-8")
        else:
            shutil.copy(path, place)
    reference = folder / "reference"
    reference.mkdir()
    listed = "".join(f"- [`{name}`]({name}.md)\n" for name in rooms())
    (reference / "index.md").write_text(
        f"# Reference\n\nThe front door, and below it the rooms it leads to:\n\n{listed}\n::: tercet\n",
        encoding="utf-8",
    )
    for name in rooms():
        (reference / f"{name}.md").write_text(f"# {name}\n\n::: {name}\n", encoding="utf-8")


def _plain_fences(text: str) -> str:
    """Return a page whose code blocks say their language alone: the tests read more there, as in ``yaml bell.yaml``."""
    plain = re.sub(r"^```([a-z]+)[^\n]*$", r"```\1", text, flags=re.MULTILINE)
    return plain.replace("```music\n", "```text\n")


def rooms() -> list[str]:
    """Return the rooms below the front door that say in an ``__all__`` what they offer; `cli` is for terminals."""
    package = ROOT / "render" / "tercet"
    return [
        f"tercet.{door.parent.name}"
        for door in sorted(package.glob("*/__init__.py"))
        if door.parent.name != "cli"
        and any(
            isinstance(node, ast.Assign)
            and any(getattr(each, "id", "") == "__all__" for each in node.targets)
            for node in ast.parse(door.read_text(encoding="utf-8")).body
        )
    ]


if __name__ == "__main__":
    sys.exit(main())
