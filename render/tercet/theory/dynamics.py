"""Dynamic marks, and how loud each is."""

from __future__ import annotations

__all__ = ["DYNAMIC_MARKS", "MARK_LEVEL_DB"]

MARK_LEVEL_DB: dict[str, float] = {
    "ppp": -16.0, "pp": -12.0, "p": -8.0, "mp": -4.0, "mf": 0.0, "f": 4.0, "ff": 8.0, "fff": 12.0,
}  # fmt: skip
"""Level of each dynamic mark relative to mf, the softest first."""

DYNAMIC_MARKS: tuple[str, ...] = tuple(MARK_LEVEL_DB)
