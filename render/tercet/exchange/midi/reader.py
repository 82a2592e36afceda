"""MIDI in: the tune found among the tracks, one note at a time, in the simplest lengths that fit.

The rules, which docs/exchange.md tells the user, stand where they are followed: which track (`midi_choice`), which
notes and how long (`midi_rhythm`), which bars and sections (`midi_bars`, `midi_folding`), which words (`midi_words`).
Chords are read here.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby, pairwise
from pathlib import Path

from tercet.exchange.harmonise import key_of_tune
from tercet.exchange.leadsheet import LeadChord, LeadNote, LeadSheet
from tercet.exchange.midi.bars import Line, measures_of, nearest
from tercet.exchange.midi.choice import chosen_track, words_for
from tercet.exchange.midi.events import MidiNote, MidiTrack, MidiTune, read_events
from tercet.exchange.midi.rhythm import GAP_QUARTER, near_place, rhythm_of, top_line
from tercet.exchange.midi.words import SungWords, karaoke_title, word_lists
from tercet.song import Syllable
from tercet.theory import Chord, Key, spell
from tercet.theory.chords import QUALITIES
from tercet.wording import counted

__all__ = ["read_midi"]

_LEAST_IN_A_CHORD = 3
_USUAL_TEMPO = Fraction(120)
"""Quarters a minute, where a file tells no tempo."""

_TEMPO_PARTS = (1, 2, 4, 8, 5, 10, 16, 20, 40, 80, 100, 200, 400, 800, 1000)
"""Parts of a quarter a minute that tempi are told in; pulses may be eighths of a quarter."""

_MOST_OUT_OF_KEY_SHARE = Fraction(1, 4)
"""Of the tune's time: with more, a signature without signs is only what the program wrote by itself."""


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
    word_tracks = word_lists(tune)
    chosen, why = chosen_track(tune, word_tracks, track, file)
    remarks = [*tune.lost, *([why] if why else [])]
    played = top_line(chosen.notes, remarks)
    rhythm = rhythm_of(played, tune.tick_quarter, tune.tempi[0][1] if tune.tempi else _USUAL_TEMPO)
    remarks += rhythm.remarks
    notes = [
        LeadNote(start, length, spell(note.midi, Key("C", 0, False)))
        for note, start, length in zip(played, rhythm.places, rhythm.lengths, strict=True)
    ]
    key = _key(tune, notes, remarks)
    spelling = key or key_of_tune(notes)[0]
    notes = [
        replace(lead, pitch=spell(note.midi, spelling)) for lead, note in zip(notes, played, strict=True)
    ]
    notes, lines = _with_words(notes, played, words_for(chosen, word_tracks), remarks)
    line = Line(notes, _chords(tune, chosen, remarks), _sections(rhythm.places, tune), lines)
    measures = measures_of(line, tune.meters, remarks)
    if len({tempo for _, tempo in tune.tempi}) > 1:
        remarks.append("changes of tempo are left out")
    return LeadSheet(
        title=_title(tune, chosen, file),
        measures=measures,
        key=key,
        tempo_quarters=_round_tempo(tune.tempi[0][1]) if tune.tempi else None,
        remarks=tuple(remarks),
    )


def _title(tune: MidiTune, chosen: MidiTrack, file: str) -> str:
    name = tune.tracks[0].name
    told = karaoke_title(tune)
    if told or (name and tune.tracks[0] is not chosen and not tune.tracks[0].notes):
        return told or name
    return Path(file).stem.replace("_", " ").replace("-", " ")


def _key(tune: MidiTune, notes: Sequence[LeadNote], remarks: list[str]) -> Key | None:
    """Return the key that the file tells, unless it is the C major that programs write by themselves."""
    key = tune.keys[0][1] if tune.keys else None
    if key is None or key.fifths or key.minor:
        return key
    scale = {0, 2, 4, 5, 7, 9, 11}
    time = sum((note.length_quarter for note in notes), Fraction(0))
    outside = sum(
        (note.length_quarter for note in notes if note.pitch and note.pitch.midi % 12 not in scale),
        Fraction(0),
    )
    if outside <= _MOST_OUT_OF_KEY_SHARE * time:
        return key
    remarks.append("the file says C major, which the notes don't bear out")
    return None


