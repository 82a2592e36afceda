"""The arranger: rolls, single notes and strums on four strings."""

from tercet.arranging.arranger import arrange, song_tuning, tune_up
from tercet.arranging.chords_alone import chords_alone
from tercet.arranging.hardest import HardStretch, hardest_bars
from tercet.arranging.model import Action, Arrangement, Gesture, NotePart, Problem, StringNote
from tercet.arranging.second import second_part

__all__ = [
    "Action",
    "Arrangement",
    "Gesture",
    "HardStretch",
    "NotePart",
    "Problem",
    "StringNote",
    "arrange",
    "chords_alone",
    "hardest_bars",
    "second_part",
    "song_tuning",
    "tune_up",
]
