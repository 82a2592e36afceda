"""From orders, which are plain data, to track files: what is done for one set of one song, wherever it is done."""

from __future__ import annotations

import hashlib
import math
import secrets
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tercet import __version__
from tercet.arranging import Arrangement
from tercet.errors import OutputError
from tercet.files import cannot_write, sha256_of
from tercet.sound import SAMPLE_RATE_HZ
from tercet.sound.encoding import Bits, TrackWriter, track_format
from tercet.sound.loudness import TARGET_LUFS, Meter
from tercet.sound.players import PlayedSound, player_of
from tercet.sound.sampler import BuiltInUkulele
from tercet.sound.stems import Progress
from tercet.sound.tags import Tags
from tercet.tracks.balance import FINER_DB, Balance, Variant
from tercet.tracks.clips.batch_cache import BatchCache
from tercet.tracks.clips.mixing import add_cues
from tercet.tracks.facts import FileFacts, TrackFacts, bars_of, cues_of, turns_of
from tercet.tracks.layer_levels import KnownMeter
from tercet.tracks.playing import Playing
from tercet.tracks.practice_forms import TrackOptions, timeline_of
from tercet.tracks.recipes import Recipe, track_title
from tercet.tracks.recording import Recording

__all__ = [
    "Gains",
    "SetOrder",
    "Target",
    "TrackOrder",
    "ceilings_of",
    "digest",
    "gain_key",
    "gain_under",
    "gains_of",
    "over_db",
    "recording_of",
    "set_key",
    "track_key",
    "without_own_tracks",
    "write_track",
]

Gains = Mapping[float, float]
"""The gain in dB for each ceiling in dBTP."""

GAIN_STEPS = 100
"""A gain is cut to hundredths of a decibel: clips that differ by rounding, as they do when other tracks are asked
for, then have the same gain."""


NO_MATTER_DB = 0.005
"""A track that comes so much too high only by rounding stays as it is."""


class Target(Protocol):
    """Where finished files go, whole or not at all."""

    def put(self, file: Path, name: str, sha256: str) -> None:
        """Move a finished file to its place, its hash being known; names have ``/`` between folders."""
        ...


@dataclass(frozen=True, slots=True)
class TrackOrder:
    """One track that is asked for.

    Parameters
    ----------
    recipe, options
        What it is made of, and how.
    names
        Its files, as the target names them; their endings choose the formats.
    number
        Its number among the tracks of a kit, 0 for none.
    """

    recipe: Recipe
    options: TrackOptions
    names: tuple[str, ...]
    number: int = 0


@dataclass(frozen=True, slots=True)
class SetOrder:
    """All tracks of one set of a song, and what they are played with.

    Parameters
    ----------
    arrangement, sound
        What is played, and what with.
    tracks
        All that belong together, whether they have to be written or not: what they share is told from them.
    work
        A folder for what is needed until all is written.
    seed, dry, clear, loud
        As in `Playing`.
    bits
        Of lossless files.
    title
        Which set of the song it is, empty where there is only one.
    shared
        Whether several processes work on it.
    threads
        How many work on it in each process.
    """

    arrangement: Arrangement
    sound: PlayedSound
    tracks: tuple[TrackOrder, ...]
    work: Path
    seed: int = 1
    dry: bool = False
    clear: bool = False
    loud: bool = False
    bits: Bits = 16
    title: str = ""
    shared: bool = False
    threads: int = 1

    def naming(self, index: int, names: tuple[str, ...]) -> SetOrder:
        """Return the order with other files of one of its tracks."""
        track = replace(self.tracks[index], names=names)
        return replace(self, tracks=(*self.tracks[:index], track, *self.tracks[index + 1 :]))


def recording_of(
    order: SetOrder, progress: Progress | None = None, *, variants: Iterable[Variant] | None = None
) -> Recording:
    """Return the recording of a set's tracks; `variants` as in `Recording`.

    Raises
    ------
    RequestError
        A track asks for what the song doesn't have.
    """
    playing = Playing(
        order.arrangement,
        player_of(order.sound),
        seed=order.seed,
        dry=order.dry,
        clear=order.clear,
        loud=order.loud,
        threads=order.threads,
        progress=progress,
    )
    timelines = [
        timeline_of(track.recipe, playing.piece(track.recipe.piece), track.options) for track in order.tracks
    ]
    cache = BatchCache(order.work, shared=order.shared)
    return Recording(playing, timelines, cache, variants=variants)


