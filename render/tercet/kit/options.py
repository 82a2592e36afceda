"""What may be asked of a song's playing, and of a kit: frozen values, checked in one place when they are made.

A value may be given as people write it (``"70%"``, ``"A4 D4 F#4 B4"``, a list) and is kept in its one exact form. Where
an option says nothing, the song decides, then the class file beside it: see `with_class`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import KW_ONLY, dataclass, field, replace
from fractions import Fraction
from itertools import takewhile
from pathlib import Path
from typing import Any, TypeVar, cast

from tercet.audio_formats import FORMATS, format_names
from tercet.errors import ParameterError
from tercet.neck.demands import LIMITS
from tercet.performing.deviation import FEELS
from tercet.song import LAYERS, ClassFile, Feel, Layer, Players, Song
from tercet.song.bar_choice import meant_bars, says_bars
from tercet.song.settings import key_named
from tercet.sound.encoding import Bits
from tercet.sound.soundfont_choice import Sound
from tercet.theory import TUNINGS, Key, Pitch, Tuning, meant_tunings, tuning_of_pitches
from tercet.theory.limits import (
    FRONT_RANGE_LU,
    MOST_COUNT_IN_BARS,
    MOST_KEY_SEMITONES,
    MOST_SEMITONES,
    SPEED_RANGE,
    percent_range,
)
from tercet.tracks.practice_forms import TrackOptions
from tercet.wording import did_you_mean, listed, lookalikes

__all__ = [
    "KitOptions",
    "OptionError",
    "PlayOptions",
    "bars_of",
    "feel_of",
    "formats_of",
    "front_of",
    "jobs_of",
    "key_of",
    "keys_of",
    "layer_of",
    "names_of",
    "players_of",
    "several_players_of",
    "speed_of",
    "speeds_of",
    "tuning_of",
    "tunings_of",
    "with_class",
]

Named = TypeVar("Named", bound=str)
Speed = Fraction | float | str
"""A part of a song's tempo: ``0.7``, ``"70%"``, ``Fraction(7, 10)``."""

GivenTuning = str | Tuning | Sequence[str] | Sequence[Pitch]
"""A name such as ``low-g``; four notes, string 4 first, in a text or a list; or a `Tuning`."""

USUAL_SPEEDS = (Fraction(1),)
USUAL_FORMATS = ("wav",)
"""Of a kit where neither the options nor a class file say."""


class OptionError(ParameterError):
    """An option has a value that it can't have.

    Parameters
    ----------
    option
        Its name.
    fault
        The rest of the message.
    given
        The value, or the part of it that is wrong.
    meant
        What was likely meant by that, the likeliest first; the message asks for it.
    """

    def __init__(self, option: str, fault: str, given: str = "", meant: Sequence[str] = ()) -> None:
        super().__init__(option, fault + did_you_mean(meant))
        self.option, self.fault, self.given, self.meant = (
            option,
            fault + did_you_mean(meant),
            given,
            tuple(meant),
        )

    def __str__(self) -> str:
        return self.option + self.fault


