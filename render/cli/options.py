"""Options that several commands share, and how their text becomes values."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from render.errors import RequestError

if TYPE_CHECKING:
    from fractions import Fraction

    from render.neck import Tuning
    from render.song import Feel, Layer, Song

__all__ = [
    "add_performance_options",
    "add_sound_option",
    "as_asked",
    "count_in_of",
    "feel",
    "front",
    "layer",
    "names",
    "speed",
    "speeds",
    "tuned_and_moved",
]


def speed(text: str) -> Fraction:
    """Read ``70%`` or ``0.7`` as a part of the song's tempo, 25 % to 200 %."""
    from fractions import Fraction

    try:
        value = Fraction(text[:-1]) / 100 if text.endswith("%") else Fraction(text)
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"a speed must be a percentage such as 70% (got {text!r})") from None
    if not Fraction(1, 4) <= value <= 2:
        raise argparse.ArgumentTypeError(f"a speed must be 25% to 200% (got {text})")
    return value


def names(text: str) -> tuple[str, ...]:
    """Read ``a,b,c``."""
    found = tuple(part.strip() for part in text.split(",") if part.strip())
    if not found:
        raise argparse.ArgumentTypeError("must name at least one")
    return found


def speeds(text: str) -> tuple[Fraction, ...]:
    """Read ``60%,80%``."""
    return tuple(speed(part) for part in names(text))


def layer(text: str) -> Layer:
    """Read the name of a layer."""
    from render.song import LAYERS

    for name in LAYERS:
        if text == name:
            return name
    raise argparse.ArgumentTypeError(f"a layer must be {', '.join(LAYERS)} (got {text!r})")


def feel(text: str) -> Feel:
    """Read how exactly the players keep together."""
    from render.perform.feel import FEELS

    for name in FEELS:
        if text == name:
            return name
    raise argparse.ArgumentTypeError(f"the feel must be {', '.join(FEELS)} (got {text!r})")


def front(text: str) -> Fraction:
    """Read how far the strums lie behind the melody, 0 to 24 LU."""
    from fractions import Fraction

    try:
        value = Fraction(text)
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"must be a number of LU such as 9 (got {text!r})") from None
    if not 0 <= value <= 24:
        raise argparse.ArgumentTypeError(f"must be 0 to 24 LU (got {text})")
    return value


def as_asked(song: Song, arguments: argparse.Namespace) -> Song:
    """Return a song with what the options say of its front and feel."""
    from dataclasses import replace

    if arguments.front is not None:
        song = replace(song, front=arguments.front)
    return replace(song, feel=arguments.feel) if arguments.feel else song


def add_sound_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--sound``."""
    parser.add_argument(
        "--sound", metavar="FONT", help="sound font to play with, a path or a name that `tercet sounds` lists"
    )


def add_performance_options(parser: argparse.ArgumentParser) -> None:
    """Add what changes how a song is played: key, tuning, count-in, sound, deviations, bit depth."""
    parser.add_argument(
        "--transpose", type=int, default=0, metavar="N", help="semitones up, or down with a minus"
    )
    parser.add_argument(
        "--tuning",
        metavar="NAME",
        help="high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4 (string 4 first)",
    )
    parser.add_argument(
        "--count-in", type=int, metavar="BARS", help="bars counted before, 0 to 8 (default 1)"
    )
    add_sound_option(parser)
    parser.add_argument(
        "--dry", action="store_true", help="exactly on the beat and at the marks, like a machine"
    )
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="another number plays it a little differently"
    )
    parser.add_argument(
        "--feel",
        type=feel,
        metavar="WORD",
        help="how exactly the players keep together: steady, natural, loose",
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
    parser.add_argument("--bits", type=int, choices=(16, 24), default=16, help="of WAV and FLAC (default 16)")


def count_in_of(asked: int | None, song: Song) -> int:
    """Return how many bars are counted in: as asked, as the song says, or one."""
    if asked is not None:
        return asked
    return song.count_in_bars if song.count_in_bars is not None else 1


def tuned_and_moved(song: Song, transpose: int, tuning: str | None) -> tuple[Song, Tuning, tuple[str, ...]]:
    """Return a song moved by some semitones, the tuning that it is played in, and what had to be dropped.

    Raises
    ------
    RequestError
        The distance is more than two octaves, or the tuning isn't one.
    """
    from render.arrange import song_tuning
    from render.errors import ParameterError
    from render.neck import tuning_named, tuning_of_pitches
    from render.theory import Pitch

    if not -24 <= transpose <= 24:
        raise RequestError(f"--transpose must be -24 to 24 semitones (got {transpose})")
    dropped: tuple[str, ...] = ()
    own = song_tuning(song)
    if tuning is None:
        strings = own
    else:
        try:
            parts = [part.strip() for part in tuning.split(",")]
            strings = (
                tuning_named(tuning) if len(parts) == 1 else tuning_of_pitches(tuple(map(Pitch.parse, parts)))
            )
        except ParameterError as error:
            raise RequestError(f"--tuning: {error}") from None
    if transpose:
        from render.song import transpose_song

        song, dropped = transpose_song(song, transpose)
    elif strings.open_pitches != own.open_pitches:
        from render.song import drop_pins

        song, dropped = drop_pins(song)
    return song, strings, dropped
