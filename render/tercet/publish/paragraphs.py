"""Text made to fit a width: set smaller, cut short with three dots, or broken into lines.

Lines break between words, within a word only where there is no other way. Sizes are heights of the font in the unit of
the widths.
"""

from __future__ import annotations

from dataclasses import replace

from tercet.publish.shapes import Style, Text
from tercet.publish.typefaces import text_width_em

__all__ = ["fitted", "shortened", "wrapped"]


def fitted(text: Text, width: float, smallest: float) -> Text:
    """Return a text that fits a width: set smaller, down to `smallest`, then cut short with three dots."""
    short = shortened(text.text, width / smallest, text.style)
    if short != text.text:
        return replace(text, text=short, size=smallest)
    wide_em = text_width_em(text.text, text.style)
    return replace(text, size=min(text.size, width / wide_em)) if wide_em else text


def wrapped(text: str, size: float, width: float, most_lines: int, style: Style = "plain") -> tuple[str, ...]:
    """Return a text as lines that fit a width; what doesn't fit `most_lines` is left out, with three dots."""
    room_em = width / size
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if text_width_em(longer, style) <= room_em:
            line = longer
            continue
        if line:
            lines.append(line)
        if len(lines) > most_lines:
            break
        line = word
        while text_width_em(line, style) > room_em and len(lines) <= most_lines:
            fits = _fitting(line, room_em, style)
            lines.append(line[:fits])
            line = line[fits:]
    if line:
        lines.append(line)
    if len(lines) <= most_lines:
        return tuple(lines)
    return (*lines[: most_lines - 1], shortened(lines[most_lines - 1] + "……", room_em, style))


def shortened(text: str, most_em: float, style: Style = "plain") -> str:
    """Return a text cut short with three dots where it is wider than some ems."""
    if len(text) * 0.1 <= most_em and text_width_em(text, style) <= most_em:
        return text
    dots_em = text_width_em("…", style)
    return text[: _fitting(text, most_em - dots_em, style)].rstrip("… ") + "…"


def _fitting(text: str, room_em: float, style: Style) -> int:
    """Return how many letters of a text fit, at least one."""
    width = 0.0
    for count, letter in enumerate(text):
        width += text_width_em(letter, style)
        if width > room_em:
            return max(count, 1)
    return len(text)
