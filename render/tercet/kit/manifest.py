"""kit.json: what lies in a song's folder, in words and figures, for pages and for the next kit; written and read here.

The file is written anew whenever a track is finished, whole or not at all: so it never speaks of a file that isn't
there, and a kit that was stopped goes on where it was.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from contextlib import suppress
from typing import Any

from tercet import __version__
from tercet.arranging import Arrangement
from tercet.errors import OutputError
from tercet.jobs import Store
from tercet.kit.events import Event, EventKind
from tercet.made_files import is_sealed, sealed
from tercet.printable import visible_json
from tercet.tracks.facts import BarFacts, CueFacts, FileFacts, TrackFacts, TurnFacts

__all__ = [
    "MANIFEST",
    "JsonObject",
    "complete_kit",
    "file_entries",
    "file_event",
    "manifest_bytes",
    "midi_entry",
    "read_manifest",
    "song_entry",
    "what_is_there",
]

MANIFEST = "kit.json"

FORMAT = 1
"""Raised whenever a reader of older manifests could misread a newer one."""

JsonObject = dict[str, Any]

SHORTER_NAMES = {"pass_number": "pass"}
"""Facts that have another name in the manifest."""


def song_entry(arrangement: Arrangement, file_name: str) -> JsonObject:
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


def file_entries(facts: TrackFacts, set_name: str, made_from: Mapping[str, str]) -> list[JsonObject]:
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
    about = {
        "set": set_name,
        "track": facts.track,
        "way": facts.way,
        "purpose": facts.purpose,
        "title": facts.title,
    }
    happens = {
        "turns": [_fields(turn) for turn in facts.turns],
        "bars": [_fields(bar) for bar in facts.bars],
        "cues": [_fields(cue) for cue in facts.cues],
    }
    return [{**_fields(file), **about, "made_from": made_from[file.file], **happens} for file in facts.files]


def _fields(facts: FileFacts | TurnFacts | BarFacts | CueFacts) -> JsonObject:
    """Return facts by name; `dataclasses.asdict`, which copies every value, takes a twentieth of a kit's time."""
    return {SHORTER_NAMES.get(name, name): getattr(facts, name) for name in facts.__slots__}


def midi_entry(name: str, set_name: str, data: bytes, length_s: float, made_from: str) -> JsonObject:
    """Return what a manifest says of a MIDI file."""
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


def manifest_bytes(
    song: JsonObject, sets: Iterable[JsonObject], files: Iterable[JsonObject], asked: str
) -> bytes:
    """Return a manifest, each file in a row of its own: a song of an hour has some ten thousand bars to tell.

    Parameters
    ----------
    song
        From `song_entry`.
    sets
        Name, tuning, players and key of each set.
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


def read_manifest(data: bytes | None) -> JsonObject:
    """Return what a manifest says; nothing of one that isn't there, isn't as we wrote it, or is of another format."""
    if data is None or not is_sealed(data):
        return {}
    content: JsonObject = json.loads(data)
    return content if content["tercet_kit"] == FORMAT else {}


def file_event(kind: EventKind, song: str, folder: str, entry: JsonObject) -> Event:
    """Return the event that tells of a file of a kit, as the manifest in a song's folder has it."""
    return Event(
        kind,
        entry["purpose"],
        song,
        entry["set"],
        entry["track"],
        f"{folder}/{entry['file']}",
        length_s=entry["length_s"],
        size_bytes=entry["bytes"],
    )


# ---- reading, for the next kit


def what_is_there(
    store: Store, folder: str, *, verify: bool = False
) -> tuple[JsonObject, dict[str, JsonObject]]:
    """Return a song's manifest, and of the files in it those that are whole, by name.

    A file is whole if it has its size. One that was changed after the manifest was written isn't trusted: its hash must
    be right, too; with `verify` each file's must.

    Raises
    ------
    OutputError
        The folder can't be read.
    """
    name = f"{folder}/{MANIFEST}"
    try:
        data = store.read(name)
    except FileNotFoundError:
        return {}, {}
    manifest = read_manifest(data)
    told_ns = store.changed_ns(name)
    there: dict[str, JsonObject] = {}
    looked_into = False
    for entry in manifest.get("files", []):
        place = f"{folder}/{entry['file']}"
        if store.size(place) != entry.get("bytes"):
            continue
        changed_ns = store.changed_ns(place)
        younger = told_ns is not None and changed_ns is not None and changed_ns > told_ns
        if younger or verify:
            looked_into = looked_into or younger
            if hashlib.sha256(store.read(place)).hexdigest() != entry.get("sha256"):
                continue
        there[entry["file"]] = entry
    if looked_into and len(there) == len(manifest["files"]):
        # All is right after all, as in a copied folder: from now on the manifest is the youngest again.
        with suppress(OutputError):
            store.write(data, name)
    return manifest, there


def complete_kit(store: Store, folder: str, asked: str, *, verify: bool) -> JsonObject | None:
    """Return the manifest of a kit in which nothing is missing; None for any other.

    Parameters
    ----------
    store, folder
        Where the kits go, and the song's folder there.
    asked
        Stands for the request, see `tercet.kit.kits.asked_key`.
    verify
        As in `what_is_there`.
    """
    if not asked:
        return None
    manifest, there = what_is_there(store, folder, verify=verify)
    whole = manifest.get("asked") == asked and len(there) == len(manifest["files"])
    return manifest if whole else None
