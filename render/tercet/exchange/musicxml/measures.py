"""The measures of a MusicXML part, read in time: notes of one voice, chord symbols, words, marks, signs."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from xml.etree.ElementTree import Element

from tercet.exchange.leadsheet import LeadChord, LeadMark, LeadMeasure, LeadNote, TuneError
from tercet.exchange.musicxml.directions import DirectionReader
from tercet.exchange.musicxml.notes import (
    add_notations,
    is_held_on,
    is_tied,
    pin_of,
    pitch_of,
    position_of,
    words_of,
)
from tercet.exchange.musicxml.symbols import read_symbol
from tercet.exchange.musicxml.voices import voice_of, voices_of_tune
from tercet.theory import Pitch
from tercet.wording import counted

__all__ = ["Draft", "Log", "MeasureReader"]


@dataclass(slots=True)
class Draft:
    """A measure while it is read.

    `keeps_chord` tells whether the last note is one of the tune, which others struck with it may join, and `last_place`
    where among the notes, which are in order of time, it stands.
    """

    notes: list[LeadNote] = field(default_factory=list)
    chords: list[LeadChord] = field(default_factory=list)
    marks: list[LeadMark] = field(default_factory=list)
    signs: dict[str, object] = field(default_factory=dict)
    now: Fraction = Fraction(0)
    end: Fraction = Fraction(0)
    last_place: int = 0
    keeps_chord: bool = False
    graces: list[Pitch] = field(default_factory=list)


class Log:
    """What is said of a part: dropped and changed things with their measures, and damage, which ends the reading.

    Parameters
    ----------
    file
        What to call the file in messages.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.number = ""
        self._where: dict[str, list[str]] = {}

    def remarks(self) -> list[str]:
        """Return what was dropped or changed, one sentence a kind, with the measures."""
        sentences = []
        for what, numbers in self._where.items():
            places = list(dict.fromkeys(numbers))
            shown = ", ".join(places[:8]) + (", …" if len(places) > 8 else "")
            sentences.append(f"{what} (measure{'' if len(places) == 1 else 's'} {shown})")
        return sentences

    def drop(self, what: str) -> None:
        """Note that something was dropped or changed in this measure."""
        self._where.setdefault(what, []).append(self.number or "?")

    def damaged(self, what: str) -> TuneError:
        """Return the error for what can't be in this measure."""
        place = f"measure {self.number}" if self.number else "before the first measure"
        return TuneError(f"{place}: {what}, so {self.file} is damaged: export it again")

    def whole(self, text: str | None, what: str, low: int, high: int) -> int:
        """Return a whole number of the file; `TuneError` beyond its range."""
        try:
            number = int((text or "").strip())
        except ValueError:
            number = low - 1
        if not low <= number <= high:
            shown = (text or "nothing").strip()[:20]
            raise self.damaged(f"{what} must be a whole number from {low} to {high} (got {shown})")
        return number

    def fraction(self, text: str | None, what: str) -> Fraction:
        """Return a number of the file; `TuneError` when it isn't one."""
        cleaned = (text or "").strip()
        if not re.fullmatch(r"-?\d{1,9}(\.\d{1,9})?", cleaned):
            raise self.damaged(f"{what} must be a number (got {cleaned[:20] or 'nothing'})")
        return Fraction(cleaned)

    def take_over(self, other: Log, beginning: str) -> None:
        """Add what another log says of things whose name begins so."""
        for what, numbers in other._where.items():
            if what.startswith(beginning):
                self._where.setdefault(what, []).extend(numbers)


LONGEST_QUARTERS = 64
"""Of one measure: four times as long as any bar that a song may have."""


def _start(note: LeadNote) -> Fraction:
    return note.start_quarter


