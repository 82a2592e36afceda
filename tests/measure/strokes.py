"""The strokes of a part, read from what ``check --json`` says and from the song file: as plain values, see `hands`."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from tests.measure.song_text import SongText

__all__ = ["strokes_told"]

ACTIONS = {"d": "strum", "u": "strum", "D": "strum", "U": "strum", "x": "chop"}
STRUCK = re.compile(r"\[(\d+)\]")
MOST_PARTS = 96
"""A beat has no finer parts than so many; the report rounds where in a bar a stroke begins."""


def strokes_told(
    lines: Sequence[Mapping[str, Any]], song: SongText, open_midis: Sequence[int]
) -> list[dict[str, Any]]:
    """Return the strokes of each section's first playing; strums are taken to strike all strings.

    A stroke of the thumb plays the note of the tune that is written where it begins, if it has that on top, octaves
    aside.

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
    written = {note.beat: note for note in song.tune}
    strokes = []
    for hand in (hand for line in lines for hand in line["hands"]):
        shape, fingers, number = _digits(hand["shape"]), _digits(hand["fingers"]), hand["bar_number"]
        start = song.pickup_beat + (number - 1) * song.bar_beat if number else Fraction(0)
        for told, place in zip(hand["strokes"], hand["beats"], strict=True):
            struck = _struck(told, shape, open_midis)
            beat = start + Fraction(place - 1).limit_denominator(MOST_PARTS)
            note = written.get(beat) if struck["action"] in ("roll", "single") else None
            if note is not None and (struck["midis"][-1] - note.midi) % 12:
                note = None
            length_beat = note.length_beat if note else Fraction(0)
            chord, span = _chord_under(song, beat, length_beat)
            times = {"onset_s": float(beat) * song.beat_s, "length_s": float(length_beat) * song.beat_s}
            where = {"chord": chord, "span": span, "bar": (keys[number], number)}
            strokes.append(
                {"shape": shape, "fingers": fingers, **struck, **times, **where, "tune": note is not None}
            )
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
