"""The staff of the tune of a printed bar in MEI: notes, rests, ties, tuplets, beams and accidentals."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from math import lcm
from xml.etree.ElementTree import Element, SubElement

from tercet.arranging import Arrangement
from tercet.publish.score.note_values import Value, odd_part, set_value, tuplet, values_of, within_tuplet
from tercet.publish.score.written_form import tied_into
from tercet.song import Measure, Meter, Note, Song
from tercet.theory import Pitch, spell
from tercet.theory.pitch import signature_alters

__all__ = ["ACCIDENTALS", "LOW_CLEF_MIDI", "TuneNote", "fill_tune", "octave_up", "tune_notes"]

LOW_CLEF_MIDI = 60
"""A tune whose notes lie, half of them, under middle C is written an octave higher, with a small 8 under the clef."""

ACCIDENTALS = {-2: "ff", -1: "f", 0: "n", 1: "s", 2: "x"}


@dataclass(frozen=True, slots=True)
class TuneNote:
    """A note or rest of the tune within a printed bar.

    Parameters
    ----------
    name
        Name of its first element.
    at_beat, length_beat
        Place in the measure, and length.
    pitch
        As printed; None for a rest.
    tied_from, tied_on
        Whether it goes on from the note before, and whether the next goes on from it.
    accent
        Whether the song marks an accent on it.
    """

    name: str
    at_beat: Fraction
    length_beat: Fraction
    pitch: Pitch | None
    tied_from: bool
    tied_on: bool
    accent: bool

    @property
    def struck(self) -> bool:
        """Whether a stroke begins it."""
        return self.pitch is not None and not self.tied_from


def tune_notes(measure_name: str, measure: Measure, arrangement: Arrangement) -> tuple[TuneNote, ...]:
    """Return the notes of the tune that a measure holds, named after its printed bar."""
    bar = arrangement.bars[measure.bar_index]
    accents = {mark.at_beat for mark in bar.marks if mark.kind == "accent" and mark.layer in (None, "melody")}
    tied = tied_into(measure, arrangement)
    notes = []
    for index, note in enumerate(measure.melody):
        pitch = _pitch(note, arrangement)
        end_beat = min(note.start_beat + note.length_beat, measure.high_beat)
        notes.append(
            TuneNote(
                f"{measure_name}t{index}",
                note.start_beat - measure.low_beat,
                end_beat - note.start_beat,
                pitch,
                tied and pitch is not None,
                note.tied_on and pitch is not None,
                note.start_beat in accents,
            )
        )
        tied = note.tied_on
    return tuple(notes)


def _pitch(note: Note, arrangement: Arrangement) -> Pitch | None:
    """Return the pitch of a note, one given by string and fret spelt as the key spells it."""
    if note.pitch is not None or note.position is None:
        return note.pitch
    string, fret = note.position
    return spell(arrangement.tuning.midi(string, fret), arrangement.song.key)


def octave_up(arrangement: Arrangement) -> bool:
    """Whether the tune lies so low that it is written an octave higher."""
    midis = sorted(
        pitch.midi
        for bar in arrangement.bars
        for note in bar.melody
        if (pitch := _pitch(note, arrangement)) is not None
    )
    return bool(midis) and midis[len(midis) // 2] < LOW_CLEF_MIDI


def fill_tune(
    layer: Element, notes: Sequence[TuneNote], measure: Measure, song: Song, *, higher: bool
) -> Mapping[str, Element]:
    """Fill the tune's layer of a printed bar, and return the first elements of its notes by their names."""
    whole_bar = measure.length_beat == song.meter.bar_beat
    if whole_bar and all(note.pitch is None for note in notes):
        SubElement(layer, "mRest")
        return {}
    writer = _Writer(song, higher=higher)
    at_beat = Fraction(0)
    for odd, group in _tuplet_groups(notes, song.meter):
        members = list(group)
        gap_beat = members[0].at_beat - at_beat
        if gap_beat > 0:
            writer.rest(layer, gap_beat)
        at_beat = members[-1].at_beat + members[-1].length_beat
        parent = tuplet(layer, odd, {"num.place": "above", "bracket.place": "above"})
        for beamed, beam_group in groupby(members, key=lambda note: _beam_of(note, song.meter, odd)):
            in_beam = list(beam_group)
            beam = SubElement(parent, "beam") if beamed is not None and len(in_beam) > 1 else parent
            for note in in_beam:
                writer.note(beam, note, odd)
    return writer.elements


