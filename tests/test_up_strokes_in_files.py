"""Up-strokes are lighter than down-strokes and brighter, measured in the audio file that a user gets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.arranging import arrange, song_tuning
from tercet.performing import Take, shaping
from tercet.performing.levels import velocity_of_level
from tercet.performing.model import TakeNote
from tercet.song import read_song
from tercet.tracks.playing import Playing
from tests.fonts import synthesiser
from tests.kits import Workshop
from tests.measure.midi import read_with_mido, rolls_of
from tests.measure.plucks import gesture_figures

CHORDS = ("C", "G")
MARKS = ("p", "mp", "mf", "f")
BARS = [(chord, mark, stroke) for chord in CHORDS for mark in MARKS for stroke in "duud"]
"""A stroke on the first beat of each. Strokes that follow one another are touched darker and brighter in turn, so both
ways of the hand come in both kinds of bars."""

SONG = f"""title: Down and Up
key: C major
meter: 4/4
tempo: 120
sections:
  strokes: |
    chords  {" | ".join(chord for chord, _, _ in BARS)}
    melody  {" | ".join(".:4" for _ in BARS)}
    strum   {" | ".join(f"{stroke} . . ." for _, _, stroke in BARS)}
    marks   {" | ".join(f"strums:{mark}@1" for _, mark, _ in BARS)}
"""


@dataclass(frozen=True)
class Difference:
    """How up-strokes differ from the down-strokes beside them.

    Parameters
    ----------
    louder_db
        For each chord and mark by how much the up-strokes are louder.
    brighter
        For each the centroid of the up-strokes over that of the down-strokes, both at the level between them.
    """

    louder_db: NDArray[np.float64]
    brighter: NDArray[np.float64]


def difference(folder: Path, change: Callable[[Take], Take] = lambda take: take) -> Difference:
    """Return what is measured of the song's strums alone, of a take that is changed before it sounds."""
    path = folder / "strokes.yaml"
    path.write_text(SONG, "utf-8")
    song = read_song(path)
    shop = Workshop(path, Playing(arrange(song, song_tuning(song)), synthesiser("built-in")))
    take = change(shop.take)
    kit = shop.make(folder, stems=shop.stems_of(take), names=["only-strums"], bits=24)
    track = kit.tracks["only-strums"]
    starts = [
        round(roll.notes[0].onset_s * track.rate_hz)
        for roll in rolls_of(read_with_mido(folder / "strokes.mid"), "strums")
    ]
    assert len(starts) == len(BARS)
    mono = track.samples.mean(axis=1)
    length = round(0.4 * track.rate_hz)
    levels_lufs, hertz = gesture_figures(
        np.stack([mono[start : start + length] for start in starts]), track.rate_hz
    )
    bars = len(CHORDS), len(MARKS), 4
    lufs, bright = levels_lufs.reshape(bars), np.log(hertz).reshape(bars)
    (down_lufs, up_lufs), (down, up) = (
        (each[..., [0, 3]].mean(axis=2), each[..., [1, 2]].mean(axis=2)) for each in (lufs, bright)
    )
    between = (down_lufs + up_lufs) / 2
    brighter = at_levels(up, up_lufs, between) - at_levels(down, down_lufs, between)
    return Difference((up_lufs - down_lufs).ravel(), np.exp(brighter).ravel())


def at_levels(
    bright: NDArray[np.float64], lufs: NDArray[np.float64], wanted_lufs: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how bright strokes are at other levels, by the straight line through those of each chord."""
    rows = zip(lufs, bright, wanted_lufs, strict=True)
    return np.array([np.polyval(np.polyfit(levels, tones, 1), wanted) for levels, tones, wanted in rows])


def with_downs_for_ups(take: Take) -> Take:
    """Return a take in which the hand always falls, as much softer where it came up."""
    strokes: dict[int, list[TakeNote]] = {}
    for note in take.notes:
        strokes.setdefault(note.gesture, []).append(note)
    played = list(strokes.values())
    notes = []
    for place in range(0, len(played), 4):
        down, *ups, last = played[place : place + 4]
        notes += [*down, *last]
        for up in ups:
            softer_db = total_db(up) - total_db(down)
            notes += [_instead(note, up[0], up[0].onset_s - down[0].onset_s, softer_db) for note in down]
    return replace(take, notes=tuple(sorted(notes, key=lambda note: note.onset_s)))


def _instead(note: TakeNote, up: TakeNote, later_s: float, softer_db: float) -> TakeNote:
    """Return a string of a down-stroke in the place of an up-stroke."""
    return replace(
        note,
        gesture=up.gesture,
        onset_s=note.onset_s + later_s,
        bar_index=up.bar_index,
        beat=up.beat,
        level_db=note.level_db + softer_db,
        velocity=velocity_of_level(note.level_db + softer_db),
    )


def total_db(stroke: list[TakeNote]) -> float:
    return 10.0 * float(np.log10(sum(10.0 ** (note.level_db / 10.0) for note in stroke)))


def test_up_strokes_are_lighter_and_brighter(tmp_path: Path) -> None:
    found = difference(tmp_path)
    assert np.median(found.louder_db) < -1.0
    assert np.median(found.brighter) > 1.15
    assert found.brighter.min() > 1.1


def test_hands_that_only_fall_are_no_brighter(tmp_path: Path) -> None:
    found = difference(tmp_path, with_downs_for_ups)
    assert np.median(found.louder_db) < -1.0
    assert np.median(found.brighter) == pytest.approx(1.0, abs=0.08)


def test_ups_as_firm_as_downs_are_no_lighter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shaping, "UP_STRUM_DB", 0.0)
    assert np.median(difference(tmp_path).louder_db) > -1.0
