"""How a take is played on the built-in ukulele: each string's own sound, darker layers behind, no two strokes alike.

- Each string has its own preset. Which one follows from the pitch of the open string.
- Velocity follows the level by the font's own nearly straight line, `LEVEL_CURVE`.
- The layers behind are plucked with more flesh, further from the bridge: controller 74 closes a low-pass. What that
  takes from the loudness is given back, so that a mark stays the level that is measured.
- From stroke to stroke the touch changes a little at the same level: a firmer velocity with that much attenuation. Its
  amount belongs to a note's place, so the same bar sounds the same at any speed and in any loop.
- A chop is one stroke of the hand over damped strings, from the drums.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tercet.performing import TakeNote
from tercet.song import LAYERS
from tercet.sound.schedule import STRINGS, Stroke
from tercet.sound.sf2_reader import SoundFont, read_header
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS
from tercet.sound.ukulele import (
    CHOP_DOWN_KEY,
    CHOP_UP_KEY,
    DARKEST_CENTS,
    DRUM_BANK,
    FONT_NAME,
    OPEN_FILTER_CENTS,
    PROGRAM,
    STRING_BANKS,
    UKULELE_BANK,
)

__all__ = [
    "BRIGHTNESS_BY_LAYER",
    "BRIGHTNESS_CONTROLLER",
    "DARK_VELOCITIES",
    "UNTOUCHED_BRIGHTNESS",
    "ChannelSound",
    "PlayedStroke",
    "built_in_channels",
    "channel_of",
    "is_built_in",
    "layer_cutoff_hz",
    "level_of_velocity",
    "open_strings",
    "played_stroke",
    "shaded_velocity",
    "string_named",
    "velocity_of_level",
    "with_whole_chops",
]

BRIGHTNESS_CONTROLLER = 74
UNTOUCHED_BRIGHTNESS = 64
BRIGHTNESS_BY_LAYER: tuple[int, ...] = (64, 32, 14, 4)
"""Controller 74 for each of `LAYERS`: open; a low-pass at 5 kHz; one at 2.3 kHz; one at 1.5 kHz."""

DARK_VELOCITIES = (30, 60, 90, 120)
"""Where what the low-pass takes is measured: a brighter stroke loses more."""

NO_LOSSES_DB = (0.0, 0.0, 0.0, 0.0)

DarkLosses = Mapping[tuple[int, int], Sequence[float]]

LOUDEST_LEVEL_DB, LOUDEST_VELOCITY = 12.0, 127
"""fff is velocity 127, as everywhere in Tercet."""

LEVEL_CURVE: tuple[tuple[float, float], ...] = (
    (1, -35.5), (8, -33.7), (20, -30.7), (35, -26.75), (50, -22.75), (65, -18.6), (80, -14.25), (95, -9.85),
    (110, -5.25), (120, -2.15), (127, 0.0),
)  # fmt: skip
"""Velocity, and the K-weighted level of the font in dB against its firmest: the median of all strings and frets as
measured through FluidSynth. Every note keeps within 0.6 dB of it."""

LOSS_ROUNDS = 3
"""How often the velocity that makes up for a loss is sought: the loss itself grows with velocity."""

SHADE_STEPS = 15
"""Steps of velocity by which the touch of a stroke may be softer or firmer than its level asks for."""

CHOP_CHANNEL = STRINGS * len(LAYERS)
"""The chops of each layer follow the channels of the strings."""

CHOP_TOGETHER_S = 0.12
"""Chops of a layer within this time are strings of one stroke."""


@dataclass(frozen=True, slots=True)
class ChannelSound:
    """What a MIDI channel plays: bank, program, controllers and their values."""

    bank: int
    program: int
    controllers: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class PlayedStroke:
    """A stroke as MIDI: channel, key, velocity, and attenuation in dB that takes back what the velocity adds.

    Where the softest velocity is still too loud, the attenuation does the rest.
    """

    channel: int
    midi: int
    velocity: int
    attenuation_db: float = 0.0


def is_built_in(font: SoundFont) -> bool:
    """Return whether this is the ukulele preset of the built-in font, wherever its file lies."""
    if (font.bank, font.program) not in ((UKULELE_BANK, PROGRAM), (0, PROGRAM)):
        return False
    header = read_header(font.path)
    return header.name.startswith(FONT_NAME) and all(
        header.preset(bank, PROGRAM) for bank in (*STRING_BANKS.values(), UKULELE_BANK)
    )


@functools.cache
def string_named(string: int, open_midi: int) -> str:
    """Return the string of the font that comes nearest to an open string, by pitch, then by its number."""
    own_banks = {1: (11, 21), 2: (12, 22), 3: (13, 23), 4: (14, 15, 24)}[string]
    return min(
        STRING_BANKS,
        key=lambda name: (
            abs(STRINGS_OF_INSTRUMENTS[name].open_midi - open_midi),
            STRING_BANKS[name] not in own_banks,
            STRING_BANKS[name],
        ),
    )


def open_strings(notes: Iterable[TakeNote]) -> dict[int, int]:
    """Return the open key of each string that notes are played on.

    A note that no string has doesn't say how its string is tuned, unless nothing else is played there.
    """
    return {note.string: note.open_midi for note in sorted(notes, key=lambda note: note.fret is not None)}


def layer_cutoff_hz(layer_index: int) -> float | None:
    """Return the corner of a layer's low-pass; None for one that has none.

    Controller 74 moves it by up to `DARKEST_CENTS` either way from `OPEN_FILTER_CENTS`; 0 cents are 8.176 Hz.
    """
    value = BRIGHTNESS_BY_LAYER[layer_index]
    if value == UNTOUCHED_BRIGHTNESS:
        return None
    cents = OPEN_FILTER_CENTS + DARKEST_CENTS * (2.0 * value / 128.0 - 1.0)
    return float(440.0 * 2.0 ** ((cents / 100.0 - 69.0) / 12.0))


def built_in_channels(notes: Iterable[TakeNote]) -> dict[int, ChannelSound]:
    """Return what each channel plays: a string's preset for each string and layer that a take uses, and the chops."""
    opens = open_strings(notes)
    channels = {}
    for layer_index in range(len(LAYERS)):
        controllers = ((BRIGHTNESS_CONTROLLER, BRIGHTNESS_BY_LAYER[layer_index]),)
        for string, open_midi in opens.items():
            bank = STRING_BANKS[string_named(string, open_midi)]
            channel = len(LAYERS) * (string - 1) + layer_index
            channels[channel] = ChannelSound(bank, PROGRAM, controllers)
        channels[CHOP_CHANNEL + layer_index] = ChannelSound(DRUM_BANK, 0)
    return channels


