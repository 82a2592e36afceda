"""ChordPro 6 out: words as sung with their chords, every bar once for each time that it is played.

Bar lines, and beats on which a chord goes on, stand among the words as remarks in brackets. Settings of the song
stand in directives of our own (``{x_tercet_…}``), which other programs pass over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import lcm

from tercet.arranging import Arrangement
from tercet.arranging.strum_families import usual_pattern
from tercet.exchange.chordpro.directives import OWN
from tercet.exchange.chordpro.measures import section_name
from tercet.exchange.chordpro.shapes import define_text
from tercet.exchange.chordpro.signs import BAR_LINE, BEAT
from tercet.exchange.writing import kept_settings, row_names
from tercet.song import ChordSpan, Measure, PlayedVisit, Slot, Song, played_visits
from tercet.theory import Chord, tuning_of
from tercet.wording import listed

__all__ = ["chordpro_bytes"]

KnownShape = tuple[str, tuple[int | None, ...], tuple[int, ...]]
"""Name of a chord, its frets, string 4 first, and the fingers on them; empty for none."""

_ESCAPED = re.compile(r'[\[\]{}\\|<>%#"\']')
_MOST_PARTS = 32
_ENVIRONMENTS = {"verse": "verse", "chorus": "chorus", "refrain": "chorus", "bridge": "bridge"}
_CELLS: dict[Slot, str] = {"d": "dn", "u": "up", "D": "d+", "U": "u+", "x": "x", ".": ""}
_WORDS = "words: "


def chordpro_bytes(
    arrangement: Arrangement, shapes: Sequence[KnownShape] = ()
) -> tuple[bytes, tuple[str, ...]]:
    """Return a song as ChordPro in UTF-8, and what couldn't be said in it, one sentence each.

    Parameters
    ----------
    arrangement
        The song on its strings.
    shapes
        The shapes used, in the order of first use.
    """
    song = arrangement.song
    body = _Body(song)
    text = "\n".join([*_head(song, shapes), *_strum(song), *body.sections(played_visits(arrangement.bars))])
    return f"{text}\n".encode(), (*_left_out(song), *body.remarks)


def _head(song: Song, shapes: Sequence[KnownShape]) -> Iterator[str]:
    yield _directive("title", song.title)
    words = song.source_note.removeprefix(_WORDS)
    named = "lyricist" if words != song.source_note and ";" not in words else "subtitle"
    for name, told in (
        (named, words if named == "lyricist" else song.source_note),
        ("composer", song.composer),
        ("copyright", song.licence),
        ("key", song.key.short_name),
        ("time", str(song.meter)),
        ("tempo", f"{float(song.tempo):.6f}".rstrip("0").rstrip(".")),
    ):
        if told:
            yield _directive(name, told)
    strings = " ".join(map(str, tuning_of(song.tuning).open_pitches))
    yield "{meta: instrument ukulele}"
    yield f"{{meta: tuning {strings}}}"
    for name, value in kept_settings(song):
        yield _directive(OWN + name.replace("-", "_"), " ".join(value.split()))
    pinned = _pinned(song)
    if pinned:
        yield _directive(f"{OWN}pinned", " ".join(sorted(pinned)))
    yield f"{{comment: Ukulele with the strings {strings}}}"
    defined: set[str] = set()
    for chord, frets, fingers in shapes:
        if chord and chord not in defined:
            defined.add(chord)
            yield define_text(chord, frets, fingers)


def _spans(song: Song) -> Iterator[ChordSpan]:
    rows = (row for section in song.sections for line in section.lines for row in line.rows)
    cells = (cell for row in rows if row.name == "chords" for cell in (row.pickup, *row.bars))
    return (item for cell in cells for item in cell or () if isinstance(item, ChordSpan) and item.chord)


def _pinned(song: Song) -> set[str]:
    """Return the chords that have one shape of the song's own wherever they stand."""
    held: dict[str, set[object]] = {}
    for span in _spans(song):
        held.setdefault(str(span.chord), set()).add(span.shape)
    return {name for name, shapes in held.items() if len(shapes) == 1 and None not in shapes}


def _directive(name: str, told: str) -> str:
    return f"{{{name}: {_escaped(told)}}}"


def _escaped(text: str) -> str:
    r"""Return a text whose signs can't be taken for signs of the format.

    >>> _escaped("[oh]")
    '\\u005boh\\u005d'
    """
    return _ESCAPED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def _left_out(song: Song) -> Iterator[str]:
    yield "the notes of the tune are left out: ChordPro has words and chords"
    lost = [f"`{name}`" for name in ("between", "strum", "marks") if name in row_names(song)]
    if lost:
        yield f"left out: the rows {listed(lost)}"
    pinned = _pinned(song)
    if any(span.shape and str(span.chord) not in pinned for span in _spans(song)):
        yield "a chord has one shape in the file: where the song pins others, or none, the chords stay"
    if song.sound:
        yield "the file doesn't name the sound font"


