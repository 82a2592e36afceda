"""The JSON Schema: it is one, every song fits it, and it says what the table of settings says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML

from tercet.song import Song, parse_song, song_schema, write_song
from tercet.song.settings import SETTINGS
from tests.remake_goldens import SCHEMA as SCHEMA_FILE
from tests.remake_goldens import schema_text
from tests.song.test_properties import EXAMPLES

SCHEMA = song_schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
LEAST: dict[str, Any] = {"title": "One", "sections": {"verse": "chords C\n"}}


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_the_published_file_is_this_schema() -> None:
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema_text()


def test_it_agrees_with_the_table() -> None:
    assert list(SCHEMA["properties"]) == [setting.name for setting in SETTINGS]
    assert SCHEMA["required"] == ["title", "sections"]
    assert SCHEMA["additionalProperties"] is False
    for setting in SETTINGS:
        entry = SCHEMA["properties"][setting.name]
        assert entry["description"] == setting.about
        assert setting.about.endswith(".")


def test_every_setting_writes_what_it_reads() -> None:
    path = next(path for path in EXAMPLES if path.stem == "every-rule")
    song = parse_song(path.read_text(encoding="utf-8"))
    for setting in SETTINGS:
        if setting.name not in ("form", "sections"):
            value = setting.write(song)
            written = f"{setting.name}:{value}" if setting.name == "tracks" else f"{setting.name}: {value}"
            assert f"\n{written}\n" in "\n" + write_song(song)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_songs_fit(path: Path) -> None:
    VALIDATOR.validate(YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("tempo", 92),
        ("tempo", "277/3"),
        ("instrument", "tenor"),
        ("instrument", 402.5),
        ("tuning", ["A4", "D4", "F#4", "B4"]),
        ("dynamics", {"strums": "pp"}),
        ("between", "fill"),
        ("swing", "2/3"),
        ("form", ["a", "b"]),
        ("meter", "12/8"),
        ("key", "Bb minor"),
        ("tracks", {"a": {"yours": "open", "guide": "tune"}, "b-2": {"way": "ladder", "speed": "60% 80%"}}),
        ("tracks", {"a": {"way": "turns", "by": "bar", "swap": "yes", "bars": 3, "speed": ["60%", 0.8]}}),
    ],
)
def test_what_fits(name: str, value: Any) -> None:
    VALIDATOR.validate({**LEAST, name: value})


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("title", ""),
        ("tempo", 900),
        ("instrument", "piccolo"),
        ("tuning", ["A4", "D4"]),
        ("tuning", ["A4", "D4", "F4", "H4"]),
        ("dynamics", {"tune": "f"}),
        ("dynamics", {"melody": "loud"}),
        ("swing", 1),
        ("meter", "3/5"),
        ("key", "H moll"),
        ("count-in", 1.5),
        ("sections", {}),
        ("sections", {"1st": "chords C"}),
        ("players", "expert"),
        ("between", "full"),
        ("strum", "d q u"),
        ("colour", "blue"),
        ("tracks", {"Open Strings": {"yours": "open"}}),
        ("tracks", {"a": {}}),
        ("tracks", {"a": "open"}),
        ("tracks", {"a": {"way": "wander"}}),
        ("tracks", {"a": {"yours": "open", "colour": "blue"}}),
        ("tracks", {"a": {"way": "loop", "times": 0}}),
        ("tracks", {"a": {"way": "loop", "speed": "fast"}}),
    ],
)
def test_what_does_not_fit(name: str, value: Any) -> None:
    with pytest.raises(jsonschema.ValidationError):
        VALIDATOR.validate({**LEAST, name: value})


def test_defaults_are_those_of_the_model() -> None:
    song = parse_song("title: One\nsections:\n  verse: |\n    chords C\n")
    assert song == Song("One", song.sections, song.form)
