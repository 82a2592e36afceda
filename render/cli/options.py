"""Options that several commands share, and how their text becomes values."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from render.errors import RequestError

if TYPE_CHECKING:
    from fractions import Fraction

    from render.neck import Tuning
    from render.song import Layer, Players, Song

__all__ = [
    "add_performance_options",
    "add_sound_option",
    "count_in_of",
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


def players(text: str) -> Players:
    """Read the name of those who play."""
    from render.arrange.demands import LIMITS

    for name in LIMITS:
        if text == name:
            return name
    raise argparse.ArgumentTypeError(f"players must be {', '.join(LIMITS)} (got {text!r})")


def several_players(text: str) -> tuple[Players, ...]:
    """Read ``beginner,improving``; each comes once."""
    return tuple(dict.fromkeys(map(players, names(text))))


def add_sound_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--sound``."""
    parser.add_argument(
        "--sound", metavar="FONT", help="sound font to play with, a path or a name that `tercet sounds` lists"
    )


def add_performance_options(parser: argparse.ArgumentParser) -> None:
    """Add what changes how a song is played: key, count-in, sound, deviations, bit depth."""
    parser.add_argument(
        "--transpose", type=int, default=0, metavar="N", help="semitones up, or down with a minus"
    )
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
        "--seed", type=int, default=1, metavar="N", help="another number plays it a little differently"
    )
    parser.add_argument("--bits", type=int, choices=(16, 24), default=16, help="of WAV and FLAC (default 16)")


def tunings_of(text: str) -> tuple[Tuning, ...]:
    """Read tunings: ``high-g,low-g``, ``A4,D4,F#4,B4``, or both kinds in one list.

    A note begins a tuning of four notes, string 4 first; anything else is a tuning's name. Each comes once.

    Raises
    ------
    RequestError
        A name isn't known, or there aren't four notes.
    """
    from render.errors import ParameterError
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


def one_tuning_of(text: str) -> Tuning:
    """Read one tuning: a name or four notes; `RequestError` for more."""
    found = tunings_of(text)
    if len(found) > 1:
        raise RequestError(
            f"--tuning: one track is in one tuning (got {text}); `tercet kit` makes a set for each"
        )
    return found[0]


def _is_note(text: str) -> bool:
    from render.errors import ParameterError
    from render.theory import Pitch

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
    from render.arrange import song_tuning

    if not -24 <= transpose <= 24:
        raise RequestError(f"--transpose must be -24 to 24 semitones (got {transpose})")
    dropped: tuple[str, ...] = ()
    own = song_tuning(song)
    strings = tuning if tuning is not None else own
    if transpose:
        from render.song import transpose_song

        song, dropped = transpose_song(song, transpose)
    elif strings.open_pitches != own.open_pitches:
        from render.song import drop_pins

        song, dropped = drop_pins(song)
    return song, strings, dropped
