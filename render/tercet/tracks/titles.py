"""What tracks and their files are called."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from tercet.tracks.recipes import Recipe

__all__ = ["file_stem", "slug", "speed_name", "track_title"]


def slug(title: str) -> str:
    """Return a title as a file name that every system takes: small letters, digits and hyphens, at most 40.

    >>> slug("Die Mühle, ganz früh!")
    'die-muhle-ganz-fruh'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].rstrip("-") or "song"


def speed_name(speed: Fraction) -> str:
    """Return a speed as it stands in titles and file names: ``60`` for 60 %, empty at full speed."""
    return "" if speed == 1 else f"{float(speed * 100):g}"


def track_title(title: str, recipe: Recipe, speed: Fraction, set_title: str = "") -> str:
    """Return what a player shows: ``Harbour Lanterns (low-g, without melody, 60%)``; a ladder tells its steps."""
    speeds = [each * speed for each in recipe.steps]
    steps = " ".join(f"{float(each):.0%}" for each in speeds) if speeds != [1] else ""
    words = [set_title, recipe.name.replace("-", " "), steps]
    return f"{title} ({', '.join(filter(None, words))})"


def file_stem(recipe: Recipe, number: int, speed: Fraction) -> str:
    """Return a track's name among a kit's files, which sorts in class order: ``02-demo``, ``06-echo-60``."""
    return "-".join(filter(None, [f"{number:02}", recipe.name, speed_name(speed)]))
