"""Which voices of a MusicXML part have the tune, measure by measure: it may go on in another of the same staff."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

__all__ = ["staff_of", "voice_of", "voices_of_tune"]


@dataclass(frozen=True, slots=True)
class _Span:
    """What one note or rest of a measure takes up, in divisions."""

    voice: str
    start: float
    end: float
    is_pitched: bool
    is_seen: bool
    is_sung: bool
    staff: str


def voice_of(note: Element) -> str:
    """Return the voice of a note, 1 where the file names none."""
    return (note.findtext("voice") or "1").strip()


def staff_of(note: Element) -> str:
    """Return the staff of a note, 1 where the file names none."""
    return (note.findtext("staff") or "1").strip()


def voices_of_tune(measures: Sequence[Element], voice: str) -> list[frozenset[str]]:
    """Return which voices are the tune in each measure.

    Where the tune's voice has nothing in a measure, or hidden rests, or rests while another voice sings, the tune goes
    on in another one of its staff; so it does where others fill just the time that it leaves free.
    """
    staves = Counter(
        staff_of(note)
        for measure in measures
        for note in measure.findall("note")
        if voice_of(note) == voice and note.find("pitch") is not None
    )
    staff = staves.most_common(1)[0][0] if staves else "1"
    return [_voices_in(list(_spans(measure)), voice, staff) for measure in measures]


def _voices_in(spans: Sequence[_Span], voice: str, staff: str) -> frozenset[str]:
    own = [span for span in spans if span.voice == voice]
    others = list(dict.fromkeys(span.voice for span in spans if span.voice != voice and span.staff == staff))
    if not others:
        return frozenset({voice})
    taken = {voice}
    if not any(span.is_pitched for span in own):
        sings = any(span.is_sung for span in spans if span.voice in others)
        if not any(span.is_seen for span in own) or sings:
            taken, own = set(), []
    for other in others:
        line = [span for span in spans if span.voice == other]
        alone = not any(
            span.start < mine.end and mine.start < span.end for span in line for mine in own
        ) and all(span.staff == staff for span in line)
        if alone and any(span.is_pitched for span in line):
            taken.add(other)
            own = [*own, *line]
    return frozenset(taken or {voice})


def _spans(measure: Element) -> Iterator[_Span]:
    now = 0.0
    for child in measure:
        if child.tag not in ("note", "backup", "forward"):
            continue
        length = _number(child.findtext("duration"))
        if child.tag != "note":
            now = max(now + (length if child.tag == "forward" else -length), 0.0)
        elif child.find("chord") is None and child.find("grace") is None:
            if child.find("cue") is None and length:
                yield _Span(
                    voice_of(child),
                    now,
                    now + length,
                    child.find("pitch") is not None,
                    child.get("print-object") != "no",
                    child.find("lyric") is not None,
                    staff_of(child),
                )
            now += length


def _number(text: str | None) -> float:
    try:
        return float(text or 0)
    except ValueError:
        return 0.0
