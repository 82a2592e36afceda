"""Stand-ins for text: the engraver leaves room for text by its own table of a Times-like font, and knows Latin alone.

So it never sees what a song says. It is given a stand-in, plain letters that are as wide in its table as the text is in
the font in which it will be set; the text takes the stand-in's place afterwards. Words in any script get the room that
they need, and nothing in them can reach the engraver.
"""

from __future__ import annotations

__all__ = ["stand_in"]

_CAPITAL_EM, _LETTER_EM, _DOT_EM = 0.722, 0.5, 0.25
"""Advances of H, p and the full stop in Times, in ems (Adobe's metrics of Times-Roman: 722, 500 and 250)."""

MOST_EM = 400.0
"""Room for one text at most; what is longer is shortened before it gets here."""


def stand_in(width_em: float, *, capital: bool = False) -> str:
    """Return letters that take at least `width_em` ems of room, at most a quarter of an em more.

    With `capital` they are as high as a capital, too.
    """
    left = min(max(width_em, _LETTER_EM), MOST_EM)
    text = ""
    if capital or left >= _CAPITAL_EM:
        text, left = "H", left - _CAPITAL_EM
    letters = max(int(left / _LETTER_EM), 0)
    left -= letters * _LETTER_EM
    dots = max(int(left / _DOT_EM + 0.999), 0)
    return text + "p" * letters + "." * dots
