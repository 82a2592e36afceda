"""The arrangement file as read: what is written, in beats, before anything is worked out.

A *beat* is the unit in which lengths are written: the meter's lower figure (a quarter in 3/4, an eighth in
6/8). All places and lengths are exact fractions of it. A *pulse* is what the foot taps and tempo counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, get_args

from tercet.errors import Mistake
from tercet.theory import DYNAMIC_MARKS, Chord, Key, Pitch
from tercet.theory.limits import Players

__all__ = [
    "LAYERS",
    "LEAD_INS",
    "ROW_NAMES",
    "SECOND",
    "TAG",
    "Bar",
    "BetweenNotes",
    "ChordSpan",
    "Dynamics",
    "Feel",
    "LastRitard",
    "Layer",
    "Line",
    "Mark",
    "MarkKind",
    "Meter",
    "Note",
    "OwnTrack",
    "Pin",
    "Players",
    "Row",
    "RowName",
    "SecondVoice",
    "Section",
    "SectionStyle",
    "Slot",
    "Song",
    "Source",
    "Style",
    "Syllable",
    "TrackPlace",
    "Turn",
    "Visit",
    "notes_sung",
]

Layer = Literal["melody", "second", "between", "strums"]
LAYERS: tuple[Layer, ...] = get_args(Layer)
"""From loud to quiet, the order in which they are listed everywhere. What a song has of them is `Song.layers`."""

SECOND: Layer = "second"
"""The voice for half the class, on ukuleles of their own; the other layers share one pair of hands."""

RowName = Literal["chords", "melody", "between", "strum", "words", "marks"]
ROW_NAMES: tuple[RowName, ...] = ("chords", "melody", "between", "strum", "words", "marks")

Slot = str
"""One place of a strum pattern: a sign of `tercet.theory.STRUM_SIGNS`."""

MarkKind = Literal["dynamic", "hairpin", "rit", "a-tempo", "fermata", "accent", "breath"]
Feel = Literal["steady", "natural", "loose"]
"""How exactly the players keep together."""

BetweenNotes = Literal["as-written", "fill"]
"""Where notes of nobody's row stand between the tune's: nowhere, or in its long spaces."""

SecondVoice = Literal["thirds", "sixths", "low"]
"""How a second voice goes under the tune: a third below it, a sixth below it, or as a slow low line."""

Style = Literal["rolls", "ringing", "broken", "plain"]
"""How the tune and its chords share the strings; `tercet.song.styles.STYLES` says what each is."""

LastRitard = Literal["end", "none"]
"""Where the piece slows down though nothing is written: to its end, or nowhere."""

Turn = Literal["phrase", "bar", "section"]
"""What is echoed, or played by turns."""

LEAD_INS = ("intro", "turnaround")
"""Sections that a song's settings add before others: what the settings, the sections and the form call them."""

TAG = "tag"
"""The section that ``ending: tag`` adds at the end."""


@dataclass(frozen=True, slots=True)
class Source:
    """Where something stands in the file: line and column counted from 1."""

    line: int
    column: int
    width: int = 1


@dataclass(frozen=True, slots=True)
class Pin:
    """A fingering that the song asks for: ``[321]``, ``[1]``, ``[roll]``, ``[alone]``.

    Parameters
    ----------
    action
        ``"roll"`` or ``"alone"``.
    strings
        Strings struck, falling string numbers, the tune's string last; empty when left to Tercet.
    """

    action: Literal["roll", "alone"]
    strings: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Note:
    """One written note or rest of a `melody` or `between` row.

    Parameters
    ----------
    start_beat, length_beat
        Place within its bar (from 0) and length, in beats.
    pitch
        As it sounds; None for a rest, for a note given by `position` until a tuning is known, and for one that goes on
        until it is known what is played before it.
    goes_on
        Written ``=``: the note before goes on, without a new stroke. In the piece as played it has that note's pitch
        and position.
    position
        (string, fret) when written as ``s1f3``.
    pin
        Fingering that the song asks for.
    source
        Where it stands in the file; doesn't take part in comparison.
    off_neck
        By how many octaves it must be moved, as written, before a string has it: 0 on the neck, 1 below it. Known once
        there are strings: see `tercet.arranging.piece.onto_neck`.
    tied_on
        Whether the next note goes on with this one; known in the piece as played, False as written.
    """

    start_beat: Fraction
    length_beat: Fraction
    pitch: Pitch | None = None
    goes_on: bool = False
    position: tuple[int, int] | None = None
    pin: Pin | None = None
    source: Source = field(default=Source(0, 0), compare=False)
    off_neck: int = 0
    tied_on: bool = False

    @property
    def is_rest(self) -> bool:
        """Whether nothing sounds."""
        return self.pitch is None and self.position is None and not self.goes_on

    @property
    def is_struck(self) -> bool:
        """Whether it sounds anew: it is neither a rest nor a note that goes on."""
        return not (self.is_rest or self.goes_on)


