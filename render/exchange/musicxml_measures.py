"""The measures of a MusicXML part, read in time: notes of one voice, chord symbols, words, marks, signs."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from render.errors import ParameterError
from render.exchange.leadsheet import LeadChord, LeadMark, LeadMeasure, LeadNote, TuneError
from render.exchange.musicxml_symbols import read_symbol
from render.exchange.syllables import sung_text
from render.song import MarkKind, Pin, Syllable
from render.theory import Pitch

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

__all__ = ["MeasureReader"]

LONGEST_QUARTERS = 64
"""Of one measure: four times as long as any bar that a song may have."""

_DYNAMICS = {"ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"}
_LIKE = {
    "pppp": "ppp",
    "ffff": "fff",
    "sf": "f",
    "sfz": "f",
    "fz": "f",
    "fp": "f",
    "rf": "f",
    "rfz": "f",
    "sffz": "ff",
}
"""Marks that songs don't have, and the nearest that they have."""

_UNITS: dict[str, Fraction] = {
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8),
}
"""Quarters of a metronome mark's note."""

_RIT = re.compile(r"\b(rit|ritard\w*|riten\w*|rall\w*)\b\.?", re.IGNORECASE)
_A_TEMPO = re.compile(r"\ba tempo\b|\btempo (i|primo)\b", re.IGNORECASE)
_NAMES_OF_SECTIONS = re.compile(
    r"(verse|chorus|refrain|bridge|intro|outro|coda|interlude|pre-?chorus|strophe|refrain)\b[ \d]*[:.]?",
    re.IGNORECASE,
)
_JUMPS = {
    "da_capo": re.compile(r"\bD\.? ?C\b\.?|\bda capo\b", re.IGNORECASE),
    "dal_segno": re.compile(r"\bD\.? ?S\b\.?|\bdal segno\b", re.IGNORECASE),
    "to_coda": re.compile(r"^\s*(to|al) coda\b", re.IGNORECASE),
    "fine": re.compile(r"^\s*fine\s*\.?\s*$", re.IGNORECASE),
}


@dataclass(slots=True)
class _Draft:
    """A measure while it is read."""

    notes: list[LeadNote] = field(default_factory=list)
    chords: list[LeadChord] = field(default_factory=list)
    marks: list[LeadMark] = field(default_factory=list)
    signs: dict[str, object] = field(default_factory=dict)
    now: Fraction = Fraction(0)
    end: Fraction = Fraction(0)
    last_start: Fraction = Fraction(0)
    graces: list[Pitch] = field(default_factory=list)


