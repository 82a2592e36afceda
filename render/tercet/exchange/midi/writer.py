"""Standard MIDI Files out, plain: the tune and its chords exactly as written, for programs that draw notes.

Type 1. The first track holds title, tempo, meter, key, sections and words; the second the tune, every note as long as
it is written; the third the chords in root position. Nothing is performed: one tempo, one loudness, no deviations.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from io import BytesIO

import mido

from tercet.performing.midi import (
    KEY,
    LARGEST_UPPER,
    LET_GO,
    MARKER,
    METER,
    NYLON_GUITAR,
    PROGRAM,
    STRIKE,
    TEMPO,
    WORD,
    Event,
    signature_of,
    track_of,
)
from tercet.song import Bar, Meter, Song, played_bars, played_visits
from tercet.theory import Chord, tuning_of

__all__ = ["plain_midi_bytes"]

TICKS_PER_QUARTER = 5040
"""Divides by every number to 10, so that usual tuplets fall on whole ticks."""

MOST_TICKS = 32_767
SLOWEST_US = 2**24 - 1
"""Microseconds of a quarter in the slowest tempo that MIDI tells."""

VELOCITY = 80
TUNE_CHANNEL, CHORDS_CHANNEL = 0, 1
LOWEST_ROOT = 48
"""The C below middle C: chords stand in the octave from there."""


def plain_midi_bytes(song: Song) -> tuple[bytes, tuple[str, ...]]:
    """Return a song as written as the bytes of a MIDI file, and remarks; the same song gives the same bytes."""
    bars = played_bars(song)
    scale = _scale(song)
    quarter = Fraction(4, song.meter.lower) * scale
    ticks, exact = _ticks_per_quarter(quarter, bars)
    written = replace(song.meter, lower=song.meter.lower // scale)
    lead_beat = _lead_beat(bars, written)
    grid = _Grid(quarter * ticks, lead_beat)
    remarks = []
    if scale > 1:
        remarks.append(
            f"MIDI can't hold a tempo this slow: {song.meter} is written as {written}, with notes {scale} times as long"
        )
    if not exact:
        remarks.append("MIDI has no grid fine enough for these lengths: notes may be up to half a tick off")
    file = mido.MidiFile(type=1, ticks_per_beat=ticks, charset="utf-8")
    end = grid.tick(bars[-1].start_beat + bars[-1].length_beat)
    for name, events in (
        (song.title, _conductor(song, bars, grid, written)),
        ("tune", _tune(song, bars, grid)),
        ("chords", _chords(bars, grid)),
    ):
        file.tracks.append(track_of(name, events, end))
    buffer = BytesIO()
    file.save(file=buffer)
    return buffer.getvalue(), tuple(remarks)


def _scale(song: Song) -> int:
    """Return how many times as long notes are written so that MIDI can tell the tempo, a power of two."""
    scale = 1
    while _quarter_us(song, song.meter.lower // scale) > SLOWEST_US and song.meter.lower // scale > 1:
        scale *= 2
    return scale


def _quarter_us(song: Song, lower: int) -> Fraction:
    """Return how long a quarter lasts when a beat is written as 1/`lower`."""
    return 60_000_000 / (song.tempo * song.meter.pulse_beat * Fraction(4, lower))


def _lead_beat(bars: tuple[Bar, ...], meter: Meter) -> Fraction:
    """Return how much silence goes before a pick-up whose length no meter of MIDI has."""
    length = bars[0].length_beat / meter.lower
    has_meter = length.denominator & (length.denominator - 1) == 0 and length.numerator <= LARGEST_UPPER
    return (
        Fraction(0)
        if has_meter or bars[0].length_beat >= meter.bar_beat
        else meter.bar_beat - bars[0].length_beat
    )


def _ticks_per_quarter(quarter: Fraction, bars: tuple[Bar, ...]) -> tuple[int, bool]:
    """Return the ticks of a quarter on which every note falls exactly, if there can be so many, and if there are."""
    places = {
        place * quarter
        for bar in bars
        for note in bar.melody
        for place in (note.start_beat, note.length_beat)
    }
    places |= {(bar.start_beat + span.start_beat) * quarter for bar in bars for span in bar.chords}
    exact = math.lcm(*(place.denominator for place in places), TICKS_PER_QUARTER)
    if exact > MOST_TICKS:
        exact = math.lcm(*(place.denominator for place in places))
        exact *= max(TICKS_PER_QUARTER // exact, 1)
    return (exact, True) if exact <= MOST_TICKS else (TICKS_PER_QUARTER, False)


class _Grid:
    """Ticks of beats in the piece as played, after `lead_beat` of silence."""

    def __init__(self, ticks_per_beat: Fraction, lead_beat: Fraction) -> None:
        self._ticks_per_beat = ticks_per_beat
        self._lead_beat = lead_beat

    def tick(self, beat: Fraction) -> int:
        return round((beat + self._lead_beat) * self._ticks_per_beat)


def _conductor(song: Song, bars: tuple[Bar, ...], grid: _Grid, meter: Meter) -> Iterator[Event]:
    pulse_quarter = song.meter.pulse_beat * Fraction(4, meter.lower)
    yield 0, KEY, mido.MetaMessage("key_signature", key=song.key.short_name)
    yield 0, TEMPO, mido.MetaMessage("set_tempo", tempo=round(_quarter_us(song, meter.lower)))
    clocks = round(24 * pulse_quarter)
    first = bars[0].length_beat
    if first < meter.bar_beat and not grid.tick(Fraction(0)):
        length = first / meter.lower
        yield 0, METER, signature_of(length.numerator, length.denominator, clocks)
        yield grid.tick(first), METER, signature_of(meter.upper, meter.lower, clocks)
    else:
        yield 0, METER, signature_of(meter.upper, meter.lower, clocks)
    for visit in played_visits(bars):
        yield grid.tick(visit.start_beat), MARKER, mido.MetaMessage("marker", text=visit.section)
    for bar in bars:
        for place, syllable in bar.words:
            if not syllable.holds:
                text = syllable.text + ("-" if syllable.joined else " ")
                yield grid.tick(bar.start_beat + place), WORD, mido.MetaMessage("lyrics", text=text)


def _tune(song: Song, bars: tuple[Bar, ...], grid: _Grid) -> Iterator[Event]:
    strings = tuning_of(song.tuning)
    yield from _program(TUNE_CHANNEL)
    held: tuple[int, Fraction] | None = None
    for bar in bars:
        for note in bar.melody:
            if note.is_rest:
                continue
            start = bar.start_beat + note.start_beat
            end = start + note.length_beat
            midi = note.pitch.midi if note.pitch else strings.midi(*note.position) if note.position else 0
            began = held[1] if held and held[0] == midi else start
            held = (midi, began) if note.tied_on else None
            if held is None:
                yield from _note(TUNE_CHANNEL, midi, grid.tick(began), grid.tick(end))


def _chords(bars: tuple[Bar, ...], grid: _Grid) -> Iterator[Event]:
    yield from _program(CHORDS_CHANNEL)
    for start, end, chord in _spans(bars):
        for midi in _voicing(chord):
            yield from _note(CHORDS_CHANNEL, midi, grid.tick(start), grid.tick(end))


def _spans(bars: tuple[Bar, ...]) -> Iterator[tuple[Fraction, Fraction, Chord]]:
    """Yield every chord with its start and end, one that only goes on joined to the one before."""
    open_chord: Chord | None = None
    start = Fraction(0)
    for bar in bars:
        for span in bar.chords:
            at = bar.start_beat + span.start_beat
            if span.chord != open_chord:
                if open_chord is not None:
                    yield start, at, open_chord
                open_chord, start = span.chord, at
    if open_chord is not None:
        yield start, bars[-1].start_beat + bars[-1].length_beat, open_chord


def _voicing(chord: Chord) -> list[int]:
    """Return the keys of a chord: its root in the octave below middle C, the others above, a bass below."""
    root = LOWEST_ROOT + chord.root_class
    keys = [root + interval for interval in chord.quality.intervals]
    below = [LOWEST_ROOT - 12 + chord.bass_class] if chord.bass else []
    return below + keys


def _program(channel: int) -> Iterator[Event]:
    yield 0, PROGRAM, mido.Message("program_change", channel=channel, program=NYLON_GUITAR)


def _note(channel: int, midi: int, start: int, end: int) -> Iterator[Event]:
    yield start, STRIKE, mido.Message("note_on", channel=channel, note=midi, velocity=VELOCITY)
    yield max(end, start + 1), LET_GO, mido.Message("note_off", channel=channel, note=midi, velocity=0)
