"""The arrangement file: what is written, in beats.

The types load at once and weigh little; reading and writing load their libraries when first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from tercet.song.model import (
    LAYERS,
    LEAD_INS,
    ROW_NAMES,
    SECOND,
    TAG,
    Bar,
    BetweenNotes,
    ChordSpan,
    Dynamics,
    Feel,
    LastRitard,
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
    SecondVoice,
    Section,
    SectionStyle,
    Slot,
    Song,
    Source,
    Style,
    Syllable,
    TrackPlace,
    Turn,
    Visit,
)

if TYPE_CHECKING:
    from tercet.song.bar_choice import bar_indices
    from tercet.song.class_file import ClassFile, class_schema, parse_class, read_class, read_class_beside
    from tercet.song.played import played_bars
    from tercet.song.reader import parse_song, read_song
    from tercet.song.settings import song_schema
    from tercet.song.transpose import drop_pins, drop_pins_at, move_to, transpose_song
    from tercet.song.visits import Measure, PlayedVisit, played_visits
    from tercet.song.writer import tidy_text, write_song

__all__ = [
    "LAYERS",
    "LEAD_INS",
    "ROW_NAMES",
    "SECOND",
    "TAG",
    "Bar",
    "BetweenNotes",
    "ChordSpan",
    "ClassFile",
    "Dynamics",
    "Feel",
    "LastRitard",
    "Layer",
    "Line",
    "Mark",
    "MarkKind",
    "Measure",
    "Meter",
    "Note",
    "OwnTrack",
    "Pin",
    "PlayedVisit",
    "Players",
    "Row",
    "RowName",
    "SecondVoice",
    "Section",
    "SectionStyle",
    "Slot",
    "Song",
    "Source",
    "Style",
    "Syllable",
    "TrackPlace",
    "Turn",
    "Visit",
    "bar_indices",
    "class_schema",
    "drop_pins",
    "drop_pins_at",
    "move_to",
    "parse_class",
    "parse_song",
    "played_bars",
    "played_visits",
    "read_class",
    "read_class_beside",
    "read_song",
    "song_schema",
    "tidy_text",
    "transpose_song",
    "write_song",
]

_LOADED_WHEN_USED = {
    "ClassFile": "tercet.song.class_file",
    "Measure": "tercet.song.visits",
    "PlayedVisit": "tercet.song.visits",
    "bar_indices": "tercet.song.bar_choice",
    "class_schema": "tercet.song.class_file",
    "drop_pins": "tercet.song.transpose",
    "drop_pins_at": "tercet.song.transpose",
    "move_to": "tercet.song.transpose",
    "parse_class": "tercet.song.class_file",
    "parse_song": "tercet.song.reader",
    "played_bars": "tercet.song.played",
    "played_visits": "tercet.song.visits",
    "read_class": "tercet.song.class_file",
    "read_class_beside": "tercet.song.class_file",
    "read_song": "tercet.song.reader",
    "song_schema": "tercet.song.settings",
    "tidy_text": "tercet.song.writer",
    "transpose_song": "tercet.song.transpose",
    "write_song": "tercet.song.writer",
}


def __getattr__(name: str) -> Any:
    """Load a function's module when the function is first asked for."""
    if name not in _LOADED_WHEN_USED:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_LOADED_WHEN_USED[name]), name)
