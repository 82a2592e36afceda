"""Tracks and stems in memory: for Python users, and for pages, which play a whole song part by part.

All are balanced and made as loud as the tracks that a kit writes: layers add up to the demo under the song's gain.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import product
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from tercet.arranging import Arrangement
from tercet.audio_formats import FORMATS
from tercet.performing import Take
from tercet.song import Layer
from tercet.song.choice_words import parse_choice
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.loudness import true_peak_dbtp
from tercet.sound.soundfont_choice import Sound
from tercet.sound.stems import Audio, Progress, Stems
from tercet.tracks.balance import FINER_DB, Balance
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.clips.batches import GRID_FRAMES
from tercet.tracks.clips.mixing import add_cues
from tercet.tracks.playing import Playing
from tercet.tracks.practice_forms import TrackOptions
from tercet.tracks.recipes import Recipe, own_recipes, recipe_named
from tercet.tracks.recording import Recording
from tercet.tracks.timelines import Passage, Source, TrackTimeline, whole_range
from tercet.tracks.track_files import SetOrder, TrackOrder, gain_under, over_db, recording_of

__all__ = ["CEILING_DBTP", "PARTS", "Part", "WholeSong", "joined", "mix_and_gain", "synthesise", "track"]

CEILING_DBTP = FORMATS[".wav"].encode_ceiling_dbtp
"""The gain is that of lossless files; `Audio.write` lowers what a lossy one has no room for."""

_BUILT_IN, _AS_IT_IS = Sound(), TrackOptions()


def synthesise(take: Take, sound: Sound = _BUILT_IN, *, progress: Progress | None = None) -> Stems:
    """Return the stems of a take as the tracks have them: calibrated, in the room, and balanced.

    ``synthesise(take).mix()`` is what `track` makes of the demo, over the bars and at the speed of the take. The whole
    song is played once to balance it, whatever the take is of.

    Parameters
    ----------
    take
        From `perform`; without the room if it is dry.
    sound
        What it is played with.
    progress
        Told of what takes a while.

    Raises
    ------
    ParameterError
        The take doesn't come from `perform`.
    SynthesiserError, SoundFontError
        The sound can't be had.
    """
    played = take.played
    source = Source(flat=take.flat)
    recipe = Recipe("stems", "", flat=take.flat)
    with _recorded(
        played.arrangement, recipe, sound, played.seed, played.dry, progress=progress
    ) as recording:
        balance = recording.balance()
        lead_frames, moved = on_grid(take)
        stems = recording.playing.stems_of(moved, source, (*played.arrangement.song.layers, "cues"))
    trims_db = balance.trims_db["song", take.flat]
    flat_db = balance.flat_gain_db if take.flat else 0.0
    by_name = {name: samples[lead_frames:] for name, samples in stems.by_name.items()}
    for layer in played.arrangement.song.layers:
        by_name[layer] = by_name[layer] * np.float32(10.0 ** ((trims_db[layer] + flat_db) / 20.0))
    return Stems(stems.sample_rate_hz, by_name, gain_under(balance, CEILING_DBTP))


def track(
    arrangement: Arrangement,
    name: str,
    sound: Sound = _BUILT_IN,
    options: TrackOptions = _AS_IT_IS,
    *,
    seed: int = 1,
    dry: bool = False,
    progress: Progress | None = None,
) -> Audio:
    """Return a track of a song: the same as a kit writes under its name, cues included.

    Parameters
    ----------
    arrangement
        What is played.
    name
        A built-in track, or one of the song's own.
    sound, progress
        As in `synthesise`.
    options
        What is asked of every track alike: speed, bars, count-in, click, guide.
    seed, dry
        As in `perform`.

    Raises
    ------
    RequestError
        There is no such track, or bars or speeds that it can't have.
    SynthesiserError, SoundFontError
        The sound can't be had.
    """
    song = arrangement.song
    recipe = recipe_named(name, own_recipes(song.tracks, song.title), song.layers)
    with _recorded(arrangement, recipe, sound, seed, dry, options, progress) as recording:
        return Audio(mix_and_gain(recording, recording.balance())[0])


def mix_and_gain(recording: Recording, balance: Balance) -> tuple[NDArray[np.float32], float]:
    """Return a recording's first track as a lossless file holds it, float32 (frames, 2), and its gain in dB.

    The gain is the song's, or less if the track came too high.
    """
    gain_db = gain_under(balance, CEILING_DBTP)
    while True:
        mix = joined(add_cues(recording.music(0, balance, gain_db=gain_db), recording.plan(0).cues))
        too_high_db = over_db(true_peak_dbtp(mix, CEILING_DBTP - FINER_DB), CEILING_DBTP)
        if not too_high_db:
            return mix, gain_db
        gain_db -= too_high_db


def joined(blocks: Iterator[NDArray[np.float32]]) -> NDArray[np.float32]:
    """Return blocks as one piece."""
    return np.concatenate(list(blocks))


def on_grid(take: Take) -> tuple[int, Take]:
    """Return a take whose first bar begins on the synthesiser's grid, as clips do, and how many frames it comes later.

    Its strokes fall on whole frames from there: so the same notes have the same samples as in a track.
    """
    start_s = take.bars[0].start_s if take.bars else 0.0
    start_frame = round(start_s * SAMPLE_RATE_HZ)
    lead_frames = -start_frame % GRID_FRAMES

    def frame(time_s: float) -> int:
        return start_frame + lead_frames + round((time_s - start_s) * SAMPLE_RATE_HZ)

    notes = []
    for note in take.notes:
        onset = frame(note.onset_s)
        length = max(frame(note.onset_s + note.length_s) - onset, 1)
        notes.append(replace(note, onset_s=onset / SAMPLE_RATE_HZ, length_s=length / SAMPLE_RATE_HZ))
    clicks = tuple(
        replace(click, onset_s=click.onset_s + lead_frames / SAMPLE_RATE_HZ) for click in take.clicks
    )
    length_s = take.length_s + lead_frames / SAMPLE_RATE_HZ
    return lead_frames, replace(take, notes=tuple(notes), clicks=clicks, length_s=length_s)


@contextmanager
def _recorded(
    arrangement: Arrangement,
    recipe: Recipe,
    sound: Sound,
    seed: int,
    dry: bool,
    options: TrackOptions = _AS_IT_IS,
    progress: Progress | None = None,
) -> Iterator[Recording]:
    """Give the recording of one track."""
    tracks = (TrackOrder(recipe, options, ()),)
    with TemporaryDirectory(prefix="tercet-") as work:
        order = SetOrder(arrangement, sound.chosen().sound, tracks, Path(work), seed, dry)
        yield recording_of(order, progress)


@dataclass(frozen=True, slots=True)
class Part:
    """A part that a song is cut into: the layer that it belongs to, its notes, and whether they are the tune's."""

    layer: Layer
    notes: str
    tune: bool = False


