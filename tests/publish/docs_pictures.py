"""The pictures of docs/pictures.md, as they are drawn today."""

from __future__ import annotations

from pathlib import Path

from tercet.arranging import arrange
from tercet.publish import svg_text
from tercet.publish.pictures import FretboardMap, fretboard_picture, handout_pictures
from tercet.song import read_song
from tercet.theory import TUNINGS, parse_key

__all__ = ["pictures", "remake"]

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "docs" / "pictures"


def pictures() -> dict[Path, str]:
    """Return the text of each picture, by its file."""
    (handout,) = handout_pictures(arrange(read_song(ROOT / "songs" / "washing-up-branle.yaml")))
    a_minor = FretboardMap(parse_key("A minor"), TUNINGS["high-g"], 12, "A minor")
    return {
        FOLDER / "handout.svg": svg_text(handout),
        FOLDER / "fretboard.svg": svg_text(fretboard_picture(a_minor)),
    }


def remake() -> None:
    """Write the pictures again."""
    for path, text in pictures().items():
        path.write_text(text, encoding="utf-8", newline="\n")
