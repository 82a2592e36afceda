"""MusicXML 4.0 out: the tune on a staff with chords and words, and under it the tab of what the hands do.

The piece is written as it is played, every visit of a section with a rehearsal mark of its name, so that any form
can be told. Settings of the song travel as miscellaneous fields. A second voice has a staff and a tab of its own.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from tercet.arranging import Arrangement, second_part
from tercet.exchange.musicxml.notes import HELD_ON
from tercet.exchange.musicxml.reader import SETTING_PREFIX
from tercet.exchange.musicxml.symbols import add_harmony
from tercet.exchange.musicxml.tab_part import add_tab_measure
from tercet.exchange.musicxml.values import (
    NOTE_TYPES,
    Value,
    add_attributes,
    add_length,
    add_pitch,
    add_tuplet,
    tied_at,
    values_of,
)
from tercet.exchange.writing import TuneWriter, kept_settings, row_names
from tercet.song import Mark, Measure, Note, Song, Syllable, played_visits

__all__ = ["musicxml_bytes"]

_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)
_OWN_DYNAMICS = re.compile("p{1,6}|f{1,6}|m[pf]")


TITLES, SECOND_TITLES = ("Tune", "Ukulele"), ("Second voice", "Second ukulele")
"""Names of the parts, staff and tab."""


def musicxml_bytes(arrangement: Arrangement) -> tuple[bytes, tuple[str, ...]]:
    """Return an arrangement as MusicXML, and what couldn't be said in it, one sentence each."""
    song = arrangement.song
    root = Element("score-partwise", version="4.0")
    _header(root, song)
    part_list = SubElement(root, "part-list")
    second = second_part(arrangement) if arrangement.second else None
    titles = [*TITLES, *(SECOND_TITLES if second else ())]
    for number, title in enumerate(titles, 1):
        SubElement(SubElement(part_list, "score-part", id=f"P{number}"), "part-name").text = title
    pieces = [measure for visit in played_visits(arrangement.bars) for measure in visit.measures]
    divisions = _divisions(arrangement, pieces)
    writer = _StaffWriter(arrangement, divisions)
    parts = [SubElement(root, "part", id=f"P{number}") for number in range(1, len(titles) + 1)]
    _add_measures(parts[0], parts[1], writer, arrangement, divisions)
    writer.end_hairpin(parts[0][-1])
    if second is not None:
        plain = replace(
            second, bars=tuple(replace(bar, chords=(), words=(), marks=()) for bar in second.bars)
        )
        _add_measures(parts[2], parts[3], _StaffWriter(plain, divisions), plain, divisions)
    indent(root)
    text = tostring(root, encoding="unicode")
    data = f'<?xml version="1.0" encoding="UTF-8" standalone="no"?>\n{_DOCTYPE}\n{text}\n'
    return data.encode("utf-8"), (*_left_out(song), *writer.remarks())


def _add_measures(
    tune: Element, tab: Element, writer: _StaffWriter, arrangement: Arrangement, divisions: int
) -> None:
    """Add all measures of a part: its staff and its tab."""
    bar_beat, number = arrangement.song.meter.bar_beat, 0
    pieces = [measure for visit in played_visits(arrangement.bars) for measure in visit.measures]
    for index, piece in enumerate(pieces):
        short = piece.high_beat - piece.low_beat < bar_beat
        number += not (short and piece.low_beat > 0) and not (index == 0 and piece.bar.section_bar == 0)
        label = {"number": str(number)} if not short else {"number": str(number), "implicit": "yes"}
        writer.add(SubElement(tune, "measure", label), piece, first=index == 0)
        add_tab_measure(SubElement(tab, "measure", label), arrangement, piece, divisions, first=index == 0)


def _header(root: Element, song: Song) -> None:
    SubElement(SubElement(root, "work"), "work-title").text = song.title
    identification = SubElement(root, "identification")
    if song.composer:
        SubElement(identification, "creator", type="composer").text = song.composer
    if song.licence:
        SubElement(identification, "rights").text = song.licence
    SubElement(SubElement(identification, "encoding"), "software").text = "Tercet"
    if song.source_note:
        SubElement(identification, "source").text = song.source_note
    fields = SubElement(identification, "miscellaneous")
    for name, value in kept_settings(song):
        SubElement(fields, "miscellaneous-field", name=SETTING_PREFIX + name).text = value