def _round_tempo(tempo_quarters: Fraction) -> Fraction:
    """Return the roundest tempo that whole microseconds a quarter, all that MIDI tells, would make the same."""
    quarter_us = round(60_000_000 / tempo_quarters)
    for parts in _TEMPO_PARTS:
        tempo = Fraction(round(tempo_quarters * parts), parts)
        if tempo and round(60_000_000 / tempo) == quarter_us:
            return tempo
    return tempo_quarters.limit_denominator(_TEMPO_PARTS[-1])


def _sections(places: Sequence[Fraction], tune: MidiTune) -> dict[Fraction, str]:
    """Return the names of sections by the place of the note with which they start, the nearest to their marker."""
    sections: dict[Fraction, str] = {}
    for at, text in tune.markers:
        place = near_place(at, tune.tick_quarter)
        near = places[bisect_left(places, place - GAP_QUARTER) : bisect_left(places, place + GAP_QUARTER)]
        sections.setdefault(min(near, key=lambda start: abs(start - place), default=place), text)
    return sections


# ---- words and chords


def _with_words(
    notes: list[LeadNote], played: Sequence[MidiNote], words: SungWords | None, remarks: list[str]
) -> tuple[list[LeadNote], list[Fraction]]:
    """Give each syllable to the note that starts with it; return the notes, and where lines of words begin."""
    if words is None:
        return notes, []
    starts = [note.start_quarter for note in played]
    lines: list[Fraction] = []
    lost = spread = 0
    syllables = words.syllables
    ends = [*(syllable.at_quarter for syllable in syllables[1:]), None]
    for syllable, end in zip(syllables, ends, strict=True):
        index = nearest(starts, syllable.at_quarter)
        if abs(starts[index] - syllable.at_quarter) > GAP_QUARTER or notes[index].words:
            lost += 1
            continue
        if syllable.new_line:
            lines.append(notes[index].start_quarter)
        stop = len(notes) if end is None else nearest(starts, end)
        texts = syllable.texts if len(syllable.texts) <= stop - index else ("‿".join(syllable.texts),)
        spread += len(texts) > 1
        for step, text in enumerate(texts):
            joined = syllable.joined and step == len(texts) - 1
            notes[index + step] = replace(notes[index + step], words=((1, Syllable(text, joined)),))
    if lost:
        one, many = (
            "syllable falls on no note of the tune and is",
            "syllables fall on no note of the tune and are",
        )
        remarks.append(f"{counted(lost, one, many)} left out")
    if spread:
        hold = counted(spread, "text holds", "texts hold")
        remarks.append(f"{hold} several words, given to the notes one by one: check where they fall")
    if words.remark:
        remarks.append(words.remark)
    return notes, lines


def _chords(tune: MidiTune, chosen: MidiTrack, remarks: list[str]) -> list[LeadChord]:
    """Return the chords of a track that strikes three keys or more at most places."""
    for track in tune.tracks:
        if track is chosen or not track.notes:
            continue
        struck = [
            (at, [note.midi for note in group])
            for at, group in groupby(
                track.notes, key=lambda note: near_place(note.start_quarter, tune.tick_quarter)
            )
        ]
        full = [(at, keys) for at, keys in struck if len({key % 12 for key in keys}) >= _LEAST_IN_A_CHORD]
        if 2 * len(full) < len(struck):
            continue
        named = [(at, _named(keys)) for at, keys in full]
        known = [LeadChord(at, chord) for at, chord in named if chord is not None]
        remarks.append(f"the chords are read from track {track.number} ({track.name or 'no name'})")
        if len(known) < len(named):
            of_them = f"of its {counted(len(named), 'chord')}"
            one, many = f"{of_them} has no plain name and is", f"{of_them} have no plain name and are"
            remarks.append(f"{counted(len(named) - len(known), one, many)} left out")
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
