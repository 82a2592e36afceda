"""The JSON Schema of an arrangement file, which gives editors completion and a first check."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tercet.song.settings import SETTINGS, schema_of

__all__ = ["SCHEMA_FILES", "schema_path", "song_schema"]

SCHEMA_FILES = {"songs": "song.schema.json", "class files": "class.schema.json"}
"""The published schemas, beside this module, and what each is for."""


def schema_path(name: str) -> Path:
    """Return where a published schema lies on this computer."""
    return Path(__file__).with_name(name)


def song_schema() -> dict[str, Any]:
    """Return the schema, as JSON Schema draft 2020-12.

    It says which settings there are and what their values look like. The rows of a section are text to it: what
    is right in them only the reader knows.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Tercet arrangement file",
        "description": "One song: its settings, and its music in rows.",
        "type": "object",
        "properties": {setting.name: schema_of(setting) for setting in SETTINGS},
        "required": [setting.name for setting in SETTINGS if setting.required],
        "additionalProperties": False,
    }