@dataclass(frozen=True, slots=True)
class PlayOptions:
    """How a song is arranged and played.

    Parameters
    ----------
    transpose
        Semitones up from the song as written, -24 to 24; down with a minus. None as the song's ``sounding`` says, else
        as the class file's does.
    tuning
        What it is played on, as `tuning_of` reads it; None for the song's own.
    players
        Who plays: ``beginner``, ``improving`` or ``free``; None for those that the song names.
    as_written
        Keep the octave of notes that no string has: they sound, and their place in the tab stays empty.
    front
        How far the strums lie behind the melody, 0 to 24 LU between their median gestures; None as the song says.
    feel
        How exactly the layers keep together: ``steady``, ``natural`` or ``loose``; None as the song says.
    count_in_bars
        Bars counted before the music, 0 to 8; None as the song says, else one.
    sound
        A sound font: its path, its name, or a `Sound`. None as the song says, else ``TERCET_SOUND``, else the built-in
        ukulele.
    dry
        Exactly on the beat and at the marks, like a machine, and without a room.
    clear
        Lower just the strings that cover the tune.
    loud
        Up to 2 dB louder, for phones: the highest peaks are eased, the same in all tracks of a song.
    click
        A quiet click throughout, and no drift in tempo.
    guide
        What is left out stays as a soft guide instead of being silent.
    seed
        Another number plays it a little differently.
    bits
        Of WAV and FLAC files: 16 or 24.

    Raises
    ------
    OptionError
        A value is out of its range; the message names the option.
    """

    _: KW_ONLY
    transpose: int | None = None
    tuning: GivenTuning | None = None
    players: Players | None = None
    as_written: bool = False
    front: Fraction | float | None = None
    feel: Feel | None = None
    count_in_bars: int | None = None
    sound: str | Path | Sound | None = None
    dry: bool = False
    clear: bool = False
    loud: bool = False
    click: bool = False
    guide: bool = False
    seed: int = 1
    bits: Bits = 16

    def __post_init__(self) -> None:
        if self.transpose is not None:
            _within("transpose", self.transpose, -MOST_SEMITONES, MOST_SEMITONES, "semitones")
        _keep(
            self,
            tuning=None if self.tuning is None else tuning_of(self.tuning),
            players=None if self.players is None else players_of(self.players),
            front=None if self.front is None else front_of(self.front),
            feel=None if self.feel is None else feel_of(self.feel),
        )
        if self.count_in_bars is not None:
            _within("count_in_bars", self.count_in_bars, 0, MOST_COUNT_IN_BARS, "bars")
        if self.bits not in (16, 24):
            raise OptionError("bits", f" must be 16 or 24 (got {self.bits})")

    @property
    def strings(self) -> Tuning | None:
        """The tuning that is asked for, in its exact form."""
        return cast("Tuning | None", self.tuning)

    def of_tracks(self, song: Song, speed: Fraction, bars: str) -> TrackOptions:
        """Return what is asked of a track of a song alike, at a speed, in some bars (all where that is empty)."""
        return TrackOptions(speed, bars, self.counted_in(song), self.click, self.guide)

    def semitones(self, song: Song) -> int:
        """Return how many semitones higher a song is played than written: as asked, else as the song says."""
        return (song.sounding or 0) if self.transpose is None else self.transpose

    def counted_in(self, song: Song) -> int:
        """Return how many bars are counted before a song: as asked, as the song says, or one."""
        own = song.count_in_bars if song.count_in_bars is not None else 1
        return own if self.count_in_bars is None else self.count_in_bars


@dataclass(frozen=True, slots=True)
class KitOptions:
    """What a kit is made of, and how.

    Parameters
    ----------
    play
        How all of it is played. Its `tuning` and `players` hold where `tunings` and several `players` aren't given.
    tunings
        A set of files for each, as `tunings_of` reads them; empty for the class's, else the song's own.
    players
        A set of files for each; beginners beside others get a simpler part. Empty for the class's, else the song's.
    keys
        A set of files for each, as `keys_of` reads them: semitones from the key in which the song is played otherwise.
        Empty for the class's, else that key alone.
    tracks
        Names of the tracks that are wanted; empty for all. One that makes no sense in a song is refused.
    among
        Where `tracks` is empty: those to make where they make sense in a song; empty for all.
    bars
        Only these: ``5-8`` as played, ``verse:3-4`` of a section, ``verse@2:3-4`` on its second pass.
    speeds
        Parts of the song's tempo, 25% to 200%: all tracks at each. Empty for the class's, else full speed.
    formats
        Endings of audio files, such as ``mp3``. Empty for the class's, else ``wav``.
    jobs
        Processes to use, 1 or more; None for one a processor.
    cluster
        Address of a Dask scheduler to use instead, such as ``tcp://10.0.0.5:8786``.
    replace
        Replace also what Tercet didn't make, or was changed since.
    verify
        Read all files that are there through, whatever their dates say.

    Raises
    ------
    OptionError
        A value is out of its range; the message names the option.
    """

    _: KW_ONLY
    play: PlayOptions = field(default_factory=PlayOptions)
    tunings: GivenTuning | Sequence[GivenTuning] = ()
    players: Players | Sequence[Players] = ()
    keys: str | Sequence[int] = ()
    tracks: Sequence[str] = ()
    among: Sequence[str] = ()
    bars: str = ""
    speeds: Sequence[Speed] = ()
    formats: Sequence[str] = ()
    jobs: int | None = None
    cluster: str | None = None
    replace: bool = False
    verify: bool = False

    def __post_init__(self) -> None:
        one = self.play
        _keep(
            self,
            play=replace(one, tuning=None, players=None),
            tunings=tunings_of(self.tunings or (() if one.strings is None else (one.strings,))),
            players=several_players_of(self.players or (() if one.players is None else (one.players,))),
            keys=keys_of(self.keys) if self.keys else (),
            tracks=names_of(self.tracks),
            among=names_of(self.among),
            speeds=speeds_of(self.speeds),
            formats=formats_of(self.formats),
        )
        if self.jobs is not None and self.jobs < 1:
            raise OptionError("jobs", f" must be 1 or more (got {self.jobs})")
        if self.jobs is not None and self.cluster is not None:
            raise OptionError(
                "cluster",
                ": its workers say how many jobs they take, and jobs is for this computer: give one of them",
            )


