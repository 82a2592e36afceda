"""What the parts of an engraved score share: how it is to look, the texts on it, and the names of its elements.

Names are made from places, so that a page or a test finds what it looks for: ``m4`` is the fifth printed bar, ``m4t2``
the third note of its tune, ``m4c1s3`` string 3 in the second column of its tab. They hold nothing that a song says.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal
from xml.etree.ElementTree import Element, SubElement

from tercet.publish.letters import Style, text_width_em
from tercet.publish.paragraphs import shortened
from tercet.publish.score.note_values import Value, odd_part, ratio_of, values_of
from tercet.publish.score.stand_ins import stand_in

__all__ = ["GestureIds", "ScoreLook", "ScoreText", "TextKind", "Texts", "add_filler", "set_value"]

TextKind = Literal[
    "word",
    "chord",
    "section",
    "remark",
    "then",
    "bar-number",
    "ending",
    "count",
    "strum",
    "finger",
    "digit",
    "sign",
    "label",
]
"""What a text on the score is."""

_STYLES: dict[str, Style] = {
    "chord": "bold", "section": "bold", "ending": "bold", "remark": "italic", "then": "italic", "strum": "bold",
}  # fmt: skip


_MOST_EM: dict[TextKind, float] = defaultdict(lambda: 24.0, {"chord": 9.0, "word": 14.0})
"""Room for one text, in ems: what is longer is cut short, or it would push all else from the page."""


@dataclass(frozen=True, slots=True)
class ScoreLook:
    """What is engraved.

    Parameters
    ----------
    tune
        Whether there is a staff of the tune, with dynamics, and a strip under the tab that tells strums, counting and
        fingers. Without it there are the tab and the words.
    width
        Width of a line of music in the engraver's units; a space between staff lines is 18 of them.
    """

    tune: bool = True
    width: int = 1900


@dataclass(frozen=True, slots=True)
class ScoreText:
    """A text on the score.

    Parameters
    ----------
    kind, text
        What it is and what it says.
    style
        The weight or slant it is set in.
    label
        What stands before it where it begins a line of music, such as the passes of a verse; before a sign of the tab,
        the fret that it belongs to.
    """

    kind: TextKind
    text: str
    style: Style = "plain"
    label: str = ""


@dataclass(frozen=True, slots=True)
class GestureIds:
    """Names of the elements that show one gesture.

    Parameters
    ----------
    bar
        The printed bar.
    column
        Its column of the tab; empty where it has no digits (a chop).
    strings
        Its digits in the tab, in the order struck, one for each of the gesture's notes.
    note
        Its note on the staff of the tune; empty for strums and for notes that only the tab has.
    word
        The syllable sung to it, or empty.
    strum
        Its sign in the strip, or empty.
    """

    bar: str
    column: str
    strings: tuple[str, ...]
    note: str = ""
    word: str = ""
    strum: str = ""


@dataclass(slots=True)
class Texts:
    """The texts of a score by the names of their elements, as they are added."""

    found: dict[str, ScoreText] = field(default_factory=dict)

    def put(self, element: Element, name: str, kind: TextKind, text: str, label: str = "") -> Element:
        """Give an element its name and a stand-in for its text, and remember the text."""
        style = _STYLES.get(kind, "plain")
        text = shortened(text, _MOST_EM[kind], style)
        element.set("xml:id", name)
        element.text = stand_in(text_width_em(text, style), capital=kind in ("chord", "section", "remark"))
        self.found[name] = ScoreText(kind, text, style, label)
        return element


STRIP_ROWS: tuple[TextKind, ...] = ("strum", "count", "finger", "bar-number")
"""Rows of the strip under the tab, from the top."""


def set_value(element: Element, value: Value) -> Element:
    """Give an element its length."""
    element.set("dur", str(value.fraction))
    if value.dots:
        element.set("dots", str(value.dots))
    return element


def add_filler(layer: Element, whole: Fraction) -> None:
    """Add empty space of an exact length, in whole notes."""
    parent, nominal = timed(layer, whole)
    for value in values_of(nominal):
        set_value(SubElement(parent, "space"), value)


def timed(layer: Element, whole: Fraction) -> tuple[Element, Fraction]:
    """Return where to put values of an exact length, and their length there: in an unseen tuplet if it needs one."""
    odd = odd_part(whole)
    if odd == 1:
        return layer, whole
    ratio = ratio_of(odd)
    unseen = {"num.visible": "false", "bracket.visible": "false"}
    tuplet = SubElement(layer, "tuplet", {"num": str(ratio.actual), "numbase": str(ratio.normal), **unseen})
    return tuplet, whole * ratio.actual / ratio.normal
