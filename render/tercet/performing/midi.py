"""Standard MIDI Files out: a take as it is performed, one named track a layer.

Type 1, 3840 ticks a quarter note. The first track holds title, tempo, meter, key, section markers and words; each
layer has a track and a channel of its own (channel 10, the drums', is never used); the count-in is a track of its
own on the drum channel. Every event falls within a millisecond of the take's own time, so that the file runs
along with the recordings; its bars are the take's bars, the count-in or the short silence before them included.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from io import BytesIO
from itertools import pairwise

import mido

from tercet.arranging import Arrangement
from tercet.performing.model import Take, TakeNote
from tercet.song import Layer

__all__ = [
    "KEY",
    "LARGEST_UPPER",
    "LET_GO",
    "MARKER",
    "METER",
    "NYLON_GUITAR",
    "PROGRAM",
    "STRIKE",
    "TEMPO",
    "TICKS_PER_QUARTER",
    "WORD",
    "Event",
    "midi_bytes",
    "midi_file",
    "signature_of",
    "track_of",
]

TICKS_PER_QUARTER = 3840

LONGEST_QUARTER_S = 7.68
"""A tick is then 2 ms, and what is rounded to one is at most 1 ms off. MIDI tells no tempo of more than 16.7 s."""

NYLON_GUITAR = 24
"""Program number, from 0, in General MIDI."""

CHANNELS: dict[Layer, int] = {"melody": 0, "between": 1, "strums": 2, "second": 3}
DRUM_CHANNEL = 9
COUNT_FIRST_KEY, COUNT_KEY = 76, 77
"""High and low wood block in the General MIDI drum map."""

COUNT_FIRST_VELOCITY, COUNT_VELOCITY = 90, 70
COUNT_LENGTH_TICKS = 480

CLOCKS_PER_QUARTER = 24
"""MIDI clocks, in which a meter tells its pulse."""

DRIFT_US = 300.0
"""How far the file's time may run from the take's before a tempo is corrected."""

LARGEST_UPPER = 255
"""What fits into a meter's upper figure."""

METER, KEY, TEMPO, MARKER, WORD, PROGRAM, LET_GO, STRIKE = range(8)
"""Order of events at one tick: a key that is struck again is let go first."""

Event = tuple[int, int, mido.Message | mido.MetaMessage]
"""(tick, order within the tick, message)."""


def midi_bytes(arrangement: Arrangement, take: Take, layers: Sequence[Layer] | None = None) -> bytes:
    """Return a take as the bytes of a MIDI file, the same for the same take; parameters as of `midi_file`."""
    buffer = BytesIO()
    midi_file(arrangement, take, layers).save(file=buffer)
    return buffer.getvalue()


def midi_file(arrangement: Arrangement, take: Take, layers: Sequence[Layer] | None = None) -> mido.MidiFile:
    """Return a take as a MIDI file in memory; its texts will be UTF-8.

    Parameters
    ----------
    arrangement
        What is played: title, key, meter, words.
    take
        When it is played.
    layers
        Layers to write, one track each; all of the song's without it.
    """
    grid = _Grid(arrangement, take)
    tracks = [(arrangement.song.title, _conductor(arrangement, take, grid))]
    if take.clicks:
        tracks.append(("count-in", _count_in(take, grid)))
    for layer in arrangement.song.layers if layers is None else layers:
        notes = [note for note in take.notes if note.layer == layer]
        tracks.append((layer, _layer(notes, CHANNELS[layer], grid)))
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    end_tick = grid.tick(take.length_s)
    file.tracks.extend(track_of(name, events, end_tick) for name, events in tracks)
    return file


