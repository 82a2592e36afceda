"""Songs for tests of printed music: the example songs, songs of every rule, and songs that mean harm."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from tercet.arranging import Arrangement, arrange
from tercet.publish.score.engraving import Engraving, line_svgs
from tercet.publish.svg import sign_definitions
from tercet.song import parse_song, read_song

__all__ = ["EXAMPLES", "HOSTILE", "arranged", "engraving_svg", "hostile", "six_hundred_bars", "written"]

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(
    str(path.relative_to(ROOT))
    for folder in ("songs", "tests/song/examples")
    for path in (ROOT / folder).glob("*.yaml")
)


@lru_cache(maxsize=16)
def arranged(path: str) -> Arrangement:
    """Return an example song arranged."""
    return arrange(read_song(ROOT / path))


def engraving_svg(engraving: Engraving) -> str:
    """Return all lines of music in one svg element, each as it may stand alone."""
    lines = "".join(line_svgs(engraving))
    signs = sign_definitions(engraving.signs)
    return f'<svg xmlns="http://www.w3.org/2000/svg">{signs}{lines}</svg>'


def written(body: str, **settings: str) -> Arrangement:
    """Return a song of one section, or of several where the body names them, arranged."""
    head = {
        "title": "Tin Roof",
        "key": "C major",
        "meter": "4/4",
        "tempo": "92",
        "tuning": "high-g",
    } | settings
    lines = [f"{name}: {value}" for name, value in head.items()]
    sections = body if body.lstrip().startswith("verse: |") else "verse: |\n" + _indented(body)
    return arrange(parse_song("\n".join([*lines, "sections:", _indented(sections), ""])))


def _indented(text: str) -> str:
    return "\n".join(f"  {line}" if line.strip() else "" for line in text.strip("\n").split("\n"))


TWO_BARS = """\
chords  C         | F
melody  G4 E G C5 | A4:2 F:2
words   {}
"""

SIX_HUNDRED = "\n\n".join(
    ["chords  C         | F        | G7       | C\nmelody  G4 E G C5 | A4:2 F:2 | B4 A G F | E4:4"] * 150
)


def _titled(made: Arrangement, **said: str) -> Arrangement:
    """Return a song that says of itself what no file of a reader could."""
    return replace(made, song=replace(made.song, title=said["title"], composer=said.get("composer", "")))


HOSTILE_SONGS: dict[str, Callable[[], Arrangement]] = {
    "script": lambda: _titled(
        written(TWO_BARS.format("<script>alert(1)</script> ]]> &amp; \"x' | </svg> <b>")),
        title="</title><script>alert('t')</script>",
    ),
    "long title": lambda: _titled(
        written(TWO_BARS.format("a b c d | e f")), title="Rain on tin " * 1700, composer="x" * 5000
    ),
    "right to left": lambda: written(TWO_BARS.format("שלום עולם طائر أزرق | שיר חדש"), title="שיר חדש (1)"),
    "cjk": lambda: written(TWO_BARS.format("漢字 かな 你好 안녕 | 茶 花"), title="港の灯り"),
    "long words": lambda: written(TWO_BARS.format(f"{'y' * 300} b c {'w' * 90} | {'z' * 900} f")),
    "one bar": lambda: written("chords C\nmelody G4:4"),
    "no words": lambda: written("chords C | F\nmelody G4 E G C5 | A4:2 F:2"),
    "no chords": lambda: written("chords N.C. |\nmelody G4 E G C5 | A4:2 F:2"),
    "many verses": lambda: written(
        TWO_BARS.format("a b c d | e f")
        + "\n".join(f"words {number}  v{number} b c d | e f{number}" for number in range(2, 41)),
        form="verse*40",
    ),
    "uneven": lambda: written(
        "chords  C | F\n"
        "melody  G4:1/3 A:1/3 B:1/3 C5:2/3 B4:1/3 A:1/5 G:1/5 A:1/5 G:1/5 A:1/5 .:1 | "
        "A4:1.5 F:1/4 E:1/4 F:1/3 F:2/3 .:1\n"
        "words   a b c d e f g h i j | k l m n o"
    ),
    "low": lambda: written(
        "chords G | D\nmelody D4 B3 G3 B | A3:2 G:2\nwords a b c d | e f", key="G major", tuning="baritone"
    ),
}


@lru_cache(maxsize=16)
def hostile(name: str) -> Arrangement:
    """Return a song that is hard to print, or means harm."""
    return HOSTILE_SONGS[name]()


HOSTILE = tuple(HOSTILE_SONGS)


@lru_cache(maxsize=1)
def six_hundred_bars() -> Arrangement:
    """Return the longest song of the tests."""
    return written(SIX_HUNDRED)