def ceilings_of(tracks: Sequence[TrackOrder]) -> tuple[float, ...]:
    """Return the ceilings in dBTP of all formats that are asked for."""
    names = {name for track in tracks for name in track.names}
    return tuple(sorted({track_format(Path(name)).encode_ceiling_dbtp for name in names}))


def gains_of(balances: Sequence[Balance], ceilings_dbtp: Sequence[float]) -> dict[float, float]:
    """Return the gain that all sets of a song share, for each ceiling.

    It is that of the first set's demo, or less: no set's demo comes too high.
    """
    first = balances[0]
    least_db = {
        ceiling: min([first.gain_db(ceiling), *(each.most_gain_db(ceiling) for each in balances)])
        for ceiling in ceilings_dbtp
    }
    return {ceiling: math.floor(gain_db * GAIN_STEPS) / GAIN_STEPS for ceiling, gain_db in least_db.items()}


def gain_under(balance: Balance, ceiling_dbtp: float) -> float:
    """Return the gain of a song's only set under one ceiling, see `gains_of`."""
    return gains_of([balance], [ceiling_dbtp])[ceiling_dbtp]


def over_db(peak_dbtp: float, ceiling_dbtp: float) -> float:
    """Return by how much a track that comes so high is made softer than its song's gain asks for."""
    return peak_dbtp - (ceiling_dbtp - FINER_DB) if peak_dbtp > _most_dbtp(ceiling_dbtp) else 0.0


def _most_dbtp(ceiling_dbtp: float) -> float:
    return ceiling_dbtp - FINER_DB + NO_MATTER_DB


def write_track(
    order: SetOrder,
    index: int,
    recording: Recording,
    balance: Balance,
    gains_db: Gains,
    target: Target,
    drop_after: Collection[int] = (),
) -> TrackFacts:
    """Write the files of one track, and return what there is to say of it.

    Parameters
    ----------
    order, index
        The set, and which of its tracks.
    recording
        Of the order.
    balance, gains_db
        Its set's, and what all sets share.
    target
        Where the files go.
    drop_after
        Numbers of the recording's batches that are needed no more when the track is written.

    Raises
    ------
    OutputError
        A file can't be written; no half file is left.
    """
    track = order.tracks[index]
    song = order.arrangement.song
    title = track_title(song.title, track.recipe, track.options.speed, order.title)
    tags = Tags(
        title=title,
        artist=song.composer,
        album=f"{song.title} ({order.title})" if order.title else song.title,
        track_number=track.number,
        licence=song.licence,
    )
    by_ceiling: dict[float, list[str]] = {}
    for name in track.names:
        by_ceiling.setdefault(track_format(Path(name)).encode_ceiling_dbtp, []).append(name)
    plan = recording.plan(index)
    eased_db = round(recording.eased_db(index, balance), 2)
    written = {}
    for number, (ceiling_dbtp, names) in enumerate(by_ceiling.items(), 1):
        options = drop_after if number == len(by_ceiling) else ()
        writing = _Writing(recording, index, balance, tags, order.bits, options)
        with _temporary_files(order.work, names) as places:
            gain_db, lufs, peak_dbtp, hashes = writing.write_under(
                ceiling_dbtp, gains_db[ceiling_dbtp], places
            )
            for name, place, sha256 in zip(names, places, hashes, strict=True):
                size_bytes = place.stat().st_size
                target.put(place, name, sha256)
                written[name] = FileFacts(
                    name,
                    track_format(place).description,
                    size_bytes,
                    sha256,
                    round(plan.length_frames / SAMPLE_RATE_HZ, 4),
                    round(lufs, 2),
                    round(peak_dbtp, 2),
                    round(gain_db, 3),
                    eased_db,
                )
    recording.let_go(drop_after)
    return TrackFacts(
        track.recipe.name,
        track.recipe.way,
        track.recipe.purpose,
        title,
        tuple(written[name] for name in track.names),
        turns_of(plan),
        bars_of(plan, recording.playing),
        cues_of(plan),
    )


