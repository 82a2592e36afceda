"""The jobs of a kit: pure functions from plain data to files, run by whatever place there is."""

from __future__ import annotations

import os
import pickle
import secrets
from collections import OrderedDict
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from render.errors import OutputError
from render.tracks.files import cannot_write
from render.tracks.making import SetOrder, recording_of, write_track

if TYPE_CHECKING:
    from render.jobs import Store
    from render.tracks.balance import Balance
    from render.tracks.facts import TrackFacts
    from render.tracks.making import Gains
    from render.tracks.recording import Recording

__all__ = [
    "Hearing",
    "Share",
    "Writing",
    "WritingMidi",
    "hear",
    "let_go",
    "play_share",
    "put_bytes",
    "ready_recording",
    "share_plan",
    "write_midi",
    "write_one",
]

MOST_RECORDINGS = 4
"""Recordings that one process keeps ready: their plans, and what is still in memory of their tapes."""

_recordings: OrderedDict[Path, Recording] = OrderedDict()


PLANNED = "planned"
"""In an order's work folder: its recording as planned by one process, for the others."""


def ready_recording(order: SetOrder) -> Recording:
    """Return the recording of an order; its work folder stands for it."""
    if order.work not in _recordings:
        _recordings[order.work] = _planned(order) or recording_of(order)
        while len(_recordings) > MOST_RECORDINGS:
            _recordings.popitem(last=False)
    return _recordings[order.work]


def put_bytes(store: Store, data: bytes, name: str, work: Path) -> None:
    """Put a small file into the store by way of a work folder: what a killed process leaves of it goes with that.

    Raises
    ------
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
    store.put(place, name)


def share_plan(order: SetOrder) -> None:
    """Put an order's recording where other processes find it, so that none plans it again."""
    order.work.mkdir(parents=True, exist_ok=True)
    hidden = order.work / f"{PLANNED}.{os.getpid()}"
    hidden.write_bytes(pickle.dumps(ready_recording(order), protocol=pickle.HIGHEST_PROTOCOL))
    hidden.replace(order.work / PLANNED)


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
    _recordings.pop(order.work, None)


@dataclass(frozen=True, slots=True)
class Share:
    """A share of a set's tapes, by number."""

    order: SetOrder
    tapes: tuple[int, ...]


def play_share(share: Share) -> None:
    """Play a share of a set's tapes, so that no other process has to."""
    recording = ready_recording(share.order)
    for number in share.tapes:
        recording.play(number)


@dataclass(frozen=True, slots=True)
class Hearing:
    """What was heard of a set: its balance, and what the user should know about the sound."""

    balance: Balance
    notices: tuple[str, ...]


def hear(order: SetOrder) -> Hearing:
    """Measure a set's balance."""
    recording = ready_recording(order)
    balance = recording.balance()
    return Hearing(balance, (*recording.playing.notices(), *balance.notices()))


@dataclass(frozen=True, slots=True)
class Writing:
    """A track to be written: which of a set's, with what gains, where to; and the tapes that it is the last to need."""

    order: SetOrder
    index: int
    balance: Balance
    gains_db: Gains
    store: Store
    spent: tuple[int, ...] = ()


def write_one(writing: Writing) -> TrackFacts:
    """Write the files of one track."""
    recording = ready_recording(writing.order)
    facts = write_track(
        writing.order, writing.index, recording, writing.balance, writing.gains_db, writing.store
    )
    recording.let_go(writing.spent)
    return facts


@dataclass(frozen=True, slots=True)
class WritingMidi:
    """A MIDI file to be written: of a set, at a speed, with a count-in."""

    order: SetOrder
    speed: Fraction
    count_in_bars: int
    name: str
    store: Store


def write_midi(writing: WritingMidi) -> tuple[bytes, float]:
    """Write a MIDI file; return it, and its length in seconds."""
    from render.exchange import midi_bytes
    from render.perform import lay_out

    playing = ready_recording(writing.order).playing
    arrangement = writing.order.arrangement
    take = playing.take(lay_out(arrangement, None, writing.speed, writing.count_in_bars))
    data = midi_bytes(arrangement, take)
    put_bytes(writing.store, data, writing.name, writing.order.work)
    return data, take.length_s
