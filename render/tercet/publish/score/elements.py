"""What the parts of an engraved score share: how it is to look, the texts on it, and the names of its elements.

Names are made from places, so that a page or a test finds what it looks for: ``m4`` is the fifth printed bar, ``m4t2``
the third note of its tune, ``m4c1s3`` string 3 in the second column of its tab. They hold nothing that a song says.

The engraver leaves room for text by its own table of a Times-like font, and knows Latin alone. So it never sees what a
song says: it is given a *stand-in*, plain letters that are as wide in its table as the text is in the font in which it
will be set; the text takes the stand-in's place afterwards. Words in any script get the room that they need, and
nothing in them can reach the engraver.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Literal
from xml.etree.ElementTree import Element

from tercet.publish.paragraphs import shortened
from tercet.publish.pictures.looks import TEXT_SOFT
from tercet.publish.shapes import Anchor, Style, Text
from tercet.publish.typefaces import text_width_em

__all__ = ["GestureIds", "ScoreLook", "ScoreText", "TextKind", "Texts", "score_text", "stand_in"]

TextKind = Literal[
    "word", "chord", "section", "remark", "then", "bar-number", "ending", "count", "strum", "finger", "digit", "sign",
    "label",
]  # fmt: skip
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
    in_proportion
        Whether the last line of each section is left as short as it is, rather than only that of the whole piece.
    as_played
        Whether every playing of a section is engraved by itself, with its own words and without repeat signs.
    """

    tune: bool = True
    width: int = 1900
    in_proportion: bool = False
    as_played: bool = False


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


SOFT_KINDS: frozenset[TextKind] = frozenset({"bar-number", "label", "finger"})
"""Texts that only help, in softer ink."""


def score_text(
    kind: TextKind,
    x: float,
    y: float,
    size: float,
    text: str,
    style: Style = "plain",
    anchor: Anchor = "start",
) -> Text:
    """Return a text of the score as it is drawn."""
    return Text(x, y, text, size, TEXT_SOFT if kind in SOFT_KINDS else "", anchor, style, kind)


# ---- stand-ins


_CAPITAL_EM, _LETTER_EM, _DOT_EM = 0.722, 0.5, 0.25
"""Advances of H, p and the full stop in Times, in ems (Adobe's metrics of Times-Roman: 722, 500 and 250)."""

MOST_EM = 400.0
"""Room for one text at most; what is longer is shortened before it gets here."""


def stand_in(width_em: float, *, capital: bool = False) -> str:
    """Return letters that take at least `width_em` ems of room, at most a quarter of an em more.

    With `capital` they are as high as a capital, too.
    """
    left = min(max(width_em, _LETTER_EM), MOST_EM)
    text = ""
    if capital or left >= _CAPITAL_EM:
        text, left = "H", left - _CAPITAL_EM
    letters = max(int(left / _LETTER_EM), 0)
    left -= letters * _LETTER_EM
    dots = max(int(left / _DOT_EM + 0.999), 0)
    return text + "p" * letters + "." * dots
