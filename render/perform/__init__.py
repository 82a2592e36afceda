"""The performer: from beats to seconds, from marks to levels."""

from render.perform.model import Click, PlayedBar, Span, Take, TakeNote, TempoPoint, Timeline
from render.perform.performer import perform
from render.perform.timeline import lay_out

__all__ = [
    "Click",
    "PlayedBar",
    "Span",
    "Take",
    "TakeNote",
    "TempoPoint",
    "Timeline",
    "lay_out",
    "perform",
]
