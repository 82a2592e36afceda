"""From the options of a command to a song that is ready to be played."""

from __future__ import annotations

import argparse
import os
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from render.cli.options import count_in_of, one_tuning_of, tuned_and_moved, tunings_of
from render.cli.talk import say

if TYPE_CHECKING:
    from render.arrange import Arrangement
    from render.neck import Tuning
    from render.perform import Timeline
    from render.song import Players, Song
    from render.sound import Synthesiser
    from render.tracks.kit import Playing

__all__ = ["PlayedSet", "played_sets", "played_song", "show_problems"]

MOST_PROBLEMS_SHOWN = 6

BETTER_COST_PER_NOTE = 1.0
"""An octave lower the tune lies much better when each of its notes costs the hands this much less on average, in the
units of `render.arrange.demands.COSTS`: about a change of position a note."""


@dataclass(frozen=True, slots=True)
class PlayedSet:
    """One set of a kit: its name, empty where there is only one, and how it is played."""

    name: str
    playing: Playing


def played_song(
    arguments: argparse.Namespace, speed: Fraction = Fraction(1), bars: str | None = None
) -> tuple[Playing, Timeline]:
    """Read and arrange a song, choose its sound, and lay out what is asked for."""
    from render.arrange import arrange
    from render.perform import lay_out
    from render.song import read_song
    from render.tracks.kit import Playing

    written = read_song(Path(arguments.song))
    tuning = one_tuning_of(arguments.tuning) if arguments.tuning else None
    song, strings = _for_hands(written, arguments.transpose, tuning, arguments.players)
    arrangement = arrange(song, strings)
    playing = Playing(arrangement, _synthesiser(arguments, song), seed=arguments.seed, dry=arguments.dry)
    indices = None
    if bars:
        from render.song import bar_indices

        indices = bar_indices(bars, arrangement.bars)
    return playing, lay_out(arrangement, indices, speed, count_in_of(arguments.count_in, song))


def played_sets(arguments: argparse.Namespace) -> tuple[tuple[PlayedSet, ...], int]:
    """Read a song and arrange it for each tuning and for all players that are asked for.

    Returns
    -------
    sets, count_in_bars
        In the order of their tunings, then of their players. All share bars and key, and the gain of the first.
    """
    from render.arrange import arrange
    from render.song import read_song
    from render.tracks.kit import Playing

    written = read_song(Path(arguments.song))
    tunings: tuple[Tuning | None, ...] = tunings_of(arguments.tuning) if arguments.tuning else (None,)
    players: tuple[Players | None, ...] = arguments.players or (None,)
    synthesiser = _synthesiser(arguments, written)
    sets: list[PlayedSet] = []
    for tuning in tunings:
        for hands in players:
            song, strings = _for_hands(written, arguments.transpose, tuning, hands)
            simple = hands == "beginner" and len(players) > 1
            name = "-".join(
                filter(
                    None,
                    [_tuning_name(strings) if len(tunings) > 1 else "", hands if len(players) > 1 else ""],
                )
            )
            arrangement = arrange(song, strings, simple=simple)
            if len(tunings) > 1:
                arrangement = _lower_where_better(arrangement, song, name, simple=simple)
            source = sets[0].playing if sets else None
            sets.append(
                PlayedSet(
                    name,
                    Playing(
                        arrangement, synthesiser, seed=arguments.seed, dry=arguments.dry, gain_source=source
                    ),
                )
            )
    return tuple(sets), count_in_of(arguments.count_in, written)


def _for_hands(
    written: Song, transpose: int, tuning: Tuning | None, players: Players | None
) -> tuple[Song, Tuning]:
    """Return a song for some hands in some tuning, and say what had to be dropped."""
    song, strings, dropped = tuned_and_moved(written, transpose, tuning)
    if dropped:
        where = f" for {_tuning_name(strings)}" if tuning is not None else ""
        say(f"pins are for the song as written and were dropped{where}: {', '.join(dropped)}")
    return replace(song, players=players) if players else song, strings


def _tuning_name(tuning: Tuning) -> str:
    """Return a tuning's name, or its notes as they can stand in a file's name: ``a4-d4-fs4-b4``."""
    if tuning.name != "custom":
        return tuning.name
    return "-".join(str(pitch).replace("#", "s").lower() for pitch in tuning.open_pitches)


def _lower_where_better(arrangement: Arrangement, song: Song, name: str, *, simple: bool) -> Arrangement:
    """Return the arrangement, or one with the tune an octave lower where that lies much better for these strings.

    A song that pins its fingering for these strings stays where it is.
    """
    from render.arrange import arrange
    from render.errors import RequestError
    from render.song import transpose_song

    if arrangement.tuning.reentrant:
        return arrangement
    try:
        moved, dropped = transpose_song(song, -12)
    except RequestError:
        return arrangement
    if dropped:
        return arrangement
    lower = arrange(moved, arrangement.tuning, simple=simple)
    notes = sum(gesture.notes[-1].part == "tune" for gesture in arrangement.gestures)
    better = arrangement.cost - lower.cost >= BETTER_COST_PER_NOTE * max(notes, 1)
    if not better or _unplayable(lower) > _unplayable(arrangement):
        return arrangement
    say(f"{name}: the tune is an octave lower, where it lies better on these strings")
    return lower


def _unplayable(arrangement: Arrangement) -> int:
    return sum(problem.unplayable for problem in arrangement.problems)


def _synthesiser(arguments: argparse.Namespace, song: Song) -> Synthesiser:
    from render.sound.fluid import FluidSynthesiser
    from render.sound.fonts import choose_font

    font = choose_font(arguments.sound, song.sound, Path(arguments.song).parent, os.environ)
    return FluidSynthesiser(font.sound)


def show_problems(arrangement: Arrangement, set_name: str = "") -> None:
    """Say what the players can't do as written; where there are several sets, for which."""
    start = f"{set_name}, " if set_name else ""
    for problem in arrangement.problems[:MOST_PROBLEMS_SHOWN]:
        remedy = f" Remedy: {problem.remedy}." if problem.remedy else ""
        say(f"{start}bar {problem.bar_number} ({problem.section}): {problem.message}.{remedy}")
    more = len(arrangement.problems) - MOST_PROBLEMS_SHOWN
    if more > 0:
        say(f"{start}… and {more} more: `tercet check` shows all")
