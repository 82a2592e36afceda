"""A song's page: everything put together, as HTML that holds what a song says as data alone."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any
from urllib.parse import quote

from tercet import __version__
from tercet.arranging import Arrangement, second_part
from tercet.arranging.model import explained
from tercet.audio_formats import FORMATS
from tercet.publish.page.kept_page import FOLDER
from tercet.publish.page.markup import (
    data_for_page,
    filled,
    html,
    look_text,
    player_script,
    policy,
    policy_of_one_file,
    text_table,
)
from tercet.publish.page.music import MusicView, engraved_music, marks_of_notes, spoken_bars
from tercet.publish.page.song_facts import PLACES, SongFacts, song_facts, speed_facts
from tercet.publish.page.sound import KNOCKS_APART_S, PageSound, SpeedTiming, speed_label
from tercet.publish.page.stems import MUSIC_FRAME, PULSE_FRAME, PULSE_HZ, PULSE_WIDTH_S, STEM_RATE_HZ
from tercet.publish.pictures.chord_diagram import chord_diagram_drawing
from tercet.publish.pictures.take_picture import RowPlace, row_places, take_picture
from tercet.publish.score.mei import Score
from tercet.publish.shapes import Drawing
from tercet.publish.svg import svg_element, svg_text
from tercet.song import Layer, played_visits
from tercet.tracks.in_memory import PARTS

__all__ = [
    "LONGEST_TITLE",
    "KitTrack",
    "ListedSong",
    "PagePlan",
    "TrackBar",
    "Turn",
    "class_page",
    "song_page",
]

LONGEST_TITLE = 120
"""Characters of a title that a browser's tab and a list get; the song's page itself shows all of it."""

LATEST_PULSE_FRAME = 9_000
"""Where the page looks for a stem's pulse at the latest: no decoder delays by more than a tenth of a second."""

Files = Mapping[str, Sequence[tuple[str, int]]]
"""For each group of downloads its files: where each lies seen from the page, and its bytes."""


@dataclass(frozen=True, slots=True)
class Turn:
    """A stretch of a track: whose it is (``listen``, ``yours``, ``together``, ``count-in``), when, at which step."""

    whose: str
    start_s: float
    end_s: float
    step: str = ""


@dataclass(frozen=True, slots=True)
class TrackBar:
    """A bar as it falls in a track: its number in the piece as played, and when."""

    number: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class KitTrack:
    """A recording of the kit that a page can play."""

    file: str
    name: str
    title: str
    purpose: str
    length_s: float
    bars: tuple[TrackBar, ...]
    turns: tuple[Turn, ...]


@dataclass(frozen=True, slots=True)
class PagePlan:
    """What a page is made of.

    Parameters
    ----------
    arrangement
        The song as it is arranged for this class.
    sound
        Its stems, speed by speed.
    tracks
        The kit's recordings that it plays.
    downloads
        What can be taken home.
    class_href
        The list of the class's songs as seen from the page; empty for none.
    left_handed
        Whether the shapes are mirrored.
    one_file
        Whether everything stands in the page itself.
    """

    arrangement: Arrangement
    sound: PageSound
    tracks: Sequence[KitTrack] = ()
    downloads: Files | None = None
    class_href: str = ""
    left_handed: bool = False
    one_file: bool = False


@dataclass(frozen=True, slots=True)
class ListedSong:
    """A song in the class's list: where its page lies seen from the list, its title, and a few facts."""

    href: str
    title: str
    facts: tuple[str, ...]


def song_page(plan: PagePlan) -> dict[str, bytes]:
    """Return the files of a song's page by name; ``index.html`` is the page.

    The stems lie beside them already, or stand in the page where all is in one file.
    """
    timings = plan.sound.timings
    drawn = next((at for at, timing in enumerate(timings) if timing.speed == 1), len(timings) - 1)
    facts = song_facts(plan.arrangement, timings[drawn].take)
    picture = take_picture(timings[drawn].take, plan.arrangement)
    svg = svg_text(picture).encode("utf-8")
    style, script = look_text(), player_script()
    score, views = engraved_music(plan.arrangement, "song" if plan.arrangement.second else "")
    second = _second_music(plan.arrangement, facts)
    values = {
        **_song_values(plan, facts, (*views, *second.views)),
        "second": second.views,
        "style": "",
        "script": "",
        "stems": (),
        "facts": data_for_page({**_player_facts(plan, facts, score, drawn, picture), **second.facts}),
        "map": {
            "src": f"data:image/svg+xml;base64,{b64encode(svg).decode()}"
            if plan.one_file
            else f"{FOLDER}take.svg",
            "width": round(picture.width),
            "height": round(picture.height),
        },
        "policy": policy_of_one_file(script, style) if plan.one_file else policy(),
    }
    if plan.one_file:
        stems = [{"name": name, "text": text} for name, text in plan.sound.texts.items()]
        values |= {"style": style, "script": script, "stems": stems}
        return {"index.html": html("song.html", values)}
    return {
        "index.html": html("song.html", values),
        f"{FOLDER}look.css": style.encode("utf-8"),
        f"{FOLDER}player.js": script.encode("utf-8"),
        f"{FOLDER}take.svg": svg,
    }


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


