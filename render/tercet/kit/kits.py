"""Making kits: of one song or many, wherever work runs, with one callback that is told how it goes."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import PurePath

from tercet import __version__
from tercet.audio_formats import FORMATS
from tercet.errors import RequestError, TercetError
from tercet.jobs import FolderStore, Job, Store, Workplace, open_workplace, run_jobs, store_at
from tercet.kit.events import Event, Listener, unheard
from tercet.kit.manifest import complete_kit, file_event
from tercet.kit.options import KitOptions, with_class
from tercet.kit.orders import SongOrder, order_of, sensible
from tercet.kit.ready import ReadySet, ready_sets, sound_of, tell_problems
from tercet.kit.song_kit import SongKit, make_song_kit, make_whole_song
from tercet.kit.sources import GivenSong, SongSource, each_of, sources_of
from tercet.kit.tasks import load_all
from tercet.kit.work_folder import remove_left, work_folder
from tercet.sound.players import player_of
from tercet.tracks import RECIPES
from tercet.typed import typed

__all__ = ["KitResult", "asked_key", "make_kit"]

MANY_SONGS = 2
"""From so many songs a worker on, each song is one job; fewer are split up."""


@dataclass(frozen=True, slots=True)
class KitResult:
    """What came of all kits, song by song, in the order in which they were finished."""

    songs: tuple[SongKit, ...]

    @property
    def made(self) -> tuple[str, ...]:
        """Path or address of every file that was made now."""
        return tuple(file for song in self.songs for file in song.made)

    @property
    def failures(self) -> tuple[Event, ...]:
        """What couldn't be made, and why."""
        return tuple(failure for song in self.songs for failure in song.failures)


def make_kit(
    songs: GivenSong | Iterable[GivenSong],
    output: str | os.PathLike[str],
    options: KitOptions | None = None,
    listener: Listener = unheard,
) -> KitResult:
    """Make every track that a class takes home, a MIDI file and ``kit.json``, for each song a folder of its own.

    What is there already and hasn't changed is kept; what somebody else put there, or changed, stays as it is.

    Parameters
    ----------
    songs
        Arrangement files, or songs. A class file among them is passed over: it holds for the songs beside it.
    output
        The folder for the kits, made if missing; or an address such as ``s3://bucket/kits``.
    options
        What is made, and how.
    listener
        Told of each file, of what is to be known, and how far it is.

    Raises
    ------
    RequestError
        Songs have mistakes (all of them are listed), or a track makes no sense in one of them.
    OutsideError
        The output can't be written, or workers, a sound or the synthesiser aren't there.
    """
    options = options or KitOptions()
    sources = sources_of(songs, listener)
    base = os.fspath(output).rstrip("/")
    _check_folder(base)

    def heard(event: Event) -> None:
        listener(_under(base, event))

    workplace, store = open_workplace(options.jobs, options.cluster), store_at(output)
    if isinstance(store, FolderStore):
        remove_left(store.folder)
    found: list[SongKit] = []
    wanted: list[tuple[SongSource, str]] = []
    for source in sources:
        asked = asked_key(source, options)
        manifest = complete_kit(store, source.folder, asked, verify=options.verify)
        if manifest is None:
            wanted.append((source, asked))
        else:
            found.append(_complete(manifest["title"], source.folder, manifest["files"]))
            for event in found[-1].events:
                heard(event)
    if wanted:
        with workplace:
            found += _made(wanted, options, store, workplace, heard)
    return KitResult(
        tuple(replace(kit, events=tuple(_under(base, event) for event in kit.events)) for kit in found)
    )


def _check_folder(output: str) -> None:
    """Refuse the name of a recording where a folder is meant, unless there is such a folder.

    Raises
    ------
    RequestError
        It ends as a recording does.
    """
    if PurePath(output).suffix.lower() in FORMATS and not os.path.isdir(output):  # noqa: PTH112 - or an address
        raise RequestError(
            f"{output} would become a folder: name one, such as {PurePath(output).stem}; "
            f"for one track alone: {typed('tercet', 'render', 'SONG', '-o', output)}"
        )


