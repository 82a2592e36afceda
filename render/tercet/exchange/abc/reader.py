"""ABC 2.1 in: a tune's header, its voices and words; the music itself is read in `tercet.exchange.abc.music`."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from tercet.exchange.abc.book import LARGEST_TUNE, AbcTune, chosen_tune, tunes_of
from tercet.exchange.abc.keys import AbcKey, read_key, read_meter, read_sounding, read_tempo, read_unit
from tercet.exchange.abc.lines import AbcLine, lines_of_voice, meant_lines
from tercet.exchange.abc.music import AbcReader
from tercet.exchange.abc.parts import in_order_of_parts
from tercet.exchange.abc.signs import read_symbol
from tercet.exchange.abc.text import decoded, plain_text
from tercet.exchange.abc.words import set_words
from tercet.exchange.leadsheet import LeadMeasure, LeadSheet, TuneError
from tercet.theory import Chord, Key, Pitch, spell, transpose_key
from tercet.wording import counted

__all__ = ["COPYRIGHT", "SETTING", "AbcTune", "decoded", "read_abc", "read_tune_lines", "tunes_of"]

SETTING = "tercet "
"""Instructions (``%%tercet …``) that begin so hold the settings of a song that Tercet exported."""

COPYRIGHT = "abc-copyright"
"""What begins a transcriber's field that tells the licence, as the standard has it."""

_C_MAJOR = Key("C", 0, False)

_UNUSUAL = Fraction(3, 4)
"""Of a whole note: in meters that are shorter, a note without a figure is a sixteenth."""

_LEFT_OUT = {
    "W": "words below the tune (W:) belong to no notes and are left out",
    "s": "lines of symbols (s:) are left out",
    "m": "macros (m:) are left out, and what they stand for is read as it is written",
}
"""Fields that a song has no place for."""


def read_abc(data: bytes, file: str, tune: str = "", voice: str = "") -> LeadSheet:
    """Read one tune of a book.

    Parameters
    ----------
    data
        The file.
    file
        What to call it in messages.
    tune
        Number (``X:``) or title; empty when there is only one.
    voice
        The voice that has the tune; empty for the one with most words, or else the first.

    Raises
    ------
    TuneError
        When there is no tune, several and none named, or it can't be read.
    """
    tunes = tunes_of(decoded(data))
    if not tunes:
        raise TuneError(f"{file} holds no ABC tune: a tune starts with X: and has its key in K:")
    return read_tune_lines(chosen_tune(tunes, tune, file), file, voice)


def read_tune_lines(tune: AbcTune, file: str, voice: str = "") -> LeadSheet:
    """Read one tune; parameters and errors as for `read_abc`."""
    try:
        return _TuneReader(tune, voice).read(file)
    except TuneError as error:
        raise TuneError(f"tune {tune.number} of {file}: {error}") from error


@dataclass(slots=True)
class _Header:
    title: str = ""
    composer: str = ""
    source: str = ""
    licence: str = ""
    parts: str = ""
    meter: tuple[int, int] | None = None
    unit: Fraction | None = None
    tempo: str = ""
    key: AbcKey = field(default_factory=lambda: AbcKey({}))
    has_key: bool = False
    octaves: int = 0
    semitones: int = 0


