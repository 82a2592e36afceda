"""What is ordered of one song's kit: its sets, their tracks under their names, and which of those make sense in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product
from pathlib import Path, PurePosixPath

from tercet.errors import RequestError
from tercet.jobs import Store, ThisProcess, Workplace
from tercet.kit.events import Event, Listener
from tercet.kit.options import KitOptions, speeds_of
from tercet.kit.ready import ReadySet
from tercet.kit.sources import SongSource, own_recipes_of
from tercet.kit.tasks import let_go, ready_recording
from tercet.tracks import Recipe, recipe_named, recipes_of
from tercet.tracks.recipes import file_stem, speed_name
from tercet.tracks.track_files import SetOrder, TrackOrder

__all__ = ["SongOrder", "midi_name", "order_of", "sensible"]


@dataclass(frozen=True, slots=True)
class SongOrder:
    """A song's kit.

    Parameters
    ----------
    folder, file_name
        Name of its folder in the store, and of the song's file.
    sets, set_folders
        What is made, and each set's folder in the song's own; empty where there is only one. Tracks are named from the
        store's root.
    midi_speeds, count_in_bars
        Of the MIDI files.
    store
        Where it goes.
    asked
        What stands for all that is asked for, see `tercet.kit.kits.asked_key`.
    replace, verify
        As in `KitOptions`.
    """

    folder: str
    file_name: str
    sets: tuple[SetOrder, ...]
    set_folders: tuple[str, ...]
    midi_speeds: tuple[Fraction, ...]
    count_in_bars: int
    store: Store
    asked: str = ""
    replace: bool = False
    verify: bool = False

    def made_in(self, workplace: Workplace) -> SongOrder:
        """Return the order as it is for a workplace: whether several processes share what is played."""
        shared = not isinstance(workplace, ThisProcess)
        return replace(self, sets=tuple(replace(one, shared=shared) for one in self.sets))

    @property
    def title(self) -> str:
        """The song's title."""
        return self.sets[0].arrangement.song.title

    @property
    def names(self) -> tuple[str, ...]:
        """All files, from the store's root."""
        tracks = [name for one in self.sets for track in one.tracks for name in track.names]
        return (*tracks, *(name for name, _, _ in self.midi))

    @property
    def midi(self) -> tuple[tuple[str, SetOrder, Fraction], ...]:
        """Name, set and speed of each MIDI file."""
        sets = zip(self.sets, self.set_folders, strict=True)
        return tuple(
            (midi_name(self.folder, folder, speed), one, speed)
            for (one, folder), speed in product(sets, self.midi_speeds)
        )


def midi_name(song_folder: str, set_folder: str, speed: Fraction) -> str:
    """Return the name of a MIDI file, from the store's root."""
    stem = "-".join(filter(None, [song_folder, speed_name(speed)]))
    return str(PurePosixPath(song_folder) / set_folder / f"{stem}.mid")


def order_of(
    source: SongSource, sets: Sequence[ReadySet], options: KitOptions, store: Store, work: Path, asked: str
) -> SongOrder:
    """Return what is ordered of one song.

    Parameters
    ----------
    source, sets
        The song, and its sets.
    options
        As `with_class` returns them.
    store, work
        Where the kit goes, and a folder for what is needed until it is there.
    asked
        From `tercet.kit.kits.asked_key`.
    """
    song, play, folder = sets[0].arrangement.song, options.play, source.folder
    own = own_recipes_of(song, source)
    orders = tuple(
        SetOrder(
            one.arrangement,
            one.sound,
            tuple(_tracks(one, options, own, PurePosixPath(folder) / one.folder_name)),
            work / f"{folder}-{number}",
            seed=play.seed,
            dry=play.dry,
            clear=play.clear,
            loud=play.loud,
            bits=play.bits,
            title=one.title,
        )
        for number, one in enumerate(sets)
    )
    return SongOrder(
        folder,
        source.file_name,
        orders,
        tuple(one.folder_name for one in sets),
        speeds_of(options.speeds),
        play.counted_in(song),
        store,
        asked,
        replace=options.replace,
        verify=options.verify,
    )


def _tracks(
    one: ReadySet, options: KitOptions, own: Sequence[Recipe], place: PurePosixPath
) -> Iterator[TrackOrder]:
    """Yield the tracks of a set, speed by speed."""
    layers = one.arrangement.song.layers
    everything = (*recipes_of(layers), *own)
    names = dict.fromkeys(options.tracks or options.among)
    recipes = [recipe_named(name, own, layers) for name in names] or everything
    speeds = speeds_of(options.speeds)
    for speed in speeds:
        for recipe in recipes:
            if recipe.speeds and speed != speeds[0]:
                continue
            pace = Fraction(1) if recipe.speeds else speed
            bars = "" if recipe.piece == "tune-up" else options.bars
            asked = options.play.of_tracks(one.arrangement.song, pace, bars)
            number = everything.index(recipe) + 1
            stem = file_stem(recipe, number, pace)
            files = tuple(str(place / f"{stem}.{ending}") for ending in options.formats)
            yield TrackOrder(recipe, asked, files, number)


def sensible(order: SongOrder, asked: Sequence[str], listener: Listener) -> SongOrder:
    """Return a song's kit without the tracks whose choice picks no note in a set, and tell which those are.

    Parameters
    ----------
    order
        The kit.
    asked
        Tracks that are asked for by name; none where it is all of them.

    Raises
    ------
    RequestError
        A track that is asked for, or that the song itself defines, makes sense in none of the sets; or a track asks
        for bars that the song doesn't have.
    """
    lacks = [_lacks(one) for one in order.sets]
    own = [track.name for track in order.sets[0].arrangement.song.tracks]
    for name in dict.fromkeys([*asked, *own]):
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
                "Choose other notes or other bars, or leave the track out"
            )
    return replace(
        order, sets=tuple(_sensible_set(*each, listener) for each in zip(order.sets, lacks, strict=True))
    )


def _lacks(one: SetOrder) -> list[str]:
    """Return for each track of a set why it makes no sense there; empty where it does."""
    recording = ready_recording(one)
    return [recording.lack(index) for index in range(len(one.tracks))]


def _title(one: SetOrder) -> str:
    title = one.arrangement.song.title
    return f"{title} ({one.title})" if one.title else title


def _sensible_set(one: SetOrder, lacks: Sequence[str], listener: Listener) -> SetOrder:
    """Return a set without the tracks that make no sense in it."""
    if not any(lacks):
        return one
    let_go(one)
    left_out = [track.recipe.name for track, why in zip(one.tracks, lacks, strict=True) if why]
    names = ", ".join(dict.fromkeys(left_out))
    text = f"{_title(one)}: left out, as nothing would be left to play or to hear: {names}"
    listener(Event("notice", text, one.arrangement.song.title))
    kept = (track for track, why in zip(one.tracks, lacks, strict=True) if not why)
    return replace(one, tracks=tuple(kept))
