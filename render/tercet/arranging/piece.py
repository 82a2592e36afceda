"""The piece that is arranged: a song as played on some strings, and what stands at each of its beats."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.neck import octaves_onto
from tercet.neck.demands import LIMITS, Hands
from tercet.song import Bar, ChordSpan, Layer, Measure, Note, Song, Style, played_bars, played_visits
from tercet.theory import INSTRUMENTS, Instrument, Pitch, Tuning, tuning_of

__all__ = [
    "ChordAt",
    "Piece",
    "SectionPlace",
    "Spot",
    "begun",
    "chord_changes",
    "laid_out",
    "onto_neck",
    "phrase_starts",
    "piece_of",
    "sized_for",
]


def begun(starts: Sequence[float], beat: Fraction) -> int:
    """Return how many of some beats, in rising order, lie at or before a beat.

    They are looked up as floats, many times as fast as fractions; beats of a piece lie much farther from each other
    than floats are from fractions.
    """
    return bisect_right(starts, float(beat))


@dataclass(frozen=True, slots=True)
class ChordAt:
    """A chord in the piece as played; it lasts to the next one."""

    start_beat: Fraction
    span: ChordSpan


@dataclass(frozen=True, slots=True)
class SectionPlace:
    """Where something stands in its section: the same on every pass.

    `section_bar` counts from 1 and is 0 in a pick-up; `bar_beat` counts beats from the bar's start, negative in
    a pick-up: beats before the section's first bar.
    """

    section: str
    section_bar: int
    bar_beat: Fraction


@dataclass(frozen=True, slots=True)
class Spot:
    """A beat of the piece as played, and what is said about it.

    Parameters
    ----------
    beat
        In the piece as played.
    bar_index
        Index of the bar that holds it.
    place, pass_number
        Where that is in a section, on which pass. A pick-up belongs to the section that it leads into.
    phrase
        Counted through the piece as played, from 0.
    style
        How tune and chords share the strings there.
    """

    beat: Fraction
    bar_index: int
    place: SectionPlace
    pass_number: int
    phrase: int
    style: Style = "rolls"


@dataclass(frozen=True, slots=True)
class Piece:
    """A song as played on some strings.

    Parameters
    ----------
    song, tuning
        What was written, and the strings it is arranged for.
    hands
        The players' hands on these strings.
    bars
        The piece as played.
    chords, chord_starts
        One entry for each change of chord, in order; and their beats, to look them up.
    phrase_starts
        Beats at which phrases begin, in order.
    measures, measure_starts
        The bars, those with a pick-up at their end in two; and their beats.
    visit_beats
        For each bar, where the playing of its section begins and ends (pick-ups not counted).
    pulse_beat, part_beat
        Length of the pulse in beats, and of its parts: halves, or thirds of a dotted pulse.
    beat_s
        Roughly how long a beat lasts at the song's tempo, in seconds: what a hand has time for.
    """

    song: Song
    tuning: Tuning
    hands: Hands
    bars: tuple[Bar, ...]
    chords: tuple[ChordAt, ...]
    chord_starts: tuple[float, ...]
    phrase_starts: tuple[float, ...]
    measures: tuple[Measure, ...]
    measure_starts: tuple[float, ...]
    visit_beats: tuple[tuple[Fraction, Fraction], ...]
    pulse_beat: Fraction
    part_beat: Fraction
    beat_s: float

    def spot(self, bar_index: int, beat: Fraction) -> Spot:
        """Return what is said about a beat, counted from a bar's start."""
        bar = self.bars[bar_index]
        at = bar.start_beat + beat
        measure = self.measures[begun(self.measure_starts, at) - 1]
        bar_beat = beat if measure.section_bar else beat - bar.length_beat
        phrase = max(begun(self.phrase_starts, at) - 1, 0)
        place = SectionPlace(measure.section, measure.section_bar, bar_beat)
        style = self.song.style_of(measure.section, measure.pass_number)
        return Spot(at, bar_index, place, measure.pass_number, phrase, style)

    def chord_at(self, beat: Fraction) -> ChordSpan:
        """Return the chord that holds at a beat of the piece as played."""
        return self.chords[begun(self.chord_starts, beat) - 1].span

    def chord_under(self, start_beat: Fraction, length_beat: Fraction) -> tuple[ChordSpan, bool]:
        """Return the chord that a note is rolled over, and whether that chord comes in with the note.

        A note that comes up to one part of a pulse before a change of chord, and rings on over it for at least as
        long, leans forward: it is rolled over the chord that comes.
        """
        after = begun(self.chord_starts, start_beat)
        now = self.chords[after - 1]
        if after < len(self.chords):
            coming = self.chords[after]
            early_beat = coming.start_beat - start_beat
            leans = early_beat <= self.part_beat and early_beat <= length_beat - early_beat
            if leans and coming.span.chord is not None:
                return coming.span, True
        return now.span, now.start_beat == start_beat and now.span.chord is not None

    def accented(self, spot: Spot, layer: Layer) -> bool:
        """Whether the song marks an accent there for a layer."""
        bar = self.bars[spot.bar_index]
        return any(
            mark.kind == "accent"
            and bar.start_beat + mark.at_beat == spot.beat
            and mark.layer in (None, layer)
            for mark in bar.marks
        )


