"""Everything that a song becomes: its shared gain, its tracks, its MIDI file."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
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
from render.sound.room import in_room, room_identity
from render.tracks.encoding import Bits, TrackWriter, track_format
from render.tracks.files import whole_file
from render.tracks.loudness import integrated_loudness_lufs, song_gain_db, true_peak_dbtp
from render.tracks.mixing import highest_peak, mix_blocks, mix_layers
from render.tracks.recipes import RECIPES, Recipe
from render.tracks.tags import Tags

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "Playing",
    "TrackFile",
    "kit_files",
    "room_db",
    "slug",
    "speed_name",
    "track_title",
    "write_tracks",
]

ENCODERS = 2
"""Tracks written at the same time; numpy and libsndfile let go of the interpreter while they work."""

TELLING_LACK_DB = 0.5
"""A flat take that is softer than the demo by less isn't worth a word."""

UNDER_FULL_SCALE_DB = 0.1
"""No sample of any choice of layers comes nearer to full scale than this."""


class Playing:
    """A song being played: one arrangement, one sound, one set of deviations, in one room.

    Parameters
    ----------
    arrangement
        What is played.
    synthesiser
        What it is played with; its loudness is measured, once for each sound.
    seed
        As in `perform`.
    dry
        As in `perform`, and without the room: each layer as the synthesiser makes it.
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
        self._kept_stems: Stems | None = None
        self._demo_gains_db: dict[float, float] = {}
        self._flat_lack_db = 0.0

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
        """Return the stems of a timeline; those of the whole piece at full speed are kept."""
        if timeline != self._whole:
            return self.stems_of(self.take(timeline))
        if self._kept_stems is None:
            self._kept_stems = self.stems_of(self.take(timeline))
        return self._kept_stems

    def stems_of(self, take: Take) -> Stems:
        """Return the stems of any take, in the room unless dry; nothing else puts them there."""
        stems = self.synthesiser.stems(take)
        return stems if self._dry else in_room(stems)

    def sound_identity(self) -> str:
        """Return a text that changes whenever a take would sound different: the synthesiser's, and the room's.

        Raises
        ------
        SynthesiserError, SoundFontError
            As `Synthesiser.identity`.
        """
        return f"{self.synthesiser.identity()}, {'dry' if self._dry else room_identity()}"

    def notices(self) -> tuple[str, ...]:
        """Return what the user should know about the sound and the tracks made so far; a sentence each."""
        told = self.synthesiser.notices()
        if self._flat_lack_db < TELLING_LACK_DB:
            return told
        softer = (
            f"played flat, the song stays {self._flat_lack_db:.1f} dB softer than its demo: any louder, its strokes "
            "would be cut off at full scale"
        )
        return (*told, softer)

    def let_go(self) -> None:
        """Forget the stems that are kept; they are made again when they are asked for."""
        self._kept_stems = None

    def demo_gain_db(self, ceiling_dbtp: float) -> float:
        """Return the gain that the demo at full speed asks for; its true peak then passes no ceiling."""
        if ceiling_dbtp not in self._demo_gains_db:
            demo = mix_layers(self.stems(self._whole))
            wanted_db = (
                song_gain_db(demo, SAMPLE_RATE_HZ, ceiling_dbtp)
                if self._layered is None
                else self._layered.demo_lufs(ceiling_dbtp) - _lufs(demo)
            )
            gain_db = min(wanted_db, room_db(self.stems(self._whole)))
            self._demo_gains_db[ceiling_dbtp] = gain_db
            if self._layered is not None:
                self._flat_lack_db = max(self._flat_lack_db, wanted_db - gain_db)
        return self._demo_gains_db[ceiling_dbtp]

    def demo_lufs(self, ceiling_dbtp: float) -> float:
        """Return how loud the demo is at the song's gain."""
        return _lufs(mix_layers(self.stems(self._whole))) + self.demo_gain_db(ceiling_dbtp)

    @cached_property
    def demo_peak_dbtp(self) -> float:
        """The true peak of the demo at full speed, before any gain."""
        return true_peak_dbtp(mix_layers(self.stems(self._whole)))

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
        gain_db = self.demo_gain_db(ceiling_dbtp)
        return gain_db if stems is self._kept_stems else min(gain_db, room_db(stems))

    @cached_property
    def _whole(self) -> Timeline:
        song = self.arrangement.song
        return lay_out(
            self.arrangement, count_in_bars=1 if song.count_in_bars is None else song.count_in_bars
        )


