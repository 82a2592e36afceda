"""The words of an arrangement file, for editors that offer them, each with what it means: from its own tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tercet.song.model import ROW_NAMES, RowName
from tercet.song.settings import SETTINGS
from tercet.theory import DYNAMIC_MARKS, STRUM_SIGNS, Key
from tercet.theory.key_chords import chords_of

__all__ = [
    "KEY_NAMES",
    "METER_NAMES",
    "Word",
    "chord_words",
    "mark_words",
    "row_words",
    "setting_words",
    "strum_words",
]

KEY_NAMES = tuple(
    f"{tonic} {mode}"
    for mode, tonics in (
        ("major", ("C", "G", "F", "D", "Bb", "A", "Eb", "E", "Ab", "B", "Db", "F#")),
        ("minor", ("A", "D", "E", "G", "C", "B", "F#", "F", "C#", "G#", "Eb", "Bb")),
    )
    for tonic in tonics
)
"""The keys to choose from, those that ukulele songs have most first."""

METER_NAMES = ("4/4", "3/4", "2/4", "6/8", "2/2", "9/8", "12/8", "5/4", "7/8", "3/8")

_ROWS: dict[RowName, str] = {
    "chords": "one or more for each bar, C:3 G7:1",
    "melody": "the tune: pitch and length, C5:2 E",
    "between": "single notes between those of the tune",
    "strum": "d down, u up, x chop, . nothing",
    "words": "a syllable for each note",
    "marks": "how loud, how slow: p@3 rit@1",
}

_MARKS = {
    **dict.fromkeys(DYNAMIC_MARKS, "how loud, from here"),
    "louder": "grows until the next mark",
    "softer": "fades until the next mark",
    "rit": "slower and slower",
    "a-tempo": "as quick as before",
    "fermata": "held",
    "accent": "one stroke stands out",
    ",": "a breath: a phrase ends",
}


@dataclass(frozen=True, slots=True)
class Word:
    """A word that may be written: its `name`, what it is `about`, and for a setting the `values` it is chosen from."""

    name: str
    about: str
    values: tuple[str, ...] = ()


def setting_words() -> tuple[Word, ...]:
    """Return the settings in the order of the table."""
    values = {"key": KEY_NAMES, "meter": METER_NAMES}
    return tuple(
        Word(setting.name, setting.about, values.get(setting.name) or _choices(setting.schema))
        for setting in SETTINGS
    )


def row_words() -> tuple[Word, ...]:
    """Return the rows."""
    return tuple(Word(name, _ROWS[name]) for name in ROW_NAMES)


def chord_words(key: Key) -> tuple[Word, ...]:
    """Return the chords that songs in a key use, and ``N.C.``."""
    return (*(Word(str(chord), f"of {key}") for chord in chords_of(key)), Word("N.C.", "no chord"))


def mark_words() -> tuple[Word, ...]:
    """Return the marks."""
    return tuple(Word(name, about) for name, about in _MARKS.items())


def strum_words() -> tuple[Word, ...]:
    """Return the signs of strums."""
    return tuple(Word(sign.sign, sign.about) for sign in STRUM_SIGNS.values())


def _choices(schema: Any) -> tuple[str, ...]:
    """Return the words that a schema lets a value be chosen from; none where it is free."""
    if "enum" in schema:
        return tuple(map(str, schema["enum"]))
    return tuple(choice for part in schema.get("anyOf", ()) for choice in _choices(part))
