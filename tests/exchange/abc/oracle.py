"""What Debian's abc2midi plays of an ABC tune, to hold our reader against it.

abc2midi plays chord symbols, grace notes, fermatas, ornaments and swing: all that is switched off or taken out of the
text first, for we compare pitch, onset and duration of the tune as written, repeats unfolded. What still differs is
tried again with what the text leaves to the reader written out (`made_explicit`), so that a difference is put down to
abc2midi only if abc2midi itself then plays as we do.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Literal, TypeVar

import mido

from tercet.errors import TercetError
from tercet.exchange.abc.reader import AbcTune, decoded, read_tune_lines, tunes_of
from tercet.exchange.abc.signs import SIGNS, BarLine, read_bar_line
from tests.exchange.heard import (
    BUT_FOR_RESTS,
    EXACT,
    Heard,
    Imported,
    from_the_first,
    imported,
    verdict_of_song,
)

COLLECTIONS = ("airdsAirs", "oneills1850", "ryansMammoth", "essenFolksong")
TICK_TOLERANCE = Fraction(1, 60)
"""In quarters: abc2midi rounds to its ticks, 480 to a quarter, and lets go of a note one tick early."""

Item = TypeVar("Item")
Verdict = Literal[
    "exact", "exact but for rests that are said", "exact once written out", "exact but for da capo", "differs"
]

_FIELD_LINE = re.compile(r"[A-Za-z+]:(?![|:])|%")
_JUMPS = ("D.C.", "D.S.", "dacapo", "dacoda", "fine", "segno", "coda")
_JUMPS_IN_WORDS = r'"[_^<>@]?\s*(?:D\.?\s?[CS]\b\.?|da capo|dal segno|fine\b|(?:to|al) coda)[^"]*"'
_NOT_NOTES = re.compile(r'(?P<field>\[[A-Za-z]:[^\]]*\])|"[^"]*"|!(?P<name>[^!|\s]+)!|[.~`!H-Wh-w]')
"""Quoted texts, decorations by name and by letter; a field within the music stays."""


def corpus_tunes(folder: Path) -> Iterator[tuple[Path, AbcTune]]:
    """Yield the tunes of a collection that music21 keeps, with the file of each."""
    for file in sorted(folder.glob("*.abc")):
        for tune in tunes_of(decoded(file.read_bytes())):
            yield file, tune


def evenly(items: Sequence[Item], count: int) -> list[Item]:
    """Return that many items, spread over the whole list."""
    count = min(count, len(items))
    return [items[index * len(items) // count] for index in range(count)]


def heard_by_us(tune: AbcTune) -> Imported:
    """Return what the written song plays; `TercetError` when a tune can't become one."""
    return imported(read_tune_lines(tune, "tune.abc"))


