"""What a fretboard map shows, read from its SVG: which string and fret each mark lies on, and what it says."""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree as ET

__all__ = ["NeckMark", "marks_on_neck", "neck_frets"]

SVG = "{http://www.w3.org/2000/svg}"
CLASSES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11, "#": 1, "b": -1}


@dataclass(frozen=True, slots=True)
class NeckMark:
    """A mark: the string (1 on top) and fret where it lies, its name and step as written, its radius."""

    string: int
    fret: int
    name: str
    degree: str
    radius: float

    @property
    def name_class(self) -> int:
        """Semitones of the name above C."""
        return sum(CLASSES[sign] for sign in self.name) % 12


def neck_frets(svg: str) -> list[float]:
    """Return where nut and frets lie across, the nut first."""
    root = ET.fromstring(svg)
    nut = [_points(line)[0][0] for line in root.iter(f"{SVG}polyline") if line.get("class") == "nut"]
    frets = [_points(line)[0][0] for line in root.iter(f"{SVG}polyline") if line.get("class") == "fret line"]
    return nut + sorted(frets, key=lambda x: abs(x - nut[0]))


def marks_on_neck(svg: str) -> list[NeckMark]:
    """Return every mark of the neck, in the order drawn."""
    root = ET.fromstring(svg)
    frets = neck_frets(svg)
    strings = sorted(
        _points(line)[0][1] for line in root.iter(f"{SVG}polyline") if line.get("class") == "string line"
    )
    assert len(strings) == 4
    found = []
    for group in root.iter(f"{SVG}g"):
        if not group.get("class", "").startswith("note "):
            continue
        disc = group.find(f"{SVG}circle")
        assert disc is not None
        x, y = float(disc.get("cx", "")), float(disc.get("cy", ""))
        string = 1 + min(range(4), key=lambda place: abs(strings[place] - y))
        beyond = abs(x - frets[-1]) > abs(frets[0] - frets[-1])
        fret = 0 if beyond else sum(abs(line - frets[0]) < abs(x - frets[0]) for line in frets)
        texts = {text.get("class"): text.text or "" for text in group.iter(f"{SVG}text")}
        radius = float(disc.get("r", ""))
        found.append(NeckMark(string, fret, texts.get("name", ""), texts.get("degree", ""), radius))
    return found


def _points(line: ET.Element) -> list[tuple[float, float]]:
    pairs = (pair.split(",") for pair in line.get("points", "").split())
    return [(float(x), float(y)) for x, y in pairs]