def velocity_of_level(level_db: float) -> float:
    """Return the velocity, not yet whole, whose level from mf on this font is `level_db`; fff is 127."""
    velocities, levels_db = zip(*LEVEL_CURVE, strict=True)
    return float(np.interp(level_db - LOUDEST_LEVEL_DB, levels_db, velocities))


def level_of_velocity(velocity: float) -> float:
    """Return the level in dB from mf of a velocity on this font, by `LEVEL_CURVE`."""
    velocities, levels_db = zip(*LEVEL_CURVE, strict=True)
    return LOUDEST_LEVEL_DB + float(np.interp(velocity, velocities, levels_db))


def played_stroke(stroke: Stroke, dark_losses_db: DarkLosses) -> PlayedStroke:
    """Return how a stroke is played.

    Parameters
    ----------
    stroke
        A note, or a chop from `with_whole_chops`.
    dark_losses_db
        What the low-pass of a layer takes from a key's level, by (layer, key): in dB at each of `DARK_VELOCITIES`.
    """
    if stroke.chop:
        return PlayedStroke(CHOP_CHANNEL + stroke.layer_index, stroke.midi, stroke.velocity)
    losses_db = dark_losses_db.get((stroke.layer_index, stroke.midi), NO_LOSSES_DB)
    wanted = velocity_of_level(stroke.level_db)
    for _ in range(LOSS_ROUNDS):
        wanted = velocity_of_level(stroke.level_db + _between(wanted, losses_db))
    velocity = round(shaded_velocity(wanted, stroke.shade))
    excess_db = level_of_velocity(velocity) - _between(velocity, losses_db) - stroke.level_db
    return PlayedStroke(channel_of(stroke), stroke.midi, velocity, excess_db)


def shaded_velocity(velocity: float, shade: float) -> float:
    """Return the velocity of a stroke that is touched softer or firmer than usual by a `Stroke.shade`."""
    room = LOUDEST_VELOCITY - velocity if shade > 0.0 else velocity - 1.0
    return velocity + math.copysign(min(abs(shade) * SHADE_STEPS, room), shade)


def _between(velocity: float, losses_db: Sequence[float]) -> float:
    """Return the loss at a velocity, evenly between those measured at `DARK_VELOCITIES`."""
    return float(np.interp(velocity, DARK_VELOCITIES, losses_db))


def channel_of(stroke: Stroke) -> int:
    """Return the channel of a stroke's string and layer."""
    return len(LAYERS) * (stroke.string - 1) + stroke.layer_index


def with_whole_chops(strokes: Sequence[Stroke], rate_hz: int) -> tuple[Stroke, ...]:
    """Return strokes with the chopped strings of each movement of the hand made one stroke, in order of frame.

    A movement that begins on the side of string 1 is an upstroke. It is as loud as its loudest string.
    """
    together = round(CHOP_TOGETHER_S * rate_hz)
    movements: list[list[Stroke]] = []
    chops = [stroke for stroke in strokes if stroke.chop]
    for stroke in sorted(chops, key=lambda each: (each.layer_index, each.on_frame)):
        last = movements[-1] if movements else None
        if (
            last is not None
            and last[0].layer_index == stroke.layer_index
            and stroke.on_frame - last[0].on_frame <= together
            and stroke.string not in {each.string for each in last}
        ):
            last.append(stroke)
        else:
            movements.append([stroke])
    whole = [stroke for stroke in strokes if not stroke.chop] + list(map(_one_chop, movements))
    return tuple(sorted(whole, key=lambda stroke: (stroke.on_frame, stroke.string)))


def _one_chop(movement: Sequence[Stroke]) -> Stroke:
    """Return the chop of one movement of the hand; it dies away by itself."""
    first = movement[0]
    level_db = max(stroke.level_db for stroke in movement)
    return replace(
        first,
        off_frame=None,
        midi=CHOP_UP_KEY if first.string < movement[-1].string else CHOP_DOWN_KEY,
        velocity=round(velocity_of_level(level_db)),
        level_db=level_db,
    )
