"""One song's kit: what of it is missing, how that is made, and the manifest that tells."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import PurePosixPath
from typing import Any

from tercet.errors import OutputError
from tercet.jobs import Job, ThisProcess, Workplace, run_jobs
from tercet.jobs.own_files import OwnFiles
from tercet.kit.events import Event, EventKind, Listener, unheard
from tercet.kit.manifest import (
    MANIFEST,
    JsonObject,
    file_entries,
    file_event,
    manifest_bytes,
    midi_entry,
    song_entry,
    what_is_there,
)
from tercet.kit.orders import SongOrder
from tercet.kit.tasks import (
    Hearing,
    PackedOrder,
    Share,
    Writing,
    WritingMidi,
    hear,
    let_go,
    play_share,
    put_bytes,
    ready_recording,
    share_plan,
    write_midi,
    write_one,
)
from tercet.kit.work_folder import alone_in, work_folder
from tercet.made_files import is_sealed
from tercet.tracks.balance import Balance, balance_of
from tercet.tracks.facts import TrackFacts
from tercet.tracks.track_files import (
    SetOrder,
    ceilings_of,
    digest,
    gain_key,
    gains_of,
    set_key,
    track_key,
    without_own_tracks,
)

__all__ = ["SongKit", "make_song_kit", "make_whole_song"]

Wanted = tuple[int, int, tuple[str, ...]]
"""Files that have to be written: which set, which of its tracks, and the names."""

TELLING_S = 1.0
"""How long the manifest may lag behind the files: what it doesn't tell of is made once more after a kill."""

SHARES_A_WORKER = 16
"""Into so many pieces the playing is split for each worker, so that none waits long for another."""


@dataclass(frozen=True, slots=True)
class SongKit:
    """What came of a song's kit.

    Parameters
    ----------
    title
        The song's.
    folder
        Its folder, from where the kits are.
    entries
        What ``kit.json`` says of each file that is there.
    events
        All that was told while it was made, in order.
    """

    title: str
    folder: str
    entries: tuple[JsonObject, ...]
    events: tuple[Event, ...] = ()

    @property
    def made(self) -> tuple[str, ...]:
        """The files that were made now."""
        return tuple(event.file for event in self._of("made"))

    @property
    def notices(self) -> tuple[str, ...]:
        """What to know about the sound, a sentence each."""
        return tuple(event.text for event in self._of("notice"))

    @property
    def left(self) -> tuple[str, ...]:
        """What stays as it is, since it isn't Tercet's, a sentence each."""
        return tuple(event.text for event in self._of("left"))

    @property
    def failures(self) -> tuple[Event, ...]:
        """What couldn't be made: `text` says what and why, `exit_code` whose fault it is."""
        return tuple(self._of("failed"))

    def _of(self, kind: EventKind) -> Iterator[Event]:
        return (event for event in self.events if event.kind == kind)


def make_whole_song(order: SongOrder) -> SongKit:
    """Make a song's kit in one process: a job of its own where there are many songs.

    The folder for work that the order names may be on another computer; then there is one here.
    """
    if order.sets[0].work.parent.exists():
        return make_song_kit(order, ThisProcess())
    with work_folder(None) as work:
        sets = tuple(replace(one, work=work / one.work.name) for one in order.sets)
        return make_song_kit(replace(order, sets=sets), ThisProcess())


def make_song_kit(order: SongOrder, workplace: Workplace, listener: Listener = unheard) -> SongKit:
    """Make what is missing of a song's kit.

    Parameters
    ----------
    order
        The kit.
    workplace
        Where its jobs run; entered.
    listener
        Told how it goes; files are named from the store's root.

    Raises
    ------
    RequestError
        A track asks for what the song doesn't have.
    OutputError, WorkplaceError
        The store can't be read or written, or the workplace can't work.
    """
    made_here = order.made_in(workplace)
    try:
        return _Kit(made_here, workplace, listener).make()
    finally:
        for one in made_here.sets:
            let_go(one)


