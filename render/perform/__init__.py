"""The performer: from beats to seconds, from marks to levels."""

from render.perform.audible import Covered, cleared, clearing_db, covered_notes
from render.perform.model import Click, PlayedBar, Span, Take, TakeNote, TempoPoint, Timeline
from render.perform.performer import Interpretation, interpret, perform
from render.perform.timeline import lay_out

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
