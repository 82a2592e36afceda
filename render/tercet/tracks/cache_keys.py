"""What a track is made from, as a short text: equal texts, equal files."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from tercet import __version__
from tercet.arranging import Arrangement
from tercet.sound.encoding import track_format
from tercet.sound.fluid import FluidSynthesiser
from tercet.sound.loudness import TARGET_LUFS
from tercet.sound.sf2_reader import SoundFont
from tercet.tracks.balance import HEADROOM_DB
from tercet.tracks.recording import Recording
from tercet.tracks.track_files import SetOrder

__all__ = ["digest", "gain_key", "set_key", "track_key", "without_own_tracks"]

DIGEST_BYTES = 16


def digest(*parts: object) -> str:
    """Return 32 hexadecimal digits that stand for some values, told apart by their `repr`."""
    return hashlib.blake2b(repr(parts).encode(), digest_size=DIGEST_BYTES).hexdigest()


def gain_key(recordings: Sequence[Recording]) -> str:
    """Return what stands for the gain that the sets of a song share: all their demos."""
    return digest(TARGET_LUFS, HEADROOM_DB, *(recording.reference_key for recording in recordings))


def set_key(order: SetOrder) -> str:
    """Return what stands for all that a set is asked to be; it is found without playing anything."""
    identity = FluidSynthesiser(order.font).identity()
    wanted = replace(
        order,
        arrangement=without_own_tracks(order.arrangement),
        work=Path(),
        shared=False,
        font=SoundFont(Path(), 0, 0),
    )
    return digest(__version__, identity, wanted)


def without_own_tracks(arrangement: Arrangement) -> Arrangement:
    """Return an arrangement whose song has no tracks of its own: what they say changes nothing in the others."""
    return replace(arrangement, song=replace(arrangement.song, tracks=()))


def track_key(order: SetOrder, index: int, recording: Recording, gain: str, name: str) -> str:
    """Return what stands for one file of a track.

    Parameters
    ----------
    order, index
        The set, and which of its tracks.
    recording
        Of the order.
    gain
        From `gain_key`.
    name
        The file's; only its ending counts.
    """
    song = order.arrangement.song
    kind = track_format(Path(name))
    return digest(
        __version__,
        recording.track_key(index),
        gain,
        (song.title, song.composer, song.licence, order.title, order.tracks[index].number),
        (order.tracks[index].recipe.name, order.tracks[index].recipe.purpose),
        kind,
        0 if kind.lossy else order.bits,
    )
