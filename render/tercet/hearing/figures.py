"""All figures of the method as plain values: the class page hears with the same ones, so none is typed twice."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from tercet.hearing.model import LEAST_TRUST, PERHAPS
from tercet.hearing.sentences import SENTENCES
from tercet.hearing.spectra import RATE_HZ
from tercet.sound.k_weighting import GESTURE_S, k_weighting_sections

__all__ = ["hearing_figures"]

_ROOMS = (
    "recordings",
    "spectra",
    "onsets",
    "templates",
    "alignment",
    "strings",
    "timing",
    "levels",
    "fronts",
    "tuning",
    "verdicts",
    "trust",
    "listener",
    "advice",
)


def hearing_figures() -> dict[str, Any]:
    """Return the figures of each module by its name, the K-weighting at this room's rate, and the sentences."""
    return {
        **{name: _figures_of(name) for name in _ROOMS},
        "model": {"LEAST_TRUST": LEAST_TRUST, "PERHAPS": PERHAPS},
        "gesture_s": GESTURE_S,
        "k_weighting": k_weighting_sections(RATE_HZ),
        "sentences": SENTENCES,
    }


def _figures_of(name: str) -> dict[str, Any]:
    """Return a module's own constants: numbers, words, and rows of them."""
    module = import_module(f"tercet.hearing.{name}")
    return {
        each: value
        for each, value in vars(module).items()
        if each.isupper() and isinstance(value, (int, float, str, tuple))
    }