def _divisions(arrangement: Arrangement, pieces: list[Measure]) -> int:
    """Return how many units a quarter has, so that every place and length is a whole number of them."""
    beats = {place for piece in pieces for place in (piece.start_beat, piece.end_beat)}
    for bar in arrangement.bars:
        beats |= {place for note in bar.melody for place in (note.start_beat, note.length_beat)}
        beats |= {span.start_beat for span in bar.chords}
        beats |= {mark.at_beat for mark in bar.marks}
    beats |= {gesture.start_beat for gesture in (*arrangement.gestures, *arrangement.second)}
    beats |= {gesture.length_beat for gesture in arrangement.second}
    quarter = Fraction(4, arrangement.song.meter.lower)
    return math.lcm(*((beat * quarter).denominator for beat in beats))


def _left_out(song: Song) -> Iterator[str]:
    rows = row_names(song)
    if "strum" in rows:
        yield "`strum` rows appear only as strokes in the tab"
    if "between" in rows:
        yield "`between` rows appear only as notes in the tab"
    if song.sound:
        yield "the file doesn't name the sound font"


class _StaffWriter(TuneWriter):
    """Writes the staff of the tune, measure by measure."""

    def __init__(self, arrangement: Arrangement, divisions: int) -> None:
        super().__init__(arrangement.song, arrangement.bars)
        self._divisions = divisions
        self._quarter = Fraction(4, self._song.meter.lower)
        self._chord: tuple[object, ...] | None = None
        self._hairpin = False
        self._joined = False

    def add(self, measure: Element, piece: Measure, *, first: bool) -> None:
        """Add one measure."""
        if piece.opens_line and not first:
            SubElement(measure, "print", {"new-system": "yes"})
        if first:
            add_attributes(measure, self._song, self._divisions, ("G", 2))
            self._tempo(measure)
        if piece.opens_visit:
            kind = SubElement(SubElement(measure, "direction", placement="above"), "direction-type")
            SubElement(kind, "rehearsal").text = piece.section
        notes = piece.melody
        ends = {piece.low_beat, *(note.start_beat + note.length_beat for note in notes if not note.is_rest)}
        inside = [mark for mark in piece.bar.marks if piece.holds(mark.at_beat)]
        if any(mark.kind == "breath" and mark.at_beat not in ends for mark in inside):
            self._lose("breaths where no note ends are left out", piece)
        printed = values_of([note.length_beat * self._quarter for note in notes])
        for note, values in zip(notes, printed, strict=True):
            end_beat = note.start_beat + note.length_beat
            self._chords_within(measure, piece, note.start_beat, end_beat)
            own = [mark for mark in piece.bar.marks if note.start_beat <= mark.at_beat < end_beat]
            for mark in own:
                self._direction(measure, mark, mark.at_beat - note.start_beat, piece)
            self._note(
                measure, piece, note, values, [mark for mark in own if mark.at_beat == note.start_beat]
            )

    def end_hairpin(self, measure: Element, offset: Fraction = Fraction(0)) -> None:
        """End a hairpin that is open."""
        if self._hairpin:
            direction = SubElement(measure, "direction")
            SubElement(SubElement(direction, "direction-type"), "wedge", type="stop")
            self._offset(direction, offset)
            self._hairpin = False

    def _units(self, beats: Fraction) -> str:
        return str(int(beats * self._quarter * self._divisions))

    def _offset(self, element: Element, offset: Fraction) -> None:
        if offset:
            SubElement(element, "offset").text = self._units(offset)

    def _tempo(self, measure: Element) -> None:
        meter = self._song.meter
        pulse_quarter = meter.pulse_beat * self._quarter
        direction = SubElement(measure, "direction", placement="above")
        metronome = SubElement(SubElement(direction, "direction-type"), "metronome")
        unit_quarter = Fraction(4, meter.lower) * (1 if meter.pulse_beat == 1 else 2)
        SubElement(metronome, "beat-unit").text = next(
            name for name, quarters in NOTE_TYPES.items() if quarters == unit_quarter
        )
        if meter.pulse_beat == 3:
            SubElement(metronome, "beat-unit-dot")
        tempo = self._song.tempo
        SubElement(metronome, "per-minute").text = f"{float(tempo):.6f}".rstrip("0").rstrip(".")
        SubElement(direction, "sound", tempo=f"{float(tempo * pulse_quarter):.6f}".rstrip("0").rstrip("."))

    # ---- notes

    def _note(
        self, measure: Element, piece: Measure, note: Note, values: tuple[Value, ...], marks: list[Mark]
    ) -> None:
        """Add a note or rest; a length that no single note has is written as several, those of a pitch tied."""
        whole = piece.low_beat == 0 and note.length_beat == piece.high_beat == self._song.meter.bar_beat
        pitch = self._pitch_of(note)
        if pitch is None and whole:
            values = (Value(note.length_beat * self._quarter, ""),)
        for place, value in enumerate(values):
            element = SubElement(measure, "note")
            if pitch is None:
                SubElement(element, "rest", {"measure": "yes"} if whole else {})
            else:
                add_pitch(element, pitch)
            is_last = place + 1 == len(values)
            ties = tied_at(place, len(values)) if pitch else []
            if pitch and place == 0 and self._tied:
                ties.insert(0, "stop")
            if pitch and is_last and note.tied_on:
                ties.append("start")
            add_length(element, value, self._divisions, ties)
            notations = Element("notations")
            for name in ties:
                SubElement(notations, "tied", type=name)
            add_tuplet(notations, value)
            self._notations(notations, piece, note, marks, (place == 0, is_last))
            if len(notations):
                element.append(notations)
            syllable = dict(piece.bar.words).get(note.start_beat)
            if syllable is not None and pitch is not None and not self._tied and place == 0:
                self._lyric(element, syllable)
        self._tied = note.tied_on

    def _notations(
        self, notations: Element, piece: Measure, note: Note, marks: list[Mark], ends: tuple[bool, bool]
    ) -> None:
        """Add what stands at a note: at the first of those that it is written with, or at the last."""
        is_first, is_last = ends
        kinds = {mark.kind for mark in marks if mark.layer is None} if is_first else set()
        breath = (
            is_last
            and piece.bar.start_beat + note.start_beat + note.length_beat in self._breaths
            and not note.is_rest
        )
        accent = "accent" in kinds and not note.is_rest
        if not is_first and not note.is_rest:
            technical = SubElement(notations, "technical")
            SubElement(technical, "other-technical").text = HELD_ON
        elif note.pin is not None or note.position is not None:
            _technical(SubElement(notations, "technical"), note)
        if accent or breath:
            articulations = SubElement(notations, "articulations")
            if accent:
                SubElement(articulations, "accent")
            if breath:
                SubElement(articulations, "breath-mark")
        if "fermata" in kinds:
            SubElement(notations, "fermata")

    def _lyric(self, element: Element, syllable: Syllable) -> None:
        lyric = SubElement(element, "lyric", number="1")
        if syllable.holds:
            SubElement(lyric, "extend", type="continue")
            return
        kinds = {
            (False, False): "single",
            (False, True): "begin",
            (True, True): "middle",
            (True, False): "end",
        }
        SubElement(lyric, "syllabic").text = kinds[self._joined, syllable.joined]
        SubElement(lyric, "text").text = syllable.text
        self._joined = syllable.joined

    # ---- chords and marks

    def _chords_within(self, measure: Element, piece: Measure, low: Fraction, high: Fraction) -> None:
        for span in piece.bar.chords:
            if not low <= span.start_beat < high:
                continue
            same = self._chord == span.played_as and not (
                piece.opens_visit and span.start_beat == piece.low_beat
            )
            if not same:
                add_harmony(measure, span, int(self._units(span.start_beat - low)))
            self._chord = span.played_as

    def _direction(self, measure: Element, mark: Mark, offset: Fraction, piece: Measure) -> None:
        if mark.layer is not None:
            self._lose("marks for one layer are left out", piece)
        elif mark.kind in ("accent", "fermata"):
            if offset:
                self._lose(f"{mark.kind} marks where no note starts are left out", piece)
        elif mark.kind in ("dynamic", "hairpin"):
            self.end_hairpin(measure, offset)
            direction = SubElement(measure, "direction", placement="below")
            kind = SubElement(direction, "direction-type")
            if mark.kind == "dynamic":
                _dynamic(SubElement(kind, "dynamics"), mark.value)
            else:
                SubElement(kind, "wedge", type="crescendo" if mark.value == "louder" else "diminuendo")
                self._hairpin = True
            self._offset(direction, offset)
        elif mark.kind in ("rit", "a-tempo"):
            direction = SubElement(measure, "direction", placement="above")
            text = "rit." if mark.kind == "rit" else "a tempo"
            SubElement(SubElement(direction, "direction-type"), "words").text = text
            self._offset(direction, offset)


def _dynamic(dynamics: Element, mark: str) -> None:
    """Add a dynamic mark, as text where MusicXML has no element for it."""
    if _OWN_DYNAMICS.fullmatch(mark):
        SubElement(dynamics, mark)
    else:
        SubElement(dynamics, "other-dynamics").text = mark


def _technical(technical: Element, note: Note) -> None:
    """Add string and fret as written, and a pin in our own spelling."""
    if note.position is not None:
        SubElement(technical, "string").text = str(note.position[0])
        SubElement(technical, "fret").text = str(note.position[1])
    if note.pin is not None:
        pin = "".join(map(str, note.pin.strings)) or note.pin.action
        SubElement(technical, "other-technical").text = f"[{pin}]"
