"""A second voice for half the class: under the tune in thirds or sixths, or as a slow low line of the chords' tones.

In thirds or sixths it moves as the tune does, note for note: it is held, rests and breathes with the tune. On a strong
beat a note that isn't of the chord gives way to the nearest that is. The low line has one note a bar, or two in bars of
four pulses and more and where the chord changes, on the two strings that sound lowest.

Every note follows from what stands at its place alone (the tune's note, the chord, the key), so that it is the same on
every pass and an edit changes nothing elsewhere. It lies at least a minor third under all that the tune sounds
meanwhile: the two never meet, cross, or grate.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

from tercet.arranging.fill import scale_letters
from tercet.arranging.model import Arrangement, Problem
from tercet.arranging.piece import Piece, laid_out
from tercet.arranging.problems import second_problem
from tercet.arranging.tune import TuneNote, row_notes, single_notes
from tercet.errors import RequestError
from tercet.song import SECOND, Bar, Mark, Note, Pin, SecondVoice, Song, Syllable
from tercet.theory import DYNAMIC_MARKS, Chord, Key, Pitch, spell
from tercet.theory.pitch import LETTERS, PITCH_CLASSES

__all__ = ["WRITE_SECOND", "SecondLine", "second_line", "second_part", "second_pitch"]

WRITE_SECOND = "write `second: thirds`, `sixths` or `low` in its file"
"""What to do where a second voice is asked for that a song hasn't."""

STEPS_DOWN: dict[SecondVoice, int] = {"thirds": 2, "sixths": 5}
"""How many letters under the tune a voice goes."""

OTHER: dict[SecondVoice, SecondVoice] = {"thirds": "sixths", "sixths": "thirds"}
"""What a voice takes where its own interval isn't on the strings."""

SEMITONES: dict[SecondVoice, tuple[int, int]] = {"thirds": (3, 4), "sixths": (8, 9)}
"""How wide its interval is, minor and major; a diminished or augmented one gives way as a clash does."""

NEAREST_SEMITONES = 3
"""Nothing of the second voice comes nearer to the tune than a minor third: a second grates, a unison is no voice."""

FARTHEST_SEMITONES = 16
"""Nor does a note that gives way lie further below the tune than a tenth: it would be heard as a voice of its own."""

LOW_STRINGS = 2
"""The low line keeps to so many strings, those that sound lowest."""

TWO_NOTES_PULSES = 4
"""A bar of so many pulses has two notes of the low line."""


Place = tuple[int, Pitch]


@dataclass(frozen=True, slots=True)
class SecondLine:
    """The notes of a second voice.

    Parameters
    ----------
    voice
        How it goes under the tune.
    bars
        For each bar of the piece as played its notes and rests, as a row has them.
    wanted
        How many notes it would have if the strings had them all.
    silent, other
        Where it rests as the strings have no note for it, and where another interval stands in: the index of the bar,
        and the note of the tune above.
    """

    voice: SecondVoice
    bars: tuple[tuple[Note, ...], ...]
    wanted: int
    silent: tuple[Place, ...]
    other: tuple[Place, ...]

    def on_bars(self, bars: Sequence[Bar]) -> tuple[Bar, ...]:
        """Return the bars of the piece with this voice as their only tune."""
        return tuple(replace(bar, melody=row, between=None) for bar, row in zip(bars, self.bars, strict=True))

    def notes(self, piece: Piece) -> Iterator[TuneNote]:
        """Yield its notes as one run, each to be played alone, on the string that is asked for if there is one."""
        song = replace(piece.song, style="rolls", section_styles=())
        own = replace(piece, song=song, bars=self.on_bars(piece.bars))
        return (replace(note, pin_of_part=True) for note in single_notes(row_notes(own)))

    def problems(self, piece: Piece) -> Iterator[Problem]:
        """Yield what can't be done on these strings: one sentence for rests, one for other intervals."""
        for places, rests in ((self.silent, True), (self.other, False)):
            if places:
                yield second_problem(self.voice, places, self.wanted, piece, rests=rests)


