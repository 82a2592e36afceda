"""docs/pictures.md shows what Tercet draws today."""

from __future__ import annotations

import re

from tests.publish.docs_pictures import FOLDER, ROOT, pictures


def test_the_pictures_are_those_that_are_drawn_today() -> None:
    page = (ROOT / "docs" / "pictures.md").read_text(encoding="utf-8")
    assert {path: path.read_text(encoding="utf-8") for path in FOLDER.glob("*.svg")} == pictures()
    assert {ROOT / "docs" / name for name in re.findall(r"\]\((pictures/[^)]+)\)", page)} == set(pictures())
