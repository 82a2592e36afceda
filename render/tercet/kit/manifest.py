"""kit.json: what lies in a song's folder, in words and figures, for pages and for the next kit.

The file is written anew whenever a track is finished, whole or not at all: so it never speaks of a file that isn't
there, and a kit that was stopped goes on where it was.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from tercet import __version__
from tercet.made_files import is_sealed, sealed
from tercet.printable import visible_json

if TYPE_CHECKING:
    from tercet.arranging import Arrangement
    from tercet.tracks.facts import BarFacts, CueFacts, FileFacts, TrackFacts, TurnFacts

__all__ = ["MANIFEST", "file_entries", "manifest_bytes", "midi_entry", "read_manifest", "song_entry"]

MANIFEST = "kit.json"

FORMAT = 1
"""Raised whenever a reader of older manifests could misread a newer one."""

Entry = dict[str, Any]

SHORTER_NAMES = {"pass_number": "pass"}
"""Facts that have another name in the manifest."""


def song_entry(arrangement: Arrangement, file_name: str) -> Entry:
    """Return what a manifest says of its song."""
    song = arrangement.song
    return {
        "title": song.title,
        "composer": song.composer,
        "licence": song.licence,
        "key": str(song.key),
        "meter": str(song.meter),
        "tempo": float(song.tempo),
        "song": file_name,
    }


def file_entries(facts: TrackFacts, set_name: str, made_from: Mapping[str, str]) -> list[Entry]:
    """Return what a manifest says of the files of a track.

    Parameters
    ----------
    facts
        Of the track; names of its files are relative to the manifest.
    set_name
        Its set's folder, empty where there is only one.
    made_from
        For each file what stands for all that it is made from.
    """
    told = {
        "set": set_name,
        "track": facts.track,
        "way": facts.way,
        "purpose": facts.purpose,
        "title": facts.title,
    }
    happens = {
        "turns": [_told(turn) for turn in facts.turns],
        "bars": [_told(bar) for bar in facts.bars],
        "cues": [_told(cue) for cue in facts.cues],
    }
    return [{**_told(file), **told, "made_from": made_from[file.file], **happens} for file in facts.files]


def _told(facts: FileFacts | TurnFacts | BarFacts | CueFacts) -> Entry:
    """Return facts by name; `dataclasses.asdict`, which copies every value, takes a twentieth of a kit's time."""
    return {SHORTER_NAMES.get(name, name): getattr(facts, name) for name in facts.__slots__}


def midi_entry(name: str, set_name: str, data: bytes, length_s: float, made_from: str) -> Entry:
    """Return what a manifest says of a MIDI file."""
    import hashlib

    return {
        "file": name,
        "format": "MIDI",
        "bytes": len(data),
        "sha256": hashlib.sha256(data).hexdigest(),
        "length_s": round(length_s, 4),
        "set": set_name,
        "track": "midi",
        "purpose": "all layers, for other programs",
        "made_from": made_from,
    }


def manifest_bytes(song: Entry, sets: Iterable[Entry], files: Iterable[Entry], asked: str) -> bytes:
    """Return a manifest, each file in a row of its own: a song of an hour has some ten thousand bars to tell.

    Parameters
    ----------
    song
        From `song_entry`.
    sets
        Name, tuning and players of each set.
    files
        In class order.
    asked
        Stands for the request when all of it is there; empty before.
    """
    head_fields = {"tercet_kit": FORMAT, "seal": "", "version": __version__}
    content = {**head_fields, **song, "asked": asked, "sets": list(sets)}
    rows = [
        json.dumps(entry, ensure_ascii=False) for entry in sorted(files, key=lambda entry: str(entry["file"]))
    ]
    head = json.dumps(content, ensure_ascii=False, indent=1).removesuffix("\n}")
    text = visible_json(f'{head},\n "files": [\n' + ",\n".join(rows) + "\n ]\n}\n")
    return sealed(text.encode())


def read_manifest(data: bytes | None) -> Entry:
    """Return what a manifest says; nothing of one that isn't there, isn't as we wrote it, or is of another format."""
    if data is None or not is_sealed(data):
        return {}
    content: Entry = json.loads(data)
    return content if content["tercet_kit"] == FORMAT else {}
