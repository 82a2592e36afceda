"""Sizes of paper."""

from __future__ import annotations

from tercet.errors import RequestError

__all__ = ["PAPERS_PT", "USUAL_PAPER", "paper_named"]

PAPERS_PT: dict[str, tuple[float, float]] = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}
"""Width and height of a sheet held upright, in points."""

USUAL_PAPER = "A4"


def paper_named(text: str) -> str:
    """Return the name of a paper that is asked for in capitals or not.

    Raises
    ------
    RequestError
        There is none of that name.
    """
    for name in PAPERS_PT:
        if text.casefold() == name.casefold():
            return name
    raise RequestError(f"--paper {text}: the papers are {' and '.join(PAPERS_PT)}")
