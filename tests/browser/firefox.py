"""Firefox as the distribution ships it, driven by the W3C's WebDriver BiDi that it speaks itself.

Playwright drives Firefox only in builds of its own. A page here answers to those names of playwright's that our tests
use, so that one test runs in both browsers.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from playwright.sync_api import Page
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect

from tests.browser.windows import elsewhere
from tools.set_up import FIREFOXES

__all__ = ["AnyPage", "FirefoxPage", "firefox_page"]

PROGRAM = next(filter(None, map(shutil.which, FIREFOXES)), FIREFOXES[0])

QUIET = {
    "app.update.disabledForTesting": True,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "services.settings.server": "data:,",
    "toolkit.telemetry.enabled": False,
    "ui.prefersReducedMotion": 1,
}
"""Settings with which the browser asks nobody else for anything."""

KEYS = {
    "Backspace": "\ue003",
    "Tab": "\ue004",
    "Enter": "\ue007",
    "Shift": "\ue008",
    "Control": "\ue009",
    "Alt": "\ue00a",
    "Escape": "\ue00c",
    "Space": " ",
    "PageUp": "\ue00e",
    "PageDown": "\ue00f",
    "End": "\ue010",
    "Home": "\ue011",
    "ArrowLeft": "\ue012",
    "ArrowUp": "\ue013",
    "ArrowRight": "\ue014",
    "ArrowDown": "\ue015",
    "Delete": "\ue017",
}
"""How WebDriver writes the keys that are no characters."""

_CALL = """
async (given) => {{
  const wanted = ({expression});
  const found = await (typeof wanted === "function" ? wanted(JSON.parse(given)) : wanted);
  return JSON.stringify(found ?? null);
}}
"""

_MIDDLE = """
(selector) => {
  const found = document.querySelector(selector);
  if (!found) return null;
  found.scrollIntoView({ block: "center", inline: "center", behavior: "instant" });
  const box = found.getBoundingClientRect();
  return [Math.round(box.x + box.width / 2), Math.round(box.y + box.height / 2)];
}
"""

_IS_SEEN = "(selector) => document.querySelector(selector)?.checkVisibility() ?? false"


class _Session:
    """One conversation with a browser: orders out, answers and events in."""

    def __init__(self, socket: ClientConnection) -> None:
        self._socket = socket
        self._number = 0
        self.said: list[str] = []
        self.asked: list[str] = []

    def order(self, method: str, most_s: float = 60.0, **given: Any) -> Any:
        """Give an order and return its result; what happens meanwhile is noted."""
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": given}))
        until = time.monotonic() + most_s
        while True:
            answer = json.loads(self._socket.recv(timeout=max(until - time.monotonic(), 0.01)))
            if answer.get("id") == self._number:
                break
            self._note(answer)
        if answer["type"] == "error":
            raise AssertionError(f"{method}: {answer['error']}: {answer['message']}")
        return answer["result"]

    def _note(self, event: Mapping[str, Any]) -> None:
        told = event.get("params", {})
        if event.get("method") == "log.entryAdded":
            self.said.append(f"{told['level']}: {told['text']}")
        elif event.get("method") == "network.beforeRequestSent":
            self.asked.append(told["request"]["url"])


class FirefoxKeyboard:
    """Keys of a page, as playwright names them."""

    def __init__(self, page: FirefoxPage) -> None:
        self._page = page

    def press(self, keys: str) -> None:
        """Press one key, or several held together (``Control+a``)."""
        held = [KEYS.get(key, key) for key in (keys.split("+") if len(keys) > 1 else [keys])]
        self._act([("keyDown", key) for key in held] + [("keyUp", key) for key in reversed(held)])

    def type(self, text: str) -> None:
        """Type characters one after another."""
        self._act([(what, key) for key in text for what in ("keyDown", "keyUp")])

    def _act(self, steps: list[tuple[str, str]]) -> None:
        self._page.act({"type": "key", "id": "keys", "actions": [{"type": t, "value": v} for t, v in steps]})


class FirefoxPage:
    """A tab of a Firefox, under those of playwright's names that our tests use."""

    def __init__(self, session: _Session, tab: str) -> None:
        self._session = session
        self._tab = tab
        self.keyboard = FirefoxKeyboard(self)

    def add_init_script(self, script: str) -> None:
        """Have a script run before those of every page that is opened."""
        self._session.order("script.addPreloadScript", functionDeclaration=f"() => {{{script}}}")

    def goto(self, address: str) -> None:
        """Open an address and wait until it is loaded."""
        self._session.order("browsingContext.navigate", context=self._tab, url=address, wait="complete")

    def evaluate(self, expression: str, given: object = None) -> Any:
        """Return what an expression, or a function of one argument, gives in the page."""
        answer = self._session.order(
            "script.callFunction",
            functionDeclaration=_CALL.format(expression=expression.strip().removesuffix(";")),
            arguments=[{"type": "string", "value": json.dumps(given)}],
            target={"context": self._tab},
            awaitPromise=True,
            most_s=90.0,
        )
        if answer["type"] == "exception":
            raise AssertionError(answer["exceptionDetails"]["text"])
        return json.loads(answer["result"]["value"])

    def wait_for_function(self, expression: str, most_s: float = 60.0) -> None:
        """Wait until an expression, or a function, gives something true."""
        until = time.monotonic() + most_s
        while not self.evaluate(expression):
            assert time.monotonic() < until, expression
            time.sleep(0.05)

    def wait_for_selector(self, selector: str) -> None:
        """Wait until an element can be seen."""
        self.wait_for_function(f"() => ({_IS_SEEN})({json.dumps(selector)})")

    def wait_for_timeout(self, time_ms: float) -> None:
        """Wait."""
        time.sleep(time_ms / 1000)

    def click(self, selector: str) -> None:
        """Press the main button in the middle of an element."""
        self.wait_for_selector(selector)
        x, y = self.evaluate(_MIDDLE, selector)
        steps = [
            {"type": "pointerMove", "x": x, "y": y},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        self.act({"type": "pointer", "id": "mouse", "actions": steps})

    def check(self, selector: str) -> None:
        """Tick a box or choose one of several, if it isn't."""
        if not self.evaluate("(selector) => document.querySelector(selector).checked", selector):
            self.click(selector)
        assert self.evaluate("(selector) => document.querySelector(selector).checked", selector)

    def focus(self, selector: str) -> None:
        """Give an element the focus."""
        self.evaluate("(selector) => document.querySelector(selector).focus()", selector)

    def inner_text(self, selector: str) -> str:
        """Return the text that an element shows."""
        return str(self.evaluate("(selector) => document.querySelector(selector).innerText", selector))

    def act(self, source: Mapping[str, Any]) -> None:
        """Do what hands do: keys or pointer."""
        self._session.order("input.performActions", context=self._tab, actions=[source])

    @property
    def said(self) -> list[str]:
        """What the page has said on the console, and its errors."""
        self.evaluate("0")
        return self._session.said

    @property
    def asked(self) -> list[str]:
        """The addresses that were asked for."""
        self.evaluate("0")
        return self._session.asked


AnyPage = Page | FirefoxPage
"""A page of either browser, by the names that both answer to."""


@contextmanager
def _loudspeaker(folder: Path) -> Iterator[dict[str, str]]:
    """Give Firefox a loudspeaker that nobody hears: without any it doesn't start to play; yield what tells it so."""
    socket = f"unix:{folder / 'loudspeaker'}"
    command = [
        "pulseaudio",
        "-n",
        "--daemonize=no",
        "--exit-idle-time=-1",
        "--load=module-null-sink",
        f"--load=module-native-protocol-unix socket={folder / 'loudspeaker'} auth-anonymous=1",
    ]
    home = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "HOME": str(folder)}
    with subprocess.Popen(command, env=home, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as running:
        try:
            yield {**os.environ, "PULSE_SERVER": socket}
        finally:
            running.terminate()


@contextmanager
def firefox_page(*, width: int = 1024, height: int = 800) -> Iterator[FirefoxPage]:
    """Start a Firefox of its own and open a tab; when it closes, nothing may have been said, or asked for elsewhere."""
    with TemporaryDirectory(prefix="firefox-") as profile:
        settings = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in QUIET.items()]
        Path(profile, "user.js").write_text("\n".join(settings), encoding="utf-8")
        command = [PROGRAM, "--headless", "--no-remote", "--profile", profile, "--remote-debugging-port", "0"]
        with (
            _loudspeaker(Path(profile)) as environment,
            subprocess.Popen(
                command,
                env=environment,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                text=True,
                errors="replace",
            ) as running,
        ):
            try:
                with connect(f"{_address(running)}/session", max_size=None) as socket:
                    session = _Session(socket)
                    session.order("session.new", capabilities={})
                    session.order("session.subscribe", events=["log.entryAdded", "network.beforeRequestSent"])
                    tab = session.order("browsingContext.create", type="tab")["context"]
                    viewport = {"width": width, "height": height}
                    session.order("browsingContext.setViewport", context=tab, viewport=viewport)
                    page = FirefoxPage(session, tab)
                    yield page
                    said = [line for line in page.said if "ScriptProcessorNode is deprecated" not in line]
                    assert said == []
                    assert elsewhere(page.evaluate("location.href"), page.asked) == []
            except ConnectionClosed as closed:
                raise AssertionError("Firefox has gone") from closed
            finally:
                running.terminate()


def _address(running: subprocess.Popen[str]) -> str:
    """Return where a browser that starts can be talked to."""
    assert running.stderr is not None
    lines = []
    for line in running.stderr:
        lines.append(line)
        found = re.search(r"BiDi listening on (ws://\S+)", line)
        if found:
            return found[1]
    raise AssertionError(f"Firefox didn't start: {''.join(lines)}")
