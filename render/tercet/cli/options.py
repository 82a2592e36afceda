"""Options that several commands share, and how they become values; what a value may be says `tercet.kit.options`."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

from tercet.cli.usage import UsageError

if TYPE_CHECKING:
    from tercet.kit import KitOptions, PlayOptions

__all__ = [
    "ARRANGING",
    "LAYERS_NAMED",
    "PLAYING",
    "SETS",
    "SHARED",
    "add_options",
    "add_sets",
    "add_track",
    "add_workplace",
    "kit_options",
    "options_of",
    "play_options",
    "read_by",
]

Options = TypeVar("Options")

FLAGS = {"count_in_bars": "count-in", "tunings": "tuning"}
"""Options whose names on the command line aren't those of their fields."""


def read_by(name: str) -> Callable[[str], Any]:
    """Return an argument's type that reads as the function of that name in `tercet.kit.options` does."""

    def read(text: str) -> Any:
        from tercet.kit import options

        return getattr(options, name)(text)

    return read


SHARED: dict[str, dict[str, Any]] = {
    "song": {"metavar": "SONG", "help": "arrangement file"},
    "songs": {"metavar": "SONG", "nargs": "+", "help": "arrangement files"},
    "--transpose": {
        "metavar": "N",
        "type": int,
        "help": "semitones up from the key as written, or down with a minus (default: what the song's `sounding` says)",
    },
    "--tuning": {
        "type": read_by("tuning_of"),
        "metavar": "NAME",
        "help": "high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4 (string 4 first)",
    },
    "--players": {
        "type": read_by("players_of"),
        "metavar": "NAME",
        "help": "who plays: beginner, improving or free",
    },
    "--as-written": {
        "action": "store_true",
        "help": "keep the octave of notes that no string has: they sound, and their place in the tab stays empty",
    },
    "--count-in": {
        "dest": "count_in_bars",
        "type": int,
        "metavar": "BARS",
        "help": "bars counted before the music, 0 to 8 (default 1)",
    },
    "--sound": {
        "metavar": "FONT",
        "help": "sound font to play with, a path or a name that `tercet sounds` lists",
    },
    "--dry": {
        "action": "store_true",
        "help": "exactly on the beat and at the marks, like a machine, and without a room",
    },
    "--feel": {
        "type": read_by("feel_of"),
        "metavar": "WORD",
        "help": "how exactly the players keep together: steady, natural or loose",
    },
    "--front": {
        "type": read_by("front_of"),
        "metavar": "LU",
        "help": "how far the strums lie behind the melody, 0 to 24 LU between their median gestures",
    },
    "--clear": {
        "action": "store_true",
        "help": "lower just the strings that cover the tune (tercet check lists them)",
    },
    "--loud": {
        "action": "store_true",
        "help": "up to 2 dB louder, for phones: eases the highest peaks, the same in all tracks of a song",
    },
    "--seed": {
        "type": int,
        "default": 1,
        "metavar": "N",
        "help": "another number plays it a little differently",
    },
    "--bits": {"type": int, "choices": (16, 24), "default": 16, "help": "of WAV and FLAC (default 16)"},
    "--click": {"action": "store_true", "help": "a quiet click throughout, and no drift in tempo"},
    "--guide": {
        "action": "store_true",
        "help": "what is left out stays as a soft guide instead of being silent",
    },
    "--left-handed": {"action": "store_true", "help": "mirror the shapes"},
    "--verify": {
        "action": "store_true",
        "help": "check every byte of the files that are there, whatever their dates say",
    },
    "--replace": {
        "action": "store_true",
        "help": "replace files even if Tercet didn't make them, or they were changed since",
    },
    "--progress": {
        "choices": ("bar", "json"),
        "default": "bar",
        "help": "how progress is shown: a bar (default), or for programs one JSON object a line on stderr",
    },
}
"""What several commands take, by its name."""

SETS: dict[str, dict[str, Any]] = {
    "--tuning": {
        "dest": "tunings",
        "type": read_by("tunings_of"),
        "default": (),
        "metavar": "A,B",
        "help": "high-g, low-g, baritone, or four notes such as A4,D4,F#4,B4 (string 4 first); a set for each",
    },
    "--players": {
        "type": read_by("several_players_of"),
        "default": (),
        "metavar": "A,B",
        "help": "beginner, improving, free; a set for each, with a simpler part for beginners beside others",
    },
    "--keys": {
        "type": read_by("keys_of"),
        "default": (),
        "metavar": "0,-2,+3",
        "help": "singers' keys, in semitones from the song's; a set for each",
    },
}
"""For whom kit and page are made: a mixed class has several sets."""

