"""What a class page hears a student's recording with: the method as a script, and of each set the strokes wanted.

Both come only when they are asked for: the script as a file of its own, or packed in a page that is one file; the
strokes packed among the facts.
"""

from __future__ import annotations

import base64
import gzip
import json
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from tercet.arranging import Arrangement
from tercet.errors import RequestError
from tercet.hearing.figures import hearing_figures
from tercet.hearing.spectra import RATE_HZ
from tercet.hearing.verdicts import HIGHEST_KEY, LOWEST_KEY
from tercet.hearing.wanted import WantedStroke, WantedTake, wanted_take
from tercet.publish.page.markup import data_for_page, lean_text
from tercet.publish.pictures import looks
from tercet.publish.pictures.take_rows import PictureRow, picture_rows
from tercet.song import LAYERS
from tercet.theory import spell

__all__ = ["hearing_script", "microphone_script", "packed_text", "wanted_facts"]


@cache
def hearing_script() -> str:
    """Return the script that hears: the method's figures, then its parts in the order of their numbers."""
    folder = files(__package__).joinpath("lean/hearing")
    parts = sorted(path.name for path in folder.iterdir() if path.name.endswith(".js"))
    return _script({"figures": hearing_figures(), "looks": _looks()}, parts)


@cache
def microphone_script() -> str:
    """Return the part of the script that records, which the desk has too."""
    return _script({"figures": {"spectra": {"RATE_HZ": RATE_HZ}}}, ["1-numbers.js", "a-microphone.js"])


def _script(facts: Mapping[str, Any], parts: Sequence[str]) -> str:
    begin = f'"use strict";window.TercetHearing={data_for_page(facts)};'
    return begin + "".join(lean_text(f"hearing/{name}") for name in parts)


def _looks() -> dict[str, Any]:
    """Return what the picture of what was heard is drawn with."""
    return {
        "layers": {layer: {"colour": look.colour, "head": look.head} for layer, look in looks.LOOKS.items()},
        "paper": looks.PAPER,
        "text": looks.TEXT,
        "soft": looks.TEXT_SOFT,
        "faint": looks.FAINT,
        "radius": {
            "mf": looks.RADIUS_MF,
            "doubled": looks.DOUBLED_DB,
            "least": looks.SMALLEST,
            "most": looks.LARGEST,
        },
        "ink": {"least": looks.LIGHTEST, "light": looks.LIGHT_DB, "heavy": looks.HEAVY_DB},
    }


def packed_text(text: str) -> str:
    """Return text as base64 of gzip (RFC 1952), which browsers unpack."""
    return base64.b64encode(gzip.compress(text.encode("utf-8"), 9, mtime=0)).decode("ascii")


def wanted_facts(arrangement: Arrangement) -> str:
    """Return what a recording of an arrangement is held against, packed; empty where too little is played."""
    try:
        facts = _facts(wanted_take(arrangement, frozenset(LAYERS)), arrangement)
    except RequestError:
        return ""
    return packed_text(json.dumps(facts, ensure_ascii=False, separators=(",", ":")))


def _facts(wanted: WantedTake, arrangement: Arrangement) -> Mapping[str, Any]:
    key = arrangement.song.key
    return {
        "pulse": wanted.pulse_s,
        "strokes": [_stroke(stroke) for stroke in wanted.strokes],
        "names": [str(spell(midi, key)) for midi in range(LOWEST_KEY, HIGHEST_KEY + 1)],
        "bars": [[bar.number, bar.section, bar.section_bar] for bar in arrangement.bars],
        "rows": [_row(row) for row in picture_rows(wanted.take, arrangement)],
    }


def _row(row: PictureRow) -> dict[str, Any]:
    bars = [[bar.number, _fine(bar.start_s)] for bar in row.played]
    return {"start": _fine(row.start_s), "end": _fine(row.end_s), "bars": bars}


def _stroke(stroke: WantedStroke) -> list[Any]:
    """Return a stroke as a row: onset, layer, action, bar, tune, the next string's key, and four figures a string."""
    strings = [[s.string, s.midi, _fine(s.delay_s), _fine(s.level_db)] for s in stroke.strings]
    head = [_fine(stroke.onset_s), stroke.layer, stroke.action, stroke.bar_number, int(stroke.tune)]
    return [*head, stroke.next_midi, *(figure for string in strings for figure in string)]


def _fine(figure: float) -> float:
    """Return seconds or dB to the millionth: what is heard is told far less finely."""
    return round(float(figure), 6)
