"""What a window asks for: a JSON object, read and looked at piece by piece."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, TypeVar

from tercet.errors import RequestError

__all__ = ["Asked", "asked_in", "given"]

Asked = Mapping[str, Any]
"""What a window asks for, by name."""

Given = TypeVar("Given", str, int, float)

_KINDS = {str: "a text", int: "a whole number", float: "a number"}


def asked_in(body: bytes) -> Asked:
    """Return what a request's body asks for.

    Raises
    ------
    RequestError
        It is no JSON object.
    """
    try:
        asked = json.loads(body, parse_constant=_no_figure)
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise RequestError("this must be a JSON object")
    return asked


def _no_figure(word: str) -> None:
    """Refuse what JSON has no word for, though Python's reader takes it: ``NaN`` and the like."""
    raise ValueError(word)


def given(asked: Asked, name: str, kind: type[Given]) -> Given:
    """Return something that is asked for, of a kind; a whole number will do for a fraction.

    Raises
    ------
    RequestError
        It isn't there, or of another kind.
    """
    value = asked.get(name)
    if kind is float and type(value) is int:
        value = float(value)
    if type(value) is not kind:
        raise RequestError(f"{name} must be {_KINDS[kind]}")
    return value
