"""The arrangement file: what is written, in beats.

The types load at once and weigh little; reading and writing load their libraries when first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from render.song.model import (
    LAYERS,
    ROW_NAMES,
    Bar,
    ChordSpan,
    Dynamics,
    Layer,
    Line,
    Mark,
    MarkKind,
    Meter,
    Note,
    Pin,
    Players,
    Row,
    RowName,
    Section,
    Slot,
    Song,
    Source,
    Syllable,
    Visit,
)

if TYPE_CHECKING:
    from render.song.played import played_bars
    from render.song.reader import parse_song, read_song

__all__ = [
    "LAYERS",
    "ROW_NAMES",
    "Bar",
    "ChordSpan",
    "Dynamics",
    "Layer",
    "Line",
    "Mark",
    "MarkKind",
    "Meter",
    "Note",
    "Pin",
    "Players",
    "Row",
    "RowName",
    "Section",
    "Slot",
    "Song",
    "Source",
    "Syllable",
    "Visit",
    "parse_song",
    "played_bars",
    "read_song",
]

_LOADED_WHEN_USED = {
    "parse_song": "render.song.reader",
    "played_bars": "render.song.played",
    "read_song": "render.song.reader",
}


def __getattr__(name: str) -> Any:
    """Load a function's module when the function is first asked for."""
    if name not in _LOADED_WHEN_USED:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_LOADED_WHEN_USED[name]), name)
