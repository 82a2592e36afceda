"""Who sings: ranges of voices, and how a tune lies in them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from tercet.arranging.key_advice import ADVICE_COSTS
from tercet.theory import Pitch

__all__ = ["VOICES", "Sung", "Voice", "sung"]

MOST_OCTAVES_APART = 4


@dataclass(frozen=True, slots=True)
class Voice:
    """The range that singers are comfortable in; they may sing the tune in any octave.

    Parameters
    ----------
    name
        ``"low"``, ``"high"``, or the range as it was asked for.
    lowest, highest
        Both included.
    """

    name: str
    lowest: Pitch
    highest: Pitch


VOICES: dict[str, Voice] = {
    "low": Voice("low", Pitch.parse("G3"), Pitch.parse("C5")),
    "high": Voice("high", Pitch.parse("D4"), Pitch.parse("F5")),
}
"""Voices of a class. The usual ranges of a choir are soprano C4 to A5, alto F3 to D5, tenor B2 to G4 and bass E2 to E4.
Men sing an octave below women, so *low* is what alto and bass share, F3 to D5, and *high* is what soprano and tenor
share, C4 to G5; less a tone at both ends, since a class is no choir."""


@dataclass(frozen=True, slots=True)
class Sung:
    """How a tune lies in a voice.

    Parameters
    ----------
    octave
        In which octave it is sung: 0 as it stands, -1 an octave lower.
    semitones_outside
        By how much it goes beyond the range, both ends together.
    share_outside
        Share of its notes outside the range, 0 to 1.
    """

    octave: int = 0
    semitones_outside: int = 0
    share_outside: float = 0.0

    @property
    def cost(self) -> float:
        """What it adds to a key's total."""
        return (
            ADVICE_COSTS["notes outside the voice"] * self.share_outside
            + ADVICE_COSTS["semitone outside the voice"] * self.semitones_outside
        )


def sung(midis: Counter[int], voice: Voice, semitones: int) -> Sung:
    """Return how a tune, moved by some semitones, lies in a voice in the octave that suits it best.

    That is the one in which notes and semitones outside the range cost least, by `ADVICE_COSTS`; ties go to the tune
    as it stands, then to the lower octave.

    Parameters
    ----------
    midis
        How often each MIDI key number comes in the tune as written; at least one.
    voice, semitones
        Who sings, and how far the tune is moved.
    """
    low, high = voice.lowest.midi, voice.highest.midi
    ways = []
    for octave in range(-MOST_OCTAVES_APART, MOST_OCTAVES_APART + 1):
        moved = semitones + 12 * octave
        outside = max(low - min(midis) - moved, 0) + max(max(midis) + moved - high, 0)
        notes = sum(times for midi, times in midis.items() if not low <= midi + moved <= high)
        ways.append(Sung(octave, outside, notes / midis.total()))
    return min(ways, key=lambda way: (round(way.cost, 9), abs(way.octave), way.octave))