def second_line(piece: Piece, voice: SecondVoice) -> SecondLine:
    """Return the second voice of a piece."""
    rows = _low_rows(piece) if voice == "low" else _rows_under_tune(piece, voice)
    bars: list[tuple[Note, ...]] = []
    silent: list[Place] = []
    other: list[Place] = []
    wanted = 0
    for index, row in enumerate(rows):
        bars.append(tuple(each.note for each in row))
        wanted += sum(each.tune is not None for each in row)
        silent += [(index, each.tune) for each in row if each.tune is not None and each.note.is_rest]
        other += [(index, each.tune) for each in row if each.tune is not None and each.stands_in]
    return SecondLine(voice, tuple(bars), wanted, tuple(silent), tuple(other))


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A note or rest of the voice, the note of the tune above one that is wanted, and whether it stands in."""

    note: Note
    tune: Pitch | None = None
    stands_in: bool = False


def second_part(arrangement: Arrangement) -> Arrangement:
    """Return the second voice of an arrangement as an arrangement of its own: for its tab, its sheet, its staff.

    Its notes are the tune there, in their own layer; strums and all else are left to the others. Words stand where it
    sounds with the tune, and nowhere in a low line, which moves otherwise. Its marks are its own: those of the song as
    far softer as it starts softer than the melody, or what they say of its layer.

    Raises
    ------
    RequestError
        The song has no second voice.
    """
    song = arrangement.song
    if song.second is None:
        raise RequestError(f"{song.title} has no second voice: {WRITE_SECOND}")
    piece = laid_out(song, arrangement.tuning, arrangement.bars)
    bars = second_line(piece, song.second).on_bars(arrangement.bars)
    gestures = (
        replace(gesture, notes=tuple(replace(note, part="tune") for note in gesture.notes))
        for gesture in arrangement.second
    )
    return Arrangement(
        replace(song, title=f"{song.title} (second voice)"),
        arrangement.tuning,
        tuple(replace(bar, words=_sung(bar, song.second), marks=_own_marks(bar, song)) for bar in bars),
        tuple(gestures),
        (),
    )


def _sung(bar: Bar, voice: SecondVoice) -> tuple[tuple[Fraction, Syllable], ...]:
    """Return the words of a bar under the notes that are struck in it, none under a low line."""
    struck = {note.start_beat for note in bar.melody if note.is_struck and voice != "low"}
    return tuple((at_beat, syllable) for at_beat, syllable in bar.words if at_beat in struck)


def _own_marks(bar: Bar, song: Song) -> tuple[Mark, ...]:
    """Return the marks of a bar as the second voice plays them."""
    softer = DYNAMIC_MARKS.index(song.dynamics.melody) - DYNAMIC_MARKS.index(song.dynamics.of(SECOND))
    marks = (replace(mark, layer=None) for mark in bar.marks if mark.layer == SECOND)
    shared = (mark for mark in bar.marks if mark.layer is None)
    return tuple(
        sorted(
            (*marks, *(_softer(mark, softer) if mark.kind == "dynamic" else mark for mark in shared)),
            key=lambda mark: mark.at_beat,
        )
    )


def _softer(mark: Mark, steps: int) -> Mark:
    place = DYNAMIC_MARKS.index(mark.value) - steps
    return replace(mark, value=DYNAMIC_MARKS[min(max(place, 0), len(DYNAMIC_MARKS) - 1)])


# ---- in thirds or sixths


def _rows_under_tune(piece: Piece, voice: SecondVoice) -> Iterator[list[_Wanted]]:
    """Yield the voice bar by bar: what the tune has, each note a third or a sixth lower."""
    on_strings = _on_strings(piece)
    held: Pitch | None = None
    for index, bar in enumerate(piece.bars):
        row: list[_Wanted] = []
        for note in bar.melody:
            tune = _pitch_of(note, piece)
            if tune is None:
                row.append(_Wanted(_moved(note, None)))
            elif note.goes_on:
                row.append(_Wanted(_moved(note, held)))
            else:
                start_beat = bar.start_beat + note.start_beat
                held, own = second_pitch(
                    tune,
                    _chords_under(piece, start_beat, _end_beat(piece, index, note)),
                    piece.song.key,
                    voice,
                    on_strings,
                    strong=_is_strong(note, piece),
                )
                row.append(_Wanted(_moved(note, held), tune, held is not None and not own))
        yield row


def _moved(note: Note, pitch: Pitch | None) -> Note:
    """Return a note of the tune at another pitch, a rest without one."""
    sounds = pitch is not None
    return Note(
        note.start_beat,
        note.length_beat,
        pitch,
        goes_on=note.goes_on and sounds,
        source=note.source,
        tied_on=note.tied_on and sounds,
    )


def _pitch_of(note: Note, piece: Piece) -> Pitch | None:
    if note.position is not None:
        return spell(piece.tuning.midi(*note.position), piece.song.key)
    return note.pitch


def _on_strings(piece: Piece) -> frozenset[int]:
    """Return the MIDI key numbers that these strings have up to the fret that the players are asked to reach."""
    frets = range(piece.hands.limits.highest_fret + 1)
    return frozenset(pitch.midi + fret for pitch in piece.tuning.open_pitches for fret in frets)


def _is_strong(note: Note, piece: Piece) -> bool:
    """Whether a note begins on a pulse, or lasts for one: what passes more quickly may clash."""
    pulse_beat = piece.pulse_beat
    return note.start_beat % pulse_beat == 0 or note.length_beat >= pulse_beat


def _end_beat(piece: Piece, index: int, note: Note) -> Fraction:
    """Return where a note of the tune ends in the piece as played, ties included."""
    end_beat = piece.bars[index].start_beat + note.start_beat + note.length_beat
    if note.tied_on:
        for bar in piece.bars[index:]:
            for other in bar.melody:
                start_beat = bar.start_beat + other.start_beat
                if start_beat == end_beat and other.goes_on:
                    end_beat += other.length_beat
                elif start_beat >= end_beat:
                    return end_beat
    return end_beat


def _chords_under(piece: Piece, start_beat: Fraction, end_beat: Fraction) -> list[Chord]:
    """Return the chord that leads under a note, then those that come while it is held."""
    span, _ = piece.chord_under(start_beat, end_beat - start_beat)
    later = [change.span for change in piece.chords if start_beat < change.start_beat < end_beat]
    return [each.chord for each in (span, *later) if each.chord is not None]


def second_pitch(
    tune: Pitch,
    chords: Sequence[Chord],
    key: Key,
    voice: SecondVoice,
    on_strings: Collection[int],
    *,
    strong: bool,
) -> tuple[Pitch | None, bool]:
    """Return the note of the second voice under a note of the tune, and whether it isn't there for want of strings.

    Parameters
    ----------
    tune
        The note of the tune.
    chords
        Those that sound while it is held, the first leading; none for N.C.
    key
        Whose scale the voice keeps to; a letter is raised or lowered as the chord has it.
    voice
        ``"thirds"`` or ``"sixths"``.
    on_strings
        MIDI key numbers that these strings and players have.
    strong
        Whether it has to be a tone of the chord.

    Returns
    -------
    pitch, own
        The note, None where none will do; and whether it is the voice's own: its interval, or the tone of the chord
        that this gives way to.

    Examples
    --------
    >>> from tercet.theory import parse_chord, parse_key
    >>> def under(tune, chord, voice="thirds", strong=True):
    ...     chords, key = [parse_chord(chord)], parse_key("A minor")
    ...     pitch, _ = second_pitch(Pitch.parse(tune), chords, key, voice, range(55, 80), strong=strong)
    ...     return str(pitch)
    >>> under("C5", "Am"), under("B4", "E7"), under("A4", "Am"), under("A4", "Am", strong=False)
    ('A4', 'G#4', 'E4', 'F4')
    >>> under("C5", "Am", "sixths")
    'E4'
    """
    letters = scale_letters(chords[0] if chords else None, key)
    tones = _agreeing_tones(chords, tune) or frozenset(letters.values())
    for each in (voice, OTHER[voice]):
        target = _midi_under(tune, STEPS_DOWN[each], letters)
        least, most = SEMITONES[each]
        agrees = target % 12 in tones or not strong
        if not (agrees and least <= tune.midi - target <= most):
            target = _nearest(target, tones, range(128), tune) or target
        if target in on_strings:
            return _spelt(target, letters, key), each == voice
    wished = _midi_under(tune, STEPS_DOWN[voice], letters)
    nearest = _nearest(wished, tones, on_strings, tune)
    return (None if nearest is None else _spelt(nearest, letters, key)), False


def _agreeing_tones(chords: Sequence[Chord], tune: Pitch) -> frozenset[int]:
    """Return the pitch classes of the first chord that those after it have too, or all; the tune's own left out."""
    if not chords:
        return frozenset()
    own = chords[0].pitch_classes - {tune.pitch_class}
    shared = own.intersection(*(chord.pitch_classes for chord in chords[1:]))
    return shared or own


