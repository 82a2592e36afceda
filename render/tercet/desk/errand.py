"""One thing being made for the desk, in a process of its own: ``python -m tercet.desk.errand``.

What is asked comes in as one line of JSON on standard input, what happens goes out as lines of JSON on standard output.
Standard input stays open for as long as the desk lives and wants the thing: when it closes, the errand ends as after
Ctrl-C, with nothing half written.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO, Any, Literal

from tercet.audio_formats import FORMATS
from tercet.errors import TercetError
from tercet.front_door import handout, sheet
from tercet.kit import Event, KitOptions, Listener, PlayOptions
from tercet.kit.kits import make_kit
from tercet.kit.on_paper import map_of_song
from tercet.kit.pages import PageOptions, make_pages
from tercet.kit.ready import arranged
from tercet.kit.sources import own_recipes_of, source_of
from tercet.made_files import write_made
from tercet.neck.demands import LIMITS
from tercet.publish import picture_maker
from tercet.publish.picture_files import PAPERS_PT
from tercet.publish.pictures import fretboard_picture
from tercet.song import Song, read_song
from tercet.theory import TUNINGS
from tercet.tracks.recipes import RECIPES, recipes_of

__all__ = ["MADE", "Choice", "Errand", "Made", "choices_of", "main"]

LAST_WAIT_S = 20.0
"""How long an errand that was told to end may take to put things in order."""


@dataclass(frozen=True, slots=True)
class Errand:
    """What is asked.

    Parameters
    ----------
    what
        A name of `MADE`.
    songs
        Their files.
    folder
        For what is made.
    choices
        By name, as `Made.choices` lists them.
    """

    what: str
    songs: tuple[str, ...]
    folder: str
    choices: dict[str, Any] = field(default_factory=dict)

    def as_json(self) -> bytes:
        """Return the line that an errand's process reads."""
        return json.dumps(asdict(self)).encode() + b"\n"

    def chosen(self, *names: str) -> dict[str, Any]:
        """Return the choices of these names that say something."""
        return {name: self.choices[name] for name in names if self.choices.get(name)}


Maker = Callable[[Errand, Listener], None]


@dataclass(frozen=True, slots=True)
class Choice:
    """What can be chosen about a thing.

    Parameters
    ----------
    kind
        ``"yes"`` for yes or no, ``"one"`` or ``"several"`` of the values.
    values
        What there is to choose from; where nothing is chosen, the song, its class file or the usual way decides.
    """

    kind: Literal["yes", "one", "several"] = "yes"
    values: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Made:
    """A kind of thing that can be made.

    Parameters
    ----------
    make
        Makes it, and tells how it goes.
    folder
        Where its files lie among the things made.
    choices
        What can be chosen about it, by name.
    """

    make: Maker
    folder: str
    choices: Mapping[str, Choice]


def _make_page(errand: Errand, listener: Listener) -> None:
    options = PageOptions(**errand.chosen("one_file", "left_handed", "tunings", "players", "keys"))
    make_pages(errand.songs, errand.folder, options, listener)


def _make_tracks(errand: Errand, listener: Listener) -> None:
    options = KitOptions(**errand.chosen("tracks", "formats", "tunings", "players", "keys", "speeds"))
    make_kit(errand.songs, errand.folder, options, listener)


def _make_sheet(errand: Errand, listener: Listener) -> None:
    for song, place in _songs(errand, ".pdf"):
        printed = sheet(
            arranged(song, PlayOptions(), listener), **errand.chosen("left_handed", "large", "paper")
        )
        _tell_made(listener, song, printed.write(place, listener))


def _make_handout(errand: Errand, listener: Listener) -> None:
    for song, place in _songs(errand, ".png"):
        arrangement = arranged(song, PlayOptions(), listener)
        _tell_made(listener, song, *handout(arrangement, place, listener, **errand.chosen("left_handed")))


