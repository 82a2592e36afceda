"""The music of an ABC 2.1 tune, sign by sign: notes, bars, repeats, chord symbols."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tercet.errors import ParameterError
from tercet.exchange.abc_keys import AbcKey
from tercet.exchange.abc_signs import (
    ACCIDENTALS,
    INNER,
    JUMPS,
    LONGEST_QUARTERS,
    MARKS,
    MOST_DIGITS,
    SIGNS,
    SILENT,
    ending_numbers,
    length_of,
    read_bar_line,
)
from tercet.exchange.chord_names import read_chord_name
from tercet.exchange.directions import mark_of_words
from tercet.exchange.leadsheet import LeadChord, LeadMark, LeadMeasure, LeadNote, TuneError
from tercet.song import MarkKind
from tercet.theory import Pitch
from tercet.theory.chords import ChordNameError

__all__ = ["AbcReader"]

_ANNOTATION = tuple("^_<>@")


@dataclass(slots=True)
class _Draft:
    """The measure that is being read."""

    notes: list[LeadNote] = field(default_factory=list)
    chords: list[LeadChord] = field(default_factory=list)
    marks: list[LeadMark] = field(default_factory=list)
    signs: dict[str, object] = field(default_factory=dict)
    now: Fraction = Fraction(0)
    accidentals: dict[str, int] = field(default_factory=dict)


class AbcReader:
    """Reads the music of one voice.

    Parameters
    ----------
    key, meter, unit_quarter
        What the header says; the unit is the length of a note without a figure, in quarters.
    read_field
        Called with (letter, text) for a field within the music that isn't K, L or M.
    """

    def __init__(
        self,
        key: AbcKey,
        meter: tuple[int, int],
        unit_quarter: Fraction,
        read_field: Callable[[str, str], None],
    ) -> None:
        self.measures: list[LeadMeasure] = []
        self.key = key
        self.meter = meter
        self.unit_quarter = unit_quarter
        self.lost: Counter[str] = Counter()
        self.struck: list[tuple[int, int]] = []
        self._read_field = read_field
        self._draft = _Draft()
        self._endings: tuple[int, ...] = ()
        self._broken = ""
        self._breath = False
        self._tied_over: Pitch | None = None
        self._tuplet = (Fraction(1), 0)
        self._readers: dict[str, Callable[[re.Match[str]], None]] = {
            "field": self._field,
            "ending": self._ending,
            "bar": self._bar,
            "quoted": self._quoted,
            "decoration": self._decoration,
            "grace": self._grace,
            "tuplet": self._start_tuplet,
            "note": self._note,
            "rest": self._rest,
            "measures": self._measures,
            "chord": self._chord,
            "broken": self._broken_rhythm,
            "tie": self._tie,
            "overlay": self._nothing,
            "spacer": self._nothing,
            "plain": self._plain,
            "other": self._nothing,
        }

    def line(self, text: str) -> None:
        """Read one line of music; `struck` then holds (measure, note) of its notes, for the words below it."""
        self.struck = []
        if not self._draft.notes:
            self._draft.signs["new_line"] = True
        skipping = False
        for match in SIGNS.finditer(text):
            kind = next(name for name in self._readers if match[name] is not None)
            if kind == "overlay":
                self.lost["a second voice within a bar (&) is left out"] += 1
                skipping = True
            elif kind in ("bar", "ending"):
                skipping = False
            if not skipping:
                self._readers[kind](match)

    def name_section(self, text: str) -> None:
        """Note that a section of this name starts here."""
        if self._draft.notes:
            self._close()
        self._draft.signs.setdefault("section", text)

    def finish(self) -> None:
        """Close the last measure."""
        self._close()

    # ---- bars

    def _close(self) -> None:
        draft = self._draft
        if not draft.notes:
            draft.accidentals = {}
            return
        self._tied_over = draft.notes[-1].pitch if draft.notes[-1].tied_on else None
        measure = LeadMeasure(
            str(len(self.measures) + 1),
            draft.now,
            self.meter,
            tuple(draft.notes),
            tuple(draft.chords),
            tuple(draft.marks),
            endings=self._endings,
        )
        self.measures.append(replace(measure, **draft.signs))  # type: ignore[arg-type]
        self._draft = _Draft()

    def _check_length(self) -> None:
        if self._draft.now > LONGEST_QUARTERS:
            raise TuneError(
                f"bar {len(self.measures) + 1} is longer than {LONGEST_QUARTERS} quarters: a bar line is missing"
            )

    def _mark_last(self, **signs: object) -> None:
        if self.measures:
            self.measures[-1] = replace(self.measures[-1], **signs)  # type: ignore[arg-type]

    def _bar(self, match: re.Match[str]) -> None:
        text = match["bar"]
        if text == "]":
            return
        self._close()
        line = read_bar_line(text)
        if line.repeat_times:
            self._mark_last(repeat_times=line.repeat_times)
        if line.closes:
            self._endings = ()
        if line.repeat_start:
            self._draft.signs["repeat_start"] = True
        if line.endings:
            self._endings = line.endings

    def _ending(self, match: re.Match[str]) -> None:
        self._close()
        self._endings = ending_numbers(match["ending"][1:])

    # ---- notes

    def _note(self, match: re.Match[str]) -> None:
        self._add(self._pitch(match), length_of(match["length"]))

    def _rest(self, match: re.Match[str]) -> None:
        self._add(None, length_of(match["rest_length"]))

    def _chord(self, match: re.Match[str]) -> None:
        """Keep the highest of notes struck together; the first says how long they last, as the standard has it."""
        inner = list(INNER.finditer(match["inside"]))
        pitches = [self._pitch(each) for each in inner if each["letter"] not in "xz"]
        if len(pitches) > 1:
            self.lost["of notes struck together only the highest is kept"] += 1
        length = length_of(inner[0]["length"]) * length_of(match["chord_length"])
        self._add(max(pitches, key=lambda pitch: pitch.midi, default=None), length)
        if "-" in match["inside"]:
            self._tie(match)

    def _measures(self, match: re.Match[str]) -> None:
        if self._draft.notes:
            self.lost["Z within a bar is read as z"] += 1
            self._add(None, length_of(match["count"]))
            return
        count = int(match["count"] or 1) if len(match["count"]) <= MOST_DIGITS else 10_000
        if count > 2000:
            raise TuneError(f"{match['measures'][:20]}: so many bars of rest are beyond all use: correct it")
        for index in range(count):
            if index:
                self._close()
            length = Fraction(4 * self.meter[0], self.meter[1])
            self._draft.notes.append(LeadNote(Fraction(0), length, None))
            self._draft.now = length

    def _pitch(self, match: re.Match[str]) -> Pitch:
        letter = match["letter"]
        octave = (5 if letter.islower() else 4) + match["octave"].count("'") - match["octave"].count(",")
        name = letter.upper()
        tied, self._tied_over = self._tied_over, None
        if match["accidental"]:
            self._draft.accidentals[name] = ACCIDENTALS[match["accidental"]]
        alter = self._draft.accidentals.get(name, self.key.alters.get(name, 0))
        if tied is not None and not match["accidental"] and (tied.letter, tied.octave) == (name, octave):
            alter = tied.alter
        try:
            return Pitch(name, alter, octave)
        except ParameterError:
            raise TuneError(f"the note {match[0][:20]} is beyond all instruments: correct it") from None

    def _add(self, pitch: Pitch | None, factor: Fraction) -> None:
        draft = self._draft
        length = factor * self.unit_quarter
        ratio, left = self._tuplet
        if left:
            length *= ratio
            self._tuplet = (ratio, left - 1)
        length *= self._share_of_broken_rhythm(length)
        if length == 0:
            return
        if pitch is not None:
            self.struck.append((len(self.measures), len(draft.notes)))
        draft.notes.append(LeadNote(draft.now, length, pitch))
        draft.now += length
        self._check_length()
        if self._breath:
            draft.marks.append(LeadMark(draft.now, "breath"))
            self._breath = False

    def _broken_rhythm(self, match: re.Match[str]) -> None:
        self._broken = match["broken"]

    def _share_of_broken_rhythm(self, length_quarter: Fraction) -> Fraction:
        """Return what is left of a note after ``>`` or ``<``, whose other part the note before it gets.

        ``>`` lengthens the first by a half and shortens the second by as much, ``>>`` by three quarters. Between notes
        of different lengths the standard leaves open what is meant: nothing is changed, and that is said.
        """
        sign, self._broken = self._broken, ""
        if not sign or not self._draft.notes:
            return Fraction(1)
        last = self._draft.notes[-1]
        if length_quarter != last.length_quarter:
            self.lost[f"{sign} between notes of different lengths is left out, as it says nothing clear"] += 1
            return Fraction(1)
        short = Fraction(1, 2 ** len(sign))
        first, second = (2 - short, short) if sign[0] == ">" else (short, 2 - short)
        self._draft.notes[-1] = replace(last, length_quarter=last.length_quarter * first)
        self._draft.now = last.start_quarter + last.length_quarter * first
        return second

    def _start_tuplet(self, match: re.Match[str]) -> None:
        parts = match["tuplet"][1:].split(":")
        notes = int(parts[0])
        compound = self.meter[1] == 8 and self.meter[0] % 3 == 0
        usual = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}.get(notes, 3 if compound else 2)
        in_time = int(parts[1][:2]) if len(parts) > 1 and parts[1] else usual
        count = int(parts[2][:2]) if len(parts) > 2 and parts[2] else notes
        self._tuplet = (Fraction(in_time or 1, notes), count)

    def _tie(self, _match: re.Match[str]) -> None:
        if self._draft.notes and self._draft.notes[-1].pitch is not None:
            self._draft.notes[-1] = replace(self._draft.notes[-1], tied_on=True)

    def _grace(self, _match: re.Match[str]) -> None:
        self.lost["grace notes are left out"] += 1

    # ---- what stands above

    def _quoted(self, match: re.Match[str]) -> None:
        text = match["quoted"][1:-1].strip()
        if not text:
            return
        if text.startswith(_ANNOTATION):
            kind = mark_of_words(text[1:])
            if kind:
                self._draft.marks.append(LeadMark(self._draft.now, kind))
                return
            self.lost[f"the annotation “{text[1:40]}” is left out"] += 1
            return
        name = re.split(r"[(;\n]", text)[0].strip() if not re.match(r"[A-G][#b]?m?7?\(", text) else text
        if text.upper().rstrip(".") in ("N.C", "NC"):
            self._draft.chords.append(LeadChord(self._draft.now, None))
            return
        try:
            named = read_chord_name(name)
        except ChordNameError:
            self.lost[f"“{text[:30]}” above the notes isn't a chord, and is left out"] += 1
            return
        if not named.exact:
            self.lost[f"chord symbol {text[:30]} became {named.chord}"] += 1
        self._draft.chords = [each for each in self._draft.chords if each.start_quarter != self._draft.now]
        self._draft.chords.append(LeadChord(self._draft.now, named.chord))

    def _decoration(self, match: re.Match[str]) -> None:
        name = match["decoration"][1:-1]
        if name == "breath":
            self._breath = True
        elif name in MARKS:
            kind, value = MARKS[name]
            self._draft.marks.append(LeadMark(self._draft.now, kind, value))
        elif name in JUMPS:
            self._jump(JUMPS[name])
        elif name not in SILENT:
            self.lost[f"the decoration {name[:20]} is left out"] += 1

    def _jump(self, sign: str) -> None:
        """Note a sign at the start of its measure; one that ends a measure may also stand after the bar line."""
        if sign not in ("segno", "coda") and not self._draft.notes and self.measures:
            self._mark_last(**{sign: True})
        elif sign == "coda" and self._draft.notes:
            self._draft.signs["coda_at_end"] = True
        else:
            self._draft.signs[sign] = True

    def _plain(self, match: re.Match[str]) -> None:
        kinds: dict[str, MarkKind] = {"H": "fermata", "L": "accent"}
        if match["plain"] in kinds:
            self._draft.marks.append(LeadMark(self._draft.now, kinds[match["plain"]]))
        elif match["plain"] in "SO":
            self._jump("segno" if match["plain"] == "S" else "coda")

    def _field(self, match: re.Match[str]) -> None:
        self._read_field(match["field"][1], match["field"][3:-1].strip())

    def _nothing(self, match: re.Match[str]) -> None:
        """Pass over spaces, slurs and what has no meaning for a song."""
