"""Recipes of one's own, from a song or a class file."""

from __future__ import annotations

from collections.abc import Iterable

from tercet.song import OwnTrack
from tercet.song.own_tracks import refuse_names
from tercet.tracks.choice import parse_choice
from tercet.tracks.recipes import RECIPES, Recipe, recipe_named

__all__ = ["own_recipes"]


def own_recipes(tracks: Iterable[OwnTrack], file: str) -> tuple[Recipe, ...]:
    """Return the recipes of tracks of one's own.

    Parameters
    ----------
    tracks
        As the file has them; their choices and bars were checked when it was read.
    file
        The file's name, for a message.

    Raises
    ------
    SongError
        A track has the name of a built-in one.
    """
    found = tuple(tracks)
    refuse_names(found, [recipe.name for recipe in RECIPES], file)
    return tuple(map(_recipe, found))


def _recipe(track: OwnTrack) -> Recipe:
    heard = f"not ({track.yours})" if track.yours else track.heard or "all"
    usual = recipe_named("ladder" if track.way == "ladder" else "demo")
    return Recipe(
        name=track.name,
        purpose=track.purpose or _purpose(track),
        way="through" if track.way == "flat" else track.way,
        flat=track.way == "flat",
        heard=parse_choice(heard),
        guide=parse_choice(track.guide or "nothing"),
        by=track.by,
        swap=track.swap,
        speeds=track.speeds or usual.speeds,
        times=track.times or usual.times,
        bars=track.bars,
    )


def _purpose(track: OwnTrack) -> str:
    """Return a sentence for a track whose file has none."""
    if track.yours:
        return f"yours: {track.yours}; the rest is played for you"
    return f"heard: {track.heard}" if track.heard else f"a track of this class ({track.way})"
