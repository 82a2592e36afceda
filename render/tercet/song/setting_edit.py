"""One setting of a song's text changed, and nothing else of it: also in a text that has mistakes elsewhere."""

from __future__ import annotations

import re
from collections.abc import Mapping

from tercet.errors import Edit, RequestError
from tercet.song.plain_text import split_lines
from tercet.song.settings import SETTINGS
from tercet.song.spelling import yaml_text

__all__ = ["set_setting", "settings_of_text"]

_LINE = re.compile(
    r"""(?P<name>[A-Za-z][\w-]*)(?P<colon>\s*:)(?P<space>[ \t]*)
    (?P<value>"(?:[^"\\]|\\.)*"|'(?:[^']|'')*'|(?:(?![ \t]\#).)*?)(?P<after>[ \t]*(?:\#.*)?)""",
    re.VERBOSE,
)
_ESCAPED = re.compile(r"\\(.)")
MUSIC = "sections"
_BELOW = re.compile(r"[ \t]+\S")


def settings_of_text(text: str) -> dict[str, str | None]:
    r"""Return the settings that a text writes in one line each, as texts; None for one that goes on below.

    >>> settings_of_text("title: 'One Bar'\ntempo: 88 # slow\nform:\n  a b\n")
    {'title': 'One Bar', 'tempo': '88', 'form': None}
    """
    lines = split_lines(text)
    return {
        name: None if _goes_on(lines, number) else _plain(match["value"])
        for name, (number, match) in _written(lines).items()
    }


def set_setting(text: str, name: str, value: str) -> Edit | None:
    """Return the edit that gives a setting a value, or takes it out of the file; None where it has that value already.

    Parameters
    ----------
    text
        The whole file.
    name
        Of a row of `SETTINGS`.
    value
        As a person writes it; empty to leave the setting out.

    Raises
    ------
    RequestError
        There is no such setting, or it stands in several lines.
    """
    names = [setting.name for setting in SETTINGS if setting.name != MUSIC]
    if name not in names:
        raise RequestError(f"there is no setting {name[:40]}")
    value = " ".join(value.split())
    lines = split_lines(text)
    written = _written(lines)
    if name not in written:
        return _added(lines, written, names, name, value) if value else None
    number, match = written[name]
    if _goes_on(lines, number):
        raise RequestError(f"{name} stands in several lines: change it in the text")
    if value == _plain(match["value"]):
        return None
    if not value:
        return Edit(number, 1, number + 1, 1, "")
    space = match["space"] or " "
    start = match.end("colon") + 1
    return Edit(number, start, number, match.end("value") + 1, space + _written_value(name, value))


def _added(
    lines: list[str],
    written: Mapping[str, tuple[int, re.Match[str]]],
    names: list[str],
    name: str,
    value: str,
) -> Edit:
    """Return the edit that adds a setting, after the last one that stands before it in the table."""
    before = [written[each][0] for each in names[: names.index(name)] if each in written]
    if before:
        number = max(before) + 1
        while number <= len(lines) and _BELOW.match(lines[number - 1]):
            number += 1
    else:
        heads = (number for number, line in enumerate(lines, 1) if line.strip() and not line.startswith("#"))
        number = next(heads, len(lines))
    return Edit(number, 1, number, 1, f"{name}: {_written_value(name, value)}\n")


def _written(lines: list[str]) -> dict[str, tuple[int, re.Match[str]]]:
    """Return for each setting that is written its line, from 1, and the parts of it; the first where there are two."""
    found: dict[str, tuple[int, re.Match[str]]] = {}
    known = {setting.name for setting in SETTINGS if setting.name != MUSIC}
    for number, line in enumerate(lines, 1):
        match = _LINE.fullmatch(line)
        if match is not None and match["name"] in known:
            found.setdefault(match["name"], (number, match))
    return found


def _goes_on(lines: list[str], number: int) -> bool:
    return number < len(lines) and bool(_BELOW.match(lines[number]))


def _plain(value: str) -> str:
    """Return a value without its quotes."""
    if len(value) > 1 and value[0] == value[-1] == '"':
        return _ESCAPED.sub(r"\1", value[1:-1])
    if len(value) > 1 and value[0] == value[-1] == "'":
        return value[1:-1].replace("''", "'")
    return value


_FREE_TEXTS = frozenset({"title", "composer", "from", "licence", "sound"})


def _written_value(name: str, value: str) -> str:
    return yaml_text(value) if name in _FREE_TEXTS else value