def _strum(song: Song) -> Iterator[str]:
    """Yield a grid with the strum pattern of a bar."""
    slots = usual_pattern(song)
    label = "Strum" if song.strum else "Strum, for instance"
    cells = song.meter.upper if len(slots) % song.meter.upper == 0 else len(slots)
    size = len(slots) // cells
    beats = ["~".join(_CELLS[slot] for slot in slots[at : at + size]) for at in range(0, len(slots), size)]
    shown = " ".join(beat.rstrip("~") or "." for beat in beats)
    yield ""
    yield f'{{start_of_grid label="{label}" shape="1x{cells}"}}'
    yield f"|S {shown} |"
    yield "{end_of_grid}"


class _Body:
    """Writes the sections as they are sung."""

    def __init__(self, song: Song) -> None:
        self._song = song
        self._chorus: tuple[str, ...] = ()
        self._chord: tuple[Chord | None] | None = None
        self.remarks: list[str] = []

    def sections(self, visits: Sequence[PlayedVisit]) -> Iterator[str]:
        """Yield the lines of all sections."""
        for visit in visits:
            yield ""
            yield from self._section(visit, several=sum(each.section == visit.section for each in visits) > 1)

    def _section(self, visit: PlayedVisit, *, several: bool) -> tuple[str, ...]:
        self._chord = None
        kind = _ENVIRONMENTS.get(re.split(r"\W|\d", visit.section)[0], "")
        has_words = any(self._sung(measure) for measure in visit.measures)
        as_grid = not has_words and visit.pickup is None
        shown = visit.section.replace("-", " ").capitalize()
        label = _escaped(f"{shown} {visit.pass_number}" if several and kind == "verse" else shown)
        lines = list(self._grid(visit) if as_grid else self._words(visit))
        environment = "grid" if as_grid else kind or "part"
        head = f'{{start_of_{environment} label="{label}"}}'
        if as_grid:
            head = head.replace("}", f' shape="{self._widest(lines)}"}}')
        name = [] if section_name("", label) == visit.section else [f"{{{OWN}section: {visit.section}}}"]
        pickup = [f"{{{OWN}pickup: {visit.pickup.length_beat}}}"] if visit.pickup else []
        block = (head, *name, *pickup, *lines, f"{{end_of_{environment}}}")
        if environment == "chorus" and block == self._chorus:
            return ("{chorus}",)
        if environment == "chorus":
            self._chorus = block
        return block

    @staticmethod
    def _sung(measure: Measure) -> list[tuple[Fraction, str, bool]]:
        """Return the syllables of a measure: place from its start, text, and whether the word goes on."""
        return [
            (place - measure.low_beat, syllable.text, syllable.joined)
            for place, syllable in measure.bar.words
            if measure.holds(place) and not syllable.holds
        ]

    def _parts(self, measure: Measure) -> list[str | None]:
        """Return the parts of a measure, all of one length: the chord that begins, or None where one goes on."""
        begun: dict[Fraction, str] = {}
        inside = (
            [span for span in measure.bar.chords if measure.holds(span.start_beat)] if measure.chords else ()
        )
        for span in inside:
            if self._chord != (span.chord,):
                begun[span.start_beat - measure.low_beat] = f"{span.chord or 'N.C.'}"
                self._chord = (span.chord,)
        length = measure.length_beat
        count = lcm(*((place / length).denominator for place in begun))
        if count > _MOST_PARTS:
            self.remarks.append(f"the chords of bar {measure.bar.number} share it equally in the file")
            return [*([] if Fraction(0) in begun else [None]), *begun.values()]
        return [begun.get(length * index / count) for index in range(count)]

    def _words(self, visit: PlayedVisit) -> Iterator[str]:
        """Yield a line of words with chords for each line of music."""
        line = ""
        goes_on = False
        for measure in visit.measures:
            if measure.opens_line and line:
                yield f"{line.rstrip()}{'-' if goes_on else ''}"
                line, goes_on = "", False
            if measure.section_bar == 1 and visit.pickup is not None:
                self._chord = None
            parts = self._parts(measure)
            sung = self._sung(measure)
            line += BAR_LINE if measure.section_bar else ""
            for index, chord in enumerate(parts):
                low, high = (measure.length_beat * (index + step) / len(parts) for step in (0, 1))
                own = [each for each in sung if low <= each[0] < high]
                bare = len(parts) == 1 and own and chord is None
                line += "" if bare else BEAT if chord is None else f"[{chord}]"
                if not own and not goes_on:
                    line += " "
                for _, text, joined in own:
                    line += _escaped(text.replace("‿", " ")) + ("" if joined else " ")
                    goes_on = joined
        yield f"{line.rstrip()}{'-' if goes_on else ''}"

    def _grid(self, visit: PlayedVisit) -> Iterator[str]:
        """Yield a line of a grid for each line of music."""
        line = ""
        pulses = self._song.meter.pulses
        for measure in visit.measures:
            if measure.opens_line and line:
                yield f"{line} |"
                line = ""
            parts = self._parts(measure)
            finer = lcm(len(parts), pulses)
            cells: list[str | None] = list(parts)
            if finer <= _MOST_PARTS:
                cells = [each for part in parts for each in (part, *[None] * (finer // len(parts) - 1))]
            line += f"{' ' if line else ''}| " + " ".join(cell or "." for cell in cells)
        yield f"{line} |"

    @staticmethod
    def _widest(lines: Sequence[str]) -> str:
        bars = [line.strip("| ").split("|") for line in lines]
        return f"{max(map(len, bars))}x{max(len(bar.split()) for line in bars for bar in line)}"