ARRANGING = ("--transpose", "--tuning", "--players", "--as-written")
"""What a song is arranged for."""

PLAYING = (
    "--transpose",
    "--as-written",
    "--count-in",
    "--sound",
    "--dry",
    "--feel",
    "--front",
    "--clear",
    "--loud",
    "--seed",
    "--bits",
)
"""What changes how a song is played; each command has tuning and players of its own."""


LAYERS_NAMED: dict[str, Any] = {
    "metavar": "LAYER",
    "type": read_by("layer_of"),
    "action": "append",
    "default": [],
}
"""What an argument has that names a layer, and may be repeated."""


def add_options(parser: argparse.ArgumentParser, *names: str, **other: Any) -> None:
    """Add arguments of `SHARED`; what is given besides their names is said of them instead."""
    for name in names:
        parser.add_argument(name, **SHARED[name] | other)


def add_sets(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of `SETS`."""
    for name, about in SETS.items():
        parser.add_argument(name, **about)


def add_workplace(parser: argparse.ArgumentParser) -> None:
    """Add the arguments that say where work runs."""
    parser.add_argument(
        "--jobs",
        type=read_by("jobs_of"),
        metavar="N",
        help="processes to use, or all for one per processor (default)",
    )
    parser.add_argument(
        "--cluster", metavar="ADDRESS", help="a Dask cluster to use instead, such as tcp://10.0.0.5:8786"
    )


def add_track(parser: argparse.ArgumentParser) -> None:
    """Add the arguments that choose one track of a song, the fields of `OneTrack`, and for whom it is."""
    parser.add_argument(
        "--without",
        **LAYERS_NAMED,
        help="leave out melody, second, between or strums",
    )
    parser.add_argument(
        "--only",
        **LAYERS_NAMED,
        help="nothing but this layer; may be repeated",
    )
    parser.add_argument(
        "--track",
        metavar="NAME",
        default="",
        help="a track by name: demo, echo, without-melody, … (tercet kit --list)",
    )
    parser.add_argument(
        "--speed",
        type=read_by("speed_of"),
        default="100%",
        metavar="PERCENT",
        help="70%% is slower, 25%% to 200%%",
    )
    parser.add_argument(
        "--bars",
        type=read_by("bars_of"),
        metavar="BARS",
        default="",
        help="5-8 as played, or verse:3-4 of a section, or verse@2:3-4 on its second pass",
    )
    add_options(parser, "--tuning", "--players")
    parser.add_argument(
        "--flat", action="store_true", help="every note equally loud, to hear what front and back are for"
    )


def options_of(kind: Callable[..., Options], arguments: argparse.Namespace, **more: Any) -> Options:
    """Return frozen options made of the arguments that have the names of their fields.

    Parameters
    ----------
    kind
        `PlayOptions`, `KitOptions` or another dataclass of options.
    arguments
        Of the command; what isn't among them keeps its default.
    **more
        Fields that have another value.

    Raises
    ------
    UsageError
        A value is out of its range; the message names the argument.
    """
    from tercet.kit import OptionError

    named = {field.name for field in fields(kind)} & vars(arguments).keys()  # type: ignore[arg-type]
    try:
        return kind(**{name: getattr(arguments, name) for name in named} | more)
    except OptionError as error:
        flag = FLAGS.get(error.option, error.option.replace("_", "-"))
        wrong = UsageError(f"--{flag}{error.fault}")
        wrong.given, wrong.meant = error.given, next(iter(error.meant), "")
        raise wrong from None


def play_options(arguments: argparse.Namespace, **more: Any) -> PlayOptions:
    """Return how a command's song is arranged and played."""
    from tercet.kit import PlayOptions

    return options_of(PlayOptions, arguments, **more)


def kit_options(arguments: argparse.Namespace) -> KitOptions:
    """Return what a kit is made of, and how."""
    from tercet.kit import KitOptions

    return options_of(KitOptions, arguments, play=play_options(arguments, players=None))
