"""Which tracks of a kit make sense in a song: one whose choice picks no note of it is refused, or left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from tercet.cli.talk import say
from tercet.errors import RequestError
from tercet.kit.tasks import let_go, ready_recording

if TYPE_CHECKING:
    from tercet.kit.song_kit import SongOrder
    from tercet.tracks.track_files import SetOrder

__all__ = ["sensible"]


def sensible(order: SongOrder, asked: Sequence[str] | None) -> SongOrder:
    """Return a song's kit without tracks that make no sense in a set, and say which those are.

    Parameters
    ----------
    order
        The kit.
    asked
        Tracks that are asked for by name; None where it is all of them.

    Raises
    ------
    RequestError
        A track that is asked for, or that the song itself defines, makes sense in none of the sets; or a track asks
        for bars that the song doesn't have.
    """
    lacks = [_lacks(one) for one in order.sets]
    own = [track.name for track in order.sets[0].arrangement.song.tracks]
    for name in dict.fromkeys([*(asked or ()), *own]):
        whys = [
            why
            for one, lack in zip(order.sets, lacks, strict=True)
            for track, why in zip(one.tracks, lack, strict=True)
            if track.recipe.name == name
        ]
        if whys and all(whys):
            title = _title(order.sets[0]) if len(order.sets) == 1 else order.title
            raise RequestError(
                f"{title}: the track {name} makes no sense here: {whys[0]}. "
                "Choose other notes or other bars, or leave the track away"
            )
    return replace(order, sets=tuple(map(_sensible_set, order.sets, lacks)))


def _lacks(one: SetOrder) -> list[str]:
    """Return for each track of a set why it makes no sense there; empty where it does."""
    recording = ready_recording(one)
    return [recording.lack(index) for index in range(len(one.tracks))]


def _title(one: SetOrder) -> str:
    title = one.arrangement.song.title
    return f"{title} ({one.title})" if one.title else title


def _sensible_set(one: SetOrder, lacks: Sequence[str]) -> SetOrder:
    """Return a set without the tracks that make no sense in it, and say which those are."""
    if not any(lacks):
        return one
    let_go(one)
    left_out = [track.recipe.name for track, why in zip(one.tracks, lacks, strict=True) if why]
    names = ", ".join(dict.fromkeys(left_out))
    say(f"{_title(one)}: left out, as nothing would be left to play or to hear: {names}")
    kept = (track for track, why in zip(one.tracks, lacks, strict=True) if not why)
    return replace(one, tracks=tuple(kept))
