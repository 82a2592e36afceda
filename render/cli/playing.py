"""From the options of a command to a song that is ready to be played."""

from __future__ import annotations

import argparse
import os
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from render.cli.options import as_asked, count_in_of, tuned_and_moved
from render.cli.talk import say

if TYPE_CHECKING:
    from render.arrange import Arrangement
    from render.perform import Timeline
    from render.tracks.kit import Playing

__all__ = ["played_song", "show_notices", "show_problems"]

MOST_PROBLEMS_SHOWN = 6


def played_song(
    arguments: argparse.Namespace, speed: Fraction = Fraction(1), bars: str | None = None
) -> tuple[Playing, Timeline]:
    """Read and arrange a song, choose its sound, and lay out what is asked for."""
    from render.arrange import arrange
    from render.perform import lay_out
    from render.song import read_song
    from render.sound.fluid import FluidSynthesiser
    from render.sound.fonts import choose_font
    from render.tracks.kit import Playing

    path = Path(arguments.song)
    written = as_asked(read_song(path), arguments)
    song, tuning, dropped = tuned_and_moved(written, arguments.transpose, arguments.tuning)
    if dropped:
        say(f"pins are for the song as written and were dropped: {', '.join(dropped)}")
    arrangement = arrange(song, tuning)
    font = choose_font(arguments.sound, song.sound, path.parent, os.environ)
    playing = Playing(
        arrangement,
        FluidSynthesiser(font.sound),
        seed=arguments.seed,
        dry=arguments.dry,
        flat=getattr(arguments, "flat", False),
        clear=arguments.clear,
        report=_say_measuring,
    )
    indices = None
    if bars:
        from render.song import bar_indices

        indices = bar_indices(bars, arrangement.bars)
    return playing, lay_out(arrangement, indices, speed, count_in_of(arguments.count_in, song))


def _say_measuring(what: str, done: int, _total: int) -> None:
    """Say once that a new sound is measured."""
    if done == 0:
        say(f"{what}, once for each sound …")


def show_notices(playing: Playing) -> None:
    """Say where the sound can't do what the song asks."""
    for notice in playing.synthesiser.notices():
        say(notice)


def show_problems(arrangement: Arrangement) -> None:
    """Say what the players can't do as written."""
    for problem in arrangement.problems[:MOST_PROBLEMS_SHOWN]:
        remedy = f" Remedy: {problem.remedy}." if problem.remedy else ""
        say(f"bar {problem.bar_number} ({problem.section}): {problem.message}.{remedy}")
    more = len(arrangement.problems) - MOST_PROBLEMS_SHOWN
    if more > 0:
        say(f"… and {more} more: `tercet check` shows all")
