"""Whether a page that was made before is still the page that is asked for."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from tercet.tracks.files import write_bytes

__all__ = ["note_page", "page_is_there"]

NOTE_FILE = "page.json"


def page_is_there(folder: Path, asked: str) -> bool:
    """Return whether a page was made of what is asked for, and all of its files are still there.

    Parameters
    ----------
    folder
        Where the page's own files lie, below the song's folder.
    asked
        Stands for all that the page is made of.
    """
    try:
        note = json.loads((folder / NOTE_FILE).read_text(encoding="utf-8"))
        files = [str(name) for name in note["files"]]
    except (OSError, ValueError, KeyError, TypeError):
        return False
    return bool(note["asked"] == asked) and all((folder.parent / name).is_file() for name in files)


def note_page(folder: Path, asked: str, files: Sequence[str]) -> None:
    """Note that a page is complete.

    Parameters
    ----------
    folder, asked
        As in `page_is_there`.
    files
        Names of its files, from the song's folder; the stems beside the note are added.
    """
    stems = sorted(f"{folder.name}/{path.name}" for path in folder.glob("*.js"))
    note = {"asked": asked, "files": sorted({*files, *stems})}
    write_bytes(folder / NOTE_FILE, json.dumps(note).encode("utf-8"))
