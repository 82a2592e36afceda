"""A real browser, and pages in it that may neither complain nor reach out."""

from __future__ import annotations

import shutil
import ssl
import subprocess
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request

from tools.set_up import CHROMIUMS

__all__ = ["FLAGS", "PROGRAM", "Window", "elsewhere", "listening_to", "serving", "signed_by_itself", "window"]

PROGRAM = next(filter(None, map(shutil.which, CHROMIUMS)), CHROMIUMS[0])
"""The browser; `tools/set_up.py` installs it for the tests."""

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@contextmanager
def listening_to(browser: Browser, recording: str = "") -> Iterator[Browser]:
    """Give a browser whose microphone hears a file, over and over; once where its name ends with ``%noloop``.

    Without a file it hears the browser's own beeps.
    """
    fake = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
    if recording:
        fake.append(f"--use-file-for-fake-audio-capture={recording}")
    with browser.browser_type.launch(
        executable_path=PROGRAM, headless=True, args=[*FLAGS, *fake]
    ) as listening:
        yield listening


class QuietHandler(SimpleHTTPRequestHandler):
    """Serves a folder without a word; a browser is to keep nothing of its own accord."""

    def end_headers(self) -> None:
        """Say so."""
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def log_message(self, *_: Any) -> None:
        """Say nothing."""


@contextmanager
def serving(folder: Path, certificate: Path | None = None) -> Iterator[str]:
    """Serve a folder on this machine, over https where there is a certificate (and its key in it); give its address."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(QuietHandler, directory=str(folder)))
    if certificate is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate)
        server.socket = context.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http{'s' * bool(certificate)}://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def signed_by_itself(folder: Path) -> Path:
    """Return a new certificate for this machine, with its key, which nobody else has signed."""
    key, certificate = folder / "key.pem", folder / "certificate.pem"
    asked = (
        "req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=127.0.0.1 -addext subjectAltName=IP:127.0.0.1"
    )
    subprocess.run(
        ["openssl", *asked.split(), "-keyout", key, "-out", certificate], check=True, capture_output=True
    )
    both = folder / "server.pem"
    both.write_bytes(certificate.read_bytes() + key.read_bytes())
    return both


USABLE = "() => window.Tercet?.player?.speed && document.body.matches('.laid')"
"""Whether a class page's player has a speed and all of its music is laid out."""


class Window:
    """A page in a window of its own, and everything that it said and asked for."""

    def __init__(self, context: BrowserContext) -> None:
        self.page: Page = context.new_page()
        self.page.set_default_timeout(60_000)
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", self._note)

    def _hear(self, message: ConsoleMessage) -> None:
        self.said.append(f"{message.type}: {message.text}")

    def _note(self, request: Request) -> None:
        self.asked.append(request.url)

    def show(self, address: str) -> Page:
        """Open a page and wait until its script has run and all of its music is laid out."""
        self.page.goto(address)
        self.page.wait_for_function("() => window.Tercet === undefined || document.body.matches('.laid')")
        return self.page

    def elsewhere(self) -> list[str]:
        """Return the requests that left the page's own place."""
        return elsewhere(self.page.url, self.asked)


def elsewhere(home: str, asked: Iterable[str]) -> list[str]:
    """Return the addresses that don't lie where a page does."""
    place = urlsplit(home)[:2]
    return [
        url for url in asked if urlsplit(url).scheme not in ("data", "blob") and urlsplit(url)[:2] != place
    ]


@contextmanager
def window(browser: Browser, *, width: int = 1440, height: int = 900, **settings: Any) -> Iterator[Window]:
    """Open a window; when it closes, nothing may have been said on the console and nothing asked for elsewhere."""
    context = browser.new_context(
        viewport={"width": width, "height": height}, **{"reduced_motion": "reduce", **settings}
    )
    try:
        opened = Window(context)
        yield opened
        assert opened.said == [], opened.said
        assert opened.elsewhere() == []
    finally:
        context.close()
