"""The songs that are to be made: files, or songs that are read already; where each goes, all mistakes at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from tercet.errors import RequestError
from tercet.kit.events import Event, Listener
from tercet.song import ClassFile, OwnTrack, Song, read_class_beside, read_song
from tercet.song.class_file import in_class, is_class_file, without_weeks
from tercet.tracks.recipes import Recipe, own_recipes, slug

__all__ = ["GivenSong", "SongSource", "each_of", "own_recipes_of", "own_tracks_of", "source_of", "sources_of"]

GivenSong = str | Path | Song
Found = TypeVar("Found")


@dataclass(frozen=True, slots=True)
class SongSource:
    """A song that is to be made: its file, or the song itself, which has no class file beside it."""

    given: Path | Song

    @property
    def shown(self) -> str:
        """What messages call it: its path, or its title."""
        return self.given.title if isinstance(self.given, Song) else str(self.given)

    @property
    def folder(self) -> str:
        """The name of its folder among those of other songs."""
        return slug(self.given.title if isinstance(self.given, Song) else self.given.stem)

    @property
    def file_name(self) -> str:
        """The name of its file."""
        return f"{self.folder}.yaml" if isinstance(self.given, Song) else self.given.name

    @property
    def beside(self) -> Path | None:
        """The folder in which sound fonts that the song names are looked for."""
        return None if isinstance(self.given, Song) else self.given.parent

    def read(self) -> Song:
        """Return the song as its class plays it; `SongError` with all its mistakes, or those of the class file."""
        if isinstance(self.given, Song):
            return self.given
        class_file = self.class_file()
        song = in_class(read_song(self.given), class_file)
        if class_file is None or not class_file.address:
            return song
        return replace(song, page_address=f"{class_file.address}/{self.folder}/")

    def class_file(self) -> ClassFile | None:
        """Return the class file beside it, if there is one."""
        return None if isinstance(self.given, Song) else read_class_beside(self.given)

    def content(self) -> tuple[object, ...]:
        """Return what a kit of it depends on: what is in its file, what its class file says, or the song; `OSError`."""
        if isinstance(self.given, Song):
            return (self.file_name, self.given)
        shared = self.class_file()
        return (self.file_name, self.given.read_bytes(), shared and without_weeks(shared))

    def changed_after(self, path: Path) -> bool:
        """Return whether its file was changed after another one was made."""
        return isinstance(self.given, Path) and path.stat().st_mtime < self.given.stat().st_mtime


def source_of(given: GivenSong) -> SongSource:
    """Return a song that is given as its path or itself."""
    return SongSource(given if isinstance(given, Song) else Path(given))


def sources_of(
    given: GivenSong | Iterable[GivenSong], listener: Listener, *, folders: bool = True
) -> tuple[SongSource, ...]:
    """Return the songs among what is given; class files, which a shell's ``songs/*.yaml`` names too, are told.

    Raises
    ------
    RequestError
        No song is left, or two would go to one folder, where each gets one.
    """
    sources = [source_of(each) for each in ((given,) if isinstance(given, GivenSong) else given)]
    classes = [each for each in sources if isinstance(each.given, Path) and is_class_file(each.given)]
    songs = [each for each in sources if each not in classes]
    if not songs:
        what = (
            f"{classes[0].shown} is a class file; name the songs too" if classes else "name at least one song"
        )
        raise RequestError(f"{what}, such as songs/*.yaml")
    for each in classes:
        listener(Event("notice", f"{each.shown} is a class file: it holds for the songs beside it"))
    places: dict[str, SongSource] = {}
    for each in songs if folders else ():
        if (other := places.setdefault(each.folder, each)) is not each:
            raise RequestError(
                f"{other.shown} and {each.shown} would both go to {each.folder}/: rename one of the files"
            )
    return tuple(songs)


def each_of(sources: Iterable[SongSource], read: Callable[[SongSource], Found]) -> list[Found]:
    """Return what is read of each song, before any is made; the mistakes of all are raised in one go.

    Raises
    ------
    RequestError
        With all that was wrong.
    """
    found, refused = [], []
    for source in sources:
        try:
            found.append(read(source))
        except RequestError as error:
            refused.append(error)
    if len(refused) == 1:
        raise refused[0]
    if refused:
        raise RequestError("\n\n".join(dict.fromkeys(map(str, refused))))
    return found


def own_tracks_of(song: Song, class_file: ClassFile | None) -> tuple[OwnTrack, ...]:
    """Return a song's own tracks, then those of the class whose names the song doesn't take."""
    taken = {track.name for track in song.tracks}
    shared = class_file.tracks if class_file else ()
    return (*song.tracks, *(track for track in shared if track.name not in taken))


def own_recipes_of(song: Song, source: SongSource) -> tuple[Recipe, ...]:
    """Return the recipes of the tracks of a song's and its class's own; `SongError` for a built-in one's name."""
    return own_recipes(own_tracks_of(song, source.class_file()), source.shown)
