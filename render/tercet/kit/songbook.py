"""Making a songbook: songs laid out wherever work runs, then put together and written as one PDF."""

from __future__ import annotations

import os
import pickle
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import KW_ONLY, dataclass, field, replace
from pathlib import Path

from tercet.errors import OutsideError, RequestError, TercetError
from tercet.jobs import Job, Outcome, Workplace, open_workplace, run_jobs
from tercet.kit.events import Event, Listener, unheard
from tercet.kit.on_paper import tell_missing_signs
from tercet.kit.options import GivenTuning, KitOptions, PlayOptions, with_class
from tercet.kit.ready import arranged_sets, tell_off_neck
from tercet.kit.sources import GivenSong, SongSource, each_of, sources_of
from tercet.kit.work_folder import work_folder
from tercet.made_files import check_ending, check_may_make, made_files
from tercet.publish.picture_files import HALVES, USUAL_PAPER, paper_named
from tercet.publish.score.pages import SheetLook
from tercet.publish.shapes import Drawing
from tercet.publish.songbook import RIGHTS, SILENT_RIGHTS, BookLook, BookSong, Cover, bound, laid_out
from tercet.song import Players, Song
from tercet.wording import counted, listed

__all__ = ["SongbookOptions", "make_songbook"]

USUAL_TITLE = "Songbook"
MAKER = "songbook"
"""The command that the file is noted under."""

MOST_FOLDED_SHEETS = 20
"""So many sheets of office paper (80 g/m², 0.1 mm) are a fold of 4 mm: more spring open, and no stapler takes them."""

MOST_SONGS_NAMED = 12


@dataclass(frozen=True, slots=True)
class SongbookOptions:
    """What a songbook is made of, and how.

    Parameters
    ----------
    play
        How the songs are arranged. Its `tuning` and `players` hold where no `tunings` and `players` are given.
    tunings, players, keys
        As in `KitOptions`: each song has a sheet for each.
    paper
        What it is printed on: ``A4``, ``Letter``, ``A5`` or ``Half-Letter``.
    booklet
        Two pages on each side of that paper, in the order for folding: A5 pages on A4, half-letter pages on Letter.
    facing
        Sheets of two pages, or four, begin on a left-hand page; a booklet's always do.
    large
        Larger, tab and words only.
    left_handed
        Mirror the shapes.
    title, class_name, date, rights
        What the title page says; the title is that of the class file where it is empty, else ``Songbook``, and `rights`
        says where each song's licence stands.
    jobs, cluster, replace
        As in `KitOptions`.

    Raises
    ------
    OptionError
        A value is out of its range; the message names the option.
    RequestError
        There is no such paper, or it isn't one that is folded.
    """

    _: KW_ONLY
    play: PlayOptions = field(default_factory=PlayOptions)
    tunings: GivenTuning | Sequence[GivenTuning] = ()
    players: Players | Sequence[Players] = ()
    keys: str | Sequence[int] = ()
    paper: str = USUAL_PAPER
    booklet: bool = False
    facing: bool = False
    large: bool = False
    left_handed: bool = False
    title: str = ""
    class_name: str = ""
    date: str = ""
    rights: str = ""
    jobs: int | None = None
    cluster: str | None = None
    replace: bool = False

    def __post_init__(self) -> None:
        sets = self.kit_options()
        exact = {name: getattr(sets, name) for name in ("play", "tunings", "players", "keys")}
        for name, value in {**exact, "paper": paper_named(self.paper)}.items():
            object.__setattr__(self, name, value)
        if self.booklet and self.paper not in HALVES:
            folded = listed((f"{paper} folded to {half}" for paper, half in HALVES.items()), "or")
            raise RequestError(
                f"a booklet is printed on {folded} (got {self.paper}): leave --paper out, or leave --booklet out"
            )

    @property
    def page_paper(self) -> str:
        """What a page is as large as."""
        return HALVES[self.paper] if self.booklet else self.paper

    def kit_options(self) -> KitOptions:
        """Return for whom its songs are arranged, and where work runs."""
        return KitOptions(
            play=self.play,
            tunings=self.tunings,
            players=self.players,
            keys=self.keys,
            jobs=self.jobs,
            cluster=self.cluster,
        )


