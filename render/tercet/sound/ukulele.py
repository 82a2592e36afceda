"""The built-in ukulele: modelled strings laid out as a sound font.

What is in it
-------------
- One instrument for each string of `STRINGS_OF_INSTRUMENTS`, sampled at some frets, each in two touches. The touches
  move together, so they are crossfaded by velocity, the firm one's amplitude about v/127, the soft one's about
  1 − v/127, and both fall by `SPAN_DB` from velocity 127 to 0 evenly in dB.
- A ukulele over the whole keyboard in bank 8 and bank 0, program 24, where any MIDI file finds it, and one preset for
  each string in `STRING_BANKS`. They share program 24, so a player without these banks still finds a nylon string.
- Chops, wood and bell among the drums.

Modulators (SoundFont specification 2.04, 8.2 and 9.5): a source is its number, plus 0x80 for a MIDI controller, 0x100
for falling, 0x200 for both signs, 0x400 for concave, 0x800 for convex.

The font is made on first use and kept in the user's cache. Its name carries version, size and a hash of all that it is
made from, so a newer Tercet makes its own; two processes that make it at once write the same bytes.
"""

from __future__ import annotations

import functools
import hashlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tercet.caches import Cache, cache_folder, temporary_cache
from tercet.errors import SoundFontError
from tercet.sound import plucked, string_model, struck
from tercet.sound.plucked import RING_PER_T60, all_ring_along, plucked_note
from tercet.sound.sf2_writer import (
    FontFile,
    FontInstrument,
    FontPreset,
    FontSample,
    FontZone,
    Modulator,
    font_bytes,
)
from tercet.sound.stems import Progress
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS, UkeString
from tercet.sound.struck import BELL, CHOP_STRENGTHS, WOOD, chop, strike
from tercet.theory import LAST_FRET

__all__ = [
    "CHOP_DOWN_KEY",
    "CHOP_UP_KEY",
    "DRUM_BANK",
    "FONT_NAME",
    "FULL",
    "PROGRAM",
    "SMALL",
    "SPAN_DB",
    "STRING_BANKS",
    "UKULELE_BANK",
    "VERSION",
    "Size",
    "built_in_name",
    "built_in_path",
    "model_digest",
    "ready_built_in",
    "ukulele_bytes",
]

VERSION = 3
"""Raised whenever the model's sound or the font's bytes change."""

FONT_NAME = "Tercet Ukulele"
UKULELE_BANK, PROGRAM, DRUM_BANK = 8, 24, 128

STRING_BANKS: dict[str, int] = {
    "A4": 11, "E4": 12, "C4": 13, "G4": 14, "low G3": 15,
    "baritone E4": 21, "baritone B3": 22, "baritone G3": 23, "baritone D3": 24,
}  # fmt: skip
"""Bank of each string's own preset, program 24: 11 to 14 for strings 1 to 4 of a high-G ukulele, 15 for the low
fourth, 21 to 24 for a baritone's strings 1 to 4."""

WHOLE_KEYBOARD: tuple[tuple[str, int], ...] = (
    ("baritone D3", 0),
    ("low G3", 55),
    ("C4", 60),
    ("E4", 64),
    ("A4", 69),
)
"""Strings of the ukulele over the whole keyboard, each from its lowest key on."""

SPAN_DB = 36.0
"""From velocity 0 to 127; equal steps of it are heard as equal steps, and a class hears ppp to fff within 28 dB."""

CROSSFADE_CENTIBELS = 430
"""A concave modulator over 960 centibels is 40·log10(v/127) dB (specification, 8.4.1), one over 480 amplitude v/127.
A little less keeps the middle as loud as a straight line, for the touches are not quite alike."""

DARKEST_CENTS = 4_800
"""How far controller 74 can close the low-pass from its open 13500 cents (20 kHz): down to 1.2 kHz at 0."""

RELEASE_TIMECENTS = -4_484
"""A damped string falls by 96 dB in 75 ms: by 40 dB in 31 ms."""

ATTENUATION, FILTER_CUTOFF, RELEASE, KEY_TRACKING, OPEN_FILTER_CENTS = 48, 8, 38, 56, 13_500
VELOCITY_CONCAVE_FALLING, VELOCITY_CONCAVE, VELOCITY_FALLING = 0x0502, 0x0402, 0x0102
BRIGHTNESS_CONTROLLER = 0x02CA

TOUCH_MODULATORS: tuple[Modulator, ...] = (
    Modulator(VELOCITY_CONCAVE_FALLING, ATTENUATION, 0),
    Modulator(VELOCITY_FALLING, FILTER_CUTOFF, 0),
    Modulator(VELOCITY_FALLING, ATTENUATION, round(10 * SPAN_DB)),
    Modulator(BRIGHTNESS_CONTROLLER, FILTER_CUTOFF, DARKEST_CENTS),
)
"""The first two take the place of the players' own answers to velocity; the third is `SPAN_DB`; the last lets
controller 74 (brightness, 64 when untouched) close the filter."""

