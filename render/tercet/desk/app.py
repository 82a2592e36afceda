"""What a window may ask: one address for each, JSON in and out; sound comes as bytes.

Nothing here knows music: songs are text, and what is to be shown or heard of one comes from `tercet.desk.live`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict
from functools import wraps
from http import HTTPStatus
from pathlib import PurePath
from typing import Any

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route, Router

from tercet.desk.asked import Asked, asked_in, given
from tercet.desk.errand import MADE, choices_of
from tercet.desk.listening import heard_facts, parted
from tercet.desk.live import Live, imported
from tercet.desk.making import Making
from tercet.desk.page_files import page_file, start_page
from tercet.desk.shown import shown
from tercet.desk.songs_folder import ChangedElsewhereError, SongsFolder, SongText
from tercet.desk.windows import Windows
from tercet.errors import RequestError, SongError, TercetError

__all__ = ["Desk"]

SETTLE_AFTER_S = 1.5
"""How long nobody must have changed the song before its balance is measured again."""

LOOK_EVERY_S = 0.7
"""How often the files of open songs are looked at."""


class Desk:
    """The desk of one folder of songs.

    Parameters
    ----------
    songs
        The folder.
    windows
        Who is there.
    """

    def __init__(self, songs: SongsFolder, windows: Windows) -> None:
        self.songs = songs
        self.windows = windows
        self.making = Making(songs.made_folder, lambda event: windows.tell("making", event))
        self._live = Live(songs.folder)
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="live")
        """One thread for all that needs thinking, so that answers keep the order of the questions."""
        self._idle = ThreadPoolExecutor(1, thread_name_prefix="idle")
        self._listening = asyncio.Lock()
        """One recording at a time lies in memory."""
        self._settling: asyncio.TimerHandle | None = None
        self._seen: dict[str, str | None] = {}
        """What the files of open songs held when they were looked at last."""
        self.app = Router(self._routes(), lifespan=self._lifespan)

    def _routes(self) -> list[Route]:
        asked: dict[str, Callable[[Asked], Awaitable[Any]]] = {
            "songs": self._list,
            "open": self._open,
            "save": self._save,
            "history": self._history,
            "version": self._version,
            "keep": self._keep,
            "draft": self._draft,
            "new": self._new,
            "made": self._made,
            "reveal": self._reveal,
            "make": self._make,
            "stop": self._stop,
            "look": self._look,
            **{
                name: self._in_turn(getattr(self._live, name))
                for name in (
                    "tidy",
                    "marks",
                    "music",
                    "words",
                    "settings",
                    "set",
                    "advise",
                    "move",
                    "ways",
                    "remedies",
                    "sheet",
                )
            },
        }
        return [
            Route("/", self._start),
            Route("/page/{name}", self._file),
            Route("/events", self._events),
            Route("/sound", self._sound, methods=["POST"]),
            Route("/import", self._import, methods=["POST"]),
            Route("/recording", self._recording, methods=["POST"]),
            *(Route(f"/{name}", _answering(answer), methods=["POST"]) for name, answer in asked.items()),
        ]

    @asynccontextmanager
    async def _lifespan(self, _app: Router) -> Any:
        watching = asyncio.create_task(self._watch())
        yield
        watching.cancel()
        await self.making.stop()
        for pool in (self._worker, self._idle):
            pool.shutdown(wait=False, cancel_futures=True)
        with suppress(asyncio.CancelledError):
            await watching

    # ---- the page

    async def _start(self, _request: Request) -> Response:
        text, policy = start_page()
        headers = {"content-security-policy": policy}
        return Response(text, media_type="text/html; charset=utf-8", headers=headers)

    async def _file(self, request: Request) -> Response:
        found = page_file(request.path_params["name"])
        if found is None:
            return Response(status_code=HTTPStatus.NOT_FOUND)
        data, kind = found
        return Response(data, media_type=kind)

    async def _events(self, request: Request) -> Response:
        window = request.query_params.get("window", "")[:40]
        return StreamingResponse(self.windows.events(window), media_type="text/event-stream")

    # ---- songs

    async def _list(self, _asked: Asked) -> Any:
        songs = await asyncio.to_thread(self.songs.songs)
        return {"folder": str(self.songs.folder), "songs": [asdict(song) for song in songs]}

    async def _open(self, asked: Asked) -> Any:
        name = given(asked, "name", str)
        self.windows.shows(given(asked, "window", str), name)
        song = await asyncio.to_thread(self.songs.read, name)
        self._seen.setdefault(name, song.version)
        return asdict(song) | {"draft": await asyncio.to_thread(self.songs.draft, name)}

    async def _save(self, asked: Asked) -> Any:
        name, text = given(asked, "name", str), given(asked, "text", str)
        seen = None if asked.get("seen") is None else given(asked, "seen", str)
        saved = await asyncio.to_thread(self.songs.save, name, text, seen)
        self._tell_changed(saved, given(asked, "window", str))
        return {"version": saved.version}

    async def _history(self, asked: Asked) -> Any:
        versions = await asyncio.to_thread(self.songs.history, given(asked, "name", str))
        return {"versions": [asdict(version) for version in versions]}

    async def _version(self, asked: Asked) -> Any:
        return {
            "text": await asyncio.to_thread(
                self.songs.read_version, given(asked, "name", str), given(asked, "key", str)
            )
        }

    async def _keep(self, asked: Asked) -> Any:
        """Keep a version of what the file holds, or of a text that gives way; there is no draft any more then."""
        text = None if asked.get("text") is None else given(asked, "text", str)
        name = given(asked, "name", str)
        await asyncio.to_thread(self.songs.keep, name, text)
        await asyncio.to_thread(self.songs.keep_draft, name, None)
        return {}

    async def _draft(self, asked: Asked) -> Any:
        await asyncio.to_thread(self.songs.keep_draft, given(asked, "name", str), given(asked, "text", str))
        return {}

    async def _new(self, asked: Asked) -> Any:
        text = await self._in_turn(self._live.begun)(asked)
        return {
            "name": await asyncio.to_thread(self.songs.free_name, given(asked, "title", str)),
            "text": text,
        }

    def _tell_changed(self, song: SongText, by: str) -> None:
        self._seen[song.name] = song.version
        self.windows.tell("changed", {"name": song.name, "version": song.version, "by": by})

    async def _watch(self) -> None:
        """Tell the windows of songs whose files somebody else changes."""
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            for name in self.windows.songs:
                version = await asyncio.to_thread(self.songs.version, name)
                if self._seen.setdefault(name, version) != version:
                    self._seen[name] = version
                    self.windows.tell("changed", {"name": name, "version": version, "by": ""})
            names = self.windows.songs
            self._seen = {name: version for name, version in self._seen.items() if name in names}

    # ---- what is shown and heard

    def _in_turn(self, answer: Callable[[Asked], Any]) -> Callable[[Asked], Awaitable[Any]]:
        async def answered(asked: Asked) -> Any:
            return await asyncio.get_running_loop().run_in_executor(self._worker, answer, asked)

        return answered

    async def _look(self, asked: Asked) -> Any:
        seen = await self._in_turn(self._live.look)(asked)
        if self._settling is not None:
            self._settling.cancel()
        self._settling = asyncio.get_running_loop().call_later(SETTLE_AFTER_S, self._settle)
        return seen

    def _settle(self) -> None:
        self._settling = None
        self._idle.submit(self._live.settle)

    async def _sound(self, request: Request) -> Response:
        async def answer(asked: Asked) -> Response:
            try:
                data = await self._in_turn(self._live.sound)(asked)
            except SongError:  # what is wrong is told by `look`
                return Response(status_code=HTTPStatus.NO_CONTENT)
            return Response(data, media_type="application/octet-stream")

        return await _answering(answer)(request)

    async def _recording(self, request: Request) -> Response:
        """Tell what is heard in a recording, which lies in memory meanwhile, and nowhere else."""

        async def answer(_asked: Asked) -> Any:
            asked, recording = parted(await request.body())
            try:
                arrangement = await self._in_turn(self._live.arrangement)(asked)
            except SongError:  # what is wrong is told by `look`
                return Response(status_code=HTTPStatus.NO_CONTENT)
            return await asyncio.get_running_loop().run_in_executor(
                self._idle, heard_facts, arrangement, asked, recording
            )

        async with self._listening:
            try:
                return await _answered(answer, {})
            except ClientDisconnect:  # nobody waits for an answer
                return Response(status_code=HTTPStatus.BAD_REQUEST)

    async def _import(self, request: Request) -> Response:
        data, name = await request.body(), request.query_params.get("name", "")[:120]

        async def answer(_asked: Asked) -> Any:
            text, remarks = await asyncio.to_thread(imported, name, data)
            title = PurePath(name).stem
            return {
                "name": await asyncio.to_thread(self.songs.free_name, title),
                "text": text,
                "remarks": remarks,
            }

        return await _answered(answer, {})

    # ---- making

    async def _make(self, asked: Asked) -> Any:
        names = asked.get("songs")
        choices = asked.get("choices", {})
        if (
            not isinstance(names, list)
            or not isinstance(choices, dict)
            or not all(isinstance(n, str) for n in names)
        ):
            raise RequestError("say which songs, and the choices by name")
        paths = tuple(self.songs.existing(name) for name in names)
        await self.making.begin(given(asked, "what", str), paths, choices)
        return self.making.state

    async def _made(self, asked: Asked) -> Any:
        """Return what is there, what can be made of a song and how, and what is being made."""
        song = self.songs.path_of(given(asked, "name", str)) if asked.get("name") else None
        what_in = {made.folder: what for what, made in MADE.items()}
        found = await asyncio.to_thread(self.songs.made)
        made = [asdict(each) | {"what": what_in.get(each.kind, "")} for each in found]
        choices = {
            what: [
                {"name": each, **asdict(choice)}
                for each, choice in (await asyncio.to_thread(choices_of, what, song)).items()
            ]
            for what in MADE
        }
        return {"made": made, "choices": choices, "state": self.making.state}

    async def _reveal(self, asked: Asked) -> Any:
        """Open something that was made, or the folder of it all, with the program that this computer has for it."""
        path = self.songs.made_path(given(asked, "path", str))
        if not await asyncio.to_thread(shown, path):
            raise RequestError(f"it lies in {path}")
        return {}

    async def _stop(self, _asked: Asked) -> Any:
        await self.making.stop()
        return self.making.state


def _answering(answer: Callable[[Asked], Awaitable[Any]]) -> Callable[[Request], Awaitable[Response]]:
    """Return what answers a request whose body is a JSON object."""

    @wraps(answer)
    async def answering(request: Request) -> Response:
        try:
            asked = asked_in(await request.body())
        except RequestError as error:
            return _refused(str(error))
        return await _answered(answer, asked)

    return answering


async def _answered(answer: Callable[[Asked], Awaitable[Any]], asked: Asked) -> Response:
    try:
        result = await answer(asked)
    except ChangedElsewhereError as error:
        there = None if error.there is None else asdict(error.there)
        return JSONResponse({"error": str(error), "there": there}, status_code=HTTPStatus.CONFLICT)
    except TercetError as error:
        return _refused(str(error))
    return result if isinstance(result, Response) else JSONResponse(result)


def _refused(message: str) -> Response:
    return JSONResponse({"error": message}, status_code=HTTPStatus.UNPROCESSABLE_ENTITY)
