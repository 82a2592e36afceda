"""The performer: from beats to seconds, from marks to levels."""

from render.perform.model import Click, PlayedBar, Span, Take, TakeNote, TempoPoint, Timeline
from render.perform.performer import lay_out, perform

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
