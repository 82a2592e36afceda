"""Moving a song to another key or another tuning: notes and chords move, fingerings are dropped and listed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from tercet.errors import ParameterError, RequestError
from tercet.song.model import ChordSpan, Line, Note, Row, Section, Song
from tercet.song.spelling import shape_text
from tercet.theory import Chord, Key, Pitch, Tuning, tuning_of
from tercet.theory.limits import MOST_SEMITONES
from tercet.theory.pitch import LETTERS_BY_FIFTHS, PITCH_CLASSES, spell, transpose_key

__all__ = ["drop_pins", "transpose_song"]


_ChangeItem = Callable[[Any], tuple[Any, str]]


def transpose_song(song: Song, semitones: int) -> tuple[Song, tuple[str, ...]]:
    """Return the song that many semitones higher, spelt for its new key, and what had to be dropped.

    A note or chord keeps its place in the key: the sharp fourth of C becomes the sharp fourth of the new key.
    Pins, pinned shapes and string positions belong to the old key, so they are dropped; a note that was given by
    its position becomes its pitch.

    Parameters
    ----------
    song
        The song as written.
    semitones
        −24 to 24; 0 returns the song as it is.

    Returns
    -------
    song, dropped
        The new song, and one sentence part for each thing dropped, such as ``"verse, bar 3: the pin [321]"``.

    Raises
    ------
    RequestError
        When the distance is out of range, or a note would leave the range of pitches.
    """
    if not -MOST_SEMITONES <= semitones <= MOST_SEMITONES:
        raise RequestError(
            f"a transposition must be -{MOST_SEMITONES} to {MOST_SEMITONES} semitones (got {semitones})"
        )
    if semitones != int(semitones):
        raise RequestError(f"a transposition must be a whole number of semitones (got {semitones})")
    if semitones == 0:
        return song, ()
    key = transpose_key(song.key, semitones)
    strings = tuning_of(song.tuning)
    fifths = key.fifths - song.key.fifths

    def change(item: Any) -> tuple[Any, str]:
        item, dropped = _without_fingering(item, strings, song.key)
        if isinstance(item, Note) and item.pitch is not None:
            return replace(item, pitch=_moved_pitch(item.pitch, semitones, fifths, key)), dropped
        if isinstance(item, ChordSpan) and item.chord is not None:
            return replace(item, chord=_moved_chord(item.chord, semitones, fifths, key)), dropped
        return item, dropped

    try:
        sections, dropped = _changed_sections(song, change)
    except ParameterError as error:
        raise RequestError(
            f"transposed by {semitones} semitones, a note leaves the range of pitches: {error}"
        ) from error
    moved_semitones = song.moved_semitones + semitones
    return replace(song, key=key, sections=sections, moved_semitones=moved_semitones), dropped


def drop_pins(song: Song) -> tuple[Song, tuple[str, ...]]:
    """Return the song without pins, pinned shapes and string positions, for another tuning, and what was dropped.

    A note given by its position becomes the pitch that it has in the song's own tuning.
    """
    strings = tuning_of(song.tuning)
    sections, dropped = _changed_sections(song, lambda item: _without_fingering(item, strings, song.key))
    return replace(song, sections=sections), dropped


def _without_fingering(item: Any, strings: Tuning, key: Key) -> tuple[Any, str]:
    """Return a note or chord without its fingering, and what was dropped."""
    if isinstance(item, ChordSpan) and item.shape is not None:
        told = f"the shape {item.chord}{shape_text(item.shape, item.fingers)}"
        return replace(item, shape=None, fingers=None), told
    if not isinstance(item, Note) or (item.pin is None and item.position is None):
        return item, ""
    dropped = []
    pitch = item.pitch
    if item.position is not None:
        pitch = spell(strings.midi(*item.position), key)
        dropped.append("the position s{}f{}".format(*item.position))
    if item.pin is not None:
        dropped.append(f"the pin [{''.join(map(str, item.pin.strings)) or item.pin.action}]")
    return replace(item, pitch=pitch, position=None, pin=None), " and ".join(dropped)


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


def _moved_letter(letter: str, alter: int, fifths: int) -> tuple[str, int]:
    """Move a letter and its sign along the line of fifths (Bb F C G D A E B F# and on, both ways)."""
    place = LETTERS_BY_FIFTHS.index(letter) + 7 * alter + fifths
    return LETTERS_BY_FIFTHS[place % 7], place // 7


def _moved_pitch(pitch: Pitch, semitones: int, fifths: int, key: Key) -> Pitch:
    midi = pitch.midi + semitones
    letter, alter = _moved_letter(pitch.letter, pitch.alter, fifths)
    if not -1 <= alter <= 1:
        return spell(midi, key)
    return Pitch(letter, alter, (midi - alter - PITCH_CLASSES[letter]) // 12 - 1)


def _moved_chord(chord: Chord, semitones: int, fifths: int, key: Key) -> Chord:
    root = _moved_letter(chord.letter, chord.alter, fifths)
    bass = _moved_letter(*chord.bass, fifths) if chord.bass else None
    if any(part is not None and not -1 <= part[1] <= 1 for part in (root, bass)):
        return chord.transposed(semitones, prefer_flats=key.fifths < 0)
    return Chord(root[0], root[1], chord.quality, bass)
