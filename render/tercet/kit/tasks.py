"""The jobs of a kit: pure functions from plain data to files, run by whatever place there is."""

from __future__ import annotations

import pickle
import secrets
from collections import OrderedDict
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from importlib import import_module
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, TypeVar

from tercet.errors import OutputError, SynthesiserError
from tercet.files import cannot_write, replacing
from tercet.tracks.track_files import SetOrder, recording_of, write_track

if TYPE_CHECKING:
    from tercet.jobs.own_files import OwnFiles
    from tercet.tracks.balance import Balance, WholeHeard
    from tercet.tracks.facts import TrackFacts
    from tercet.tracks.recording import Recording
    from tercet.tracks.timelines import Piece
    from tercet.tracks.track_files import Gains

__all__ = [
    "Heard",
    "Hearing",
    "PackedOrder",
    "Share",
    "Writing",
    "WritingMidi",
    "hear",
    "let_go",
    "load_all",
    "play_share",
    "put_bytes",
    "ready_recording",
    "share_plan",
    "write_midi",
    "write_one",
]

Kept = TypeVar("Kept")

MOST_RECORDINGS = 4
"""Recordings that one process keeps ready: their plans, and what is still in memory of their batches."""

PLANNED = "planned"
"""In an order's work folder: its recording as planned by one process, for the others."""

_orders: OrderedDict[Path, SetOrder] = OrderedDict()
_recordings: OrderedDict[Path, Recording] = OrderedDict()


@dataclass(frozen=True, slots=True)
class PackedOrder:
    """An order on its way to jobs: packed once for all of them, and unpacked once in each process.

    Parameters
    ----------
    work
        The order's work folder, which stands for it.
    data
        The order, pickled.
    """

    work: Path
    data: bytes

    @staticmethod
    def of(order: SetOrder) -> PackedOrder:
        """Return an order, packed."""
        return PackedOrder(order.work, pickle.dumps(order, protocol=pickle.HIGHEST_PROTOCOL))

    @property
    def order(self) -> SetOrder:
        """The order."""
        if self.work not in _orders:
            _keep(_orders, self.work, pickle.loads(self.data))  # noqa: S301 - by `of`, in the process that asks
        return _orders[self.work]


def ready_recording(order: SetOrder) -> Recording:
    """Return the recording of an order; its work folder stands for it."""
    if order.work not in _recordings:
        _keep(_recordings, order.work, _planned(order) or recording_of(order))
    return _recordings[order.work]


def _keep(kept: OrderedDict[Path, Kept], work: Path, value: Kept) -> None:
    """Keep what belongs to an order, and let go of the oldest ones."""
    kept[work] = value
    while len(kept) > MOST_RECORDINGS:
        kept.popitem(last=False)


def load_all(_nothing: None) -> None:
    """Load what every job of a kit needs, so that it is there when the first one comes."""
    from tercet.sound.library import load_library

    for name in ("numpy", "soundfile"):
        import_module(name)
    with suppress(SynthesiserError):
        load_library()


def put_bytes(files: OwnFiles, data: bytes, name: str, work: Path) -> None:
    """Put a small file into its place by way of a work folder: what a killed process leaves of it goes with that.

    Raises
    ------
    RequestError
        What is there must stay.
    OutputError
        It can't be written.
    """
    place = work / f"{secrets.token_hex(8)}{PurePosixPath(name).suffix}"
    try:
        work.mkdir(parents=True, exist_ok=True)
        place.write_bytes(data)
    except OSError as error:
        with suppress(OSError):
            place.unlink(missing_ok=True)
        raise OutputError(cannot_write(Path(name), error)) from error
    files.put(place, name)


def share_plan(order: SetOrder) -> None:
    """Put an order's recording where other processes find it, so that none plans it again."""
    with replacing(order.work / PLANNED) as hidden:
        hidden.write_bytes(pickle.dumps(ready_recording(order), protocol=pickle.HIGHEST_PROTOCOL))


def _planned(order: SetOrder) -> Recording | None:
    """Return the recording that another process planned."""
    if not order.shared:
        return None
    try:
        data = (order.work / PLANNED).read_bytes()
    except OSError:
        return None
    recording: Recording = pickle.loads(data)  # noqa: S301 - by `share_plan`, in a folder that only we may write
    return recording


def let_go(order: SetOrder) -> None:
    """Forget what this process keeps of an order."""
    _orders.pop(order.work, None)
    _recordings.pop(order.work, None)


@dataclass(frozen=True, slots=True)
class Share:
    """A share of a set's batches, by number."""

    order: PackedOrder
    batches: tuple[int, ...]


def play_share(share: Share) -> None:
    """Play a share of a set's batches, so that no other process has to."""
    recording = ready_recording(share.order.order)
    for number in share.batches:
        recording.play(number)


@dataclass(frozen=True, slots=True)
class Hearing:
    """A set's song to be measured, played in one of its recording's variants."""

    order: PackedOrder
    variant: tuple[Piece, bool]


@dataclass(frozen=True, slots=True)
class Heard:
    """What was heard of a song in one variant, and what the user should know about the sound."""

    whole: WholeHeard
    notices: tuple[str, ...]


def hear(hearing: Hearing) -> Heard:
    """Measure what a set's balance is made of."""
    recording = ready_recording(hearing.order.order)
    return Heard(recording.heard_whole(hearing.variant), recording.playing.notices())


@dataclass(frozen=True, slots=True)
class Writing:
    """A track to be written.

    Parameters
    ----------
    order, index
        Which of a set's.
    names
        Those of its files that are wanted.
    balance, gains_db
        As in `write_track`.
    files
        Where to.
    drop_after
        Numbers of the batches that it is the last to need.
    """

    order: PackedOrder
    index: int
    names: tuple[str, ...]
    balance: Balance
    gains_db: Gains
    files: OwnFiles
    drop_after: frozenset[int]


def write_one(writing: Writing) -> TrackFacts:
    """Write the files of one track."""
    order = writing.order.order
    return write_track(
        order.naming(writing.index, writing.names),
        writing.index,
        ready_recording(order),
        writing.balance,
        writing.gains_db,
        writing.files,
        writing.drop_after,
    )


@dataclass(frozen=True, slots=True)
class WritingMidi:
    """A MIDI file to be written: of a set, at a speed, with a count-in."""

    order: PackedOrder
    speed: Fraction
    count_in_bars: int
    name: str
    files: OwnFiles


def write_midi(writing: WritingMidi) -> tuple[bytes, float]:
    """Write a MIDI file; return it, and its length in seconds."""
    from tercet.performing import lay_out
    from tercet.performing.midi import midi_bytes

    order = writing.order.order
    playing, arrangement = ready_recording(order).playing, order.arrangement
    take = playing.take(lay_out(arrangement, None, writing.speed, writing.count_in_bars))
    data = midi_bytes(arrangement, take)
    put_bytes(writing.files, data, writing.name, order.work)
    return data, take.length_s