class _TuneReader:
    """Reads one voice of a tune line by line."""

    def __init__(self, tune: AbcTune, voice: str) -> None:
        self._tune = tune
        self._wanted = voice
        self._header = _Header()
        self._reader: AbcReader | None = None
        self._verse = 0
        self._section = ""
        self._goes_on = False
        self._key_follows = any(line.lstrip().startswith("K:") for line in tune.lines)
        self._symbols: list[tuple[str, str]] = []
        self._instructions: list[str] = []
        self._settings: list[tuple[str, str]] = []
        self._remarks: list[str] = []

    def read(self, file: str) -> LeadSheet:
        """Return the tune as a lead sheet."""
        if sum(map(len, self._tune.lines)) + len(self._tune.lines) > LARGEST_TUNE:
            raise TuneError(
                f"it has more than {LARGEST_TUNE // 1000} 000 characters, far more than a song: export just this tune"
            )
        ours = lines_of_voice(list(meant_lines(self._tune.lines)), self._wanted)
        after_gap = False
        for line in ours.lines:
            if line.letter:
                self._field(line.letter, line.text)
            elif not line.text.strip():
                after_gap = self._reader is not None and self._reader.has_music
            elif after_gap and "|" not in line.text:
                self._say(f"text below the tune is left out: “{line.text.strip()[:40]}”")
            else:
                after_gap = False
                self._music(line)
        self._remarks += ours.remarks
        return self._sheet(file)

    def _music(self, line: AbcLine) -> None:
        if self._reader is None and (self._key_follows or "|" not in line.text):
            return
        self._started().line(line.text, goes_on=self._goes_on)
        self._goes_on = line.goes_on
        self._verse = 0

    def _say(self, remark: str) -> None:
        if remark not in self._remarks:
            self._remarks.append(remark)

    # ---- fields

    def _field(self, letter: str, text: str) -> None:
        if letter in _LEFT_OUT:
            self._say(_LEFT_OUT[letter])
        elif letter == "T":
            self._title(plain_text(text))
        elif letter == "I":
            self._instruction(text)
        elif letter == "U":
            self._symbol(text)
        elif letter == "w":
            self._words(text)
        elif self._reader is None:
            self._header_field(letter, text)
        else:
            self._body_field(letter, text)

    def _title(self, text: str) -> None:
        if self._reader is not None or self._header.title:
            self._say(f"a second title, {text[:60]}, is left out")
        else:
            self._header.title = text

    def _words(self, text: str) -> None:
        if self._reader is not None:
            self._verse += 1
            for remark in set_words(self._reader, text, self._verse):
                self._say(remark)

    def _symbol(self, text: str) -> None:
        symbol = read_symbol(text)
        if symbol:
            self._symbols.append(symbol)
            if self._reader is not None:
                self._reader.symbols.update([symbol])

    def _instruction(self, text: str) -> None:
        if text.startswith(SETTING):
            name, _, value = text.removeprefix(SETTING).partition(":")
            self._settings.append((name.strip(), value.strip()))
            return
        self._instructions.append(text)
        if self._reader is not None:
            _instruct(self._reader, text)

    def _header_field(self, letter: str, text: str) -> None:
        header = self._header
        if letter == "C" and not header.composer:
            header.composer = plain_text(text)
        elif letter in "SOB" and not header.source:
            header.source = plain_text(text)
        elif letter == "Z" and text.startswith(COPYRIGHT):
            header.licence = text.removeprefix(COPYRIGHT).strip()
        elif letter == "M":
            header.meter = read_meter(text)
        elif letter == "L":
            header.unit = read_unit(text)
        elif letter == "Q":
            header.tempo = text
        elif letter == "P":
            header.parts = text
        elif letter == "V":
            self._set_sounding(text)
        elif letter == "K":
            header.key = read_key(text)
            header.has_key = True
            self._set_sounding(text)
            self._started()

    def _started(self) -> AbcReader:
        """Return the reader, which is made when the header ends."""
        if self._reader is None:
            header = self._header
            if header.unit is None:
                is_short = header.meter is not None and Fraction(*header.meter) < _UNUSUAL
                header.unit = Fraction(1, 4) if is_short else Fraction(1, 2)
            self._reader = AbcReader(header.key, header.meter or (4, 4), header.unit, self._body_field)
            self._reader.octaves = header.octaves
            self._reader.symbols.update(self._symbols)
            for text in self._instructions:
                _instruct(self._reader, text)
        return self._reader

    def _set_sounding(self, text: str) -> None:
        """Note how far from what is written the voice sounds, as its key or itself says."""
        sounding = read_sounding(text)
        header = self._header
        header.octaves = header.octaves if sounding.octaves is None else sounding.octaves
        header.semitones = header.semitones if sounding.semitones is None else sounding.semitones
        if self._reader is not None:
            self._reader.octaves = header.octaves

    def _body_field(self, letter: str, text: str) -> None:
        reader = self._started()
        if letter == "P" and text != self._section:
            self._section = text
            reader.name_section(plain_text(text))
        elif letter == "K":
            self._set_sounding(text)
            self._change_key(reader, text)
        elif letter == "M":
            self._change_meter(reader, read_meter(text))
        elif letter == "L":
            reader.unit_quarter = read_unit(text)
        elif letter == "Q":
            self._change_tempo(reader, text)
        elif letter == "V":
            self._set_sounding(text)
        elif letter in ("I", "U"):
            self._field(letter, text)

    def _change_key(self, reader: AbcReader, text: str) -> None:
        """Read a key within the tune; before its first note it is the tune's own."""
        key = read_key(text, reader.key)
        if key == reader.key:
            return
        reader.key = key
        if not reader.has_music:
            self._header.key = key
        else:
            self._say(
                f"a change of key ({text[:20]}) is left out, as a song has only one; the notes stay as they sound"
            )

    def _change_meter(self, reader: AbcReader, meter: tuple[int, int] | None) -> None:
        reader.meter = meter or reader.meter
        if not reader.has_music:
            self._header.meter = meter

    def _change_tempo(self, reader: AbcReader, text: str) -> None:
        if not reader.has_music:
            self._header.tempo = text
        elif text != self._header.tempo:
            self._say("a change of tempo is left out")

    # ---- all together

    def _sheet(self, file: str) -> LeadSheet:
        reader = self._started()
        reader.finish()
        header = self._header
        if not header.has_key:
            self._say("the tune has no key (K:), so its notes are read without sharps or flats")
        if header.key.remark:
            self._say(header.key.remark)
        measures, remarks = in_order_of_parts(self._in_meter(reader.measures), header.parts)
        lost = [f"{what} ({count})" if count > 1 else what for what, count in reader.lost.items()]
        sheet = LeadSheet(
            title=header.title or Path(file).stem.replace("-", " ").replace("_", " "),
            measures=tuple(measures),
            composer=header.composer,
            source_note=header.source,
            licence=header.licence,
            key=header.key.key,
            tempo_quarters=self._tempo(),
            settings=tuple(self._settings),
            remarks=(*self._remarks, *remarks, *lost),
        )
        return _transposed(sheet, header.semitones) if header.semitones else sheet

    def _tempo(self) -> Fraction | None:
        header = self._header
        if not header.tempo:
            return None
        tempo = read_tempo(header.tempo, header.unit or Fraction(1, 2))
        if tempo is None:
            self._say(f"the tempo, {plain_text(header.tempo)[:40]}, has no number and is left out")
        return tempo

    def _in_meter(self, measures: Sequence[LeadMeasure]) -> list[LeadMeasure]:
        """Return the measures; of a tune without meter they get the one that most of them have the length of."""
        if self._header.meter is not None:
            return list(measures)
        lengths = Counter(measure.length_quarter for measure in measures)
        length, count = lengths.most_common(1)[0] if lengths else (Fraction(4), 0)
        upper, lower = (length, 4) if length.denominator == 1 else (length * 2, 8)
        if upper.denominator != 1 or not 2 <= upper <= 12 or 2 * count < len(measures):
            self._say("the tune has no meter: 4/4 is written")
            return list(measures)
        self._say(f"the tune has no meter: {upper}/{lower} is written, as long as most of its bars")
        return [
            replace(measure, meter=(int(upper), lower)) if measure.meter == (4, 4) else measure
            for measure in measures
        ]


