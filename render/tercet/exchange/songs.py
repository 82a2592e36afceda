"""From a lead sheet to a song: order of playing to form, measures to bars of one meter, verses to passes.

Nothing is invented silently: what a song can't hold, and what had to be guessed, is said in the remarks.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tercet.exchange.bars import (
    BarContent,
    Playing,
    cut_into_bars,
    with_breaths_between,
    with_ended_hairpins,
    with_ties_between,
)
from tercet.exchange.harmonise import key_of_tune
from tercet.exchange.leadsheet import LeadMeasure, LeadNote, LeadSheet, TuneError
from tercet.exchange.pickups import with_pickups_in_place
from tercet.exchange.plain_signs import with_plain_signs
from tercet.exchange.runs import Run, runs_of
from tercet.exchange.section_rows import section_of
from tercet.exchange.words import SectionNames
from tercet.song import Meter, Song
from tercet.song.form import visits_of
from tercet.theory import TUNINGS, Key, Tuning
from tercet.theory.limits import LOWER_FIGURES, MOST_UPPER, MOST_VISITS

__all__ = ["Imported", "song_of", "with_positions_of_a_tuning"]

_SLOWEST, _FASTEST = 20, 400
_MOST_PASSES = 99
"""What a row for some passes can count to."""

_MOST_SECTIONS = 100


@dataclass(frozen=True, slots=True)
class Imported:
    """A song from outside, and what was dropped, guessed or changed, one sentence each."""

    song: Song
    remarks: tuple[str, ...]


def song_of(sheet: LeadSheet) -> Imported:
    """Turn a lead sheet into a song that reads back from its own file.

    Raises
    ------
    TuneError
        When it has no notes, or more bars, sections or notes in a bar than a song may have.
    """
    if not sheet.without_tune and not any(note.pitch for note in sheet.notes):
        raise TuneError("there are no notes in this tune: choose another part or voice")
    remarks = list(sheet.remarks)
    sheet, tuning = with_positions_of_a_tuning(sheet, remarks)
    meter = _meter(sheet.measures, remarks)
    sheet = replace(sheet, measures=with_plain_signs(sheet.measures))
    runs = runs_of(sheet.measures, remarks)
    playings = [cut_into_bars(sheet.measures, run, meter) for run in runs]
    playings = with_breaths_between(playings)
    remarks += _bar_remarks(sheet.measures, playings, meter)
    names = _names(sheet.measures, runs, playings)
    placed = with_pickups_in_place(list(zip(names, playings, strict=True)), meter, remarks)
    names, playings = [name for name, _ in placed], [playing for _, playing in placed]
    playings, endless = with_ended_hairpins(with_ties_between(playings))
    if endless:
        remarks.append(f"hairpins that no later dynamic ends are left out ({endless})")
    names = _with_few_passes(names, playings)
    visits = visits_of(names)
    sections = tuple(
        section_of(
            name,
            [playing for own, playing in zip(names, playings, strict=True) if own == name],
            keep_lines=bool(sheet.settings),
        )
        for name in dict.fromkeys(names)
    )
    if len(sections) > _MOST_SECTIONS or len(visits) > MOST_VISITS:
        raise TuneError(
            f"the tune falls into {len(sections)} sections, and a song has at most {_MOST_SECTIONS}"
        )
    song = Song(
        title=sheet.title,
        sections=sections,
        form=visits,
        composer=sheet.composer,
        source_note=sheet.source_note,
        licence=sheet.licence,
        key=_key(sheet, remarks),
        meter=meter,
        tempo=_tempo(sheet, meter, remarks),
        tuning=tuning,
    )
    if not any(measure.chords for measure in sheet.measures):
        remarks.append(
            "the tune has no chord symbols: N.C. stands until you write chords, or import it with --harmonise"
        )
    return Imported(song, tuple(dict.fromkeys(remarks)))


def _meter(measures: Sequence[LeadMeasure], remarks: list[str]) -> Meter:
    """Return the meter that most of the tune's time has."""
    time: Counter[tuple[int, int]] = Counter()
    for measure in measures:
        time[measure.meter] += 1
    (upper, lower), _ = time.most_common(1)[0]
    if lower not in LOWER_FIGURES or upper > MOST_UPPER:
        remarks.append(
            f"a song can't have the meter {upper}/{lower}: 4/4 is written, with the bar lines moved"
        )
        return Meter(4, 4)
    if len(time) > 1:
        others = ", ".join(f"{one}/{other}" for one, other in time if (one, other) != (upper, lower))
        remarks.append(
            f"a song has one meter: {upper}/{lower} is written throughout, and where the tune is in {others} "
            "its notes keep their lengths and the bar lines move"
        )
    return Meter(upper, lower)


