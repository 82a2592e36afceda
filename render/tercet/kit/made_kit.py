"""What a page takes from a kit that was made: the tracks that browsers play, and files to take home."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tercet.audio_formats import FORMATS, format_names
from tercet.errors import RequestError
from tercet.kit.manifest import MANIFEST
from tercet.publish.page import FOLDER, KitTrack, TrackBar, Turn

__all__ = ["files_to_take", "read_kit", "set_names"]

PLAYED_ENDINGS = (".mp3",)
"""Kinds of recording that every browser plays."""

TAKEN = {**dict(zip(FORMATS, format_names(), strict=True)), ".mid": "midi", ".mp4": "film", ".pdf": "pdf"}
"""Groups of files to take home by their endings, in their order."""


def read_kit(folder: Path, set_name: str = "") -> tuple[KitTrack, ...]:
    """Return the tracks of a song's folder that browsers play, in class order; none where there is no kit.

    Parameters
    ----------
    folder
        The song's folder.
    set_name
        Which set of the kit, by its folder; the first without it. A kit that hasn't that set has no tracks of it.

    Raises
    ------
    RequestError
        The manifest can't be read.
    """
    path = folder / MANIFEST
    try:
        manifest = json.loads(path.read_text(encoding="utf-8"))
        wanted = set_name or _names(manifest)[0]
        return tuple(
            _track(entry)
            for entry in manifest["files"]
            if entry.get("set", "") == wanted
            and _is_played(entry["file"])
            and _is_there(folder, entry["file"])
        )
    except FileNotFoundError:
        return ()
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise RequestError(
            f"{path} can't be read ({error}): remove it, and `tercet kit` makes it again"
        ) from error


def set_names(folder: Path) -> tuple[str, ...]:
    """Return the folders of the sets of the kit in a song's folder; none where no manifest tells."""
    try:
        return _names(json.loads((folder / MANIFEST).read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return ()


def _names(manifest: dict[str, Any]) -> tuple[str, ...]:
    return tuple(one.get("name", "") for one in manifest.get("sets", [])) or ("",)


def _track(entry: dict[str, Any]) -> KitTrack:
    turns = tuple(
        Turn(str(turn["whose"]), float(turn["start_s"]), float(turn["end_s"]), str(turn.get("step", "")))
        for turn in entry.get("turns", ())
    )
    bars = tuple(
        TrackBar(int(bar["bar"]), float(bar["start_s"]), float(bar["end_s"])) for bar in entry.get("bars", ())
    )
    name = str(entry.get("track", entry["file"])).replace("-", " ")
    title, purpose = str(entry.get("title", name)), str(entry.get("purpose", ""))
    return KitTrack(str(entry["file"]), name, title, purpose, float(entry.get("length_s", 0.0)), bars, turns)


def _is_played(file: str) -> bool:
    return Path(file).suffix.lower() in PLAYED_ENDINGS


def _is_there(folder: Path, file: str) -> bool:
    """Whether a file of the manifest lies in the folder; one that would lead out of it counts as missing."""
    path = (folder / file).resolve()
    return path.is_relative_to(folder.resolve()) and path.is_file()


def files_to_take(folder: Path, set_name: str = "") -> dict[str, tuple[Path, ...]]:
    """Return the recordings, MIDI files and sheets in a song's folder and its sets', by group, in order of name.

    Of one of several sets: those in its folder, and beside it, where no other set's are. What lies in the page's own
    folder is the page's.
    """
    found: dict[str, list[Path]] = {group: [] for group in TAKEN.values()}
    if folder.is_dir():
        own = folder / FOLDER
        for path in sorted([*folder.iterdir(), *folder.glob(f"{set_name or '*'}/*")]):
            group = TAKEN.get(path.suffix.lower())
            if group and path.is_file() and path.parent != own and not path.name.startswith("."):
                found[group].append(path)
    return {group: tuple(paths) for group, paths in found.items() if paths}
