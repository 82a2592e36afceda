"""``tercet render``: one track, or a MIDI file, of one song."""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tercet.cli.kit_defaults import own_tracks_of
from tercet.cli.options import (
    add_performance_options,
    add_replace_option,
    add_track_options,
    count_in_of,
    layer,
    players,
    speed,
)
from tercet.cli.playing import ReadySet, playing_of, ready_song, say_measuring, show_problems
from tercet.cli.talk import counted, progress, put, say
from tercet.errors import RequestError
from tercet.song.model import LAYERS

if TYPE_CHECKING:
    from tercet.tracks import Recipe

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "render"
HELP = "make one track of a song: a recording or a MIDI file"
DESCRIPTION = (
    "Make one track of a song. The ending of FILE chooses its kind: .wav .flac .mp3 .ogg .opus for a recording, "
    ".mid for MIDI. Every track of a song gets the same gain, so leaving a layer out changes nothing else."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file")
    parser.add_argument("-o", "--output", metavar="FILE", required=True, help="file to write")
    parser.add_argument(
        "--without",
        metavar="LAYER",
        type=layer,
        action="append",
        default=[],
        help="leave out melody, between or strums",
    )
    parser.add_argument(
        "--only",
        metavar="LAYER",
        type=layer,
        action="append",
        default=[],
        help="nothing but this layer; may be repeated",
    )
    parser.add_argument(
        "--track", metavar="NAME", help="a track by name: demo, echo, without-melody, … (tercet kit --list)"
    )
    from tercet.theory.limits import percent_range

    told = percent_range().replace("%", "%%")
    parser.add_argument(
        "--speed", type=speed, default="100%", metavar="PERCENT", help=f"70%% is slower, {told}"
    )
    parser.add_argument(
        "--bars",
        metavar="BARS",
        help="5-8 as played, or verse:3-4 of a section, or verse@2:3-4 on its second pass",
    )
    parser.add_argument(
        "--tuning",
        metavar="NAME",
        help="high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4 (string 4 first)",
    )
    parser.add_argument(
        "--players", type=players, metavar="NAME", help="who plays: beginner, improving or free"
    )
    parser.add_argument(
        "--flat", action="store_true", help="every note equally loud, to hear what front and back are for"
    )
    add_replace_option(parser)
    add_track_options(parser)
    add_performance_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Render one file."""
    from tercet.audio_formats import FORMATS
    from tercet.made_files import check_may_make

    if arguments.track and (arguments.without or arguments.only):
        raise RequestError("--track already chooses the layers: leave --without and --only away, or --track")
    path = Path(arguments.output)
    check_may_make(path, replace=arguments.replace)
    midi = path.suffix.lower() in (".mid", ".midi")
    if not midi and path.suffix.lower() not in FORMATS:
        known = " ".join([*FORMATS, ".mid"])
        raise RequestError(
            f"{path} ends in {path.suffix or 'nothing'}: the endings that Tercet can make are {known}"
        )
    with progress(path.name) as report:
        report("reading", 0, 2)
        one = ready_song(arguments)
        recipe = _recipe(arguments, one)
        show_problems(one.arrangement)
        report("playing", 1, 2)
        if midi:
            _write_midi(arguments, one, recipe, path)
        else:
            _write_track(arguments, one, recipe, path)
    put(path)
    say(f"{path.name}: {recipe.name}, {recipe.purpose}")
    if recipe.name == "without-melody":
        _say_tune_between(one)
    return 0


def _say_tune_between(one: ReadySet) -> None:
    """Tell whether notes of the tune are still heard where the melody is left out, and how to leave them out too."""
    tune = [gesture.layer for gesture in one.arrangement.gestures if gesture.notes[-1].part == "tune"]
    between = tune.count("between")
    if between:
        say(
            f"{between} of the tune's {counted(len(tune), 'note')} lie in between and are still heard: "
            "--track without-tune leaves out all of the tune"
        )


def _recipe(arguments: argparse.Namespace, one: ReadySet) -> Recipe:
    """Return what the track is made of."""
    from tercet.song import read_class_beside
    from tercet.tracks import choose_layers, recipe_named
    from tercet.tracks.recipes import own_recipes

    class_file = read_class_beside(arguments.song)
    own = own_recipes(own_tracks_of(one.arrangement.song, class_file), arguments.song)
    if arguments.track:
        recipe = recipe_named(arguments.track, own)
    else:
        recipe = choose_layers(tuple(arguments.without), tuple(arguments.only))
    return replace(recipe, flat=True) if arguments.flat else recipe


def _write_track(arguments: argparse.Namespace, one: ReadySet, recipe: Recipe, path: Path) -> None:
    """Write a recording."""
    from tercet.jobs.own_files import own_file
    from tercet.kit.work_folder import work_folder
    from tercet.sound.convolution import THREADS
    from tercet.tracks.practice_forms import TrackOptions
    from tercet.tracks.track_files import (
        SetOrder,
        TrackOrder,
        ceilings_of,
        gains_of,
        recording_of,
        write_track,
    )

    options = TrackOptions(
        speed=arguments.speed,
        bars=arguments.bars or "",
        count_in_bars=count_in_of(arguments.count_in, one.arrangement.song),
        click=arguments.click,
        guide=arguments.guide,
    )
    target = Path(os.path.realpath(path))
    files = own_file(path, maker=NAME, replace=arguments.replace)
    track = TrackOrder(recipe, options, (target.name,))
    with work_folder(target.parent) as work:
        order = SetOrder(
            one.arrangement,
            one.font,
            (track,),
            work,
            seed=arguments.seed,
            dry=arguments.dry,
            clear=arguments.clear,
            bits=arguments.bits,
            threads=THREADS,
        )
        recording = recording_of(order, progress=say_measuring)
        balance = recording.balance()
        gains_db = gains_of([balance], ceilings_of(order.tracks))
        write_track(order, 0, recording, balance, gains_db, files)
    for notice in (*recording.playing.notices(), *balance.notices()):
        say(notice)


def _write_midi(arguments: argparse.Namespace, one: ReadySet, recipe: Recipe, path: Path) -> None:
    """Write a MIDI file: bars once through, with the notes that the track has."""
    from tercet.made_files import write_made
    from tercet.performing import lay_out
    from tercet.performing.midi import midi_bytes
    from tercet.song import bar_indices
    from tercet.tracks.clips.performed import facts_of
    from tercet.tracks.timelines import Source

    if recipe.way != "through":
        raise RequestError(
            f"{recipe.name} goes through the music more than once, which a MIDI file here doesn't: "
            "end the file's name with .wav, or choose a track such as demo or without-melody"
        )
    playing = playing_of(arguments, one)
    arrangement = playing.piece(recipe.piece)
    bars = arguments.bars or recipe.bars
    indices = bar_indices(bars, arrangement.bars) if bars else None
    speed = arguments.speed * recipe.steps[0]
    timeline = lay_out(arrangement, indices, speed, count_in_of(arguments.count_in, arrangement.song))
    take = playing.take(timeline, Source(recipe.piece, speed, recipe.flat))
    facts = facts_of(take.notes, arrangement)
    heard = tuple(note for note, fact in zip(take.notes, facts, strict=True) if recipe.heard.picks(fact))
    layers = tuple(layer for layer in LAYERS if any(note.layer == layer for note in heard))
    data = midi_bytes(arrangement, replace(take, notes=heard), layers or LAYERS)
    write_made(path, data, maker=NAME, replace=arguments.replace)
