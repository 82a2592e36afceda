"""What lies in a song's folder already: which files are whole, and whether they are all that is asked for.

A kit that is complete is known by its request alone: song, class file, options, sound and version. Nothing is arranged
or planned for it, so a song book that hasn't changed is looked through in a moment.
"""

from __future__ import annotations

import hashlib
from contextlib import suppress
from dataclasses import replace
from typing import Any

from tercet import __version__
from tercet.errors import OutputError, TercetError
from tercet.jobs import Store
from tercet.kit.events import Listener, unheard
from tercet.kit.manifest import MANIFEST, read_manifest
from tercet.kit.options import KitOptions
from tercet.kit.ready import sound_of
from tercet.kit.sources import SongSource
from tercet.sound.fluid import FluidSynthesiser

__all__ = ["asked_key", "complete_kit", "what_is_there"]

Entry = dict[str, Any]


def asked_key(source: SongSource, options: KitOptions, listener: Listener = unheard) -> str:
    """Return what stands for all that is asked for of a song; empty if that can't be told, as something is wrong.

    Where the files go, who makes them and how they are looked at changes nothing in them.
    """
    asked = replace(options, jobs=None, cluster=None, replace=False, verify=False)
    try:
        font = sound_of(source, source.read(), options.play, listener)
        parts = (__version__, source.content(), asked, FluidSynthesiser(font).identity())
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
