"""Everything that a song becomes: its shared gain, its tracks, its MIDI file."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from render.arrange import Arrangement
from render.perform import Take, Timeline, cleared, clearing_db, covered_notes, lay_out, perform
from render.perform.audible import Place
from render.sound import SAMPLE_RATE_HZ, Stems, Synthesiser
from render.sound.measured import MeasuredSynthesiser
from render.tracks.encoding import Bits, TrackWriter, track_format
from render.tracks.files import whole_file
from render.tracks.loudness import integrated_loudness_lufs, song_gain_db
from render.tracks.mixing import highest_peak, mix_blocks, mix_layers
from render.tracks.recipes import RECIPES, Recipe
from render.tracks.tags import Tags

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Playing", "TrackFile", "kit_files", "slug", "speed_name", "track_title", "write_tracks"]

ENCODERS = 2
"""Tracks written at the same time; numpy and libsndfile let go of the interpreter while they work."""

UNDER_FULL_SCALE_DB = 0.1
"""No sample of any choice of layers comes nearer to full scale than this."""


class Playing:
    """A song being played: one arrangement, one sound, one set of deviations.

    Parameters
    ----------
    arrangement
        What is played.
    synthesiser
        What it is played with; its loudness is measured, once for each sound.
    seed, dry
        As in `perform`.
    flat
        As in `perform`; made as loud as the layered demo is.
    clear
        Lower the strings that cover the tune, as the whole song at full speed shows them.
    report
        Told what takes a while, as (what is being done, steps done, steps in all).
    """

    def __init__(
        self,
        arrangement: Arrangement,
        synthesiser: Synthesiser,
        *,
        seed: int = 1,
        dry: bool = False,
        flat: bool = False,
        clear: bool = False,
        report: Callable[[str, int, int], None] | None = None,
    ) -> None:
        front = arrangement.song.front
        front_lu = None if flat or front is None else float(front)
        layered = Playing(arrangement, synthesiser, seed=seed, dry=dry, report=report) if flat else None
        self.arrangement = arrangement
        self._layered = layered
        self.synthesiser = MeasuredSynthesiser(
            synthesiser, lambda: self.take(self._whole), front_lu=front_lu, report=report
        )
        self._seed = seed
        self._dry = dry
        self._clear = clear
        self._takes: dict[Timeline, Take] = {}

    def take(self, timeline: Timeline) -> Take:
        """Return the take of a timeline; each is performed once."""
        if timeline not in self._takes:
            take = self._performed(timeline)
            self._takes[timeline] = cleared(take, self._lowered_db) if self._clear else take
        return self._takes[timeline]

    def _performed(self, timeline: Timeline) -> Take:
        flat = self._layered is not None
        return perform(self.arrangement, timeline, seed=self._seed, dry=self._dry, flat=flat)

    @cached_property
    def _lowered_db(self) -> dict[Place, float]:
        """By how much strings that cover the tune are lowered, wherever they are played."""
        return clearing_db(covered_notes(self._performed(self._whole)))

    def stems(self, timeline: Timeline) -> Stems:
        """Return the stems of a timeline; the whole piece at full speed is made only once."""
        whole = self._whole_stems  # made first: the layers' gains come from it
        return whole if timeline == self._whole else self.synthesiser.stems(self.take(timeline))

    def gain_db(self, ceiling_dbtp: float, stems: Stems) -> float:
        """Return the gain of the song's tracks: from its demo at full speed, whatever is asked for.

        Parameters
        ----------
        ceiling_dbtp
            Highest true peak of the demo.
        stems
            What will be written: should a choice of its layers still pass full scale (other speeds let other
            notes ring together), it gets that much less.
        """
        demo = mix_layers(self._whole_stems)
        if self._layered is None:
            gain_db = min(song_gain_db(demo, SAMPLE_RATE_HZ, ceiling_dbtp), _room_db(self._whole_stems))
        else:
            gain_db = min(self._layered.demo_lufs(ceiling_dbtp) - _lufs(demo), _room_db(self._whole_stems))
        return gain_db if stems is self._whole_stems else min(gain_db, _room_db(stems))

    def demo_lufs(self, ceiling_dbtp: float) -> float:
        """Return how loud the demo is at the song's gain."""
        return _lufs(mix_layers(self._whole_stems)) + self.gain_db(ceiling_dbtp, self._whole_stems)

    @cached_property
    def _whole(self) -> Timeline:
        song = self.arrangement.song
        return lay_out(
            self.arrangement, count_in_bars=1 if song.count_in_bars is None else song.count_in_bars
        )

    @cached_property
    def _whole_stems(self) -> Stems:
        return self.synthesiser.stems(self.take(self._whole))