def class_page(title: str, songs: Iterable[ListedSong]) -> dict[str, bytes]:
    """Return the files of the list of a class's songs by name."""
    values = {
        "policy": policy(),
        "title": title or text_table()["class_title"],
        "songs": list(songs),
        "made_with": filled("made_with", version=__version__, licence="").strip(),
    }
    return {"index.html": html("class.html", values), "look.css": look_text().encode("utf-8")}


# What the page shows


def _song_values(plan: PagePlan, facts: SongFacts, views: Sequence[MusicView]) -> dict[str, Any]:
    """Return what the template writes of a song; it escapes all of it but the drawings."""
    song = plan.arrangement.song
    return {
        "folder": FOLDER,
        "index": plan.class_href,
        "short_title": song.title[:LONGEST_TITLE],
        "song": {
            "title": song.title,
            "composer": song.composer,
            "key": str(song.key),
            "meter": str(song.meter),
            "tempo": f"{float(song.tempo):g}",
            "tuning": plan.arrangement.tuning.name,
        },
        "layers": [{**layer, "rests": layer["natural"] == "out"} for layer in facts.facts["layers"]],
        "places": PLACES,
        "speeds": [
            {"name": speed_label(timing.speed), "shown": f"{float(timing.speed * 100):g}%"}
            for timing in plan.sound.timings
        ],
        "visits": [
            {"shown": section if passes == 1 else filled("section_pass", section=section, **{"pass": number})}
            for section, number, passes in _named_visits(plan.arrangement)
        ],
        "music": views,
        "explained": tuple(explained(plan.arrangement)),
        "tracks": [_track_words(track) for track in plan.tracks],
        "downloads": [
            {"title": _take_title(group), "files": [_file_words(*file) for file in files]}
            for group, files in (plan.downloads or {}).items()
        ],
        "shapes": [
            svg_element(chord_diagram_drawing(shape, left_handed=plan.left_handed)) for shape in facts.shapes
        ],
        "made_with": filled("made_with", version=__version__, licence=song.licence).strip(),
    }


def _named_visits(arrangement: Arrangement) -> list[tuple[str, int, int]]:
    """Return each playing of a section: its name, its pass, and how many passes the section has."""
    visits = played_visits(arrangement.bars)
    names = [visit.section for visit in visits]
    return [(visit.section, visit.pass_number, names.count(visit.section)) for visit in visits]


def _track_words(track: KitTrack) -> dict[str, str]:
    length_s = round(track.length_s)
    return {
        "href": quote(track.file),
        "name": track.name,
        "purpose": track.purpose,
        "length": f"{length_s // 60}:{length_s % 60:02}",
    }


def _take_title(group: str) -> str:
    own = text_table().get(f"take_{group}")
    return own or filled("take_recordings", kind=FORMATS[f".{group}"].description)


def _file_words(name: str, size: int) -> dict[str, str]:
    shown = f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.1f} kB"
    return {"href": quote(name), "name": name, "size": shown}


# What the player knows


def _player_facts(
    plan: PagePlan, facts: SongFacts, score: Score, drawn: int, picture: Drawing
) -> dict[str, Any]:
    """Return everything that the page's script works from."""
    arrangement, timings = plan.arrangement, plan.sound.timings
    take = timings[drawn].take
    strings = [(facts.gestures[gesture], string) for _, _, string, gesture, _ in facts.facts["notes"]]
    return {
        **facts.facts,
        "visits": [
            {
                "section": visit.section,
                "pass": visit.pass_number,
                "first": visit.first_bar,
                "last": visit.last_bar,
            }
            for visit in played_visits(arrangement.bars)
        ],
        "printed": score.bar_ids,
        "marks": marks_of_notes(score, arrangement, strings),
        "spoken": spoken_bars(arrangement),
        "speeds": [speed_facts(timing, arrangement, facts.order) for timing in timings],
        "parts": _part_facts(timings[drawn], arrangement.song.layers),
        "stems": _stem_facts(),
        "map": _map_facts(picture, row_places(take, arrangement), drawn),
        "kit": [_track_facts(track, arrangement) for track in plan.tracks],
        "text": dict(text_table()),
    }


def _part_facts(timing: SpeedTiming, layers: Sequence[Layer]) -> list[dict[str, Any]]:
    """Return the parts that sound: the layer that each belongs to, and whether it is the tune's."""
    return [
        {"name": name, "layer": layers.index(part.layer), "tune": int(part.tune)}
        for name, part in PARTS.items()
        if name in timing.peaks and part.layer in layers
    ]


def _stem_facts() -> dict[str, Any]:
    return {
        "folder": FOLDER,
        "rate": STEM_RATE_HZ,
        "pulse": {
            "width": PULSE_WIDTH_S,
            "hertz": PULSE_HZ,
            "before": MUSIC_FRAME - PULSE_FRAME,
            "latest": LATEST_PULSE_FRAME,
        },
        "knocks": {"apart": KNOCKS_APART_S, "length": KNOCKS_APART_S},
    }


def _map_facts(picture: Drawing, rows: Sequence[RowPlace], drawn: int) -> dict[str, Any]:
    """Return where the picture's rows lie, their times in ms of the speed at place `drawn`."""
    return {
        "width": picture.width,
        "height": picture.height,
        "speed": drawn,
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