def with_class(options: KitOptions, class_file: ClassFile | None) -> KitOptions:
    """Return options for a kit, filled in from the class file beside the song, else with what is usual.

    A song's own ``tuning`` and ``players`` say for whom it is written, and hold where nobody says for whom the kit is
    made: the options and the class file do.
    """
    shared = class_file or ClassFile()
    return replace(
        options,
        tunings=options.tunings or shared.tunings,
        players=options.players or shared.players,
        keys=options.keys or shared.keys,
        speeds=options.speeds or shared.speeds or USUAL_SPEEDS,
        formats=options.formats or shared.formats or USUAL_FORMATS,
    )


def _keep(options: PlayOptions | KitOptions, **values: Any) -> None:
    """Put values in their exact form into options that are just being made."""
    for name, value in values.items():
        object.__setattr__(options, name, value)


# ---- reading one value


def speed_of(given: Speed) -> Fraction:
    """Read ``70%``, ``70 %`` or ``0.7`` as a part of a song's tempo.

    >>> speed_of("70%")
    Fraction(7, 10)
    """
    text = str(given).strip()
    figure = text.removesuffix("%").rstrip()
    try:
        value = Fraction(figure) / (1 if figure == text else 100)
    except (ValueError, ZeroDivisionError):
        plain = re.fullmatch(r"x?(\d*)[.,]?(\d*)\s*(%|x|per ?cent|pct)?", text.casefold())
        meant = _apt_speeds(".".join(filter(None, plain.groups()[:2])), text) if plain else ()
        raise OptionError("speed", f" must be a percentage such as 70% (got {given})", text, meant) from None
    if not SPEED_RANGE[0] <= value <= SPEED_RANGE[1]:
        meant = () if figure != text else _apt_speeds(figure, "%")
        raise OptionError("speed", f" must be {percent_range()} (got {given})", text, meant)
    return value


def _apt_speeds(figure: str, text: str) -> tuple[str, ...]:
    """Return the speed that a figure likely means, as a percentage where the text says so, or it can't be a part."""
    with suppress(ValueError):
        value = Fraction(figure)
        percent = value if "%" in text or "p" in text.casefold() or value > SPEED_RANGE[1] else value * 100
        if SPEED_RANGE[0] <= percent / 100 <= SPEED_RANGE[1]:
            return (f"{float(percent):g}%",)
    return ()


def speeds_of(given: str | Iterable[Speed]) -> tuple[Fraction, ...]:
    """Read ``60%,80%`` or a list of speeds, each once."""
    parts: Iterable[Speed] = names_of(given) if isinstance(given, str) else given
    return tuple(dict.fromkeys(map(speed_of, parts)))


def names_of(given: str | Iterable[str]) -> tuple[str, ...]:
    """Read ``a,b,c``, which must hold at least one name, or a list of names."""
    if not isinstance(given, str):
        return tuple(given)
    found = tuple(part.strip() for part in given.split(",") if part.strip())
    if not found:
        raise OptionError("names", ": name at least one")
    return found


def layer_of(given: str) -> Layer:
    """Read the name of a layer."""
    if given == "tune":  # not a layer: some of its notes lie in between
        raise OptionError(
            "layer", f" must be {listed(LAYERS, 'or')} (for the whole tune, the track without-tune)"
        )
    return _one_of("layer", given, LAYERS, _LAYERS_MEANT)


def players_of(given: str) -> Players:
    """Read who plays."""
    return _one_of("players", given, tuple(LIMITS), _PLAYERS_MEANT)


def several_players_of(given: str | Iterable[str]) -> tuple[Players, ...]:
    """Read ``beginner,improving`` or a list; they come in the order of what is asked of them."""
    asked = [players_of(part) for part in names_of(given)]
    for name in asked:
        if asked.count(name) > 1:
            raise OptionError("players", f": {name} appears twice: remove one")
    return tuple(name for name in LIMITS if name in asked)


