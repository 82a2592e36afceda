"""A synthesiser that keeps what the marks promise: wanted levels become the velocities that measure so.

Each note's level relative to mf is turned into a velocity by the loudness table of its string. Where the sound can't go
as loud or as soft as a layer asks, a gain does the rest: constant over the song and fixed before anything is rendered,
taken from the whole song at full speed, whatever part of it is played.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tercet.caches import Cache
from tercet.performing import Take, TakeNote
from tercet.song import LAYERS, Layer
from tercet.sound.calibration import (
    REFERENCE_OPEN_MIDI,
    REFERENCE_STRING,
    SILENT_LUFS,
    VELOCITIES,
    StringLoudness,
    keep_string,
    kept_string,
    measure_string,
    nominal_level_db,
    reference_lufs,
)
from tercet.sound.stems import STEM_NAMES, LevelSynthesiser, Progress, StemName, Stems, Synthesiser
from tercet.wording import counted

__all__ = ["MeasuredSynthesiser", "keeping_levels", "layer_gain_db"]

ALIKE_DB = 3.0
"""A sound whose softest useful and hardest strokes lie nearer together than this plays them all alike."""

SOFT_VELOCITY = 30
JUMP_DB = 10.0
"""Between neighbouring velocities of the table; an even curve over 50 dB takes steps of up to 8 dB from 30 on."""

TELLING_DB = 0.05
"""A gain or a lack smaller than this isn't worth a word."""

MISSED_DB = 1.0
"""A note that is further than this from its level is said to be out of reach."""


def keeping_levels(
    synthesiser: Synthesiser,
    song: Callable[[], Take],
    *,
    folder: Path | None = None,
    progress: Progress | None = None,
) -> LevelSynthesiser:
    """Return what plays a song as its marks promise: the synthesiser if it does so by itself, else measured.

    The parameters are those of `MeasuredSynthesiser`.
    """
    if isinstance(synthesiser, LevelSynthesiser):
        return synthesiser
    return MeasuredSynthesiser(synthesiser, song, folder=folder, progress=progress)


class MeasuredSynthesiser:
    """A `LevelSynthesiser` around a synthesiser that goes by velocity, for one song.

    Parameters
    ----------
    inner
        What makes the sound.
    song
        Gives the take of the whole song at full speed.
    folder
        Where loudness tables are kept, the user's cache without it.
    progress
        Told (what is being done, strings measured, strings in all) while a new sound is measured.
    """

    def __init__(
        self,
        inner: Synthesiser,
        song: Callable[[], Take],
        *,
        folder: Path | None = None,
        progress: Progress | None = None,
    ) -> None:
        self.inner = inner
        self._song = song
        self._folder = folder
        self._progress = progress
        self._tables: dict[tuple[int, int], StringLoudness] = {}

    def identity(self) -> str:
        """Return the inner synthesiser's identity; what is done to it follows from the song."""
        return f"{self.inner.identity()}, measured"

    def keys(self) -> frozenset[int] | None:
        """Return the keys that the sound has."""
        return self.inner.keys()

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        """Return stems of a take at the levels of its notes; their velocities don't count.

        Parameters
        ----------
        take
            What is played.
        names
            The stems that are wanted.

        Raises
        ------
        SynthesiserError, SoundFontError
            As the inner synthesiser's.
        """
        touched = replace(take, notes=tuple(self._touched(note) for note in take.notes))
        return _with_gains(self.inner.stems(touched, names), self.layer_gains_db)

    @cached_property
    def layer_gains_db(self) -> dict[Layer, float]:
        """The gain of each layer, 0 where the sound reaches all that the song asks of the layer."""
        notes = self._song().notes
        self._measure(notes)
        gains: dict[Layer, float] = {}
        for layer in LAYERS:
            reaches = {
                (note.level_db - high, note.level_db - low)
                for note in notes
                if note.layer == layer and note.action != "chop"
                for low, high in [self._reach_db(note)]
            }
            gains[layer] = layer_gain_db(reaches)
        return gains

    def notices(self) -> tuple[str, ...]:
        """Return what the user should know about the sound: gains, lacks, faults; a sentence each."""
        gains = self.layer_gains_db
        told = [*_faults(self._tables.values())]
        for layer, gain_db in gains.items():
            if abs(gain_db) >= TELLING_DB:
                way = "louder" if gain_db > 0.0 else "softer"
                told.append(
                    f"the sound can't be played as {'loud' if gain_db > 0.0 else 'soft'} as the {layer} "
                    f"{'are' if layer == 'strums' else 'is'} marked: that layer is made {abs(gain_db):.1f} dB {way}"
                )
        missed = sum(abs(self._missed_db(note)) > MISSED_DB for note in self._song().notes)
        if missed:
            told.append(
                f"{counted(missed, 'note is', 'notes are')} marked beyond what the sound can do, which comes as near "
                "as it can: choose another sound, or marks that are closer together"
            )
        return tuple(told)

    def _touched(self, note: TakeNote) -> TakeNote:
        """Return a note with the velocity at which it measures as loud as its level says."""
        gain_db = self.layer_gains_db[note.layer]
        wanted_lufs = self._mf_lufs + note.level_db - gain_db
        velocity = self._table(note).velocity(note.midi, wanted_lufs)
        return replace(note, velocity=velocity, level_db=nominal_level_db(velocity))

    def _reach_db(self, note: TakeNote) -> tuple[float, float]:
        """Return the softest and the loudest level of a note's key, relative to mf."""
        table = self._table(note)
        softest, loudest = (table.level_lufs(note.midi, velocity) for velocity in (1, 127))
        return softest - self._mf_lufs, loudest - self._mf_lufs

    def _missed_db(self, note: TakeNote) -> float:
        played = self._touched(note).velocity
        level_lufs = self._table(note).level_lufs(note.midi, played) + self.layer_gains_db[note.layer]
        return level_lufs - self._mf_lufs - note.level_db

    @cached_property
    def _mf_lufs(self) -> float:
        return reference_lufs(self._tables[REFERENCE_STRING, REFERENCE_OPEN_MIDI])

    def _table(self, note: TakeNote) -> StringLoudness:
        """Return the table of a note's string; for a string that the song doesn't have, that of the reference."""
        return next(
            self._tables[place]
            for place in ((note.string, note.open_midi), (REFERENCE_STRING, REFERENCE_OPEN_MIDI))
            if place in self._tables
        )

    def _measure(self, notes: Iterable[TakeNote]) -> None:
        """Have the tables of all strings that are played, and of the reference string, ready."""
        wanted = sorted(
            {(note.string, note.open_midi) for note in notes} | {(REFERENCE_STRING, REFERENCE_OPEN_MIDI)}
        )
        cache = Cache(self._folder) if self._folder else Cache.of_user("loudness")
        identity = self.inner.identity()
        kept = {place: kept_string(cache, identity, *place) for place in wanted}
        missing = [place for place, table in kept.items() if table is None]
        for done, (string, open_midi) in enumerate(missing):
            if self._progress is not None:
                self._progress("measuring how loud the sound is", done, len(missing))
            table = measure_string(self.inner, string, open_midi, self.inner.keys())
            keep_string(cache, identity, table)
            kept[string, open_midi] = table
        self._tables = {place: table for place, table in kept.items() if table is not None}


