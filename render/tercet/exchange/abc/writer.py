"""ABC 2.1 out: the tune with its chords and words, as it is played, every section under its name.

Settings of the song stand in lines of our own (``%%tercet``), which other programs pass over.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from tercet.exchange.abc.keys import read_key
from tercet.exchange.abc.reader import COPYRIGHT, SETTING
from tercet.exchange.abc.signs import ACCIDENTALS
from tercet.exchange.writing import TuneWriter, kept_settings, row_names
from tercet.song import Bar, ChordSpan, Mark, Measure, Note, Song, Syllable, played_bars, played_visits
from tercet.theory import Chord, Pitch

__all__ = ["abc_bytes", "grouped", "length_text"]

_ACCIDENTALS = {alter: sign for sign, alter in ACCIDENTALS.items()}


@dataclass(frozen=True, slots=True)
class _Event:
    """A note or rest as ABC writes it: nothing changes while it sounds.

    Parameters
    ----------
    start_beat, length_beat
        Place in its bar, and length.
    pitch
        None for a rest.
    tied_on
        Whether the next event continues it.
    above
        Chord symbol and marks that stand before it.
    word
        What the line of words has for it; empty for a rest, which takes none.
    """

    start_beat: Fraction
    length_beat: Fraction
    pitch: Pitch | None
    tied_on: bool
    above: str
    word: str


def abc_bytes(song: Song, second: Sequence[Bar] = ()) -> tuple[bytes, tuple[str, ...]]:
    """Return a song as an ABC tune in UTF-8, and what couldn't be said in it, one sentence each.

    `second` has the bars of its second voice, if it has one: they are a voice of their own.
    """
    writer = _AbcWriter(song, played_bars(song))
    if not second:
        lines = [(*system.section, *system.music) for system in writer.systems()]
    else:
        plain = tuple(replace(bar, chords=(), words=(), marks=()) for bar in second)
        both = zip(writer.systems(), _AbcWriter(song, plain).systems(), strict=True)
        lines = [(*tune.section, "V:1", *tune.music, "V:2", *under.music) for tune, under in both]
        lines.insert(0, VOICES)
    text = "\n".join([*_header(song), *(line for system in lines for line in system)])
    return f"{text}\n".encode(), (*_left_out(song), *writer.remarks())


def _header(song: Song) -> Iterator[str]:
    meter = song.meter
    pulse = meter.pulse_beat / meter.lower
    tempo = f"{float(song.tempo):.6f}".rstrip("0").rstrip(".")
    yield "X:1"
    yield f"T:{_head_text(song.title)}"
    for letter, text in (("C:", song.composer), ("S:", song.source_note), (f"Z:{COPYRIGHT} ", song.licence)):
        if text:
            yield f"{letter}{_head_text(text)}"
    for name, value in kept_settings(song):
        yield f"%%{SETTING}{name}: {value}"
    yield f"M:{meter.upper}/{meter.lower}"
    yield f"L:1/{meter.lower}"
    yield f"Q:{pulse.numerator}/{pulse.denominator}={tempo}"
    yield f"K:{song.key.short_name}"


def _head_text(text: str) -> str:
    """Return a text that stands right after a field's colon; ``C:|`` and ``C::`` would be music."""
    return f" {_field_text(text)}" if text.startswith(("|", ":")) else _field_text(text)


def _field_text(text: str) -> str:
    return text.replace("%", "\\%")


def _left_out(song: Song) -> Iterator[str]:
    for name in ("strum", "between"):
        if name in row_names(song):
            yield f"`{name}` rows are left out"
    rows = [row for section in song.sections for line in section.lines for row in line.rows]
    notes = [item for row in rows for bar in (row.pickup, *row.bars) for item in bar or ()]
    if any(isinstance(item, Note) and (item.pin or item.position) for item in notes):
        yield "pins and strings are left out; the notes stay"
    if any(isinstance(item, ChordSpan) and item.shape for item in notes):
        yield "pinned shapes of chords are left out; the chords stay"
    if song.sound:
        yield "the file doesn't name the sound font"


VOICES = ('V:1 name="Tune"', 'V:2 name="Second voice"')