class _Grid:
    """Ticks of a take's seconds, along its tempo map.

    `whole_beat` is what the file writes for a beat, as a part of a whole note: 1/4 in 3/4. In a take so slow that a
    quarter would be longer than `LONGEST_QUARTER_S` it is twice that, or four times.
    """

    def __init__(self, arrangement: Arrangement, take: Take) -> None:
        self.whole_beat = Fraction(1, arrangement.song.meter.lower)
        slowest_s = max(
            (later.onset_s - sooner.onset_s) / float(later.take_beat - sooner.take_beat)
            for sooner, later in pairwise(take.tempo_map)
        )
        while slowest_s > LONGEST_QUARTER_S * float(4 * self.whole_beat):
            self.whole_beat *= 2
        ticks_per_beat = 4 * TICKS_PER_QUARTER * self.whole_beat
        points = {round(point.take_beat * ticks_per_beat): point.onset_s for point in take.tempo_map}
        self._points = list(points.items())
        self._onsets_s = list(points.values())

    def tick(self, time_s: float) -> int:
        """Return the tick nearest to a time, at least 0; after the end the last tempo goes on."""
        after = bisect_right(self._onsets_s, time_s)
        index = min(max(after - 1, 0), len(self._points) - 2)
        (tick, start_s), (next_tick, end_s) = self._points[index], self._points[index + 1]
        return max(round(tick + (time_s - start_s) / (end_s - start_s) * (next_tick - tick)), 0)

    def tempi(self) -> Iterator[tuple[int, int]]:
        """Yield (tick, microseconds a quarter) wherever the tempo changes.

        A tempo is kept while the file runs within `DRIFT_US` of the take. The next one makes up for what whole
        microseconds have lost, so that nothing adds up.
        """
        tempo_us, now_us = 0, 0.0
        for (tick, _), (next_tick, end_s) in pairwise(self._points):
            quarters = (next_tick - tick) / TICKS_PER_QUARTER
            left_us = end_s * 1e6 - now_us
            if abs(left_us - tempo_us * quarters) > DRIFT_US:
                tempo_us = round(left_us / quarters)
                yield tick, tempo_us
            now_us += tempo_us * quarters


def track_of(name: str, events: Iterable[Event], end_tick: int) -> mido.MidiTrack:
    """Return a named track of events, their ticks turned into steps from one to the next."""
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=name, time=0)])
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        message.time = tick - now
        track.append(message)
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(end_tick - now, 0)))
    return track


def _conductor(arrangement: Arrangement, take: Take, grid: _Grid) -> Iterator[Event]:
    """Yield meter, key, tempo, section markers and words."""
    yield 0, KEY, mido.MetaMessage("key_signature", key=arrangement.song.key.short_name)
    for tick, tempo_us in grid.tempi():
        yield tick, TEMPO, mido.MetaMessage("set_tempo", tempo=tempo_us)
    yield from _meters(arrangement, take, grid)
    yield from _markers(take, grid)
    yield from _words(arrangement, take, grid)


def _meters(arrangement: Arrangement, take: Take, grid: _Grid) -> Iterator[Event]:
    """Yield a meter wherever bars begin to have another length: a pick-up, or the short silence before the start.

    A pick-up that is counted in fills a bar with the count and needs none of its own.
    """
    bar_beat = arrangement.song.meter.bar_beat
    lengths = {bar.number: bar.length_beat for bar in arrangement.bars}
    starts = [(grid.tick(bar.start_s), lengths[bar.number]) for bar in take.bars]
    if take.clicks:
        starts[0] = (0, bar_beat)
    else:
        starts.insert(0, (0, take.tempo_map[1].take_beat))
    pulse = arrangement.song.meter.pulse_beat * grid.whole_beat
    before = None
    for tick, length_beat in starts:
        here = _meter(length_beat, grid.whole_beat)
        if here is not None and here != before:
            yield tick, METER, signature_of(*here, clocks=round(4 * CLOCKS_PER_QUARTER * pulse))
            before = here