def feel_of(given: str) -> Feel:
    """Read how exactly the layers keep together."""
    return _one_of("feel", given, tuple(FEELS), _FEELS_MEANT)


def front_of(given: str | float | Fraction) -> Fraction:
    """Read how far the strums lie behind the melody, in LU."""
    try:
        value = Fraction(given)
    except (ValueError, ZeroDivisionError, OverflowError):
        figure = re.fullmatch(r"(\d+)(?:[.,](\d+))?\s*(?:lu|db)?", str(given).strip().casefold())
        meant = (".".join(filter(None, figure.groups())),) if figure else ()
        raise OptionError(
            "front", f" must be a number of LU such as 9 (got {given})", str(given), meant
        ) from None
    _within("front", value, *FRONT_RANGE_LU, "LU", shown=given)
    return value


def jobs_of(given: str) -> int | None:
    """Read how many processes work; ``all`` is one a processor."""
    if given == "all":
        return None
    if not given.isdecimal():
        raise OptionError(
            "jobs", f" must be a number such as 2, or all (got {given})", given, lookalikes(given, ["all"])
        )
    return int(given)


def key_of(given: str) -> Key:
    """Read a key as the setting is read; `RequestError` for what is none."""
    return key_named(given)


def keys_of(given: str | Iterable[int | str]) -> tuple[int, ...]:
    """Read ``0,-2,+3`` or a list: semitones from the key in which a song is played otherwise, in their order.

    >>> keys_of("0, -2, +3")
    (0, -2, 3)

    Raises
    ------
    OptionError
        One is no whole number or lies too far, or two are the same key.
    """
    found: list[int] = []
    for each in names_of(given) if isinstance(given, str) else map(str, given):
        if not re.fullmatch(r"[+-]?\d{1,6}", each) or abs(int(each)) > MOST_KEY_SEMITONES:
            raise OptionError(
                "keys",
                f" must be semitones from the song's key, -{MOST_KEY_SEMITONES} to +{MOST_KEY_SEMITONES}, such as "
                f"0,-2,+3 (got {each})",
                each,
            )
        for other in found:
            if (int(each) - other) % 12 == 0:
                raise OptionError("keys", f": {other:+d} and {int(each):+d} are one key: remove one")
        found.append(int(each))
    return tuple(found)


def bars_of(given: str) -> str:
    """Read which bars: whether a song has them is seen later."""
    if given and not says_bars(given):
        raise OptionError(
            "bars", f": {given} doesn't say which bars, as 5-8 or verse:3-4 do", given, meant_bars(given)
        )
    return given


def tuning_of(given: GivenTuning) -> Tuning:
    """Read one tuning; errors as for `tunings_of`, and where there is more than one."""
    found = tunings_of((given,))
    if len(found) != 1:
        names = ", ".join(tuning.name for tuning in found) or "none"
        raise OptionError(
            "tuning", f": name one tuning (got {names}), or let `tercet kit` make a set for each"
        )
    return found[0]


def tunings_of(given: GivenTuning | Iterable[GivenTuning]) -> tuple[Tuning, ...]:
    """Read tunings: names, `Tuning`, and notes four by four, string 4 first, each in a text or one by one.

    They come in the order of the table, whatever the order asked, then those of four notes.

    >>> [str(each.name) for each in tunings_of(["A4", "D4", "F#4", "B4", "low-g", "high-g"])]
    ['high-g', 'low-g', 'custom']

    Raises
    ------
    OptionError
        A name isn't known, there aren't four notes, or a tuning is there twice.
    """
    parts = list(_parts((given,)))
    found: dict[tuple[int, ...], Tuning] = {}
    while parts:
        notes = [*takewhile(_is_note, parts[:4])]
        tuning = _of_notes(notes, parts[len(notes) :]) if notes else _named(parts)
        del parts[: max(len(notes), 1)]
        strings = tuple(pitch.midi for pitch in tuning.open_pitches)
        if strings in found:
            again = ",".join(map(str, notes)) or tuning.name
            raise OptionError("tuning", f": {again} appears twice: remove one")
        found[strings] = tuning
    order = [*TUNINGS, "custom"]
    return tuple(sorted(found.values(), key=lambda tuning: order.index(tuning.name)))