@dataclass(frozen=True, slots=True)
class _System:
    """A line of music: the section that begins with it, if one does, and its music with the words under it."""

    section: tuple[str, ...]
    music: tuple[str, ...]


_HAIRPINS = {"louder": "<", "softer": ">"}


class _AbcWriter(TuneWriter):
    """Writes the music, line by line, each with its words."""

    def __init__(self, song: Song, bars: tuple[Bar, ...]) -> None:
        super().__init__(song, bars)
        self._bars = bars
        self._alters = read_key(song.key.short_name).alters
        self._chord: tuple[Chord | None] | None = None
        self._hairpin = ""

    def systems(self) -> Iterator[_System]:
        """Yield the lines of music."""
        pieces = [measure for visit in played_visits(self._bars) for measure in visit.measures]
        starts = [0, *(index for index, piece in enumerate(pieces) if index and piece.opens_line)]
        for low, high in zip(starts, [*starts[1:], len(pieces)], strict=True):
            section = (f"P:{pieces[low].section}",) if pieces[low].opens_visit else ()
            music: list[str] = []
            words: list[str] = []
            for piece in pieces[low:high]:
                events = list(self._events(piece))
                music.append(self._music(events))
                words += [event.word for event in events if event.word]
            is_last = high == len(pieces)
            ends_section = is_last or pieces[high].opens_visit
            line = " | ".join(music) + (" |]" if is_last else " ||" if ends_section else " |")
            sung = "".join(word if word.endswith("-") else f"{word} " for word in words).rstrip()
            has_words = any(word not in ("*", "_") for word in words)
            yield _System(section, (line, f"w:{sung}") if has_words else (line,))

    # ---- what sounds

    def _events(self, piece: Measure) -> Iterator[_Event]:
        """Yield the notes of a measure, cut where a chord begins while one sounds."""
        bar = piece.bar
        self._notice_lost(piece)
        chords = {span.start_beat: span for span in bar.chords if piece.holds(span.start_beat)}
        words = dict(bar.words)
        for note in piece.melody:
            end = note.start_beat + note.length_beat
            cuts = [
                place
                for place, span in chords.items()
                if note.start_beat < place < end and self._is_new(span, chords)
            ]
            edges = [note.start_beat, *sorted(cuts), end]
            pitch = self._pitch_of(note)
            for low, high in pairwise(edges):
                above = self._chord_above(chords.get(low), piece, low) + self._marks_above(
                    piece, low, high, end
                )
                word = "" if pitch is None else self._word(words.get(low), continues=self._tied)
                tied_on = pitch is not None and (high < end or note.tied_on)
                yield _Event(low, high - low, pitch, tied_on, above, word)
                self._tied = tied_on

    def _is_new(self, span: ChordSpan, chords: dict[Fraction, ChordSpan]) -> bool:
        """Return whether a chord differs from the one before it in its bar."""
        before = [chords[place] for place in chords if place < span.start_beat]
        return not before or max(before, key=lambda each: each.start_beat).chord != span.chord

    def _word(self, syllable: Syllable | None, *, continues: bool) -> str:
        if continues:
            return "_"
        if syllable is None:
            return "*"
        if syllable.holds:
            return "_"
        text = syllable.text.replace("-", "\\-").replace("‿", "~")
        return _field_text(text) + ("-" if syllable.joined else "")

    # ---- what stands above

    def _chord_above(self, span: ChordSpan | None, piece: Measure, at: Fraction) -> str:
        if span is None:
            return ""
        starts_section = piece.opens_visit and at == piece.low_beat
        if self._chord == (span.chord,) and not starts_section:
            return ""
        self._chord = (span.chord,)
        return f'"{span.chord or "N.C."}"'

    def _marks_above(self, piece: Measure, low: Fraction, high: Fraction, end: Fraction) -> str:
        text = ""
        for mark in piece.bar.marks:
            if mark.at_beat == low and mark.layer is None:
                text += self._mark(mark)
        if high == end and piece.bar.start_beat + end in self._breaths:
            text += "!breath!"
        return text

    def _mark(self, mark: Mark) -> str:
        if mark.kind in ("dynamic", "hairpin"):
            ended = f"!{self._hairpin})!" if self._hairpin else ""
            self._hairpin = _HAIRPINS.get(mark.value, "")
            return f"{ended}!{self._hairpin + '(' if self._hairpin else mark.value}!"
        return {"rit": '"^rit."', "a-tempo": '"^a tempo"', "breath": ""}.get(mark.kind, f"!{mark.kind}!")

    def _notice_lost(self, piece: Measure) -> None:
        bar = piece.bar
        starts = {note.start_beat for note in bar.melody}
        ends = {0, *(note.start_beat + note.length_beat for note in bar.melody)}
        for mark in bar.marks:
            if not piece.holds(mark.at_beat):
                continue
            if mark.layer is not None:
                self._lose("marks for one layer are left out", piece)
            elif mark.at_beat not in (ends if mark.kind == "breath" else starts):
                self._lose("marks where no note starts are left out", piece)

    # ---- notes as text

    def _music(self, events: Sequence[_Event]) -> str:
        """Return a measure, notes of one pulse together."""
        text, altered = "", dict(self._alters)
        pulse = self._song.meter.pulse_beat
        rest = iter(events)
        for sign, lengths in grouped([event.length_beat for event in events]):
            for index, length in enumerate(lengths):
                event = next(rest)
                gap = " " if text and event.start_beat % pulse == 0 else ""
                start = sign if index == 0 else ""
                text += gap + start + event.above + self._note_text(event, length, altered)
        return text

    def _note_text(self, event: _Event, length: Fraction, altered: dict[str, int]) -> str:
        if event.pitch is None:
            return f"z{length_text(length)}"
        pitch = event.pitch
        sign = _ACCIDENTALS[pitch.alter] if altered.get(pitch.letter, 0) != pitch.alter else ""
        altered[pitch.letter] = pitch.alter
        high = pitch.octave >= 5
        letter = pitch.letter.lower() if high else pitch.letter
        marks = "'" * (pitch.octave - 5) if high else "," * (4 - pitch.octave)
        return f"{sign}{letter}{marks}{length_text(length)}{'-' if event.tied_on else ''}"


