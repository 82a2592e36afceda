"""The tune among the tracks of a MIDI file: by its words, its name, and how much it looks like a tune."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from tercet.exchange.leadsheet import TuneError
from tercet.exchange.midi.events import MidiTrack, MidiTune
from tercet.exchange.midi.words import SungWords

__all__ = ["chosen_track", "words_for"]

_TUNE_NAMES = re.compile(r"melod|vocal|voice|tune|lead|sing|solo|soprano", re.IGNORECASE)
_MOST_NAMED = 12
_NEAR_QUARTER = Fraction(1, 16)
_LEAST_FIT = 0.5
"""How well words must fit a track that they don't stand in: twice the common places by all places of both."""

_USUAL_HEIGHT = 79
"""A G above the staff: a track that lies higher isn't more of a tune."""

_HARDLY_ANY_SHARE = 0.2
"""Of the notes of the longest track: one with fewer is seldom the tune."""


def chosen_track(tune: MidiTune, words: Sequence[SungWords], wanted: str, file: str) -> tuple[MidiTrack, str]:
    """Return the track with the tune, and the sentence that says why.

    Raises
    ------
    TuneError
        When there are no notes, or none in the track that is wanted.
    """
    with_notes = [track for track in tune.tracks if track.notes]
    shown = ", ".join(f"{track.number} {track.name}".strip() for track in with_notes[:_MOST_NAMED])
    if not with_notes:
        raise TuneError(f"{file} has no notes: choose a file with a tune")
    if wanted:
        named = [
            track
            for track in with_notes
            if wanted == track.number or wanted.casefold() == track.name.casefold()
        ]
        named = named or [track for track in with_notes if track.number.partition(".")[0] == wanted]
        if not named:
            raise TuneError(f"{file} has no track {wanted!r} with notes: those with notes are {shown}")
        if len(named) == 1:
            return named[0], ""
        with_notes = named
    if len(with_notes) == 1:
        return with_notes[0], ""
    best, why = _best(with_notes, words)
    called = f"track {best.number} ({best.name or 'no name'})"
    return best, (
        f"the tune is taken from {called}, because {why}; tracks with notes are {shown}: --track takes another"
    )


def words_for(track: MidiTrack, words: Sequence[SungWords]) -> SungWords | None:
    """Return the words that fit a track best; its own before others'."""
    own = track.number.partition(".")[0]
    return max(words, key=lambda each: (each.track == own, _fit(track, each)), default=None)


def _best(tracks: Sequence[MidiTrack], words: Sequence[SungWords]) -> tuple[MidiTrack, str]:
    sung = [(track, each) for each in words for track in tracks if track.number == each.track]
    if sung:
        track, _ = max(
            sung,
            key=lambda pair: (
                len(pair[1].syllables),
                bool(_TUNE_NAMES.search(pair[0].name)),
                -tracks.index(pair[0]),
            ),
        )
        return track, "it has most words" if len(sung) > 1 else "it has words"
    fits = [(max((_fit(track, each) for each in words), default=0.0), track) for track in tracks]
    fit, track = max(fits, key=lambda pair: (pair[0], _likeness(pair[1], tracks)))
    if fit >= _LEAST_FIT:
        return track, "the words fall on its notes"
    named = [track for track in tracks if _TUNE_NAMES.search(track.name)]
    if named:
        return max(named, key=lambda track: _likeness(track, tracks)), "its name says so"
    best = max(tracks, key=lambda track: _likeness(track, tracks))
    return best, "it plays single notes, higher than the others"


def _fit(track: MidiTrack, words: SungWords) -> float:
    """Return how well syllables fall on the notes of a track, 0 to 1."""
    starts = sorted({note.start_quarter for note in track.notes})
    common = 0
    for syllable in words.syllables:
        place = bisect_left(starts, syllable.at_quarter - _NEAR_QUARTER)
        common += place < len(starts) and starts[place] <= syllable.at_quarter + _NEAR_QUARTER
    return 2 * common / (len(starts) + len(words.syllables)) if starts else 0.0


def _likeness(track: MidiTrack, tracks: Sequence[MidiTrack]) -> float:
    """Return how much a track looks like a tune: notes that start alone, enough of them, a singer's height."""
    starts = Counter(note.start_quarter for note in track.notes)
    alone = sum(1 for count in starts.values() if count == 1) / len(track.notes)
    height = sum(note.midi for note in track.notes) / len(track.notes)
    hardly_any = len(track.notes) < _HARDLY_ANY_SHARE * max(len(other.notes) for other in tracks)
    return 24 * alone + min(height, _USUAL_HEIGHT) - (24 if hardly_any else 0)
