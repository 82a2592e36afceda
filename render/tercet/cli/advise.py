"""``tercet advise``: keys, tunings and shapes for a song, its players and its singers."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

from tercet.cli.advice_text import (
    Call,
    keys_text,
    legend_text,
    lines_text,
    others_text,
    style_text,
    tuning_text,
)
from tercet.cli.options import add_options, options_of, read_by
from tercet.cli.talk import put, put_json

if TYPE_CHECKING:
    from tercet.arranging.key_advice import KeyAdvice, Voice
    from tercet.arranging.line_shapes import LineShape
    from tercet.arranging.style_advice import StyleAdvice
    from tercet.song import Song
    from tercet.theory import Tuning

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "advise"
HELP = "find the keys, tunings, style and hand shapes that suit a song and its players"
DESCRIPTION = (
    "Arrange a song in all twelve keys and rank them: how much of the tune these players can play, how many rolls "
    "bring it out, how far the hand moves, which chords can't be held, and whether it can be sung. Without --tuning "
    "the song's own tuning is ranked in full and the others in short; tunings asked for together share one key. Then "
    "the style that suits it, and for each line of music the hand shape under which most of its tune lies."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_options(parser, "song")
    parser.add_argument(
        "--tuning",
        dest="tunings",
        type=read_by("tunings_of"),
        default=(),
        metavar="A,B",
        help="tunings that play together: high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4",
    )
    add_options(parser, "--players")
    parser.add_argument("--voice", metavar="RANGE", help="who sings: low, high, or a range such as A3-D5")
    add_options(parser, "--as-written")
    parser.add_argument("--json", action="store_true", help="print everything as JSON, for programs")


def run(arguments: argparse.Namespace) -> int:
    """Advise on one song."""
    from tercet.arranging import song_tuning
    from tercet.arranging.advice import advise, advise_each
    from tercet.arranging.key_advice import voice_named
    from tercet.arranging.line_shapes import line_shapes
    from tercet.arranging.style_advice import style_advice
    from tercet.kit import KitOptions, PlayOptions
    from tercet.kit.options import tunings_of
    from tercet.kit.ready import as_asked
    from tercet.kit.sources import source_of
    from tercet.song import transpose_song
    from tercet.theory import TUNINGS

    voice = voice_named(arguments.voice) if arguments.voice is not None else None
    asked = tunings_of(options_of(KitOptions, arguments, players=()).tunings)
    song = source_of(arguments.song).read()
    song = as_asked(song, PlayOptions(as_written=arguments.as_written))
    own = song_tuning(song)
    call = Call(arguments.song, song, arguments.players)
    song = replace(song, players=arguments.players) if arguments.players else song
    if asked:
        rankings: tuple[tuple[KeyAdvice, ...], ...] = (advise(song, asked, voice),)
    else:
        rankings = advise_each(song, tuple(dict.fromkeys((own, *TUNINGS.values()))), voice)
    played, _ = transpose_song(song, song.sounding or 0)
    lines = [(tuning, line_shapes(played, tuning)) for tuning in asked or (own,)]
    styles = [(tuning, style_advice(played, tuning)) for tuning in asked or (own,)]
    if arguments.json:
        facts = {"file": arguments.song, **_facts(song, played, voice, rankings, lines, call)}
        facts["styles"] = [
            {"tuning": tuning_text(tuning), **_style_facts(advice)} for tuning, advice in styles
        ]
        put_json(facts)
        return 0
    parts = [
        keys_text(song, voice, rankings[0], call),
        others_text(rankings[1:]),
        legend_text(rankings),
        *(style_text(tuning, advice) for tuning, advice in styles),
        *(lines_text(tuning, found, played) for tuning, found in lines),
    ]
    put("\n\n".join(text for text in map("\n".join, parts) if text))
    return 0


def _facts(
    song: Song,
    played: Song,
    voice: Voice | None,
    rankings: Sequence[Sequence[KeyAdvice]],
    lines: Sequence[tuple[Tuning, Sequence[LineShape]]],
    call: Call,
) -> dict[str, Any]:
    """Return the advice on a song as plain values, for JSON; ``docs/arranging.md`` says what each means."""
    from tercet.arranging.key_advice import ADVICE_COSTS

    return {
        "title": song.title,
        "key": str(song.key),
        "sounding": str(played.key),
        "players": song.players,
        "voice": None
        if voice is None
        else {"name": voice.name, "lowest": str(voice.lowest), "highest": str(voice.highest)},
        "weights": ADVICE_COSTS,
        "rankings": [
            {
                "tunings": [tuning_text(one.tuning) for one in keys[0].tunings],
                "keys": [_key_facts(rank, key, call) for rank, key in enumerate(keys, 1)],
            }
            for keys in rankings
        ],
        "lines": [
            {"tuning": tuning_text(tuning), **_line_facts(line, played)}
            for tuning, found in lines
            for line in found
        ],
    }


def _key_facts(rank: int, key: KeyAdvice, call: Call) -> dict[str, Any]:
    return {
        "rank": rank,
        "key": str(key.key),
        "semitones": key.semitones,
        "lowest": str(key.lowest),
        "highest": str(key.highest),
        "suits": key.suits,
        "sung_octave": key.sung_octave,
        "semitones_outside": key.semitones_outside,
        "total": round(key.total, 3),
        "worst": tuning_text(key.worst.tuning),
        "tunings": [
            {
                "tuning": tuning_text(one.tuning),
                "semitones": one.semitones,
                "lowest": str(one.lowest),
                "highest": str(one.highest),
                "notes": one.notes,
                "missing": one.missing,
                "added_missing": one.added_missing,
                "high": one.high,
                "playable": round(one.playable, 3),
                "wanted_rolls": one.wanted,
                "audible_rolls": one.audible,
                "shift_per_bar": round(one.shift_per_bar, 3),
                "cost_per_note": round(one.cost_per_note, 3),
                "not_held": list(one.not_held),
                "time_not_held": round(one.time_not_held, 3),
                "parts": {name: round(value, 3) for name, value in one.parts.items()},
                "total": round(one.total, 3),
                "command": call.command(one),
            }
            for one in key.tunings
        ],
    }


def _style_facts(advice: StyleAdvice) -> dict[str, Any]:
    figures = asdict(advice)
    return {name: round(value, 3) if isinstance(value, float) else value for name, value in figures.items()}


def _line_facts(line: LineShape, song: Song) -> dict[str, Any]:
    from tercet.theory import spell

    return {
        "section": line.section,
        "line": line.line,
        "first_bar": line.first_bar,
        "last_bar": line.last_bar,
        "notes": line.notes,
        "frets": list(line.hand.frets) if line.hand else None,
        "fingers": list(line.hand.fingers) if line.hand else None,
        "known_as": line.known_as,
        "in_chord": line.in_chord,
        "held": [
            {
                "bar": note.bar_number,
                "note": str(spell(note.midi, song.key)),
                "string": note.string,
                "fret": note.fret,
            }
            for note in line.held
        ],
    }
