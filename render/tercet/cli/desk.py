"""``tercet desk``: a window in the browser in which songs are written and heard."""

from __future__ import annotations

import argparse
from pathlib import Path

from tercet.cli.talk import put, say

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "desk"
HELP = "write songs and hear them, in a window of your browser"
DESCRIPTION = (
    "Open the desk: a window of your browser in which you write a song, hear it at once, set front and back, and make "
    "the class page. It runs on this computer alone and needs no internet. It ends when its last window is closed."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", help="folder of your songs (default: Tercet in your documents)"
    )
    parser.add_argument(
        "--no-window", action="store_true", help="open no window; only print the address to open"
    )


def run(arguments: argparse.Namespace) -> int:
    """Serve the desk until its last window is closed."""
    from tercet.desk.serving import serve, usual_folder

    def told(address: str, folder: Path) -> None:
        put(address)
        where = (
            "open this address in your browser" if arguments.no_window else "the desk is open in your browser"
        )
        say(f"{where}; songs are in {folder}")
        say("it ends when you close its last window, or with Ctrl+C here")

    serve(
        Path(arguments.folder) if arguments.folder else usual_folder(),
        opens=not arguments.no_window,
        told=told,
    )
    return 0
