"""``tercet advise``: keys, tunings and shapes for a song, its players and its singers."""

from __future__ import annotations

import argparse
import json
import shlex
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from render.cli.talk import counted
from render.errors import ParameterError, RequestError

if TYPE_CHECKING:
    from render.arrange.advice import KeyAdvice, TuningAdvice, Voice
    from render.arrange.line_shapes import LineShape
    from render.neck import Tuning
    from render.song import Players, Song

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "advise"
HELP = "find the keys, tunings and hand shapes that suit a song and its players"
DESCRIPTION = (
    "Arrange a song in all twelve keys and rank them: how much of the tune these players can play, how many rolls "
    "bring it out, how far the hand moves, which chords can't be held, and whether it can be sung. Without --tuning "
    "the song's own tuning is ranked in full and the others in short; tunings asked for together share one key. Then, "
    "for each line of music, the hand shape under which most of its tune lies."
)

WIDTH = 80
BEST_SHOWN = 3
"""Keys shown with all their figures where several tunings play together, and for tunings that weren't asked for."""

_FIGURES = (
    ("notes", 5, "of the tune, how many these players can play"),
    ("rolls", 5, "of the rolls that are wanted, how many bring the tune out"),
    ("shift", 5, "frets that the hand moves in a bar"),
    ("cost", 5, "what a note costs the hands: fingers, stretches, changes, missing rolls"),
    ("total", 6, "cost, and what can't be played, held or sung; the less the better"),
)
"""Columns of figures: head, width, meaning."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.add_argument("song", metavar="SONG", help="arrangement file")
    parser.add_argument(
        "--tuning",
        metavar="A,B",
        help="tunings that play together: high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4",
    )
    parser.add_argument(
        "--players", type=players, metavar="NAME", help="who plays: beginner, improving or free"
    )
    parser.add_argument("--voice", metavar="RANGE", help="who sings: low, high, or a range such as A3-D5")
    parser.add_argument("--json", action="store_true", help="print everything as JSON, for programs")


def players(text: str) -> Players:
    """Read the name of those who play."""
    from render.arrange.demands import LIMITS

    for name in LIMITS:
        if text == name:
            return name
    raise argparse.ArgumentTypeError(f"players must be {', '.join(LIMITS)} (got {text!r})")


def tunings_of(text: str) -> tuple[Tuning, ...]:
    """Read tunings, each once: ``high-g,low-g``, ``A4,D4,F#4,B4``, or both kinds in one list.

    A note begins a tuning of four notes, string 4 first; anything else is a tuning's name. `RequestError` for others.
    """
    from render.neck import tuning_named, tuning_of_pitches
    from render.theory import Pitch

    parts = [part.strip() for part in text.split(",")]
    found: list[Tuning] = []
    try:
        while parts:
            if _is_note(parts[0]):
                found.append(tuning_of_pitches(tuple(map(Pitch.parse, parts[:4]))))
                parts = parts[4:]
            else:
                found.append(tuning_named(parts.pop(0)))
    except ParameterError as error:
        raise RequestError(f"--tuning: {error}") from None
    return tuple(dict.fromkeys(found))


def _is_note(text: str) -> bool:
    from render.theory import Pitch

    try:
        Pitch.parse(text)
    except ParameterError:
        return False
    return True


def voice_of(text: str) -> Voice:
    """Read ``low``, ``high`` or a range such as ``A3-D5``; `RequestError` for anything else."""
    from render.arrange.advice import VOICES, Voice
    from render.theory import Pitch

    if text in VOICES:
        return VOICES[text]
    ends = [part.strip() for part in text.replace("–", "-").split("-")]
    try:
        low, high = (Pitch.parse(end[:1].upper() + end[1:]) for end in ends)
    except (ParameterError, ValueError):
        known = ", ".join(f"{name} ({_range(v.lowest, v.highest)})" for name, v in VOICES.items())
        raise RequestError(f"--voice must be {known} or a range such as A3-D5 (got {text!r})") from None
    if high.midi < low.midi:
        raise RequestError(f"--voice: the range {low}-{high} is upside down; write {high}-{low}")
    return Voice(f"{low}-{high}", low, high)


def run(arguments: argparse.Namespace) -> int:
    """Advise on one song."""
    from render.arrange import song_tuning
    from render.arrange.advice import advise, advise_each
    from render.arrange.line_shapes import line_shapes
    from render.neck import TUNINGS
    from render.song import read_song

    voice = voice_of(arguments.voice) if arguments.voice else None
    asked = tunings_of(arguments.tuning) if arguments.tuning else ()
    song = read_song(arguments.song)
    own = song_tuning(song)
    call = _Call(arguments.song, song.players, arguments.players)
    song = replace(song, players=arguments.players) if arguments.players else song
    if asked:
        rankings: tuple[tuple[KeyAdvice, ...], ...] = (advise(song, asked, voice),)
    else:
        rankings = advise_each(song, tuple(dict.fromkeys((own, *TUNINGS.values()))), voice)
    lines = [(tuning, line_shapes(song, tuning)) for tuning in asked or (own,)]
    if arguments.json:
        facts = {"file": arguments.song, **_facts(song, voice, rankings, lines, call)}
        json.dump(facts, sys.stdout, indent=2, ensure_ascii=False)
        print()
        return 0
    parts = [
        _keys_text(song, voice, rankings[0], call),
        _others_text(rankings[1:]),
        _legend(rankings),
        *(_lines_text(tuning, found, song) for tuning, found in lines),
    ]
    print("\n\n".join(text for text in map("\n".join, parts) if text))
    return 0


class _Call:
    """What the user would type to hear a key."""

    def __init__(self, path: str, written: Players, asked: Players | None) -> None:
        self._path = path
        self._other = asked if asked != written else None

    def command(self, advice: TuningAdvice) -> str:
        """Return the command that renders a song as it was advised."""
        move = f" --transpose {advice.semitones}" if advice.semitones else ""
        return f"tercet render {shlex.quote(self._path)}{move} --tuning {_name(advice.tuning)} -o FILE"

    def hint(self) -> str:
        """Return what must be changed in the song first, or nothing."""
        return f" (with `players: {self._other}` in the song)" if self._other else ""


# ---- text


def _keys_text(song: Song, voice: Voice | None, keys: Sequence[KeyAdvice], call: _Call) -> Iterator[str]:
    """Yield the twelve keys, the best first, with what speaks against each."""
    from render.arrange.advice import VOICES

    tunings = [advice.tuning for advice in keys[0].tunings]
    yield f"{song.title}: {song.key}, players: {song.players}, {_listed(map(_name, tunings))}"
    if voice is not None:
        kind = f"{voice.name} voice" if voice.name in VOICES else "voice"
        yield f"{kind}: {_range(voice.lowest, voice.highest)}"
    yield ""
    heads = [_name(tuning) for tuning in tunings] if len(tunings) > 1 else []
    widths = [max(len(head), 5) for head in heads]
    if heads:
        columns = [
            *(f"{head:>{width}}" for head, width in zip(heads, widths, strict=True)),
            f"{'together':>8}",
        ]
    else:
        columns = [f"{head:>{width}}" for head, width, _ in _FIGURES]
    yield f"    {'key':<9} {'move':>5}  {'tune':<10}  {'  '.join(columns)}"
    for rank, key in enumerate(keys, 1):
        if heads:
            totals = zip(key.tunings, widths, strict=True)
            figures = "  ".join(
                [*(f"{one.total:>{width}.2f}" for one, width in totals), f"{key.total:>8.2f}"]
            )
        else:
            figures = _figures(key.tunings[0])
        yield f"{rank:>2}  {_key_text(key)}  {figures}"
        yield from _against(key)
    if heads:
        yield ""
        yield "the best keys in figures"
        yield f"    {'key':<9} {'tuning':<12} {'move':>5}  {_figure_heads()}"
        for key in keys[:BEST_SHOWN]:
            for one in key.tunings:
                yield f"    {key.key!s:<9} {_name(one.tuning):<12} {_move(one.semitones):>5}  {_figures(one)}"
    yield ""
    suiting = next((key for key in keys if key.suits), None)
    if suiting is None:
        yield "in every key something is left out; the first comes nearest"
    elif suiting is not keys[0]:
        yield f"the first key in which nothing is left out: {suiting.key} ({_move(suiting.semitones)})"
    yield f"to hear {keys[0].key}{call.hint()}:"
    for one in keys[0].tunings:
        yield f"  {call.command(one)}"


def _others_text(rankings: Sequence[Sequence[KeyAdvice]]) -> Iterator[str]:
    """Yield the best keys of other tunings, each by itself."""
    if not rankings:
        return
    yield "on other strings, each by itself"
    for keys in rankings:
        yield f"  {_name(keys[0].tunings[0].tuning)}"
        for rank, key in enumerate(keys[:BEST_SHOWN], 1):
            yield f"{rank:>2}  {_key_text(key)}  {_figures(key.tunings[0])}"
            yield from _against(key)


def _legend(rankings: Sequence[Sequence[KeyAdvice]]) -> Iterator[str]:
    yield "move   semitones from where the song is written, as in --transpose"
    for head, _, meaning in _FIGURES:
        yield f"{head:<5}  {meaning}"
    if len(rankings[0][0].tunings) > 1:
        yield "each tuning's column is its total; together is their mean"
    yield "can't hold: no shape of that chord over all four strings is within these hands"


def _key_text(key: KeyAdvice) -> str:
    return f"{key.key!s:<9} {_move(key.semitones):>5}  {_range(key.lowest, key.highest):<10}"


def _figure_heads() -> str:
    return "  ".join(f"{head:>{width}}" for head, width, _ in _FIGURES)


def _figures(advice: TuningAdvice) -> str:
    shown = (
        _percent(advice.playable),
        _percent(advice.audible_rolls),
        f"{advice.shift_per_bar:.2f}",
        f"{advice.cost_per_note:.2f}",
        f"{advice.total:.2f}",
    )
    return "  ".join(f"{text:>{width}}" for text, (_, width, _) in zip(shown, _FIGURES, strict=True))


def _against(key: KeyAdvice) -> Iterator[str]:
    """Yield lines with what the class should know of a key: all of them, then tuning by tuning where they differ."""
    said: dict[str, list[str]] = {}
    for one in key.tunings:
        for text in _against_tuning(one, key):
            said.setdefault(text, []).append(_name(one.tuning))
    alike: dict[str, list[str]] = {"": list(_against_voice(key))}
    for text, names in said.items():
        who = "" if len(names) == len(key.tunings) else f"{_listed(names)}: "
        alike.setdefault(who, []).append(text)
    for who, texts in alike.items():
        yield from textwrap.wrap(
            who + "; ".join(texts), WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 8
        )


def _against_voice(key: KeyAdvice) -> Iterator[str]:
    if key.semitones_outside:
        yield f"{counted(key.semitones_outside, 'semitone')} beyond the voice"
    if key.sung_octave:
        way = "lower" if key.sung_octave < 0 else "higher"
        octaves = "an octave" if abs(key.sung_octave) == 1 else f"{abs(key.sung_octave)} octaves"
        yield f"sung {octaves} {way}"


def _against_tuning(advice: TuningAdvice, key: KeyAdvice) -> Iterator[str]:
    if advice.semitones != key.semitones:
        yield f"the tune an octave lower, {_range(advice.lowest, advice.highest)}"
    if advice.not_held:
        yield f"can't hold {', '.join(advice.not_held)}"
    if advice.missing:
        yield f"{advice.missing} of {counted(advice.notes, 'note')} on no string"
    if advice.high:
        yield f"{advice.high} of {counted(advice.notes, 'note')} too high up the neck"


def _lines_text(tuning: Tuning, lines: Sequence[LineShape], song: Song) -> Iterator[str]:
    """Yield for each line of music the hand that carries most of it."""
    from render.arrange.report import frets_text

    yield f"one hand for each line, {_name(tuning)}, as written in {song.key}"
    yield "  the shape (and its fingers) that stays while so many notes in a row are played"
    for line in lines:
        where = f"{line.section}, line {line.line}, {_bars(line.first_bar, line.last_bar)}"
        if line.hand is None:
            yield f"  {where}: no note of it within reach"
            continue
        fingers = "".join(map(str, line.hand.fingers))
        known = f", {line.known_as}" if line.known_as else ""
        held = f"{len(line.held)} of {counted(line.notes, 'note')}"
        yield f"  {where}: {frets_text(line.hand.frets)} ({fingers}{known}), {held}"
        bars: dict[int, list[str]] = {}
        for note in line.held:
            bars.setdefault(note.bar_number, []).append(str(note.string))
        from_to = _bars(line.held[0].bar_number, line.held[-1].bar_number)
        strings = f"{from_to}, strings {' | '.join(map(' '.join, bars.values()))}"
        yield from textwrap.wrap(strings, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 8)


def _listed(names: Iterable[str]) -> str:
    """Return names as they are read aloud: ``a, b and c``."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _bars(first: int, last: int) -> str:
    return f"bar {first}" if first == last else f"bars {first} to {last}"


