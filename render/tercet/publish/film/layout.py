"""Where things stand in a film: a head, two lines of music one above the other, the shapes at the foot."""

from __future__ import annotations

from dataclasses import dataclass

from tercet.publish.film.pixels import even
from tercet.publish.film.sizes import FilmSize

__all__ = ["Layout"]

MARGIN, HEAD, FOOT, GAP = 36.0, 118.0, 196.0, 14.0
"""Of a frame whose shorter side has 1080 units: the margin, the head, the foot, and the gap round each line."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Places of a film's parts, in even pixels."""

    size: FilmSize

    @property
    def margin(self) -> int:
        """At every side."""
        return even(MARGIN * self.size.unit)

    @property
    def head_height(self) -> int:
        """Of title, section and turn."""
        return even(HEAD * self.size.unit)

    @property
    def foot_height(self) -> int:
        """Of the shapes."""
        return even(FOOT * self.size.unit)

    @property
    def foot_y(self) -> int:
        """Where the foot begins."""
        return self.size.height - self.foot_height

    @property
    def line_room(self) -> tuple[int, int]:
        """Width and height that a line of music may have."""
        between = (self.foot_y - self.head_height) // 2
        gap = even(GAP * self.size.unit)
        return self.size.width - 2 * self.margin, even(between - gap) - 2

    def line_y(self, slot: int, height: int) -> int:
        """Return where a line of a height begins in the upper slot, 0, or the lower, 1."""
        between = (self.foot_y - self.head_height) // 2
        return even(self.head_height + slot * between + (between - height) / 2)
