"""Where every output says that a note is played, read from the output alone: string, fret, and the sign beside it.

A place is (string, fret, sign); the fret is None where only a sign stands. Places of one moment are a *column*.
"""

from __future__ import annotations

import re
from collections import defaultdict
from io import BytesIO
from xml.etree import ElementTree as ET

import mido

from tests.measure.handouts import rows_of

__all__ = [
    "Column",
    "keys_of_midi",
    "of_engraving",
    "of_handout",
    "of_musicxml",
    "of_spoken",
    "of_text_tab",
    "staff_of_musicxml",
]

Place = tuple[int, int | None, str]
Column = frozenset[Place]

SVG = "{http://www.w3.org/2000/svg}"
CELL = re.compile(r"(\d*)([*†]*)")
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def _place(string: int, text: str) -> Place:
    digits, sign = CELL.fullmatch(text).groups()  # type: ignore[union-attr]
    return string, int(digits) if digits else None, sign


def of_text_tab(text: str) -> list[Column]:
    """Return the columns of a plain-text tab in reading order; strums, which have no frets there, aren't among them."""
    found = []
    lines = text.splitlines()
    for top in range(len(lines) - 3):
        rows = lines[top : top + 4]
        if not all(re.fullmatch(r"[A-G][#b]* *\|.*\|", row) for row in rows):
            continue
        columns: dict[int, set[Place]] = defaultdict(set)
        for string, row in enumerate(rows, 1):
            for cell in re.finditer(r"[\d*†]+", row):
                columns[cell.start()].add(_place(string, cell[0]))
        found += [frozenset(columns[at]) for at in sorted(columns)]
    return found


def of_engraving(svg: str) -> dict[str, list[Column]]:
    """Return the columns of each printed bar of an engraving, strums too, by the names of the bars."""
    columns: dict[tuple[str, int], set[Place]] = defaultdict(set)
    for group in ET.fromstring(svg).iter(f"{SVG}g"):
        name = re.fullmatch(r"(?:[wn]-)?(m\d+)c(\d+)s([1-4])", group.get("id", ""))
        if name:
            words = {text.get("class"): text.text or "" for text in group.iter(f"{SVG}text")}
            shown = words.get("digit", "") + words.get("sign", "")
            columns[name[1], int(name[2])].add(_place(int(name[3]), shown))
    bars: dict[str, list[Column]] = defaultdict(list)
    for bar, at in sorted(columns):
        bars[bar].append(frozenset(columns[bar, at]))
    return dict(bars)


def of_handout(svg: str) -> list[Place]:
    """Return the places of a handout that have digits or signs, in no order; strums have neither."""
    rows = rows_of(svg)
    found = []
    for group in ET.fromstring(svg).iter(f"{SVG}g"):
        if not group.get("class", "").startswith("stroke "):
            continue
        words: dict[int, dict[str, str]] = defaultdict(dict)
        for text in group.iter(f"{SVG}text"):
            y = float(text.get("y", "0")) - 0.357 * float(text.get("font-size", "0"))
            lines = min(rows, key=lambda lines: min(abs(line - y) for line in lines))
            string = min(range(4), key=lambda line: abs(lines[line] - y)) + 1
            words[string][text.get("class", "")] = text.text or ""
        found += [
            _place(string, shown.get("fret", "") + shown.get("sign", "")) for string, shown in words.items()
        ]
    return found


def of_spoken(bars: list[str]) -> list[tuple[int, int]]:
    """Return (string, fret) of every string that the page reads aloud, in order; a note on no string has none."""
    return [(int(string), int(fret)) for bar in bars for string, fret in re.findall(r"(\d) fret (\d+)", bar)]


def _goes_on(note: ET.Element) -> bool:
    return any(tie.get("type") == "stop" for tie in note.findall("tie"))


def _key(note: ET.Element) -> int:
    pitch = note.find("pitch")
    assert pitch is not None
    step, octave = pitch.findtext("step") or "", int(pitch.findtext("octave") or 0)
    return 12 * (octave + 1) + STEPS[step] + int(pitch.findtext("alter") or 0)


def of_musicxml(data: bytes) -> list[tuple[int, Place | None]]:
    """Return the pitch of every note of the tab part, in order, and its place, None where that isn't said."""
    part = ET.fromstring(data).findall("part")[1]
    found: list[tuple[int, Place | None]] = []
    for note in part.iter("note"):
        if note.find("pitch") is None or _goes_on(note):
            continue
        technical = note.find("notations/technical")
        string, fret, sign = (
            technical.findtext(name) if technical is not None else None
            for name in ("string", "fret", "other-technical")
        )
        place = (int(string), int(fret), sign or "") if string is not None and fret is not None else None
        found.append((_key(note), place))
    return found


def staff_of_musicxml(data: bytes) -> list[int]:
    """Return the pitches that are struck on the staff of the tune, in order."""
    part = ET.fromstring(data).findall("part")[0]
    return [_key(note) for note in part.iter("note") if note.find("pitch") is not None and not _goes_on(note)]


def keys_of_midi(data: bytes) -> list[int]:
    """Return the keys that are struck in a MIDI file but on the drum channel, in rising order."""
    file = mido.MidiFile(file=BytesIO(data))
    return sorted(
        message.note
        for track in file.tracks
        for message in track
        if message.type == "note_on" and message.velocity and message.channel != 9
    )
