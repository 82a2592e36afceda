"""Reports of what was heard, as files: a page, a picture, or figures for programs."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from tercet.errors import RequestError
from tercet.hearing import Heard
from tercet.made_files import check_ending, check_may_make, write_made
from tercet.publish.page.heard_page import heard_details, heard_page
from tercet.publish.picture_files import PICTURE_ENDINGS
from tercet.publish.pictures import heard_picture
from tercet.publish.svg import svg_element

__all__ = ["REPORT_ENDINGS", "check_may_report", "report_facts", "write_report"]


def _json(found: Sequence[Heard], _song_path: str) -> bytes:
    facts = [heard.as_json() for heard in found]
    return json.dumps(facts, indent=2, ensure_ascii=False).encode("utf-8", "replace") + b"\n"


def _picture(ending: str) -> Callable[[Sequence[Heard], str], bytes]:
    return lambda found, _song_path: PICTURE_ENDINGS[ending](heard_picture(found[0]))


REPORT_ENDINGS: dict[str, Callable[[Sequence[Heard], str], bytes]] = {
    ".html": heard_page,
    ".json": _json,
    **{ending: _picture(ending) for ending in PICTURE_ENDINGS},
}
"""How what was heard becomes the bytes of a file, by its ending."""


def report_facts(heard: Heard) -> dict[str, Any]:
    """Return what a window shows of a recording: the facts of ``tercet hear --json``, details as lines, the picture."""
    return {
        "facts": heard.as_json(),
        "details": list(heard_details(heard)),
        "picture": svg_element(heard_picture(heard)),
    }


def check_may_report(path: Path, recordings: int, *, replace: bool = False) -> None:
    """Refuse a report that can't be written, before anything is heard.

    Raises
    ------
    RequestError
        There is no such kind of report, a picture is asked of several recordings, or a file is there that must stay.
    """
    check_ending(path, tuple(REPORT_ENDINGS), "report", ".html")
    if path.suffix.lower() in PICTURE_ENDINGS and recordings > 1:
        raise RequestError(
            f"a picture shows one recording, and {recordings} are given: end FILE in .html for all of them",
            given=str(path),
            meant=str(path.with_suffix(".html")),
        )
    check_may_make(path, replace=replace)


def write_report(path: Path, found: Sequence[Heard], song_path: str, *, replace: bool = False) -> None:
    """Write a report, whole or not at all; errors as for `check_may_report`."""
    data = REPORT_ENDINGS[path.suffix.lower()](found, song_path)
    write_made(path, data, maker="hear", replace=replace)
