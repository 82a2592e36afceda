"""What lies in a song's folder already: which files are whole, and whether they are all that is asked for.

A kit that is complete is known by its request alone: song, class file, options, sound and version. Nothing is arranged
or planned for it, so a song book that hasn't changed is looked through in a moment.
"""

from __future__ import annotations

import argparse
import hashlib
import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tercet import __version__
from tercet.errors import OutputError, TercetError
from tercet.kit.manifest import MANIFEST, read_manifest

if TYPE_CHECKING:
    from tercet.jobs import Store

__all__ = ["asked_key", "complete_kit", "what_is_there"]

Entry = dict[str, Any]

NOT_ASKED = frozenset({"songs", "output", "jobs", "cluster", "list", "run", "replace", "verify"})
"""Options that change nothing in the files: what is listed, where they go, who makes them, how they are looked at."""


def asked_key(arguments: argparse.Namespace, song: str) -> str:
    """Return what stands for all that is asked for of a song; empty if that can't be told, as something is wrong."""
    from tercet.song import read_song
    from tercet.song.class_file import class_path
    from tercet.sound.fluid import FluidSynthesiser
    from tercet.sound.soundfont_choice import choose_font

    path = Path(song)
    try:
        asks_for = read_song(path).sound
        font = choose_font(arguments.sound, asks_for, path.parent, os.environ).sound
        beside = class_path(song)
        options = sorted((name, value) for name, value in vars(arguments).items() if name not in NOT_ASKED)
        parts = (
            __version__,
            path.name,
            path.read_bytes(),
            beside.read_bytes() if beside.is_file() else b"",
            options,
            FluidSynthesiser(font).identity(),
        )
    except (TercetError, OSError):
        return ""
    return hashlib.blake2b(repr(parts).encode(), digest_size=16).hexdigest()


def what_is_there(store: Store, folder: str, *, verify: bool = False) -> tuple[Entry, dict[str, Entry]]:
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
    there: dict[str, Entry] = {}
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


def complete_kit(store: Store, folder: str, asked: str, *, verify: bool) -> Entry | None:
    """Return the manifest of a kit in which nothing is missing; None for any other.

    Parameters
    ----------
    store, folder
        Where the kits go, and the song's folder there.
    asked
        From `asked_key`.
    verify
        As in `what_is_there`.
    """
    if not asked:
        return None
    manifest, there = what_is_there(store, folder, verify=verify)
    whole = manifest.get("asked") == asked and len(there) == len(manifest["files"])
    return manifest if whole else None
