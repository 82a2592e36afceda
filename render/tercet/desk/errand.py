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
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO, Any

from tercet.errors import TercetError
from tercet.front_door import handout, sheet
from tercet.kit import Event, KitOptions, Listener, PlayOptions
from tercet.kit.kits import make_kit
from tercet.kit.on_paper import map_of_song
from tercet.kit.pages import PageOptions, make_pages
from tercet.kit.ready import arranged
from tercet.made_files import write_made
from tercet.publish import picture_maker
from tercet.publish.pictures import fretboard_picture
from tercet.song import Song, read_song

__all__ = ["MADE", "Errand", "Made", "main"]

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
class Made:
    """A kind of thing that can be made.

    Parameters
    ----------
    make
        Makes it, and tells how it goes.
    folder
        Where its files lie among the things made.
    choices
        Names of the choices it takes.
    """

    make: Maker
    folder: str
    choices: frozenset[str]


def _make_page(errand: Errand, listener: Listener) -> None:
    play = PlayOptions(**errand.chosen("tuning", "players"))
    make_pages(
        errand.songs,
        errand.folder,
        PageOptions(play=play, **errand.chosen("one_file", "left_handed")),
        listener,
    )


def _make_tracks(errand: Errand, listener: Listener) -> None:
    options = KitOptions(**errand.chosen("tracks", "formats", "tunings", "players", "speeds"))
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


MADE: dict[str, Made] = {
    "page": Made(_make_page, "pages", frozenset({"one_file", "left_handed", "tuning", "players"})),
    "tracks": Made(_make_tracks, "tracks", frozenset({"tracks", "formats", "tunings", "players", "speeds"})),
    "sheet": Made(_make_sheet, "sheets", frozenset({"left_handed", "large", "paper"})),
    "handout": Made(_make_handout, "handouts", frozenset({"left_handed"})),
    "neck map": Made(_make_neck_map, "neck maps", frozenset({"blank", "left_handed"})),
}
"""What can be made, by name."""


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