def _tuplet_groups(notes: Sequence[TuneNote], meter: Meter) -> Iterator[tuple[int, list[TuneNote]]]:
    """Yield runs of notes: plain ones (1), or those of one tuplet with the odd part of their lengths."""
    plain: list[TuneNote] = []
    held: list[TuneNote] = []
    for note in notes:
        whole = note.length_beat / meter.lower
        if not held and odd_part(whole) == 1:
            plain.append(note)
            continue
        if plain:
            yield 1, plain
            plain = []
        held.append(note)
        if odd_part(sum((member.length_beat for member in held), Fraction(0)) / meter.lower) == 1:
            yield _common_odd(held, meter), held
            held = []
    if plain:
        yield 1, plain
    if held:
        yield _common_odd(held, meter), held


def _common_odd(notes: Sequence[TuneNote], meter: Meter) -> int:
    """Return the odd part that all lengths of a tuplet share."""
    return lcm(*(odd_part(note.length_beat / meter.lower) for note in notes))


def _beam_of(note: TuneNote, meter: Meter, odd: int) -> int | None:
    """Return which beam a note may hang on, counted through the bar; None for rests and notes without flags."""
    if note.pitch is None or within_tuplet(note.length_beat / meter.lower, odd) >= Fraction(1, 4):
        return None
    return int(note.at_beat / beam_beat(meter))


def beam_beat(meter: Meter) -> Fraction:
    """Return how long a beam may be, in beats: a pulse, but at least a quarter; all of 3/8."""
    if meter.pulse_beat > 1 or meter.lower <= 4:
        return meter.pulse_beat
    return meter.bar_beat if meter.upper <= 3 else Fraction(meter.lower, 4)


class _Writer:
    """Writes notes with the accidentals that hold so far in their bar."""

    def __init__(self, song: Song, *, higher: bool) -> None:
        self._lower = song.meter.lower
        self._key = signature_alters(song.key.fifths)
        self._shown: dict[tuple[str, int], int] = {}
        self._higher = higher
        self.elements: dict[str, Element] = {}

    def rest(self, parent: Element, length_beat: Fraction) -> None:
        """Add rests of a plain length."""
        for value in values_of(length_beat / self._lower):
            set_value(SubElement(parent, "rest"), value)

    def note(self, parent: Element, note: TuneNote, odd: int) -> None:
        """Add one note: several tied values where no single one is as long."""
        values = values_of(within_tuplet(note.length_beat / self._lower, odd))
        for index, value in enumerate(values):
            name = note.name if index == 0 else f"{note.name}x{index}"
            if note.pitch is None:
                set_value(SubElement(parent, "rest", {"xml:id": name}), value)
                continue
            first, last = index == 0, index == len(values) - 1
            element = self._pitched(parent, note.pitch, name, value)
            before, after = not first or note.tied_from, not last or note.tied_on
            tie = {(True, True): "m", (False, True): "i", (True, False): "t"}.get((before, after))
            if tie:
                element.set("tie", tie)
            if first:
                self.elements[note.name] = element
                if note.accent:
                    element.set("artic", "acc")

    def _pitched(self, parent: Element, pitch: Pitch, name: str, value: Value) -> Element:
        octave = pitch.octave + self._higher
        element = SubElement(
            parent, "note", {"xml:id": name, "pname": pitch.letter.lower(), "oct": str(octave)}
        )
        set_value(element, value)
        place = (pitch.letter, octave)
        holds = self._shown.get(place, self._key.get(pitch.letter, 0))
        if pitch.alter != holds:
            element.set("accid", ACCIDENTALS[pitch.alter])
        elif pitch.alter:
            element.set("accid.ges", ACCIDENTALS[pitch.alter])
        self._shown[place] = pitch.alter
        return element
