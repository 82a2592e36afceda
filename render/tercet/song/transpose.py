"""Moving a song to another key or another tuning: notes and chords move, and with them the fingerings that hold."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import replace
from typing import Any

from tercet.errors import ParameterError, RequestError
from tercet.song.model import ChordSpan, Line, Note, Row, Section, Song, Source
from tercet.song.settings import key_named
from tercet.song.spelling import shape_text
from tercet.theory import LAST_FRET, Chord, Key, Pitch, Tuning, tuning_of
from tercet.theory.limits import MOST_SEMITONES
from tercet.theory.pitch import (
    LETTERS_BY_FIFTHS,
    PITCH_CLASSES,
    fifths_of,
    signature_alters,
    spell,
    transpose_key,
)
from tercet.wording import counted

__all__ = ["drop_pins", "drop_pins_at", "move_to", "transpose_song"]


_ChangeItem = Callable[[Any], tuple[Any, str]]


def transpose_song(song: Song, semitones: int, key: Key | None = None) -> tuple[Song, tuple[str, ...]]:
    """Return the song that many semitones higher, spelt for its new key, and what had to be dropped.

    A note or chord keeps its place in the key: the sharp fourth of C becomes the sharp fourth of the new key, unless
    that needs a double sign, or for a chord a name such as E# that isn't of the key. A fingering stays where it still
    holds:

    - a pin without strings always; one with strings when the tune's string has the new note up to the last fret;
    - a position moves along its string, if that has the fret; else it becomes the note's name;
    - the shape of a chord moves along the neck, if no open string is in it and every finger stays on a fret.

    Parameters
    ----------
    song
        The song as written.
    semitones
        −24 to 24; 0 returns the song as it is, or spelt for the key.
    key
        The key that comes out, so many semitones higher; without it the one with the fewest sharps or flats.

    Returns
    -------
    song, dropped
        The new song, and one sentence part for each thing dropped, such as ``"verse, bar 3: the pin [321]"``.

    Raises
    ------
    RequestError
        When the distance is out of range, or a note would leave the range of pitches.
    """
    _check_distance(semitones)
    key = key or (transpose_key(song.key, semitones) if semitones else song.key)
    if semitones == 0 and key == song.key:
        return song, ()
    move = _Move(semitones, song.key, key, tuning_of(song.tuning))
    try:
        sections, dropped = _changed_sections(song, move.item)
    except ParameterError as error:
        raise RequestError(
            f"transposed by {counted(semitones, 'semitone')}, a note leaves the range of pitches: {error}"
        ) from error
    moved_semitones = song.moved_semitones + semitones
    return replace(song, key=key, sections=sections, moved_semitones=moved_semitones), dropped


def move_to(song: Song, to: int | str) -> tuple[int, Key]:
    """Return how many semitones higher a song is wanted, and the key that comes out.

    Parameters
    ----------
    song
        As written.
    to
        Semitones up, as a number or ``"+3"``, ``"-2"``; or a key such as ``"Bb"`` or ``"F# minor"``, which is reached
        the nearest way: up where both are six semitones.

    Raises
    ------
    RequestError
        The distance is out of range, there is no such key, or its mode isn't the song's.
    """
    if not isinstance(to, str) or re.fullmatch(r"[+-]?\d+", to):
        semitones = int(to) if isinstance(to, str) else to
        _check_distance(semitones)
        return semitones, transpose_key(song.key, semitones) if semitones else song.key
    if not to.strip():
        raise RequestError("name a key such as Bb or F# minor, or say how many semitones, such as 3 or -2")
    key = key_named(to.strip())
    if key.minor != song.key.minor:
        mode = "minor" if key.minor else "major"
        short = Key(key.letter, key.alter, song.key.minor).short_name
        raise RequestError(f"the song is in {song.key}, and {key} is {mode}: write {short}")
    up = (key.tonic_class - song.key.tonic_class) % 12
    return up if up <= 6 else up - 12, key


def _check_distance(semitones: int) -> None:
    if not -MOST_SEMITONES <= semitones <= MOST_SEMITONES:
        raise RequestError(
            f"a transposition must be -{MOST_SEMITONES} to {MOST_SEMITONES} semitones (got {semitones})"
        )
    if semitones != int(semitones):
        raise RequestError(f"a transposition must be a whole number of semitones (got {semitones})")


def drop_pins(song: Song) -> tuple[Song, tuple[str, ...]]:
    """Return the song without pins, pinned shapes and string positions, for another tuning, and what was dropped.

    A note given by its position becomes the pitch that it has in the song's own tuning.
    """
    strings = tuning_of(song.tuning)
    sections, dropped = _changed_sections(song, lambda item: _without_fingering(item, strings, song.key))
    return replace(song, sections=sections), dropped


def drop_pins_at(song: Song, places: Collection[Source]) -> tuple[Song, tuple[str, ...]]:
    """Return the song without the pins of the notes that stand at some places of its file, and what was dropped."""

    def change(item: Any) -> tuple[Any, str]:
        if not isinstance(item, Note) or item.pin is None or item.source not in places:
            return item, ""
        return replace(item, pin=None), _pin_name(item)

    sections, dropped = _changed_sections(song, change)
    return replace(song, sections=sections), dropped


def _without_fingering(item: Any, strings: Tuning, key: Key) -> tuple[Any, str]:
    """Return a note or chord without its fingering, and what was dropped."""
    if isinstance(item, ChordSpan) and item.shape is not None:
        return replace(item, shape=None, fingers=None), _shape_name(item)
    if not isinstance(item, Note) or (item.pin is None and item.position is None):
        return item, ""
    dropped = []
    pitch = item.pitch
    if item.position is not None:
        pitch = spell(strings.midi(*item.position), key)
        dropped.append(_position_name(item))
    if item.pin is not None:
        dropped.append(_pin_name(item))
    return replace(item, pitch=pitch, position=None, pin=None), " and ".join(dropped)


def _shape_name(span: ChordSpan) -> str:
    return f"the shape {span.chord}{shape_text(span.shape, span.fingers)}"


def _position_name(note: Note) -> str:
    return "the position s{}f{}".format(*note.position or ())


def _pin_name(note: Note) -> str:
    return f"the pin [{''.join(map(str, note.pin.strings)) or note.pin.action}]" if note.pin else ""


def _changed_sections(song: Song, change: _ChangeItem) -> tuple[tuple[Section, ...], tuple[str, ...]]:
    """Apply a change to every note and chord; gather what it dropped, with its place."""
    dropped: list[str] = []

    def changed(items: tuple[Any, ...] | None, where: str) -> tuple[Any, ...] | None:
        if items is None:
            return None
        made = []
        for item in items:
            new, told = change(item)
            made.append(new)
            if told:
                dropped.append(f"{where}: {told}")
        return tuple(made)

    sections = []
    for section in song.sections:
        lines = []
        first_bar = 1
        for line in section.lines:
            rows = []
            for row in line.rows:
                label = f"{section.name}, {_row_label(row)}"
                pickup = changed(row.pickup, f"{label}pick-up")
                bars = tuple(
                    changed(bar, f"{label}bar {first_bar + index}") for index, bar in enumerate(row.bars)
                )
                rows.append(replace(row, pickup=pickup, bars=bars))
            lines.append(Line(tuple(rows)))
            first_bar += line.bar_count
        sections.append(replace(section, lines=tuple(lines)))
    return tuple(sections), tuple(dropped)


def _row_label(row: Row) -> str:
    if not row.passes:
        return ""
    return "pass " + " ".join("last" if number < 0 else str(number) for number in row.passes) + ", "


# ---- one note or chord moved


class _Move:
    """A move from one key to another, on the strings of the song."""

    def __init__(self, semitones: int, old: Key, new: Key, strings: Tuning) -> None:
        self._semitones = semitones
        self._old = old
        self._new = new
        self._strings = strings

    def item(self, item: Any) -> tuple[Any, str]:
        """Return a note or chord moved, with what holds of its fingering, and what was dropped; all else as it is."""
        if isinstance(item, ChordSpan) and item.chord is not None:
            return self._span(item)
        if isinstance(item, Note) and not item.is_rest:
            return self._note(item)
        return item, ""

    def _span(self, span: ChordSpan) -> tuple[ChordSpan, str]:
        moved = replace(span, chord=self._chord(span.chord)) if span.chord else span
        if span.shape is None or not self._semitones:
            return moved, ""
        frets = tuple(fret if fret is None else fret + self._semitones for fret in span.shape)
        if 0 not in span.shape and all(fret is None or 1 <= fret <= LAST_FRET for fret in frets):
            return replace(moved, shape=frets), ""
        return replace(moved, shape=None, fingers=None), _shape_name(span)

    def _note(self, note: Note) -> tuple[Note, str]:
        dropped = []
        position, pitch, pin = note.position, note.pitch, note.pin
        midi = self._strings.midi(*position) if position else pitch.midi if pitch else 0
        if pitch is not None:
            pitch = self._pitch(pitch)
        if position is not None and 0 <= position[1] + self._semitones <= LAST_FRET:
            position = (position[0], position[1] + self._semitones)
        elif position is not None:
            position, pitch = None, self._pitch(spell(midi, self._old))
            dropped.append(_position_name(note))
        if pin is not None and pin.strings:
            fret = midi + self._semitones - self._strings.open_midi(pin.strings[-1])
            if not 0 <= fret <= LAST_FRET:
                pin = None
                dropped.append(_pin_name(note))
        return replace(note, pitch=pitch, position=position, pin=pin), " and ".join(dropped)

    def _pitch(self, pitch: Pitch) -> Pitch:
        midi = pitch.midi + self._semitones
        letter, alter = self._name(pitch.letter, pitch.alter, _is_double)
        return Pitch(letter, alter, (midi - alter - PITCH_CLASSES[letter]) // 12 - 1)

    def _chord(self, chord: Chord) -> Chord:
        root = self._name(chord.letter, chord.alter, _is_odd_root)
        bass = self._name(*chord.bass, _is_odd_root) if chord.bass else None
        return Chord(*root, chord.quality, bass)

    def _name(self, letter: str, alter: int, shunned: Callable[[int, Key], bool]) -> tuple[str, int]:
        """Return a letter and its sign moved along the line of fifths (Bb F C G D A E B F# and on, both ways).

        Where the new key shuns the name, the enharmonic one nearest to its centre is taken. That happened on the way
        here too: where the old key shuns the enharmonic name of a note, the name nearer to its centre was meant.
        """
        distance = self._new.fifths - self._old.fifths
        place = fifths_of(letter, alter)
        if distance == 0:
            return letter, alter
        meant = [other for other in (place - 12, place + 12) if shunned(other, self._old)]
        place = _nearest([place, *meant], self._old) + distance
        if shunned(place, self._new):
            plain = [other for other in range(place % 12 - 24, 24, 12) if not shunned(other, self._new)]
            place = _nearest(plain, self._new)
        return LETTERS_BY_FIFTHS[(place + 1) % 7], (place + 1) // 7


def _nearest(places: list[int], key: Key) -> int:
    """Return the place on the line of fifths nearest to a key's centre, as `spell` has it; ties go to the sharp."""
    centre = key.fifths + (3 if key.minor else 2)
    return min(places, key=lambda place: (abs(place - centre), -place))


def _is_double(place: int, key: Key) -> bool:  # noqa: ARG001 - no key has double signs
    return not -1 <= (place + 1) // 7 <= 1


def _is_odd_root(place: int, key: Key) -> bool:
    """Whether a chord isn't named so: double signs, and Cb, Fb, E#, B# that the key signature doesn't have."""
    letter, alter = LETTERS_BY_FIFTHS[(place + 1) % 7], (place + 1) // 7
    if f"{letter}{alter:+}" in ("C-1", "F-1", "E+1", "B+1"):
        return signature_alters(key.fifths).get(letter, 0) != alter
    return _is_double(place, key)
