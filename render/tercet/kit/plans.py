"""Plans of a class's weeks: the songs in order, what is new, what to show by ear, hard bars, who plays what."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tercet.arranging import Arrangement, Gesture
from tercet.arranging.easy_first import RankedSong, easy_first
from tercet.arranging.novelties import Known, Met, NewKind, met_in
from tercet.arranging.report import frets_text, report_of
from tercet.errors import RequestError
from tercet.kit.events import Listener, unheard
from tercet.kit.options import KitOptions, with_class
from tercet.kit.ready import ReadySet, ready_sets
from tercet.kit.sources import GivenSong, SongSource, each_of, own_recipes_of, source_of, sources_of
from tercet.made_files import check_ending, check_may_make, write_made
from tercet.publish.pictures.shapes_used import ShapeUse, shapes_used
from tercet.publish.term_plan import (
    PlannedPart,
    PlannedSong,
    PlannedTrack,
    PlannedWeek,
    ShownByEar,
    TermPlan,
    plan_pdf,
)
from tercet.song import ClassFile, bar_indices, read_class
from tercet.song.class_file import CLASS_FILE_NAME, is_class_file
from tercet.song.weeks import Week, WeekSong
from tercet.tracks.recipes import recipe_named
from tercet.wording import counted

__all__ = [
    "SuggestedSong",
    "check_may_plan",
    "class_file_of",
    "plan_of",
    "songs_in",
    "suggested_order",
    "write_plan",
]

FIRST_TIME = ("demo", "echo", "slow")
"""The tracks of a song that is met for the first time, where its week names none."""

LATER = ("slow", "without-melody", "demo")
"""And of one that is known from an earlier week."""

BY_EAR: dict[NewKind, str] = {"rhythm": "rhythm", "roll": "roll", "strum": "strum"}
"""What is shown by ear before it is read, and what it is called."""

MOST_SHOWN, MOST_HARD = 4, 3

HOW_TO_PLAN = (
    f"write weeks: in {CLASS_FILE_NAME} beside the songs, and under it `- songs:`, with a line such as "
    "`    harbour-lanterns: {bars: 5-8}` for each song"
)


def plan_of(class_path: str | Path, listener: Listener = unheard) -> TermPlan:
    """Return the plan of a class.

    Parameters
    ----------
    class_path
        Its class file, or the folder in which that lies.
    listener
        Told of what to know while songs are arranged.

    Raises
    ------
    RequestError
        The class file plans no week, or something in it or in its songs is wrong: bars or tracks that a song hasn't.
    """
    path = class_file_of(Path(class_path))
    shared = read_class(path)
    weeks = shared.weeks or ((Week("This week", shared.this_week),) if shared.this_week else ())
    if not weeks:
        raise RequestError(f"{path} plans no week: {HOW_TO_PLAN}")
    songs = _read_songs(weeks, path.parent, shared, listener)
    return TermPlan(shared.name, tuple(_weeks(weeks, songs)), shared.week_number or 1)


def class_file_of(path: Path) -> Path:
    """Return the class file that is meant: the one that lies in a folder; `RequestError` where there is none."""
    if path.is_dir():
        path /= CLASS_FILE_NAME
        if not path.exists():
            raise RequestError(f"there is no {CLASS_FILE_NAME} in {path.parent}: {HOW_TO_PLAN}")
    elif path.exists() and not is_class_file(path):
        raise RequestError(
            f"{path} isn't a class file: weeks are planned in {CLASS_FILE_NAME} beside the songs; name that file, or "
            "its folder. To order songs from easy to hard, say --suggest"
        )
    return path


def check_may_plan(path: Path, *, replace: bool = False) -> None:
    """Refuse a plan that can't be written, before any song is read; `RequestError`."""
    check_ending(path, (".pdf",), "plan", ".pdf")
    check_may_make(path, replace=replace)


def write_plan(path: Path, plan: TermPlan, paper: str, *, replace: bool = False) -> None:
    """Write a plan, whole or not at all; errors as for `check_may_plan`."""
    write_made(path, plan_pdf(plan, paper), maker="plan", replace=replace)


