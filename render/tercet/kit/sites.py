"""Making a folder that any web host can serve: a class's pages, its songbook, a feed of what is new."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import KW_ONLY, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from uuid import NAMESPACE_URL, uuid5

from tercet import __version__
from tercet.errors import RequestError
from tercet.jobs import FolderStore
from tercet.jobs.own_files import OwnFiles
from tercet.kit.events import Event, Listener, unheard
from tercet.kit.films import FilmOptions, make_film
from tercet.kit.pages import PageOptions, PagesResult, make_pages
from tercet.kit.plans import class_file_of
from tercet.kit.songbook import SongbookOptions, make_songbook
from tercet.kit.sources import GivenSong, SongSource, each_of, source_of
from tercet.kit.work_folder import work_folder
from tercet.publish.news_feed import NewsEntry, feed_bytes, sitemap_bytes
from tercet.publish.page import PageFiles
from tercet.song import ClassFile, Song, read_class
from tercet.song.class_file import is_class_file
from tercet.tracks.track_files import digest
from tercet.wording import listed

__all__ = ["LARGE_FILE_BYTES", "SiteOptions", "SiteResult", "make_site"]

MAKER = "publish"
"""The command that files are noted under."""

FEED, SITEMAP, ROBOTS, NEWS, SONGBOOK = "feed.xml", "sitemap.xml", "robots.txt", "news.json", "songbook.pdf"
FILM, FILM_NOTE = "film.mp4", "page/film.json"
NOBODY = "User-agent: *\nDisallow: /\n"

LARGE_FILE_BYTES = 25_000_000
"""A file larger than this is told: hosts that cost nothing often take none."""

MOST_NAMED = 8


@dataclass(frozen=True, slots=True)
class SiteOptions:
    """What a folder for the web is made of.

    Parameters
    ----------
    pages
        How its pages are made.
    songbook
        Whether the sheets of all songs lie in it as one book, too.
    films
        Whether a film of each song lies beside its page, in the sound of `pages`.
    mine
        Whether songs without a licence go into it too: whoever says so may share them.
    findable
        Whether search engines may list its pages; then it has a sitemap, where the class file says its address.
    now
        When it is made, in UTC: the date of what changed in its feed.
    """

    _: KW_ONLY
    pages: PageOptions = field(default_factory=PageOptions)
    songbook: bool = True
    films: bool = False
    mine: bool = False
    findable: bool = False
    now: datetime = field(default_factory=lambda: datetime.now(UTC).replace(microsecond=0))


@dataclass(frozen=True, slots=True)
class SiteResult:
    """What came of a folder for the web.

    Parameters
    ----------
    pages
        The pages that are there, and what stays as it is.
    left_out
        The songs without a licence.
    sizes
        Bytes of each song's folder by its name, and of what lies beside them under an empty name.
    large
        Files larger than `LARGE_FILE_BYTES`, as seen from the folder, with their bytes.
    """

    pages: PagesResult
    left_out: tuple[str, ...]
    sizes: dict[str, int]
    large: tuple[tuple[str, int], ...]


def make_site(
    class_path: str | os.PathLike[str],
    output: str | os.PathLike[str],
    options: SiteOptions | None = None,
    listener: Listener = unheard,
) -> SiteResult:
    """Make a folder that any web host can serve: the page of each song, the list of them, a feed of what is new.

    Nothing is sent anywhere. Songs whose files have no licence line are left out, unless it is said that they may be
    shared.

    Parameters
    ----------
    class_path
        The class file, or the folder in which it lies with its songs.
    output
        The folder, made if missing.
    options
        What is made.
    listener
        Told of each page, of what is to be known, and how far it is.

    Raises
    ------
    RequestError
        Songs or the class file have mistakes, all of them are listed; no song may be shared; or the folder is that of
        the songs.
    OutsideError
        A file can't be written, or a sound isn't there.
    """
    options, path, folder = options or SiteOptions(), class_file_of(Path(class_path)), Path(output)
    if folder.absolute().resolve() == path.absolute().resolve().parent:
        raise RequestError(
            f"{folder} is the folder of the songs: name one of its own, such as {folder / 'site'}"
        )
    shared = read_class(path)
    sources = [source_of(each) for each in sorted(path.parent.glob("*.yaml")) if not is_class_file(each)]
    if not sources:
        raise RequestError(f"no song lies beside {path}")
    songs = each_of(sources, lambda source: (source, source.read()))
    may = [(source, song) for source, song in songs if song.licence or options.mine]
    left_out = tuple(source.file_name for source, song in songs if not (song.licence or options.mine))
    _tell_left_out(left_out, listener)
    if not may:
        raise RequestError(
            "no song may be shared: write what you found out into `licence:` of each, or say --mine if all are yours "
            "to share"
        )
    own = OwnFiles(FolderStore(folder.absolute()), MAKER, replace=options.pages.replace)
    files = PageFiles(own)
    given = [source.given for source, _ in may]
    if options.songbook:
        _bind(given, own, options.pages, files, listener)
    if options.films:
        for source, _ in may:
            _film(source, own, options.pages, files, listener)
    known = files.read_note(NEWS).get("entries", {})
    files.write(FEED, _news(may, shared, files, options.now))
    for name, data in _for_robots(may, shared, options).items():
        files.write(name, data)
    for sentence in files.left:
        listener(Event("left", sentence))
    pages = make_pages(
        [source.given for source, _ in may],
        folder,
        replace(options.pages, findable=options.findable),
        listener,
    )
    _tell_old(folder, known, {source.folder for source, _ in may}, listener)
    sizes, large = _sizes(folder, {source.folder for source, _ in may})
    for name, size in large:
        text = f"{name} has {size / 1e6:.0f} MB: some hosts take no file that large"
        listener(Event("notice", text))
    return SiteResult(replace(pages, left=(*pages.left, *files.left)), left_out, sizes, large)


def _tell_left_out(names: Sequence[str], listener: Listener) -> None:
    if not names:
        return
    more = len(names) - MOST_NAMED
    told = [*names[:MOST_NAMED], f"{more} more"] if more > 0 else [*names]
    verb = "has" if len(names) == 1 else "have"
    text = (
        f"{listed(told)} {verb} no licence line and {'is' if len(names) == 1 else 'are'} left out: write into "
        "`licence:` under what others may have it, or say --mine if you may share it"
    )
    listener(Event("notice", text))


def _bind(
    songs: Sequence[GivenSong], own: OwnFiles, pages: PageOptions, files: PageFiles, listener: Listener
) -> None:
    """Make the songbook, for the same sets as the pages, unless what is there must stay."""
    if left := own.left(SONGBOOK):
        files.left.append(left)
        return
    store = own.store
    asked = SongbookOptions(
        play=pages.play,
        tunings=pages.tunings,
        players=pages.players,
        keys=pages.keys,
        left_handed=pages.left_handed,
        replace=pages.replace,
    )
    with work_folder(None) as work:
        made = make_songbook(songs, work / SONGBOOK, asked, _without_made(listener))
        own.put(made, SONGBOOK)
    listener(Event("made", "", "", track="songbook", file=store.place(SONGBOOK)))


def _film(
    source: SongSource, own: OwnFiles, pages: PageOptions, files: PageFiles, listener: Listener
) -> None:
    """Make the film of a song, unless it is there as it would be made, or what is there must stay."""
    name, note = f"{source.folder}/{FILM}", f"{source.folder}/{FILM_NOTE}"
    play, look = pages.play, FilmOptions(left_handed=pages.left_handed)
    asked = digest(__version__, source.content(), replace(play, sound=None), str(play.sound), look)
    store = own.store
    if left := own.left(name):
        files.left.append(left)
        return
    if store.size(name) is not None and files.read_note(note).get("asked") == asked:
        return
    with work_folder(None) as work:
        make_film(source.given, work / FILM, "", play, look, _without_made(listener))
        own.put(work / FILM, name)
    files.write_note(note, {"asked": asked})
    listener(Event("made", "", track="film", file=store.place(name)))


def _without_made(listener: Listener) -> Listener:
    """Return a listener that isn't told of a file in a work folder."""

    def hear(event: Event) -> None:
        if event.kind != "made":
            listener(event)

    return hear