def piece_of(song: Song, tuning: Tuning) -> Piece:
    """Lay a song out as it is played on some strings."""
    return laid_out(song, tuning, onto_neck(played_bars(song), tuning, as_written=song.as_written))


def sized_for(song: Song, tuning: Tuning) -> Song:
    """Return a song with the size of the instrument on which it is played in some tuning.

    In its own tuning that is what the song says, and so is a length in mm in any. A tuning that a single size usually
    has brings that size along, as baritone does; where the song says nothing else, or names a size that is tuned in
    another way, it is a concert one.
    """
    usual = [size for size in INSTRUMENTS.values() if size.tuning == tuning.name]
    own = tuning.open_pitches == tuning_of(song.tuning).open_pitches
    said = INSTRUMENTS.get(song.instrument)
    if song.instrument and (own or said is None or (len(usual) != 1 and len(_tuned_like(said)) > 1)):
        return song
    size = usual[0] if len(usual) == 1 else INSTRUMENTS["concert"]
    return replace(song, instrument=size.name, scale_length_mm=size.scale_length_mm)


def _tuned_like(size: Instrument) -> list[Instrument]:
    """Return the sizes that are usually tuned as one of them is."""
    return [other for other in INSTRUMENTS.values() if other.tuning == size.tuning]


def laid_out(song: Song, tuning: Tuning, bars: tuple[Bar, ...]) -> Piece:
    """Return the piece that some bars of a song make."""
    song = sized_for(song, tuning)
    hands = Hands(tuning, song.scale_length_mm, LIMITS[song.players])
    chords = chord_changes(bars)
    visits = played_visits(bars)
    measures = tuple(measure for visit in visits for measure in visit.measures)
    return Piece(
        song=song,
        tuning=tuning,
        hands=hands,
        bars=bars,
        chords=chords,
        chord_starts=tuple(float(chord.start_beat) for chord in chords),
        phrase_starts=tuple(float(beat) for beat in phrase_starts(bars)),
        measures=measures,
        measure_starts=tuple(float(measure.start_beat) for measure in measures),
        visit_beats=tuple(visit.bar_lines_beat for visit in visits for _ in visit.bars),
        pulse_beat=song.meter.pulse_beat,
        part_beat=song.meter.pulse_beat / (3 if song.meter.pulse_beat == 3 else 2),
        beat_s=float(60 / (song.tempo * song.meter.pulse_beat)),
    )


def chord_changes(bars: Sequence[Bar]) -> tuple[ChordAt, ...]:
    """Return the chords of the piece as played, one entry for each change, in order."""
    changes: list[ChordAt] = []
    for bar in bars:
        for span in bar.chords:
            if changes and changes[-1].span.played_as == span.played_as:
                continue
            changes.append(ChordAt(bar.start_beat + span.start_beat, span))
    return tuple(changes)


def phrase_starts(bars: Sequence[Bar]) -> tuple[Fraction, ...]:
    """Return where phrases begin: after each breath, else with each line of music, pick-up included."""
    starts = set()
    for visit in played_visits(bars):
        breaths = {
            bar.start_beat + mark.at_beat for bar in visit.bars for mark in bar.marks if mark.kind == "breath"
        }
        opening = [measure for measure in visit.measures if measure.opens_line]
        starts |= {measure.start_beat for measure in (opening[:1] if breaths else opening)} | breaths
    return tuple(sorted(starts))


# ---- notes that no string has


def onto_neck(bars: Iterable[Bar], tuning: Tuning, *, as_written: bool = False) -> tuple[Bar, ...]:
    """Return bars as they are played on some strings: notes that none of them has are moved by octaves.

    One rule for ear and eye: such a note is moved, by as few octaves as it takes, to where a string has it, and a sign
    behind the fret says so. It is applied to the bars as played, before anything else is worked out, so that hands,
    staff, tab and sound can't differ.

    Parameters
    ----------
    bars
        As `tercet.song.played_bars` gives them.
    tuning
        The strings.
    as_written
        Keep such notes at their pitch, and only mark them.
    """
    return tuple(_placed_bar(bar, tuning, as_written=as_written) for bar in bars)


def _placed_bar(bar: Bar, tuning: Tuning, *, as_written: bool) -> Bar:
    rows = (bar.melody, bar.between or ())
    if not any(_off_neck(note, tuning) for row in rows for note in row):
        return bar
    melody, between = (tuple(_placed(note, tuning, as_written=as_written) for note in row) for row in rows)
    return replace(bar, melody=melody, between=None if bar.between is None else between)


def _off_neck(note: Note, tuning: Tuning) -> int:
    return 0 if note.pitch is None else octaves_onto(tuning, note.pitch.midi)


def _placed(note: Note, tuning: Tuning, *, as_written: bool) -> Note:
    """Return a note where it is played."""
    octaves = _off_neck(note, tuning)
    pitch = note.pitch
    if pitch is None or not octaves or as_written:
        return replace(note, off_neck=octaves)
    return replace(note, pitch=Pitch(pitch.letter, pitch.alter, pitch.octave + octaves), off_neck=octaves)
