"""What is said about a key: figures for each tuning, what they cost, and their sum."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from tercet.errors import ParameterError, RequestError
from tercet.theory import Key, Pitch, Tuning

__all__ = ["ADVICE_COSTS", "VOICES", "KeyAdvice", "Sung", "TuningAdvice", "Voice", "sung", "voice_named"]

ADVICE_COSTS: dict[str, float] = {
    "hands": 1.0,
    "notes on no string": 30.0,
    "notes above these players' frets": 20.0,
    "wanted rolls that aren't heard": 5.0,
    "chord that they can't hold": 2.5,
    "time under such chords": 10.0,
    "chord without a shape known by name": 0.5,
    "notes outside the voice": 10.0,
    "semitone outside the voice": 0.75,
}
"""What counts in a key's total, in the units of `tercet.neck.demands.COSTS`; the least total is best.

*hands* multiplies what a note of the tune costs these hands on average: fingers, stretches, changes, rolls that are
missing or less clear. *notes …*, *wanted rolls …* and *time …* multiply a share of all notes or of the time, 0 to 1: a
note that no string has counts as much as thirty units of cost, one above these players' frets as twenty; besides, a
key with a note that no string has comes after all without. The others
count for each chord, however often it comes, and for each semitone by which the tune goes beyond the voice, both ends
together. With these weights folk tunes come out as the table in `benchmarks/README.md` says.
"""


@dataclass(frozen=True, slots=True)
class TuningAdvice:
    """A song in one key on the strings of one tuning.

    Parameters
    ----------
    tuning
        The strings.
    semitones
        How far the song is moved from where it is written; 12 less than the key's own where these strings take the
        tune an octave lower.
    lowest, highest
        The sounding range of the tune, spelt in the key.
    notes, missing, high
        Notes of the tune as played, repeats and all; how many of them no string has as written, so that they are moved
        by octaves (or have no fret); and how many lie above the frets that these players are asked to reach.
    added_missing
        How many notes of its `between` rows no string has.
    wanted, audible
        Notes that want a roll, and how many of them are rolled with the tune not masked: on top, in unison, or an
        octave below the string that doubles it.
    shift_per_bar
        Frets that the hand's position moves, in the mean of all bars.
    cost_per_note
        What the tune costs these hands, in the units of `tercet.neck.demands.COSTS`, by note.
    not_held
        Chords of the song, by name, that these players can't hold over all four strings, in order of appearance.
    time_not_held
        Share of the song that stands under such chords, 0 to 1.
    parts
        What each row of `ADVICE_COSTS` comes to.
    """

    tuning: Tuning
    semitones: int
    lowest: Pitch
    highest: Pitch
    notes: int
    missing: int
    added_missing: int
    high: int
    wanted: int
    audible: int
    shift_per_bar: float
    cost_per_note: float
    not_held: tuple[str, ...]
    time_not_held: float
    parts: Mapping[str, float]

    @property
    def off_neck(self) -> bool:
        """Whether some note, of the tune or an added one, is on no string."""
        return self.missing + self.added_missing > 0

    @property
    def playable(self) -> float:
        """Share of the tune's notes that these players can play as they are written, 0 to 1."""
        return 1.0 - (self.missing + self.high) / self.notes

    @property
    def audible_rolls(self) -> float:
        """Share of the wanted rolls that bring the tune out, 0 to 1; 1 where none is wanted."""
        return self.audible / self.wanted if self.wanted else 1.0

    @property
    def total(self) -> float:
        """What it all comes to; the less the better."""
        return sum(self.parts.values())


@dataclass(frozen=True, slots=True)
class KeyAdvice:
    """A song in one key.

    Parameters
    ----------
    key, semitones
        The key, and how far it lies from where the song is written, −24 to 24.
    lowest, highest
        The range of the tune there, as written.
    sung_octave
        In which octave the voice sings it: 0 as it stands, −1 an octave lower; 0 without a voice.
    semitones_outside
        By how much the tune goes beyond the voice, both ends together; 0 without a voice.
    tunings
        One entry for each tuning, in the order asked for.
    """

    key: Key
    semitones: int
    lowest: Pitch
    highest: Pitch
    sung_octave: int
    semitones_outside: int
    tunings: tuple[TuningAdvice, ...]

    @property
    def total(self) -> float:
        """The mean of the tunings' totals; the less the better."""
        return sum(tuning.total for tuning in self.tunings) / len(self.tunings)

    @property
    def off_neck(self) -> bool:
        """Whether some note is on no string of some tuning."""
        return any(tuning.off_neck for tuning in self.tunings)

    @property
    def worst(self) -> TuningAdvice:
        """The tuning that finds the key hardest, the first of equals."""
        return max(self.tunings, key=lambda tuning: tuning.total)

    @property
    def suits(self) -> bool:
        """Whether everybody can play every note and hold every chord, and the voice reaches the whole tune."""
        return not self.semitones_outside and all(
            not (tuning.off_neck or tuning.high or tuning.not_held) for tuning in self.tunings
        )


# ---- who sings


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


def voice_named(text: str) -> Voice:
    """Read ``low``, ``high`` or a range such as ``A3-D5``; `RequestError` for anything else."""
    if text in VOICES:
        return VOICES[text]
    ends = [part.strip() for part in text.replace("–", "-").split("-")]
    try:
        low, high = (Pitch.parse(end[:1].upper() + end[1:]) for end in ends)
    except (ParameterError, ValueError):
        known = ", ".join(f"{name} ({voice.lowest} to {voice.highest})" for name, voice in VOICES.items())
        raise RequestError(f"--voice must be {known} or a range such as A3-D5 (got {text!r})") from None
    if high.midi < low.midi:
        raise RequestError(f"--voice: the range {low}-{high} is upside down: write {high}-{low}")
    return Voice(f"{low}-{high}", low, high)


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
