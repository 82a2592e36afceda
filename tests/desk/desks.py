"""A desk for tests: served as users get it, on a real port, and asked as its page asks."""

from __future__ import annotations

import http.client
import json
import queue
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from tercet.desk.serving import serve

__all__ = ["Desk", "desk"]


class Desk:
    """A desk that is open: its address, and what asks it."""

    def __init__(self, address: str, folder: Path) -> None:
        self.address = address
        self.folder = folder
        parts = urlsplit(address)
        assert parts.port is not None
        self.port, self.base, self.host = parts.port, parts.path, parts.netloc

    def answer(
        self, what: str, body: bytes | None = None, headers: dict[str, str] | None = None
    ) -> tuple[int, bytes, dict[str, str]]:
        """Ask, and return status, body and headers of the answer."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        own = {"Origin": f"http://{self.host}", "Sec-Fetch-Site": "same-origin"}
        try:
            connection.request(
                "GET" if body is None else "POST", self.base + what, body, {**own, **(headers or {})}
            )
            response = connection.getresponse()
            return (
                response.status,
                response.read(),
                {name.lower(): value for name, value in response.getheaders()},
            )
        finally:
            connection.close()

    def ask(self, what: str, expected: int = 200, /, **facts: Any) -> Any:
        """Ask as the page does, and return what the answer says."""
        status, body, _ = self.answer(what, json.dumps({"window": "w", **facts}).encode())
        assert status == expected, body[:500]
        return json.loads(body)

    @contextmanager
    def window(self, name: str = "w") -> Iterator[queue.Queue[tuple[str, Any]]]:
        """Open a window: yield what it is told, as (kind, facts)."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        connection.request("GET", f"{self.base}events?window={name}")
        response = connection.getresponse()
        assert response.status == 200
        told: queue.Queue[tuple[str, Any]] = queue.Queue()

        def listen() -> None:
            kind = ""
            try:
                for line in response:
                    text = line.decode().rstrip("\n")
                    if text.startswith("event: "):
                        kind = text.removeprefix("event: ")
                    elif text.startswith("data: "):
                        told.put((kind, json.loads(text.removeprefix("data: "))))
            except (OSError, ValueError, AttributeError):
                return

        threading.Thread(target=listen, daemon=True).start()
        assert told.get(timeout=10)[0] == "hello"
        try:
            yield told
        finally:
            if connection.sock is not None:
                connection.sock.shutdown(2)
            connection.close()


@contextmanager
def desk(folder: Path, grace_s: float = 0.5) -> Iterator[Desk]:
    """Serve a desk in a thread; it must have ended soon after the block, when its last window has gone."""
    opened: queue.Queue[Desk] = queue.Queue()
    thread = threading.Thread(
        target=lambda: serve(
            folder, opens=False, told=lambda address, place: opened.put(Desk(address, place)), grace_s=grace_s
        )
    )
    thread.start()
    found = opened.get(timeout=20)
    try:
        yield found
    finally:
        with found.window("last"):
            pass
        thread.join(timeout=30)
        assert not thread.is_alive(), "the desk must end when its last window has gone"
