"""Audio as Python users hold it, the stems of a take, and the boundary to whatever makes their sound."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Literal, Protocol, get_args, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from tercet.errors import ParameterError
from tercet.made_files import made_files
from tercet.performing import Take
from tercet.sound.audio import SAMPLE_RATE_HZ, check_audio
from tercet.sound.encoding import TrackWriter, track_format
from tercet.sound.loudness import integrated_loudness_lufs, true_peak_dbtp
from tercet.sound.tags import Tags

__all__ = ["STEM_NAMES", "Audio", "LevelSynthesiser", "Progress", "StemName", "Stems", "Synthesiser"]

Progress = Callable[[str, int, int], None]
"""Told of what takes a while: what is being done, steps done, steps in all."""

StemName = Literal["melody", "second", "between", "strums", "cues"]
STEM_NAMES: tuple[StemName, ...] = get_args(StemName)
"""The layers, and the count-in with other cues."""


@dataclass(frozen=True, eq=False)
class Audio:
    """Sound in memory, ready to be heard, measured and written.

    Parameters
    ----------
    samples
        float32 (frames, 2), full scale ±1.
    sample_rate_hz
        Frames a second.

    Raises
    ------
    ParameterError
        The samples aren't finite stereo audio.
    """

    samples: NDArray[np.float32]
    sample_rate_hz: int = SAMPLE_RATE_HZ

    def __post_init__(self) -> None:
        if check_audio(self.samples).shape[1] != 2:
            raise ParameterError(f"audio must have 2 channels (got {self.samples.shape[1]})")

    @property
    def length_frames(self) -> int:
        """How many frames it has."""
        return len(self.samples)

    @property
    def length_s(self) -> float:
        """How long it lasts, in seconds."""
        return self.length_frames / self.sample_rate_hz

    @cached_property
    def loudness_lufs(self) -> float:
        """Integrated loudness (ITU-R BS.1770-5); minus infinity for silence."""
        return integrated_loudness_lufs(self.samples, self.sample_rate_hz)

    @cached_property
    def true_peak_dbtp(self) -> float:
        """Height of the wave, between the samples too, against full scale; minus infinity for silence."""
        return true_peak_dbtp(self.samples)

    def write(self, path: str | Path, *, title: str = "", replace: bool = False) -> Path:
        """Write a file, whole or not at all, and return where.

        What would be cut off at full scale, or rise above what the kind of file allows for, is made softer by as much.

        Parameters
        ----------
        path
            Its ending chooses the kind: .wav, .flac, .mp3, .ogg or .opus.
        title
            What a player shows.
        replace
            Whether a file may go that Tercet didn't make, or that was changed since.

        Raises
        ------
        RequestError
            The ending is unknown, or what is there must stay.
        OutputError
            The file can't be written.
        """
        target = Path(path)
        over_db = self.true_peak_dbtp - track_format(target).encode_ceiling_dbtp
        samples = self.samples
        if over_db > 0.0:
            samples = samples * np.float32(10.0 ** (-over_db / 20.0))
        with (
            made_files((target,), maker="python", replace=replace) as (place,),
            TrackWriter(place, Tags(title=title), sample_rate_hz=self.sample_rate_hz) as writer,
        ):
            writer.write(samples)
        return target


@dataclass(frozen=True, slots=True)
class Stems:
    """The audio of each layer of one take, before the song's gain: ``stems["melody"]``.

    Parameters
    ----------
    sample_rate_hz
        Frames a second.
    by_name
        For each stem that was asked for a float32 array (frames, 2); all have the same length.
    gain_db
        The song's gain, which `mix` gives the layers: that of its tracks.
    """

    sample_rate_hz: int
    by_name: Mapping[StemName, NDArray[np.float32]]
    gain_db: float = 0.0

    @property
    def length_frames(self) -> int:
        """Frames in each stem."""
        return int(next(iter(self.by_name.values())).shape[0])

    def __getitem__(self, name: str) -> NDArray[np.float32]:
        """Return a stem by name, float32 (frames, 2): melody, between, strums, or cues, which holds the count-in."""
        for each, samples in self.by_name.items():
            if each == name:
                return samples
        raise KeyError(f"there is no stem {name!r}: take one of {', '.join(self.by_name)}")

    def __iter__(self) -> Iterator[StemName]:
        """Yield the names of the stems."""
        return iter(self.by_name)

    def __len__(self) -> int:
        """Return how many stems there are."""
        return len(self.by_name)

    def mix(self, without: Collection[str] = (), *, gain_db: float | None = None) -> Audio:
        """Return the stems added up, as a track sounds: the layers under the song's gain, the cues as they are.

        Parameters
        ----------
        without
            Names of stems that are left out.
        gain_db
            Another gain for the layers than the song's.

        Raises
        ------
        ParameterError
            A name that no stem has.
        """
        unknown = sorted(set(without) - set(self.by_name))
        if unknown:
            raise ParameterError(
                f"without must name stems out of {', '.join(self.by_name)} (got {', '.join(unknown)})"
            )
        gain = 10.0 ** ((self.gain_db if gain_db is None else gain_db) / 20.0)
        total = np.zeros((self.length_frames, 2))
        for name, samples in self.by_name.items():
            if name not in without:
                total += samples * (1.0 if name == "cues" else gain)
        return Audio(total.astype(np.float32), self.sample_rate_hz)


class Synthesiser(Protocol):
    """Makes stems of a take: what it is, which keys it has, and their sound. Tests put a fake behind these methods.

    A sound that goes by velocity is measured, so that marks are kept (`tercet.sound.measured`).
    """

    def identity(self) -> str:
        """Return a text that changes whenever the sound would: adapter, library, font, preset."""
        ...

    def keys(self) -> frozenset[int] | None:
        """Return the MIDI keys that sound at any velocity; None for all of them."""
        ...

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        """Return stems of a take, from a fresh synthesiser state.

        The same take and names give the same samples.

        Parameters
        ----------
        take
            What is played.
        names
            The stems that are wanted.
        """
        ...


@runtime_checkable
class LevelSynthesiser(Synthesiser, Protocol):
    """A synthesiser that plays each note as loud as its level says, whatever its velocity."""

    def notices(self) -> tuple[str, ...]:
        """Return what the user should know about the sound and its song; a sentence each."""
        ...
