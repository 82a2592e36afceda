"""Making things for the class: one at a time, each in a process of its own that ends with the desk."""

from __future__ import annotations

import asyncio
import json
import sys
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from tercet.desk.errand import LAST_WAIT_S, MADE, Errand
from tercet.errors import RequestError

__all__ = ["Making"]

MOST_EVENTS = 500
LONGEST_LINE_BYTES = 1 << 20


class Making:
    """What is being made, and what came of it. For one event loop.

    Parameters
    ----------
    folder
        For all that is made.
    tell
        Told of each event, and with `kind` ``"ended"`` when all is over.
    """

    def __init__(self, folder: Path, tell: Callable[[dict[str, Any]], None]) -> None:
        self.folder = folder
        self._tell = tell
        self._process: asyncio.subprocess.Process | None = None
        self._watching: asyncio.Task[None] | None = None
        self._stopped = False
        self._events: deque[dict[str, Any]] = deque(maxlen=MOST_EVENTS)
        self._what: dict[str, Any] = {}

    @property
    def state(self) -> dict[str, Any]:
        """What a window that comes later has to know."""
        return {"busy": self._process is not None, **self._what, "events": list(self._events)}

    async def begin(self, what: str, songs: tuple[Path, ...], choices: dict[str, Any]) -> None:
        """Begin to make something.

        Raises
        ------
        RequestError
            Something is being made already, or that can't be made so.
        """
        if self._process is not None:
            raise RequestError("something is being made: wait until it is there, or stop it")
        made = MADE.get(what)
        if made is None or not songs:
            raise RequestError(f"{what[:40]} can't be made here")
        if unknown := sorted(set(choices) - set(made.choices)):
            raise RequestError(f"{what} has no choice {unknown[0][:40]}")
        folder = self.folder / made.folder
        errand = Errand(what, tuple(map(str, songs)), str(folder), choices)
        self._stopped = False
        self._events.clear()
        self._what = {"what": what, "songs": [path.stem for path in songs], "began_s": time.time()}
        self._process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            "tercet.desk.errand",
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            limit=LONGEST_LINE_BYTES,
        )
        assert self._process.stdin is not None  # noqa: S101 - asked for above
        self._process.stdin.write(errand.as_json())
        self._heard({"kind": "began", **self._what})
        self._watching = asyncio.create_task(self._watch(self._process))

    async def _watch(self, process: asyncio.subprocess.Process) -> None:
        assert process.stdout is not None  # noqa: S101 - asked for in `begin`
        async for line in process.stdout:
            with suppress(ValueError):
                self._heard(json.loads(line))
        code = await process.wait()
        self._process = None
        self._heard({"kind": "ended", "stopped": self._stopped, "exit_code": code})

    def _heard(self, event: dict[str, Any]) -> None:
        self._events.append(event)
        self._tell(event)

    async def stop(self) -> None:
        """Stop what is being made, and wait until it has ended."""
        process, watching = self._process, self._watching
        if process is None or watching is None:
            return
        self._stopped = True
        if process.stdin is not None:
            process.stdin.close()
        try:
            async with asyncio.timeout(LAST_WAIT_S + 2):
                await asyncio.shield(watching)
        except TimeoutError:
            process.kill()
            await watching
