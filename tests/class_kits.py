"""Whole kits of practice tracks, made by the real command, as the promises of every kind of track hear them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.kits import SHORT_SONG, run_tercet
from tests.measure.audio import Samples, Track, read_track
from tests.measure.claims import ClaimedFile, ClaimedTurn, read_claims
from tests.measure.cues import SONG_OF_RESTS, CueSounds, without_cues
from tests.measure.song_text import SongText, read_song_text

__all__ = ["ClassKit", "Music", "class_kit", "kit_of", "short_class_kit", "sounds_of_cues"]

Whole = NDArray[np.int16]
PLAYER = "FluidSynth"
"""Who plays unless a test says otherwise: strokes and joints are found by their treble, of which a nylon guitar has
more than the dark layers of the built-in ukulele."""


@dataclass(frozen=True, slots=True)
class Music:
    """A track without its cues, as loud as under the song's gain, and for each moment at which cues are told the frame
    where they are heard."""

    samples: Samples
    cue_frames: Mapping[float, int]


class ClassKit:
    """A kit: what it tells of itself, and its tracks, read and freed of their cues when they are asked for.

    Parameters
    ----------
    folder, song_path
        Where its files are, and the song that they are made of.
    sounds
        Of cues.
    changed
        Samples that take the place of those of some tracks; all others are shared with `base`.
    base
        A kit that is changed.
    """

    def __init__(
        self,
        folder: Path,
        song_path: Path,
        sounds: CueSounds,
        *,
        changed: Mapping[str, Track] | None = None,
        base: ClassKit | None = None,
    ) -> None:
        self.folder = folder
        self.song_path = song_path
        self.sounds = sounds
        self.claims: dict[str, ClaimedFile] = (
            base.claims if base else {claim.track: claim for claim in read_claims(folder / "kit.json")}
        )
        self._base = base
        self._tracks = dict(changed or {})
        self._music: dict[str, Music] = {}

    @property
    def song(self) -> SongText:
        return read_song_text(self.song_path)

    def track(self, name: str) -> Track:
        if name not in self._tracks:
            if self._base:
                return self._base.track(name)
            self._tracks[name] = read_track(self.folder / self.claims[name].file)
        return self._tracks[name]

    def music(self, name: str) -> Music:
        if self._base and name not in self._tracks:
            return self._base.music(name)
        if name not in self._music:
            samples, frames = without_cues(self.track(name), self.claims[name].cues, self.sounds)
            less_db = max(claim.gain_db for claim in self.claims.values()) - self.claims[name].gain_db
            self._music[name] = Music(samples * np.float32(10.0 ** (less_db / 20.0)), frames)
        return self._music[name]

    def frame(self, second: float) -> int:
        return round(second * self.track("demo").rate_hz)

    def place_in(self, name: str, turn: ClaimedTurn) -> int:
        """Return about how many frames later than in a track of the whole song a turn's music comes in its own.

        Found by the end of the turn's first bar, which both play, whole or in part.
        """
        bars = self.claims[name].bars
        own = next(bar for bar in bars if turn.start_s <= bar.start_s < turn.end_s)
        whole = next(bar for bar in self.claims["demo"].bars if bar.number == own.number)
        return self.frame(own.end_s) - self.frame(whole.end_s)

    def spoilt(self, name: str, change: Callable[[Whole], Whole]) -> ClassKit:
        """Return the kit with other samples in one of its files, 16 bit ones as in the file."""
        track = self.track(name)
        whole = change(np.rint(track.samples * 32_768).astype(np.int16).copy())
        spoilt = Track((whole / 32_768).astype(np.float32), track.rate_hz, track.step)
        return ClassKit(self.folder, self.song_path, self.sounds, changed={name: spoilt}, base=self)


@cache
def sounds_of_cues(base: Path) -> CueSounds:
    """Hear the cues by themselves, once a process, in a kit below a folder, on beats that do not drift."""
    path = base / "song-of-rests.yaml"
    path.write_text(SONG_OF_RESTS, encoding="utf-8")
    run_tercet("kit", path, "-o", base, "--tracks", "turns-bars", "--jobs", 1, "--dry", player=PLAYER)
    (track,) = (base / "song-of-rests").glob("*.wav")
    return CueSounds.heard_in(read_track(track))


def kit_of(song_path: Path, folder: Path, *arguments: object, base: Path, player: str = PLAYER) -> ClassKit:
    """Make a kit by the real command in a folder; the cues, the same for every player, are heard below `base`."""
    run_tercet("kit", song_path, "-o", folder, "--jobs", 1, *arguments, player=player)
    return ClassKit(folder / song_path.stem, song_path, sounds_of_cues(base))


@cache
def class_kit(song_path: Path, base: Path, tracks: str = "", player: str = PLAYER) -> ClassKit:
    """Make a kit, once a process: all its tracks, or those that are named."""
    wanted = ("--tracks", tracks) if tracks else ()
    return kit_of(song_path, base / f"class-kits-{player}", *wanted, base=base, player=player)


@cache
def short_class_kit(base: Path, player: str = PLAYER) -> ClassKit:
    """Make all tracks of the short song, once a process."""
    path = base / "kettle-and-cup.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    return class_kit(path, base, player=player)
