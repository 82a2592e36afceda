"""A song's page: everything put together, as HTML that holds what a song says as data alone."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from types import MappingProxyType
from typing import Any
from urllib.parse import quote

from tercet import __version__
from tercet.arranging import Arrangement, second_part
from tercet.arranging.model import explained
from tercet.performing import Take
from tercet.publish.page.kept_page import FOLDER
from tercet.publish.page.listening import hearing_script, packed_text, wanted_facts
from tercet.publish.page.markup import (
    class_script,
    data_for_page,
    filled,
    html,
    look_text,
    player_script,
    policy,
    policy_of_one_file,
    text_table,
)
from tercet.publish.page.modelled import ANY_SPEED_PERCENT, OF_SOUND, string_facts
from tercet.publish.page.music import MusicView, engraved_music, marks_of_notes, spoken_bars
from tercet.publish.page.sets import (
    Facts,
    KitTrack,
    PageSet,
    choices,
    choices_of_class,
    packed_set,
    sets_facts,
)
from tercet.publish.page.song_facts import (
    PLACES,
    SongFacts,
    counted_in,
    pulse_facts,
    song_facts,
    speed_facts,
)
from tercet.publish.page.sound import KNOCKS_APART_S, PageSound, SpeedTiming
from tercet.publish.page.stems import MUSIC_FRAME, PULSE_FRAME, PULSE_HZ, PULSE_WIDTH_S, STEM_RATE_HZ
from tercet.publish.page.take_home import size_shown, take_home
from tercet.publish.page.taken_along import taken_along
from tercet.publish.pictures.chord_diagram import chord_diagram_drawing
from tercet.publish.pictures.shapes_used import ShapeUse
from tercet.publish.pictures.take_picture import RowPlace, row_places, take_picture
from tercet.publish.score.mei import Score
from tercet.publish.shapes import Drawing
from tercet.publish.svg import svg_element, svg_text
from tercet.song import Layer, Players, Song, played_visits
from tercet.sound.struck import PEAK
from tercet.tracks.in_memory import PARTS
from tercet.tracks.timelines import phrase_ranges
from tercet.wording import nth_time

__all__ = [
    "LONGEST_TITLE",
    "ListedSong",
    "PagePlan",
    "PageWeek",
    "class_page",
    "song_page",
]

LONGEST_TITLE = 120
"""Characters of a title that a browser's tab and a list get; the song's page itself shows all of it."""

MOST_NEW_DRAWN = 8
"""Shapes of new chords that the list draws of one song."""

_PLAIN_IN_ADDRESS = " /:;,=()'!*?@&$"
"""Signs that stand as they are in the address of a picture, and say no more than themselves there."""

LATEST_PULSE_FRAME = 9_000
"""Where the page looks for a stem's pulse at the latest: no decoder delays by more than a tenth of a second."""


@dataclass(frozen=True, slots=True)
class PageLesson:
    """Where a song stands in the lesson of this week.

    Parameters
    ----------
    step, count
        Which of how many songs it is, from 1.
    before, after
        Page, as seen from this one, and title of the songs before and after it; None where there is none.
    """

    step: int
    count: int
    before: tuple[str, str] | None = None
    after: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class ListedWeek:
    """A week of a class on the list of its songs: what it is called, a note, and page, title and bars of each song."""

    name: str
    note: str
    songs: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class PageWeek:
    """What is practised of a song this week.

    Parameters
    ----------
    note
        What the teacher says.
    bars
        Places of the bars in the piece as played.
    lesson
        Where it stands in the lesson; None where its class plans no weeks.
    """

    note: str = ""
    bars: tuple[int, ...] = ()
    lesson: PageLesson | None = None

    def shown(self, arrangement: Arrangement) -> str:
        """Return its bars in words; empty for none."""
        if not self.bars:
            return ""
        first, last = (arrangement.bars[bar].number for bar in (min(self.bars), max(self.bars)))
        if first == 0:
            return filled("again_from_pickup", last=last) if last else text_table()["again_pickup"]
        return filled("again_bar" if first == last else "again_bars", first=first, last=last)

    def words(self, arrangement: Arrangement) -> str:
        """Return all of it in one line."""
        return ". ".join(filter(None, (self.shown(arrangement), self.note)))


