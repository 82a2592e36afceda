"""The desk's page: its files, its words, and what the browser lets it do."""

from __future__ import annotations

import json
import secrets
from functools import cache
from html import escape
from importlib.resources import files

from tercet.desk.listening import LARGEST_BYTES
from tercet.publish.page.listening import microphone_script
from tercet.publish.page.markup import page_file as class_page_file
from tercet.publish.page.markup import text_table

__all__ = ["page_file", "page_words", "start_page"]

_KINDS = {
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json",
    ".svg": "image/svg+xml",
}
_WORDS = "english.json"

_SHARED_WORDS = "yours_", "heard_"
"""How the names begin of words that the class page and the desk share."""

_START = "desk.html"
_NONCE, _LARGEST = "{nonce}", "{largest}"

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
    words = page_words()
    filled = [pieces[0]]
    for piece in pieces[1:]:
        name, _, rest = piece.partition(" }}")
        filled.append(escape(words[name]) + rest)
    return "".join(filled).replace(_LARGEST, str(LARGEST_BYTES))


@cache
def page_words() -> dict[str, str]:
    """Return the page's words by their names; of what is heard in a recording, most are the class page's."""
    shared = {name: words for name, words in text_table().items() if name.startswith(_SHARED_WORDS)}
    own: dict[str, str] = json.loads(_read(_WORDS))
    return shared | own


def page_file(name: str) -> tuple[bytes, str] | None:
    """Return a file of the page and its media type; None if there is no such file."""
    kind = next((kind for ending, kind in _KINDS.items() if name.endswith(ending)), None)
    if kind is None:
        return None
    shared = _shared(name)
    if shared is not None:
        return shared.encode(), kind
    names = {path.name for path in files(__package__).joinpath("page").iterdir()}
    return (_read(name), kind) if name in names else None


def _shared(name: str) -> str | None:
    """Return what the desk has of the class page: colours and typefaces, what records, and the words for that."""
    match name:
        case "inks.css":
            return class_page_file(name)
        case "microphone.js":
            return microphone_script()
        case "english.json":
            return json.dumps(page_words(), ensure_ascii=False)
    return None


def _read(name: str) -> bytes:
    return files(__package__).joinpath("page", name).read_bytes()
