"""From the options of a command to a song that is ready to be played."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.options import as_asked, kept_as_asked, one_tuning_of, tuned_and_moved, tunings_of
from tercet.cli.talk import building, say

if TYPE_CHECKING:
    from tercet.arranging import Arrangement, Problem
    from tercet.song import Players, Song
    from tercet.sound.sf2_reader import SoundFont
    from tercet.theory import Tuning
    from tercet.tracks.playing import Playing

__all__ = [
    "ReadySet",
    "arranged",
    "playing_of",
    "ready_sets",
    "ready_song",
    "say_measuring",
    "say_problems",
    "show_off_neck",
    "show_problems",
]

MOST_PROBLEMS_SHOWN = 6


@dataclass(frozen=True, slots=True)
class ReadySet:
    """One set of a song, ready to be played.

    `folder_name` is its folder in the song's own, `title` what tags and messages call it; both are empty where there is
    only one set.
    """

    folder_name: str
    title: str
    arrangement: Arrangement
    font: SoundFont


def arranged(song: Song, arguments: argparse.Namespace) -> Arrangement:
    """Arrange a song as the options of `tercet.cli.options.add_arranging_options` say."""
    from tercet.arranging import arrange

    tuning = one_tuning_of(arguments.tuning) if arguments.tuning else None
    moved, strings = _tuned(kept_as_asked(song, arguments), arguments.transpose, tuning)
    return arrange(_played_by(moved, arguments.players), strings)


def ready_song(arguments: argparse.Namespace) -> ReadySet:
    """Read and arrange a song, and choose its sound."""
    from tercet.arranging import arrange
    from tercet.song import read_song

    written = as_asked(read_song(Path(arguments.song)), arguments)
    tuning = one_tuning_of(arguments.tuning) if arguments.tuning else None
    song, strings = _tuned(written, arguments.transpose, tuning)
    arrangement = arrange(_played_by(song, arguments.players), strings)
    return ReadySet("", "", arrangement, _font(arguments, song))


def playing_of(arguments: argparse.Namespace, one: ReadySet) -> Playing:
    """Return a set as it is played."""
    from tercet.sound.fluid import FluidSynthesiser
    from tercet.tracks.playing import Playing

    return Playing(
        one.arrangement,
        FluidSynthesiser(one.font),
        seed=arguments.seed,
        dry=arguments.dry,
        clear=arguments.clear,
        progress=say_measuring,
    )


def ready_sets(arguments: argparse.Namespace) -> tuple[ReadySet, ...]:
    """Read a song and arrange it for each tuning and for all players that are asked for.

    Returns
    -------
    tuple of ReadySet
        In the order of their tunings, then of their players. All share key and bars.
    """
    from tercet.song import read_song

    written = as_asked(read_song(Path(arguments.song)), arguments)
    tunings: tuple[Tuning | None, ...] = tunings_of(arguments.tuning) if arguments.tuning else (None,)
    hands: tuple[Players | None, ...] = arguments.players or (None,)
    font = _font(arguments, written)
    sets: list[ReadySet] = []
    several = len(tunings) > 1
    for tuning, lower in zip(tunings, _octaves(written, tunings, arguments.transpose, hands), strict=True):
        song, strings = _tuned(written, arguments.transpose - 12 * lower, tuning, name_it=several)
        if lower:
            _say_lower(strings, arguments.transpose - 12)
        parts = _parts(song, strings, hands)
        for players, part in zip(hands, parts, strict=True):
            words = [_tuning_name(strings) if several else "", (players or "") if len(hands) > 1 else ""]
            title = ", ".join(filter(None, words))
            sets.append(ReadySet(_folder_name(title), title, part, font))
    return tuple(sets)


def _tuned(
    written: Song, transpose: int, tuning: Tuning | None, *, name_it: bool = False
) -> tuple[Song, Tuning]:
    """Return a song in its key and its tuning, and say what had to be dropped, for which tuning if asked."""
    song, strings, dropped = tuned_and_moved(written, transpose, tuning)
    if dropped:
        where = f"{_tuning_name(strings)}: " if name_it else ""
        say(f"{where}pins are for the song as written and were dropped: {', '.join(dropped)}")
    return song, strings


def _played_by(song: Song, players: Players | None) -> Song:
    return replace(song, players=players) if players else song


def _parts(song: Song, tuning: Tuning, hands: Sequence[Players | None]) -> list[Arrangement]:
    """Return a part for each of the players; beginners beside others get the simple one."""
    from tercet.arranging import arrange

    return [
        arrange(_played_by(song, players), tuning, simple=players == "beginner" and len(hands) > 1)
        for players in hands
    ]


def _tuning_name(tuning: Tuning) -> str:
    """Return a tuning's name, or its notes: ``A4 D4 F#4 B4``."""
    return tuning.name if tuning.name != "custom" else " ".join(map(str, tuning.open_pitches))


def _folder_name(title: str) -> str:
    """Return a set's title as a folder's name that every system takes: ``low-g-beginner``, ``a4-d4-fs4-b4``."""
    return title.replace(", ", "-").replace(" ", "-").replace("#", "s").lower()


def _octaves(
    written: Song, tunings: Sequence[Tuning | None], transpose: int, hands: Sequence[Players | None]
) -> tuple[bool, ...]:
    """Return for each tuning of a kit whether its players take the tune an octave lower than the others."""
    named = [tuning for tuning in tunings if tuning is not None]
    from tercet.arranging.advice import lower_octaves
    from tercet.theory.limits import MOST_SEMITONES

    if len(named) < 2 or abs(transpose) > MOST_SEMITONES:
        return (False,) * len(tunings)

    return lower_octaves(written, named, transpose, [players or written.players for players in hands])


def _say_lower(tuning: Tuning, transpose: int) -> None:
    say(
        f"{_tuning_name(tuning)}: the tune is an octave lower, where it lies better on these strings "
        f"(one track alone: tercet render --transpose {transpose} --tuning {_asked_as(tuning)})"
    )


def _asked_as(tuning: Tuning) -> str:
    return _tuning_name(tuning).replace(" ", ",")


def say_measuring(what: str, done: int, _total: int) -> None:
    """Say once that a new sound is measured."""
    if done == 0:
        say(f"{what}, once for each sound …")


def _font(arguments: argparse.Namespace, song: Song) -> SoundFont:
    from tercet.sound.soundfont_choice import choose_font

    folder = Path(arguments.song).parent
    with building() as progress:
        return choose_font(arguments.sound, song.sound, folder, os.environ, progress=progress).sound


def show_problems(arrangement: Arrangement, set_title: str = "") -> None:
    """Say what the players can't do as written, first notes that no string has; of several sets, for which."""
    start = f"{set_title}: " if set_title else ""
    ordered = sorted(arrangement.problems, key=lambda problem: not problem.off_neck)
    say_problems(ordered[:MOST_PROBLEMS_SHOWN], start)
    more = len(arrangement.problems) - MOST_PROBLEMS_SHOWN
    if more > 0:
        say(f"{start}… and {more} more: `tercet check` shows all")


def show_off_neck(arrangement: Arrangement) -> None:
    """Say which notes no string has, and what becomes of them."""
    say_problems(problem for problem in arrangement.problems if problem.off_neck)


def say_problems(problems: Iterable[Problem], start: str = "") -> None:
    """Say problems, each with its remedy, after a start that they share."""
    for problem in problems:
        remedy = f" Remedy: {problem.remedy}." if problem.remedy else ""
        say(f"{start}bar {problem.bar_number} ({problem.section}): {problem.message}.{remedy}")