def _lufs(samples: NDArray[np.float32]) -> float:
    """Return the loudness of audio; 0 for silence, which no gain makes louder."""
    loudness_lufs = integrated_loudness_lufs(samples, SAMPLE_RATE_HZ)
    return loudness_lufs if math.isfinite(loudness_lufs) else 0.0


def room_db(stems: Stems) -> float:
    """Return the gain that brings the highest sample of any choice of layers just under full scale."""
    peak = highest_peak(stems)
    return -UNDER_FULL_SCALE_DB - 20.0 * math.log10(peak) if peak > 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class TrackFile:
    """A track to be written: where, which layers, how fast.

    `number` is its number among the tracks of a kit, 0 for none; `set_title` says which set of the kit it belongs to,
    where there are several.
    """

    path: Path
    recipe: Recipe
    speed: Fraction = Fraction(1)
    number: int = 0
    set_title: str = ""


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


def track_title(title: str, recipe: Recipe, speed: Fraction, set_title: str = "") -> str:
    """Return what a player shows: ``Harbour Lanterns (low-g, without melody, 60%)``."""
    words = [set_title, recipe.name.replace("-", " "), f"{speed_name(speed)}%" if speed != 1 else ""]
    return f"{title} ({', '.join(filter(None, words))})"


def kit_files(
    folder: Path,
    recipes: Sequence[Recipe] = RECIPES,
    speeds: Sequence[Fraction] = (Fraction(1),),
    ending: str = ".wav",
    set_title: str = "",
) -> tuple[TrackFile, ...]:
    """Return the tracks of a kit with names that sort in class order: ``01-demo.wav``, ``02-without-melody-60.wav``."""
    built_in = [recipe.name for recipe in RECIPES]
    files = []
    for speed in speeds:
        for recipe in recipes:
            number = built_in.index(recipe.name) + 1
            parts = [f"{number:02}", recipe.name, *([speed_name(speed)] if speed != 1 else [])]
            files.append(TrackFile(folder / ("-".join(parts) + ending), recipe, speed, number, set_title))
    return tuple(files)


def write_tracks(
    files: Sequence[TrackFile],
    stems: Stems,
    playing: Playing,
    *,
    bits: Bits = 16,
    gains_db: Mapping[float, float] | None = None,
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
    gains_db
        The gain for each format's ceiling, where several sets of the song share it; the song's own without it.
    done
        Called after each file is in its place.

    Raises
    ------
    RequestError
        An ending that isn't known.
    OutputError
        A file can't be written; no half file is left.
    """
    if gains_db is None:
        ceilings = {track_format(file.path).encode_ceiling_dbtp for file in files}
        gains_db = {ceiling: playing.gain_db(ceiling, stems) for ceiling in ceilings}
    song = playing.arrangement.song

    def write(file: TrackFile) -> None:
        tags = Tags(
            title=track_title(song.title, file.recipe, file.speed, file.set_title),
            artist=song.composer,
            album=f"{song.title} ({file.set_title})" if file.set_title else song.title,
            track_number=file.number,
            licence=song.licence,
        )
        with whole_file(file.path) as temporary, TrackWriter(temporary, tags=tags, bits=bits) as writer:
            gain_db = gains_db[track_format(file.path).encode_ceiling_dbtp]
            for block in mix_blocks(stems, file.recipe.layers, gain_db):
                writer.write(block)
        if done is not None:
            done(file)

    pool = ThreadPoolExecutor(max_workers=ENCODERS)
    try:
        list(pool.map(write, files))
    finally:
        pool.shutdown(cancel_futures=True)
