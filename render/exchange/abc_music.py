"""The music of an ABC 2.1 tune, sign by sign: notes, bars, repeats, chord symbols."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from render.errors import ParameterError
from render.exchange.abc_keys import AbcKey
from render.exchange.leadsheet import LeadChord, LeadMark, LeadMeasure, LeadNote, TuneError
from render.song import MarkKind
from render.theory import Pitch, parse_chord
from render.theory.chords import ChordNameError

__all__ = ["AbcReader", "length_of"]

_SIGNS = re.compile(
    r"""
    (?P<field>\[[A-Za-z]:[^\]\n]*\])
  | (?P<ending>\[[1-9][0-9,.-]*)
  | (?P<bar>(?:\.?\|[\]|]*|\[\||:+|\])(?:[|:\[\]]*(?=[|:])[|:])?:*(?:[1-9](?:[,.-][0-9]+)*)?)
  | (?P<quoted>"[^"\n]*")
  | (?P<decoration>![^!\n]{1,40}!|\+[^+\n]{1,40}\+)
  | (?P<grace>\{[^}\n]*\})
  | (?P<tuplet>\([2-9](?::[0-9]*(?::[0-9]*)?)?)
  | (?P<note>(?P<accidental>\^{1,2}|_{1,2}|=)?(?P<letter>[A-Ga-g])(?P<octave>[,']*)(?P<length>[0-9]*(?:/[0-9]*)*))
  | (?P<rest>[zx](?P<rest_length>[0-9]*(?:/[0-9]*)*))
  | (?P<measures>[ZX](?P<count>[0-9]*))
  | (?P<chord>\[(?P<inside>(?:\s*(?:\^{1,2}|_{1,2}|=)?[A-Ga-g][,']*[0-9/]*-?)+)\s*\]
      (?P<chord_length>[0-9]*(?:/[0-9]*)*))
  | (?P<broken><{1,3}|>{1,3})
  | (?P<tie>-)
  | (?P<overlay>&)
  | (?P<spacer>y[0-9]*)
  | (?P<plain>[.~HLMOPSTuvh-w])
  | (?P<other>.)
    """,
    re.VERBOSE,
)
_INNER = re.compile(
    r"(?P<accidental>\^{1,2}|_{1,2}|=)?(?P<letter>[A-Ga-g])(?P<octave>[,']*)(?P<length>[0-9]*(?:/[0-9]*)*)"
)
_ACCIDENTALS = {"^": 1, "^^": 2, "_": -1, "__": -2, "=": 0}
_DYNAMICS = {"ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"}
_MARKS: dict[str, tuple[MarkKind, str]] = {
    "fermata": ("fermata", ""),
    "invertedfermata": ("fermata", ""),
    "accent": ("accent", ""),
    "emphasis": ("accent", ""),
    ">": ("accent", ""),
    "breath": ("breath", ""),
    "crescendo(": ("hairpin", "<"),
    "<(": ("hairpin", "<"),
    "diminuendo(": ("hairpin", ">"),
    ">(": ("hairpin", ">"),
    **{name: ("dynamic", name) for name in _DYNAMICS},
}
_JUMPS = {"D.C.": "da_capo", "dacapo": "da_capo", "D.S.": "dal_segno", "dacoda": "to_coda", "fine": "fine",
          "segno": "segno", "coda": "coda"}  # fmt: skip
_SILENT = {"crescendo)", "<)", "diminuendo)", ">)"}
_ANNOTATION = tuple("^_<>@")
_LONGEST = 1000
"""Quarters in a bar: songs without meter are written in long ones, and cut into 4/4."""
_MOST_DIGITS = 4


def length_of(text: str) -> Fraction:
    """Return the factor that a note's length stands for: ``3/2``, ``/``, ``//``, ``2``.

    Raises
    ------
    TuneError
        When it divides by nothing or is beyond all use.
    """
    whole, *parts = text.split("/")
    if any(len(part) > _MOST_DIGITS for part in (whole, *parts)) or len(parts) > _MOST_DIGITS:
        raise TuneError(f"the length {text[:20]} is beyond all use: correct it")
    factor = Fraction(int(whole)) if whole else Fraction(1)
    for part in parts:
        if part and int(part) == 0:
            raise TuneError(f"the length {text} divides by 0: correct it")
        factor /= int(part) if part else 2
    if factor > 1000:
        raise TuneError(f"the length {text[:20]} is beyond all use: correct it")
    return factor


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
        self._broken = Fraction(1)
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
        skipping = False
        for match in _SIGNS.finditer(text):
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
            self._draft.accidentals = {}
            return
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
        if draft.now > _LONGEST:
            raise TuneError(
                f"bar {len(self.measures)} is {float(draft.now):g} quarters long: a bar line is missing"
            )
        self._draft = _Draft()

    def _mark_last(self, **signs: object) -> None:
        if self.measures:
            self.measures[-1] = replace(self.measures[-1], **signs)  # type: ignore[arg-type]

    def _bar(self, match: re.Match[str]) -> None:
        text = match["bar"]
        if text == "]":
            return
        self._close()
        numbers = re.search(r"[1-9][0-9,.-]*$", text)
        body = text[: numbers.start()] if numbers else text
        ends = body.startswith(":")
        starts = body.endswith(":") and len(body) > 1
        if ends:
            colons = len(body) - len(body.lstrip(":"))
            if body.strip(":") == "":
                starts, colons = True, 1
            self._mark_last(repeat_times=colons + 1)
        if ends or starts or "||" in body or "]" in body:
            self._endings = ()
        if starts:
            self._draft.signs["repeat_start"] = True
        if numbers:
            self._endings = _numbers(numbers[0])

    def _ending(self, match: re.Match[str]) -> None:
        self._close()
        self._endings = _numbers(match["ending"][1:])

    # ---- notes

    def _note(self, match: re.Match[str]) -> None:
        self._add(self._pitch(match), length_of(match["length"]))

    def _rest(self, match: re.Match[str]) -> None:
        self._add(None, length_of(match["rest_length"]))

    def _chord(self, match: re.Match[str]) -> None:
        """Keep the highest of notes struck together."""
        inner = list(_INNER.finditer(match["inside"]))
        pitches = [self._pitch(each) for each in inner]
        if len(pitches) > 1:
            self.lost["of notes struck together only the highest is kept"] += 1
        length = length_of(inner[0]["length"]) * length_of(match["chord_length"])
        self._add(max(pitches, key=lambda pitch: pitch.midi), length)
        if "-" in match["inside"]:
            self._tie(match)

    def _measures(self, match: re.Match[str]) -> None:
        count = int(match["count"] or 1) if len(match["count"]) <= _MOST_DIGITS else 10_000
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
        if match["accidental"]:
            self._draft.accidentals[name] = _ACCIDENTALS[match["accidental"]]
        alter = self._draft.accidentals.get(name, self.key.alters.get(name, 0))
        try:
            return Pitch(name, alter, octave)
        except ParameterError:
            raise TuneError(f"the note {match[0][:20]} is beyond all instruments: correct it") from None

    def _add(self, pitch: Pitch | None, factor: Fraction) -> None:
        draft = self._draft
        length = factor * self.unit_quarter * self._broken
        self._broken = Fraction(1)
        ratio, left = self._tuplet
        if left:
            length *= ratio
            self._tuplet = (ratio, left - 1)
        if length == 0:
            return
        if pitch is not None:
            self.struck.append((len(self.measures), len(draft.notes)))
        draft.notes.append(LeadNote(draft.now, length, pitch))
        draft.now += length

    def _broken_rhythm(self, match: re.Match[str]) -> None:
        """Lengthen one neighbour and shorten the other: ``>`` by a half, ``>>`` by three quarters."""
        if not self._draft.notes:
            return
        short = Fraction(1, 2 ** len(match["broken"]))
        first, second = (2 - short, short) if match["broken"][0] == ">" else (short, 2 - short)
        last = self._draft.notes[-1]
        self._draft.notes[-1] = replace(last, length_quarter=last.length_quarter * first)
        self._draft.now = last.start_quarter + last.length_quarter * first
        self._broken = second

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
            self.lost[f"the annotation “{text[1:40]}” is left out"] += 1
            return
        name = re.split(r"[(;\n]", text)[0].strip() if not re.match(r"[A-G][#b]?m?7?\(", text) else text
        if text.upper().rstrip(".") in ("N.C", "NC"):
            self._draft.chords.append(LeadChord(self._draft.now, None))
            return
        try:
            chord = parse_chord(name)
        except ChordNameError as error:
            if not error.suggestion or not re.match(r"[A-G]", name):
                self.lost[f"“{text[:30]}” above the notes isn't a chord, and is left out"] += 1
                return
            chord = parse_chord(error.suggestion)
            self.lost[f"chord symbol {text[:30]} became {chord}"] += 1
        self._draft.chords = [each for each in self._draft.chords if each.start_quarter != self._draft.now]
        self._draft.chords.append(LeadChord(self._draft.now, chord))

    def _decoration(self, match: re.Match[str]) -> None:
        name = match["decoration"][1:-1]
        if name in _MARKS:
            kind, value = _MARKS[name]
            self._draft.marks.append(LeadMark(self._draft.now, kind, value))
        elif name in _JUMPS:
            self._jump(_JUMPS[name])
        elif name not in _SILENT:
            self.lost[f"the decoration {name[:20]} is left out"] += 1

    def _jump(self, sign: str) -> None:
        """Note a sign at the start of its measure; one that ends a measure may also stand after the bar line."""
        if sign not in ("segno", "coda") and not self._draft.notes and self.measures:
            self._mark_last(**{sign: True})
        else:
            self._draft.signs[sign] = True

    def _plain(self, match: re.Match[str]) -> None:
        kinds: dict[str, MarkKind] = {"H": "fermata", "L": "accent"}
        if match["plain"] in kinds:
            self._draft.marks.append(LeadMark(self._draft.now, kinds[match["plain"]]))
        elif match["plain"] in "SO":
            self._draft.signs["segno" if match["plain"] == "S" else "coda"] = True

    def _field(self, match: re.Match[str]) -> None:
        self._read_field(match["field"][1], match["field"][3:-1].strip())

    def _nothing(self, match: re.Match[str]) -> None:
        """Pass over spaces, slurs and what has no meaning for a song."""


def _numbers(text: str) -> tuple[int, ...]:
    """Return the passes of an ending: ``1``, ``1,3``, ``1-3``."""
    numbers: list[int] = []
    for part in re.split(r"[,.]", text.strip(",.-")):
        low, _, high = part.partition("-")
        if low.isdigit():
            numbers += range(int(low[:2]), int(high[:2] or low[:2]) + 1 if high else int(low[:2]) + 1)
    return tuple(number for number in numbers if number > 0) or (1,)
