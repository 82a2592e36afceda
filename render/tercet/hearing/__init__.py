"""Hearing: what a recording tells, held against the take that was wanted, and what to practise next."""

from tercet.hearing.advice import advise
from tercet.hearing.listener import hear
from tercet.hearing.model import (
    Advice,
    BarTempo,
    Front,
    Heard,
    HeardString,
    HeardStroke,
    HearingOptions,
    Pause,
    Repeat,
    StringTuning,
)
from tercet.hearing.recordings import Recording, read_recording, recording_of_bytes

__all__ = [
    "Advice",
    "BarTempo",
    "Front",
    "Heard",
    "HeardString",
    "HeardStroke",
    "HearingOptions",
    "Pause",
    "Recording",
    "Repeat",
    "StringTuning",
    "advise",
    "hear",
    "read_recording",
    "recording_of_bytes",
]
