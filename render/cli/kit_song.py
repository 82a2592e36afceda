"""One song's kit: what of it is missing, how that is made, and the manifest that tells."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import product
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from render.cli.kit_jobs import (
    Hearing,
    Share,
    Writing,
    WritingMidi,
    hear,
    let_go,
    play_share,
    ready_recording,
    write_midi,
    write_one,
)
from render.jobs import Here, Job, run_jobs
from render.tracks.keys import digest, gain_key, set_key, track_key
from render.tracks.making import SetOrder, ceilings_of, gains_of
from render.tracks.manifest import (
    MANIFEST,
    file_entries,
    manifest_bytes,
    midi_entry,
    read_manifest,
    song_entry,
)

if TYPE_CHECKING:
    from pathlib import Path

    from render.jobs import Place, Store

__all__ = ["SongMade", "SongOrder", "make_kit", "make_whole_song", "midi_name"]

Entry = dict[str, Any]
Report = Callable[[str, int, int], None]

SHARES_A_WORKER = 4
"""Into so many pieces the playing is split for each worker, so that none waits long for another."""


@dataclass(frozen=True, slots=True)
class SongOrder:
    """A song's kit.

    Parameters
    ----------
    folder, file_name
        Name of its folder in the store, and of the song's file.
    sets, set_folders
        What is made, and each set's folder in the song's own; empty where there is only one. Tracks are named from the
        store's root.
    midi_speeds, count_in_bars
        Of the MIDI files.
    store
        Where it goes.
    """

    folder: str
    file_name: str
    sets: tuple[SetOrder, ...]
    set_folders: tuple[str, ...]
    midi_speeds: tuple[Fraction, ...]
    count_in_bars: int
    store: Store

    @property
    def title(self) -> str:
        """The song's title."""
        return self.sets[0].arrangement.song.title

    @property
    def names(self) -> tuple[str, ...]:
        """All files, from the store's root."""
        tracks = [name for one in self.sets for track in one.tracks for name in track.names]
        return (*tracks, *(name for name, _, _ in self.midi))

    @property
    def midi(self) -> tuple[tuple[str, SetOrder, Fraction], ...]:
        """Name, set and speed of each MIDI file."""
        sets = zip(self.sets, self.set_folders, strict=True)
        return tuple(
            (midi_name(self.folder, folder, speed), one, speed)
            for (one, folder), speed in product(sets, self.midi_speeds)
        )


def midi_name(song_folder: str, set_folder: str, speed: Fraction) -> str:
    """Return the name of a MIDI file, from the store's root."""
    from render.tracks.titles import speed_name

    stem = "-".join(filter(None, [song_folder, speed_name(speed)]))
    return str(PurePosixPath(song_folder) / set_folder / f"{stem}.mid")


@dataclass(slots=True)
class SongMade:
    """What came of a song's kit.

    Parameters
    ----------
    entries
        What the manifest says of each file that is there.
    made
        The files that were made now.
    notices
        What the user should know about the sound.
    failures
        What couldn't be made and why, each with its exit code.
    """

    entries: list[Entry] = field(default_factory=list)
    made: list[str] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    failures: list[tuple[str, int]] = field(default_factory=list)


def make_whole_song(order: SongOrder) -> SongMade:
    """Make a song's kit in one process: a job of its own where there are many songs."""
    return make_kit(order, Here(), lambda _what, _done, _total: None)


def make_kit(order: SongOrder, place: Place, report: Report) -> SongMade:
    """Make what is missing of a song's kit.

    Parameters
    ----------
    order
        The kit.
    place
        Where its jobs run; entered.
    report
        Told (what was made, files made, files in all).

    Raises
    ------
    RequestError
        A track asks for what the song doesn't have.
    OutputError, PlaceError
        The store can't be read or written, or the place can't work.
    """
    sets = tuple(replace(one, shared=not isinstance(place, Here)) for one in order.sets)
    kit = _Kit(replace(order, sets=sets), place, report)
    try:
        return kit.make()
    finally:
        for one in sets:
            let_go(one)