def make_songbook(
    songs: GivenSong | Iterable[GivenSong],
    output: str | os.PathLike[str],
    options: SongbookOptions | None = None,
    listener: Listener = unheard,
) -> Path:
    """Write songs as one book: title page, contents, each song's sheets, all shapes used, an index of first lines.

    Parameters
    ----------
    songs
        Arrangement files, or songs, in the order of the book; a class file among them is passed over.
    output
        The file, whose name ends in ``.pdf``.
    options
        What is made, and how.
    listener
        Told of what is to be known, and how far it is.

    Returns
    -------
    Path
        The file, written whole or not at all.

    Raises
    ------
    RequestError
        Songs have mistakes (all of them are listed), the name ends otherwise, or a file is there that must stay.
    OutsideError
        The file can't be written, or workers aren't there.
    """
    options, path = options or SongbookOptions(), Path(output)
    _check_may_bind(path, replace=options.replace)
    sources = sources_of(songs, listener, folders=False)
    titles = each_of(sources, lambda source: source.read().title)
    with work_folder(None) as work, made_files((path,), maker=MAKER, replace=options.replace) as (hidden,):
        pages = _SpooledPages(work)
        with open_workplace(options.jobs, options.cluster) as workplace:
            laid = _laid_out(sources, titles, options, workplace, pages, listener)
        _tell(laid, options, listener)
        book = bound(
            laid,
            _cover(laid, sources, options),
            BookLook(options.page_paper, options.large, options.left_handed),
            pages.read,
            facing=options.facing or options.booklet,
            booklet=options.booklet,
        )
        if options.booklet:
            _tell_folding(len(book.sides), listener)
        sides = len(book.sides)
        listener(Event("started", "writing", done=0, total=sides))
        book.write(hidden, lambda done: listener(Event("step", "writing", done=done, total=sides)))
        size = hidden.stat().st_size
        listener(Event("done", "writing", done=sides, total=sides))
    told = f"{counted(len(laid), 'song')} on {counted(book.pages, 'page')}"
    listener(Event("made", told, track=MAKER, file=str(path), size_bytes=size))
    return path


def _check_may_bind(path: Path, *, replace: bool) -> None:
    """Refuse a name of another ending, and a file that must stay, before any work."""
    check_ending(path, (".pdf",), "songbook", ".pdf")
    check_may_make(path, replace=replace)


# ---- laying songs out, wherever work runs


@dataclass(frozen=True, slots=True)
class SongToLayOut:
    """A song of a book: for whom it is arranged, and how its sheets are to be."""

    song: Song
    options: KitOptions
    look: SheetLook


@dataclass(frozen=True, slots=True)
class LaidSong:
    """A song that is laid out: what the book tells of it, its pages as bytes, and what is to be known."""

    song: BookSong
    pages: tuple[bytes, ...]
    told: tuple[Event, ...]


def lay_out_song(asked: SongToLayOut) -> LaidSong:
    """Arrange a song and lay its sheets out: the job of a worker."""
    told: list[Event] = []
    sets = arranged_sets(asked.song, asked.options, told.append)
    for one in sets:
        tell_off_neck(one.arrangement, told.append)
    song, pages = laid_out([(one.title, one.arrangement) for one in sets], asked.look)
    tell_missing_signs((sign for signs in song.signs.values() for sign in signs), told.append)
    packed = tuple(zlib.compress(pickle.dumps(page, protocol=pickle.HIGHEST_PROTOCOL), 1) for page in pages)
    return LaidSong(song, packed, tuple(told))


def load_for_paper(_nothing: None) -> None:
    """Load what every song needs, so that it is there when the first one comes."""
    import verovio

    verovio.enableLog(verovio.LOG_ERROR)


