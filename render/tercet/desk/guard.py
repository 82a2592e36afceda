"""Who may ask: this computer's own window, and nobody else.

The desk listens on the loopback interface only, at a random port, and under a path that begins with a random key. A
page from elsewhere that guesses the port still lacks the key; one that has the name of another computer lead here
(DNS rebinding) sends its own name as the host; one that makes a browser ask across sites is told by its origin. What
comes in is counted while it is read, whatever its head says of its length.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from types import MappingProxyType

from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["LARGEST_BODY_BYTES", "Guard", "Place", "fresh_place"]

LARGEST_BODY_BYTES = 8 * 1024 * 1024
"""Of all but a recording a score to import is the largest that anybody sends."""

SLOWEST_BODY_S = 10.0
"""How long the next piece of a body may take."""

_LOOPBACK = "127.0.0.1"
_SAFE_METHODS = frozenset({"GET", "HEAD"})
_METHODS = _SAFE_METHODS | {"POST"}
_KEY_BYTES = 24

_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"cache-control", b"no-store"),
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a desk is found.

    Parameters
    ----------
    port
        On the loopback interface.
    key
        How every path begins.
    """

    port: int
    key: str = field(repr=False)

    @property
    def hosts(self) -> tuple[str, ...]:
        """What a browser may call this computer."""
        return f"{_LOOPBACK}:{self.port}", f"localhost:{self.port}"

    @property
    def address(self) -> str:
        """What a browser opens."""
        return f"http://{self.hosts[0]}/{self.key}/"


def fresh_place(port: int) -> Place:
    """Return a place with a key that nobody can guess."""
    return Place(port, secrets.token_urlsafe(_KEY_BYTES))


class RefusedError(Exception):
    """A request that isn't served, and with which status."""

    def __init__(self, status: HTTPStatus) -> None:
        super().__init__(status.phrase)
        self.status = status


class Guard:
    """Lets the desk's own window through to `app`, and gives every answer the headers that keep it to itself.

    Parameters
    ----------
    app
        Sees paths without the key.
    place
        Where it is served.
    larger_bytes
        How large a body may be on paths, as `app` sees them, where that isn't `LARGEST_BODY_BYTES`.
    """

    def __init__(
        self, app: ASGIApp, place: Place, larger_bytes: Mapping[str, int] = MappingProxyType({})
    ) -> None:
        self._app = app
        self._place = place
        self._larger_bytes = larger_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":  # there are no web sockets here
            return
        started = False

        async def guarded_send(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                message = {**message, "headers": [*message.get("headers", ()), *_HEADERS]}
            await send(message)

        try:
            inner = self._admitted(scope)
            most_bytes = self._larger_bytes.get(inner["path"], LARGEST_BODY_BYTES)
            _check_told_length(scope, most_bytes)
            await self._app(inner, _counted(receive, most_bytes), guarded_send)
        except RefusedError as refused:
            if not started:
                await _refuse(refused.status, guarded_send)

    def _admitted(self, scope: Scope) -> Scope:
        """Return the request as the app sees it.

        Raises
        ------
        RefusedError
            It isn't from the desk's own window.
        """
        headers = _Headers(scope)
        host = headers.only(b"host")
        if host not in self._place.hosts:
            raise RefusedError(HTTPStatus.MISDIRECTED_REQUEST)
        head, key, path = _parted(scope["path"])
        if head or not secrets.compare_digest(key.encode(), self._place.key.encode()) or not _is_plain(scope):
            raise RefusedError(HTTPStatus.NOT_FOUND)
        method = scope["method"]
        if method not in _METHODS:
            raise RefusedError(HTTPStatus.METHOD_NOT_ALLOWED)
        origin = headers.only(b"origin")
        from_elsewhere = origin is not None and origin != f"http://{host}"
        site = headers.only(b"sec-fetch-site")
        if from_elsewhere or site not in (None, "same-origin", "none"):
            raise RefusedError(HTTPStatus.FORBIDDEN)
        if method not in _SAFE_METHODS and origin is None:
            raise RefusedError(HTTPStatus.FORBIDDEN)
        return {**scope, "path": f"/{path}", "raw_path": f"/{path}".encode(), "root_path": ""}


class _Headers:
    """The headers of a request, of which none that matters may come twice."""

    def __init__(self, scope: Scope) -> None:
        self._headers: list[tuple[bytes, bytes]] = scope["headers"]

    def only(self, name: bytes) -> str | None:
        """Return a header, None if it isn't there; one that comes twice is refused."""
        found = [value for each, value in self._headers if each == name]
        if len(found) > 1:
            raise RefusedError(HTTPStatus.BAD_REQUEST)
        return found[0].decode("latin-1") if found else None


def _parted(path: str) -> tuple[str, str, str]:
    """Return what stands before the first slash, between the first two, and after the second, or nothing."""
    head, _, rest = path.partition("/")
    key, slash, inner = rest.partition("/")
    return (head, key, inner) if slash else (head, "", "")


def _is_plain(scope: Scope) -> bool:
    """Return whether a path is written as the desk's own are: nothing escaped, no way up."""
    raw = scope.get("raw_path") or scope["path"].encode()
    return raw.isascii() and not any(sign in raw for sign in (b"%", b"\\", b"//", b"/.", b"\0"))


def _check_told_length(scope: Scope, most_bytes: int) -> None:
    """Refuse a body that says itself that it is too long."""
    length = _Headers(scope).only(b"content-length")
    if length is not None and not (length.isdigit() and int(length) <= most_bytes):
        raise RefusedError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)


def _counted(receive: Receive, most_bytes: int) -> Receive:
    """Return what hands a body on as long as it is within bounds, and doesn't wait for ever for the next piece."""
    got_bytes, whole = 0, False

    async def counted() -> Message:
        nonlocal got_bytes, whole
        if whole:
            return await receive()
        try:
            async with asyncio.timeout(SLOWEST_BODY_S):
                message = await receive()
        except TimeoutError:
            raise RefusedError(HTTPStatus.REQUEST_TIMEOUT) from None
        if message["type"] == "http.request":
            got_bytes += len(message.get("body", b""))
            whole = not message.get("more_body", False)
            if got_bytes > most_bytes:
                raise RefusedError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        return message

    return counted


async def _refuse(status: HTTPStatus, send: Send) -> None:
    body = f"{status.value} {status.phrase}\n".encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status.value, "headers": headers})
    await send({"type": "http.response.body", "body": body})