_TUPLETS: dict[int, int] = {3: 2, 5: 4, 7: 4, 9: 8}
"""How many notes share the time of how many."""

_MOST_IN_A_TUPLET = 9


def length_text(units: Fraction) -> str:
    """Return a length in units as ABC writes it.

    >>> [length_text(Fraction(text)) for text in ("1", "2", "3/2", "1/2", "1/4")]
    ['', '2', '3/2', '/', '/4']
    """
    upper = "" if units.numerator == 1 else str(units.numerator)
    if units.denominator == 1:
        return upper
    return f"{upper}/" if units.denominator == 2 and not upper else f"{upper}/{units.denominator}"


def grouped(lengths: Sequence[Fraction]) -> Iterator[tuple[str, list[Fraction]]]:
    """Yield runs of notes: what stands before each, such as ``(3:2:4``, and the lengths to write.

    A run that isn't of halves alone is closed as soon as its time is; where that never comes, the lengths stay as they
    are, which ABC can write but few programs can draw.
    """
    at = 0
    while at < len(lengths):
        alone = _is_plain(lengths[at])
        found = None if alone else _tuplet(lengths[at : at + _MOST_IN_A_TUPLET])
        sign, run = found or ("", [lengths[at]])
        yield sign, run
        at += len(run)


def _tuplet(lengths: Sequence[Fraction]) -> tuple[str, list[Fraction]] | None:
    """Return the shortest tuplet that these lengths begin with."""
    for notes, in_time in _TUPLETS.items():
        ratio = Fraction(notes, in_time)
        for count in range(1, len(lengths) + 1):
            run = [length * ratio for length in lengths[:count]]
            if not all(map(_is_plain, run)):
                break
            if _is_plain(sum(lengths[:count], Fraction(0))) or count == _MOST_IN_A_TUPLET:
                return f"({notes}:{in_time}:{count}", run
    return None


def _is_plain(length: Fraction) -> bool:
    return length.denominator & (length.denominator - 1) == 0
