"""The music of an ABC 2.1 tune, sign by sign: notes, bars, repeats, chord symbols."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tercet.errors import ParameterError
from tercet.exchange.abc.keys import AbcKey
from tercet.exchange.abc.signs import (
    ACCIDENTALS,
    LETTERS,
    LONGEST_QUARTERS,
    MARKS,
    MOST_DIGITS,
    PHRASE_ENDS,
    SIGNS,
    SILENT,
    length_of,
    read_bar_line,
)
from tercet.exchange.abc.text import read_quoted
from tercet.exchange.leadsheet import LeadChord, LeadMark, LeadMeasure, LeadNote, TuneError
from tercet.exchange.plain_signs import passes_of
from tercet.exchange.words import jumps_of_words
from tercet.theory import Pitch

__all__ = ["MOST_BARS", "MOST_NOTES", "AbcReader"]

MOST_BARS = 4000
"""Written ones: twice as many as a song may have when it is played, for parts that are left out."""

MOST_NOTES = 30_000
"""Of one voice: more than a song file has room for."""

_OLD_CHORD = re.compile(r"(?:[\^_=]?[A-Ga-g][,']*[0-9/]*){2,}")
"""Notes struck together between plus signs, as before ABC 1.6."""


@dataclass(slots=True)
class _Draft:
    """The measure that is being read; a line of music may start within it."""

    notes: list[LeadNote] = field(default_factory=list)
    chords: list[LeadChord] = field(default_factory=list)
    marks: list[LeadMark] = field(default_factory=list)
    signs: dict[str, object] = field(default_factory=dict)
    now: Fraction = Fraction(0)
    accidentals: dict[str, int] = field(default_factory=dict)
    line_at: Fraction | None = None


class AbcReader:
    """Reads the music of one voice.

    Parameters
    ----------
    key, meter, unit_quarter
        What the header says; the unit is the length of a note without a figure, in quarters.
    read_field
        Called with (letter, text) for a field within the music.

    Attributes
    ----------
    octaves
        How many octaves above what is written the voice sounds.
    symbols
        What letters before a note stand for.
    accidentals_hold
        ``"pitch"`` through the bar in every octave, ``"octave"`` in their own, ``"not"`` for their note alone.
    breaks
        What starts a line of music: ``"<EOL>"``, ``"$"``, ``"!"``.
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
        self.octaves = 0
        self.symbols = dict(LETTERS)
        self.accidentals_hold = "pitch"
        self.breaks = frozenset({"<EOL>", "$", "!"})
        self.lost: Counter[str] = Counter()
        self.struck: list[tuple[int, int]] = []
        self._read_field = read_field
        self._draft = _Draft()
        self._endings: tuple[int, ...] = ()
        self._broken = ""
        self._breath = False
        self._tied_over: Pitch | None = None
        self._tuplet = (Fraction(1), 0)
        self._overlaid = 0
        self._count = 0
        self._jumps: list[str] = []
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
            "overlay": self._overlay,
            "spacer": self._nothing,
            "break": self._break,
            "letter_sign": self._letter_sign,
            "other": self._nothing,
        }

    @property
    def has_music(self) -> bool:
        """Whether a note or rest has been read."""
        return bool(self.measures or self._draft.notes)

    def line(self, text: str, *, goes_on: bool = False) -> None:
        """Read one line of music; `struck` then holds (measure, note) of its notes, for the words below it.

        Parameters
        ----------
        text
            The line.
        goes_on
            Whether it belongs to the line before it.
        """
        if not goes_on:
            self.struck = []
            if "<EOL>" in self.breaks:
                self._start_line()
        for match in SIGNS.finditer(text):
            self._read(match.lastgroup or "", match)
        self._place_jumps_behind()

    def _read(self, kind: str, match: re.Match[str]) -> None:
        """Read a sign, unless it belongs to a second voice laid over the bar."""
        if self._overlaid and kind not in ("overlay", "field"):
            if kind == "bar" and match["bar"] != "]":
                self._overlaid -= 1
            if self._overlaid or kind != "bar":
                return
        self._readers[kind](match)

    def _overlay(self, match: re.Match[str]) -> None:
        """Pass over a second voice to the end of the bar, of as many bars as there are signs."""
        self.lost["a second voice within a bar (&) is left out"] += 1
        self._overlaid = max(self._overlaid, min(len(match["over"]), 99))

    def name_section(self, text: str) -> None:
        """Note that a section of this name starts here."""
        if self._draft.notes:
            self._close()
        self._draft.signs.setdefault("section", text)

    def note_at(self, place: tuple[int, int]) -> LeadNote:
        """Return the note of a measure; the last measure may still be open."""
        measure, note = place
        return self.measures[measure].notes[note] if measure < len(self.measures) else self._draft.notes[note]

    def put_note(self, place: tuple[int, int], note: LeadNote) -> None:
        """Put another note in the place of one."""
        measure, index = place
        if measure == len(self.measures):
            self._draft.notes[index] = note
            return
        notes = self.measures[measure].notes
        self.measures[measure] = replace(
            self.measures[measure], notes=(*notes[:index], note, *notes[index + 1 :])
        )

    def finish(self) -> None:
        """Close the last measure."""
        self._close()

    # ---- lines

    def _break(self, match: re.Match[str]) -> None:
        if match["break"] in self.breaks:
            self._start_line()

    def _start_line(self) -> None:
        """Note that a line of music starts here: with this measure, or within it."""
        if not self._draft.notes:
            self._draft.signs["new_line"] = True
        elif self._draft.line_at is None:
            self._draft.line_at = self._draft.now

    # ---- bars

    def _close(self) -> None:
        """End the measure. A line that starts within it starts with whichever bar line is nearer."""
        draft = self._draft
        draft.accidentals = {}
        if not draft.notes:
            return
        self._tied_over = draft.notes[-1].pitch if draft.notes[-1].tied_on else None
        following = _Draft()
        if draft.line_at is not None:
            nearer = draft if 2 * draft.line_at <= draft.now else following
            nearer.signs["new_line"] = True
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
        self._draft = following
        if len(self.measures) > MOST_BARS:
            raise TuneError(f"it has more than {MOST_BARS} bars, far more than a song: export just the tune")

    def _check_size(self) -> None:
        self._count += 1
        if self._count > MOST_NOTES:
            raise TuneError(
                f"it has more than {MOST_NOTES} notes, far more than a song: export just the tune"
            )
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
        self._place_jumps_behind()
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
        self._endings = passes_of(match["ending"][1:])

    # ---- notes

    def _note(self, match: re.Match[str]) -> None:
        self._add(self._pitch(match), length_of(match["length"]))

    def _rest(self, match: re.Match[str]) -> None:
        self._add(None, length_of(match["rest_length"]))

    def _chord(self, match: re.Match[str]) -> None:
        """Keep the highest of notes struck together; the first says how long they last, as the standard has it.

        What else stands within the brackets is read as if it stood before them.
        """
        self._strike(match["inside"], length_of(match["chord_length"]))

    def _strike(self, inside: str, factor: Fraction) -> None:
        notes: list[tuple[Pitch, bool]] = []
        length: Fraction | None = None
        for sign in SIGNS.finditer(inside):
            kind = sign.lastgroup or ""
            if kind == "note":
                notes.append((self._pitch(sign), False))
                length = length_of(sign["length"]) if length is None else length
            elif kind == "rest":
                length = length_of(sign["rest_length"]) if length is None else length
            elif kind == "tie" and notes:
                notes[-1] = (notes[-1][0], True)
            elif kind in ("quoted", "decoration", "letter_sign", "grace"):
                self._readers[kind](sign)
        if length is None:
            return
        highest, tied_on = max(notes, key=lambda note: note[0].midi, default=(None, False))
        if len({pitch.midi for pitch, _ in notes}) > 1:
            self.lost["only the highest of notes struck together is kept"] += 1
        self._add(highest, length * factor)
        if tied_on:
            self._tie_last()

    def _measures(self, match: re.Match[str]) -> None:
        if self._draft.notes:
            self.lost["Z within a bar is read as z"] += 1
            self._add(None, length_of(match["count"]))
            return
        count = int(match["count"] or 1) if len(match["count"]) <= MOST_DIGITS else 10_000
        if count > 2000:
            raise TuneError(f"{match['measures'][:20]}: that many bars of rest make no sense: correct it")
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
        octave += self.octaves
        tied, self._tied_over = self._tied_over, None
        held = name if self.accidentals_hold == "pitch" else f"{name}{octave}"
        alter = self._draft.accidentals.get(held, self.key.alters.get(name, 0))
        if match["accidental"]:
            alter = self._accidental(match["accidental"])
            if self.accidentals_hold != "not":
                self._draft.accidentals[held] = alter
        elif tied is not None and (tied.letter, tied.octave) == (name, octave):
            alter = tied.alter
        try:
            return Pitch(name, alter, octave)
        except ParameterError:
            raise TuneError(f"no instrument plays the note {match[0][:20]}: correct it") from None

    def _accidental(self, sign: str) -> int:
        if sign not in ACCIDENTALS:
            self.lost["quarter-tones are left out: the note beside them stays"] += 1
        return ACCIDENTALS.get(sign, 0)

    def _add(self, pitch: Pitch | None, factor: Fraction) -> None:
        draft = self._draft
        length = factor * self.unit_quarter
        ratio, left = self._tuplet
        if left:
            length *= ratio
            self._tuplet = (ratio, left - 1)
        length *= self._share_of_broken_rhythm(length)
        if length == 0:
            self.lost["notes of no length are left out"] += 1
            return
        if pitch is not None:
            self.struck.append((len(self.measures), len(draft.notes)))
        draft.notes.append(LeadNote(draft.now, length, pitch))
        draft.now += length
        draft.signs.update(dict.fromkeys(self._jumps, True))
        self._jumps = []
        self._check_size()
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
        last = self._last_note()
        if not sign or last is None:
            return Fraction(1)
        if length_quarter != last.length_quarter:
            self.lost[f"{sign} between notes of different lengths is left out, as it says nothing clear"] += 1
            return Fraction(1)
        short = Fraction(1, 2 ** len(sign))
        first, second = (2 - short, short) if sign[0] == ">" else (short, 2 - short)
        self._stretch_last(last, last.length_quarter * first)
        return second

    def _last_note(self) -> LeadNote | None:
        """Return the note before, which may stand before a bar line."""
        if self._draft.notes:
            return self._draft.notes[-1]
        return self.measures[-1].notes[-1] if self.measures else None

    def _stretch_last(self, last: LeadNote, length_quarter: Fraction) -> None:
        changed = replace(last, length_quarter=length_quarter)
        end = last.start_quarter + length_quarter
        if self._draft.notes:
            self._draft.notes[-1] = changed
            self._draft.now = end
        else:
            self._mark_last(notes=(*self.measures[-1].notes[:-1], changed), length_quarter=end)

    def _start_tuplet(self, match: re.Match[str]) -> None:
        parts = match["tuplet"][1:].split(":")
        notes = int(parts[0])
        compound = self.meter[1] == 8 and self.meter[0] % 3 == 0
        usual = {2: 3, 3: 2, 4: 3, 6: 2, 8: 3}.get(notes, 3 if compound else 2)
        in_time = int(parts[1][:2]) if len(parts) > 1 and parts[1] else usual
        count = int(parts[2][:2]) if len(parts) > 2 and parts[2] else notes
        self._tuplet = (Fraction(in_time or 1, notes), count)

    def _tie(self, _match: re.Match[str]) -> None:
        self._tie_last()

    def _tie_last(self) -> None:
        if self._draft.notes and self._draft.notes[-1].pitch is not None:
            self._draft.notes[-1] = replace(self._draft.notes[-1], tied_on=True)
        elif not self._draft.notes and self.measures and self.measures[-1].notes[-1].pitch is not None:
            last = self.measures[-1].notes[-1]
            self._mark_last(notes=(*self.measures[-1].notes[:-1], replace(last, tied_on=True)))
            self._tied_over = last.pitch

    def _grace(self, _match: re.Match[str]) -> None:
        self.lost["grace notes are left out"] += 1

    # ---- what stands above

    def _quoted(self, match: re.Match[str]) -> None:
        draft = self._draft
        quoted = read_quoted(match["quoted"][1:-1])
        if quoted.remark:
            self.lost[quoted.remark] += 1
        if quoted.mark:
            draft.marks.append(LeadMark(draft.now, quoted.mark))
        for jump in quoted.jumps:
            self._jump(jump)
        if quoted.section and not draft.notes:
            draft.signs.setdefault("section", quoted.section)
        if quoted.chord or quoted.no_chord:
            chord = LeadChord(draft.now, quoted.chord.chord if quoted.chord else None)
            draft.chords = [each for each in draft.chords if each.start_quarter != draft.now]
            draft.chords.append(chord)

    def _decoration(self, match: re.Match[str]) -> None:
        name = match["decoration"][1:-1]
        if match["decoration"][0] == "+" and name not in MARKS and _OLD_CHORD.fullmatch(name):
            self._strike(name, Fraction(1))
        else:
            self._decorate(name)

    def _letter_sign(self, match: re.Match[str]) -> None:
        name = self.symbols.get(match["letter_sign"], "")
        if name.startswith('"') and name.endswith('"') and (found := SIGNS.fullmatch(name)):
            self._quoted(found)
        elif name:
            self._decorate(name)

    def _decorate(self, name: str) -> None:
        if name in PHRASE_ENDS:
            self._breath = True
        elif name in MARKS:
            kind, value = MARKS[name]
            self._draft.marks.append(LeadMark(self._draft.now, kind, value))
        elif name == "coda" or jumps_of_words(name):
            for jump in jumps_of_words(name) or ("coda",):
                self._jump(jump)
        elif name not in SILENT:
            self.lost[f"the decoration {name[:20]} is left out"] += 1

    def _jump(self, sign: str) -> None:
        """Note a sign in the measure of the note that follows, or, where none does, of the one before."""
        if sign not in ("segno", "coda") and not self._draft.notes:
            self._jumps.append(sign)
        elif sign == "coda" and self._draft.notes:
            self._draft.signs["coda_at_end"] = True
        else:
            self._draft.signs[sign] = True

    def _place_jumps_behind(self) -> None:
        """Let signs that no note followed stand at the end of the measure before."""
        for sign in self._jumps:
            self._mark_last(**{sign: True})
        self._jumps = []

    def _field(self, match: re.Match[str]) -> None:
        self._read_field(match["field"][1], match["field"][3:-1].strip())

    def _nothing(self, match: re.Match[str]) -> None:
        """Pass over spaces, slurs and what has no meaning for a song."""