def notes_sung(notes: Sequence[Note]) -> tuple[Note, ...]:
    """Return what has a syllable each where a bar has words: the notes that are struck.

    In a bar in which nothing sounds, each rest has one: words that wait for their tune, or are sung over chords alone.
    """
    struck = tuple(note for note in notes if note.is_struck)
    silent = all(note.is_rest for note in notes)
    return tuple(notes) if silent else struck


@dataclass(frozen=True, slots=True)
class ChordSpan:
    """A chord over a stretch of its bar; `chord` is None for N.C.

    `shape` is a pinned hand shape: four frets, string 4 first, None for a string that is not played. `fingers` are
    those that the song sets on it: for each string 1 (index) to 4 (little), 0 for one that is open or not played.
    """

    start_beat: Fraction
    length_beat: Fraction
    chord: Chord | None
    shape: tuple[int | None, ...] | None = None
    fingers: tuple[int, ...] | None = None
    source: Source = field(default=Source(0, 0), compare=False)

    @property
    def played_as(self) -> tuple[object, ...]:
        """What is named and how it is held: two spans that are equal in this go on from one to the other."""
        return self.chord, self.shape, self.fingers


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark at a place of its bar.

    Parameters
    ----------
    at_beat
        Place within the bar, in beats from 0 (the file counts from 1).
    kind
        What it is; a breath stands at the end of the note before.
    value
        The dynamic (``"mf"``) or the hairpin (``"louder"``, ``"softer"``); empty for other kinds.
    layer
        The layer that it sets, or None for a bare mark.
    """

    at_beat: Fraction
    kind: MarkKind
    value: str = ""
    layer: Layer | None = None
    source: Source = field(default=Source(0, 0), compare=False)


@dataclass(frozen=True, slots=True)
class Syllable:
    """One syllable of the words.

    Parameters
    ----------
    text
        What is sung; empty for ``_``, which holds the syllable before over one more note.
    joined
        Whether the next syllable belongs to the same word (written with ``-``).
    """

    text: str
    joined: bool = False
    source: Source = field(default=Source(0, 0), compare=False)

    @property
    def holds(self) -> bool:
        """Whether it is ``_``: the syllable before goes on over one more note."""
        return not self.text


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a line of music, bar by bar.

    Parameters
    ----------
    name
        Which row.
    passes
        The passes it is for, counted from 1, −1 for the last; empty for every pass.
    bars
        For each bar its items: `Note`, `ChordSpan`, `Mark`, `Syllable` or the strum's slots. None for a bar
        left empty.
    pickup
        The items before the section's first bar line when they make a pick-up, else None.
    """

    name: RowName
    passes: tuple[int, ...]
    bars: tuple[tuple[Note | ChordSpan | Mark | Syllable | Slot, ...] | None, ...]
    pickup: tuple[Note | ChordSpan | Mark | Syllable | Slot, ...] | None = None
    source: Source = field(default=Source(0, 0), compare=False)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of music: rows over the same bars."""

    rows: tuple[Row, ...]

    @property
    def bar_count(self) -> int:
        """How many bars the line has, the pick-up not counted."""
        return max((len(row.bars) for row in self.rows), default=0)


@dataclass(frozen=True, slots=True)
class Section:
    """A named stretch of music: lines, and the length of its pick-up in beats (0 without one)."""

    name: str
    lines: tuple[Line, ...]
    pickup_beat: Fraction = Fraction(0)

    @property
    def bar_count(self) -> int:
        """How many bars the section has, the pick-up not counted."""
        return sum(line.bar_count for line in self.lines)


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter: `upper` beats a bar, each a 1/`lower` note."""

    upper: int
    lower: int

    @property
    def bar_beat(self) -> Fraction:
        """Length of a bar in beats."""
        return Fraction(self.upper)

    @property
    def pulse_beat(self) -> Fraction:
        """Length of the pulse in beats: the dotted value in 6/8, 9/8, 12/8, the half in 2/2, else the beat."""
        if self.lower >= 8 and self.upper % 3 == 0 and self.upper > 3:
            return Fraction(3)
        return Fraction(1)

    @property
    def pulses(self) -> int:
        """Pulses in a bar, a last shorter one counted whole."""
        return -(-self.upper // int(self.pulse_beat))

    def __str__(self) -> str:
        return f"{self.upper}/{self.lower}"


@dataclass(frozen=True, slots=True)
class Dynamics:
    """The dynamic mark each layer starts with; a second voice whose mark isn't said lies one step under the melody."""

    melody: str = "f"
    between: str = "mp"
    strums: str = "p"
    second: str | None = None

    def of(self, layer: Layer) -> str:
        """Return the mark of a layer."""
        mark: str | None = getattr(self, layer)
        return mark or DYNAMIC_MARKS[max(DYNAMIC_MARKS.index(self.melody) - 1, 0)]


@dataclass(frozen=True, slots=True)
class Visit:
    """One playing of a section in the form: its name and which pass of that section it is, from 1."""

    section: str
    pass_number: int
    last: bool


@dataclass(frozen=True, slots=True)
class SectionStyle:
    """The style of a section: on every pass, or where `pass_number` says so on one; −1 is the last."""

    section: str
    pass_number: int | None
    style: Style
    source: Source = field(default=Source(0, 0), compare=False)


@dataclass(frozen=True, slots=True)
class TrackPlace:
    """Where a setting of a track stands: what it is called (``"name"`` for the name), place, line of the file."""

    setting: str
    source: Source
    text: str


@dataclass(frozen=True, slots=True)
class OwnTrack:
    """A track of one's own, from a song or a class file.

    Parameters
    ----------
    name
        Small letters, digits and hyphens.
    purpose
        What a student does with it; empty when the file doesn't say.
    yours, heard
        Which notes are left to the student, or which are heard, as `tercet.song.choice_words.parse_choice` reads them;
        one of them at most, empty when it isn't written.
    guide
        Of the notes left out, those that stay as a soft guide; empty for none.
    way, by
        Its practice form, see `tercet.song.practice_forms`, and what is echoed or played by turns.
    bars
        As `tercet.song.bar_indices` reads them; empty for the whole piece.
    speeds
        Parts of the song's tempo, 1/4 to 2: none when it isn't written, several only for a ladder.
    times
        How often a loop is played; None when it isn't written.
    swap
        Whether the class has the first turn.
    places
        Where it all stands in the file; doesn't take part in comparison.
    """

    name: str
    purpose: str = ""
    yours: str = ""
    heard: str = ""
    guide: str = ""
    way: str = "through"
    bars: str = ""
    by: Turn = "phrase"
    speeds: tuple[Fraction, ...] = ()
    times: int | None = None
    swap: bool = False
    places: tuple[TrackPlace, ...] = field(default=(), compare=False)

    def place(self, setting: str = "name") -> Source:
        """Return where one of its settings stands, or its name where that isn't written; line 0 when unknown."""
        return self._written(setting).source

    def mistake(self, message: str, mend: str = "", setting: str = "name") -> Mistake:
        """Return a mistake of this track, at the place of one of its settings."""
        written = self._written(setting)
        place = written.source
        return Mistake(
            message, place.line, place.column, f"tracks, {self.name}", mend, written.text, place.width
        )

    def _written(self, setting: str) -> TrackPlace:
        by_setting = {place.setting: place for place in self.places}
        nowhere = TrackPlace("name", Source(0, 0), "")
        return by_setting.get(setting) or by_setting.get("name", nowhere)


@dataclass(frozen=True, slots=True)
class Song:
    """An arrangement file, read and checked.

    `tempo` counts pulses a minute. `tuning` is a name or four pitches, string 4 first. `scale_length_mm` comes from the
    instrument's size; `instrument` is ``"custom"`` when the song gives the length itself, empty when it says nothing.
    `swing` is the place of the pulse's second half, 1/2 for none. `between` says whether Tercet adds single notes where
    no row gives them. `second` is how its second voice goes, None for a song without one. `style` is that of all
    sections for which `section_styles` has none. `front` is how far the strums lie behind the melody, in LU between
    their median gestures; without it the marks say so. `feel` is how exactly the players keep together. `rit` says
    whether the last bars slow down where the marks don't say so. `form` is never empty. `sound` and `count_in_bars` are
    None unless the song sets them. `tracks` are those of the song's own. `as_written` says whether a note that no
    string has keeps its octave. `sounding` is how many semitones higher it is played than written, None unless the song
    sets it. `intro_bars` and `turnaround_bars` are how many bars of chords are added before sections, and `tag_bars`
    how many at the end (0 leaves it to Tercet), None for no tag; see `tercet.song.added_bars`. `page_address` is where
    its class page lies on the web, empty unless the class file says so. `moved_semitones` is how far the song is from
    where its file has it; it takes no part in comparison.
    """

    title: str
    sections: tuple[Section, ...]
    form: tuple[Visit, ...]
    composer: str = ""
    source_note: str = ""
    licence: str = ""
    key: Key = Key("C", 0, False)
    meter: Meter = Meter(4, 4)
    tempo: Fraction = Fraction(96)
    instrument: str = ""
    scale_length_mm: float = 380.0
    tuning: str | tuple[Pitch, ...] = "high-g"
    players: Players = "improving"
    dynamics: Dynamics = Dynamics()
    strum: tuple[Slot, ...] | None = None
    between: BetweenNotes = "as-written"
    second: SecondVoice | None = None
    style: Style = "rolls"
    section_styles: tuple[SectionStyle, ...] = ()
    as_written: bool = False
    swing: Fraction = Fraction(1, 2)
    front: Fraction | None = None
    feel: Feel = "natural"
    rit: LastRitard = "end"
    sound: str | None = None
    count_in_bars: int | None = None
    tracks: tuple[OwnTrack, ...] = ()
    sounding: int | None = None
    intro_bars: int = 0
    turnaround_bars: int = 0
    tag_bars: int | None = None
    page_address: str = ""
    moved_semitones: int = field(default=0, compare=False)

    @property
    def layers(self) -> tuple[Layer, ...]:
        """The layers that it has, from loud to quiet: a second voice only where it asks for one."""
        return tuple(layer for layer in LAYERS if layer != SECOND or self.second is not None)

    def adds(self, name: str) -> bool:
        """Whether a section of the form is one that the settings add, not one that is written."""
        return self.lead_in_bars(name) > 0 or (name == TAG and self.tag_bars is not None)

    def lead_in_bars(self, name: str) -> int:
        """Return how many bars an intro or a turnaround has; 0 for any other section."""
        return {"intro": self.intro_bars, "turnaround": self.turnaround_bars}.get(name, 0)

    def section(self, name: str) -> Section:
        """Return the section of that name; `KeyError` when there is none."""
        for section in self.sections:
            if section.name == name:
                return section
        raise KeyError(name)

    def style_of(self, section: str, pass_number: int) -> Style:
        """Return the style of a pass of a section: one for that pass wins over the section's, the last's over both.

        Intro and turnarounds have that of the first section, a tag that of the last.
        """
        found = self.style
        if not self.section_styles:
            return found
        if self.adds(section):
            written = [visit for visit in self.form if not self.adds(visit.section)]
            source = written[-1 if section == TAG else 0]
            section, pass_number = source.section, source.pass_number
        last = Visit(section, pass_number, last=True) in self.form
        for wanted in (None, pass_number, -1):
            if wanted != -1 or last:
                named = (
                    each.style
                    for each in self.section_styles
                    if each.section == section and each.pass_number == wanted
                )
                found = next(named, found)
        return found


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar as played: the rows that hold on this pass, everything in beats from the bar's start.

    Parameters
    ----------
    number
        Counted through the piece as played, from 1; a pick-up at the very start is bar 0.
    section, pass_number, section_bar, line
        Which section, on which pass, which bar of it (from 1; 0 for the pick-up) and which of its lines (from 0).
    start_beat, length_beat
        Place in the piece as played, and length (bar 0 is as long as its pick-up).
    chords
        Chords that fill the bar, never None: an empty bar goes on with the chord before.
    melody
        Notes and rests that fill the bar. The last beats may belong to the next section's pick-up: those notes
        stand in `pickup_from` and later.
    between, strum
        As written, or None where the bar has no such row: Tercet works out the strums, and single notes between
        where the song asks for them.
    words
        Pairs of a note's place (start beat) and its syllable.
    marks
        Marks in order of place.
    pickup_from
        Beat from which the bar's notes belong to the pick-up of the visit that follows; the bar's length when
        there is none, 0 in bar 0. Words, chords and marks of the pick-up stand in the bar likewise.
    own
        Whether the tune or its chords were replaced for this pass, or a replaced chord goes on in this bar.
    """

    number: int
    section: str
    pass_number: int
    section_bar: int
    line: int
    start_beat: Fraction
    length_beat: Fraction
    chords: tuple[ChordSpan, ...]
    melody: tuple[Note, ...]
    between: tuple[Note, ...] | None = None
    strum: tuple[Slot, ...] | None = None
    words: tuple[tuple[Fraction, Syllable], ...] = ()
    marks: tuple[Mark, ...] = ()
    pickup_from: Fraction = Fraction(0)
    own: bool = False

    def chord_at(self, start_beat: Fraction) -> ChordSpan | None:
        """Return the chord, or N.C., under a place of the piece as played; None before the first."""
        at_beat = start_beat - self.start_beat
        return next((span for span in reversed(self.chords) if span.start_beat <= at_beat), None)
