"""Which tracks of a kit make sense in a song: one whose choice picks no note of it is refused, or left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from tercet.cli.kit_jobs import let_go, ready_recording
from tercet.cli.talk import say
from tercet.errors import RequestError

if TYPE_CHECKING:
    from tercet.cli.kit_song import SongOrder
    from tercet.tracks.making import SetOrder, TrackOrder

__all__ = ["sensible"]


def sensible(order: SongOrder, asked: Sequence[str] | None) -> SongOrder:
    """Return a song's kit without tracks that make no sense in it, and say which those are.

    Parameters
    ----------
    order
        The kit.
    asked
        Tracks that are asked for by name; None where it is all of them.

    Raises
    ------
    RequestError
        A track that is asked for, or that the song itself defines, makes no sense; or a track asks for bars that
        the song doesn't have.
    """
    return replace(order, sets=tuple(_sensible_set(one, asked) for one in order.sets))


def _sensible_set(one: SetOrder, asked: Sequence[str] | None) -> SetOrder:
    song = one.arrangement.song
    recording = ready_recording(one)
    wanted = {*(asked or ()), *(track.name for track in song.tracks)}
    kept: list[TrackOrder] = []
    left_out: dict[str, None] = {}
    title = f"{song.title} ({one.title})" if one.title else song.title
    for index, track in enumerate(one.tracks):
        why = recording.lack(index)
        if not why:
            kept.append(track)
        elif track.recipe.name in wanted:
            raise RequestError(
                f"{title}: the track {track.recipe.name} makes no sense here: {why}. "
                "Choose other notes or other bars, or leave the track away"
            )
        else:
            left_out[track.recipe.name] = None
    if not left_out:
        return one
    let_go(one)
    say(f"{title}: left out, as nothing would be left to play or to hear: {', '.join(left_out)}")
    return replace(one, tracks=tuple(kept))