PARTS: dict[str, Part] = {
    "melody": Part("melody", "melody", tune=True),
    "second": Part("second", "second"),
    "tune": Part("between", "between and tune", tune=True),
    "between": Part("between", "between and added"),
    "strums": Part("strums", "strums"),
}
"""What a song is cut into: its layers, but that the tune's notes of *between* stand apart from the added ones. So all
of the tune can be taken out; together they are the demo."""


class WholeSong:
    """A song from beginning to end at some speeds, without a count-in.

    Parameters
    ----------
    playing
        The song and its sound.
    speeds
        1 is the song's tempo.
    cache
        Where what was played is kept.
    """

    def __init__(self, playing: Playing, speeds: Sequence[Fraction], cache: BatchCache) -> None:
        beats = whole_range(playing.arrangement)
        self._speeds = tuple(speeds)
        self._parts = {
            name: part for name, part in PARTS.items() if part.layer in playing.arrangement.song.layers
        }
        timelines = [
            TrackTimeline(
                (Passage(Source(speed=speed), beats.start_beat, beats.end_beat, parse_choice(part.notes)),)
            )
            for speed, part in product(self._speeds, self._parts.values())
        ]
        self._recording = Recording(playing, timelines, cache)

    @cached_property
    def balance(self) -> Balance:
        """What all tracks of the song share."""
        return self._recording.balance()

    def parts(self, speed: Fraction) -> dict[str, NDArray[np.float32]]:
        """Return the parts at one of the speeds, before the song's gain, each float32 (frames, 2) and equally long.

        They begin where a take of the whole song without a count-in does.
        """
        first = self._speeds.index(speed) * len(self._parts)
        return {
            part: joined(self._recording.music(first + place, self.balance))
            for place, part in enumerate(self._parts)
        }
