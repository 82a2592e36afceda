"""How alive a MIDI file is: how its phrases end, how it ends, how strings and strums vary."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import log10
from pathlib import Path
from statistics import linear_regression, pstdev

from ruamel.yaml import YAML

from tests.measure.marks import asked_db, struck
from tests.measure.midi import MidiFile, MidiNote, Roll, rolls_of, written_time_s
from tests.measure.song_text import SongText

__all__ = ["Liveliness", "arch_db", "liveliness_of", "phrase_edges", "strums_of", "sweeps_db"]

PEAK = 0.6
"""Where along a phrase an arch is highest."""

DAMPED_S = 0.035
OFF_S = 0.04
"""A strum that comes so little before a bar line belongs to the bar after it."""


@dataclass(frozen=True, slots=True)
class Liveliness:
    """What is measured of one file.

    Parameters
    ----------
    phrase_ends
        For each phrase of two bars or more in which no time mark stands: how much longer its last bar's worth lasts
        than as much of the rest, as a part of it.
    ending
        How long the piece's last beat lasts, as a part of one at the song's tempo.
    after_ritards
        For each written ritard that another phrase follows: the tempo of that phrase but for its last bar,
        as a part of the song's.
    arch
        For each gesture of the melody on a bar's first beat: the height of an arch over its phrase there, from −1 to
        1, and how loud it is, in dB over its mark; but for those of a phrase's last bar, which are let go of.
    under_tune_sd_db
        How much the strings under the tune vary against it, from roll to roll.
    sweeps_db
        How far the last string of each strum lies under the first.
    strums
        How many there are, chops left out.
    ups_part
        Which part of them comes up, where each section is first played.
    strummed_bars, repeated_bars
        Bars with strums that follow a bar with strums, and those that have the same strokes at the same places.
    """

    phrase_ends: tuple[float, ...]
    ending: float
    after_ritards: tuple[float, ...]
    arch: tuple[tuple[float, float], ...]
    under_tune_sd_db: float
    sweeps_db: tuple[float, ...]
    strums: int
    ups_part: float
    strummed_bars: int
    repeated_bars: int


def phrase_edges(path: Path, song: SongText) -> tuple[Fraction, ...]:
    """Return where phrases begin, and where the last one ends: after breaths, in sections without them at each line."""
    sections = YAML(typ="safe", pure=True).load(path.read_text("utf-8"))["sections"]
    ends = [*(beat for _, _, beat in song.visits[1:]), song.end_beat]
    edges = {Fraction(0), song.end_beat}
    for (name, _, start), end in zip(song.visits, ends, strict=True):
        breaths = [beat for beat, text in song.marks if text == "," and start < beat < end]
        bars = [_bars(block) for block in sections[name].split("\n\n") if block.strip()]
        first = start or song.pickup_beat
        lines = [first + song.bar_beat * sum(bars[:place]) for place in range(1, len(bars))]
        edges.update([start, *breaths] if breaths else lines)
    return tuple(sorted(edges))


def _bars(block: str) -> int:
    rows = [row for row in block.splitlines() if row.split()[:1] == ["chords"]]
    return (
        len([bar for bar in rows[0].rstrip().rstrip("|").split("|") if bar.split() != ["chords"]])
        if rows
        else 0
    )


def liveliness_of(
    file: MidiFile, song: SongText, edges: Sequence[Fraction], strokes: Mapping[int, Sequence[str]]
) -> Liveliness:
    """Measure a file that was made of a song with one bar of count-in.

    Parameters
    ----------
    file, song
        What was made, and of what.
    edges
        Its phrases, see `phrase_edges`.
    strokes
        For each bar by its number what the hand does there, as `check --json` says it of a section's first playing.
    """
    under = [_db(roll.notes[-2]) - _db(roll.notes[-1]) for roll in rolls_of(file) if len(roll.notes) >= 3]
    strums = strums_of(file)
    swept = sweeps_db(strums)
    signs = [sign for each in strokes.values() for sign in each if sign in "duDU"]
    bars = _strummed_bars(file, song, strums)
    patterns = [
        (bars[bar], [sign for sign in strokes.get(bar, ()) if sign in "duDU"]) for bar in sorted(bars)
    ]
    pairs = list(pairwise(patterns))
    last_s = [written_time_s(file, song, song.end_beat - back) for back in (0, 1)]
    return Liveliness(
        tuple(_phrase_ends(file, song, edges)),
        (last_s[0] - last_s[1]) / song.beat_s,
        tuple(_after_ritards(file, song, edges)),
        tuple(_arch(file, song, edges)),
        pstdev(under) if under else 0.0,
        swept,
        len(strums),
        sum(sign in "uU" for sign in signs) / len(signs) if signs else 0.0,
        len(pairs),
        sum(one == other for one, other in pairs),
    )


def strums_of(file: MidiFile) -> list[Roll]:
    """Return the strums of a file, chops left out."""
    return [roll for roll in rolls_of(file, "strums") if not _damped(roll)]


def sweeps_db(strums: Iterable[Roll]) -> tuple[float, ...]:
    """Return how far the last string of each strum of two strings or more lies under the first."""
    return tuple(_db(roll.notes[0]) - _db(roll.notes[-1]) for roll in strums if len(roll.notes) >= 2)


def _phrase_ends(file: MidiFile, song: SongText, edges: Iterable[Fraction]) -> Iterator[float]:
    for start, end in pairwise(edges):
        last = end - song.bar_beat
        told = any(text in ("rit", "fermata", "a-tempo") and start <= at < end for at, text in song.marks)
        if told or end == song.end_beat or last - start < song.bar_beat:
            continue
        first_s, last_s, end_s = (written_time_s(file, song, beat) for beat in (start, last, end))
        yield (end_s - last_s) / (last_s - first_s) * float((last - start) / song.bar_beat) - 1.0


def arch_db(points: Sequence[tuple[float, float]]) -> float:
    """Return how many dB the middle of phrases lies over, and their edges lie under, what is between."""
    return linear_regression(*zip(*points, strict=True)).slope


def _after_ritards(file: MidiFile, song: SongText, edges: Sequence[Fraction]) -> Iterator[float]:
    told = [(at, text) for at, text in song.marks if text in ("rit", "fermata", "a-tempo")]
    for at, text in told:
        place = bisect_right(edges, at)
        if text != "rit" or place + 1 >= len(edges):
            continue
        start, end = edges[place], edges[place + 1] - song.bar_beat
        if start < end and not any(at < other < end for other, _ in told):
            start_s, end_s = (written_time_s(file, song, beat) for beat in (start, end))
            yield float(end - start) * song.beat_s / (end_s - start_s)


def _arch(file: MidiFile, song: SongText, edges: Sequence[Fraction]) -> Iterator[tuple[float, float]]:
    rolls = struck(file, "melody")
    onsets_s = [roll.notes[-1].onset_s for roll in rolls]
    for start, end in pairwise(edges):
        bars = int((end - start) / song.bar_beat)
        for bar in range(bars - 1):
            beat = start + bar * song.bar_beat
            due_s, asked = written_time_s(file, song, beat), asked_db(song, "melody", beat)
            near = bisect_right(onsets_s, due_s - OFF_S)
            if asked is None or near == len(rolls) or onsets_s[near] > due_s + OFF_S:
                continue
            along = bar / bars
            rise = along / PEAK if along < PEAK else (1.0 - along) / (1.0 - PEAK)
            power = sum(10.0 ** (_db(note) / 10.0) for note in rolls[near].notes)
            yield 2.0 * rise * rise * (3.0 - 2.0 * rise) - 1.0, 10.0 * log10(power) - asked


def _db(note: MidiNote) -> float:
    return 40.0 * log10(note.velocity)


def _damped(roll: Roll) -> bool:
    """Whether all strings are stopped at once, as in a chop."""
    return all(note.end_s - note.onset_s < DAMPED_S for note in roll.notes)


def _strummed_bars(file: MidiFile, song: SongText, strums: Iterable[Roll]) -> dict[int, list[int]]:
    """Return for each bar with strums, by its number, where they fall in it, in quarters of a beat."""
    count = int((song.end_beat - song.pickup_beat) / song.bar_beat)
    edges = [song.pickup_beat + bar * song.bar_beat for bar in range(count + 1)]
    edges_s = [written_time_s(file, song, beat) for beat in edges]
    bars: dict[int, list[int]] = {}
    for roll in strums:
        at_s = roll.notes[-1].onset_s
        bar = bisect_right(edges_s, at_s + OFF_S) - 1
        if 0 <= bar < count:
            along = (at_s - edges_s[bar]) / (edges_s[bar + 1] - edges_s[bar])
            bars.setdefault(bar + 1, []).append(round(along * song.bar_beat * 4))
    return bars