@dataclass(frozen=True, slots=True)
class PagePlan:
    """What a page is made of.

    Parameters
    ----------
    sets
        The song as it is arranged for each part of the class; the page opens with the first.
    class_href
        The list of the class's songs as seen from the page; empty for none.
    week
        What is practised of it this week; None where the class file doesn't say.
    findable
        Whether search engines may list it.
    left_handed
        Whether the shapes are mirrored unless a student chooses otherwise.
    one_file
        Whether everything stands in the page itself.
    """

    sets: Sequence[PageSet]
    class_href: str = ""
    week: PageWeek | None = None
    findable: bool = False
    left_handed: bool = False
    one_file: bool = False


@dataclass(frozen=True, slots=True)
class ListedSong:
    """A song in the class's list.

    Parameters
    ----------
    href
        Where its page lies, as seen from the list.
    title
        What it is called.
    facts
        A few words each: who made it, its key, its meter.
    players
        For whom it is arranged.
    shapes
        What its chords are played with, in the order of first use.
    first_line
        Where its first line lies as a recording; empty for none.
    sets
        Of each set of its page the tuning, as `PageSet.tuning`, and who plays.
    week
        What is practised of it this week, in words; empty for nothing.
    """

    href: str
    title: str
    facts: tuple[str, ...]
    players: Players = "improving"
    shapes: tuple[ShapeUse, ...] = ()
    first_line: str = ""
    sets: tuple[tuple[str, Players], ...] = ()
    week: str = ""


def song_page(plan: PagePlan) -> dict[str, bytes]:
    """Return the files of a song's page by name; ``index.html`` is the page.

    The stems lie beside them already, or stand in the page where all is in one file.
    """
    first, *others = [_made_set(plan, one) for one in plan.sets]
    song = first.values["song"]
    modelled = any(one.sound.modelled is not None for one in plan.sets)
    in_lesson = plan.week is not None and plan.week.lesson is not None
    style, script = look_text(), player_script(modelled=modelled, in_lesson=in_lesson)
    hearing = hearing_script() if any(one.data["facts"]["wanted"] for one in (first, *others)) else ""
    values = {
        **first.values,
        "index": plan.class_href,
        "week": _week_words(plan),
        "short_title": song["title"][:LONGEST_TITLE],
        "root": None if plan.one_file or not plan.class_href else plan.class_href.removesuffix("index.html"),
        "style": style if plan.one_file else "",
        "script": script if plan.one_file else "",
        "hearing": packed_text(hearing) if plan.one_file and hearing else "",
        "stems": [{"name": name, "text": text} for name, text in plan.sets[0].sound.texts.items()],
        **{kind: data_for_page(facts) for kind, facts in first.data.items()},
        "of_class": False,
        "findable": plan.findable,
        "axes": choices(plan.sets),
        "others": [packed_set(one.values, one.data, first.data) for one in others],
        "policy": policy_of_one_file(script, style, *([hearing] if hearing else []))
        if plan.one_file
        else policy(),
    }
    page = {"index.html": html("song.html", values)}
    if plan.one_file:
        return page
    maps = {one.map_file: one.map_svg for one in (first, *others)}
    return {
        **page,
        f"{FOLDER}look.css": style.encode("utf-8"),
        f"{FOLDER}player.js": script.encode("utf-8"),
        **({f"{FOLDER}hearing.js": hearing.encode("utf-8")} if hearing else {}),
        **maps,
    }


@dataclass(frozen=True, slots=True)
class _MadeSet:
    """What a page says of one set: in its templates, to its player; and the picture of how it was played, a file.

    ``data`` has what the player reads at once as ``facts``, and what it needs when it sounds as ``sound``.
    """

    values: dict[str, Any]
    data: dict[str, Facts]
    map_file: str
    map_svg: bytes