def _tell_old(folder: Path, known: Iterable[str], songs: set[str], listener: Listener) -> None:
    """Tell which songs were in the folder last time and are no longer the class's, or may no longer be shared."""
    for name in known:
        if name not in songs and (folder / name).is_dir():
            old = folder / name
            text = (
                f"{old} is of a song that is no longer made: delete it before you put the folder on the web"
            )
            listener(Event("notice", text))


# ---- what is new


def _news(
    songs: Sequence[tuple[SongSource, Song]], shared: ClassFile, files: PageFiles, now: datetime
) -> bytes:
    """Return the feed; what is as it was last time keeps its date."""
    home = f"{shared.address}/" if shared.address else ""
    place = home or shared.name
    known = files.read_note(NEWS).get("entries", {})
    entries, noted = [], {}
    for key, title, summary, href, content in _told(songs, shared):
        same = known.get(key, {})
        mark = digest(title, summary, content)
        changed = datetime.fromisoformat(same["changed"]) if same.get("mark") == mark else now
        noted[key] = {"mark": mark, "changed": changed.isoformat()}
        entries.append(NewsEntry(_urn(f"{place}#{key}"), title, summary, href, changed))
    files.write_note(NEWS, {"entries": noted})
    last = max((entry.changed for entry in entries), default=now)
    return feed_bytes(_urn(place), shared.name or "Songs of the class", home, entries, last)


