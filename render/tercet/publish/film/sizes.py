"""Sizes of films, and how their time is cut."""

from __future__ import annotations

from dataclasses import dataclass

from tercet.errors import ParameterError, RequestError
from tercet.wording import did_you_mean, listed, lookalikes

__all__ = [
    "FILM_SIZES",
    "FRAME_RATE_HZ",
    "POINTER_STEP",
    "TITLE_S",
    "FilmSize",
    "film_size_named",
    "frame_at",
]

FRAME_RATE_HZ = 60
"""A mark lights on the frame nearest to its string: at most half a frame, 8.3 ms, away from it. Most frames are as the
one before, and are left out."""

POINTER_STEP = 6
"""The pointer goes along ten times a second: each further frame would cost as much again to encode."""

TITLE_S = 3.0
"""How long the title is read before the track begins."""

LEAST_PIXELS, MOST_PIXELS = 180, 3840
"""Of a side."""


@dataclass(frozen=True, slots=True)
class FilmSize:
    """Pixels across and down, both even: colours are kept for every second one.

    Raises
    ------
    ParameterError
        A side is odd, or out of its range.
    """

    width: int
    height: int

    def __post_init__(self) -> None:
        for side in (self.width, self.height):
            if side % 2 or not LEAST_PIXELS <= side <= MOST_PIXELS:
                raise ParameterError(
                    f"a side of a film must be even, {LEAST_PIXELS} to {MOST_PIXELS} pixels (got {side})"
                )

    @property
    def unit(self) -> float:
        """Pixels to a unit in which films are laid out: the shorter side has 1080 of them."""
        return min(self.width, self.height) / 1080.0


FILM_SIZES: dict[str, FilmSize] = {"wide": FilmSize(1920, 1080), "square": FilmSize(1080, 1080)}
"""Sizes by name."""


def film_size_named(text: str) -> FilmSize:
    """Return the size of a name; `RequestError` where there is none."""
    plain = text.strip().casefold()
    if plain not in FILM_SIZES:
        near = lookalikes(plain, FILM_SIZES)
        raise RequestError(
            f"--size must be {listed(FILM_SIZES, 'or')} (got {text}){did_you_mean(near)}",
            given=text,
            meant="".join(near),
        )
    return FILM_SIZES[plain]


def frame_at(film_s: float) -> int:
    """Return the frame nearest to a time of a film."""
    return round(film_s * FRAME_RATE_HZ)