def _lufs(samples: NDArray[np.float32]) -> float:
    """Return the loudness of audio; 0 for silence, which no gain makes louder."""
    loudness_lufs = integrated_loudness_lufs(samples, SAMPLE_RATE_HZ)
    return loudness_lufs if math.isfinite(loudness_lufs) else 0.0


def _room_db(stems: Stems) -> float:
    """Return the gain that brings the highest sample of any choice of layers just under full scale."""
    peak = highest_peak(stems)
    return -UNDER_FULL_SCALE_DB - 20.0 * math.log10(peak) if peak > 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class TrackFile:
    """A track to be written: where, which layers, how fast, and its number among the tracks of a kit (0: none)."""

    path: Path
    recipe: Recipe
    speed: Fraction = Fraction(1)
    number: int = 0


def slug(title: str) -> str:
    """Return a title as a file name that every system takes: small letters, digits and hyphens, at most 40.

    >>> slug("Die Mühle, ganz früh!")
    'die-muhle-ganz-fruh'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].rstrip("-") or "song"


def speed_name(speed: Fraction) -> str:
    """Return a speed as it stands in titles and file names: ``60`` for 60 %, empty at full speed."""
    return "" if speed == 1 else f"{float(speed * 100):g}"


def track_title(title: str, recipe: Recipe, speed: Fraction) -> str:
    """Return what a player shows: ``Harbour Lanterns (without melody, 60%)``."""
    words = [recipe.name.replace("-", " "), *([f"{speed_name(speed)}%"] if speed != 1 else [])]
    return f"{title} ({', '.join(words)})"


def kit_files(
    folder: Path,
    recipes: Sequence[Recipe] = RECIPES,
    speeds: Sequence[Fraction] = (Fraction(1),),
    ending: str = ".wav",
) -> tuple[TrackFile, ...]:
    """Return the tracks of a kit with names that sort in class order: ``01-demo.wav``, ``02-without-melody-60.wav``."""
    built_in = [recipe.name for recipe in RECIPES]
    files = []
    for speed in speeds:
        for recipe in recipes:
            number = built_in.index(recipe.name) + 1
            parts = [f"{number:02}", recipe.name, *([speed_name(speed)] if speed != 1 else [])]
            files.append(TrackFile(folder / ("-".join(parts) + ending), recipe, speed, number))
    return tuple(files)


def write_tracks(
    files: Sequence[TrackFile],
    stems: Stems,
    playing: Playing,
    *,
    bits: Bits = 16,
    done: Callable[[TrackFile], None] | None = None,
) -> None:
    """Write tracks that share one timeline, each whole or not at all.

    Parameters
    ----------
    files
        What to write; the ending of each path chooses its format.
    stems
        The audio of the timeline.
    playing
        Where the song's gain and its titles come from.
    bits
        16 or 24, for WAV and FLAC.
    done
        Called after each file is in its place.

    Raises
    ------
    RequestError
        An ending that isn't known.
    OutputError
        A file can't be written; no half file is left.
    """
    ceilings = {track_format(file.path).encode_ceiling_dbtp for file in files}
    gains = {ceiling: playing.gain_db(ceiling, stems) for ceiling in ceilings}
    song = playing.arrangement.song

    def write(file: TrackFile) -> None:
        tags = Tags(
            title=track_title(song.title, file.recipe, file.speed),
            artist=song.composer,
            album=song.title,
            track_number=file.number,
            licence=song.licence,
        )
        with whole_file(file.path) as temporary, TrackWriter(temporary, tags=tags, bits=bits) as writer:
            gain_db = gains[track_format(file.path).encode_ceiling_dbtp]
            for block in mix_blocks(stems, file.recipe.layers, gain_db):
                writer.write(block)
        if done is not None:
            done(file)

    pool = ThreadPoolExecutor(max_workers=ENCODERS)
    try:
        list(pool.map(write, files))
    finally:
        pool.shutdown(cancel_futures=True)
