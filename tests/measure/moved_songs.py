"""Whether one song file is another one moved to a different key: read by itself, apart from Tercet.

Everything but notes, chords and the key must be the same to the letter; in rows the bars may be aligned in another way.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import zip_longest

__all__ = ["unlike_moved"]

SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SIGNS = {"": 0, "#": 1, "##": 2, "b": -1, "bb": -2}
OPEN = {"high-g": "G4 C4 E4 A4", "low-g": "G3 C4 E4 A4", "baritone": "D3 G3 B3 E4"}
FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
ODD_ROOTS = {"Cb": -6, "Fb": -7, "E#": 6, "B#": 7}
"""Names of roots, and from how many flats or sharps on a key has them."""

ROW = re.compile(r"\s*(chords|melody|between)((?:\s+(?:\d+|last))*)(?=\s|$)(.*)")
NOTE = re.compile(r"([A-G])(##|#|bb|b|)(-?\d)?(:[\d./]+)?(\[\w+\])?")
POSITION = re.compile(r"s([1-4])f(\d+)(:[\d./]+)?(\[\w+\])?")
CHORD = re.compile(r"([A-G])(#|b|)([^/\[:]*(?:6/9)?)(?:/([A-G])(#|b|))?(\[[^\]]*\])?(:[\d./]+)?")
KEY = re.compile(r"key:\s*[\"']?([A-G])([#b]?)\s*(m(?!aj)\w*)?")


def unlike_moved(before: str, after: str, semitones: int) -> Iterator[str]:
    """Yield what isn't as it would be if a song had been moved so far, a sentence each; pins may be gone."""
    old, new = before.splitlines(), after.splitlines()
    if not any(line.startswith("key:") for line in old):
        new = [line for line in new if not line.startswith("key:")]
    strings = _strings(old)
    fifths = _fifths(after)
    doubles = bool(re.search(r"[A-G](##|bb)", before))
    octaves: dict[tuple[int, str, str], int] = {}
    side: tuple[str, ...]
    section = ""
    for number, (one, other) in enumerate(zip_longest(old, new, fillvalue="(no line)"), 1):
        row, moved = ROW.fullmatch(one), ROW.fullmatch(other)
        if re.fullmatch(r"  \S+: \|", one):
            section = one
        if one.startswith("key:") and other.startswith("key:"):
            continue
        if not section or row is None or moved is None:
            same = one == other or (
                bool(section) and _squeezed(one) == _squeezed(other) and one.lstrip()[:1] != "#"
            )
            if not same:
                yield f"line {number}: {one!r} became {other!r}"
            continue
        for side in zip_longest(row[3].split(), moved[3].split(), fillvalue="(nothing)"):
            if row[1] == "chords":
                wrong = _unlike_chords(*side, semitones, fifths)
            else:
                label = section + row[1] + row[2]
                pitches = [_midi(text, (at, label, ""), octaves, strings) for at, text in enumerate(side)]
                wrong = _unlike_notes(*side, pitches, semitones, doubles=doubles)
            if wrong:
                yield f"line {number}: {side[0]} became {side[1]}: {wrong}"


def _squeezed(line: str) -> str:
    return " ".join(line.rstrip().rstrip("|").split())


def _strings(lines: list[str]) -> list[int]:
    """Return the open strings, string 1 first, as MIDI numbers."""
    written = next((line.split(":", 1)[1] for line in lines if line.startswith("tuning:")), "high-g")
    baritone = any(re.match(r"instrument: baritone", line) for line in lines)
    name = (
        "baritone" if baritone and not any(line.startswith("tuning:") for line in lines) else written.strip()
    )
    names = re.findall(r"([A-G])(##|#|bb|b|)(-?\d)", OPEN.get(name, name))
    return [12 * (int(octave) + 1) + SEMITONES[letter] + SIGNS[sign] for letter, sign, octave in names][::-1]


def _fifths(text: str) -> int:
    found = re.search(KEY, text)
    if found is None:
        return 0
    return FIFTHS[found[1]] + 7 * SIGNS[found[2]] - (3 if found[3] else 0)


def _midi(
    word: str, row: tuple[int, str, str], octaves: dict[tuple[int, str, str], int], strings: list[int]
) -> int | None:
    if place := POSITION.fullmatch(word):
        return strings[int(place[1]) - 1] + int(place[2])
    note = NOTE.fullmatch(word)
    if note is None:
        return None
    if note[3]:
        octaves[row] = int(note[3])
    return 12 * (octaves[row] + 1) + SEMITONES[note[1]] + SIGNS[note[2]]


def _unlike_notes(one: str, other: str, pitches: list[int | None], semitones: int, *, doubles: bool) -> str:
    was, now = pitches
    if was is None or now is None:
        return "" if one == other else "another sign"
    if now - was != semitones:
        return f"{now - was} semitones"
    if re.search(r":[\d./]+", one + ":1")[0] != re.search(r":[\d./]+", other + ":1")[0]:  # type: ignore[index]
        return "another length"
    if "[" in other and other[other.index("[") :] not in one:
        return "another pin"
    return "a double sign" if not doubles and re.match(r"[A-G](##|bb)", other) else ""


def _unlike_chords(one: str, other: str, semitones: int, fifths: int) -> str:
    was, now = CHORD.fullmatch(one), CHORD.fullmatch(other)
    if was is None or now is None:
        return "" if one == other else "another sign"
    for letter, sign in ((1, 2), (4, 5)):
        roots = [SEMITONES[each[letter]] + SIGNS[each[sign]] if each[letter] else None for each in (was, now)]
        if roots.count(None) == 1 or (None not in roots and (roots[1] - roots[0] - semitones) % 12):  # type: ignore[operator]
            return "another root"
        written, name = (f"{each[letter]}{each[sign]}" for each in (was, now))
        least = ODD_ROOTS.get(name)
        if least and name != written and (fifths < least if least > 0 else fifths > least):
            return "a name that isn't of the key"
    return "" if (was[3], was[7]) == (now[3], now[7]) else "another kind or length"
