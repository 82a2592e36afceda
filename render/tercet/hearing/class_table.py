"""The table for a teacher: which student practises which bars, with which track."""

from __future__ import annotations

from collections.abc import Iterable

from tercet.hearing.model import Heard

__all__ = ["class_rows"]


def class_rows(found: Iterable[Heard]) -> list[tuple[str, str, str, str]]:
    """Return a row for each recording: its name, the bars, the track, and what it is about; in order of the bars."""
    rows = []
    for heard in found:
        advice = heard.advice()
        if advice.ask:
            rows.append((1, 0, (heard.name, "?", "", "is this the right song?")))
        elif advice.next is None:
            rows.append((1, 0, (heard.name, "", "", "nothing to practise")))
        else:
            bars = advice.next.bars
            told = "" if not bars else f"{bars[0]}-{bars[-1]}" if len(bars) > 1 else str(bars[0])
            first = bars[0] if bars else 0
            rows.append((0, first, (heard.name, told, advice.next.track, advice.next.sentence)))
    return [row for *_, row in sorted(rows, key=lambda item: (item[0], item[1], item[2][0]))]
