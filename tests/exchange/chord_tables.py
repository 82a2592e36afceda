"""Chord names with their tones, from tables in the tests of pychord and music21, read where they are installed.

pychord's tests lie in its source only, which the set-up fetches; music21's test goes through the table of kinds in its
module `harmony`, whose flats are written ``-``.
"""

from __future__ import annotations

import ast
import sys
import tarfile
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

__all__ = ["music21_names", "pychord_names", "pychord_source"]

_STEPS = (0, 2, 4, 5, 7, 9, 11)
_ROOTS = {
    f"{letter}{sign}": (step + alter) % 12
    for letter, step in zip("CDEFGAB", _STEPS, strict=True)
    for sign, alter in (("", 0), ("b", -1), ("#", 1))
}


def pychord_source() -> Path:
    """Return where the set-up keeps pychord's source."""
    return Path(sys.prefix) / "sources" / f"pychord-{metadata.version('pychord')}.tar.gz"


def pychord_names() -> Iterator[tuple[str, set[int]]]:
    """Yield the names and tones of ``test_chord_components``."""
    with tarfile.open(pychord_source()) as archive:
        name = next(name for name in archive.getnames() if name.endswith("test/test_component.py"))
        member = archive.extractfile(name)
        assert member is not None
        tree = ast.parse(member.read())
    test = next(
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name == "test_chord_components"
    )
    table = next(node for node in ast.walk(test) if isinstance(node, ast.For)).iter
    for chord, keys, _ in ast.literal_eval(table):
        yield chord, {key % 12 for key in keys}


def music21_names() -> Iterator[tuple[str, set[int]]]:
    """Yield every kind in every spelling on every root, as ``testALLChordKinds`` goes through them."""
    from music21.harmony import CHORD_TYPES

    for degrees, spellings in CHORD_TYPES.values():
        intervals = {_semitones(degree) for degree in degrees.split(",")}
        for spelling in spellings:
            for root, tone in _ROOTS.items():
                yield root + spelling, {(tone + interval) % 12 for interval in intervals}


def _semitones(degree: str) -> int:
    """Return a degree such as ``-7`` or ``#11`` in semitones above the root."""
    number = int(degree.strip("#-")) - 1
    return _STEPS[number % 7] + 12 * (number // 7) + degree.count("#") - degree.count("-")