def _move(semitones: int) -> str:
    return f"{semitones:+d}" if semitones else "0"


def _percent(share: float) -> str:
    """Return a share in whole percent, 100 only where nothing is missing."""
    return "100%" if share == 1 else f"{min(round(100 * share), 99)}%"


def _range(lowest: object, highest: object) -> str:
    return f"{lowest} to {highest}"


def _name(tuning: Tuning) -> str:
    """Return a tuning as --tuning takes it."""
    return tuning.name if tuning.name != "custom" else ",".join(map(str, tuning.open_pitches))


# ---- for programs


def _facts(
    song: Song,
    voice: Voice | None,
    rankings: Sequence[Sequence[KeyAdvice]],
    lines: Sequence[tuple[Tuning, Sequence[LineShape]]],
    call: _Call,
) -> dict[str, Any]:
    from render.arrange.advice import ADVICE_COSTS

    return {
        "title": song.title,
        "key": str(song.key),
        "players": song.players,
        "voice": None
        if voice is None
        else {"name": voice.name, "lowest": str(voice.lowest), "highest": str(voice.highest)},
        "weights": ADVICE_COSTS,
        "rankings": [
            {
                "tunings": [_name(one.tuning) for one in keys[0].tunings],
                "keys": [_key_facts(rank, key, call) for rank, key in enumerate(keys, 1)],
            }
            for keys in rankings
        ],
        "lines": [
            {"tuning": _name(tuning), **_line_facts(line, song)} for tuning, found in lines for line in found
        ],
    }


def _key_facts(rank: int, key: KeyAdvice, call: _Call) -> dict[str, Any]:
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
        "worst": _name(key.worst.tuning),
        "tunings": [
            {
                "tuning": _name(one.tuning),
                "semitones": one.semitones,
                "lowest": str(one.lowest),
                "highest": str(one.highest),
                "notes": one.notes,
                "missing": one.missing,
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


def _line_facts(line: LineShape, song: Song) -> dict[str, Any]:
    from render.theory import spell

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