@dataclass(frozen=True, slots=True)
class _ReadSong:
    source: SongSource
    sets: tuple[ReadySet, ...]

    @property
    def arrangement(self) -> Arrangement:
        """The song as the first set plays it."""
        return self.sets[0].arrangement


def _read_songs(
    weeks: Sequence[Week], folder: Path, shared: ClassFile, listener: Listener
) -> dict[str, _ReadSong]:
    """Read and arrange each song once, and refuse all bars and tracks that aren't there in one go."""
    names = list(dict.fromkeys(planned.song for week in weeks for planned in week.songs))
    options = with_class(KitOptions(), shared)

    def read(source: SongSource) -> _ReadSong:
        found = _ReadSong(source, ready_sets(source, options, listener))
        for number, week in enumerate(weeks, 1):
            for planned in week.songs:
                if planned.song == Path(source.file_name).stem:
                    _check(planned, found, f"{CLASS_FILE_NAME}, weeks, week {number}, {planned.song}")
        return found

    sources = [source_of(folder / f"{name}.yaml") for name in names]
    return dict(zip(names, each_of(sources, read), strict=True))


def _check(planned: WeekSong, found: _ReadSong, where: str) -> None:
    try:
        _bar_numbers(planned, found.arrangement)
        _tracks(planned, found, met_before=False)
    except RequestError as error:
        raise RequestError(f"{where}: {error}") from None


def _bar_numbers(planned: WeekSong, arrangement: Arrangement) -> list[int]:
    """Return the numbers of the bars that are practised: all of them where the week names none."""
    if not planned.bars:
        return [bar.number for bar in arrangement.bars]
    return [arrangement.bars[index].number for index in bar_indices(planned.bars, arrangement.bars)]


def _tracks(planned: WeekSong, found: _ReadSong, *, met_before: bool) -> tuple[PlannedTrack, ...]:
    song = found.arrangement.song
    own = own_recipes_of(song, found.source)
    recipes = [
        recipe_named(name, own, song.layers)
        for name in planned.tracks or (LATER if met_before else FIRST_TIME)
    ]
    return tuple(PlannedTrack(recipe.name, recipe.purpose) for recipe in recipes)


def _weeks(weeks: Sequence[Week], songs: dict[str, _ReadSong]) -> Iterator[PlannedWeek]:
    known = Known()
    met_songs: set[str] = set()
    for number, week in enumerate(weeks, 1):
        planned = []
        for each in week.songs:
            found = songs[each.song]
            met = met_in(found.arrangement, frozenset(_bar_numbers(each, found.arrangement)))
            planned.append(_planned(each, found, known.new_in(met), met_before=each.song in met_songs))
            known = known.after(met)
            met_songs.add(each.song)
        yield PlannedWeek(number, week.name, week.note, tuple(planned))


def _planned(planned: WeekSong, found: _ReadSong, new: tuple[Met, ...], *, met_before: bool) -> PlannedSong:
    arrangement = found.arrangement
    numbers = _bar_numbers(planned, arrangement)
    hard = [place for place in report_of(arrangement).hardest_places if place.bar_number in set(numbers)]
    return PlannedSong(
        song=planned.song,
        title=arrangement.song.title,
        bars=_bars_shown(numbers) if planned.bars else "",
        note=planned.note,
        new=new,
        shapes=_new_shapes(arrangement, numbers, new),
        by_ear=_by_ear(new),
        hard=tuple(place for place in hard[:MOST_HARD] if place.cost > 0),
        parts=tuple(_parts(found, frozenset(numbers))),
        tracks=_tracks(planned, found, met_before=met_before),
    )


def _new_shapes(arrangement: Arrangement, numbers: Sequence[int], new: Iterable[Met]) -> tuple[ShapeUse, ...]:
    """Return the shapes that are new, each once."""
    wanted = {each.name for each in new if each.kind == "shape"}
    found: dict[str, ShapeUse] = {}
    for use in shapes_used(arrangement, frozenset(numbers)):
        frets = frets_text(use.frets)
        if frets in wanted:
            found.setdefault(frets, use)
    return tuple(found.values())


