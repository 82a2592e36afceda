"""An arrangement: which string, fret and stroke for every note, in beats of the piece as played."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from tercet.song import Bar, Layer, Song, Source, bar_indices
from tercet.theory import Tuning

__all__ = [
    "Action",
    "Arrangement",
    "Audibility",
    "Gesture",
    "NotePart",
    "Problem",
    "StringNote",
    "explained",
    "moved_words",
    "sign_of",
]

Action = Literal["roll", "single", "strum", "chop"]
"""What the right hand does."""

Audibility = Literal["top", "unison", "octave", "masked"]
"""How the tune stands against the other strings of its roll: above all, level with one, an octave or more below
one that doubles it, or below another note."""

NotePart = Literal["tune", "added", "chord", "second"]
"""What a note is: of the written tune, a single note that was added, a chord tone, or one of the second voice."""


def sign_of(off_neck: int) -> str:
    """Return a sign for each octave that a note lies off the neck, a star where its place is higher, else a dagger."""
    return ("*" if off_neck > 0 else "†") * abs(off_neck)


@dataclass(frozen=True, slots=True)
class StringNote:
    """One string that sounds within a gesture.

    Parameters
    ----------
    string
        1 (nearest the floor) to 4.
    fret
        0 for the open string; None for a note that no string has, which sounds all the same: then `string` is the line
        of the tab that comes nearest.
    midi
        MIDI key number that sounds.
    part
        What the note is.
    off_neck
        By how many octaves it must be moved, as written, before a string has it; it is moved, unless `fret` is None.
    """

    string: int
    fret: int | None
    midi: int
    part: NotePart
    off_neck: int = 0

    @property
    def sign(self) -> str:
        """Return a sign for each octave by which the note as written lies off the neck, or nothing."""
        return sign_of(self.off_neck)

    @property
    def shown(self) -> str:
        """Return what stands in a tab: the fret, behind it the sign of a moved note, or the sign alone."""
        return ("" if self.fret is None else str(self.fret)) + self.sign


@dataclass(frozen=True, slots=True)
class Gesture:
    """One action of the right hand.

    Parameters
    ----------
    layer, action
        Whose it is and what it is.
    start_beat, length_beat
        When its last string sounds and how long it is held, in beats of the piece as played.
    notes
        Strings in the order struck. In a roll the tune's string is the last.
    bar_number, section, section_bar, pass_number
        Where it belongs; a pick-up's gestures belong to the section that they lead into (section bar 0).
    bar_beat
        Place within its bar of the section, in beats; negative in a pick-up: beats before the section's first bar.
    phrase
        Counted through the piece as played, from 0.
    accent
        Whether the song marks it with an accent, or the strum slot is accented.
    up
        Whether a strum goes up (string 1 first).
    shape
        The frets that the left hand holds, string 4 first; None for a string it leaves out.
    rests_on
        String on which the thumb comes to rest when a roll stops early, or None.
    fingers
        For each string, string 4 first, the finger that presses it: 0 none, 1 index to 4 little; empty where the
        left hand isn't worked out (strums keep the shape that is held).
    position
        Fret where the index finger lies or would lie, from 1; 0 where the left hand isn't worked out.
    heard
        How the tune of a roll stands against its other strings; None for anything else.
    rings
        Whether its tune note rings on over the notes that follow, until they need its string or its finger.
    source
        Where its note stands in the file; line 0 for strums. Doesn't take part in comparison.
    """

    layer: Layer
    action: Action
    start_beat: Fraction
    length_beat: Fraction
    notes: tuple[StringNote, ...]
    bar_number: int
    section: str
    section_bar: int
    pass_number: int
    bar_beat: Fraction
    phrase: int
    accent: bool = False
    up: bool = False
    shape: tuple[int | None, ...] = ()
    rests_on: int | None = None
    fingers: tuple[int, ...] = ()
    position: int = 0
    heard: Audibility | None = None
    rings: bool = False
    source: Source = field(default=Source(0, 0), compare=False)


@dataclass(frozen=True, slots=True)
class Problem:
    """Something the hands can't do as written, or do less well.

    Parameters
    ----------
    message, remedy
        What it is, and the nearest remedy.
    bar_number, section
        Where it is in the piece as played.
    line, column
        Where the note stands in the file, both from 1; 0 when unknown.
    unplayable
        Whether a written note can't be played at all, as the song is asked to keep it as written (it still sounds).
    off_neck
        Whether it tells of a note that no string has, moved or kept.
    """

    message: str
    bar_number: int
    section: str
    remedy: str = ""
    line: int = 0
    column: int = 0
    unplayable: bool = False
    off_neck: bool = False


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A song with every note placed on a string.

    Parameters
    ----------
    song
        What was written (already transposed, when that was asked for).
    tuning
        The strings it is arranged for.
    bars
        The piece as played.
    gestures
        What one pair of hands does, in order of start, then layer.
    problems
        What the player should know, in order of the piece.
    cost
        What the tune costs these hands in all, in the units of `tercet.neck.demands.COSTS`.
    second
        What the second voice does on ukuleles of its own, in order of start; empty for a song without one.

    Attributes
    ----------
    by_bar
        For each bar as played, by its number, the gestures that start within it; it is worked out from the others. The
        gestures of a pick-up belong here to the bar that they sound in, the one before their section's first.
    """

    song: Song
    tuning: Tuning
    bars: tuple[Bar, ...]
    gestures: tuple[Gesture, ...]
    problems: tuple[Problem, ...]
    cost: float = 0.0
    second: tuple[Gesture, ...] = ()
    by_bar: Mapping[int, tuple[Gesture, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        by_bar: dict[int, list[Gesture]] = {bar.number: [] for bar in self.bars}
        for gesture in self.gestures:
            by_bar.setdefault(gesture.bar_number, []).append(gesture)
        object.__setattr__(self, "by_bar", {number: tuple(inside) for number, inside in by_bar.items()})

    def tab(self, bars: str = "", width: int = 96) -> str:
        """Return the tab as text.

        Parameters
        ----------
        bars
            Which bars: ``"5-8"``, ``"verse"``, ``"verse@2:3-4"``. Without it each section is shown once, and of a later
            pass the lines of music in which the hands do something else.
        width
            Columns that a line may take; a single bar may be wider.

        Raises
        ------
        RequestError
            There are no such bars.
        """
        from tercet.arranging.tab import tab_text

        return tab_text(self, bar_indices(bars, self.bars) if bars else None, width)


_OCTAVES = {1: "an octave", 2: "two octaves", 3: "three octaves"}


def moved_words(octaves: int) -> str:
    """Return by how much a note is moved, in words: ``an octave higher``."""
    far = _OCTAVES.get(abs(octaves), f"{abs(octaves)} octaves")
    return f"{far} {'higher' if octaves > 0 else 'lower'}"


def explained(arrangement: Arrangement) -> Iterator[str]:
    """Yield what the signs of an arrangement mean, a sentence for each kind; nothing where there are none."""
    kinds = Counter(
        (note.sign, note.off_neck, note.fret is None)
        for gesture in arrangement.gestures
        for note in gesture.notes
        if note.off_neck
    )
    for sign, octaves, empty in sorted(kinds):
        if empty:
            where = "below" if octaves > 0 else "above"
            yield f"{sign} without a fret: no string has this note; it sounds as written, {where} the neck."
        else:
            yield f"{sign} behind a fret: {moved_words(octaves)} than written, where no string has the note."