def _instruct(reader: AbcReader, text: str) -> None:
    """Follow an instruction about the music; all others are about paper or sound and are passed over."""
    name, _, value = text.partition(" ")
    if name == "linebreak":
        reader.breaks = frozenset(re.findall(r"<EOL>|\$|!", value))
    elif name == "propagate-accidentals" and value.strip() in ("not", "octave", "pitch"):
        reader.accidentals_hold = value.strip()


def _transposed(sheet: LeadSheet, semitones: int) -> LeadSheet:
    """Return a tune as it sounds, its notes, chords and key moved."""
    key = transpose_key(sheet.key or _C_MAJOR, semitones)

    def moved(pitch: Pitch | None) -> Pitch | None:
        return spell(pitch.midi + semitones, key) if pitch else None

    def moved_chord(chord: Chord | None) -> Chord | None:
        return chord.transposed(semitones, key.fifths < 0) if chord else None

    measures = tuple(
        replace(
            measure,
            notes=tuple(replace(note, pitch=moved(note.pitch)) for note in measure.notes),
            chords=tuple(replace(each, chord=moved_chord(each.chord)) for each in measure.chords),
        )
        for measure in sheet.measures
    )
    way = f"{counted(abs(semitones), 'semitone')} {'above' if semitones > 0 else 'below'}"
    remark = f"the tune, its chords and its key sound {way} what is written, and are written as they sound"
    return replace(sheet, key=key if sheet.key else None, measures=measures, remarks=(*sheet.remarks, remark))