def _told(
    songs: Sequence[tuple[SongSource, Song]], shared: ClassFile
) -> list[tuple[str, str, str, str, object]]:
    """Return what the feed tells of: the weeks up to this one, and each song."""
    names = {source.given.stem: song.title for source, song in songs if isinstance(source.given, Path)}
    told: list[tuple[str, str, str, str, object]] = []
    for number, week in enumerate(shared.weeks[: shared.week_number], 1):
        practised = [
            " ".join(filter(None, (names[each.song], each.bars and f"({each.bars})")))
            for each in week.songs
            if each.song in names
        ]
        summary = " ".join(filter(None, (week.note, ", ".join(practised))))
        told.append((f"week-{number}", week.name, summary, "index.html", ""))
    for source, song in songs:
        about = ", ".join(filter(None, (song.composer, str(song.key), str(song.meter))))
        told.append((source.folder, song.title, about, f"{source.folder}/index.html", source.content()))
    return told


def _urn(name: str) -> str:
    return f"urn:uuid:{uuid5(NAMESPACE_URL, name)}"


def _for_robots(
    songs: Sequence[tuple[SongSource, Song]], shared: ClassFile, options: SiteOptions
) -> dict[str, bytes]:
    """Return what search engines read: that nothing is theirs, or which pages there are."""
    if not options.findable:
        return {ROBOTS: NOBODY.encode("ascii")}
    if not shared.address:
        return {}
    home = shared.address
    pages = ["index.html", *(f"{source.folder}/index.html" for source, _ in songs)]
    return {SITEMAP: sitemap_bytes(f"{home}/{page}" for page in pages)}


def _sizes(folder: Path, songs: set[str]) -> tuple[dict[str, int], tuple[tuple[str, int], ...]]:
    """Return the bytes of each song's folder and of what lies beside them, and the files that are large."""
    sizes = dict.fromkeys(sorted(songs), 0) | {"": 0}
    large = []
    for path in sorted(folder.rglob("*")):
        if not path.is_file():
            continue
        size, place = path.stat().st_size, path.relative_to(folder)
        sizes[place.parts[0] if place.parts[0] in songs else ""] += size
        if size > LARGE_FILE_BYTES:
            large.append((place.as_posix(), size))
    return sizes, tuple(large)
