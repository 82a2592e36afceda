"""A timeline (which bars, in which order, how fast) and a take (one playing of it), in seconds."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING

from tercet.arranging import Action, NotePart
from tercet.errors import ParameterError
from tercet.song import SECOND, Layer

if TYPE_CHECKING:
    import mido
    import pretty_midi

    from tercet.performing.performer import Interpretation

__all__ = ["Click", "PlayedBar", "Span", "Take", "TakeNote", "TempoPoint", "Timeline"]


@dataclass(frozen=True, slots=True)
class Span:
    """A run of bars of the piece as played, at one speed.

    Parameters
    ----------
    first, last
        Indices into the arrangement's bars, both included.
    speed
        1 is the song's tempo, 1/2 half as fast.
    """

    first: int
    last: int
    speed: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True)
class Timeline:
    """What is played: spans in order, and how many bars are counted in before the first."""

    spans: tuple[Span, ...]
    count_in_bars: int = 1


@dataclass(frozen=True, slots=True)
class FreeString:
    """A string that rings along with another: which, what it sounds when open, and how long until it is touched."""

    string: int
    open_midi: int
    length_s: float


@dataclass(frozen=True, slots=True)
class TakeNote:
    """One sounding string of a take.

    Parameters
    ----------
    onset_s, length_s
        When the string is struck and how long until it is damped, in seconds.
    level_db
        Level relative to mf.
    velocity
        MIDI velocity, 1 to 127, that stands for the level.
    midi, string, fret
        What sounds and where; no fret for a note that no string has.
    layer, part, action
        Whose note it is and what it is.
    gesture
        Which gesture of the take (the strings of one roll share it).
    bar_index, section, pass_number, phrase
        Where it belongs; `bar_index` counts the bars of the take from 0.
    beat
        Place and length as written, in beats of the piece as played.
    length_beat
        Length as written, in beats.
    mark_db
        Level that marks, hairpins and accents ask of its whole gesture, relative to mf.
    rings
        Whether it is of a tune whose notes are meant to ring over one another.
    up
        Whether its hand comes up, as in half of the strums.
    free
        The strings that are free to ring along with it.
    """

    onset_s: float
    length_s: float
    level_db: float
    velocity: int
    midi: int
    string: int
    fret: int | None
    layer: Layer
    part: NotePart
    action: Action
    gesture: int
    bar_index: int
    section: str
    pass_number: int
    phrase: int
    beat: Fraction
    length_beat: Fraction
    mark_db: float = 0.0
    rings: bool = False
    up: bool = False
    free: tuple[FreeString, ...] = ()

    @property
    def own_string(self) -> tuple[bool, int]:
        """On whose ukulele it is struck, the second voice's or the other layers', and on which string of it."""
        return self.layer == SECOND, self.string

    @property
    def open_midi(self) -> int:
        """What its string sounds when open; a note that no string has is sounded as an open string of its own."""
        return self.midi - (self.fret or 0)


@dataclass(frozen=True, slots=True)
class Click:
    """One stroke of the count-in: when, and whether it is a bar's first."""

    onset_s: float
    first: bool


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """A bar of a take: its number in the piece as played, and when it begins and ends, in seconds."""

    number: int
    section: str
    pass_number: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class TempoPoint:
    """A point of the tempo map: `take_beat` beats from the take's start (count-in or silence) fall at `onset_s`."""

    take_beat: Fraction
    onset_s: float


@dataclass(frozen=True, slots=True)
class Take:
    """One playing by all layers of a song on one timeline.

    Parameters
    ----------
    notes
        In order of onset, then string.
    clicks
        The count-in.
    bars
        The bars played.
    tempo_map
        Strictly rising in both figures, from beat 0 at 0 s to the end; between two points the tempo is even.
    length_s
        When the last bar ends and the last strings may be damped; a ringing end comes after it.
    flat
        Whether it has neither front nor back.
    interpretation
        How these players play the whole piece, in a take of `perform`; it doesn't take part in comparison.
    """

    notes: tuple[TakeNote, ...]
    clicks: tuple[Click, ...]
    bars: tuple[PlayedBar, ...]
    tempo_map: tuple[TempoPoint, ...]
    length_s: float
    flat: bool = field(default=False, compare=False)
    interpretation: Interpretation | None = field(default=None, compare=False, repr=False)

    @property
    def played(self) -> Interpretation:
        """How these players play the whole piece.

        Raises
        ------
        ParameterError
            The take isn't one of `perform`: it doesn't know its piece.
        """
        if self.interpretation is None:
            raise ParameterError("the take must come from perform (got one that doesn't know its piece)")
        return self.interpretation

    def to_mido(self) -> mido.MidiFile:
        """Return the take as a MIDI file in memory, of type 1: title, tempo, meter, key, words, a track for each layer.

        Its notes are within a millisecond of the take's own time; `tercet.performing.midi` says how it is laid out.
        """
        from tercet.performing.midi import midi_file

        return midi_file(self.played.arrangement, self)

    def to_pretty_midi(self) -> pretty_midi.PrettyMIDI:
        """Return the take as pretty_midi has it: an instrument for each layer, and one for the count-in."""
        import pretty_midi

        from tercet.performing.midi import midi_bytes

        return pretty_midi.PrettyMIDI(BytesIO(midi_bytes(self.played.arrangement, self)), charset="utf-8")