class _SpooledPages:
    """The pages of songs, kept in files until they are written: one song of a hundred takes as much memory as one."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def keep(self, song: int, pages: Sequence[bytes]) -> None:
        """Keep the pages of a song."""
        for page, data in enumerate(pages):
            self._place(song, page).write_bytes(data)

    def read(self, song: int, page: int) -> Drawing:
        """Return a page of a song."""
        data = zlib.decompress(self._place(song, page).read_bytes())
        drawing: Drawing = pickle.loads(data)  # noqa: S301 - made by our own worker, kept in our own folder
        return drawing

    def _place(self, song: int, page: int) -> Path:
        return self._folder / f"{song}-{page}"


def _laid_out(
    sources: Sequence[SongSource],
    titles: Sequence[str],
    options: SongbookOptions,
    workplace: Workplace,
    pages: _SpooledPages,
    listener: Listener,
) -> tuple[BookSong, ...]:
    """Return what the book tells of its songs, in order; their pages are kept.

    Raises
    ------
    RequestError
        Some can't be laid out as asked; all of them are told.
    """
    look = SheetLook(options.page_paper, options.large, options.left_handed, in_book=True)
    workplace.get_ready(Job(load_for_paper, None, "starting"), len(sources))

    def jobs() -> Iterator[Job[tuple[int, SongToLayOut], tuple[int, LaidSong]]]:
        for number, (source, title) in enumerate(zip(sources, titles, strict=True)):
            filled = with_class(options.kit_options(), source.class_file())
            sets = replace(filled, jobs=None, cluster=None)
            yield Job(_numbered, (number, SongToLayOut(source.read(), sets, look)), title)

    listener(Event("started", "songs", done=0, total=len(sources)))
    found: dict[int, BookSong] = {}
    told: dict[int, tuple[Event, ...]] = {}
    failed: list[Outcome[tuple[int, SongToLayOut], tuple[int, LaidSong]]] = []
    for done, outcome in enumerate(run_jobs(jobs(), workplace), 1):
        if outcome.result is None:
            failed.append(outcome)
        else:
            number, laid = outcome.result
            pages.keep(number, laid.pages)
            found[number], told[number] = laid.song, laid.told
        listener(Event("step", outcome.job.name, done=done, total=len(sources)))
    listener(Event("done", "songs", done=len(found), total=len(sources)))
    _raise_failed(failed)
    for number in range(len(sources)):
        for event in told[number]:
            text = f"{titles[number]}: {event.text}"
            listener(replace(event, text=text, song=titles[number]))
    return tuple(found[number] for number in range(len(sources)))


def _numbered(asked: tuple[int, SongToLayOut]) -> tuple[int, LaidSong]:
    """Lay a song out, and say which it was: songs are finished in any order."""
    number, song = asked
    return number, lay_out_song(song)


def _raise_failed(failed: Sequence[Outcome[tuple[int, SongToLayOut], tuple[int, LaidSong]]]) -> None:
    """Raise what songs couldn't be laid out for, all in one go."""
    failures = sorted(
        (outcome.job.argument[0], outcome.job.name, outcome.failure) for outcome in failed if outcome.failure
    )
    if failures:
        text = "\n\n".join(f"{title}: {failure.message}" for _, title, failure in failures)
        kind: type[TercetError] = (
            OutsideError if any(failure.exit_code == 3 for *_, failure in failures) else RequestError
        )
        raise kind(text)


# ---- what the book says of itself


def _cover(songs: Sequence[BookSong], sources: Sequence[SongSource], options: SongbookOptions) -> Cover:
    """Return what the title page says: as asked, else as the class file says."""
    classes = (source.class_file() for source in sources)
    shared = next((one.name for one in classes if one and one.name), "")
    title = options.title or shared or USUAL_TITLE
    sheets = [sheet for song in songs for sheet in song.sheets]
    tunings = dict.fromkeys(
        sheet.tuning.name if sheet.tuning.name != "custom" else " ".join(map(str, sheet.tuning.open_pitches))
        for sheet in sheets
    )
    players = dict.fromkeys(sheet.players for sheet in sheets)
    facts = " · ".join((counted(len(songs), "song"), listed(tunings), listed(players)))
    silent = any(not song.licence for song in songs)
    return Cover(
        title,
        options.class_name or (shared if shared != title else ""),
        options.date,
        facts,
        options.rights or (SILENT_RIGHTS if silent else RIGHTS),
    )


def _tell(songs: Sequence[BookSong], options: SongbookOptions, listener: Listener) -> None:
    """Tell once which songs say nothing of who may copy them, and which signs of the book no font has."""
    silent = [song.title for song in songs if not song.licence]
    if silent:
        few, more = silent[:MOST_SONGS_NAMED], len(silent) - MOST_SONGS_NAMED
        names = listed([*few, f"{more} more"] if more > 0 else few)
        says = "says" if len(silent) == 1 else "say"
        text = f"{names} {says} nothing of who may copy: write a line such as `licence: CC0-1.0`"
        listener(Event("notice", text))
    said = (options.title, options.class_name, options.date, options.rights)
    tell_missing_signs((*said, *(text for song in songs for text in song.texts)), listener)


def _tell_folding(sides: int, listener: Listener) -> None:
    """Tell how a booklet is printed and folded, and whether it is too thick for that."""
    sheets = sides // 2
    text = (
        f"print on both sides, turned over at the short edge: {counted(sheets, 'sheet')}, laid on each other as they "
        "come and folded once in the middle"
    )
    if sheets > MOST_FOLDED_SHEETS:
        text += f"; more than {MOST_FOLDED_SHEETS} sheets hardly fold: take fewer songs to a booklet"
    listener(Event("notice", text))
