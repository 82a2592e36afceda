"""Making class pages: for each song the page on which students practise, and the list of them all."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Sequence
from dataclasses import KW_ONLY, dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from tercet import __version__
from tercet.arranging import Arrangement, second_part
from tercet.errors import RequestError
from tercet.jobs import FolderStore
from tercet.jobs.own_files import OwnFiles
from tercet.kit.events import Event, Listener, unheard
from tercet.kit.first_line import first_line
from tercet.kit.kits import make_kit
from tercet.kit.made_kit import files_to_take, read_kit, set_names
from tercet.kit.manifest import MANIFEST
from tercet.kit.on_paper import sheet_bytes
from tercet.kit.options import (
    GivenTuning,
    KitOptions,
    PlayOptions,
    Speed,
    speeds_of,
    with_class,
)
from tercet.kit.ready import ReadySet, playing_of, ready_sets, tell_problems
from tercet.kit.sources import GivenSong, SongSource, each_of, sources_of
from tercet.kit.work_folder import work_folder
from tercet.made_files import check_may_make, write_made
from tercet.printable import visible_line
from tercet.publish.page import (
    FOLDER,
    LINKED,
    KitTrack,
    ListedSong,
    ListedWeek,
    PageFiles,
    PageLesson,
    PagePlan,
    PageSet,
    PageSound,
    PageWeek,
    class_page,
    is_modelled,
    made_sounds,
    song_page,
    tuning_of,
)
from tercet.publish.pictures.shapes_used import shapes_used
from tercet.song import ClassFile, Players, Song, bar_indices
from tercet.song.class_file import CLASS_FILE_NAME
from tercet.song.weeks import WeekSong
from tercet.tracks import SECOND_RECIPES
from tercet.tracks.playing import Playing
from tercet.tracks.track_files import digest
from tercet.wording import counted, listed

__all__ = ["PageOptions", "PagesResult", "make_pages"]

TRACKS = (
    "tune-up",
    "demo",
    "chords",
    "echo",
    "slow",
    "learn",
    "without-melody",
    "without-tune",
    "without-strums",
    "turns-rolls",
    "turns-phrases",
    "contrast",
)
"""The tracks that a page makes where there is no kit yet, and those of a second voice; `make_kit` makes all."""

MOST_BYTES_OF_ONE_FILE = 8_000_000
"""What a mail takes along."""

USUAL_SPEEDS = (Fraction(3, 5), Fraction(4, 5), Fraction(1))
FIRST_LINE = f"{FOLDER}first-line.mp3"
MAKER = "page"
"""The command that files are noted under."""


@dataclass(frozen=True, slots=True)
class PageOptions:
    """What pages are made of, and how.

    Parameters
    ----------
    play
        How the songs are arranged and played. Its `tuning` and `players` hold where no `tunings` and `players` are
        given.
    tunings, players, keys
        As in `KitOptions`: each page has a set for each, and opens with the first.
    speeds
        Parts of the song's tempo to choose from; empty for 60%, 80% and 100%, where stems of another sound are recorded
        into one file for 100%.
    title
        Of the list of songs; empty for the name of the class, where a class file lies beside them.
    one_file
        Each song as one HTML file, up to 8 MB.
    kit
        Whether a song that has no kit gets recordings; a kit that is there is used in any case.
    left_handed
        Mirror the shapes; a student can choose otherwise.
    findable
        Whether search engines may list the pages.
    replace, verify
        As in `KitOptions`.

    Raises
    ------
    OptionError
        A value is out of its range; the message names the option.
    """

    _: KW_ONLY
    play: PlayOptions = field(default_factory=PlayOptions)
    tunings: GivenTuning | Sequence[GivenTuning] = ()
    players: Players | Sequence[Players] = ()
    keys: str | Sequence[int] = ()
    speeds: Sequence[Speed] = ()
    title: str = ""
    one_file: bool = False
    kit: bool = True
    left_handed: bool = False
    findable: bool = False
    replace: bool = False
    verify: bool = False

    def __post_init__(self) -> None:
        sets = self.kit_options()
        exact = {name: getattr(sets, name) for name in ("play", "tunings", "players", "keys")}
        for name, value in {**exact, "speeds": speeds_of(self.speeds)}.items():
            object.__setattr__(self, name, value)

    def kit_options(self, among: Sequence[str] = ()) -> KitOptions:
        """Return what a kit of the same sets is made of, as MP3: some of the tracks, or all."""
        return KitOptions(
            play=self.play,
            tunings=self.tunings,
            players=self.players,
            keys=self.keys,
            among=among,
            formats=("mp3",),
            replace=self.replace,
        )

    def speeds_for(self, playings: Sequence[Playing]) -> tuple[Fraction, ...]:
        """Return the speeds of a song's page.

        Raises
        ------
        RequestError
            One file would need recorded stems of more than one set, or at more than one speed.
        """
        asked = speeds_of(self.speeds)
        recorded = self.one_file and not all(map(is_modelled, playings))
        if recorded and len(playings) > 1:
            raise RequestError(
                f"one file holds one set of a sound font or a --loud song (got {len(playings)}): name one with "
                "--tuning, --players and --keys, or leave --one-file out and send the folder"
            )
        if recorded and len(asked) > 1:
            raise RequestError(
                f"one file holds one speed of a sound font or a --loud song (got {len(asked)}): name one, or leave "
                "--one-file out and send the folder"
            )
        return asked or (USUAL_SPEEDS[-1:] if recorded else USUAL_SPEEDS)


@dataclass(frozen=True, slots=True)
class PagesResult:
    """What came of pages: those that are there, the list of them, and a sentence for each file that stays as it is."""

    pages: tuple[Path, ...]
    list_page: Path | None
    left: tuple[str, ...]


def make_pages(
    songs: GivenSong | Iterable[GivenSong],
    output: str | os.PathLike[str],
    options: PageOptions | None = None,
    listener: Listener = unheard,
) -> PagesResult:
    """Make a page for each song, in a folder of its own with recordings and sheet, and a list of all.

    Parameters
    ----------
    songs
        Arrangement files, or songs; a class file among them is passed over.
    output
        The folder for the pages, made if missing; with `PageOptions.one_file` also the file of a single song's page, by
        its ending ``.html``, unless there is a folder of that name.
    options
        What is made, and how.
    listener
        Told of each page, of what is to be known, and how far it is.

    Raises
    ------
    RequestError
        Songs have mistakes (all of them are listed), or a page doesn't fit into one file.
    OutsideError
        A file can't be written, or the sound or the synthesiser isn't there.
    """
    return _Pages(Path(output), options or PageOptions(), listener).make(sources_of(songs, listener))


def is_page_file(output: Path) -> bool:
    """Return whether a name is that of a page rather than of a folder."""
    return output.suffix.lower() in (".html", ".htm") and not os.path.isdir(output)  # noqa: PTH112 - no error where we may not look


@dataclass(frozen=True, slots=True)
class _SongSets:
    """The sets of a song, ready to be played, each as it is played, its class file, and what of it is practised."""

    sets: tuple[ReadySet, ...]
    playings: tuple[Playing, ...]
    shared: ClassFile | None
    week: PageWeek | None

    @property
    def title(self) -> str:
        """The song's title."""
        return self.sets[0].arrangement.song.title

    @property
    def folders(self) -> tuple[str, ...]:
        """Where the files of each set lie below the page's: the first one's with what all share."""
        return ("", *(f"{one.folder_name}/" for one in self.sets[1:]))


