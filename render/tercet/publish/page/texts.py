"""The words of a page, from one table: to translate pages, translate the table."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files

__all__ = ["filled", "page_file", "player_script", "text_table"]


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
    told = [pieces[0]]
    for piece in pieces[1:]:
        place, _, rest = piece.partition("}")
        told.append(f"{values[place]}{rest}")
    return "".join(told)


def player_script() -> str:
    """Return the page's script: its parts in the order of their numbers."""
    parts = sorted(
        path.name for path in files(__package__).joinpath("player").iterdir() if path.name.endswith(".js")
    )
    return "".join(page_file(f"player/{name}") for name in parts)
