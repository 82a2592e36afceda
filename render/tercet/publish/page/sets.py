"""One page for a mixed class: the sets of a song that are in it, what a student can choose, how the others are packed.

The first set stands in the page as it is, and plays without any of this. Each further one is the same parts of the page
once more (`templates/set.html`) as base64 of gzip (RFC 1952), which browsers unpack when it is chosen.
"""

from __future__ import annotations

import base64
import gzip
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from tercet.arranging import Arrangement
from tercet.publish.page.markup import data_for_page, filled, html, text_table
from tercet.publish.page.sound import PageSound
from tercet.publish.page.take_home import Files
from tercet.song import Players

__all__ = [
    "Facts",
    "KitTrack",
    "PageSet",
    "TrackBar",
    "Turn",
    "choices",
    "choices_of_class",
    "packed_set",
    "sets_facts",
    "tuning_of",
]

Facts: TypeAlias = Mapping[str, Any]
"""What the page's script reads, by name."""

HANDS = ("right", "left")
PARTS_OF_CLASS = ("song", "second")
"""Which hand strums and rolls; what is played: the song's layers, or its second voice."""


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
class PageSet:
    """What a page has of one set of a song.

    Parameters
    ----------
    arrangement
        The song as it is arranged for these players.
    sound
        What the page plays.
    tracks
        The kit's recordings that it plays.
    downloads
        What can be taken home.
    key_semitones
        How far its key lies from that of the class.
    folder
        Where its own files lie as seen from the page, with a slash at the end; empty for the page's folder.
    """

    arrangement: Arrangement
    sound: PageSound
    tracks: Sequence[KitTrack] = ()
    downloads: Files | None = None
    key_semitones: int = 0
    folder: str = ""

    @property
    def tuning(self) -> str:
        """The name of its tuning, or its notes."""
        return tuning_of(self.arrangement)


def tuning_of(arrangement: Arrangement) -> str:
    """Return the name of an arrangement's tuning, or its notes."""
    tuning = arrangement.tuning
    return tuning.name if tuning.name != "custom" else " ".join(map(str, tuning.open_pitches))


def sets_facts(sets: Sequence[PageSet]) -> list[dict[str, Any]]:
    """Return what the page's script knows of all sets."""
    return [
        {"tuning": one.tuning, "players": one.arrangement.song.players, "key": one.key_semitones}
        for one in sets
    ]


def packed_set(values: Mapping[str, Any], data: Mapping[str, Facts], first: Mapping[str, Facts]) -> str:
    """Return a further set as text for the page; of its data what is the first set's too is left out."""
    own = {
        kind: data_for_page({name: fact for name, fact in facts.items() if first[kind].get(name) != fact})
        for kind, facts in data.items()
    }
    text = html("set.html", {**values, **own})
    return base64.b64encode(gzip.compress(text, 9, mtime=0)).decode("ascii")


def choices(sets: Sequence[PageSet]) -> list[dict[str, Any]]:
    """Return what a student can choose, in the order of the page: of what, and among what.

    The instrument is there also where there is only one: the page says which.
    """
    parts = PARTS_OF_CLASS if sets[0].arrangement.second else ()
    return _axes(
        {
            "tuning": {one.tuning: _instrument(one.tuning) for one in sets},
            "players": {one.arrangement.song.players: _players(one.arrangement.song.players) for one in sets},
            "part": {part: _both(text_table()[f"whose_{part}"]) for part in parts},
            "key": {str(one.key_semitones): _key(str(one.arrangement.song.key)) for one in sets},
            "hand": _hands(),
        }
    )


def choices_of_class(songs: Iterable[Sequence[tuple[str, Players]]]) -> list[dict[str, Any]]:
    """Return what can be chosen for all songs of a class, of each song's sets: what some of its pages let choose."""
    tunings: dict[str, tuple[str, str]] = {}
    levels: dict[str, tuple[str, str]] = {}
    for song in songs:
        here: dict[str, tuple[str, str]] = {tuning: _instrument(tuning) for tuning, _ in song}
        who: dict[str, tuple[str, str]] = {players: _players(players) for _, players in song}
        tunings |= here if len(here) > 1 else {}
        levels |= who if len(who) > 1 else {}
    return _axes(
        {
            "tuning": tunings,
            "players": levels,
            "hand": _hands(),
        }
    )


def _axes(found: Mapping[str, Mapping[str, tuple[str, str]]]) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "label": text_table()[f"mine_of_{name}"],
            "choices": [
                {"value": value, "shown": shown, "said": said} for value, (shown, said) in among.items()
            ],
        }
        for name, among in found.items()
        if len(among) > (name != "tuning")
    ]


def _hands() -> dict[str, tuple[str, str]]:
    return {hand: (text_table()[f"mine_hand_{hand}"], text_table()[f"mine_said_{hand}"]) for hand in HANDS}


def _both(words: str) -> tuple[str, str]:
    return words, words


def _instrument(tuning: str) -> tuple[str, str]:
    """Return what an instrument is called by its tuning, on its button and in the page's sentence."""
    return _both(text_table().get(f"mine_tuning_{tuning}", tuning))


def _players(players: Players) -> tuple[str, str]:
    return text_table()[f"mine_players_{players}"], text_table()[f"level_{players}"]


def _key(key: str) -> tuple[str, str]:
    return key, filled("mine_said_key", key=key)
