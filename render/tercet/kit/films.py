"""Making a film of a song: the music moves with the sound of one of its tracks."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tercet.arranging import Arrangement
from tercet.audio_formats import FORMATS
from tercet.kit.events import Event, Listener, unheard
from tercet.kit.film_encoder import encoding, ffmpeg_path
from tercet.kit.one_track import OneTrack, TrackRequest
from tercet.kit.options import PlayOptions, speed_of
from tercet.kit.ready import ready, tell_problems
from tercet.kit.sources import GivenSong, source_of
from tercet.kit.work_folder import work_folder
from tercet.made_files import check_ending, check_may_make, made_files
from tercet.publish.film import FRAME_RATE_HZ, Film, FilmSize, TitleCard, film_size_named, film_times
from tercet.sound.tags import Tags
from tercet.tracks import Recipe
from tercet.tracks.recipes import track_title

__all__ = ["FilmOptions", "make_film"]

ENDING = ".mp4"
MAKER = "film"
"""The command that a file is noted under."""

SOUND = "sound.wav"

LOSSY = FORMATS[".mp3"].encode_ceiling_dbtp
"""A film's sound is encoded with losses, so it has the gain of such files."""


@dataclass(frozen=True, slots=True)
class FilmOptions:
    """How a film looks.

    Parameters
    ----------
    size
        A name of `tercet.publish.film.FILM_SIZES`, or a size of one's own.
    left_handed
        Whether shapes are mirrored.
    """

    size: FilmSize | str = "wide"
    left_handed: bool = False

    @property
    def pixels(self) -> FilmSize:
        """The size; `RequestError` where there is none of that name."""
        return film_size_named(self.size) if isinstance(self.size, str) else self.size


def make_film(
    song: GivenSong,
    output: str | os.PathLike[str],
    track: OneTrack | str = "",
    options: PlayOptions | None = None,
    look: FilmOptions | None = None,
    listener: Listener = unheard,
    *,
    replace: bool = False,
) -> Recipe:
    """Make a film of one track of a song, and return what the track is made of.

    Parameters
    ----------
    song
        An arrangement file, or a song.
    output
        The file, whose name ends in ``.mp4``.
    track
        Which one; its name will do.
    options
        How the song is arranged and played.
    look
        How the film looks.
    listener
        Told how far it is, and what is to be known.
    replace
        Whether a file there that Tercet didn't make, or that was changed since, may be replaced.

    Raises
    ------
    RequestError
        The song has mistakes, there is no such track, size or kind of file, or a file there must stay.
    OutsideError
        FFmpeg, the sound or the synthesiser isn't there, or the file can't be written.
    """
    options, look, path, source = (
        options or PlayOptions(),
        look or FilmOptions(),
        Path(output),
        source_of(song),
    )
    chosen = track if isinstance(track, OneTrack) else OneTrack(track)
    check_may_make(path, replace=replace)
    check_ending(path, (ENDING,), "film", ENDING)
    size = look.pixels
    ffmpeg_path()
    start_s = time.monotonic()
    listener(Event("started", "film", file=str(path), done=0, total=1))
    one = ready(source, options, listener)
    arrangement, title = one.arrangement, one.arrangement.song.title
    request = TrackRequest(one, source, chosen.recipe(arrangement.song, source), chosen, options)
    tell_problems(arrangement, listener)
    if not arrangement.song.licence:
        text = "this song has no licence line: the film is made for your own use, and says nothing of whose it is"
        listener(Event("notice", text, title))
    with work_folder(Path(os.path.realpath(path)).parent) as work:
        listener(Event("step", "playing", title, file=str(path), done=0, total=1))
        played = request.write_sound(_Beside(work), SOUND, work, listener, LOSSY)
        for notice in played.notices:
            listener(Event("notice", notice, title))
        if arrangement.second:
            listener(
                Event("notice", "the second voice is heard, and not drawn: its notes have no marks", title)
            )
        recording = played.recording
        times = film_times(recording.plan(0), recording.playing)
        film = Film(size, times, _card(arrangement, request), request.recipe.purpose, look.left_handed)
        tags = Tags(
            title=track_title(title, request.recipe, speed_of(chosen.speed), ""),
            artist=arrangement.song.composer,
            album=title,
            track_number=0,
            licence=arrangement.song.licence,
        )
        with made_files((path,), maker=MAKER, replace=replace) as (place,):
            made = work / f"film{ENDING}"
            _encode(film, made, work / SOUND, tags, _teller(listener, title, path, film.frame_count))
            made.replace(place)
    recipe = request.recipe
    listener(
        Event(
            "made",
            recipe.purpose,
            title,
            track=recipe.name,
            file=str(path),
            done=1,
            total=1,
            length_s=round(film.frame_count / FRAME_RATE_HZ, 3),
            size_bytes=path.stat().st_size,
        )
    )
    seconds = round(time.monotonic() - start_s, 2)
    listener(Event("done", "film", file=str(path), done=1, total=1, seconds=seconds))
    return recipe


@dataclass(frozen=True, slots=True)
class _Beside:
    """Finished files stay in the work folder."""

    folder: Path

    def put(self, file: Path, name: str, sha256: str) -> None:  # noqa: ARG002 - a `Target` is told the hash
        """Move a file to its name."""
        file.replace(self.folder / name)


def _card(arrangement: Arrangement, request: TrackRequest) -> TitleCard:
    """Return the title of a film."""
    song = arrangement.song
    speed = speed_of(request.chosen.speed)
    at_speed = "" if speed == 1 else f", at {float(speed):.0%}"
    lines = (song.composer, f"{request.recipe.purpose}{at_speed}", f"{arrangement.tuning.name} · {song.key}")
    return TitleCard(
        song.title, tuple(filter(None, lines)), f"Licence: {song.licence}" if song.licence else ""
    )


def _encode(film: Film, path: Path, sound: Path, tags: Tags, tell: Callable[[int], None]) -> None:
    with encoding(path, film.size, sound, tags) as target:
        for number, picture in film.frames():
            target.add(number, picture)
            tell(number)


def _teller(listener: Listener, title: str, path: Path, frames: int) -> Callable[[int], None]:
    """Return what tells about once a second of the film how far it is."""
    told = -1

    def tell(number: int) -> None:
        nonlocal told
        if number // FRAME_RATE_HZ > told:
            told = number // FRAME_RATE_HZ
            listener(Event("step", "drawing", title, file=str(path), done=number, total=frames))

    return tell
