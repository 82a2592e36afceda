"""Nobody but the desk's own window is served: a thousand requests that others could make, and none gets in."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import product
from typing import Any

import pytest

from tercet.desk.guard import LARGEST_BODY_BYTES, Guard, Place, fresh_place

PLACE = Place(4567, "key-of-the-desk")
GOOD = {b"host": b"127.0.0.1:4567", b"origin": b"http://127.0.0.1:4567", b"sec-fetch-site": b"same-origin"}


class Inside:
    """What is guarded: reads the body, counts how often it was reached."""

    def __init__(self) -> None:
        self.reached = 0
        self.paths: list[str] = []
        self.bodies: list[int] = []

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        self.reached += 1
        self.paths.append(scope["path"])
        length = 0
        while True:
            message = await receive()
            length += len(message.get("body", b""))
            if not message.get("more_body"):
                break
        self.bodies.append(length)
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"inside"})


def run(answering: Coroutine[Any, Any, None]) -> None:
    """Run in a thread of its own: in this one a browser of other tests may keep a loop."""
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, answering).result()


def ask(
    guard: Guard,
    path: str = "/key-of-the-desk/save",
    method: str = "POST",
    headers: list[tuple[bytes, bytes]] | None = None,
    pieces: list[bytes] | None = None,
) -> tuple[int, dict[bytes, bytes]]:
    waiting = list(pieces or [b"{}"])
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        body = waiting.pop(0)
        return {"type": "http.request", "body": body, "more_body": bool(waiting)}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    raw = path.encode("utf-8")
    plain = path.replace("%2e", ".").replace("%2f", "/")
    scope = {
        "type": "http",
        "method": method,
        "path": plain,
        "raw_path": raw,
        "query_string": b"",
        "headers": list(GOOD.items()) if headers is None else headers,
    }
    run(guard(scope, receive, send))  # type: ignore[arg-type]
    return sent[0]["status"], dict(sent[0]["headers"])


def hostile() -> Iterator[dict[str, Any]]:
    """Yield requests of which each has something that the desk's own never have."""
    hosts = [
        None,
        b"",
        b"127.0.0.1",
        b"127.0.0.1:80",
        b"evil.example:4567",
        b"127.0.0.1:4567.evil.example",
        b"[::1]:4567",
        b"0.0.0.0:4567",
        b"LOCALHOST:4567",
        b"2130706433:4567",
    ]
    origins = [
        None,
        b"null",
        b"http://evil.example",
        b"https://127.0.0.1:4567",
        b"http://127.0.0.1:4568",
        b"http://localhost:4567",
        b"file://",
        b"http://127.0.0.1:4567.evil.example",
        b"",
    ]
    sites = [b"cross-site", b"same-site", b"CROSS-SITE", b""]
    paths = [
        "/",
        "/save",
        "/key-of-the-des/save",
        "/key-of-the-desk",
        "//key-of-the-desk/save",
        "/KEY-OF-THE-DESK/save",
        "/key-of-the-desk/../save",
        "/key-of-the-desk/%2e%2e/save",
        "/key-of-the-desk/page%2f..",
        "/key-of-the-desk/.history",
        "/key-of-the-desk/a\\b",
        "/key-of-the-desk//etc/passwd",
        "/key-of-the-desk/ä",
        "*",
        "http://evil.example/",
        "/key-of-the-desk/a\0b",
    ]
    methods = ["PUT", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PATCH", "post", "PROPFIND"]
    for host, method in product(hosts, ("GET", "POST", "HEAD")):
        yield {
            "headers": [(b"host", host)] * (host is not None)
            + [item for item in GOOD.items() if item[0] != b"host"],
            "method": method,
        }
    for origin, host in product(origins, (GOOD[b"host"], *filter(None, hosts))):
        yield {
            "headers": [
                (b"host", host),
                *([(b"origin", origin)] if origin is not None else []),
                (b"sec-fetch-site", b"same-origin"),
            ]
        }
    for site, method, path in product(
        sites, ("GET", "POST"), ("/key-of-the-desk/", "/key-of-the-desk/save", "/key-of-the-desk/events")
    ):
        yield {
            "headers": [(b"host", GOOD[b"host"]), (b"origin", GOOD[b"origin"]), (b"sec-fetch-site", site)],
            "method": method,
            "path": path,
        }
    for path, method, origin in product(
        paths, ("GET", "POST", "HEAD"), (None, GOOD[b"origin"], b"http://evil.example")
    ):
        yield {
            "path": path,
            "method": method,
            "headers": [(b"host", GOOD[b"host"]), *([(b"origin", origin)] if origin else [])],
        }
    for method, path in product(methods, ("/key-of-the-desk/", "/key-of-the-desk/save", "/")):
        yield {"method": method, "path": path}
    for name, value in GOOD.items():
        yield {"headers": [*GOOD.items(), (name, value)]}
        yield {"headers": [*GOOD.items(), (name, b"evil")]}
    for length in (
        b"-1",
        b"1e9",
        b"99999999999",
        b"0x10",
        b"",
        str(LARGEST_BODY_BYTES + 1).encode(),
        b"1, 1",
    ):
        yield {"headers": [*GOOD.items(), (b"content-length", length)]}
    for host, origin, site, method, path in product(
        hosts[2:7], origins[1:6], sites, ("GET", "POST"), paths[:4]
    ):
        yield {
            "headers": [(b"host", host), (b"origin", origin), (b"sec-fetch-site", site)],
            "method": method,
            "path": path,
        }


def test_a_thousand_requests_from_elsewhere_are_refused() -> None:
    inside = Inside()
    guard = Guard(inside, PLACE)
    answers = [ask(guard, **request)[0] for request in hostile()]
    assert len(answers) >= 1000
    assert inside.reached == 0
    assert set(answers) <= {400, 403, 404, 405, 413, 421}
    assert len(set(answers)) >= 5


@pytest.mark.parametrize("method", ["GET", "POST"])
@pytest.mark.parametrize("host", [b"127.0.0.1:4567", b"localhost:4567"])
def test_the_desk_s_own_window_gets_in(method: str, host: bytes) -> None:
    inside = Inside()
    headers = [(b"host", host), (b"origin", b"http://" + host), (b"sec-fetch-site", b"same-origin")]
    status, answered = ask(Guard(inside, PLACE), method=method, headers=headers)
    assert (status, inside.paths) == (200, ["/save"])
    assert answered[b"x-content-type-options"] == b"nosniff"
    assert answered[b"referrer-policy"] == b"no-referrer"
    assert answered[b"cross-origin-resource-policy"] == b"same-origin"


def test_a_window_that_is_opened_by_hand_gets_the_page() -> None:
    inside = Inside()
    headers = [(b"host", b"127.0.0.1:4567"), (b"sec-fetch-site", b"none")]
    assert ask(Guard(inside, PLACE), path="/key-of-the-desk/", method="GET", headers=headers)[0] == 200
    assert inside.paths == ["/"]


def test_a_body_is_counted_while_it_is_read() -> None:
    inside = Inside()
    piece = b"x" * (1 << 20)
    status, _ = ask(Guard(inside, PLACE), pieces=[piece] * 9)
    assert status == 413
    assert inside.bodies == []
    status, _ = ask(Guard(inside, PLACE), pieces=[piece] * 8)
    assert (status, inside.bodies) == (200, [8 << 20])


def test_a_body_that_never_comes_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.desk.guard.SLOWEST_BODY_S", 0.01)
    inside, sent = Inside(), []

    async def receive() -> dict[str, Any]:
        await asyncio.sleep(60)
        return {}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "POST", "path": "/key-of-the-desk/save", "headers": list(GOOD.items())}
    run(Guard(inside, PLACE)(scope, receive, send))  # type: ignore[arg-type]
    assert sent[0]["status"] == 408


def test_keys_are_long_and_never_the_same() -> None:
    keys = {fresh_place(1).key for _ in range(50)}
    assert len(keys) == 50
    assert min(map(len, keys)) >= 32
    assert "key" not in repr(fresh_place(1)).replace("Place", "").lower() or fresh_place(1).key not in repr(
        fresh_place(1)
    )