def _bars_shown(numbers: Sequence[int]) -> str:
    first, last = min(numbers), max(numbers)
    if first == 0:
        return f"the pick-up and bars up to {last}" if last else "the pick-up"
    return f"bar {first}" if first == last else f"bars {first} to {last}"


def _by_ear(new: Sequence[Met]) -> tuple[ShownByEar, ...]:
    """Return what is heard before it is read, in order of the bars."""
    shown = [
        ShownByEar(each.bar_number, f"{BY_EAR[each.kind]} {each.shown}")
        for each in new
        if each.kind in BY_EAR
    ]
    return tuple(sorted(shown[:MOST_SHOWN], key=lambda each: each.bar_number))


def _parts(found: _ReadSong, numbers: frozenset[int]) -> Iterator[PlannedPart]:
    """Yield what each set of a mixed class plays; of one set alone, what each layer does."""
    if len(found.sets) > 1:
        for one in found.sets:
            yield PlannedPart(one.title, _asked(one.arrangement, numbers))
        return
    arrangement = found.arrangement
    for layer in arrangement.song.layers:
        inside = [each for each in _struck(arrangement, numbers) if each.layer == layer]
        if inside:
            yield PlannedPart(layer, _strokes(inside))


def _struck(arrangement: Arrangement, numbers: frozenset[int]) -> list[Gesture]:
    return [each for each in (*arrangement.gestures, *arrangement.second) if each.bar_number in numbers]


def _asked(arrangement: Arrangement, numbers: frozenset[int]) -> str:
    met = met_in(arrangement, numbers)
    shapes = sum(each.kind == "shape" for each in met)
    fret = next((f"up to {each.shown}" for each in met if each.kind == "fret"), "open strings alone")
    return f"{_strokes(_struck(arrangement, numbers))}; {counted(shapes, 'shape')}, {fret}"


def _strokes(gestures: Sequence[Gesture]) -> str:
    actions = [each.action for each in gestures]
    counts = (
        (actions.count("roll"), "roll"),
        (actions.count("single"), "single note"),
        (actions.count("strum") + actions.count("chop"), "strum"),
    )
    return ", ".join(counted(count, what) for count, what in counts if count)


# ---- an order of songs


@dataclass(frozen=True, slots=True)
class SuggestedSong:
    """A song in its place from easy to hard: as it was given, its title, why it stands there, what it brings."""

    given: str
    title: str
    ranked: RankedSong

    def as_json(self) -> dict[str, Any]:
        """Return it as plain values for JSON."""
        hardness = {**asdict(self.ranked.hardness), "cost": self.ranked.hardness.cost}
        return {
            "given": self.given,
            "title": self.title,
            "hardness": hardness,
            "why": self.ranked.hardness.sentence,
            "new": [asdict(each) for each in self.ranked.new],
        }


def songs_in(given: Sequence[str]) -> list[Path]:
    """Return songs as they are named: of a folder, all that lie in it."""
    found: list[Path] = []
    for path in map(Path, given):
        found += sorted(path.glob("*.yaml")) if path.is_dir() else [path]
    return [path for path in found if len(found) == 1 or not is_class_file(path)]


def suggested_order(
    songs: GivenSong | Sequence[GivenSong], listener: Listener = unheard
) -> tuple[SuggestedSong, ...]:
    """Return songs from easy to hard, as their class's first set plays them; parameters and errors as `plan_of`."""
    sources = sources_of(songs, listener)

    def read(source: SongSource) -> Arrangement:
        return ready_sets(source, with_class(KitOptions(), source.class_file()), listener)[0].arrangement

    arrangements = each_of(sources, read)
    return tuple(
        SuggestedSong(sources[each.index].shown, arrangements[each.index].song.title, each)
        for each in easy_first(arrangements)
    )
