"""The performer: from beats to seconds, from marks to levels."""

from tercet.perform.audible import Covered, cleared, clearing_db, covered_notes
from tercet.perform.model import Click, PlayedBar, Span, Take, TakeNote, TempoPoint, Timeline
from tercet.perform.performer import Interpretation, interpret, perform
from tercet.perform.timeline import lay_out

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