def _made_set(plan: PagePlan, one: PageSet) -> _MadeSet:
    timings = one.sound.timings
    drawn = next((at for at, timing in enumerate(timings) if timing.speed == 1), len(timings) - 1)
    facts = song_facts(one.arrangement, timings[drawn].take)
    picture = take_picture(timings[drawn].take, one.arrangement)
    map_file, svg = f"{FOLDER}{one.folder}take.svg", svg_text(picture)
    score, views = engraved_music(one.arrangement, "song" if one.arrangement.second else "")
    second = _second_music(one.arrangement, facts)
    wanted = wanted_facts(one.arrangement)
    values = {
        **_song_values(one, facts, (*views, *second.views), left_handed=plan.left_handed),
        "heard": bool(wanted),
        "hearing_src": "" if plan.one_file else f"{FOLDER}hearing.js",
        "second": second.views,
        "map": {
            "src": f"data:image/svg+xml,{quote(svg, safe=_PLAIN_IN_ADDRESS)}" if plan.one_file else map_file,
            "width": round(picture.width),
            "height": round(picture.height),
        },
    }
    told = {
        **_player_facts(one, facts, score, drawn, picture),
        **second.facts,
        "title": one.arrangement.song.title,
        "sets": sets_facts(plan.sets),
        "hand": "left" if plan.left_handed else "right",
        "wanted": wanted,
    }
    sound = {name: told.pop(name) for name in OF_SOUND if name in told}
    return _MadeSet(values, {"facts": told, "sound": sound}, map_file, svg.encode("utf-8"))


@dataclass(frozen=True, slots=True)
class _SecondMusic:
    """The music of a second voice, and what the player knows of it; nothing for a song without one."""

    views: tuple[MusicView, ...] = ()
    facts: dict[str, Any] = field(default_factory=dict)


def _second_music(arrangement: Arrangement, facts: SongFacts) -> _SecondMusic:
    """Return the music of a second voice; its gestures are counted on from the others'."""
    if not arrangement.second:
        return _SecondMusic()
    part, first = second_part(arrangement), len(arrangement.gestures)
    score, views = engraved_music(part, "second")
    notes = [(facts.gestures[gesture] - first, string) for _, _, string, gesture, _ in facts.facts["notes"]]
    told = {
        "printed": score.bar_ids,
        "marks": marks_of_notes(score, part, notes),
        "spoken": spoken_bars(part),
    }
    return _SecondMusic(views, {"second": told})


LINKED = {"songbook.pdf": "songbook_link", "feed.xml": "feed_link"}
"""Files beside the list of songs that it links, and the text for each."""

NOTHING_BESIDE: Mapping[str, int] = MappingProxyType({})


def class_page(
    title: str,
    songs: Iterable[ListedSong],
    weeks: Sequence[ListedWeek] = (),
    beside: Mapping[str, int] = NOTHING_BESIDE,
    *,
    left_handed: bool = False,
    findable: bool = False,
) -> dict[str, bytes]:
    """Return the files of the list of a class's songs by name.

    Parameters
    ----------
    title
        What the class is called.
    songs
        In the order in which they are learnt.
    weeks
        Its weeks up to this one, which comes first; none where it plans none.
    beside
        Those of `LINKED` that lie beside it, with their bytes.
    left_handed
        Mirror the shapes.
    findable
        Whether search engines may list it.
    """
    songs = tuple(songs)
    values = {
        "policy": policy(),
        "of_class": True,
        "axes": choices_of_class([song.sets for song in songs]),
        "hand": "left" if left_handed else "right",
        "title": title or text_table()["class_title"],
        "songs": list(_listed(songs, left_handed=left_handed)),
        "this_week": weeks[0] if weeks else None,
        "earlier": weeks[1:],
        "beside": [
            {"href": name, "shown": filled(LINKED[name], size=size_shown(size))}
            for name, size in beside.items()
        ],
        "findable": findable,
        "made_with": filled("made_with", version=__version__, licence="").strip(),
    }
    return {
        "index.html": html("class.html", values),
        "class.js": class_script().encode("utf-8"),
        "look.css": look_text().encode("utf-8"),
        **taken_along(str(values["title"])),
    }


def _listed(songs: Iterable[ListedSong], *, left_handed: bool) -> Iterator[dict[str, Any]]:
    """Yield what the list says of each song, and what is new in it: chords and shapes that no song before it has."""
    known: set[tuple[str, tuple[int | None, ...]]] = set()
    chords: set[str] = set()
    for song in songs:
        by_frets = {(shape.chord, shape.frets): shape for shape in song.shapes}
        new = [shape for key, shape in by_frets.items() if key not in known]
        first = {shape.chord: shape for shape in reversed(new) if shape.chord not in chords | {""}}
        drawn = [shape for shape in new if first.get(shape.chord) is shape]
        yield {
            "href": song.href,
            "title": song.title,
            "facts": (*song.facts, text_table()[f"level_{song.players}"]),
            "first_line": song.first_line,
            "week": filled("week_listed", said=song.week) if song.week else "",
            "new": _new_words([shape.chord for shape in drawn], len(new) - len(drawn)),
            "drawn": [
                svg_element(chord_diagram_drawing(shape, left_handed=left_handed))
                for shape in drawn[:MOST_NEW_DRAWN]
            ],
        }
        known |= by_frets.keys()
        chords |= first.keys()


