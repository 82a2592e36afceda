"""MIDI in: the tune found among the tracks, one note at a time, in the simplest lengths that fit.

The rules, which docs/exchange.md tells the user:

- of notes that start together the highest is kept; a lower one that starts while a higher one sounds is left out;
  where the next note starts, the one before ends;
- an onset becomes the simplest fraction within `TOLERANCE_QUARTER`, else the nearest sixteenth of a quarter, which is
  said; an end, which players place freely, the simplest within `END_TOLERANCE_QUARTER`;
- a note that ends less than `GAP_QUARTER`, or a quarter of its length, before the next lasts until the next.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise
from pathlib import Path

from tercet.errors import ParameterError
from tercet.exchange.keys import key_of_tune
from tercet.exchange.leadsheet import LeadChord, LeadMeasure, LeadNote, LeadSheet, TuneError
from tercet.exchange.midi_events import MidiNote, MidiTrack, MidiTune, read_events
from tercet.exchange.syllables import sung_text
from tercet.song import Syllable
from tercet.theory import Chord, Key, parse_key, spell
from tercet.theory.chords import QUALITIES

__all__ = ["read_midi"]

TOLERANCE_QUARTER = Fraction(1, 32)
END_TOLERANCE_QUARTER = Fraction(1, 12)
GAP_QUARTER = Fraction(1, 8)
FINE_TOLERANCE_QUARTER = Fraction(1, 96)
"""For sixteenths and twelfths of a quarter, which lie so close that everything would fit them otherwise."""

_DENOMINATORS = (1, 2, 4, 3, 8, 6, 16, 12)
_FINE = (16, 12)
_FINEST = 16
_TUNE_NAMES = re.compile(r"melod|vocal|voice|tune|lead|sing|solo|soprano", re.IGNORECASE)
_LEAST_IN_A_CHORD = 3


def read_midi(data: bytes, file: str, track: str = "") -> LeadSheet:
    """Read the tune of a MIDI file.

    Parameters
    ----------
    data
        The file.
    file
        What to call it in messages.
    track
        Number (from 1) or name of the track with the tune; empty to choose.

    Raises
    ------
    TuneError
        When it can't be read, or has no such track or no notes.
    """
    tune = read_events(data, file)
    chosen, why = _chosen(tune, track, file)
    remarks = [why] if why else []
    played = _top_line(chosen.notes, remarks)
    places, lengths = _quantised(played, remarks)
    key = _key(tune)
    notes = [
        LeadNote(start, length, spell(note.midi, Key("C", 0, False)))
        for note, start, length in zip(played, places, lengths, strict=True)
    ]
    spelling = key or key_of_tune(notes)[0]
    notes = [
        replace(lead, pitch=spell(note.midi, spelling)) for lead, note in zip(notes, played, strict=True)
    ]
    notes = _with_words(notes, tune, chosen, remarks)
    chords = _chords(tune, chosen, remarks)
    if len({tempo for _, tempo in tune.tempi}) > 1:
        remarks.append("changes of tempo are left out")
    return LeadSheet(
        title=_title(tune, chosen, file),
        measures=_measures(notes, chords, tune),
        key=key,
        tempo_quarters=tune.tempi[0][1].limit_denominator(10) if tune.tempi else None,
        remarks=tuple(remarks),
    )


def _title(tune: MidiTune, chosen: MidiTrack, file: str) -> str:
    name = tune.tracks[0].name
    return (
        name if name and tune.tracks[0] is not chosen else Path(file).stem.replace("_", " ").replace("-", " ")
    )


def _key(tune: MidiTune) -> Key | None:
    try:
        return parse_key(tune.keys[0][1]) if tune.keys else None
    except ParameterError:
        return None


# ---- the tune among the tracks


def _chosen(tune: MidiTune, wanted: str, file: str) -> tuple[MidiTrack, str]:
    """Return the track with the tune, and the sentence that says why."""
    with_notes = [track for track in tune.tracks if track.notes]
    shown = ", ".join(f"{track.number} {track.name}".strip() for track in with_notes[:12])
    if wanted:
        for track in with_notes:
            if wanted == str(track.number) or wanted.casefold() == track.name.casefold():
                return track, ""
        raise TuneError(f"{file} has no track {wanted!r} with notes: those with notes are {shown or 'none'}")
    if not with_notes:
        raise TuneError(f"{file} has no notes: choose a file with a tune")
    if len(with_notes) == 1:
        return with_notes[0], ""
    named = [track for track in with_notes if _TUNE_NAMES.search(track.name)]
    sung = [track for track in with_notes if track.lyrics]
    if named or sung:
        best = (named or sung)[0]
        why = "its name says so" if named else "it has words"
    else:
        best = max(with_notes, key=_likeness)
        why = "it plays single notes, higher than the others"
    called = f"track {best.number} ({best.name or 'no name'})"
    return best, f"the tune is taken from {called}, because {why}; tracks with notes are {shown}"


def _likeness(track: MidiTrack) -> float:
    """Return how much a track looks like a tune: the share of its notes that start alone, and its height."""
    starts = Counter(note.start_quarter for note in track.notes)
    alone = sum(1 for count in starts.values() if count == 1) / len(track.notes)
    return 24 * alone + sum(note.midi for note in track.notes) / len(track.notes)


def _top_line(notes: Sequence[MidiNote], remarks: list[str]) -> list[MidiNote]:
    """Return one note at a time."""
    line: list[MidiNote] = []
    dropped = 0
    for note in notes:
        before = line[-1] if line else None
        if before is not None:
            together = note.start_quarter - before.start_quarter <= TOLERANCE_QUARTER
            overlap = before.end_quarter - note.start_quarter
            if together and note.midi > before.midi:
                line.pop()
                dropped += 1
            elif together or (note.midi < before.midi and overlap > GAP_QUARTER):
                dropped += 1
                continue
            elif overlap > 0:
                line[-1] = replace(before, end_quarter=note.start_quarter)
        line.append(note)
    if dropped:
        remarks.append(f"{dropped} notes under the top line are left out")
    return line


# ---- time


def _simplest(place: Fraction, tolerance: Fraction = TOLERANCE_QUARTER) -> tuple[Fraction, bool]:
    """Return the simplest fraction near a place, and whether it lies within the tolerance."""
    for denominator in _DENOMINATORS:
        near = Fraction(round(place * denominator), denominator)
        allowed = min(tolerance, FINE_TOLERANCE_QUARTER) if denominator in _FINE else tolerance
        if abs(near - place) <= allowed:
            return near, True
    return Fraction(round(place * _FINEST), _FINEST), False


def _quantised(notes: Sequence[MidiNote], remarks: list[str]) -> tuple[list[Fraction], list[Fraction]]:
    """Return onsets and lengths; onsets that fall together are pushed apart."""
    places: list[Fraction] = []
    loose = 0
    for note in notes:
        place, fits = _simplest(note.start_quarter)
        loose += not fits
        if places and place <= places[-1]:
            place = places[-1] + Fraction(1, _FINEST)
        places.append(place)
    lengths: list[Fraction] = []
    ends = [*places[1:], None]
    for note, place, following in zip(notes, places, ends, strict=True):
        end, _ = _simplest(note.end_quarter, END_TOLERANCE_QUARTER)
        end = max(end, place + Fraction(1, _FINEST))
        if following is not None:
            gap = following - end
            reach = max(GAP_QUARTER, (end - place) / 4)
            end = following if gap <= reach else end
        lengths.append(end - place)
    if loose:
        remarks.append(
            f"{loose} of {len(notes)} notes lie near no simple part of a quarter, and were moved to "
            "the nearest sixteenth of a quarter: played freely? check the rhythm"
        )
    return places, lengths


def _measures(
    notes: Sequence[LeadNote], chords: Sequence[LeadChord], tune: MidiTune
) -> tuple[LeadMeasure, ...]:
    """Cut the line of notes at the bar lines that the meters make, and where a section starts within a bar.

    A first bar that alone has a shorter meter is a pick-up to the meter that follows.
    """
    end = max(note.start_quarter + note.length_quarter for note in notes)
    meters = [(at, meter) for at, meter in tune.meters if meter[1] <= 32 and meter[0] <= 64] or [
        (Fraction(0), (4, 4))
    ]
    sections = _sections(notes, tune)
    measures: list[LeadMeasure] = []
    low = Fraction(0)
    number, meter, left = 0, meters[0][1], Fraction(0)
    while low < end:
        if not left:
            meter = next((each for at, each in reversed(meters) if at <= low), meter)
            left = Fraction(4 * meter[0], meter[1])
            number += 1
        high = min((at for at in sections if low < at < low + left), default=low + left)
        shown = meters[1][1] if _is_pickup(meters) and low < meters[1][0] else meter
        inside = [
            replace(chord, start_quarter=chord.start_quarter - low)
            for chord in chords
            if low <= chord.start_quarter < high
        ]
        measures.append(
            LeadMeasure(
                str(number),
                high - low,
                shown,
                tuple(_cut(notes, low, high)),
                tuple(inside),
                section=sections.get(low, ""),
            )
        )
        left -= high - low
        low = high
    return tuple(measures)


def _is_pickup(meters: Sequence[tuple[Fraction, tuple[int, int]]]) -> bool:
    """Return whether the first meter lasts for one bar, shorter than those after it."""
    if len(meters) < 2:
        return False
    (first, before), (second, after) = meters[:2]
    return second - first == Fraction(4 * before[0], before[1]) < Fraction(4 * after[0], after[1])


def _sections(notes: Sequence[LeadNote], tune: MidiTune) -> dict[Fraction, str]:
    """Return the names of sections by the place of the note with which they start, the nearest to their marker."""
    sections: dict[Fraction, str] = {}
    for at, text in tune.markers:
        place, _ = _simplest(at)
        starts = [note.start_quarter for note in notes if abs(note.start_quarter - place) < GAP_QUARTER]
        sections.setdefault(min(starts, key=lambda start: abs(start - place), default=place), text)
    return sections


def _cut(notes: Sequence[LeadNote], low: Fraction, high: Fraction) -> list[LeadNote]:
    inside = []
    for note in notes:
        end = note.start_quarter + note.length_quarter
        if note.start_quarter < high and end > low:
            start = max(note.start_quarter, low)
            words = note.words if note.start_quarter >= low else ()
            inside.append(
                LeadNote(start - low, min(end, high) - start, note.pitch, tied_on=end > high, words=words)
            )
    return inside


# ---- words and chords


def _with_words(
    notes: list[LeadNote], tune: MidiTune, chosen: MidiTrack, remarks: list[str]
) -> list[LeadNote]:
    """Give each lyric to the note that starts with it."""
    lyrics = chosen.lyrics or next((track.lyrics for track in tune.tracks if track.lyrics), ())
    if not lyrics:
        return notes
    spaced = any(text[-1:].isspace() or text[:1].isspace() for _, text in lyrics)
    lost = 0
    for (at, text), following in zip(lyrics, [*lyrics[1:], (Fraction(0), " ")], strict=True):
        index = min(range(len(notes)), key=lambda place: abs(notes[place].start_quarter - at))
        sung = sung_text(text)
        if abs(notes[index].start_quarter - at) > GAP_QUARTER or notes[index].words or not sung:
            lost += bool(sung)
            continue
        joined = text.rstrip().endswith("-") or (
            spaced and not text[-1:].isspace() and not following[1][:1].isspace()
        )
        notes[index] = replace(notes[index], words=((1, Syllable(sung, joined)),))
    if lost:
        remarks.append(f"{lost} syllables fall on no note of the tune and are left out")
    return notes


def _chords(tune: MidiTune, chosen: MidiTrack, remarks: list[str]) -> list[LeadChord]:
    """Return the chords of a track that strikes three keys or more at most places."""
    for track in tune.tracks:
        if track is chosen or not track.notes:
            continue
        struck = [
            (at, [note.midi for note in group])
            for at, group in groupby(track.notes, key=lambda note: _simplest(note.start_quarter)[0])
        ]
        full = [(at, keys) for at, keys in struck if len({key % 12 for key in keys}) >= _LEAST_IN_A_CHORD]
        if 2 * len(full) < len(struck):
            continue
        named = [(at, _named(keys)) for at, keys in full]
        known = [LeadChord(at, chord) for at, chord in named if chord is not None]
        remarks.append(f"the chords are read from track {track.number} ({track.name or 'no name'})")
        if len(known) < len(named):
            remarks.append(
                f"{len(named) - len(known)} of its {len(named)} chords have no plain name and are left out"
            )
        return [*known[:1], *(later for sooner, later in pairwise(known) if later.chord != sooner.chord)]
    return []


def _named(keys: Sequence[int]) -> Chord | None:
    """Return the chord that these keys spell exactly, the lowest as root if that is one, or None."""
    classes = {key % 12 for key in keys}
    roots = [min(keys) % 12, *sorted(classes - {min(keys) % 12})]
    for root in roots:
        for quality in QUALITIES:
            if {(root + interval) % 12 for interval in quality.intervals} == classes:
                pitch = spell(60 + root, Key("C", 0, False))
                return Chord(pitch.letter, pitch.alter, quality)
    return None
