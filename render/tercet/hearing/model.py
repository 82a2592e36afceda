"""The types of this room: what was heard, and what follows from it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

from tercet.arranging import Action, Arrangement
from tercet.errors import ParameterError
from tercet.performing import Take
from tercet.song import LAYERS, Layer
from tercet.typed import typed

__all__ = [
    "LEAST_TRUST",
    "PERHAPS",
    "Advice",
    "BarTempo",
    "Claim",
    "Front",
    "Heard",
    "HeardString",
    "HeardStroke",
    "HearingOptions",
    "Pause",
    "Repeat",
    "StringTuning",
    "Verdict",
]

Verdict = Literal["played", "missed", "another note", "late", "early", "ran past"]
"""What became of a stroke; `ran past`: a roll that didn't stop on the tune's string."""

PERHAPS = 0.7
"""What is trusted less is said with a *perhaps*."""

LEAST_TRUST = 0.4
"""A recording that is trusted less may be of another song."""


@dataclass(frozen=True, slots=True)
class HearingOptions:
    """What is listened for.

    Parameters
    ----------
    layers
        The layers that the student plays, all in one pair of hands.
    """

    layers: Collection[Layer] = frozenset(LAYERS)

    def __post_init__(self) -> None:
        object.__setattr__(self, "layers", frozenset(self.layers))
        if not self.layers or not set(self.layers) <= set(LAYERS):
            raise ParameterError(f"layers must be some of {', '.join(LAYERS)} (got {sorted(self.layers)})")


@dataclass(frozen=True, slots=True)
class HeardString:
    """A string of a stroke: which, what was wanted of it, and when it was struck, in seconds; None if it wasn't."""

    string: int
    midi: int
    onset_s: float | None


@dataclass(frozen=True, slots=True)
class HeardStroke:
    """A stroke as it was heard, or missed.

    Parameters
    ----------
    stroke
        Its place among the strokes of the wanted take, from 0.
    bar_number, layer, action, tune
        Its bar in the piece as played; whose and what it is; whether it has a note of the tune.
    wanted_s
        When its first string is struck in the wanted take.
    onset_s
        When its first string was struck in the recording; None if it was missed.
    strings
        In the order wanted.
    level_lu
        K-weighted level over 400 ms, against the median stroke heard; None where it can't be told.
    verdict, heard_midi
        What became of it; the MIDI key heard instead, for another note, or beyond the tune's string.
    off_s
        How late it was by the tempo around it; below 0, how early.
    trust
        How far the verdict can be relied on, 0 to 1.
    """

    stroke: int
    bar_number: int
    layer: Layer
    action: Action
    tune: bool
    wanted_s: float
    onset_s: float | None
    strings: tuple[HeardString, ...]
    level_lu: float | None
    verdict: Verdict
    heard_midi: int | None
    off_s: float
    trust: float


@dataclass(frozen=True, slots=True)
class BarTempo:
    """A bar as it was heard: its number, when it began, in seconds, and its tempo in pulses a minute."""

    bar_number: int
    start_s: float
    tempo: float
    part: float
    """Of the tempo of the take as a whole: 0.9 is a tenth slower."""


@dataclass(frozen=True, slots=True)
class StringTuning:
    """How far a string is off, in cents, above 0 too high; `uncertainty_cents` of the figure; from how many notes."""

    string: int
    cents: float
    uncertainty_cents: float
    notes: int


@dataclass(frozen=True, slots=True)
class Front:
    """How far the strums lay behind the melody, in LU between their median strokes.

    Parameters
    ----------
    lu, uncertainty_lu
        As heard; None where it can't be told.
    wanted_lu
        As in the wanted take; None where nothing is strummed.
    gain_controlled
        Whether the device turned itself up and down, which was undone.
    why
        Why it can't be told; empty where it can.
    """

    lu: float | None
    uncertainty_lu: float | None
    wanted_lu: float | None
    gain_controlled: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class Repeat:
    """Where the student went back, or on: after which bar to which bar, and when, in seconds."""

    after_bar: int
    to_bar: int
    at_s: float


@dataclass(frozen=True, slots=True)
class Pause:
    """Where the music stood still: before the stroke of which bar, from when and for how long, in seconds."""

    bar_number: int
    start_s: float
    length_s: float


@dataclass(frozen=True, slots=True)
class Heard:
    """What was heard in a recording of a song.

    Parameters
    ----------
    name
        What the recording is called.
    strokes
        In the order played; a stroke of bars played twice is there twice.
    tempi
        Bar by bar, in the order played.
    tempo
        Pulses a minute of the take as a whole.
    tuning
        String by string, 4 first; those that were heard often enough.
    front, repeats, pauses
        As their types say.
    first_bar, last_bar
        The bars that were played, by number: from the earliest to the latest.
    noise_db
        How far the noise lies below the strokes, as a level above 0; what is below 12 is too bad to be relied on.
    trust
        How sure it is that this is the song at all, 0 to 1.
    arrangement, wanted
        What it was held against; they don't take part in comparison.
    """

    name: str
    strokes: tuple[HeardStroke, ...]
    tempi: tuple[BarTempo, ...]
    tempo: float
    tuning: tuple[StringTuning, ...]
    front: Front
    repeats: tuple[Repeat, ...]
    pauses: tuple[Pause, ...]
    first_bar: int
    last_bar: int
    noise_db: float
    trust: float
    arrangement: Arrangement = field(compare=False, repr=False)
    wanted: Take = field(compare=False, repr=False)

    def slips(self) -> Iterator[HeardStroke]:
        """Yield the strokes that weren't simply played."""
        return (stroke for stroke in self.strokes if stroke.verdict != "played")

    def advice(self) -> Advice:
        """Return what the student is told: one thing that went well, and one to practise next."""
        from tercet.hearing.advice import advise

        return advise(self)

    def as_json(self) -> dict[str, Any]:
        """Return all of it, and the advice, as plain values."""
        from tercet.hearing.facts import heard_facts

        return heard_facts(self, self.advice())


Kind = Literal["tuning", "notes", "slower", "front", "rolls", "timing"]


@dataclass(frozen=True, slots=True)
class Claim:
    """Something heard that is worth practising.

    Parameters
    ----------
    kind
        What it is about.
    sentence
        For the student, with a *perhaps* where it is trusted little.
    bars
        Numbers of the bars, in order; empty where it is about the whole.
    track, options
        The track to practise it with, by its name in `tracks/recipes.py`, and the options of ``tercet render`` that
        make it for these bars.
    trust
        0 to 1.
    """

    kind: Kind
    sentence: str
    bars: tuple[int, ...]
    track: str
    options: tuple[str, ...]
    trust: float

    def command(self, song: str) -> str:
        """Return the command that makes the track, of a song's file, as it is typed into a shell."""
        return typed("tercet", "render", song, *self.options, "-o", f"{self.track}.mp3")


@dataclass(frozen=True, slots=True)
class Advice:
    """What a student is told: one thing that went well, and one to practise next.

    Parameters
    ----------
    well
        A sentence.
    next
        What to practise; None where nothing asks for it, or the song isn't surely this one.
    ask
        A question instead, where the recording isn't surely of this song; else empty.
    others
        What else was heard, in the order in which it would be practised; for details.
    """

    well: str
    next: Claim | None
    ask: str = ""
    others: tuple[Claim, ...] = ()
