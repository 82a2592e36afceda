"""A lead sheet as it came from outside: one tune, its chords and words, bar by bar, before it becomes a song.

Places and lengths are exact fractions of a quarter note here, whatever the meter: the formats that bring tunes count
so. Every reader makes a `LeadSheet`; `tercet.exchange.songs` turns it into a `Song`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from tercet.errors import RequestError
from tercet.song import MarkKind, Pin, Syllable
from tercet.theory import Chord, Key, Pitch

__all__ = ["LeadChord", "LeadMark", "LeadMeasure", "LeadNote", "LeadSheet", "TuneError"]


class TuneError(RequestError):
    """A file that can't be imported; the message names it, says why and what to do."""


@dataclass(frozen=True, slots=True)
class LeadNote:
    """A note or rest of the tune.

    Parameters
    ----------
    start_quarter, length_quarter
        Place in its measure, from 0, and length.
    pitch
        As it sounds; None for a rest.
    tied_on
        Whether the next note continues this one.
    words
        Pairs of a verse, from 1, and what it sings on this note; a verse without an entry sings nothing new.
    graces
        Grace notes before it, in order.
    position
        (string, fret), 1 nearest the floor, where the file gives one.
    pin
        A fingering of ours, in files that Tercet wrote.
    """

    start_quarter: Fraction
    length_quarter: Fraction
    pitch: Pitch | None
    tied_on: bool = False
    words: tuple[tuple[int, Syllable], ...] = ()
    graces: tuple[Pitch, ...] = ()
    position: tuple[int, int] | None = None
    pin: Pin | None = None

    @property
    def end_quarter(self) -> Fraction:
        """Where it ends in its measure."""
        return self.start_quarter + self.length_quarter


@dataclass(frozen=True, slots=True)
class LeadChord:
    """A chord from its place on; `chord` is None for N.C., `shape` and `fingers` as in `tercet.song.ChordSpan`."""

    start_quarter: Fraction
    chord: Chord | None
    shape: tuple[int | None, ...] | None = None
    fingers: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class LeadMark:
    """A mark at its place; kind and value as in `tercet.song.Mark`."""

    start_quarter: Fraction
    kind: MarkKind
    value: str = ""


@dataclass(frozen=True, slots=True)
class LeadMeasure:
    """One written measure, and the signs that say where to go after it.

    Parameters
    ----------
    number
        As the file counts it.
    length_quarter
        How much time it really has.
    meter
        Upper and lower figure that hold here.
    repeat_start
        Whether a repeat starts before it.
    repeat_times
        How often what a repeat sign at its end closes is played in all; 0 without such a sign.
    endings
        Passes for which the bracket over it is meant; empty without a bracket.
    segno, coda
        Whether the sign stands at its start.
    coda_at_end
        Whether a sign of the coda stands after its first note: at its end, or where one leaves for the coda.
    to_coda, fine, da_capo, dal_segno
        Whether the instruction stands at its end.
    section
        A name that starts here, such as ``"Chorus"``; empty when none does.
    new_line
        Whether a line of music starts here.
    """

    number: str
    length_quarter: Fraction
    meter: tuple[int, int]
    notes: tuple[LeadNote, ...] = ()
    chords: tuple[LeadChord, ...] = ()
    marks: tuple[LeadMark, ...] = ()
    repeat_start: bool = False
    repeat_times: int = 0
    endings: tuple[int, ...] = ()
    segno: bool = False
    coda: bool = False
    coda_at_end: bool = False
    to_coda: bool = False
    fine: bool = False
    da_capo: bool = False
    dal_segno: bool = False
    section: str = ""
    new_line: bool = False

    @property
    def nominal_quarter(self) -> Fraction:
        """How long a whole measure of its meter is."""
        return Fraction(4 * self.meter[0], self.meter[1])


@dataclass(frozen=True, slots=True)
class LeadSheet:
    """A tune as read.

    Parameters
    ----------
    title, composer, source_note, licence
        Empty when the file doesn't say.
    key
        None when the file gives none.
    tempo_quarters
        Quarters a minute at the start; None when the file gives no tempo.
    settings
        Settings of a song file that stood in the file, name and text, for files that Tercet wrote.
    remarks
        What was dropped, guessed or changed on the way here, one sentence each.
    without_tune
        Whether it is chords and words alone, the tune being rests that somebody fills in.
    """

    title: str
    measures: tuple[LeadMeasure, ...]
    composer: str = ""
    source_note: str = ""
    licence: str = ""
    key: Key | None = None
    tempo_quarters: Fraction | None = None
    settings: tuple[tuple[str, str], ...] = field(default=())
    remarks: tuple[str, ...] = ()
    without_tune: bool = False

    @property
    def notes(self) -> tuple[LeadNote, ...]:
        """All notes and rests, as written."""
        return tuple(note for measure in self.measures for note in measure.notes)
