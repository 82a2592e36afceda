"""A page's text: its words from one table, its templates, and what a browser may do with it.

To translate pages, translate the table. A page may do nothing that it doesn't need, and nothing that reaches elsewhere.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = [
    "class_script",
    "data_for_page",
    "filled",
    "html",
    "lean_text",
    "look_inks",
    "page_file",
    "player_script",
    "policy",
    "policy_of_one_file",
    "policy_without_script",
    "text_table",
]

_REST = "base-uri 'none'; form-action 'none'"


def page_file(name: str) -> str:
    """Return the text of a file that belongs to the page."""
    return files(__package__).joinpath(name).read_text(encoding="utf-8")


@cache
def text_table() -> dict[str, str]:
    """Return the English words of a page by their names; treat as read-only."""
    table: dict[str, str] = json.loads(page_file("english.json"))
    return table


def filled(name: str, **values: object) -> str:
    """Return a text of the table with its places filled; braces in a value are left as they are.

    >>> filled("bar_name", bar=5, section="verse")
    'bar 5, verse'
    """
    pieces = text_table()[name].split("{")
    filled_in = [pieces[0]]
    for piece in pieces[1:]:
        place, _, rest = piece.partition("}")
        filled_in.append(f"{values[place]}{rest}")
    return "".join(filled_in)


def lean_text(name: str) -> str:
    """Return a style or script as a browser gets it: made small by ``make player``, which says so in its first line."""
    return page_file(f"lean/{name}").partition("\n")[2]


def look_text() -> str:
    """Return the page's look: its inks, which the desk has too, and what is drawn with them."""
    return lean_text("inks.css") + lean_text("look.css")


def look_inks() -> str:
    """Return the inks alone, for pages that are drawn otherwise."""
    return lean_text("inks.css")


_STRICT = '"use strict";'
"""Begins a script: said once for all of its parts, from which ``make player`` leaves it out."""

_OF_STEMS, _OF_MODEL = {"2-stems.js"}, {"2-strings.js", "2-strokes.js", "2-take.js"}


_OF_LESSON = ("9-lesson.js",)


def player_script(*, modelled: bool, in_lesson: bool = False) -> str:
    """Return the page's script: its parts in the order of their numbers, without what isn't run.

    All but the first two wait until the set that a student chose is in its place.

    Parameters
    ----------
    modelled
        Whether the page works its sound out; else it plays stems.
    in_lesson
        Whether its song stands in the lesson of a week.
    """
    others = {*(_OF_STEMS if modelled else _OF_MODEL), *(() if in_lesson else _OF_LESSON)}
    folder = files(__package__).joinpath("lean/player")
    parts = sorted(
        path.name for path in folder.iterdir() if path.name.endswith(".js") and path.name not in others
    )
    names, chosen, *rest = (lean_text(f"player/{name}") for name in parts)
    begun = f"window.TercetSet.begin(()=>{{{''.join(rest)}}});"
    return f"{_STRICT}{names}{lean_text('mine.js')}{chosen}{begun}{lean_text('going_along.js')}"


def class_script() -> str:
    """Return the script of a class's list of songs."""
    return _STRICT + lean_text("mine.js") + lean_text("class.js") + lean_text("going_along.js")


def data_for_page(data: object) -> str:
    """Return data as JSON that may stand in a script element: no text in it can end the element or begin a comment."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def html(template: str, values: Mapping[str, Any]) -> bytes:
    """Return a template filled. All values are escaped but those that it marks as safe: our drawings, data and code."""
    shared = {"t": text_table(), "icon": _icon()}
    return _templates().get_template(template).render(shared | dict(values)).encode("utf-8", "replace")


@cache
def _icon() -> str:
    """Return the page's icon as its own address: a page without one makes a browser ask its host for it."""
    return f"data:image/svg+xml,{quote(page_file('icon.svg').strip())}"


@cache
def _templates() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    return Environment(
        loader=FunctionLoader(lambda name: page_file(f"templates/{name}")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )


def policy() -> str:
    """Return the policy of a page in a folder: its own files, no script or style in the text."""
    return (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src 'self'; "
        "worker-src 'self'; manifest-src 'self'; " + _REST
    )


def policy_of_one_file(script: str, style: str, *asked_for: str) -> str:
    """Return the policy of a page in one file: its script and style, and the scripts that lie packed in it."""
    scripts = " ".join(map(_hash, (script, *asked_for)))
    return f"default-src 'none'; script-src {scripts}; style-src {_hash(style)}; img-src data:; " + _REST


def policy_without_script(style: str) -> str:
    """Return the policy of a page in one file that runs nothing: the one style that Tercet put there."""
    return f"default-src 'none'; style-src {_hash(style)}; img-src data:; " + _REST


def _hash(text: str) -> str:
    digest = base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
    return f"'sha256-{digest}'"
