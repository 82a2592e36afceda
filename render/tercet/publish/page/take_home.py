"""What lies beside a page to take home: sheets, then recordings set by set, each track once in all its kinds."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any
from urllib.parse import quote

from tercet.publish.page.markup import filled, text_table

__all__ = ["Files", "size_shown", "take_home"]

Files = Mapping[str, Sequence[tuple[str, int]]]
"""For each group of downloads its files: where each lies seen from the page, and its bytes."""

PAPER = ".pdf"

_NUMBER = re.compile(r"^\d+-")
"""Tracks are numbered in the order of a lesson."""


def take_home(downloads: Files) -> dict[str, Any]:
    """Return what the template writes: ``sheets``, and ``sets`` with their tracks; empty without any file."""
    every = [file for files in downloads.values() for file in files]
    sheets = [_link(*file) for file in every if _ending(file[0]) == PAPER]
    sets: defaultdict[str, dict[str, list[tuple[str, int]]]] = defaultdict(dict)
    for name, size in every:
        if _ending(name) != PAPER:
            path = PurePosixPath(name)
            sets[path.parent.as_posix()].setdefault(path.stem, []).append((name, size))
    shown = [_set_words(folder, tracks) for folder, tracks in sorted(sets.items())]
    return {"sheets": sheets, "sets": shown} if every else {}


def _set_words(folder: str, tracks: Mapping[str, Sequence[tuple[str, int]]]) -> dict[str, Any]:
    sizes = [size for files in tracks.values() for _, size in files]
    about = filled("take_count", count=len(sizes), size=size_shown(sum(sizes)))
    return {
        "title": text_table()["take_all"] if folder == "." else folder.replace("-", " "),
        "about": about,
        "tracks": [
            {"name": _NUMBER.sub("", stem).replace("-", " "), "kinds": [_link(*file) for file in files]}
            for stem, files in sorted(tracks.items())
        ],
    }


def _link(name: str, size: int) -> dict[str, str]:
    path = PurePosixPath(name)
    return {
        "href": quote(name),
        "name": path.name,
        "kind": _ending(name)[1:].upper(),
        "size": size_shown(size),
    }


def _ending(name: str) -> str:
    return PurePosixPath(name).suffix.lower()


def size_shown(size: int) -> str:
    """Return a file's bytes as people read them: ``1.2 MB``, ``84.0 kB``."""
    return f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.1f} kB"