def _bar_remarks(measures: Sequence[LeadMeasure], playings: Sequence[Playing], meter: Meter) -> list[str]:
    """Say where bars had to be filled up, so that they last longer than in the file."""
    bar_quarter = Fraction(4 * meter.upper, meter.lower)
    filled = []
    for index, playing in enumerate(playings):
        following = playings[index + 1] if index + 1 < len(playings) else None
        missing = playing.free_beat
        if missing and following is not None and following.pickup_beat != missing:
            filled.append(playing.last_number)
    moved = [
        measure.number
        for index, measure in enumerate(measures)
        if measure.length_quarter != bar_quarter and measure.length_quarter == measure.nominal_quarter
    ]
    remarks = []
    if filled:
        places = ", ".join(dict.fromkeys(filled))
        remarks.append(f"short measures before a repeat or a new section were filled up with rests: {places}")
    odd = [
        measure.number
        for measure in measures[1:-1]
        if measure.length_quarter > measure.nominal_quarter and measure.number not in moved
    ]
    if odd:
        remarks.append(
            f"measures longer than their meter moved the bar lines after them: {', '.join(odd[:8])}"
        )
    return remarks


def _names(measures: Sequence[LeadMeasure], runs: Sequence[Run], playings: Sequence[Playing]) -> list[str]:
    """Return the section of each run; equal names mean one section, played several times."""
    book = SectionNames(single=len({(run.start, run.stop) for run in runs}) == 1)
    names = []
    pickups = {(run.start, run.stop): measures[run.start - 1] for run in runs if run.has_pickup}
    beats = {
        place: max(
            playing.pickup_beat
            for run, playing in zip(runs, playings, strict=True)
            if (run.start, run.stop) == place
        )
        for place in dict.fromkeys((run.start, run.stop) for run in runs)
    }
    for run, playing in zip(runs, playings, strict=True):
        place = (run.start, run.stop)
        first = measures[run.start]
        label = first.section or (pickups[place].section if place in pickups else "")
        names.append(book.name(place, label, first.endings, (beats[place], len(playing.bars))))
    return names


def _with_few_passes(names: Sequence[str], playings: Sequence[Playing]) -> list[str]:
    """Return the names, playings beyond those that a row can number under a name of their own where they differ."""
    played: dict[str, list[int]] = {}
    for index, name in enumerate(names):
        played.setdefault(name, []).append(index)
    found = list(names)
    for name, indices in played.items():
        if len({_played(playings[index]) for index in indices}) == 1:
            continue
        for place, index in enumerate(indices[_MOST_PASSES:]):
            found[index] = f"{name}-more-{place // _MOST_PASSES + 1}"
    return found


def _played(playing: Playing) -> tuple[BarContent, ...]:
    """Return all that is played in a playing, wherever lines of music begin."""
    bars = (*([playing.pickup] if playing.pickup else []), *playing.bars)
    return tuple(replace(bar, new_line=False) for bar in bars)


def _key(sheet: LeadSheet, remarks: list[str]) -> Key:
    if sheet.key is not None:
        return sheet.key
    key, runner_up = key_of_tune(sheet.notes)
    remarks.append(f"no key given: {key} found from the notes (next likely: {runner_up})")
    return key


def _tempo(sheet: LeadSheet, meter: Meter, remarks: list[str]) -> Fraction:
    """Return pulses a minute."""
    if sheet.tempo_quarters is None:
        remarks.append("no tempo given: 96 pulses a minute assumed")
        return Fraction(96)
    pulse_quarter = meter.pulse_beat * Fraction(4, meter.lower)
    tempo = sheet.tempo_quarters / pulse_quarter
    kept = min(max(tempo, Fraction(_SLOWEST)), Fraction(_FASTEST)).limit_denominator(1000)
    if (10_000 % kept.denominator) != 0 and not sheet.settings:
        kept = Fraction(round(kept * 100), 100)
    if kept != tempo:
        remarks.append(f"the tempo, {float(tempo):.6g} pulses a minute, became {float(kept):g}")
    return kept


_USUAL_TUNING = "high-g"


def with_positions_of_a_tuning(sheet: LeadSheet, remarks: list[str]) -> tuple[LeadSheet, str]:
    """Return the sheet, without its strings and frets where no tuning explains all of them, and the tuning."""
    placed = [note for measure in sheet.measures for note in measure.notes if note.position]
    if not placed:
        return sheet, _USUAL_TUNING
    for tuning in TUNINGS.values():
        if all(_is_on(note, tuning) for note in placed):
            return sheet, tuning.name
    remarks.append(
        "strings and frets are left out: they aren't those of a tuning of four strings with a name"
    )
    measures = tuple(
        replace(measure, notes=tuple(replace(note, position=None) for note in measure.notes))
        for measure in sheet.measures
    )
    return replace(sheet, measures=measures), _USUAL_TUNING


def _is_on(note: LeadNote, tuning: Tuning) -> bool:
    if note.position is None or note.pitch is None or not 1 <= note.position[0] <= 4:
        return False
    string, fret = note.position
    return tuning.open_midi(string) + fret == note.pitch.midi
