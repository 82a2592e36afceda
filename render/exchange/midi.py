"""Standard MIDI Files out: a take as it is performed, one named track a layer.

Type 1, 960 ticks a quarter note. The first track holds title, tempo, meter, key, section markers and words; each
layer has a track and a channel of its own (channel 10, the drums', is never used); the count-in is a track of its
own on the drum channel.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING

from render.song import LAYERS, Layer

if TYPE_CHECKING:
    import mido

    from render.arrange import Arrangement
    from render.perform import Take, TakeNote
    from render.theory import Key

__all__ = ["TICKS_PER_QUARTER", "midi_bytes"]

TICKS_PER_QUARTER = 960
NYLON_GUITAR = 24
"""Program number, from 0, in General MIDI."""

CHANNELS: dict[Layer, int] = {"melody": 0, "between": 1, "strums": 2}
DRUM_CHANNEL = 9
COUNT_FIRST_KEY, COUNT_KEY = 76, 77
"""High and low wood block in the General MIDI drum map."""

COUNT_LENGTH_TICKS = 120


def midi_bytes(arrangement: Arrangement, take: Take, layers: Sequence[Layer] = LAYERS) -> bytes:
    """Return a take as the bytes of a MIDI file.

    Parameters
    ----------
    arrangement
        What is played: title, key, meter, words.
    take
        When it is played.
    layers
        Layers to write, one track each.

    Returns
    -------
    bytes
        The same take gives the same bytes.
    """
    import mido

    grid = _Grid(arrangement, take)
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    file.tracks.append(_track(arrangement.song.title, _conductor(arrangement, take, grid)))
    if take.clicks:
        file.tracks.append(_track("count-in", _count_in(take, grid)))
    for layer in layers:
        notes = [note for note in take.notes if note.layer == layer]
        file.tracks.append(_track(layer, _layer(notes, CHANNELS[layer], grid)))
    buffer = BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


class _Grid:
    """Ticks of a take's seconds, along its tempo map."""

    def __init__(self, arrangement: Arrangement, take: Take) -> None:
        ticks_per_beat = Fraction(4 * TICKS_PER_QUARTER, arrangement.song.meter.lower)
        self.points = [(round(point.take_beat * ticks_per_beat), point.onset_s) for point in take.tempo_map]
        self.start_s = take.tempo_map[0].onset_s

    def tick(self, time_s: float) -> int:
        """Return the tick nearest to a time; a time before the first beat is tick 0."""
        after = bisect_right(self.points, time_s, key=lambda point: point[1])
        index = min(max(after - 1, 0), len(self.points) - 2)
        (tick, start_s), (next_tick, end_s) = self.points[index], self.points[index + 1]
        return max(round(tick + (time_s - start_s) / (end_s - start_s) * (next_tick - tick)), 0)

    def tempi(self) -> Iterator[tuple[int, int]]:
        """Yield (tick, microseconds a quarter) wherever the tempo changes."""
        before = 0
        for (tick, start_s), (next_tick, end_s) in zip(self.points, self.points[1:], strict=False):
            tempo_us = round((end_s - start_s) * 1e6 / (next_tick - tick) * TICKS_PER_QUARTER)
            if tempo_us != before:
                yield tick, tempo_us
            before = tempo_us


Event = tuple[int, int, "mido.Message | mido.MetaMessage"]
"""(tick, order within the tick, message)."""


def _track(name: str, events: Iterator[Event]) -> mido.MidiTrack:
    """Return a named track of events in order, their times turned into steps from one to the next."""
    import mido

    track = mido.MidiTrack([mido.MetaMessage("track_name", name=name, time=0)])
    now = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=0))
    return track


def _conductor(arrangement: Arrangement, take: Take, grid: _Grid) -> Iterator[Event]:
    """Yield meter, key, tempo, section markers and words."""
    import mido

    song = arrangement.song
    meter = song.meter
    clocks = round(24 * 4 * meter.pulse_beat / meter.lower)
    yield (
        0,
        0,
        mido.MetaMessage(
            "time_signature",
            numerator=meter.upper,
            denominator=meter.lower,
            clocks_per_click=clocks,
        ),
    )
    yield 0, 1, mido.MetaMessage("key_signature", key=_key_name(song.key))
    for tick, tempo_us in grid.tempi():
        yield tick, 2, mido.MetaMessage("set_tempo", tempo=tempo_us)
    bars = {bar.number: bar for bar in arrangement.bars}
    struck = {(note.bar_index, note.beat): note.onset_s for note in take.notes if note.part == "tune"}
    before = ("", 0)
    for index, played in enumerate(take.bars):
        here = (played.section, played.pass_number)
        if here != before:
            yield grid.tick(played.start_s), 3, mido.MetaMessage("marker", text=_marker(*here))
        before = here
        bar = bars[played.number]
        for place, syllable in bar.words:
            onset_s = struck.get((index, bar.start_beat + place))
            if onset_s is not None and not syllable.holds:
                text = syllable.text + ("-" if syllable.joined else " ")
                yield grid.tick(onset_s), 4, mido.MetaMessage("lyrics", text=text)


def _marker(section: str, pass_number: int) -> str:
    return section if pass_number == 1 else f"{section} {pass_number}"


def _key_name(key: Key) -> str:
    """Return a key as MIDI libraries write it: ``Bb``, ``F#m``."""
    sign = {1: "#", 0: "", -1: "b"}[key.alter]
    return f"{key.letter}{sign}{'m' if key.minor else ''}"


def _count_in(take: Take, grid: _Grid) -> Iterator[Event]:
    import mido

    for click in take.clicks:
        tick = grid.tick(click.onset_s)
        note = COUNT_FIRST_KEY if click.first else COUNT_KEY
        yield (
            tick,
            1,
            mido.Message("note_on", channel=DRUM_CHANNEL, note=note, velocity=90 if click.first else 70),
        )
        yield (
            tick + COUNT_LENGTH_TICKS,
            0,
            mido.Message("note_off", channel=DRUM_CHANNEL, note=note, velocity=0),
        )


def _layer(notes: Sequence[TakeNote], channel: int, grid: _Grid) -> Iterator[Event]:
    """Yield the notes of one layer; a key that is struck again while it sounds is let go first.

    On a high-g ukulele two strings may hold the same key: the earlier note then ends where the later begins.
    """
    import mido

    yield 0, 0, mido.Message("program_change", channel=channel, program=NYLON_GUITAR)
    for key in sorted({note.midi for note in notes}):
        along = sorted((note for note in notes if note.midi == key), key=lambda note: note.onset_s)
        starts = [grid.tick(note.onset_s) for note in along]
        ends = [grid.tick(note.onset_s + note.length_s) for note in along]
        for place, note in enumerate(along):
            limit = starts[place + 1] if place + 1 < len(along) else None
            if limit == starts[place]:
                continue
            end = max(ends[place], starts[place] + 1)
            end = end if limit is None else min(end, limit)
            yield starts[place], 3, mido.Message("note_on", channel=channel, note=key, velocity=note.velocity)
            yield end, 2, mido.Message("note_off", channel=channel, note=key, velocity=0)
