"""Tunings of four strings, those that have a name and any other four notes; and the sizes of instrument."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tercet.errors import ParameterError
from tercet.theory.limits import LAST_FRET
from tercet.theory.pitch import Pitch
from tercet.wording import did_you_mean, listed, lookalikes

__all__ = [
    "HIGHEST_OPEN",
    "INSTRUMENTS",
    "LOWEST_OPEN",
    "NEEDED_STRINGS",
    "TUNINGS",
    "Instrument",
    "Tuning",
    "allowed_open",
    "meant_tunings",
    "tuning_named",
    "tuning_of",
    "tuning_of_pitches",
]

LOWEST_OPEN, HIGHEST_OPEN = Pitch.parse("E1"), Pitch.parse("A5")
"""How low and how high an open string may be: from the lowest string of a bass to an octave above the highest of a
high-g ukulele. The built-in ukulele sounds in tune at every fret of any such string, and all of them are MIDI keys."""

NEEDED_STRINGS = f"must have open strings from {LOWEST_OPEN} to {HIGHEST_OPEN}"
"""What is said of a tuning that has others."""


def allowed_open(pitch: Pitch) -> Pitch:
    """Return the pitch itself when an open string may have it, else the nearest of its name that one may have."""
    octave = pitch.octave
    while pitch.midi + 12 * (octave - pitch.octave) < LOWEST_OPEN.midi:
        octave += 1
    while pitch.midi + 12 * (octave - pitch.octave) > HIGHEST_OPEN.midi:
        octave -= 1
    return Pitch(pitch.letter, pitch.alter, octave)


@dataclass(frozen=True, slots=True)
class Tuning:
    """Four open strings.

    Parameters
    ----------
    name
        ``"high-g"`` and so on; ``"custom"`` for one given by pitches.
    open_pitches
        The open strings, string 4 first, each from `LOWEST_OPEN` to `HIGHEST_OPEN`.
    """

    name: str
    open_pitches: tuple[Pitch, Pitch, Pitch, Pitch]

    def __post_init__(self) -> None:
        for pitch in self.open_pitches:
            if (allowed := allowed_open(pitch)) != pitch:
                raise ParameterError(f"a tuning {NEEDED_STRINGS} (got {pitch}; perhaps {allowed})")

    def open_midi(self, string: int) -> int:
        """Return the MIDI key number of an open string, 1 to 4."""
        if not 1 <= string <= 4:
            raise ParameterError(f"a string must be 1 to 4 (got {string})")
        return self.open_pitches[4 - string].midi

    def midi(self, string: int, fret: int) -> int:
        """Return the MIDI key number that sounds on a string (1 to 4) at a fret (0 is open)."""
        if fret < 0:
            raise ParameterError(f"a fret must be 0 or more (got {fret})")
        return self.open_midi(string) + fret

    @property
    def reentrant(self) -> bool:
        """Whether string 4 is higher than string 3."""
        return self.open_midi(4) > self.open_midi(3)

    @property
    def lowest_midi(self) -> int:
        """The lowest open string."""
        return min(pitch.midi for pitch in self.open_pitches)

    @property
    def highest_midi(self) -> int:
        """The highest note within reach."""
        return max(pitch.midi for pitch in self.open_pitches) + LAST_FRET


def _tuning(name: str, pitches: str) -> Tuning:
    four, three, two, one = (Pitch.parse(text) for text in pitches.split())
    return Tuning(name, (four, three, two, one))


_ROWS = (
    _tuning("high-g", "G4 C4 E4 A4"),
    _tuning("low-g", "G3 C4 E4 A4"),
    _tuning("baritone", "D3 G3 B3 E4"),
)

TUNINGS: dict[str, Tuning] = {row.name: row for row in _ROWS}
"""The tunings that have a name."""


def tuning_of(given: str | tuple[Pitch, ...]) -> Tuning:
    """Return the tuning that a name or four open strings, string 4 first, stand for."""
    return tuning_named(given) if isinstance(given, str) else tuning_of_pitches(given)


def tuning_named(name: str) -> Tuning:
    """Return a tuning from the table; `ParameterError` when there is none of that name, with those likely meant."""
    if name not in TUNINGS:
        raise ParameterError(
            f"a tuning must be {listed(TUNINGS, 'or')}, or four notes (got {name}){did_you_mean(meant_tunings(name))}"
        )
    return TUNINGS[name]


def tuning_of_pitches(pitches: tuple[Pitch, ...]) -> Tuning:
    """Return the tuning of four open strings, string 4 first; one from the table keeps its name."""
    if len(pitches) != 4:
        raise ParameterError(f"a tuning must have four notes, string 4 first (got {len(pitches)})")
    for tuning in TUNINGS.values():
        if tuple(pitch.midi for pitch in tuning.open_pitches) == tuple(pitch.midi for pitch in pitches):
            return tuning
    four, three, two, one = pitches
    return Tuning("custom", (four, three, two, one))


# ---- what is meant by other words

_OTHER_WORDS: dict[str, tuple[str, ...]] = {
    "high-g": ("highg", "high", "reentrant", "standard", "normal", "usual", "soprano", "concert", "c6"),
    "low-g": ("lowg", "low", "linear", "lowfourth"),
    "baritone": ("bari", "barituke", "baritoneukulele", "g6"),
}
"""What else each tuning is called, without spaces and hyphens."""

_STRINGS = re.compile(r"([a-g](?:#|b)?)(-?\d)?" * 4)


def meant_tunings(text: str, *, near: bool = True) -> tuple[str, ...]:
    """Return the names of the tunings that a text likely means, the likeliest first.

    The letters of the strings without octaves stand for every tuning that has them: ``GCEA`` for two, unless the
    small g of ``gCEA`` says that it is the high one.

    Parameters
    ----------
    text
        What stands where a tuning should.
    near
        Whether words count that only look like one.

    Examples
    --------
    >>> meant_tunings("low g"), meant_tunings("GCEA"), meant_tunings("gCEA"), meant_tunings("D G B E")
    (('low-g',), ('high-g', 'low-g'), ('high-g',), ('baritone',))
    """
    plain = "".join(sign for sign in text.casefold() if sign not in " -_,.;'\"|/")
    if strings := _STRINGS.fullmatch(plain):
        letters, octaves = strings.groups()[::2], strings.groups()[1::2]
        found = tuple(name for name, tuning in TUNINGS.items() if _named_alike(tuning, letters, octaves))
        small_first = [sign.islower() for sign in text if sign.isalpha()] == [True, False, False, False]
        return found[:1] if small_first else found
    plain = re.sub(r"(?<=.)(tuning|tuned|ukulele|uke)$", "", plain)
    known = {word: name for name, words in _OTHER_WORDS.items() for word in words}
    if near and len(plain) > 2:
        return tuple(known[word] for word in lookalikes(plain, known))
    return (known[plain],) if plain in known else ()


def _named_alike(tuning: Tuning, letters: tuple[str, ...], octaves: tuple[str | None, ...]) -> bool:
    """Return whether a tuning has strings of these names, in these octaves where they are said."""
    return all(
        pitch.name.casefold() == letter and (octave is None or int(octave) == pitch.octave)
        for pitch, letter, octave in zip(tuning.open_pitches, letters, octaves, strict=True)
    )


# ---- instruments


@dataclass(frozen=True, slots=True)
class Instrument:
    """One size.

    Parameters
    ----------
    name
        As a song file names it.
    scale_length_mm
        Length of the sounding string, nut to saddle.
    tuning
        What it is tuned to where nothing else is said, by its name in `TUNINGS`.
    """

    name: str
    scale_length_mm: float
    tuning: str = "high-g"


_SIZES = (
    Instrument("soprano", 346.0),
    Instrument("concert", 380.0),
    Instrument("tenor", 430.0),
    Instrument("baritone", 510.0, tuning="baritone"),
)

INSTRUMENTS: dict[str, Instrument] = {row.name: row for row in _SIZES}
"""The sizes that have a name, smallest first."""