class MeasureReader:
    """Reads a part's measures.

    Parameters
    ----------
    file
        What to call the file in messages.
    voice
        The voice that has the tune.
    stays
        Whether only that voice is read, also where the tune seems to go on in another.
    """

    def __init__(self, file: str, voice: str, *, stays: bool = False) -> None:
        self._log = Log(file)
        self._voice = voice
        self._voices = frozenset({voice})
        self._stays = stays
        self._divisions = Fraction(1)
        self._meter = (4, 4)
        self._directions = DirectionReader(self._log)
        self.fifths: int | None = None
        self.mode = ""
        self.last_pitch_class: int | None = None

    @property
    def tempo_quarters(self) -> Fraction | None:
        """Quarters a minute at the start; None when the part gives no tempo."""
        return self._directions.tempo_quarters

    def remarks(self) -> list[str]:
        """Return what was dropped or changed, one sentence a kind, with the measures."""
        return self._log.remarks()

    def read(
        self, measures: Sequence[tuple[str, Element]], chord_measures: Sequence[tuple[str, Element]] | None
    ) -> tuple[LeadMeasure, ...]:
        """Return the measures; chord symbols come from `chord_measures` where those are given."""
        read = []
        lines = voices_of_tune([element for _, element in measures], self._voice)
        for (number, element), voices in zip(measures, lines, strict=True):
            self._log.number = number
            if not self._stays:
                self._set_voices(voices)
            read.append(self._measure(number, element, with_notes=True))
        if chord_measures is not None:
            other = MeasureReader(self._log.file, self._voice)
            chords = [
                other._measure(number, element, with_notes=False).chords for number, element in chord_measures
            ]
            read = [
                replace(measure, chords=chords[index] if index < len(chords) else ())
                for index, measure in enumerate(read)
            ]
            self._log.take_over(other._log, "chord")
        return tuple(read)

    def lengths(self, measures: Sequence[tuple[str, Element]]) -> list[Fraction]:
        """Return how long each measure of a part is, in quarters, that isn't read otherwise."""
        return [
            self._measure(number, element, with_notes=False).length_quarter for number, element in measures
        ]

    def _set_voices(self, voices: frozenset[str]) -> None:
        others = sorted(voices - {self._voice})
        if others:
            self._log.drop(f"the tune goes on in voice {', '.join(others)}")
        self._voices = voices

    # ---- a measure

    def _measure(self, number: str, element: Element, *, with_notes: bool) -> LeadMeasure:
        self._log.number = number
        draft = Draft()
        for child in element:
            self._child(child, draft, with_notes)
        length = draft.end
        nominal = Fraction(4 * self._meter[0], self._meter[1])
        if not draft.notes and length == 0:
            length = nominal
        if length > LONGEST_QUARTERS:
            raise self._log.damaged(f"it is {float(length):g} quarters long, which no tune has")
        endings = self._directions.endings
        if draft.signs.pop("ending_stops", False):
            self._directions.endings = ()
        return LeadMeasure(
            number, length, self._meter, tuple(draft.notes), tuple(draft.chords), tuple(draft.marks),
            endings=endings, **draft.signs,  # type: ignore[arg-type]
        )  # fmt: skip

    def _child(self, child: Element, draft: Draft, with_notes: bool) -> None:
        if child.tag == "attributes":
            self._attributes(child)
        elif child.tag == "note":
            self._note(child, draft, with_notes)
        elif child.tag in ("backup", "forward"):
            step = self._duration(child)
            draft.now = max(draft.now + (step if child.tag == "forward" else -step), Fraction(0))
            draft.end = max(draft.end, draft.now)
        elif child.tag == "harmony":
            self._harmony(child, draft)
        elif child.tag == "direction":
            at = max(draft.now + self._offset(child), Fraction(0))
            self._directions.direction(child, at, draft)
        elif child.tag == "sound":
            self._directions.sound(child, draft)
        elif child.tag == "barline":
            self._directions.barline(child, draft)
        elif child.tag == "print" and child.get("new-system") == "yes":
            draft.signs["new_line"] = True

    def _duration(self, element: Element) -> Fraction:
        duration = self._log.fraction(element.findtext("duration"), "a duration") / self._divisions
        if not 0 <= duration <= LONGEST_QUARTERS:
            raise self._log.damaged(f"a duration of {float(duration):g} quarters is more than any tune has")
        return duration

    def _attributes(self, element: Element) -> None:
        if element.find("divisions") is not None:
            self._divisions = self._log.fraction(element.findtext("divisions"), "divisions")
            if self._divisions <= 0:
                raise self._log.damaged("divisions must be more than 0, for lengths are divided by it")
        fifths = element.findtext("key/fifths")
        if fifths is not None:
            self._set_key(
                self._log.whole(fifths, "fifths", -7, 7), (element.findtext("key/mode") or "").strip()
            )
        beats, beat_type = element.findtext("time/beats"), element.findtext("time/beat-type")
        if beats is not None:
            upper = sum(self._log.whole(part, "beats", 1, 64) for part in beats.split("+"))
            self._meter = (upper, self._log.whole(beat_type, "beat-type", 1, 64))
        if element.find("transpose") is not None:
            chromatic = self._log.whole(element.findtext("transpose/chromatic"), "transpose", -24, 24)
            octaves = self._log.whole(
                element.findtext("transpose/octave-change") or "0", "octave-change", -4, 4
            )
            if chromatic or octaves:
                sounds = chromatic + 12 * octaves
                way = f"{counted(abs(sounds), 'semitone')} {'above' if sounds > 0 else 'below'}"
                self._log.drop(f"the part sounds {way} what is written: kept as written")

    def _set_key(self, fifths: int, mode: str) -> None:
        if self.fifths is None:
            self.fifths, self.mode = fifths, mode
        elif fifths != self.fifths:
            self._log.drop(
                "a change of key is left out, as a song has only one; the notes stay as they sound"
            )

    # ---- notes

    def _note(self, element: Element, draft: Draft, with_notes: bool) -> None:
        is_ours = with_notes and voice_of(element) in self._voices and element.find("cue") is None
        if element.find("grace") is not None:
            if is_ours:
                self._grace(element, draft)
            return
        is_chord = element.find("chord") is not None
        length = self._duration(element)
        if is_chord:
            if is_ours and draft.keeps_chord:
                self._second_note(pitch_of(element, self._log), is_tied(element), draft)
            return
        start = draft.now
        draft.now += length
        draft.end = max(draft.end, draft.now)
        draft.keeps_chord = is_ours and length > 0
        if draft.keeps_chord:
            self._note_of_tune(element, start, length, draft)

    def _grace(self, element: Element, draft: Draft) -> None:
        pitch = pitch_of(element, self._log)
        if pitch is not None:
            self._log.drop("grace notes are left out")
            draft.graces.append(pitch)

    def _note_of_tune(self, element: Element, start: Fraction, length: Fraction, draft: Draft) -> None:
        pitch = pitch_of(element, self._log)
        if draft.notes and is_held_on(element):
            self._hold_on(element, length, draft)
            return
        place = bisect_right(draft.notes, start, key=_start)
        before = draft.notes[place - 1] if place else None
        if before is not None and start < before.end_quarter:
            self._log.drop("notes of one voice that overlap were cut")
            if start == before.start_quarter:
                draft.keeps_chord = False
                return
            draft.notes[place - 1] = replace(before, length_quarter=start - before.start_quarter)
        draft.last_place = place
        draft.notes.insert(
            place,
            LeadNote(
                start,
                length,
                pitch,
                pitch is not None and is_tied(element),
                words_of(element),
                tuple(draft.graces),
                position_of(element, self._log),
                pin_of(element),
            ),
        )
        draft.graces = []
        draft.keeps_chord = pitch is not None
        if pitch is not None:
            self.last_pitch_class = pitch.pitch_class
        add_notations(element, start, start + length, draft, self._log)

    def _hold_on(self, element: Element, length: Fraction, draft: Draft) -> None:
        """Lengthen the note before."""
        before = draft.notes[draft.last_place]
        draft.notes[draft.last_place] = replace(
            before, length_quarter=before.length_quarter + length, tied_on=is_tied(element)
        )
        end = before.start_quarter + before.length_quarter + length
        add_notations(element, before.start_quarter, end, draft, self._log)

    def _second_note(self, pitch: Pitch | None, tied_on: bool, draft: Draft) -> None:
        """Keep the higher of two notes struck together."""
        if pitch is None:
            return
        self._log.drop("only the highest of notes struck together is kept")
        before = draft.notes[draft.last_place]
        if before.pitch is not None and pitch.midi > before.pitch.midi:
            draft.notes[draft.last_place] = replace(before, pitch=pitch, tied_on=tied_on, position=None)
            self.last_pitch_class = pitch.pitch_class

    # ---- chord symbols

    def _harmony(self, element: Element, draft: Draft) -> None:
        start = max(draft.now + self._offset(element), Fraction(0))
        symbol = read_symbol(element, start)
        if symbol.remark:
            self._log.drop(symbol.remark)
        if symbol.chord is not None:
            draft.chords = [each for each in draft.chords if each.start_quarter != start]
            draft.chords.append(symbol.chord)

    def _offset(self, element: Element) -> Fraction:
        if element.find("offset") is None:
            return Fraction(0)
        return self._log.fraction(element.findtext("offset"), "an offset") / self._divisions