def _midi_under(tune: Pitch, steps: int, letters: Mapping[str, int]) -> int:
    """Return the note of the scale so many letters under one of the tune."""
    place = LETTERS.index(tune.letter) - steps
    letter = LETTERS[place % 7]
    natural = Pitch(letter, 0, tune.octave + place // 7)
    alter = (letters[letter] - PITCH_CLASSES[letter] + 6) % 12 - 6
    return natural.midi + alter


def _nearest(wished: int, tones: Collection[int], among: Collection[int], tune: Pitch) -> int | None:
    """Return the tone of a chord nearest to a note, the higher of two; it keeps its distance from the tune."""
    distances = range(NEAREST_SEMITONES, FARTHEST_SEMITONES + 1)
    found = [midi for midi in (tune.midi - far for far in distances) if midi in among and midi % 12 in tones]
    return min(found, key=lambda midi: abs(midi - wished), default=None)


def _spelt(midi: int, letters: Mapping[str, int], key: Key) -> Pitch:
    """Return a note spelt as the scale spells it."""
    for letter, pitch_class in letters.items():
        if pitch_class == midi % 12:
            alter = (pitch_class - PITCH_CLASSES[letter] + 6) % 12 - 6
            return Pitch(letter, alter, (midi - alter) // 12 - 1)
    return spell(midi, key)


# ---- the low line


def _low_rows(piece: Piece) -> Iterator[list[_Wanted]]:
    """Yield the low line bar by bar."""
    chord: Chord | None = None
    for bar in piece.bars:
        row: list[_Wanted] = []
        at_beat = Fraction(0)
        for low, high in _stretches(bar, piece):
            sounding = [
                note
                for note in bar.melody
                if _pitch_of(note, piece) is not None
                and note.start_beat < high
                and note.start_beat + note.length_beat > low
            ]
            now = piece.chord_at(bar.start_beat + low).chord
            if now is None or not sounding:
                chord = now
                continue
            start = max(low, sounding[0].start_beat)
            end = min(high, sounding[-1].start_beat + sounding[-1].length_beat)
            lowest = min((pitch for note in sounding if (pitch := _pitch_of(note, piece))), key=_midi_of)
            place = _low_place(now, lowest, piece, goes_on=low > 0 and now == chord)
            if start > at_beat:
                row.append(_Wanted(Note(at_beat, start - at_beat)))
            note = Note(start, end - start, source=sounding[0].source)
            if place is not None:
                string, pitch = place
                note = replace(note, pitch=pitch, pin=Pin("alone", (string,)))
            row.append(_Wanted(note, lowest))
            chord, at_beat = now, end
        if at_beat < bar.length_beat:
            row.append(_Wanted(Note(at_beat, bar.length_beat - at_beat)))
        yield row


def _midi_of(pitch: Pitch) -> int:
    return pitch.midi


def _stretches(bar: Bar, piece: Piece) -> Iterator[tuple[Fraction, Fraction]]:
    """Yield the stretches of a bar that have a note of the low line each: one or two, cut at a breath; no pick-up."""
    pulse_beat, end = piece.pulse_beat, bar.pickup_from
    changes = {
        span.start_beat
        for before, span in pairwise(bar.chords)
        if span.played_as != before.played_as and span.start_beat % pulse_beat == 0
    }
    middle = ceil(bar.length_beat / pulse_beat / 2) * pulse_beat
    cuts = sorted(changes, key=lambda beat: (abs(beat - middle), beat))[:1]
    if not cuts and bar.length_beat >= TWO_NOTES_PULSES * pulse_beat:
        cuts = [middle]
    edges = [Fraction(0), *(beat for beat in cuts if beat < end), end]
    breaths = [mark.at_beat for mark in bar.marks if mark.kind == "breath"]
    for low, high in pairwise(edges):
        if low < high:
            yield low, min([high, *(beat for beat in breaths if low < beat < high)])


def _low_place(chord: Chord, tune: Pitch, piece: Piece, *, goes_on: bool) -> tuple[int, Pitch] | None:
    """Return string and note of the low line under a note of the tune: the lowest place of the best tone of a chord.

    That is the bass as the chord comes in, the fifth or the third where it goes on.
    """
    letters = scale_letters(chord, piece.song.key)
    frets = range(piece.hands.limits.highest_fret + 1)
    strings = sorted((4, 3, 2, 1), key=piece.tuning.open_midi)[:LOW_STRINGS]
    for pitch_class in _low_tones(chord, goes_on=goes_on):
        places = [
            (midi, string)
            for string in strings
            for fret in frets
            if (midi := piece.tuning.open_midi(string) + fret) % 12 == pitch_class
            and midi <= tune.midi - NEAREST_SEMITONES
        ]
        if places:
            midi, string = min(places)
            return string, _spelt(midi, letters, piece.song.key)
    return None


def _low_tones(chord: Chord, *, goes_on: bool) -> list[int]:
    """Return the pitch classes of a chord that the low line takes, the best first."""
    third, fifth = (
        (chord.root_class + interval) % 12
        for interval in (
            next((each for each in chord.quality.intervals if each in steps), steps[0])
            for steps in ((4, 3, 5, 2), (7, 6, 8))
        )
    )
    beginning = [chord.bass_class, chord.root_class]
    return list(dict.fromkeys([fifth, third, *beginning] if goes_on else [*beginning, fifth, third]))
