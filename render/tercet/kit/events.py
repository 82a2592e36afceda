"""What long work tells while it goes on: one small value for each thing that happened, handed to a callback.

The terminal draws them, ``--progress json`` writes one as a line, a Python user may do anything with them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import PurePosixPath
from typing import Any, Literal

from tercet.sound.stems import Progress

__all__ = ["EVENT_KINDS", "Event", "EventKind", "Listener", "tell_preparing", "unheard"]

EventKind = Literal[
    "started", "step", "preparing", "made", "kept", "left", "notice", "problem", "failed", "done"
]

EVENT_KINDS: dict[EventKind, str] = {
    "started": "work on a song begins",
    "step": "so far it is: `done` of `total`, `text` says what was done last",
    "preparing": "something that is done once on a computer: a sound is built or measured",
    "made": "a file is in its place now",
    "kept": "a file was there already, as it should be",
    "left": "a file stays as it is, though it would have been made: it isn't Tercet's",
    "notice": "something to know: what was left out or moved, what the sound can't do",
    "problem": "something that the players can't do as written",
    "failed": "something couldn't be made; all else goes on",
    "done": "work on a song has ended: `done` files made now, `total` there",
}
"""The kinds of events, and what each says."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened.

    Parameters
    ----------
    kind
        What happened, one of `EVENT_KINDS`.
    text
        For a person: a sentence, or the step.
    song
        The song's title, or its file's name where it has none yet.
    set
        Which set of the song, such as ``low-g, beginner``; empty where there is only one.
    track
        The track's name; ``midi`` for a MIDI file.
    file
        Path or address of a file.
    done, total
        How far it is; None where that means nothing.
    length_s, size_bytes
        Of a recording or MIDI file that is made or kept.
    seconds
        How long the work took that is done.
    exit_code
        Of a failure: 1 for the user's request, 3 for something outside.
    """

    kind: EventKind
    text: str = ""
    song: str = ""
    set: str = ""
    track: str = ""
    file: str = ""
    done: int | None = None
    total: int | None = None
    length_s: float | None = None
    size_bytes: int | None = None
    seconds: float | None = None
    exit_code: int | None = None

    @property
    def name(self) -> str:
        """The file's name, without its folder."""
        return PurePosixPath(self.file).name

    def as_json(self) -> dict[str, Any]:
        """Return the event by name, without what is empty.

        >>> Event("step", "01-demo.wav", song="Harbour Lanterns", done=1, total=2).as_json()
        {'kind': 'step', 'text': '01-demo.wav', 'song': 'Harbour Lanterns', 'done': 1, 'total': 2}
        """
        values = ((field.name, getattr(self, field.name)) for field in fields(self))
        return {name: value for name, value in values if value not in ("", None)}


Listener = Callable[[Event], None]
"""Told of each event, in the process and thread that asked for the work."""


def unheard(_event: Event) -> None:
    """Hear events and do nothing, where nobody wants to know."""


def tell_preparing(listener: Listener, what: str = "making the built-in ukulele, once") -> Progress:
    """Return what tells a listener of work done once on a computer; without `what`, by the work's own name."""

    def told(own: str, done: int, total: int) -> None:
        listener(Event("preparing", what or f"{own}, once for each sound", done=done, total=total))

    return told
