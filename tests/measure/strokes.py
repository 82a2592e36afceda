"""The strokes of a part, read from what ``check --json`` says and from the song file: as plain values, see `hands`."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import groupby
from typing import Any

from tests.measure.song_text import SongText, TuneNote

__all__ = ["strokes_told"]

ACTIONS = {"d": "strum", "u": "strum", "D": "strum", "U": "strum", "x": "chop"}
STRUCK = re.compile(r"\[(\d+)\]")


def strokes_told(
    lines: Sequence[Mapping[str, Any]], song: SongText, open_midis: Sequence[int]
) -> list[dict[str, Any]]:
    """Return the strokes of each section's first playing.

    Each stroke of the thumb is laid to the next written note in its bar that it has on top, octaves aside; the others,
    and strums, come evenly between those. A bar in which notes of the tune are left over is left out. Strums
    are taken to strike all strings.

    Parameters
    ----------
    lines
        Of the report.
    song
        What was arranged.
    open_midis
        The open strings, string 4 first.
    """
    keys = _bar_keys(song)
    bars: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for hand in (hand for line in lines for hand in line["hands"]):
        shape, fingers = _digits(hand["shape"]), _digits(hand["fingers"])
        for told in hand["strokes"]:
            stroke = {"shape": shape, "fingers": fingers, **_struck(told, shape, open_midis)}
            bars[hand["bar_number"]].append(stroke)
    strokes = []
    for number, told in sorted(bars.items()):
        for stroke, (beat, note) in zip(told, _beats(told, number, song), strict=False):
            length_beat = note.length_beat if note else Fraction(0)
            chord, span = _chord_under(song, beat, length_beat)
            times = {"onset_s": float(beat) * song.beat_s, "length_s": float(length_beat) * song.beat_s}
            where = {"chord": chord, "span": span, "bar": (keys[number], number)}
            strokes.append({**stroke, **times, **where, "tune": note is not None})
    return strokes


def _digits(text: str) -> list[int | None]:
    """Return the frets or fingers of a text such as ``x223`` or ``9.9.9.12``."""
    signs = text.split(".") if "." in text else text
    return [None if sign == "x" else int(sign) for sign in signs]


def _struck(told: str, shape: Sequence[int | None], open_midis: Sequence[int]) -> dict[str, Any]:
    """Return what a stroke does, and the strings and keys that it sounds, in order."""
    found = STRUCK.search(told)
    strings = [int(digit) for digit in found[1]] if found else [4, 3, 2, 1] if told != "x" else []
    strings = [string for string in strings if shape[4 - string] is not None]
    midis = [open_midis[4 - string] + (shape[4 - string] or 0) for string in strings]
    action = ("roll" if len(strings) > 1 else "single") if found else ACTIONS.get(told, "")
    return {"action": action, "strings": strings, "midis": midis}


def _beats(
    told: Sequence[Mapping[str, Any]], number: int, song: SongText
) -> Iterator[tuple[Fraction, TuneNote | None]]:
    """Yield for each stroke of a bar its beat and its note of the tune; nothing where notes are left over."""
    start = song.pickup_beat + (number - 1) * song.bar_beat if number else Fraction(0)
    end = start + song.bar_beat if number else song.pickup_beat
    written: list[tuple[Fraction, TuneNote]] = [
        (note.beat, note) for note in (*song.tune, *song.added) if start <= note.beat < end
    ]
    written.sort(key=lambda item: item[0])
    places: list[tuple[Fraction, TuneNote | None] | None] = []
    for stroke in told:
        top = stroke["midis"][-1] % 12 if stroke["action"] in ("roll", "single") else None
        while top is not None and written and written[0][1] in song.added and written[0][1].midi % 12 != top:
            del written[0]
        if written and written[0][1].midi % 12 == top:
            beat, note = written.pop(0)
            places.append((beat, None if note in song.added else note))
        else:
            places.append(None)
    if any(note in song.tune for _, note in written):
        return
    beat = start
    for _, run in groupby(enumerate(places), key=lambda item: item[1] is not None):
        indices = [index for index, _ in run]
        after = places[indices[-1] + 1] if indices[-1] + 1 < len(places) else None
        for count, index in enumerate(indices, 1):
            known = places[index]
            if known is not None:
                beat = known[0]
                yield known
            else:
                until = after[0] if after else end
                yield beat + (until - beat) * count / (len(indices) + 1), None


def _chord_under(song: SongText, beat: Fraction, length_beat: Fraction) -> tuple[str, int]:
    """Return name and number of a stroke's chord: of the one that comes, for half a pulse at most and half the note."""
    starts = [at for at, _ in song.chords]
    place = max(bisect_right(starts, beat) - 1, 0)
    if place + 1 < len(starts):
        early_beat = starts[place + 1] - beat
        place += early_beat <= min(song.pulse_beat / 2, length_beat / 2)
    return song.chords[place][1], place


def _bar_keys(song: SongText) -> dict[int, str]:
    """Return for each bar by its number what is written in it, and the notes on either side with their chords."""
    count = int((song.end_beat - song.pickup_beat) / song.bar_beat)
    bars = []
    for number in range(count + 1):
        start = song.pickup_beat + (number - 1) * song.bar_beat
        inside = [
            (
                note.beat - start,
                note.length_beat,
                note.midi,
                _chord_under(song, note.beat, note.length_beat)[0],
            )
            for note in song.tune
            if max(start, Fraction(0)) <= note.beat < start + song.bar_beat
        ]
        under = [(at - start, name) for at, name in song.chords if start <= at < start + song.bar_beat]
        bars.append((inside, under))
    keys = {}
    for number, (inside, under) in enumerate(bars):
        before = bars[number - 1][0][-1:] if number else []
        after = bars[number + 1][0][:1] if number < count else []
        keys[number] = str((inside, under, before, after))
    return keys
