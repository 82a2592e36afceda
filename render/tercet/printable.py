"""What can be printed: characters that a terminal obeys, that XML refuses, or that turn the text around them."""

from __future__ import annotations

import re

__all__ = ["UNPRINTABLE", "in_reach", "visible", "visible_json", "visible_line"]

_PLAINER = {"»": ">>", "«": "<<", "…": "...", "“": '"', "”": '"', "–": "-", "—": "-", "−": "-", "�": "?"}
"""What stands for signs of ours, and for �, where a terminal has none of them."""

_PLANES = "".join(f"{chr(plane + 0xFFFE)}{chr(plane + 0xFFFF)}" for plane in range(0, 0x110000, 0x10000))

_NEVER = rf"\x00-\x08\x0b-\x1f\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef{_PLANES}"

UNPRINTABLE = re.compile(f"[{_NEVER}]")
"""Controls but for tab and line ends, half characters, code points that are none (Unicode 15, 23.7), and the signs that
set the direction of all that follows (Unicode Bidirectional Algorithm, 2.1 to 2.4). No song needs any of them."""

_UNSHOWABLE = re.compile(rf"[{_NEVER}\x85\u2028\u2029]")
_UNSHOWABLE_IN_A_LINE = re.compile(rf"[{_NEVER}\t\n\x85\u2028\u2029]")


def visible(text: str) -> str:
    r"""Return a text for a terminal: what it can't show, or would obey, is �; tabs and line ends stay.

    Examples
    --------
    >>> visible("red \x1b[31m and\nwhole")
    'red �[31m and\nwhole'
    """
    return _UNSHOWABLE.sub("�", text)


def visible_line(text: str) -> str:
    """Return a name for a terminal, such as a file's: `visible`, and in one line."""
    return _UNSHOWABLE_IN_A_LINE.sub("�", text)


def visible_json(text: str) -> str:
    r"""Return JSON that says the same without anything unprintable: as escapes, which a program reads back exactly.

    Examples
    --------
    >>> visible_json('"\x9b"')
    '"\\u009b"'
    """
    return _UNSHOWABLE.sub(lambda match: "".join(f"\\u{half:04x}" for half in _halves(match[0])), text)


def in_reach(text: str, encoding: str | None) -> str:
    """Return a text for a terminal of few signs: marks, quotes and dots that it lacks are made of those it has.

    Parameters
    ----------
    text
        What is said.
    encoding
        What the terminal calls its signs; None where every sign will do.

    Examples
    --------
    >>> in_reach("F4 »D« …", "ascii")
    'F4 >>D<< ...'
    >>> in_reach("F4 »D« …", "cp1252")
    'F4 »D« …'
    """
    if encoding is None:
        return text
    missing: dict[str, str | int | None] = {
        sign: plain for sign, plain in _PLAINER.items() if sign in text and not _holds(encoding, sign)
    }
    if {"»", "«"} & set(missing):  # a pair
        missing |= {sign: _PLAINER[sign] for sign in "»«"}
    return text.translate(str.maketrans(missing))


def _holds(encoding: str, sign: str) -> bool:
    try:
        sign.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _halves(sign: str) -> tuple[int, ...]:
    """Return the UTF-16 code units of a character: JSON's escapes have no others."""
    code = ord(sign)
    if code < 0x10000:
        return (code,)
    return 0xD800 + (code - 0x10000 >> 10), 0xDC00 + (code & 0x3FF)
