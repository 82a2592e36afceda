"""The built-in ukulele as figures, for a player that works it out by itself: the class page, in a browser.

Everything that such a player needs to know stands here as plain data, taken from the tables of the model. So there is
one table of each, and both players sound alike (`tests/browser/test_model.py`).
"""

from __future__ import annotations

from typing import Any

from tercet.performing.free_strings import LONGEST_S
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.plucked import (
    FADE_S,
    NOTHING_LEFT,
    SECOND_PART,
    THUD,
    UNEVEN_PART,
    UNEVEN_TURNS,
    aside_part,
    knock_gain,
    note_frames,
    note_voice,
    ring_figures,
    touch_widths_s,
)
from tercet.sound.sampler import RELEASE_DB
from tercet.sound.schedule import RELEASE_S
from tercet.sound.string_model import (
    BODY_MODES,
    CORNER_PARTIAL,
    DIRECT,
    FALLS_FROM_HZ,
    FOLDED_DB,
    HIGHEST_HZ,
    KNOCK_PARTS,
    KNOCK_S,
    KNOCK_SHARPNESS,
    LET_GO_S,
    MOVING_MODES,
    RADIATION_HZ,
    SOONER_RADIATED,
    SPARE_FRAMES,
    STRINGS_OF_INSTRUMENTS,
    UkeString,
    loop_figures,
    pluck_place,
    stiffness_at,
)
from tercet.sound.string_samples import RISE_FRAMES
from tercet.sound.struck import (
    CHOP_LENGTH_S,
    CHOP_SINKING,
    CHOP_STRENGTHS,
    CHOP_STRINGS,
    HAND_PLACE,
    SLAP,
    STRIKE_SINKING,
    UP_THINNING,
    StruckBody,
    damped_string,
)
from tercet.sound.ukulele import CHOP_PEAK

__all__ = [
    "KNOCK_FRAMES",
    "chop_figures",
    "model_figures",
    "resonance_figures",
    "struck_figures",
    "tone_figures",
]

KNOCK_FRAMES = 32_768
"""Of the circle on which the body's knock is worked out; it has died away long before."""

DIGITS = 12
"""Of a figure that is told."""


def model_figures() -> dict[str, Any]:
    """Return what holds for all notes. Times are seconds, frequencies Hz."""
    return {
        "rate": SAMPLE_RATE_HZ,
        "circle": {"folded_db": FOLDED_DB, "spare": SPARE_FRAMES, "falls": [FALLS_FROM_HZ, HIGHEST_HZ]},
        "body": {
            "modes": BODY_MODES,
            "moving": MOVING_MODES,
            "direct": DIRECT,
            "radiation": [RADIATION_HZ, SOONER_RADIATED * RADIATION_HZ],
        },
        "knock": {
            "modes": [
                [hertz, KNOCK_SHARPNESS, part]
                for (hertz, *_), part in zip(BODY_MODES, KNOCK_PARTS, strict=False)
            ],
            "width": KNOCK_S,
            "frames": KNOCK_FRAMES,
            "gain": _told(knock_gain(KNOCK_FRAMES, SAMPLE_RATE_HZ)),
        },
        "pluck": {"corner": CORNER_PARTIAL, "let_go": LET_GO_S, "thud": THUD, "left": NOTHING_LEFT},
        "parts": [1.0 - SECOND_PART - UNEVEN_PART, SECOND_PART, UNEVEN_PART],
        "uneven": _told(UNEVEN_TURNS),
        "fade": FADE_S,
        "rise": RISE_FRAMES,
        "release": {"length": RELEASE_S, "db": RELEASE_DB},
        "longest_ring": LONGEST_S,
    }


def tone_figures(name: str, fret: int) -> dict[str, Any]:
    """Return what there is to know of a note of one of `STRINGS_OF_INSTRUMENTS`."""
    string = STRINGS_OF_INSTRUMENTS[name]
    voice = note_voice(string, fret, SAMPLE_RATE_HZ)
    return {
        **_string_figures(string, fret),
        "along": _loop(string, fret, along_top=True),
        "place": _told(pluck_place(string.pluck_place, fret)),
        "aside": _told(aside_part(fret)),
        "widths": list(map(_told, touch_widths_s(string, fret))),
        "gains": list(map(_told, (voice.soft, voice.firm, voice.aside))),
        "knocks": list(map(_told, (voice.soft_knock, voice.firm_knock))),
        "frames": note_frames(string, fret, SAMPLE_RATE_HZ),
    }


def _string_figures(string: UkeString, fret: int) -> dict[str, Any]:
    going = loop_figures(string, fret)
    return {
        "hz": _told(string.frequency_hz(fret)),
        "stiffness": _told(stiffness_at(string, fret)),
        "top": _loop(string, fret),
        "loss": _told(going.decay_per_khz2),
        "bridge": _told(going.bridge_per_s),
    }


def _loop(string: UkeString, fret: int, *, along_top: bool = False) -> list[float]:
    going = loop_figures(string, fret, along_top=along_top)
    return [_told(going.decay_per_s), _told(going.stretch)]


def resonance_figures(name: str, fret: int, other: str, other_fret: int) -> list[list[float]]:
    """Return what an open string adds to a note: for each meeting two poles and an amplitude, real and imaginary."""
    strings = (STRINGS_OF_INSTRUMENTS[name], fret, STRINGS_OF_INSTRUMENTS[other], other_fret)
    figures = ring_figures(*strings, SAMPLE_RATE_HZ)
    return [
        [_told(part) for value in meeting for part in (value.real, value.imag)]
        for meeting in zip(*(each.tolist() for each in figures), strict=True)
    ]


def chop_figures() -> dict[str, Any]:
    """Return what there is to know of a chop."""
    return {
        "strengths": [[width_s, gap_s] for _, width_s, gap_s in CHOP_STRENGTHS],
        "strings": [_string_figures(damped_string(name), 0) for name in CHOP_STRINGS],
        "place": HAND_PLACE,
        "slap": SLAP,
        "thinning": UP_THINNING,
        "length": CHOP_LENGTH_S,
        "sinking": CHOP_SINKING,
        "peak": CHOP_PEAK,
    }


def struck_figures(body: StruckBody, peak: float) -> dict[str, Any]:
    """Return what there is to know of something that is struck, but for its beater's noise; `peak` is its height."""
    return {
        "partials": body.partials,
        "width": body.width_s,
        "noise": body.noise,
        "length": body.length_s,
        "sinking": STRIKE_SINKING,
        "peak": peak,
    }


def _told(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")