def heard_by_abc2midi(lines: Sequence[str]) -> list[Heard]:
    """Return what abc2midi plays of the first voice, the top note of each chord; empty when it plays nothing."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "tune.abc"), Path(folder, "tune.mid")
        source.write_text("\n".join(_for_abc2midi(lines)) + "\n", encoding="utf-8")
        command = ["abc2midi", str(source), "-o", str(target), "-NGUI", "-NGRA", "-NFER", "-silent"]
        subprocess.run(command, capture_output=True, check=False, timeout=20)
        if not target.exists():
            return []
        file = mido.MidiFile(target)
    for track in file.tracks:
        notes = _top_notes(track, file.ticks_per_beat)
        if notes:
            return notes
    return []


def _for_abc2midi(lines: Sequence[str]) -> Iterator[str]:
    """Yield the lines without what abc2midi would play beside the tune; its chords are struck at once."""
    in_music = False
    for line in lines:
        if line.startswith(("R:", "I:")):
            continue
        yield _NOT_NOTES.sub(_kept, line) if in_music and not _FIELD_LINE.match(line) else line
        in_music = in_music or line.startswith("K:")
        if line.startswith("X:"):
            yield "%%MIDI chordattack 0"


def _kept(found: re.Match[str]) -> str:
    return found[0] if found["field"] or found["name"] in _JUMPS else ""


def _top_notes(track: mido.MidiTrack, ticks: int) -> list[Heard]:
    found: dict[Fraction, tuple[int, Fraction]] = {}
    sounding: dict[int, int] = {}
    now = 0
    for message in track:
        now += message.time
        if message.type == "note_on" and message.velocity:
            sounding[message.note] = now
        elif message.type in ("note_off", "note_on") and message.note in sounding:
            start = Fraction(sounding.pop(message.note), ticks)
            found[start] = max(
                found.get(start, (-1, Fraction(0))), (message.note, Fraction(now, ticks) - start)
            )
    return from_the_first([(midi, start, length) for start, (midi, length) in sorted(found.items())])


def made_explicit(lines: Sequence[str]) -> list[str]:
    """Return a tune with everything written out that abc2midi reads otherwise than the standard has it.

    Lines that a backslash joins are joined, empty ones left out; ``Z`` within a bar becomes ``z``; five, seven or nine
    notes in the time of two say so; a bar line of an unusual shape becomes the plain one of the same meaning; where a
    stretch that is repeated later starts without ``|:``, after a repeat or after its endings, that sign is written.
    """
    joined: list[str] = []
    pending = ""
    for line in filter(str.strip, lines):
        if _FIELD_LINE.match(line):
            joined += [pending, line] if pending else [line]
            pending = ""
        elif (pending + line.rstrip()).endswith("\\"):
            pending += line.rstrip()[:-1]
        else:
            joined.append(pending + line)
            pending = ""
    end_of_head = next(index for index, line in enumerate(joined) if line.startswith("K:")) + 1
    music = [
        re.sub(r"(?<=[\w,'])(\s*)Z(?![A-Za-z]*:)", r"\1z", line)
        for line in [*joined[end_of_head:], pending]
        if line
    ]
    compound = any(re.match(r"M:\s*(6|9|12)/8", line) for line in joined)
    tuplets = [re.sub(r"\(([579])(?![:0-9])", rf"(\1:{3 if compound else 2}:\1", line) for line in music]
    return [*joined[:end_of_head], *_with_plain_bar_lines(tuplets)]


@dataclass(frozen=True, slots=True)
class _Token:
    """A sign of the music, the line it stands in, and what it says if it is a bar line or starts an ending."""

    line: int
    text: str
    bar: BarLine | None = None
    ending: int = 0


def _tokens(music: Sequence[str]) -> Iterator[_Token]:
    for number, line in enumerate(music):
        if _FIELD_LINE.match(line):
            yield _Token(number, line)
            continue
        for match in SIGNS.finditer(line):
            bar = read_bar_line(match["bar"]) if match["bar"] and match["bar"] != "]" else None
            ending = (
                int(match["ending"][1]) if match["ending"] else bar.endings[0] if bar and bar.endings else 0
            )
            yield _Token(number, match[0], bar, ending)


def _with_plain_bar_lines(music: Sequence[str]) -> list[str]:
    """Return lines of music, their bar lines in the few shapes that every reader knows, every repeat with its start."""
    tokens = list(_tokens(music))
    lines = [""] * len(music)
    ending = 0
    for place, token in enumerate(tokens):
        ending = token.ending or ending
        text = token.text
        if token.bar is not None:
            closes_last_ending = token.bar.closes and ending > 1 and not token.ending
            text = _plain_bar_line(
                token.bar, token.text, closes_last_ending, _repeats_later(tokens[place + 1 :])
            )
            ending = token.ending or (0 if token.bar.closes else ending)
        lines[token.line] += text
    return lines


def _plain_bar_line(bar: BarLine, text: str, closes_last_ending: bool, repeats_later: bool) -> str:
    if not bar.closes:
        return text
    starts = bar.repeat_start or (repeats_later and bool(bar.repeat_times or closes_last_ending))
    number = ",".join(map(str, bar.endings))
    if closes_last_ending or not bar.repeat_times:
        return "|:" if starts else f"|{number}" if number else "||"
    if bar.endings or not starts:
        return ":" * (bar.repeat_times - 1) + "|" + number
    return "::"


def _repeats_later(following: Sequence[_Token]) -> bool:
    """Return whether music follows that is repeated and has no sign where its repeat starts."""
    seen_music = False
    for token in following:
        if token.ending and not seen_music:
            return False
        if token.ending or (token.bar and token.bar.repeat_times):
            return True
        if token.bar and token.bar.repeat_start:
            return False
        seen_music = seen_music or bool(token.text.strip() and token.bar is None)
    return False


def without_jumps(tune: AbcTune) -> AbcTune:
    """Return a tune without *da capo* and *dal segno*, which abc2midi doesn't play."""
    jump = re.compile(
        "|".join([*(f"!{re.escape(name)}!" for name in _JUMPS), _JUMPS_IN_WORDS]), re.IGNORECASE
    )
    return replace(tune, lines=tuple(jump.sub("", line) for line in tune.lines))


@dataclass(frozen=True, slots=True)
class Comparison:
    """How a written song and abc2midi play a tune: as it stands, made explicit, and so without its jumps."""

    as_it_stands: str
    made_explicit: str = EXACT
    without_jumps: str = EXACT

    @property
    def verdict(self) -> Verdict:
        """The first of the three that is exact."""
        if self.as_it_stands == EXACT:
            return "exact"
        if self.as_it_stands == BUT_FOR_RESTS:
            return "exact but for rests that are said"
        if self.made_explicit in (EXACT, BUT_FOR_RESTS):
            return "exact once written out"
        return "exact but for da capo" if self.without_jumps in (EXACT, BUT_FOR_RESTS) else "differs"


def compared(tune: AbcTune) -> Comparison:
    """Compare what the written song plays with what abc2midi does."""
    try:
        ours = heard_by_us(tune)
        plain = without_jumps(tune)
        without = ours if plain == tune else heard_by_us(plain)
    except TercetError as error:
        return Comparison(*[f"refused: {error}"] * 3)
    first = _verdict(ours, tune.lines)
    if first in (EXACT, BUT_FOR_RESTS):
        return Comparison(first)
    second = _verdict(ours, made_explicit(tune.lines))
    third = _verdict(without, made_explicit(plain.lines))
    return Comparison(first, second, third)


def _verdict(ours: Imported, lines: Sequence[str]) -> str:
    return verdict_of_song(ours.notes, heard_by_abc2midi(lines), TICK_TOLERANCE, ours.remarks)
