"""Remake the golden files that tests compare with: ``python tests/remake_goldens.py``, then read the difference.

A golden is what Tercet says today. Whether that is right, a person decides by reading it.
"""

from __future__ import annotations

import json
import re
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
MALFORMED = ROOT / "tests" / "song" / "malformed"
SLIPS = ROOT / "tests" / "song" / "slips"
FORMAT_PAGE = ROOT / "docs" / "format.md"
SCHEMA = ROOT / "render" / "tercet" / "song" / "song.schema.json"
CLASS_SCHEMA = ROOT / "render" / "tercet" / "song" / "class.schema.json"

_FENCED = re.compile(
    r"^```(?P<kind>yaml wrong|yaml class|yaml|music|text)(?P<more>[^\n]*)\n(?P<text>.*?)^```$",
    re.MULTILINE | re.DOTALL,
)


@dataclass(frozen=True)
class Example:
    """One fenced example of the format page: its kind, what else its first line says, its text, its line."""

    kind: str
    more: str
    text: str
    line: int

    @property
    def song(self) -> str:
        """The example as a whole file; rows alone get the meter and number of passes that the fence says."""
        if self.kind != "music":
            return self.text
        meter, times = re.fullmatch(r" (\d+/\d+)(?: x(\d))?", self.more).groups()  # type: ignore[union-attr]
        rows = "".join(f"    {line}\n" if line else "\n" for line in self.text.splitlines())
        return f"title: Rows\nmeter: {meter}\nform: verse*{times or 1}\nsections:\n  verse: |\n{rows}"


def examples_of(page: str) -> list[Example]:
    """Return the examples of a page in order."""
    return [
        Example(match["kind"], match["more"], match["text"], page[: match.start()].count("\n") + 1)
        for match in _FENCED.finditer(page)
    ]


def message_of(path: Path) -> str:
    """Return what Tercet says about a malformed arrangement file, or a class file."""
    from tercet.errors import SongError
    from tercet.song import read_class, read_song

    try:
        (read_class if path.name.startswith("class-") else read_song)(path)
    except SongError as error:
        return str(error).replace(str(path), path.name) + "\n"
    return "no mistake was found\n"


def message_of_text(text: str, file: str = "song.yaml") -> str:
    """Return what Tercet says about the text of a malformed arrangement file."""
    from tercet.errors import SongError
    from tercet.song import parse_song

    try:
        parse_song(text, file)
    except SongError as error:
        return f"{error}\n"
    return "no mistake was found\n"


def page_with_messages(page: str) -> str:
    """Return the format page with today's message below each example that is wrong."""
    wrong: list[str] = []

    def renewed(match: re.Match[str]) -> str:
        if match["kind"] == "yaml wrong":
            wrong.append(match["text"])
        elif match["kind"] == "text" and wrong:
            return f"```text\n{message_of_text(wrong.pop())}```"
        return match[0]

    return _FENCED.sub(renewed, page)


def schema_text() -> str:
    """Return the published schema of arrangement files."""
    from tercet.song import song_schema

    return json.dumps(song_schema(), indent=2, ensure_ascii=False) + "\n"


def class_schema_text() -> str:
    """Return the published schema of class files."""
    from tercet.song import class_schema

    return json.dumps(class_schema(), indent=2, ensure_ascii=False) + "\n"


def main() -> None:
    """Write every golden: messages, those on the format page, the schemas, the played bars, the pictures."""
    from tests.performing import golden
    from tests.publish import docs_pictures

    page = FORMAT_PAGE.read_text(encoding="utf-8")
    FORMAT_PAGE.write_text(page_with_messages(page), encoding="utf-8", newline="\n")
    SCHEMA.write_text(schema_text(), encoding="utf-8", newline="\n")
    CLASS_SCHEMA.write_text(class_schema_text(), encoding="utf-8", newline="\n")
    golden.remake()
    docs_pictures.remake()
    for path in sorted((*MALFORMED.glob("*.yaml"), *SLIPS.glob("*.yaml"))):
        path.with_suffix(".txt").write_text(message_of(path), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
