"""Options that several commands share, and how their text becomes values."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from itertools import islice, takewhile
from typing import TYPE_CHECKING

from tercet.errors import RequestError

if TYPE_CHECKING:
    from fractions import Fraction

    from tercet.song import Feel, Layer, Players, Song
    from tercet.theory import Tuning

__all__ = [
    "add_arranging_options",
    "add_as_written_option",
    "add_performance_options",
    "add_replace_option",
    "add_sound_option",
    "add_track_options",
    "as_asked",
    "count_in_of",
    "feel",
    "front",
    "kept_as_asked",
    "layer",
    "names",
    "one_tuning_of",
    "players",
    "several_players",
    "speed",
    "speeds",
    "tuned_and_moved",
    "tunings_of",
]


def speed(text: str) -> Fraction:
    """Read ``70%`` or ``0.7`` as a part of the song's tempo."""
    from fractions import Fraction

    from tercet.theory.limits import SPEED_RANGE, percent_range

    try:
        value = Fraction(text[:-1]) / 100 if text.endswith("%") else Fraction(text)
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"a speed must be a percentage such as 70% (got {text!r})") from None
    if not SPEED_RANGE[0] <= value <= SPEED_RANGE[1]:
        raise argparse.ArgumentTypeError(f"a speed must be {percent_range()} (got {text})")
    return value


def names(text: str) -> tuple[str, ...]:
    """Read ``a,b,c``."""
    found = tuple(part.strip() for part in text.split(",") if part.strip())
    if not found:
        raise argparse.ArgumentTypeError("must name at least one")
    return found


def speeds(text: str) -> tuple[Fraction, ...]:
    """Read ``60%,80%``, each once."""
    return tuple(dict.fromkeys(speed(part) for part in names(text)))


def layer(text: str) -> Layer:
    """Read the name of a layer."""
    from tercet.song import LAYERS

    for name in LAYERS:
        if text == name:
            return name
    raise argparse.ArgumentTypeError(f"a layer must be {', '.join(LAYERS)} (got {text!r})")


def players(text: str) -> Players:
    """Read who plays."""
    from tercet.arranging.demands import LIMITS

    for name in LIMITS:
        if text == name:
            return name
    raise argparse.ArgumentTypeError(f"players must be {', '.join(LIMITS)} (got {text!r})")


def feel(text: str) -> Feel:
    """Read how exactly the players keep together."""
    from tercet.performing.deviation import FEELS

    for name in FEELS:
        if text == name:
            return name
    raise argparse.ArgumentTypeError(f"the feel must be {', '.join(FEELS)} (got {text!r})")


def front(text: str) -> Fraction:
    """Read how far the strums lie behind the melody."""
    from fractions import Fraction

    from tercet.theory.limits import FRONT_RANGE_LU

    try:
        value = Fraction(text)
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"must be a number of LU such as 9 (got {text!r})") from None
    low, high = FRONT_RANGE_LU
    if not low <= value <= high:
        raise argparse.ArgumentTypeError(f"must be {low} to {high} LU (got {text})")
    return value


def add_arranging_options(parser: argparse.ArgumentParser) -> None:
    """Add what a song is arranged for where nothing is played: key, tuning, players, notes that no string has."""
    parser.add_argument(
        "--transpose", metavar="N", type=int, default=0, help="semitones up, or down with a minus"
    )
    parser.add_argument("--tuning", metavar="NAME", help="high-g, low-g, baritone, or four notes")
    parser.add_argument(
        "--players", type=players, metavar="NAME", help="who plays: beginner, improving or free"
    )
    add_as_written_option(parser)


def add_as_written_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--as-written``."""
    parser.add_argument(
        "--as-written",
        action="store_true",
        help="keep the octave of notes that no string has: they sound, and their place in the tab stays empty",
    )


def kept_as_asked(song: Song, arguments: argparse.Namespace) -> Song:
    """Return a song with what ``--as-written`` says."""
    from dataclasses import replace

    return replace(song, as_written=True) if arguments.as_written else song


def as_asked(song: Song, arguments: argparse.Namespace) -> Song:
    """Return a song with what the options say of its front and feel, and of notes that no string has."""
    from dataclasses import replace

    song = kept_as_asked(song, arguments)
    if arguments.front is not None:
        song = replace(song, front=arguments.front)
    return replace(song, feel=arguments.feel) if arguments.feel else song


def several_players(text: str) -> tuple[Players, ...]:
    """Read ``beginner,improving``; they come in the order of what is asked of them."""
    from tercet.arranging.demands import LIMITS

    asked = [players(part) for part in names(text)]
    for name in asked:
        if asked.count(name) > 1:
            raise argparse.ArgumentTypeError(f"{name} is there twice (got {text!r}): leave one away")
    return tuple(name for name in LIMITS if name in asked)


def add_sound_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--sound``."""
    parser.add_argument(
        "--sound", metavar="FONT", help="sound font to play with, a path or a name that `tercet sounds` lists"
    )