def _new_words(chords: Sequence[str], more_shapes: int) -> str:
    """Return what is new in a song, in a sentence or two."""
    said = []
    if chords:
        said.append(filled("new_chords" if len(chords) > 1 else "new_chord", chords=", ".join(chords)))
    if more_shapes:
        said.append(filled("new_shapes" if more_shapes > 1 else "new_shape", count=more_shapes))
    return " ".join(said) or text_table()["new_none"]


# What the page shows


def _song_values(
    one: PageSet, facts: SongFacts, views: Sequence[MusicView], *, left_handed: bool
) -> dict[str, Any]:
    """Return what the template writes of a set; it escapes all of it but the drawings."""
    song = one.arrangement.song
    return {
        "folder": FOLDER,
        "song": {
            "title": song.title,
            "composer": song.composer,
            "key": str(song.key),
            "meter": str(song.meter),
            "tempo": f"{float(song.tempo):g}",
            "tuning": one.arrangement.tuning.name,
        },
        "layers": [{**layer, "rests": layer["natural"] == "out"} for layer in facts.facts["layers"]],
        "places": PLACES,
        "visits": [{"shown": name} for name in _named_visits(one.arrangement)],
        "music": views,
        "explained": tuple(explained(one.arrangement)),
        "tracks": [_track_words(track) for track in one.tracks],
        "home": take_home(one.downloads or {}),
        "shapes": [
            svg_element(chord_diagram_drawing(shape, left_handed=left_handed)) for shape in facts.shapes
        ],
        "made_with": filled("made_with", version=__version__, licence=song.licence).strip(),
    }


def _week_words(plan: PagePlan) -> dict[str, Any] | None:
    """Return what stands at the page's head of this week, and which bars its button repeats."""
    week = plan.week
    if week is None:
        return None
    shown = week.shown(plan.sets[0].arrangement)
    return {
        "note": week.note,
        "lesson": _lesson_words(week.lesson) if week.lesson else None,
        "bars": filled("week_repeat", bars=shown) if shown else "",
        "first": min(week.bars, default=0),
        "last": max(week.bars, default=0),
    }


def _lesson_words(lesson: PageLesson) -> dict[str, Any]:
    """Return what the page says of its place in the lesson, and its links to the boards of the songs around it."""
    around = {"before": lesson.before, "after": lesson.after}
    return {
        "told": filled("lesson_told", step=lesson.step, count=lesson.count),
        "links": [
            {"name": name, "href": f"{song[0]}#board", "shown": filled(f"lesson_{name}", title=song[1])}
            for name, song in around.items()
            if song is not None
        ],
    }


def _named_visits(arrangement: Arrangement) -> list[str]:
    """Return what each playing of a section is called: by its name, and which time it is where there are several."""
    visits = played_visits(arrangement.bars)
    names = [visit.section for visit in visits]
    return [
        visit.section
        if names.count(visit.section) == 1
        else filled("section_pass", section=visit.section, time=nth_time(visit.pass_number))
        for visit in visits
    ]


def _track_words(track: KitTrack) -> dict[str, str]:
    length_s = round(track.length_s)
    return {
        "href": quote(track.file),
        "name": track.name,
        "purpose": track.purpose,
        "length": f"{length_s // 60}:{length_s % 60:02}",
    }


# What the player knows


def _player_facts(
    one: PageSet, facts: SongFacts, score: Score, drawn: int, picture: Drawing
) -> dict[str, Any]:
    """Return everything that the page's script works from."""
    arrangement, timings = one.arrangement, one.sound.timings
    take = timings[drawn].take
    strings = [(facts.gestures[gesture], string) for _, _, string, gesture, _ in facts.facts["notes"]]
    return {
        **facts.facts,
        "visits": [
            {"name": name, "first": visit.first_bar, "last": visit.last_bar}
            for name, visit in zip(_named_visits(arrangement), played_visits(arrangement.bars), strict=True)
        ],
        "phrases": _phrase_facts(arrangement, take),
        "printed": score.bar_ids,
        "marks": marks_of_notes(score, arrangement, strings),
        "spoken": spoken_bars(arrangement),
        **_speed_facts(one.sound),
        **_sound_facts(one, arrangement, facts, drawn),
        "song": _song_id(arrangement.song),
        "pulses": pulse_facts(arrangement, take),
        "strings": string_facts(arrangement.tuning, modelled=one.sound.modelled is not None),
        "knock_peak": PEAK,
        "map": _map_facts(picture, row_places(take, arrangement), float(timings[drawn].speed * 100)),
        "kit": [_track_facts(track, arrangement) for track in one.tracks],
        "text": dict(text_table()),
    }


