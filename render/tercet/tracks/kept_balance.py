"""The balance of a song, measured by itself and kept: nothing of a song is measured twice while it stays as it is.

What is kept stands under all that it depends on: every note as it is played, the sound, the room. So a balance that is
read is the one that would be measured, to the last bit. Where it is known what is asked for, it stands under that too:
then it is found before a note is played.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from tercet import __version__
from tercet.caches import Cache
from tercet.tracks.balance import Balance, Variant, WholeHeard, balance_of
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.easing import Easing
from tercet.tracks.playing import Playing
from tercet.tracks.recording import Recording
from tercet.tracks.timelines import Source
from tercet.tracks.track_files import digest

__all__ = ["heard_whole", "kept_balance"]

VERSION = 2
"""Raised whenever the same song comes out balanced otherwise: what is measured, or how."""

MOST_KEPT = 512
"""Balances in the user's cache, a few hundred bytes each; those that were measured first go."""


def kept_balance(playing: Playing, variants: Iterable[Variant], work: Path, asked: str = "") -> Balance:
    """Return the balance of a song, read from the user's cache, else measured and kept there.

    Parameters
    ----------
    playing
        The song and its sound.
    variants
        As in `Recording`.
    work
        A folder for what is needed while it is measured.
    asked
        What stands for the song as it is written and for how it is to be played; empty if that isn't known.
    """
    return balance_of({variant: heard_whole(playing, variant, work, asked) for variant in variants})


def heard_whole(playing: Playing, variant: Variant, work: Path, asked: str = "") -> WholeHeard:
    """Return what is heard of a whole song in one variant; parameters as of `kept_balance`."""
    cache = Cache.of_user("balances")
    request = _digest("asked", asked, playing.sound_identity(), variant) if asked else ""
    data = cache.get(request) if request else None
    if data is not None:
        return _read(data)
    whole = Recording(playing, (), BatchCache(work), variants=(variant,))
    key = _key(whole, variant)
    data = cache.get(key)
    heard = whole.heard_whole(variant) if data is None else _read(data)
    for name in filter(None, (request, key if data is None else "")):
        cache.keep(name, data or _written(heard))
    cache.let_go_beyond(MOST_KEPT)
    return heard


def _key(whole: Recording, variant: Variant) -> str:
    """Return what stands for all that a balance depends on: what is heard, and how it is cut into clips."""
    piece, flat = variant
    performed = whole.playing.performed(Source(piece, flat=flat))
    return _digest(whole.reference_key, performed.part_beats)


def _digest(*parts: object) -> str:
    return digest(__version__, VERSION, np.__version__, *parts)


def _written(heard: WholeHeard) -> bytes:
    easing = heard.easing
    told = {
        "trims_db": dict(heard.trims_db),
        "lufs": heard.lufs,
        "peak_dbtp": heard.peak_dbtp,
        "easing": easing and (easing.first_frame, _packed(easing.down_db)),
    }
    return json.dumps(told).encode()


def _read(data: bytes) -> WholeHeard:
    told = json.loads(data)
    easing = told.pop("easing")
    return WholeHeard(**told, easing=easing and Easing(easing[0], _unpacked(easing[1])))


def _packed(values: np.ndarray) -> str:
    return base64.b64encode(zlib.compress(values.astype("<f8").tobytes())).decode()


def _unpacked(text: str) -> np.ndarray:
    return np.frombuffer(zlib.decompress(base64.b64decode(text)), "<f8").astype(np.float64)