def _with_gains(stems: Stems, gains_db: Mapping[Layer, float]) -> Stems:
    """Return stems with a gain on each layer."""
    by_name: dict[StemName, NDArray[np.float32]] = dict(stems.by_name)
    for layer, gain_db in gains_db.items():
        if gain_db and layer in by_name:
            by_name[layer] = by_name[layer] * np.float32(10.0 ** (gain_db / 20.0))
    return Stems(stems.sample_rate_hz, by_name)


def layer_gain_db(reaches: Iterable[tuple[float, float]]) -> float:
    """Return the gain nearest to none that brings a layer within reach, in dB.

    Parameters
    ----------
    reaches
        For each note of the layer the least and the greatest gain with which the sound can play it as loud as it is
        wanted.

    Returns
    -------
    float
        0 where no gain is needed. Where no gain suits all notes, the one for which the lacks add up to least: the
        median of all bounds.
    """
    found = list(reaches)
    if not found:
        return 0.0
    least, most = max(low for low, _ in found), min(high for _, high in found)
    if least <= most:
        return round(min(max(0.0, least), most), 2)
    bounds = sorted(bound for both in found for bound in both)
    return round((bounds[len(found) - 1] + bounds[len(found)]) / 2.0, 2)


def _faults(tables: Collection[StringLoudness]) -> Iterable[str]:
    """Yield what is wrong with the sound itself."""
    rows = [row for table in tables for row in table.levels_lufs]
    if any(row[-1] < SILENT_LUFS for row in rows):
        silent = sum(row[-1] < SILENT_LUFS for row in rows)
        yield (
            f"the sound is silent on {silent} of {len(rows)} places of the neck, however hard they are struck: "
            "choose another preset or sound font"
        )
    clicking = sum(table.clicking_frets for table in tables)
    if clicking:
        yield (
            f"the sound clicks on {clicking} of {len(rows)} places of the neck when they are struck hard: "
            "it may be damaged; download it again or choose another sound font"
        )
    heard = [row for row in rows if row[-1] >= SILENT_LUFS]
    soft = VELOCITIES.index(SOFT_VELOCITY)
    if heard and all(row[-1] - row[soft] < ALIKE_DB for row in heard):
        yield (
            "the sound plays soft and hard strokes alike: the layers are set apart by a gain each, but accents and "
            "hairpins can't be heard; choose another sound font for those"
        )
    elif any(
        later - sooner > JUMP_DB
        for row in heard
        for sooner, later in zip(row[soft:], row[soft + 1 :], strict=False)
    ):
        yield (
            "the sound jumps in loudness between neighbouring strengths of stroke: levels are kept as near as it "
            "allows, but hairpins may go in steps"
        )
