"""The performer: from beats to seconds, from marks to levels."""

from tercet.performing.audible import Covered, cleared, clearing_db, covered_notes
from tercet.performing.model import Click, PlayedBar, Span, Take, TakeNote, TempoPoint, Timeline
from tercet.performing.performer import Interpretation, interpret, perform
from tercet.performing.timeline import lay_out

__all__ = [
    "Click",
    "Covered",
    "Interpretation",
    "PlayedBar",
    "Span",
    "Take",
    "TakeNote",
    "TempoPoint",
    "Timeline",
    "cleared",
    "clearing_db",
    "covered_notes",
    "interpret",
    "lay_out",
    "perform",
]