@dataclass(frozen=True, slots=True)
class _Writing:
    """A track on its way into files."""

    recording: Recording
    index: int
    balance: Balance
    tags: Tags
    bits: Bits
    drop_after: Collection[int]

    def write_under(
        self, ceiling_dbtp: float, gain_db: float, places: Sequence[Path]
    ) -> tuple[float, float, float, list[str]]:
        """Write files of formats that share a ceiling; return the gain, the loudness, the true peak, and their hashes.

        Should this track come too high, since other notes meet in it than in the demo, it alone gets as much less as
        it needs.
        """
        while True:
            meter = self.recording.meter(self.index, self.balance, gain_db)
            most_dbtp = _most_dbtp(ceiling_dbtp)
            hashes = self._write(gain_db, places, meter, most_dbtp)
            lufs, peak_dbtp = meter.finish()
            if peak_dbtp <= most_dbtp:
                return gain_db, lufs, peak_dbtp, hashes
            gain_db -= over_db(peak_dbtp, ceiling_dbtp)

    def _write(
        self, gain_db: float, places: Sequence[Path], meter: Meter | KnownMeter, most_dbtp: float
    ) -> list[str]:
        """Write and measure; once the track comes too high, measure on, and keep what it is made of for the next time.

        Returns
        -------
        list of str
            The hashes of the files; none of them if the track comes too high.
        """
        frames = self.recording.plan(self.index).length_frames
        droppable = set(self.drop_after)
        with ExitStack() as files:
            writers = [
                files.enter_context(TrackWriter(place, tags=self.tags, bits=self.bits, length_frames=frames))
                for place in places
            ]
            for block in self._blocks(gain_db, droppable):
                meter.feed(block)
                for writer in writers:
                    writer.write(block)
                if meter.peak_dbtp > most_dbtp:
                    droppable.clear()
                    writers = []
        return [writer.sha256 or sha256_of(writer.path) for writer in writers]

    def _blocks(self, gain_db: float, droppable: Collection[int]) -> Iterator[NDArray[np.float32]]:
        music = self.recording.music(self.index, self.balance, gain_db=gain_db, drop_after=droppable)
        return add_cues(music, self.recording.plan(self.index).cues)


@contextmanager
def _temporary_files(folder: Path, names: Sequence[str]) -> Iterator[list[Path]]:
    """Give a path in the work folder for each file; what is left there at the end goes.

    Raises
    ------
    OutputError
        The block can't write them.
    """
    token = secrets.token_hex(8)
    places = [folder / f"{token}-{number}{Path(name).suffix}" for number, name in enumerate(names)]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        yield places
    except OSError as error:
        raise OutputError(cannot_write(Path(names[0]), error)) from error
    finally:
        for place in places:
            with suppress(OSError):
                place.unlink(missing_ok=True)


# ---- what a track is made from, as a short text: equal texts, equal files

DIGEST_BYTES = 16


def digest(*parts: object) -> str:
    """Return 32 hexadecimal digits that stand for some values, told apart by their `repr`."""
    return hashlib.blake2b(repr(parts).encode(), digest_size=DIGEST_BYTES).hexdigest()


def gain_key(recordings: Sequence[Recording]) -> str:
    """Return what stands for the gain that the sets of a song share: all their demos."""
    return digest(TARGET_LUFS, FINER_DB, *(recording.reference_key for recording in recordings))


def set_key(order: SetOrder) -> str:
    """Return what stands for all that a set is asked to be; it is found without playing anything."""
    identity = player_of(order.sound).identity()
    wanted = replace(
        order,
        arrangement=without_own_tracks(order.arrangement),
        work=Path(),
        shared=False,
        sound=BuiltInUkulele(),
    )
    return digest(__version__, identity, wanted)


def without_own_tracks(arrangement: Arrangement) -> Arrangement:
    """Return an arrangement whose song has no tracks of its own: what they say changes nothing in the others."""
    return replace(arrangement, song=replace(arrangement.song, tracks=()))


def track_key(order: SetOrder, index: int, recording: Recording, gain: str, name: str) -> str:
    """Return what stands for one file of a track.

    Parameters
    ----------
    order, index
        The set, and which of its tracks.
    recording
        Of the order.
    gain
        From `gain_key`.
    name
        The file's; only its ending counts.
    """
    song = order.arrangement.song
    kind = track_format(Path(name))
    return digest(
        __version__,
        recording.track_key(index),
        gain,
        (song.title, song.composer, song.licence, order.title, order.tracks[index].number),
        (order.tracks[index].recipe.name, order.tracks[index].recipe.purpose),
        kind,
        0 if kind.lossy else order.bits,
    )