class _Kit:
    """A kit while it is made."""

    def __init__(self, order: SongOrder, place: Place, report: Report) -> None:
        self._order, self._place, self._report = order, place, report
        self._made = SongMade()
        self._there: dict[str, Entry] = {}
        self._keys: dict[str, str] = {}
        self._song_key = ""

    def make(self) -> SongMade:
        """Make what is missing."""
        manifest = self._manifest()
        known = {str(each["file"]): each for each in manifest.get("files", [])}
        there = {name: each for name, each in known.items() if self._is_whole(name, each)}
        asked = self._asked()
        if manifest.get("asked") == asked and len(there) == len(known):
            self._made.entries = list(known.values())
            return self._made
        self._find_keys()
        same_song = manifest.get("song_key") == self._song_key
        self._there = {
            name: each
            for name, each in there.items()
            if (self._keys[name] == each["made_from"] if name in self._keys else same_song)
        }
        self._make_missing()
        if not self._made.failures:
            self._write_manifest(asked)
        self._made.entries = list(self._there.values())
        return self._made

    # ---- what is there, and what should be

    def _manifest(self) -> Entry:
        try:
            return read_manifest(self._order.store.read(f"{self._order.folder}/{MANIFEST}"))
        except FileNotFoundError:
            return {}

    def _is_whole(self, name: str, entry: Entry) -> bool:
        return self._order.store.size(f"{self._order.folder}/{name}") == entry.get("bytes")

    def _asked(self) -> str:
        """Return what stands for the whole request."""
        return digest(
            [set_key(one) for one in self._order.sets], self._order.midi_speeds, self._order.count_in_bars
        )

    def _find_keys(self) -> None:
        """Find what every file is made from."""
        recordings = [ready_recording(one) for one in self._order.sets]
        gain = gain_key(recordings)
        self._song_key = digest(gain, [one.arrangement for one in self._order.sets])
        for one, recording in zip(self._order.sets, recordings, strict=True):
            for index, track in enumerate(one.tracks):
                for name in track.names:
                    self._keys[self._told(name)] = track_key(one, index, recording, gain, name)
        for name, one, speed in self._order.midi:
            self._keys[self._told(name)] = digest(
                set_key(replace(one, tracks=())), speed, self._order.count_in_bars
            )

    def _told(self, name: str) -> str:
        """Return a file's name as the manifest tells it, from the song's folder."""
        return str(PurePosixPath(name).relative_to(self._order.folder))

    # ---- making

    def _make_missing(self) -> None:
        missing = self._missing()
        midi = [each for each in self._order.midi if self._told(each[0]) not in self._there]
        self._report("playing", self._done, len(self._order.names))
        if missing:
            hearings = self._hear()
            if hearings is None:
                return
            self._write_tracks(missing, hearings)
        jobs = [
            Job(write_midi, WritingMidi(one, speed, self._order.count_in_bars, name, self._order.store), name)
            for name, one, speed in midi
        ]
        for writing, (data, length_s) in self._results(jobs):
            name = self._told(writing.name)
            folder = self._set_folder(writing.order)
            self._finished([midi_entry(name, folder, data, length_s, self._keys[name])])

    @property
    def _done(self) -> int:
        return sum(self._told(name) in self._there for name in self._order.names)

    def _missing(self) -> list[tuple[int, int, tuple[str, ...]]]:
        """Return set, track and names of the files that have to be written."""
        found = []
        for number, one in enumerate(self._order.sets):
            for index, track in enumerate(one.tracks):
                names = tuple(name for name in track.names if self._told(name) not in self._there)
                if names:
                    found.append((number, index, names))
        return found

    def _hear(self) -> list[Hearing] | None:
        """Return what is heard of each set, None if one can't be played; where several work, they play first."""
        if self._order.sets[0].shared:
            shares = SHARES_A_WORKER * max(self._place.ahead, 1)
            shared = [
                Job(play_share, Share(one, number, shares), f"{self._order.title}: playing")
                for one, number in product(self._order.sets, range(shares))
            ]
            list(self._results(shared))
        heard: dict[Path, Hearing] = {}
        jobs = [Job(hear, one, f"{self._order.title}: playing") for one in self._order.sets]
        for one, hearing in self._results(jobs):
            heard[one.work] = hearing
        if len(heard) < len(self._order.sets):
            return None
        for one in self._order.sets:
            title = f"{one.title}: " if one.title else ""
            self._made.notices += [f"{title}{notice}" for notice in heard[one.work].notices]
        return [heard[one.work] for one in self._order.sets]

    def _write_tracks(
        self, missing: Sequence[tuple[int, int, tuple[str, ...]]], hearings: Sequence[Hearing]
    ) -> None:
        tracks = [track for one in self._order.sets for track in one.tracks]
        gains_db = gains_of([each.balance for each in hearings], ceilings_of(tracks))
        jobs = []
        for number, index, names in missing:
            one = self._order.sets[number]
            wanted = replace(one.tracks[index], names=names)
            order = replace(one, tracks=(*one.tracks[:index], wanted, *one.tracks[index + 1 :]))
            name = ": ".join(filter(None, [self._order.title, one.title, wanted.recipe.name]))
            writing = Writing(order, index, hearings[number].balance, gains_db, self._order.store)
            jobs.append(Job(write_one, writing, name))
        for writing, facts in self._results(jobs):
            files = tuple(replace(file, file=self._told(file.file)) for file in facts.files)
            folder = self._set_folder(writing.order)
            self._finished(file_entries(replace(facts, files=files), folder, self._keys))

    def _set_folder(self, one: SetOrder) -> str:
        by_work = {
            each.work: folder for each, folder in zip(self._order.sets, self._order.set_folders, strict=True)
        }
        return by_work[one.work]

    def _results(self, jobs: Sequence[Job[Any, Any]]) -> Iterator[tuple[Any, Any]]:
        """Yield argument and result of each job that went well, and note the others."""
        for outcome in run_jobs(jobs, self._place):
            if outcome.failure is None:
                yield outcome.job.argument, outcome.result
            else:
                self._made.failures.append(
                    (f"{outcome.job.name}: {outcome.failure.message}", outcome.failure.exit_code)
                )

    def _finished(self, entries: Sequence[Entry]) -> None:
        """Note files that are in their place."""
        for entry in entries:
            self._there[entry["file"]] = entry
            self._made.made.append(entry["file"])
        self._write_manifest("")
        self._report(entries[0]["file"], self._done, len(self._order.names))

    def _write_manifest(self, asked: str) -> None:
        first = self._order.sets[0]
        sets = [
            {"name": folder, "tuning": one.arrangement.tuning.name, "players": one.arrangement.song.players}
            for one, folder in zip(self._order.sets, self._order.set_folders, strict=True)
        ]
        data = manifest_bytes(
            {**song_entry(first.arrangement, self._order.file_name), "song_key": self._song_key},
            sets,
            self._there.values(),
            asked,
        )
        self._order.store.write(data, f"{self._order.folder}/{MANIFEST}")
