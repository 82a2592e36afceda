"""Another key for good: the text of a song moved, with the fingerings that still hold for strings and hands."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tercet.arranging.arranger import arrange
from tercet.arranging.model import Arrangement, Problem
from tercet.song import Song, Source, drop_pins_at, move_to, parse_song, transpose_song
from tercet.song.writer import moved_text
from tercet.theory import Key

__all__ = ["TransposedSong", "transpose_text"]


@dataclass(frozen=True, slots=True)
class TransposedSong:
    """An arrangement file in another key.

    Parameters
    ----------
    text
        What the file holds now.
    song
        The same, read.
    old_key
        The key before.
    semitones
        How far it was moved up; down below 0.
    dropped
        What doesn't hold in the new key, a sentence part each: ``"verse, bar 3: the pin [321]"``.
    off_neck
        What is to be said of notes that no string has.
    """

    text: str
    song: Song
    old_key: Key
    semitones: int
    dropped: tuple[str, ...]
    off_neck: tuple[Problem, ...]


def transpose_text(text: str, to: int | str, file: str = "song.yaml") -> TransposedSong:
    """Move the text of a song to another key.

    The pins that `tercet.song.transpose_song` keeps are tried on the neck: those that the hands can't keep, or whose
    roll drowns the tune, are dropped too, unless it was so before.

    Parameters
    ----------
    text
        What the arrangement file holds.
    to
        Semitones up, or the key, as `tercet.song.move_to` reads it.
    file
        What to call it in messages.

    Raises
    ------
    SongError
        The text has mistakes.
    RequestError
        There is no such key, it is too far, or the song has no bars to play.
    """
    song = parse_song(text, file)
    semitones, key = move_to(song, to)
    moved, dropped = transpose_song(song, semitones, key)
    moved = replace(moved, moved_semitones=0)  # the file that comes out has it there
    after = arrange(moved)
    if let_go := _idle_pins(after) - _idle_pins(arrange(song)):
        moved, more = drop_pins_at(moved, let_go)
        dropped += more
        after = arrange(moved)
    off_neck = tuple(problem for problem in after.problems if problem.off_neck)
    return TransposedSong(moved_text(text, moved, file), moved, song.key, semitones, dropped, off_neck)


def _idle_pins(arrangement: Arrangement) -> set[Source]:
    """Return the places of pinned notes that are struck on other strings, or rolled with the tune masked."""
    pins = {
        note.source: note.pin.strings
        for bar in arrangement.bars
        for note in (*bar.melody, *(bar.between or ()))
        if note.pin is not None and note.pin.strings
    }
    return {
        gesture.source
        for gesture in arrangement.gestures
        if gesture.source in pins
        and (
            gesture.heard == "masked" or tuple(note.string for note in gesture.notes) != pins[gesture.source]
        )
    }