class _Kit:
    """A kit while it is made."""

    def __init__(self, order: SongOrder, workplace: Workplace, listener: Listener) -> None:
        self._order, self._workplace, self._listener = order, workplace, listener
        self._events: list[Event] = []
        self._start_s = time.monotonic()
        self._there: dict[str, JsonObject] = {}
        self._keys: dict[str, str] = {}
        self._files = OwnFiles(order.store, "kit", {}, order.replace)
        self._left: set[str] = set()
        self._song_key = ""
        self._packed = {one.work: PackedOrder.of(one) for one in order.sets}
        self._folders = {one.work: folder for one, folder in zip(order.sets, order.set_folders, strict=True)}
        self._manifest_at_s = 0.0

    def make(self) -> SongKit:
        """Make what is missing; what was made before an error is in the manifest too."""
        self._find_keys()
        manifest, there = what_is_there(self._order.store, self._order.folder, verify=self._order.verify)
        self._there = self._of_this_song(manifest, there)
        self._tell("started", "kit", done=self._done, total=len(self._order.names))
        self._find_left(manifest)
        try:
            self._make_missing()
        except BaseException:
            with suppress(OutputError):
                self._write_manifest("")
            raise
        failed = any(event.kind == "failed" for event in self._events)
        self._write_manifest("" if failed or self._left else self._order.asked)
        return self._finish()

    def _finish(self) -> SongKit:
        """Tell which files were there already, and return what came of all."""
        made = {event.file for event in self._events if event.kind == "made"}
        for entry in self._there.values():
            if f"{self._order.folder}/{entry['file']}" not in made:
                self._tell_file("kept", entry)
        seconds = round(time.monotonic() - self._start_s, 2)
        self._tell("done", "kit", done=len(made), total=len(self._there), seconds=seconds)
        return SongKit(
            self._order.title, self._order.folder, tuple(self._there.values()), tuple(self._events)
        )

    # ---- telling

    def _tell(self, kind: EventKind, text: str = "", **more: Any) -> None:
        event = Event(kind, text, self._order.title, **more)
        self._events.append(event)
        self._listener(event)

    def _tell_file(self, kind: EventKind, entry: JsonObject) -> None:
        event = file_event(kind, self._order.title, self._order.folder, entry)
        event = replace(event, done=self._done, total=len(self._order.names)) if kind == "made" else event
        self._events.append(event)
        self._listener(event)

    # ---- what is there, and what should be

    def _of_this_song(self, manifest: JsonObject, there: Mapping[str, JsonObject]) -> dict[str, JsonObject]:
        """Return which files are as they would be made now: of those asked for, and of others of the same song."""
        same_song = manifest.get("song_key") == self._song_key
        return {
            name: each
            for name, each in there.items()
            if (self._keys[name] == each.get("made_from") if name in self._keys else same_song)
        }

    def _find_keys(self) -> None:
        """Find what every file is made from."""
        recordings = [ready_recording(one) for one in self._order.sets]
        gain = gain_key(recordings)
        self._song_key = digest(gain, [without_own_tracks(one.arrangement) for one in self._order.sets])
        for one, recording in zip(self._order.sets, recordings, strict=True):
            for index, track in enumerate(one.tracks):
                for name in track.names:
                    self._keys[self._in_folder(name)] = track_key(one, index, recording, gain, name)
        for name, one, speed in self._order.midi:
            self._keys[self._in_folder(name)] = digest(
                set_key(replace(one, tracks=())), speed, self._order.count_in_bars
            )

    def _find_left(self, manifest: JsonObject) -> None:
        """Find which files stay as they are, though they would be made, and say so."""
        folder = self._order.folder
        known = {f"{folder}/{each['file']}": each["sha256"] for each in manifest.get("files", ())}
        self._files = replace(self._files, known=known)
        wanted = [name for name in self._order.names if self._in_folder(name) not in self._there]
        found = [(name, self._files.left(name)) for name in wanted]
        found.append((self._manifest_place, self._manifest_files().left(self._manifest_place)))
        self._left = {name for name, left in found if left}
        for name, left in found:
            if left:
                self._tell("left", left, file=name)

    @property
    def _manifest_place(self) -> str:
        return f"{self._order.folder}/{MANIFEST}"

    def _manifest_files(self) -> OwnFiles:
        """Return where the manifest goes: one that says itself that it is ours, from another kit too, is replaced."""
        try:
            there = self._order.store.read(self._manifest_place)
        except FileNotFoundError:
            there = b""
        known = {self._manifest_place: hashlib.sha256(there).hexdigest()} if is_sealed(there) else {}
        return replace(self._files, known=known)

    def _in_folder(self, name: str) -> str:
        """Return a file's name as the manifest has it, from the song's folder."""
        return str(PurePosixPath(name).relative_to(self._order.folder))

    # ---- making

    def _make_missing(self) -> None:
        missing = self._missing()
        midi = [each for each in self._order.midi if self._is_missing(each[0])]
        self._tell("step", "playing", done=self._done, total=len(self._order.names))
        jobs: list[Job[Any, Any]] = []
        if missing:
            balances = self._hear(missing)
            if balances is None:
                return
            jobs += self._track_jobs(missing, balances)
        jobs += [Job(write_midi, self._writing_midi(*each), each[0]) for each in midi]
        for writing, result in self._results(jobs):
            folder = self._folders[writing.order.work]
            if isinstance(writing, WritingMidi):
                name = self._in_folder(writing.name)
                data, length_s = result
                self._finished([midi_entry(name, folder, data, length_s, self._keys[name])])
            else:
                files = tuple(replace(file, file=self._in_folder(file.file)) for file in result.files)
                self._finished(file_entries(replace(result, files=files), folder, self._keys))

    def _writing_midi(self, name: str, one: SetOrder, speed: Fraction) -> WritingMidi:
        return WritingMidi(self._packed[one.work], speed, self._order.count_in_bars, name, self._files)

    @property
    def _done(self) -> int:
        return sum(self._in_folder(name) in self._there for name in self._order.names)

    def _is_missing(self, name: str) -> bool:
        """Return whether a file isn't there and may be made."""
        return name not in self._left and self._in_folder(name) not in self._there

    def _missing(self) -> list[Wanted]:
        """Return the files that have to be written."""
        found = []
        for number, one in enumerate(self._order.sets):
            for index, track in enumerate(one.tracks):
                names = tuple(filter(self._is_missing, track.names))
                if names:
                    found.append((number, index, names))
        return found

    def _hear(self, missing: Sequence[Wanted]) -> list[Balance] | None:
        """Return the balance of each set, None if one can't be played; where several work, they play first."""
        if self._order.sets[0].shared:
            list(self._results(list(self._shares(missing))))
        jobs = [
            Job(hear, Hearing(self._packed[one.work], variant), f"{self._order.title}: playing")
            for one in self._order.sets
            for variant in ready_recording(one).variants
        ]
        heard = {(hearing.order.work, hearing.variant): result for hearing, result in self._results(jobs)}
        if len(heard) < len(jobs):
            return None
        balances = []
        for one in self._order.sets:
            variants = ready_recording(one).variants
            balance = balance_of({variant: heard[one.work, variant].whole for variant in variants})
            title = f"{one.title}: " if one.title else ""
            notices = (*heard[one.work, variants[0]].notices, *balance.notices())
            for notice in notices:
                self._tell("notice", f"{title}{notice}", set=self._folders[one.work])
            balances.append(balance)
        return balances

    def _shares(self, missing: Sequence[Wanted]) -> Iterator[Job[Share, None]]:
        """Yield jobs that play all batches which several tracks need, some pieces for each worker."""
        for number, one in enumerate(self._order.sets):
            share_plan(one)
            batches = ready_recording(one).shared_batches(index for of, index, _ in missing if of == number)
            count = min(SHARES_A_WORKER * self._workplace.workers, len(batches))
            for first in range(count):
                share = Share(self._packed[one.work], batches[first::count])
                yield Job(play_share, share, self._job_name(one, "playing"))

    def _track_jobs(
        self, missing: Sequence[Wanted], balances: Sequence[Balance]
    ) -> Iterator[Job[Writing, TrackFacts]]:
        """Yield a job for each track of which files are missing."""
        tracks = [track for one in self._order.sets for track in one.tracks]
        gains_db = gains_of(balances, ceilings_of(tracks))
        drop_after_by = self._drop_after([(number, index) for number, index, _ in missing])
        for number, index, names in self._in_turn(missing):
            one = self._order.sets[number]
            writing = Writing(
                self._packed[one.work],
                index,
                names,
                balances[number],
                gains_db,
                self._files,
                frozenset(drop_after_by[number, index]),
            )
            yield Job(write_one, writing, self._job_name(one, one.tracks[index].recipe.name))

    def _job_name(self, one: SetOrder, what: str) -> str:
        """Return what a failure of a set's job is told under."""
        return ": ".join(filter(None, [self._order.title, one.title, what]))

    def _in_turn(self, missing: Sequence[Wanted]) -> list[Wanted]:
        """Return files in class order; where several work at once, the longest work first, so that all end together."""
        if not self._order.sets[0].shared:
            return list(missing)
        recordings = [ready_recording(one) for one in self._order.sets]
        return sorted(missing, key=lambda each: -recordings[each[0]].cost_frames(each[1]))

    def _drop_after(self, tracks: Sequence[tuple[int, int]]) -> Mapping[tuple[int, int], set[int]]:
        """Return for each track of a set the batches that it is the last to need: its own, if several work at once."""
        last: dict[tuple[int, int], tuple[int, int]] = {}
        for number, index in tracks:
            one = self._order.sets[number]
            recording = ready_recording(one)
            for batch in recording.own_batches(index) if one.shared else recording.track_batches(index):
                last[number, batch] = number, index
        drop_after: dict[tuple[int, int], set[int]] = {track: set() for track in tracks}
        for (_, batch), track in last.items():
            drop_after[track].add(batch)
        return drop_after

    def _results(self, jobs: Sequence[Job[Any, Any]]) -> Iterator[tuple[Any, Any]]:
        """Yield argument and result of each job that went well, and note the others."""
        for outcome in run_jobs(jobs, self._workplace):
            if outcome.failure is None:
                yield outcome.job.argument, outcome.result
            else:
                text = f"{outcome.job.name}: {outcome.failure.message}"
                self._tell("failed", text, exit_code=outcome.failure.exit_code)

    def _finished(self, entries: Sequence[JsonObject]) -> None:
        """Note files that are in their place."""
        for entry in entries:
            self._there[entry["file"]] = entry
            self._tell_file("made", entry)
        if time.monotonic() - self._manifest_at_s > TELLING_S:
            self._write_manifest("")
            self._manifest_at_s = time.monotonic()

    def _write_manifest(self, asked: str) -> None:
        """Write what is there; another kit may have come to the same folder, and what it made is told too."""
        if self._manifest_place in self._left:
            return
        with alone_in(self._order.store, self._order.folder):
            try:
                other = self._of_this_song(*what_is_there(self._order.store, self._order.folder))
            except OutputError:
                other = {}
            self._there = {**other, **self._there}
            work = self._order.sets[0].work
            put_bytes(self._manifest_files(), self._manifest(asked), self._manifest_place, work)

    def _manifest(self, asked: str) -> bytes:
        first = self._order.sets[0]
        sets = [
            {
                "name": folder,
                "tuning": one.arrangement.tuning.name,
                "players": one.arrangement.song.players,
                "key": str(one.arrangement.song.key),
            }
            for one, folder in zip(self._order.sets, self._order.set_folders, strict=True)
        ]
        return manifest_bytes(
            {**song_entry(first.arrangement, self._order.file_name), "song_key": self._song_key},
            sets,
            self._there.values(),
            asked,
        )