def _parts(given: Iterable[Any]) -> Iterator[str | Tuning]:
    """Yield the names, notes and tunings of what is given, whatever holds them."""
    for each in given:
        if isinstance(each, Tuning):
            yield each
        elif isinstance(each, str):
            yield from filter(None, re.split(r"[,\s]+", each))
        elif isinstance(each, Pitch):
            yield str(each)
        else:
            yield from _parts(each)


def _named(parts: Sequence[str | Tuning]) -> Tuning:
    """Return the tuning that the first part names; what is meant may stand in the parts after it, too."""
    first = parts[0]
    if isinstance(first, Tuning):
        return first
    if first in TUNINGS:
        return TUNINGS[first]
    words = [str(part) for part in takewhile(lambda part: isinstance(part, str), parts[:4])]
    for length in range(len(words), 0, -1):
        given = " ".join(words[:length])
        if meant := meant_tunings(given, near=length == 1):
            raise OptionError("tuning", f": there is no tuning {given}", given, meant)
    every = listed(TUNINGS, "or")
    raise OptionError("tuning", f" must be {every}, or four notes such as A4,D4,F#4,B4 (got {first})", first)


def _of_notes(notes: Sequence[str | Tuning], rest: Sequence[str | Tuning]) -> Tuning:
    """Return the tuning of up to four notes; what comes after them may be what spoils them."""
    given = list(map(str, notes))
    if len(given) < 4:
        bad = rest[0] if rest and isinstance(rest[0], str) and rest[0] not in TUNINGS else None
        spoilt = f", then {bad!r}, which is no note" if bad is not None else ""
        raise OptionError(
            "tuning",
            f": a tuning must have four notes, string 4 first (got {len(given)}: {','.join(given)}{spoilt}): "
            "write all four, such as A4,D4,F#4,B4",
        )
    try:
        return tuning_of_pitches(tuple(map(Pitch.parse, given)))
    except ParameterError as error:
        raise OptionError("tuning", f": {error}") from None


def _is_note(part: str | Tuning) -> bool:
    if isinstance(part, Tuning):
        return False
    try:
        Pitch.parse(part)
    except ParameterError:
        return False
    return True


def formats_of(given: str | Iterable[str]) -> tuple[str, ...]:
    """Read ``wav,mp3`` or a list of endings, each once."""
    return tuple(dict.fromkeys(map(_format_of, names_of(given))))


def _format_of(given: str) -> str:
    """Return the ending of an audio file without its dot."""
    name = given.lower().removeprefix(".")
    if f".{name}" not in FORMATS:
        meant = lookalikes(_FORMATS_MEANT.get(name, name), format_names())
        raise OptionError(
            "formats", f" must be among {', '.join(format_names())} (got {given})", given, meant
        )
    return name


_LAYERS_MEANT: dict[str, Layer] = {
    "lead": "melody",
    "rolls": "melody",
    "roll": "melody",
    "single": "between",
    "singles": "between",
    "between notes": "between",
    "chord": "strums",
    "chords": "strums",
    "rhythm": "strums",
    "strumming": "strums",
}
_PLAYERS_MEANT: dict[str, Players] = {
    "easy": "beginner",
    "new": "beginner",
    "novice": "beginner",
    "starter": "beginner",
    "medium": "improving",
    "middle": "improving",
    "intermediate": "improving",
    "improver": "improving",
    "advanced": "free",
    "expert": "free",
    "hard": "free",
    "any": "free",
}
_FEELS_MEANT: dict[str, Feel] = {
    "tight": "steady",
    "exact": "steady",
    "human": "natural",
    "normal": "natural",
    "free": "loose",
}
_FORMATS_MEANT = {"wave": "wav", "aif": "wav", "aiff": "wav", "m4a": "mp3", "aac": "mp3", "wma": "mp3"}
"""Other words for values."""


def _one_of(option: str, given: str, known: Sequence[Named], others: Mapping[str, Named]) -> Named:
    for name in known:
        if given == name:
            return name
    word = given.casefold()
    meant = (others[word],) if word in others else lookalikes(given, known)
    raise OptionError(option, f" must be {listed(known, 'or')} (got {given})", given, meant)


def _within(
    option: str, value: Fraction | int, low: int, high: int, unit: str, *, shown: object = None
) -> None:
    if not low <= value <= high:
        raise OptionError(
            option, f" must be {low} to {high} {unit} (got {value if shown is None else shown})"
        )
