"""A first look at a tune that has just come in: its range, and where its notes would all have a string."""

from __future__ import annotations

from dataclasses import dataclass

from tercet.arranging.advice import advise
from tercet.arranging.arranger import song_tuning
from tercet.arranging.off_neck import moves_onto
from tercet.neck import has_note
from tercet.song import Song, played_bars
from tercet.theory import TUNINGS, Key, Pitch, spell, transpose_key

__all__ = ["FirstLook", "first_look"]

_MOST_BARS = 400
"""As played: in longer tunes all keys would take longer to try than anybody waits for an import."""


@dataclass(frozen=True, slots=True)
class FirstLook:
    """What is known of a tune with notes that no string has.

    Parameters
    ----------
    lowest, highest
        Its range as written.
    missing, notes
        How many of its notes, as played, no string of its tuning has.
    semitones, key
        The move that suits best of those that give every note a string, and the key that comes out; None when
        none does.
    tunings
        Names of other tunings that have all its notes as written.
    """

    lowest: Pitch
    highest: Pitch
    missing: int
    notes: int
    semitones: int | None
    key: Key | None
    tunings: tuple[str, ...]


def first_look(song: Song, *, thorough: bool = True) -> FirstLook | None:
    """Return what is to be said of a tune; None when its tuning has all notes.

    Parameters
    ----------
    song
        As it came in.
    thorough
        Whether to weigh all keys, as `advise` does, rather than to take the smallest move.
    """
    tuning = song_tuning(song)
    bars = played_bars(song)
    midis = [
        note.pitch.midi if note.pitch else tuning.midi(*note.position) if note.position else 0
        for bar in bars
        for note in bar.melody
        if note.pitch or note.position
    ]
    missing = sum(not has_note(tuning, midi) for midi in midis)
    if not missing:
        return None
    moves = moves_onto(midis, tuning)
    semitones = moves[0] if moves else None
    key = transpose_key(song.key, semitones) if semitones is not None else None
    if moves and thorough and len(bars) <= _MOST_BARS:
        best = advise(song, (tuning,))[0]
        if best.tunings[0].semitones in moves:
            semitones, key = best.tunings[0].semitones, best.key
    others = tuple(
        name
        for name, other in TUNINGS.items()
        if name != song.tuning and all(has_note(other, midi) for midi in midis)
    )
    lowest, highest = (spell(midi, song.key) for midi in (min(midis), max(midis)))
    return FirstLook(lowest, highest, missing, len(midis), semitones, key, others)
