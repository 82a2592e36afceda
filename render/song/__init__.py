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
    BetweenNotes,
    ChordSpan,
    Dynamics,
    Feel,
    Layer,
    Line,
    Mark,
    MarkKind,
    Meter,
    Note,
    OwnTrack,
    Pin,
    Players,
    Row,
    RowName,
    Section,
    Slot,
    Song,
    Source,
    Syllable,
    TrackPlace,
    Turn,
    Visit,
    Way,
)

if TYPE_CHECKING:
    from render.song.bar_choice import bar_indices
    from render.song.class_file import ClassFile, class_schema, parse_class, read_class, read_class_beside
    from render.song.played import played_bars
    from render.song.reader import parse_song, read_song
    from render.song.schema import song_schema
    from render.song.transpose import drop_pins, transpose_song
    from render.song.writer import tidy_text, write_song

__all__ = [
    "LAYERS",
    "ROW_NAMES",
    "Bar",
    "BetweenNotes",
    "ChordSpan",
    "ClassFile",
    "Dynamics",
    "Feel",
    "Layer",
    "Line",
    "Mark",
    "MarkKind",
    "Meter",
    "Note",
    "OwnTrack",
    "Pin",
    "Players",
    "Row",
    "RowName",
    "Section",
    "Slot",
    "Song",
    "Source",
    "Syllable",
    "TrackPlace",
    "Turn",
    "Visit",
    "Way",
    "bar_indices",
    "class_schema",
    "drop_pins",
    "parse_class",
    "parse_song",
    "played_bars",
    "read_class",
    "read_class_beside",
    "read_song",
    "song_schema",
    "tidy_text",
    "transpose_song",
    "write_song",
]

_LOADED_WHEN_USED = {
    "ClassFile": "render.song.class_file",
    "bar_indices": "render.song.bar_choice",
    "class_schema": "render.song.class_file",
    "drop_pins": "render.song.transpose",
    "parse_class": "render.song.class_file",
    "parse_song": "render.song.reader",
    "played_bars": "render.song.played",
    "read_class": "render.song.class_file",
    "read_class_beside": "render.song.class_file",
    "read_song": "render.song.reader",
    "song_schema": "render.song.schema",
    "tidy_text": "render.song.writer",
    "transpose_song": "render.song.transpose",
    "write_song": "render.song.writer",
}


def __getattr__(name: str) -> Any:
    """Load a function's module when the function is first asked for."""
    if name not in _LOADED_WHEN_USED:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_LOADED_WHEN_USED[name]), name)
