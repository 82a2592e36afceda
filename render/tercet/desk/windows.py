"""The desk's open windows: each is told what happens, and when the last has gone, the desk ends.

A window keeps one request open, a stream of events as the HTML standard has them (`text/event-stream`). A window that
is loaded anew, or whose computer sleeps for a moment, comes back within the grace time.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

__all__ = ["GRACE_S", "Windows"]

GRACE_S = 15.0
"""How long the desk waits for a window after the last one has gone."""

PULSE_S = 5.0
"""How often a window that nothing is said to gets a sign of life: so one that has gone is noticed."""

MOST_COMING = 8
"""Windows that have opened a song and aren't listening yet; one that never will is forgotten when others come."""

MOST_WAITING = 200
"""Events that a window may be behind with; one that hears nothing for so long is told to read everything again."""


class Windows:
    """Who is there. For one event loop; `tell` may be called from other threads.

    Parameters
    ----------
    grace_s
        How long to wait for a window after the last one has gone.
    """

    def __init__(self, grace_s: float = GRACE_S) -> None:
        self._grace_s = grace_s
        self._open: dict[str, asyncio.Queue[str]] = {}
        self._songs: dict[str, str] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._ending: asyncio.TimerHandle | None = None
        self._at_end: Callable[[], None] = lambda: None

    def at_end(self, end: Callable[[], None]) -> None:
        """Say what to do when the last window has been gone for the grace time."""
        self._at_end = end

    @property
    def count(self) -> int:
        """How many are open."""
        return len(self._open)

    @property
    def songs(self) -> frozenset[str]:
        """Names of the songs that are open in a window."""
        return frozenset(self._songs.values())

    def shows(self, window: str, song: str) -> None:
        """Note which song a window has open; it may be about to listen, but hasn't begun."""
        self._songs[window] = song
        coming = [each for each in self._songs if each not in self._open]
        for gone in coming[:-MOST_COMING]:
            del self._songs[gone]

    async def events(self, window: str) -> AsyncIterator[str]:
        """Yield what a window is told, as lines of an event stream, for as long as it listens."""
        self._loop = asyncio.get_running_loop()
        queue: asyncio.Queue[str] = asyncio.Queue(MOST_WAITING)
        self._open[window] = queue
        if self._ending is not None:
            self._ending.cancel()
            self._ending = None
        try:
            yield _event("hello", {})
            while True:
                try:
                    async with asyncio.timeout(PULSE_S):
                        text = await queue.get()
                except TimeoutError:
                    text = ": still here\n\n"
                yield text
        finally:
            if self._open.get(window) is queue:
                del self._open[window]
                self._songs.pop(window, None)
            if not self._open:
                self._ending = self._loop.call_later(self._grace_s, self._ended)

    def tell(self, kind: str, facts: dict[str, Any]) -> None:
        """Tell all windows that something happened."""
        text = _event(kind, facts)
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._put, text)

    def _put(self, text: str) -> None:
        for queue in self._open.values():
            if queue.full():
                while not queue.empty():
                    queue.get_nowait()
                queue.put_nowait(_event("behind", {}))
            queue.put_nowait(text)

    def _ended(self) -> None:
        self._ending = None
        if not self._open:
            self._at_end()


def _event(kind: str, facts: dict[str, Any]) -> str:
    return f"event: {kind}\ndata: {json.dumps(facts, separators=(',', ':'))}\n\n"