FIRM_MODULATORS = (Modulator(VELOCITY_CONCAVE_FALLING, ATTENUATION, CROSSFADE_CENTIBELS),)
SOFT_MODULATORS = (Modulator(VELOCITY_CONCAVE, ATTENUATION, CROSSFADE_CENTIBELS),)

CHOP_DOWN_KEY, CHOP_UP_KEY, WOOD_HIGH_KEY, WOOD_LOW_KEY, BELL_KEY = 60, 62, 76, 77, 81
"""Keys of the drums: chops where a player of keys finds them, the rest where General MIDI has wood blocks and a
triangle."""

CHOP_VELOCITIES = ((0, 56), (57, 96), (97, 127))
CHOP_PEAK, DRUM_PEAK = 0.5, 0.5
FOURTH = 4 / 3
"""The high wood block is a fourth above the low one."""

FULL_SCALE = 32_767

SOUND_FONT_INFO: dict[str, str] = {
    "ICOP": "CC0-1.0: public domain, no rights reserved",
    "ICMT": "Modelled strings. Velocity moves loudness and brightness; controller 74 below 64 is darker.",
    "ISFT": "Tercet",
}


@dataclass(frozen=True, slots=True)
class Size:
    """How richly the font is sampled.

    Parameters
    ----------
    name
        ``"full"`` or ``"small"``.
    fret_step
        Every how many frets a string is sampled.
    rate_hz
        Frames a second of the samples.
    ring_per_t60
        How long they are, in T60 of their fundamentals.
    stand_ins
        For each string that isn't sampled itself, the one that stands for it.
    """

    name: str
    fret_step: int
    rate_hz: int
    ring_per_t60: float
    stand_ins: tuple[tuple[str, str], ...] = ()


FULL = Size("full", 2, 48_000, RING_PER_T60)
SMALL = Size("small", 3, 32_000, 1.22, (("baritone G3", "low G3"), ("baritone E4", "E4")))


def ukulele_bytes(size: Size = FULL, progress: Progress | None = None) -> bytes:
    """Return the built-in ukulele as the bytes of a sound font; the same bytes each time on one machine.

    Parameters
    ----------
    size
        `FULL` or `SMALL`.
    progress
        Told (what is being done, notes done, notes in all) while it is made.
    """
    stand_ins = dict(size.stand_ins)
    strings = [string for name, string in STRINGS_OF_INSTRUMENTS.items() if name not in stand_ins]
    jobs = [(string, fret) for string in strings for fret in range(0, LAST_FRET + 1, size.fret_step)]
    samples: list[FontSample] = []
    with ThreadPoolExecutor(max_workers=2) as workers:  # the transforms let go of the interpreter
        made = workers.map(lambda job: _note_samples(job[0], job[1], size), jobs)
        for done, pair in enumerate(made, 1):
            samples += pair
            if progress is not None:
                progress("strings", done, len(jobs))
    drums, drum_zones = _drums(len(samples), size.rate_hz)
    instruments = [_string_instrument(string, jobs, size.fret_step) for string in strings]
    places = {string.name: index for index, string in enumerate(strings)}
    places |= {name: places[other] for name, other in stand_ins.items()}
    instruments.append(FontInstrument("Chop, wood, bell", drum_zones))
    return font_bytes(
        FontFile(
            name=FONT_NAME if size.name == "full" else f"{FONT_NAME} ({size.name})",
            info=SOUND_FONT_INFO,
            samples=(*samples, *drums),
            instruments=tuple(instruments),
            presets=_presets(places, len(instruments) - 1),
        )
    )


def _note_samples(string: UkeString, fret: int, size: Size) -> tuple[FontSample, FontSample]:
    """Return a note's soft and firm sample, as every other string of the instrument rings along: a font can't know."""
    rate_hz = size.rate_hz
    note = plucked_note(string, fret, rate_hz, size.ring_per_t60)
    along = np.zeros(len(note.soft))
    rings = all_ring_along(string, fret, rate_hz)[: len(along)]
    along[: len(rings)] = 0.5 * rings
    key = string.open_midi + fret
    soft, firm = (
        FontSample(f"{string.name} {fret} {touch}", _pcm(sound + along), rate_hz, key)
        for touch, sound in (("soft", note.soft), ("firm", note.firm))
    )
    return soft, firm