def _meter(length_beat: Fraction, whole_beat: Fraction) -> tuple[int, int] | None:
    """Return upper and lower figure of a bar of some beats, each so long a part of a whole note.

    None when MIDI has none: a lower figure is a power of two.

    >>> _meter(Fraction(3), Fraction(1, 4)), _meter(Fraction(3, 2), Fraction(1, 4)), _meter(Fraction(3), Fraction(2))
    ((3, 4), (3, 8), (6, 1))
    """
    upper = length_beat.numerator * whole_beat.numerator
    lower = length_beat.denominator * whole_beat.denominator
    fits = lower & (lower - 1) == 0 and upper <= LARGEST_UPPER
    return (upper, lower) if fits else None


def signature_of(upper: int, lower: int, clocks: int) -> mido.MetaMessage:
    """Return a meter of which a pulse lasts so many MIDI clocks."""
    return mido.MetaMessage(
        "time_signature", numerator=upper, denominator=lower, clocks_per_click=min(max(clocks, 1), 255)
    )


def _markers(take: Take, grid: _Grid) -> Iterator[Event]:
    """Yield a marker where a section begins, or where the playing jumps within one."""
    before = None
    for bar in take.bars:
        goes_on = before is not None and bar.number == before.number + 1
        if (
            before is None
            or not goes_on
            or (bar.section, bar.pass_number) != (before.section, before.pass_number)
        ):
            name = bar.section if bar.pass_number == 1 else f"{bar.section} {bar.pass_number}"
            yield grid.tick(bar.start_s), MARKER, mido.MetaMessage("marker", text=name)
        before = bar


def _words(arrangement: Arrangement, take: Take, grid: _Grid) -> Iterator[Event]:
    """Yield the syllables where their notes are struck: ``har-`` within a word, a space after one."""
    bars = {bar.number: bar for bar in arrangement.bars}
    struck = {(note.bar_index, note.beat): note.onset_s for note in take.notes if note.part == "tune"}
    for index, played in enumerate(take.bars):
        bar = bars[played.number]
        for place, syllable in bar.words:
            onset_s = struck.get((index, bar.start_beat + place))
            if onset_s is not None and not syllable.holds:
                text = syllable.text + ("-" if syllable.joined else " ")
                yield grid.tick(onset_s), WORD, mido.MetaMessage("lyrics", text=text)


def _count_in(take: Take, grid: _Grid) -> Iterator[Event]:
    for click in take.clicks:
        tick = grid.tick(click.onset_s)
        key = COUNT_FIRST_KEY if click.first else COUNT_KEY
        velocity = COUNT_FIRST_VELOCITY if click.first else COUNT_VELOCITY
        yield tick, STRIKE, mido.Message("note_on", channel=DRUM_CHANNEL, note=key, velocity=velocity)
        end = tick + COUNT_LENGTH_TICKS
        yield end, LET_GO, mido.Message("note_off", channel=DRUM_CHANNEL, note=key, velocity=0)


def _layer(notes: Sequence[TakeNote], channel: int, grid: _Grid) -> Iterator[Event]:
    """Yield the notes of one layer; a key that is struck again while it sounds is let go first.

    On a high-g ukulele two strings may hold the same key: the earlier note then ends where the later begins, and
    of two at the same tick the louder stands for both.
    """
    yield 0, PROGRAM, mido.Message("program_change", channel=channel, program=NYLON_GUITAR)
    by_key: dict[int, dict[int, TakeNote]] = {}
    for note in notes:
        starts = by_key.setdefault(note.midi, {})
        tick = grid.tick(note.onset_s)
        if tick not in starts or starts[tick].velocity < note.velocity:
            starts[tick] = note
    for key, starts in sorted(by_key.items()):
        ticks = sorted(starts)
        for tick, following in zip(ticks, [*ticks[1:], None], strict=True):
            note = starts[tick]
            end = max(grid.tick(note.onset_s + note.length_s), tick + 1)
            end = end if following is None else min(end, following)
            yield tick, STRIKE, mido.Message("note_on", channel=channel, note=key, velocity=note.velocity)
            yield end, LET_GO, mido.Message("note_off", channel=channel, note=key, velocity=0)
