"""The arranger: rolls, single notes and strums on four strings."""

from render.arrange.arranger import arrange, song_tuning
from render.arrange.model import Action, Arrangement, Gesture, Part, Problem, StringNote

__all__ = ["Action", "Arrangement", "Gesture", "Part", "Problem", "StringNote", "arrange", "song_tuning"]