class MeasureReader:
    """Reads a part's measures.

    Parameters
    ----------
    file
        What to call the file in messages.
    voice
        The voice that has the tune.
    """

    def __init__(self, file: str, voice: str) -> None:
        self._file = file
        self._voice = voice
        self._divisions = Fraction(1)
        self._meter = (4, 4)
        self._number = ""
        self._endings: tuple[int, ...] = ()
        self._dropped: Counter[str] = Counter()
        self._where: dict[str, list[str]] = {}
        self.fifths: int | None = None
        self.mode = ""
        self.tempo_quarters: Fraction | None = None
        self.last_pitch_class: int | None = None

    def read(
        self, measures: Sequence[tuple[str, Element]], chord_measures: Sequence[tuple[str, Element]] | None
    ) -> tuple[LeadMeasure, ...]:
        """Return the measures; chord symbols come from `chord_measures` where those are given."""
        read = [self._measure(number, element, with_notes=True) for number, element in measures]
        if chord_measures is not None:
            kept = dict(self._dropped), self._meter
            other = MeasureReader(self._file, self._voice)
            chords = [
                other._measure(number, element, with_notes=False).chords for number, element in chord_measures
            ]
            read = [
                replace(measure, chords=chords[index] if index < len(chords) else ())
                for index, measure in enumerate(read)
            ]
            self._dropped, self._meter = Counter(kept[0]), kept[1]
            self._add_chord_remarks(other)
        return tuple(read)

    def _add_chord_remarks(self, other: MeasureReader) -> None:
        for what, count in other._dropped.items():
            if what.startswith("chord"):
                self._dropped[what] += count
                self._where.setdefault(what, []).extend(other._where[what])

    def remarks(self) -> list[str]:
        """Return what was dropped or changed, one sentence a kind, with the measures."""
        sentences = []
        for what in self._dropped:
            places = list(dict.fromkeys(self._where[what]))
            shown = ", ".join(places[:8]) + (", …" if len(places) > 8 else "")
            sentences.append(f"{what} (measure{'' if len(places) == 1 else 's'} {shown})")
        return sentences

    def _note_drop(self, what: str) -> None:
        self._dropped[what] += 1
        self._where.setdefault(what, []).append(self._number or "?")

    # ---- a measure

    def _measure(self, number: str, element: Element, *, with_notes: bool) -> LeadMeasure:
        self._number = number
        draft = _Draft()
        for child in element:
            self._child(child, draft, with_notes)
        length = draft.end
        nominal = Fraction(4 * self._meter[0], self._meter[1])
        if not draft.notes and length == 0:
            length = nominal
        if length > LONGEST_QUARTERS:
            raise TuneError(
                f"{self._file}: measure {number or '?'} is {float(length):g} quarters long, which no tune has: "
                "the file is damaged; export it again"
            )
        endings = self._endings
        if draft.signs.pop("ending_stops", False):
            self._endings = ()
        notes = sorted(draft.notes, key=lambda note: note.start_quarter)
        return LeadMeasure(
            number, length, self._meter, tuple(notes), tuple(draft.chords), tuple(draft.marks),
            endings=endings, **draft.signs,  # type: ignore[arg-type]
        )  # fmt: skip

    def _child(self, child: Element, draft: _Draft, with_notes: bool) -> None:
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
            self._direction(child, draft)
        elif child.tag == "sound":
            self._sound(child, draft)
        elif child.tag == "barline":
            self._barline(child, draft)
        elif child.tag == "print" and child.get("new-system") == "yes":
            draft.signs["new_line"] = True

    def _whole(self, text: str | None, what: str, low: int, high: int) -> int:
        """Return a whole number of the file; `TuneError` beyond its range."""
        try:
            number = int((text or "").strip())
        except ValueError:
            number = low - 1
        if not low <= number <= high:
            shown = (text or "nothing").strip()[:20]
            raise TuneError(
                f"{self._file}: measure {self._number or '?'}: {what} must be a whole number from {low} to {high} "
                f"(got {shown}): the file is damaged; export it again"
            )
        return number

    def _fraction(self, text: str | None, what: str) -> Fraction:
        cleaned = (text or "").strip()
        if not re.fullmatch(r"-?\d{1,9}(\.\d{1,9})?", cleaned):
            raise TuneError(
                f"{self._file}: measure {self._number or '?'}: {what} must be a number "
                f"(got {cleaned[:20] or 'nothing'}): the file is damaged; export it again"
            )
        return Fraction(cleaned)

    def _duration(self, element: Element) -> Fraction:
        duration = self._fraction(element.findtext("duration"), "a duration") / self._divisions
        if not 0 <= duration <= LONGEST_QUARTERS:
            raise TuneError(
                f"{self._file}: measure {self._number or '?'}: a duration of {float(duration):g} quarters is more than "
                "any tune has: the file is damaged; export it again"
            )
        return duration

    def _attributes(self, element: Element) -> None:
        if element.find("divisions") is not None:
            self._divisions = self._fraction(element.findtext("divisions"), "divisions")
            if self._divisions <= 0:
                raise TuneError(
                    f"{self._file}: measure {self._number or '?'}: divisions must be more than 0, for lengths are "
                    "divided by it: the file is damaged; export it again"
                )
        fifths = element.findtext("key/fifths")
        if fifths is not None:
            self._set_key(self._whole(fifths, "fifths", -7, 7), (element.findtext("key/mode") or "").strip())
        beats, beat_type = element.findtext("time/beats"), element.findtext("time/beat-type")
        if beats is not None:
            upper = sum(self._whole(part, "beats", 1, 64) for part in beats.split("+"))
            self._meter = (upper, self._whole(beat_type, "beat-type", 1, 64))
        if element.find("transpose") is not None:
            chromatic = self._whole(element.findtext("transpose/chromatic"), "transpose", -24, 24)
            octaves = self._whole(element.findtext("transpose/octave-change") or "0", "octave-change", -4, 4)
            if chromatic or octaves:
                sounds = chromatic + 12 * octaves
                self._note_drop(
                    f"the part sounds {sounds:+d} semitones from where it is written: kept as written"
                )

    def _set_key(self, fifths: int, mode: str) -> None:
        if self.fifths is None:
            self.fifths, self.mode = fifths, mode
        elif fifths != self.fifths:
            self._note_drop("a change of key is left out, as a song has one; the notes stay as they sound")

    # ---- notes

    def _note(self, element: Element, draft: _Draft, with_notes: bool) -> None:
        is_grace = element.find("grace") is not None
        is_chord = element.find("chord") is not None
        length = Fraction(0) if is_grace else self._duration(element)
        start = draft.last_start if is_chord else draft.now
        if not is_chord and not is_grace:
            draft.last_start, draft.now = draft.now, draft.now + length
            draft.end = max(draft.end, draft.now)
        voice = (element.findtext("voice") or "1").strip()
        if not with_notes or voice != self._voice or element.find("cue") is not None:
            return
        pitch = self._pitch(element)
        if is_grace:
            if pitch is not None:
                self._note_drop("grace notes are left out")
                draft.graces.append(pitch)
            return
        if is_chord:
            self._second_note(pitch, draft)
            return
        if length == 0:
            return
        if draft.notes and start < draft.notes[-1].start_quarter + draft.notes[-1].length_quarter:
            self._note_drop("notes of one voice that overlap were cut")
            if start <= draft.notes[-1].start_quarter:
                return
            draft.notes[-1] = replace(draft.notes[-1], length_quarter=start - draft.notes[-1].start_quarter)
        draft.notes.append(
            LeadNote(
                start,
                length,
                pitch,
                pitch is not None and any(tie.get("type") == "start" for tie in element.findall("tie")),
                self._words(element),
                tuple(draft.graces),
                self._position(element),
                _pin(element),
            )
        )
        draft.graces = []
        if pitch is not None:
            self.last_pitch_class = pitch.pitch_class
        self._notations(element, start, start + length, draft)

    def _pitch(self, element: Element) -> Pitch | None:
        written = element.find("pitch")
        if written is None:
            if element.find("unpitched") is not None:
                self._note_drop("notes without a pitch became rests")
            return None
        letter = (written.findtext("step") or "").strip()
        alter = self._fraction(written.findtext("alter") or "0", "alter")
        octave = self._whole(written.findtext("octave"), "an octave", 0, 9)
        if alter.denominator != 1:
            self._note_drop("quarter tones were rounded to semitones")
        try:
            return Pitch(letter, round(alter), octave)
        except ParameterError as error:
            raise TuneError(
                f"{self._file}: measure {self._number or '?'}: {error}: the file is damaged; export it again"
            ) from None

    def _second_note(self, pitch: Pitch | None, draft: _Draft) -> None:
        """Keep the higher of two notes struck together."""
        if pitch is None or not draft.notes:
            return
        self._note_drop("of notes struck together only the highest is kept")
        before = draft.notes[-1]
        if before.pitch is not None and pitch.midi > before.pitch.midi:
            draft.notes[-1] = replace(before, pitch=pitch, position=None)
            self.last_pitch_class = pitch.pitch_class

    def _words(self, element: Element) -> tuple[tuple[int, Syllable], ...]:
        words: dict[int, Syllable] = {}
        for place, lyric in enumerate(element.findall("lyric"), 1):
            number = re.match(r"\d{1,2}", lyric.get("number", ""))
            verse = int(number[0]) if number and int(number[0]) > 0 else place
            texts = [child.text or ("‿" if child.tag == "elision" else "") for child in lyric
                     if child.tag in ("text", "elision")]  # fmt: skip
            text = sung_text("".join(texts))
            extend = lyric.find("extend")
            if text and verse not in words:
                joined = [child.text for child in lyric.findall("syllabic")][-1:] in (["begin"], ["middle"])
                words[verse] = Syllable(text, joined)
            elif not text and extend is not None and extend.get("type") in ("continue", "stop"):
                words.setdefault(verse, Syllable(""))
        return tuple(sorted(words.items()))

    def _position(self, element: Element) -> tuple[int, int] | None:
        string = element.findtext("notations/technical/string")
        fret = element.findtext("notations/technical/fret")
        if string is None or fret is None:
            return None
        return self._whole(string, "a string", 1, 99), self._whole(fret, "a fret", 0, 99)

    def _notations(self, element: Element, start: Fraction, end: Fraction, draft: _Draft) -> None:
        if element.find("notations/fermata") is not None:
            draft.marks.append(LeadMark(start, "fermata"))
        if any(
            element.find(f"notations/articulations/{name}") is not None
            for name in ("accent", "strong-accent")
        ):
            draft.marks.append(LeadMark(start, "accent"))
        if any(
            element.find(f"notations/articulations/{name}") is not None for name in ("breath-mark", "caesura")
        ):
            draft.marks.append(LeadMark(end, "breath"))
        for dynamics in element.findall("notations/dynamics"):
            self._dynamics(dynamics, start, draft)

    # ---- chord symbols

    def _harmony(self, element: Element, draft: _Draft) -> None:
        start = max(draft.now + self._offset(element), Fraction(0))
        symbol = read_symbol(element, start)
        if symbol.remark:
            self._note_drop(symbol.remark)
        if symbol.chord is not None:
            draft.chords = [each for each in draft.chords if each.start_quarter != start]
            draft.chords.append(symbol.chord)

    def _offset(self, element: Element) -> Fraction:
        if element.find("offset") is None:
            return Fraction(0)
        return self._fraction(element.findtext("offset"), "an offset") / self._divisions

    # ---- directions and signs

    def _direction(self, element: Element, draft: _Draft) -> None:
        at = max(draft.now + self._offset(element), Fraction(0))
        for kind in element.findall("direction-type"):
            for child in kind:
                self._direction_type(child, at, draft)
        sound = element.find("sound")
        if sound is not None:
            self._sound(sound, draft)

    def _direction_type(self, child: Element, at: Fraction, draft: _Draft) -> None:
        text = " ".join((child.text or "").split())
        if child.tag == "dynamics":
            self._dynamics(child, at, draft)
        elif child.tag == "wedge" and child.get("type") in ("crescendo", "diminuendo"):
            draft.marks.append(LeadMark(at, "hairpin", "<" if child.get("type") == "crescendo" else ">"))
        elif child.tag == "rehearsal" and text:
            draft.signs.setdefault("section", text)
        elif child.tag in ("segno", "coda"):
            draft.signs[child.tag] = True
        elif child.tag == "metronome":
            self._metronome(child)
        elif child.tag == "words" and text:
            self._direction_words(text, at, draft)

    def _direction_words(self, text: str, at: Fraction, draft: _Draft) -> None:
        if text.upper() in ("N.C.", "NC", "N.C"):
            draft.chords.append(LeadChord(at, None))
            return
        jumps = [name for name, pattern in _JUMPS.items() if pattern.search(text)]
        for name in jumps:
            if name != "fine" or len(jumps) == 1:
                draft.signs[name] = True
        kind: MarkKind | None = "a-tempo" if _A_TEMPO.search(text) else "rit" if _RIT.search(text) else None
        if kind:
            draft.marks.append(LeadMark(at, kind))
        elif _NAMES_OF_SECTIONS.fullmatch(text):
            draft.signs.setdefault("section", text)
        elif not jumps:
            self._note_drop(f"the direction “{text[:40]}” is left out")

    def _dynamics(self, element: Element, at: Fraction, draft: _Draft) -> None:
        for child in element:
            value = _LIKE.get(child.tag, child.tag)
            if value not in _DYNAMICS:
                self._note_drop(f"the dynamic {child.tag[:12]} is left out")
                continue
            if value != child.tag:
                self._note_drop(f"the dynamic {child.tag[:12]} became {value}")
            draft.marks.append(LeadMark(at, "dynamic", value))

    def _metronome(self, element: Element) -> None:
        unit = _UNITS.get((element.findtext("beat-unit") or "").strip())
        per_minute = re.search(r"\d{1,4}(\.\d{1,6})?", element.findtext("per-minute") or "")
        if unit is None or per_minute is None or element.find("metronome-note") is not None:
            return
        dots = len(element.findall("beat-unit-dot"))
        length = unit * (2 - Fraction(1, 2 ** min(dots, 4)))
        self._set_tempo(Fraction(per_minute[0]) * length)

    def _set_tempo(self, tempo_quarters: Fraction) -> None:
        if tempo_quarters <= 0:
            return
        if self.tempo_quarters is None:
            self.tempo_quarters = tempo_quarters
        elif abs(tempo_quarters - self.tempo_quarters) >= 1:
            self._note_drop("a change of tempo is left out")

    def _sound(self, element: Element, draft: _Draft) -> None:
        if element.get("tempo"):
            self._set_tempo(self._fraction(element.get("tempo"), "a tempo"))
        for attribute, sign in (("dacapo", "da_capo"), ("dalsegno", "dal_segno"), ("tocoda", "to_coda"),
                                ("fine", "fine"), ("segno", "segno"), ("coda", "coda")):  # fmt: skip
            if element.get(attribute, "no") != "no":
                draft.signs[sign] = True

    def _barline(self, element: Element, draft: _Draft) -> None:
        repeat, ending = element.find("repeat"), element.find("ending")
        if repeat is not None and repeat.get("direction") == "forward":
            draft.signs["repeat_start"] = True
        elif repeat is not None:
            draft.signs["repeat_times"] = self._whole(repeat.get("times", "2"), "times of a repeat", 1, 99)
        if ending is not None and ending.get("type") == "start":
            numbers = [int(number) for number in re.findall(r"\d{1,2}", ending.get("number", ""))]
            self._endings = tuple(numbers) or (1,)
        elif ending is not None:
            draft.signs["ending_stops"] = True
        for name in ("segno", "coda"):
            if element.find(name) is not None:
                draft.signs[name] = True
        if element.find("fermata") is not None and draft.notes:
            draft.marks.append(LeadMark(draft.notes[-1].start_quarter, "fermata"))


def _pin(element: Element) -> Pin | None:
    """Return the pin that a file of ours holds beside a note."""
    for other in element.findall("notations/technical/other-technical"):
        found = re.fullmatch(r"\[(roll|alone|4?3?2?1?)\]", (other.text or "").strip())
        if found and found[1] in ("roll", "alone"):
            return Pin("roll" if found[1] == "roll" else "alone")
        if found and found[1] in "4321":
            strings = tuple(map(int, found[1]))
            return Pin("roll" if len(strings) > 1 else "alone", strings) if strings else None
    return None