def _make_neck_map(errand: Errand, listener: Listener) -> None:
    for song, place in _songs(errand, ".png"):
        drawing = fretboard_picture(
            map_of_song(song, PlayOptions(), listener, **errand.chosen("blank", "left_handed"))
        )
        write_made(place, picture_maker(place)(drawing), maker="fretboard")
        _tell_made(listener, song, place)


YES = Choice()
EACH_SET = {
    "tunings": Choice("several", tuple(TUNINGS)),
    "players": Choice("several", tuple(LIMITS)),
    "keys": Choice("several", tuple(f"{semitones:+d}" if semitones else "0" for semitones in range(-5, 7))),
}
"""What a mixed class may need: a set for each."""

MADE: dict[str, Made] = {
    "page": Made(
        _make_page,
        "pages",
        {
            "one_file": YES,
            "left_handed": YES,
            **EACH_SET,
        },
    ),
    "tracks": Made(
        _make_tracks,
        "tracks",
        {
            "tracks": Choice("several", tuple(recipe.name for recipe in RECIPES)),
            "formats": Choice("several", tuple(FORMATS)),
            "speeds": Choice("several", ("50%", "60%", "70%", "80%", "90%", "100%")),
            **EACH_SET,
        },
    ),
    "sheet": Made(
        _make_sheet,
        "sheets",
        {"large": YES, "left_handed": YES, "paper": Choice("one", tuple(PAPERS_PT))},
    ),
    "handout": Made(_make_handout, "handouts", {"left_handed": YES}),
    "neck map": Made(_make_neck_map, "neck maps", {"blank": YES, "left_handed": YES}),
}
"""What can be made, by name."""


def choices_of(what: str, song: Path | None) -> dict[str, Choice]:
    """Return what can be chosen about a thing that is made of a song; its own tracks are among its tracks.

    A song with mistakes, or none, has the tracks of any other.
    """
    choices = dict(MADE[what].choices)
    if "tracks" in choices and song is not None:
        with suppress(TercetError, OSError):
            read = read_song(song)
            recipes = (*recipes_of(read.layers), *own_recipes_of(read, source_of(song)))
            choices["tracks"] = Choice("several", tuple(recipe.name for recipe in recipes))
    return choices


def _songs(errand: Errand, ending: str) -> Iterator[tuple[Song, Path]]:
    """Yield each song, and the path of what is made of it."""
    for path in map(Path, errand.songs):
        yield read_song(path), Path(errand.folder) / f"{path.stem}{ending}"


def _tell_made(listener: Listener, song: Song, *files: Path) -> None:
    for file in files:
        listener(Event("made", song=song.title, file=str(file), size_bytes=file.stat().st_size))


def main() -> int:
    """Carry out one errand, and return its exit code."""
    lines = os.fdopen(sys.stdin.fileno(), "rb", buffering=0, closefd=False)
    told = json.loads(lines.readline())
    errand = Errand(told["what"], tuple(told["songs"]), told["folder"], told["choices"])
    try:
        threading.Thread(target=_end_with, args=(lines,), name="lifeline", daemon=True).start()
        MADE[errand.what].make(errand, _tell)
    except (TercetError, OSError) as error:
        _tell(Event("failed", str(error), exit_code=getattr(error, "exit_code", 3)))
        return 1
    except KeyboardInterrupt:
        return 130
    return 0


def _tell(event: Event) -> None:
    """Tell the desk; where it has gone, the lifeline ends this process, and nothing else may begin to."""
    with suppress(BrokenPipeError):
        sys.stdout.write(json.dumps(event.as_json()) + "\n")
        sys.stdout.flush()


def _end_with(lines: IO[bytes]) -> None:
    """End this process when nobody wants its work any more: as after Ctrl-C, by force if that takes long."""
    while lines.read(1):
        pass
    ended = threading.Timer(LAST_WAIT_S, os._exit, (1,))
    ended.daemon = True
    ended.start()
    signal.raise_signal(signal.SIGINT)


if __name__ == "__main__":
    sys.exit(main())