def asked_key(source: SongSource, options: KitOptions) -> str:
    """Return what stands for all that is asked for of a song; empty if that can't be told, as something is wrong.

    A kit that is complete is known by this alone: nothing is arranged or planned for it, so a song book that hasn't
    changed is looked through in a moment.
    Where the files go, who makes them and how they are looked at changes nothing in them.
    """
    asked = replace(options, jobs=None, cluster=None, replace=False, verify=False)
    try:
        sound = sound_of(source, source.read(), options.play)
        parts = (__version__, source.content(), asked, player_of(sound).identity())
    except (TercetError, OSError):
        return ""
    return hashlib.blake2b(repr(parts).encode(), digest_size=16).hexdigest()


def _under(base: str, event: Event) -> Event:
    """Return an event whose file is named from where the user is, not from where the kits are."""
    return replace(event, file=f"{base}/{event.file}") if event.file else event


def _complete(title: str, folder: str, entries: Sequence[dict[str, object]]) -> SongKit:
    """Return a song's kit of which nothing is missing."""
    files = [file_event("kept", title, folder, entry) for entry in entries]
    started = Event("started", "kit", title, done=len(files), total=len(files))
    done = Event("done", "kit", title, done=0, total=len(files), seconds=0.0)
    return SongKit(title, folder, tuple(entries), (started, *files, done))


def _made(
    wanted: Sequence[tuple[SongSource, str]],
    options: KitOptions,
    store: Store,
    workplace: Workplace,
    listener: Listener,
) -> list[SongKit]:
    """Make the kits of songs (with what is asked for) that aren't complete."""
    beside = store.folder if isinstance(store, FolderStore) else None
    with ExitStack() as opened:
        workplace.get_ready(Job(load_all, None, "starting"), len(wanted) * len(options.tracks or RECIPES))

        def read(source: SongSource) -> tuple[KitOptions, tuple[ReadySet, ...]]:
            filled = with_class(options, source.class_file())
            return filled, ready_sets(source, filled, listener)

        ready = each_of((source for source, _ in wanted), read)
        work = opened.enter_context(work_folder(beside))
        orders = []
        for (source, asked), (filled, sets) in zip(wanted, ready, strict=True):
            order = order_of(source, sets, filled, store, work, asked).made_in(workplace)
            orders.append(sensible(order, options.tracks, listener))
        for _, sets in ready:
            for one in sets:
                tell_problems(one.arrangement, listener, one.title)
        far = beside is None and options.cluster is not None
        return list(_each_made(orders, workplace, listener, whole=far))


def _each_made(
    orders: Sequence[SongOrder], workplace: Workplace, listener: Listener, *, whole: bool
) -> Iterator[SongKit]:
    """Make the kits; where there are many songs, or always if `whole`, each song is a job, else each is split up."""
    if workplace.workers == 1 or (len(orders) < MANY_SONGS * workplace.workers and not whole):
        for order in orders:
            yield make_song_kit(order, workplace, listener)
        return
    listener(Event("started", "kits", done=0, total=len(orders)))
    jobs = [Job(make_whole_song, order, order.title) for order in orders]
    for done, outcome in enumerate(run_jobs(jobs, workplace), 1):
        order, failure = outcome.job.argument, outcome.failure
        listener(Event("step", order.title, done=done, total=len(orders)))
        if failure is not None:
            text = f"{order.title}: {failure.message}"
            told = Event("failed", text, order.title, exit_code=failure.exit_code)
            ended = Event("done", "kit", order.title, done=0, total=0)
        kit = outcome.result or SongKit(order.title, order.folder, (), (told, ended))
        for event in kit.events:
            listener(event)
        yield kit
    listener(Event("done", "kits", done=len(orders), total=len(orders)))