def add_replace_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--replace``."""
    parser.add_argument(
        "--replace", action="store_true", help="replace also what Tercet didn't make, or was changed since"
    )


def add_track_options(parser: argparse.ArgumentParser) -> None:
    """Add what changes what a track holds beside its music."""
    parser.add_argument(
        "--click", action="store_true", help="a quiet click throughout, and no drift in tempo"
    )
    parser.add_argument(
        "--guide", action="store_true", help="what is left out stays as a soft guide instead of being silent"
    )


def add_performance_options(parser: argparse.ArgumentParser) -> None:
    """Add what changes how a song is played: key, count-in, sound, deviations, bit depth."""
    parser.add_argument(
        "--transpose", type=int, default=0, metavar="N", help="semitones up, or down with a minus"
    )
    add_as_written_option(parser)
    parser.add_argument(
        "--count-in", type=int, metavar="BARS", help="bars counted before, 0 to 8 (default 1)"
    )
    add_sound_option(parser)
    parser.add_argument(
        "--dry",
        action="store_true",
        help="exactly on the beat and at the marks, like a machine, and without a room",
    )
    parser.add_argument(
        "--feel", type=feel, metavar="WORD", help="how exactly they keep together: steady, natural or loose"
    )
    parser.add_argument(
        "--front",
        type=front,
        metavar="LU",
        help="how far the strums lie behind the melody, 0 to 24 LU between their median gestures",
    )
    parser.add_argument(
        "--clear", action="store_true", help="lower just the strings that cover the tune, see tercet check"
    )
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="another number plays it a little differently"
    )
    parser.add_argument("--bits", type=int, choices=(16, 24), default=16, help="of WAV and FLAC (default 16)")


def tunings_of(parts: Sequence[str]) -> tuple[Tuning, ...]:
    """Read tunings from the parts of ``high-g,low-g``, of ``A4,D4,F#4,B4``, or of both kinds in one list.

    A note begins a tuning of four notes, string 4 first; anything else is a tuning's name. They come in the order of
    the table, whatever the order asked, then those of four notes.

    Raises
    ------
    RequestError
        A name isn't known, there aren't four notes, or a tuning is there twice.
    """
    from tercet.theory import TUNINGS

    found: dict[tuple[int, ...], Tuning] = {}
    at = 0
    while at < len(parts):
        notes = tuple(islice(takewhile(_is_note, parts[at:]), 4))
        tuning = _named(parts[at]) if not notes else _of_notes(notes, parts[at + len(notes) :])
        at += max(len(notes), 1)
        strings = tuple(pitch.midi for pitch in tuning.open_pitches)
        if strings in found:
            again = ",".join(notes) or tuning.name
            raise RequestError(f"--tuning: {again} is there twice: leave one away")
        found[strings] = tuning
    order = [*TUNINGS, "custom"]
    return tuple(sorted(found.values(), key=lambda tuning: order.index(tuning.name)))


def one_tuning_of(text: str) -> Tuning:
    """Read one tuning, a name or four notes; `RequestError` for more."""
    first, *more = tunings_of(tuple(part.strip() for part in text.split(",")))
    if more:
        raise RequestError(
            f"--tuning: a track is in one tuning (got {text}): leave one, or let `tercet kit` make a set for each"
        )
    return first


def _named(name: str) -> Tuning:
    from tercet.errors import ParameterError
    from tercet.theory import tuning_named

    try:
        return tuning_named(name)
    except ParameterError as error:
        raise RequestError(f"--tuning: {error}") from None


def _of_notes(notes: tuple[str, ...], rest: Sequence[str]) -> Tuning:
    """Return the tuning of up to four notes; what comes after them may be what spoils them."""
    from tercet.errors import ParameterError
    from tercet.theory import TUNINGS, Pitch, tuning_of_pitches

    if len(notes) < 4:
        spoilt = f", then {rest[0]!r}, which is no note" if rest and rest[0] not in TUNINGS else ""
        raise RequestError(
            f"--tuning: a tuning must have four notes, string 4 first (got {len(notes)}: {','.join(notes)}{spoilt}): "
            f"write all four, such as A4,D4,F#4,B4"
        )
    try:
        return tuning_of_pitches(tuple(map(Pitch.parse, notes)))
    except ParameterError as error:
        raise RequestError(f"--tuning: {error}") from None


def _is_note(text: str) -> bool:
    from tercet.errors import ParameterError
    from tercet.theory import Pitch

    try:
        Pitch.parse(text)
    except ParameterError:
        return False
    return True


def count_in_of(asked: int | None, song: Song) -> int:
    """Return how many bars are counted in: as asked, as the song says, or one."""
    if asked is not None:
        return asked
    return song.count_in_bars if song.count_in_bars is not None else 1


def tuned_and_moved(
    song: Song, transpose: int, tuning: Tuning | None
) -> tuple[Song, Tuning, tuple[str, ...]]:
    """Return a song moved by some semitones, the tuning that it is played in, and what had to be dropped.

    Raises
    ------
    RequestError
        The distance is more than two octaves.
    """
    from tercet.arranging import song_tuning

    if not -24 <= transpose <= 24:
        raise RequestError(f"--transpose must be -24 to 24 semitones (got {transpose})")
    dropped: tuple[str, ...] = ()
    own = song_tuning(song)
    strings = tuning if tuning is not None else own
    if transpose:
        from tercet.song import transpose_song

        song, dropped = transpose_song(song, transpose)
    elif strings.open_pitches != own.open_pitches:
        from tercet.song import drop_pins

        song, dropped = drop_pins(song)
    return song, strings, dropped