class _Pages:
    """Pages while they are made."""

    def __init__(self, output: Path, options: PageOptions, listener: Listener) -> None:
        self._output, self._options, self._listener = output, options, listener
        self._own = OwnFiles(FolderStore(output.absolute()), MAKER, replace=options.replace)
        self._file = output if options.one_file and is_page_file(output) else None
        self._pages: list[Path] = []
        self._left: list[str] = []
        self._songs: dict[str, tuple[str, Arrangement]] = {}

    def make(self, sources: Sequence[SongSource]) -> PagesResult:
        """Make the pages of all songs, then their list."""
        entries = []
        self._check_output(sources)
        read = each_of(sources, self._song)
        self._songs = {
            each.given.stem: (each.folder, song.sets[0].arrangement)
            for each, song in zip(sources, read, strict=True)
            if isinstance(each.given, Path)
        }
        songs = [self._in_lesson(source, song) for source, song in zip(sources, read, strict=True)]
        for source, song in zip(sources, songs, strict=True):
            for one in song.sets:
                tell_problems(one.arrangement, self._listener, one.title)
            if self._options.one_file:
                self._one_file(song, f"{source.folder}.html")
            else:
                self._folder(source, song)
                entries.append(self._entry(source, song))
        listed = self._list(entries, self._title(songs), self._weeks(songs)) if entries else None
        return PagesResult(tuple(self._pages), listed, tuple(self._left))

    def _entry(self, source: SongSource, sets: _SongSets) -> ListedSong:
        """Return what the list says of a song whose page was made."""
        arrangement = sets.sets[0].arrangement
        song, clip = arrangement.song, f"{source.folder}/{FIRST_LINE}"
        return ListedSong(
            f"{source.folder}/index.html",
            song.title,
            tuple(filter(None, (song.composer, str(song.key), str(song.meter)))),
            song.players,
            shapes_used(arrangement),
            clip if (self._output / clip).is_file() else "",
            tuple((tuning_of(one.arrangement), one.arrangement.song.players) for one in sets.sets),
            week=sets.week.words(arrangement) if sets.week else "",
        )

    def _title(self, songs: Iterable[_SongSets]) -> str:
        """Return what the list is called: as asked, else the name of the class."""
        named = (song.shared.name for song in songs if song.shared and song.shared.name)
        return self._options.title or next(named, "")

    def _check_output(self, sources: Sequence[SongSource]) -> None:
        """Refuse the name of a page where a folder is needed, and a file that must stay, before any work."""
        output = self._output
        if self._file is not None and len(sources) == 1:
            check_may_make(self._file, replace=self._options.replace)
        elif is_page_file(output):
            why = (
                f"{counted(len(sources), 'song')} need one"
                if len(sources) > 1
                else "one page in a file needs --one-file"
            )
            raise RequestError(
                f"{output} would become a folder: {why}; name a folder, such as {output.with_suffix('')}",
                given=str(output),
                meant=str(output.with_suffix("")),
            )

    def _song(self, source: SongSource) -> _SongSets:
        shared = source.class_file()
        sets = ready_sets(source, with_class(self._options.kit_options(), shared), self._listener)
        week = _week(source, shared, sets[0].arrangement)
        playings = tuple(playing_of(one, self._options.play, self._listener) for one in sets)
        return _SongSets(sets, playings, shared, week)

    # ---- telling

    def _tell_left(self, left: Iterable[str], song: str = "") -> None:
        for sentence in left:
            self._left.append(sentence)
            self._listener(Event("left", sentence, song))

    def _tell_page(self, page: Path, song: str = "", *, anew: bool = True) -> None:
        self._pages.append(page)
        self._listener(Event("made" if anew else "kept", "", song, track="page", file=str(page)))

    def _notice(self, text: str, song: _SongSets) -> None:
        self._listener(Event("notice", text, song.title))

    # ---- a page of its own folder

    def _folder(self, source: SongSource, song: _SongSets) -> None:
        """Make the folder of a song's page, and the kit that it plays, unless the folder isn't ours to make."""
        folder = self._output / source.folder
        if folder.is_symlink():
            self._tell_left([self._own.left(f"{source.folder}/index.html")], song.title)
            return
        if self._options.kit:
            self._ready_kit(source, song, folder)
        asked = self._asked(song, folder)
        files = PageFiles(self._own, source.folder)
        page = folder / "index.html"
        if not self._options.replace and files.is_there(asked, verify=self._options.verify):
            self._tell_page(page, song.title, anew=False)
            return
        sounds = self._sounds(song, files, folder)
        written = self._write_folder(source, song, sounds, files, folder)
        files.finish(asked)
        self._tell_left(files.left, song.title)
        if written:
            self._tell_page(page, song.title)

    def _sounds(self, song: _SongSets, files: PageFiles | None, folder: Path) -> tuple[PageSound, ...]:
        """Make what a page plays, or take it from last time."""
        speeds, start_s = self._options.speeds_for(song.playings), time.monotonic()
        total = len(speeds) * len(song.sets)

        def told(what: str, done: int, total: int) -> None:
            self._listener(Event("step", what, song.title, done=done, total=total))

        self._listener(Event("started", "page", song.title, done=0, total=total))
        with work_folder(folder) as work:
            sounds = made_sounds(
                dict(zip(song.folders, song.playings, strict=True)), speeds, files, work, told
            )
        seconds = round(time.monotonic() - start_s, 2)
        self._listener(Event("done", "page", song.title, done=total, total=total, seconds=seconds))
        for one, playing, sound in zip(song.sets, song.playings, sounds, strict=True):
            for notice in playing.notices() if sound.anew else ():
                self._notice(f"{one.title}: {notice}" if one.title else notice, song)
        return sounds

    def _write_folder(
        self, source: SongSource, song: _SongSets, sounds: Sequence[PageSound], files: PageFiles, folder: Path
    ) -> bool:
        """Write the sheets, those of a second voice too, and the page; return whether the page was written."""
        for one in song.sets:
            stem = "/".join(filter(None, [one.folder_name, folder.name]))
            self._write_sheet(source, song, one.arrangement, files, folder / f"{stem}.pdf")
            if one.arrangement.second:
                second = second_part(one.arrangement)
                self._write_sheet(source, song, second, files, folder / f"{stem}-second.pdf")
        files.remove_old(".pdf")
        sets = [
            PageSet(
                one.arrangement,
                sound,
                tracks=self._tracks(song, one, folder),
                downloads={
                    group: [(path.relative_to(folder).as_posix(), path.stat().st_size) for path in paths]
                    for group, paths in files_to_take(folder, one.folder_name).items()
                },
                key_semitones=one.key_semitones,
                folder=own,
            )
            for one, own, sound in zip(song.sets, song.folders, sounds, strict=True)
        ]
        plan = PagePlan(
            sets,
            class_href="../index.html",
            week=song.week,
            left_handed=self._options.left_handed,
            findable=self._options.findable,
        )
        with work_folder(folder) as work:
            files.write(FIRST_LINE, first_line(song.playings[0], work))
        written = {name: files.write(name, data) for name, data in song_page(plan).items()}
        files.remove_old()
        return written["index.html"]

    def _write_sheet(
        self, source: SongSource, song: _SongSets, part: Arrangement, files: PageFiles, sheet: Path
    ) -> None:
        """Write a sheet, unless ``tercet sheet`` put one there."""
        name = sheet.relative_to(self._output / source.folder).as_posix()
        if self._options.replace or not files.is_of_another(name):
            data = sheet_bytes(part, ".pdf", self._listener, left_handed=self._options.left_handed)
            files.write(name, data)
        elif source.changed_after(sheet):
            self._notice(
                f"{sheet} stays as you made it, before the song was changed: make it again, or say --replace",
                song,
            )

    def _tracks(self, song: _SongSets, one: ReadySet, folder: Path) -> tuple[KitTrack, ...]:
        """Return the tracks of a set of the kit in a song's folder; a kit that can't be read is told: it has none."""
        try:
            return read_kit(folder, one.folder_name)
        except RequestError as error:
            self._notice(f"{error}. The page has no tracks until then", song)
            return ()

    def _asked(self, song: _SongSets, folder: Path) -> str:
        """Return what stands for all that a page is made of: the song, how it is played, and the kit beside it."""
        options, play, kit = self._options, self._options.play, folder / MANIFEST
        return digest(
            __version__,
            [(one.folder_name, one.key_semitones, one.arrangement) for one in song.sets],
            [playing.sound_identity() for playing in song.playings],
            (
                play.seed,
                play.dry,
                play.clear,
                options.speeds_for(song.playings),
                options.left_handed,
                options.findable,
            ),
            kit.read_bytes() if kit.is_file() else b"",
            song.week,
            [
                (str(path), path.stat().st_size)
                for paths in files_to_take(folder).values()
                for path in paths
                if path.suffix != ".pdf"
            ],
        )

    def _ready_kit(self, source: SongSource, song: _SongSets, folder: Path) -> None:
        """Make the recordings of a song's kit as MP3, unless its folder has a kit; tell which sets that one lacks."""
        if (folder / MANIFEST).is_file() or any(folder.glob("*.mp3")):
            there = set_names(folder)
            lacking = [one.title for one in song.sets if one.folder_name not in there]
            if len(song.sets) > 1 and lacking:
                self._notice(
                    f"the kit in {folder} has no recordings of {listed(lacking)}: tercet kit makes them, with the same "
                    "--tuning, --players and --keys",
                    song,
                )
            return
        own = SECOND_RECIPES if song.sets[0].arrangement.song.second else ()
        among = (*TRACKS, *(recipe.name for recipe in own))
        make_kit([source.given], folder.parent, self._options.kit_options(among), self._listener)

    # ---- other pages

    def _one_file(self, song: _SongSets, name: str) -> None:
        """Make a song's page as one file, unless what is there must stay."""
        path = self._file or self._output / name
        if self._file is None and (left := self._own.left(name)):
            self._tell_left([left], song.title)
            return
        sounds = self._sounds(song, None, path.parent)
        sets = [
            PageSet(one.arrangement, sound, key_semitones=one.key_semitones)
            for one, sound in zip(song.sets, sounds, strict=True)
        ]
        plan = PagePlan(
            sets,
            week=song.week,
            left_handed=self._options.left_handed,
            findable=self._options.findable,
            one_file=True,
        )
        data = song_page(plan)["index.html"]
        if len(data) > MOST_BYTES_OF_ONE_FILE:
            raise RequestError(
                f"{path} would have {len(data) / 1e6:.1f} MB, and one file holds {MOST_BYTES_OF_ONE_FILE / 1e6:.0f}: "
                "choose a faster speed, or leave --one-file out and send the folder"
            )
        if self._file is None:
            self._own.write(data, name)
        else:
            write_made(self._file, data, maker=MAKER, replace=self._options.replace)
        self._tell_page(path, song.title)

    def _in_lesson(self, source: SongSource, song: _SongSets) -> _SongSets:
        """Return a song with its place in the lesson of this week, among the songs whose pages are made."""
        shared, week = song.shared, song.week
        if shared is None or not shared.weeks or week is None or isinstance(source.given, Song):
            return song
        if self._options.one_file:
            return song
        steps = [each.song for each in shared.this_week if each.song in self._songs]
        at = steps.index(source.given.stem)
        around = [self._songs[steps[one]] if 0 <= one < len(steps) else None for one in (at - 1, at + 1)]
        before, after = (each and (f"../{each[0]}/index.html", each[1].song.title) for each in around)
        return replace(song, week=replace(week, lesson=PageLesson(at + 1, len(steps), before, after)))

    def _weeks(self, songs: Iterable[_SongSets]) -> tuple[ListedWeek, ...]:
        """Return what the list says of the weeks of a class: this one, then those before it, the last first."""
        shared = next((song.shared for song in songs if song.shared and song.shared.weeks), None)
        if shared is None:
            return ()
        return tuple(
            ListedWeek(
                week.name,
                week.note,
                tuple(self._listed(each) for each in week.songs if each.song in self._songs),
            )
            for week in reversed(shared.weeks[: shared.week_number])
        )

    def _listed(self, song: WeekSong) -> tuple[str, str, str]:
        """Return page, title, and bars and note of a song of a week."""
        folder, arrangement = self._songs[song.song]
        return (
            f"{folder}/index.html",
            arrangement.song.title,
            _practised(song, arrangement).words(arrangement),
        )

    def _beside(self) -> dict[str, int]:
        """Return what lies beside the list and is linked from it, with its bytes."""
        return {name: path.stat().st_size for name in LINKED if (path := self._output / name).is_file()}

    def _list(
        self, entries: Sequence[ListedSong], asked_title: str, weeks: Sequence[ListedWeek]
    ) -> Path | None:
        """Write the list of the songs; return it, None if something of the user's stands in its place."""
        files = PageFiles(self._own)
        made = class_page(
            visible_line(asked_title),
            entries,
            weeks,
            self._beside(),
            left_handed=self._options.left_handed,
            findable=self._options.findable,
        )
        written = {name: files.write(name, data) for name, data in made.items()}
        files.finish()
        self._tell_left(files.left)
        if not written["index.html"]:
            return None
        self._tell_page(self._output / "index.html")
        return self._output / "index.html"


def _week(source: SongSource, shared: ClassFile | None, arrangement: Arrangement) -> PageWeek | None:
    """Return what is practised of a song this week; `RequestError` where a week names bars that it hasn't."""
    if shared is None or isinstance(source.given, Song):
        return None
    name = source.given.stem
    for each in (each for week in shared.weeks for each in week.songs if each.song == name):
        _practised(each, arrangement, "weeks")
    practised = next((each for each in shared.this_week if each.song == name), None)
    return None if practised is None else _practised(practised, arrangement)


def _practised(song: WeekSong, arrangement: Arrangement, setting: str = "this-week") -> PageWeek:
    """Return what is practised of a song in a week."""
    try:
        bars = bar_indices(song.bars, arrangement.bars) if song.bars else ()
    except RequestError as error:
        raise RequestError(f"{CLASS_FILE_NAME}, {setting}, {song.song}: {error}") from None
    return PageWeek(song.note, bars)
