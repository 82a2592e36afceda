"""The performer: from beats to seconds, from marks to levels."""

from render.perform.audible import Covered, cleared, clearing_db, covered_notes
from render.perform.model import Click, PlayedBar, Span, Take, TakeNote, TempoPoint, Timeline
from render.perform.performer import perform, played_clock
from render.perform.timeline import lay_out

__all__ = [
    "Click",
    "Covered",
    "PlayedBar",
    "Span",
    "Take",
    "TakeNote",
    "TempoPoint",
    "Timeline",
    "cleared",
    "clearing_db",
    "covered_notes",
    "lay_out",
    "perform",
    "played_clock",
]
