"""How long songbooks of ten, fifty and a hundred songs take, and how much memory; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/songbook.py``.
"""

from __future__ import annotations

import re
import sys
import tempfile
from pathlib import Path

from measuring import ROOT, Aims, Cost, asked, counted, machine, parser_of, run, tercet
from pypdf import PdfReader

SIZES, SHORT_SIZES = (10, 50, 100), (2, 3)
MOST_SONGS_S = 90.0
"""By the clock, a hundred songs on two processors."""

MOST_GROWTH = 1.3
"""Of the largest process: a hundred songs against ten."""

KEYS = (0, 2, -2, 3, -3, 5, -4, 1, -1, 4, -5)
VOWELS = "aeiou"


def main() -> int:
    """Time the books; exit code 1 if an aim is missed."""
    given = asked(parser_of("Time songbooks of ten, fifty and a hundred songs.", 1))
    aims = Aims(judged=not given.short)
    sizes = SHORT_SIZES if given.short else SIZES
    print(machine())
    with tempfile.TemporaryDirectory() as folder:
        songs = written_songs(Path(folder), sizes[-1])
        counted("songs", len(songs))
        for number in range(given.rounds):
            costs = [_timed(songs[:size], Path(folder, f"{number}-{size}.pdf")) for size in sizes]
    aims.say(f"{sizes[-1]} songs by the clock, seconds", costs[-1].clock_s, most=MOST_SONGS_S)
    growth = costs[-1].most_bytes / max(costs[0].most_bytes, 1)
    aims.say(f"memory of the largest process, {sizes[-1]} songs to {sizes[0]}", growth, most=MOST_GROWTH)
    return aims.exit_code


def _timed(songs: list[Path], place: Path) -> Cost:
    """Time one book, see that it has all songs, and print what it took."""
    cost = run(place, *tercet("songbook", *songs, "-o", place, "--jobs", 2))
    reader = PdfReader(place)
    listed = [entry for entry in reader.outline if not isinstance(entry, list)]
    if len(listed) != len(songs) + FURNITURE:
        raise SystemExit(f"{place.name} lists {len(listed) - FURNITURE} songs of {len(songs)}")
    print(
        f"  {len(songs):3} songs, {len(reader.pages):3} pages: {cost.clock_s:6.1f} s by the clock, "
        f"{cost.worked_s:6.1f} s worked; largest process {cost.most_bytes / 1e6:.0f} MB; made: {cost.made}"
    )
    return cost


FURNITURE = 5
"""Bookmarks that aren't songs: title page, contents, how to read, shapes, first lines."""


def written_songs(folder: Path, count: int) -> list[Path]:
    """Write songs made of the examples: each in another key, with another title and other words."""
    from tercet.arranging.transposing import transpose_text

    examples = sorted((ROOT / "songs").glob("*.yaml"))
    places = []
    for number in range(count):
        turn, which = divmod(number, len(examples))
        text = examples[which].read_text("utf-8")
        text = transpose_text(text, KEYS[turn % len(KEYS)]).text
        text = re.sub(r"(?m)^title: (.*)$", rf"title: \1, number {number + 1}", text, count=1)
        text = re.sub(r"(?m)^( +words\b.*)$", lambda row, turn=turn: _other_words(row[1], turn), text)  # type: ignore[misc]
        places.append(folder / f"song-{number:04}.yaml")
        places[-1].write_text(text, encoding="utf-8")
    return places


def _other_words(row: str, turn: int) -> str:
    """Return a row of words with other vowels: as many syllables, other lines in the index."""
    name, bars = re.match(r"( +words(?: +(?:\d+|last))*)(.*)", row).groups()  # type: ignore[union-attr]
    moved = VOWELS[turn % 5 :] + VOWELS[: turn % 5]
    return str(name + bars.translate(str.maketrans(VOWELS, moved)))


if __name__ == "__main__":
    sys.exit(main())