def _string_instrument(string: UkeString, jobs: list[tuple[UkeString, int]], step: int) -> FontInstrument:
    """Return a string's instrument: each sample from its fret up to the next, the outermost to the keyboard's ends."""
    zones = [FontZone(None, generators=((RELEASE, RELEASE_TIMECENTS),), modulators=TOUCH_MODULATORS)]
    own = [(index, fret) for index, (other, fret) in enumerate(jobs) if other is string]
    for index, fret in own:
        lowest = 0 if fret == own[0][1] else string.open_midi + fret
        highest = 127 if fret == own[-1][1] else string.open_midi + fret + step - 1
        zones.append(FontZone(2 * index, (lowest, highest), modulators=SOFT_MODULATORS))
        zones.append(FontZone(2 * index + 1, (lowest, highest), modulators=FIRM_MODULATORS))
    return FontInstrument(f"String {string.name}", tuple(zones))


def _drums(first: int, rate_hz: int) -> tuple[list[FontSample], tuple[FontZone, ...]]:
    """Return chops, wood and bell, and the zones that play them; `first` is the index of the first sample."""
    samples: list[FontSample] = []
    zones: list[FontZone] = [FontZone(None, generators=((RELEASE, 0),))]

    def add(
        name: str, sound: NDArray[np.float64], key: int, velocities: tuple[int, int] | None = None
    ) -> None:
        zones.append(FontZone(first + len(samples), (key, key), velocities, generators=((KEY_TRACKING, 0),)))
        samples.append(FontSample(name, _pcm(sound), rate_hz, key))

    for up, key in ((False, CHOP_DOWN_KEY), (True, CHOP_UP_KEY)):
        for strength, (word, *_) in enumerate(CHOP_STRENGTHS):
            sound = CHOP_PEAK * chop(strength, up=up, rate_hz=rate_hz)
            add(f"Chop {'up' if up else 'down'} {word}", sound, key, CHOP_VELOCITIES[strength])
    add("Wood high", DRUM_PEAK * strike(WOOD, rate_hz, FOURTH), WOOD_HIGH_KEY)
    add("Wood low", DRUM_PEAK * strike(WOOD, rate_hz), WOOD_LOW_KEY)
    add("Bell", DRUM_PEAK * strike(BELL, rate_hz), BELL_KEY)
    return samples, tuple(zones)


def _presets(places: dict[str, int], drums: int) -> tuple[FontPreset, ...]:
    """Return all presets; `places` gives each string's instrument."""
    ends = [lowest - 1 for _, lowest in WHOLE_KEYBOARD[1:]] + [127]
    keyboard = tuple(
        FontZone(places[name], (lowest, end))
        for (name, lowest), end in zip(WHOLE_KEYBOARD, ends, strict=True)
    )
    strings = (
        FontPreset(f"String {name}", bank, PROGRAM, (FontZone(places[name]),))
        for name, bank in STRING_BANKS.items()
    )
    return (
        FontPreset("Ukulele", UKULELE_BANK, PROGRAM, keyboard),
        FontPreset("Ukulele", 0, PROGRAM, keyboard),
        *strings,
        FontPreset("Chop, wood, bell", DRUM_BANK, 0, (FontZone(drums),)),
    )


def _pcm(sound: NDArray[np.float64]) -> NDArray[np.int16]:
    """Return a sound (frames,) as 16-bit figures."""
    return np.round(FULL_SCALE * sound).astype(np.int16)


# ---- where it lies


def model_digest() -> str:
    """Return ten digits that stand for all parameters of the model and of the font."""
    parts = (vars(module) for module in (plucked, string_model, struck))
    tables = [
        (name, value)
        for part in (*parts, globals())
        for name, value in sorted(part.items())
        if name.isupper()
    ]
    return hashlib.sha256(repr(tables).encode()).hexdigest()[:10]


def built_in_name() -> str:
    """Return the file name of the built-in ukulele: version, size, and a hash of its parameters."""
    return f"tercet-ukulele-{VERSION}-{FULL.name}-{model_digest()}.sf2"


def built_in_path() -> Path:
    """Return where the built-in ukulele lies, or will."""
    return cache_folder() / built_in_name()


def ready_built_in(progress: Progress | None = None, path: Path | None = None) -> Path:
    """Return the built-in ukulele's file, made now if it is missing or damaged.

    Parameters
    ----------
    progress
        Told (what is being done, notes done, notes in all) while it is made.
    path
        Where to keep it instead of `built_in_path`.

    Raises
    ------
    SoundFontError
        The cache can't be written.
    """
    place = path or built_in_path()
    made = functools.cache(lambda: ukulele_bytes(progress=progress))
    try:
        try:
            return Cache(place.parent).file(place.name, made)
        except OSError as error:
            if path is not None:
                raise
            place = temporary_cache(f"{place}: {error.strerror or error}") / place.name
            return Cache(place.parent).file(place.name, made)
    except OSError as error:
        raise SoundFontError(
            f"{place}: the built-in ukulele can't be kept there: {error.strerror or error}. Make room, make the "
            "folder writable, or name another font by --sound."
        ) from error
