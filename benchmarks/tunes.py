"""How exactly tunes come in: MusicXML against music21, ABC against abc2midi; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/tunes.py``. The tunes are read where music21 keeps them, never copied. abc2midi
(Debian's package abcmidi) must be on the path.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import tempfile
import warnings
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from render.errors import TercetError
from render.exchange.abc_in import AbcTune, decoded, read_tune_lines, tunes_of
from render.exchange.imported_text import imported_text
from render.exchange.leadsheet import LeadMeasure
from render.exchange.play_order import play_order
from render.exchange.tunes import Choice, read_tune

COLLECTIONS = ("airdsAirs", "oneills1850", "ryansMammoth", "essenFolksong")
TUNES_OF_EACH = 200
TICK_TOLERANCE = Fraction(1, 60)
"""In quarters: abc2midi rounds to its ticks, 480 to a quarter, and sounds a note one tick short or so."""

_ORNAMENTS = re.compile(r'"[^"]*"|![^!]*!|[.~TMPRJ]+(?=[\^_=A-Ga-g\[(])')
"""What abc2midi plays by shortening notes or adding others: it is taken away before it plays."""

Heard = tuple[int, Fraction, Fraction]
"""Key number, onset and length in quarters from the first note."""


def corpus() -> Path:
    """Return the folder in which music21 keeps its corpus."""
    import music21

    return Path(music21.__file__).parent / "corpus"


def main() -> None:
    """Print both comparisons."""
    warnings.simplefilter("ignore")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=TUNES_OF_EACH, help="ABC tunes taken of each collection")
    arguments = parser.parse_args()
    compare_abc(arguments.each)
    compare_musicxml()


# ---- ABC


def compare_abc(each: int) -> None:
    """Print how many tunes abc2midi plays exactly as we read them."""
    total: Counter[str] = Counter()
    for collection in COLLECTIONS:
        count: Counter[str] = Counter()
        for file, tune in _evenly(list(_tunes(corpus() / collection)), each):
            verdict = compare_one_abc(file, tune)
            count[verdict] += 1
            if verdict != "exact":
                print(f"  {collection} {file.name} X:{tune.number} {tune.title}: {verdict}")
        print(f"ABC {collection}: {count['exact']} of {count.total()} exact")
        total += count
    print(
        f"ABC: {total['exact']} of {total.total()} tunes exact, {100 * total['exact'] / total.total():.2f} %"
    )


def _tunes(folder: Path) -> Iterator[tuple[Path, AbcTune]]:
    for file in sorted(folder.glob("*.abc")):
        for tune in tunes_of(decoded(file.read_bytes())):
            yield file, tune


def _evenly(items: list[Any], count: int) -> list[Any]:
    """Return that many items, spread over the whole list."""
    return [items[index * len(items) // count] for index in range(min(count, len(items)))] if items else []


def compare_one_abc(file: Path, tune: AbcTune) -> str:
    """Return ``"exact"``, or what differs first."""
    try:
        sheet = read_tune_lines(tune, file.name)
        played = [sheet.measures[index] for index, _ in play_order(sheet.measures)]
        imported_text(sheet, file.name)
    except TercetError as error:
        return f"refused: {error}"
    return verdict_of(heard_measures(played), heard_by_abc2midi(tune), TICK_TOLERANCE)


def heard_by_abc2midi(tune: AbcTune) -> list[Heard]:
    """Return what abc2midi plays: without chord symbols, grace notes and fermatas, the top note of each chord."""
    import mido

    lines = [line for line in tune.lines if line[:2] != "R:"]
    plain = [line if re.match("[A-Za-z]:", line) else _ORNAMENTS.sub("", line) for line in lines]
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "tune.abc"), Path(folder, "tune.mid")
        source.write_text("\n".join(plain) + "\n", encoding="utf-8")
        command = ["abc2midi", str(source), "-o", str(target), "-NGUI", "-NGRA", "-NFER", "-silent"]
        subprocess.run(command, capture_output=True, check=False, timeout=20)
        if not target.exists():
            return []
        file = mido.MidiFile(target)
    found: dict[Fraction, tuple[int, Fraction]] = {}
    for track in file.tracks:
        now, sounding = 0, {}
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                sounding[message.note] = now
            elif message.type in ("note_off", "note_on") and message.note in sounding:
                start = Fraction(sounding.pop(message.note), file.ticks_per_beat)
                length = Fraction(now, file.ticks_per_beat) - start
                found[start] = max(found.get(start, (-1, length)), (message.note, length))
    first = min(found, default=Fraction(0))
    return [(midi, start - first, length) for start, (midi, length) in sorted(found.items())]


# ---- MusicXML


def compare_musicxml() -> None:
    """Print how many lead sheets and single melodies have the notes that music21 reads, before unfolding."""
    import music21

    count: Counter[str] = Counter()
    notes: Counter[str] = Counter()
    for file in _single_melodies(corpus()):
        try:
            sheet = read_tune(file, Choice())
        except TercetError as error:
            count["refused"] += 1
            print(f"  {file.name}: refused: {error}")
            continue
        score = music21.converter.parse(file, forceSource=True)
        ours, theirs = heard_measures(sheet.measures), heard_by_music21(score.parts[0])
        verdict = verdict_of(ours, theirs, Fraction(1, 10_000))
        count["exact" if verdict == "exact" else "differs"] += 1
        notes["all"] += len(theirs)
        notes["same"] += sum((Counter(ours) & Counter(theirs)).values())
        if verdict != "exact":
            print(f"  {file.name}: {verdict}")
    print(
        f"MusicXML: {count['exact']} of {count.total()} files exact; {notes['same']} of {notes['all']} notes the same"
    )


def _single_melodies(folder: Path) -> list[Path]:
    """Return the scores of one part without notes struck together."""
    chosen = []
    for file in sorted([*folder.rglob("*.mxl"), *folder.rglob("*.xml"), *folder.rglob("*.musicxml")]):
        text = _score_text(file)
        voices = set(re.findall(rb"<voice>(.*?)</voice>", text))
        if (
            text.count(b"<score-part ") == 1
            and b"<chord" not in text
            and b"<pitch>" in text
            and len(voices) < 2
        ):
            chosen.append(file)
    return chosen


def _score_text(file: Path) -> bytes:
    from render.exchange.outside import unpack

    data = file.read_bytes()
    try:
        return unpack(data, file.name) if data.startswith(b"PK") else data
    except TercetError:
        return b""


def heard_measures(measures: Sequence[LeadMeasure]) -> list[Heard]:
    """Return the notes of measures in this order, ties joined."""
    now = Fraction(0)
    notes: list[list[Any]] = []
    tied = False
    for measure in measures:
        for note in measure.notes:
            if note.pitch is None:
                continue
            if tied and notes and notes[-1][0] == note.pitch.midi:
                notes[-1][2] += note.length_quarter
            else:
                notes.append([note.pitch.midi, now + note.start_quarter, note.length_quarter])
            tied = note.tied_on
        now += measure.length_quarter
    first = notes[0][1] if notes else Fraction(0)
    return [(midi, onset - first, length) for midi, onset, length in notes]


def heard_by_music21(part: Any) -> list[Heard]:
    """Return the notes that music21 reads, ties joined, grace notes left out."""
    found = [
        (int(note.pitch.midi), Fraction(note.offset), Fraction(note.quarterLength))
        for note in part.stripTies().flatten().notes
        if note.quarterLength and hasattr(note, "pitch") and "ChordSymbol" not in note.classes
    ]
    first = found[0][1] if found else Fraction(0)
    return [(midi, onset - first, length) for midi, onset, length in found]


def verdict_of(ours: Sequence[Heard], theirs: Sequence[Heard], tolerance: Fraction) -> str:
    """Return ``"exact"``, or where two readings of a tune first differ."""
    for place, (mine, other) in enumerate(zip(ours, theirs, strict=False), 1):
        same = mine[0] == other[0] and all(
            abs(a - b) <= tolerance for a, b in zip(mine[1:], other[1:], strict=True)
        )
        if not same:
            return f"note {place} of {len(ours)}: {_told(mine)} here, {_told(other)} there"
    return "exact" if len(ours) == len(theirs) else f"{len(ours)} notes here, {len(theirs)} there"


def _told(note: Heard) -> str:
    return f"key {note[0]} at {float(note[1]):g} for {float(note[2]):g}"


if __name__ == "__main__":
    main()
