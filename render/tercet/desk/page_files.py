"""The desk's page: its files, its words, and what the browser lets it do."""

from __future__ import annotations

import json
import secrets
from functools import cache
from html import escape
from importlib.resources import files

from tercet.publish.page.markup import page_file as class_page_file

__all__ = ["page_file", "start_page"]

_KINDS = {
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json",
    ".svg": "image/svg+xml",
}
INKS = "inks.css"
"""The colours and typefaces of the class page, which are the desk's too."""

_START = "desk.html"
_NONCE = "{nonce}"

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'nonce-{nonce}'; img-src 'self' data: blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""The page's own files and nothing else; the editor's rules stand in an element that carries the number used once."""


def start_page() -> tuple[str, str]:
    """Return the page, and the policy that it is sent with."""
    nonce = secrets.token_urlsafe(16)
    return _start_text().replace(_NONCE, nonce), _POLICY.replace(_NONCE, nonce)


@cache
def _start_text() -> str:
    """Return the page with its words filled in: every ``{{ name }}`` is a text of the table."""
    pieces = _read(_START).decode().split("{{ ")
    words: dict[str, str] = json.loads(_read("english.json"))
    filled = [pieces[0]]
    for piece in pieces[1:]:
        name, _, rest = piece.partition(" }}")
        filled.append(escape(words[name]) + rest)
    return "".join(filled)


def page_file(name: str) -> tuple[bytes, str] | None:
    """Return a file of the page and its media type; None if there is no such file."""
    if name == INKS:
        return class_page_file(name).encode(), _KINDS[".css"]
    names = {path.name for path in files(__package__).joinpath("page").iterdir()}
    kind = next((kind for ending, kind in _KINDS.items() if name.endswith(ending)), None)
    return (_read(name), kind) if name in names and kind else None


def _read(name: str) -> bytes:
    return files(__package__).joinpath("page", name).read_bytes()
