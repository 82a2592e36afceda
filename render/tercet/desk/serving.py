"""Starting the desk: a port of this computer's own, the browser, and the end when the last window has gone."""

from __future__ import annotations

import socket
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from importlib.resources import files
from pathlib import Path

import platformdirs
import uvicorn

from tercet.desk.app import Desk
from tercet.desk.guard import Guard, fresh_place
from tercet.desk.listening import LARGEST_BYTES
from tercet.desk.songs_folder import SongsFolder
from tercet.desk.windows import GRACE_S, Windows
from tercet.errors import OutsideError, RequestError

__all__ = ["serve", "usual_folder"]

FOLDER = "Tercet"
FIRST_SONG = "harbour-lanterns.yaml"
"""Of `songs/`; it lies in this room where Tercet was installed from a wheel."""

LONGEST_IDLE_S = 65
MOST_AT_ONCE = 64
LONGEST_HEAD_BYTES = 16 * 1024


def usual_folder() -> Path:
    """Return where a user's songs lie: in the folder of documents, never inside the program."""
    return platformdirs.user_documents_path() / FOLDER


def first_song() -> tuple[str, str]:
    """Return a song of ours, its name and text: what a new folder begins with."""
    beside = files(__package__).joinpath(FIRST_SONG)
    path = beside if beside.is_file() else Path(__file__).resolve().parents[3] / "songs" / FIRST_SONG
    return FIRST_SONG, path.read_text(encoding="utf-8")


def serve(
    folder: Path, *, opens: bool = True, told: Callable[[str, Path], None], grace_s: float = GRACE_S
) -> None:
    """Serve the desk until its last window has gone, or Ctrl-C.

    Parameters
    ----------
    folder
        Of songs; made if missing.
    opens
        Whether to open a window of the usual browser.
    told
        Told once of the address, which holds the key, and of the folder.
    grace_s
        How long to wait for a window after the last one has gone.

    Raises
    ------
    RequestError
        The folder is a file.
    OutsideError
        There is no port to be had, or the folder can't be made.
    """
    if folder.is_file():
        raise RequestError(
            f"{folder} is a file: name the folder of your songs", given=str(folder), meant=str(folder.parent)
        )
    try:
        songs = SongsFolder(folder)
        if not songs.songs():
            songs.save(*first_song(), None)
        listening = socket.create_server(("127.0.0.1", 0))
    except OSError as error:
        raise OutsideError(f"the desk can't start: {error.strerror or error}") from error
    with listening:
        place = fresh_place(listening.getsockname()[1])
        windows = Windows(grace_s)
        server = uvicorn.Server(
            uvicorn.Config(
                Guard(Desk(songs, windows).app, place, {"/recording": LARGEST_BYTES}),
                http="h11",
                ws="none",
                lifespan="on",
                log_level="warning",
                access_log=False,
                server_header=False,
                date_header=False,
                limit_concurrency=MOST_AT_ONCE,
                h11_max_incomplete_event_size=LONGEST_HEAD_BYTES,
                timeout_keep_alive=LONGEST_IDLE_S,
                timeout_graceful_shutdown=3,
            )
        )

        def end() -> None:
            server.should_exit = True

        windows.at_end(end)
        told(place.address, songs.folder)
        if opens:
            webbrowser.open(place.address)
        with suppress(KeyboardInterrupt):  # the usual way to end it from a terminal
            server.run(sockets=[listening])