def _song_id(song: Song) -> str:
    """Return what a browser keeps a student's choices for a song under: it outlives a new arrangement."""
    return hashlib.sha256(f"{song.title}\0{song.composer}".encode()).hexdigest()[:12]


def _phrase_facts(arrangement: Arrangement, take: Take) -> list[int]:
    """Return the note with which each phrase begins."""
    starts = [phrase.start_beat for phrase in phrase_ranges(arrangement)]
    firsts = (next((at for at, note in enumerate(take.notes) if note.beat >= beat), -1) for beat in starts)
    return sorted({at for at in firsts if at >= 0})


def _speed_facts(sound: PageSound) -> dict[str, Any]:
    """Return the speeds that can be chosen, slowest first, and the one that a page begins with, in percent."""
    asked = [float(speed * 100) for speed in sound.offered]
    steps = () if sound.modelled is None else map(float, ANY_SPEED_PERCENT)
    return {"percents": sorted({*asked, *steps}), "first": 100.0 if 100.0 in asked else asked[0]}


def _sound_facts(one: PageSet, arrangement: Arrangement, facts: SongFacts, drawn: int) -> dict[str, Any]:
    """Return what the player makes its sound of: stems at some speeds, or the take's strokes at any."""
    sound = one.sound
    timing = sound.timings[drawn]
    parts = _part_facts(timing, arrangement.song.layers)
    if sound.modelled is None:
        speeds = [speed_facts(each, arrangement, facts.order) for each in sound.timings]
        return {"speeds": speeds, "parts": parts, "stems": _stem_facts(one.folder)}
    modelled = dict(sound.modelled)
    sounding = modelled.pop("sounding")
    return {
        **modelled,
        "parts": [{**part, **sounding[part["name"]]} for part in parts],
        "peaks": timing.peaks,
        "stems": {"rate": STEM_RATE_HZ},
        "count": counted_in(arrangement, timing.speed),
    }


def _part_facts(timing: SpeedTiming, layers: Sequence[Layer]) -> list[dict[str, Any]]:
    """Return the parts that sound: the layer that each belongs to, and whether it is the tune's."""
    return [
        {"name": name, "layer": layers.index(part.layer), "tune": int(part.tune)}
        for name, part in PARTS.items()
        if name in timing.peaks and part.layer in layers
    ]


def _stem_facts(folder: str) -> dict[str, Any]:
    return {
        "folder": f"{FOLDER}{folder}",
        "rate": STEM_RATE_HZ,
        "pulse": {
            "width": PULSE_WIDTH_S,
            "hertz": PULSE_HZ,
            "before": MUSIC_FRAME - PULSE_FRAME,
            "latest": LATEST_PULSE_FRAME,
        },
        "knocks": {"apart": KNOCKS_APART_S, "length": KNOCKS_APART_S},
    }


def _map_facts(picture: Drawing, rows: Sequence[RowPlace], percent: float) -> dict[str, Any]:
    """Return where the picture's rows lie, their times in ms of a speed in percent."""
    return {
        "width": picture.width,
        "height": picture.height,
        "percent": percent,
        "rows": [
            [
                *(round(length, 1) for length in (row.x, row.y, row.width, row.height)),
                *(round(1000.0 * time_s) for time_s in (row.start_s, row.end_s)),
            ]
            for row in rows
        ],
    }


def _track_facts(track: KitTrack, arrangement: Arrangement) -> dict[str, Any]:
    place = {bar.number: index for index, bar in enumerate(arrangement.bars)}
    return {
        "title": track.title,
        "turns": [asdict(turn) for turn in track.turns],
        "bars": [
            {"index": place[bar.number], "start_s": bar.start_s, "end_s": bar.end_s}
            for bar in track.bars
            if bar.number in place
        ],
    }
