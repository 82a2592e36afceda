"""What the built-in ukulele's strokes have of a real one, on every string and fret, softly and firmly; see README.md.

Run as ``.venv/bin/python benchmarks/bodies.py``. What is measured is what stands in rendered files, by `tests.measure`.
Ends with 1 if less than `MOST_PART` of a row's figures lie within its aim, or their median doesn't.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, permutations
from pathlib import Path

import numpy as np
from measuring import ROOT, SHORT_SONG, Aims, asked, counted, parser_of, run, tercet
from numpy.typing import NDArray

sys.path.insert(0, str(ROOT))

from tests.measure.bodies import beats_db, knock_figures, unexplained_db
from tests.measure.liveliness import strums_of, sweeps_db
from tests.measure.midi import read_with_mido
from tests.measure.plucks import cents_along, gesture_figures, ring_figures
from tests.sound.alone import (
    RATE_HZ,
    STRINGS,
    Place,
    alone,
    rings_of,
    strums,
)

FRETS = range(13)
STRUM_LEVELS_DB = (-14.0, -8.0, -2.0)
"""Of each string of a strum: one that is p, mf or f."""

SOFT, MIDDLE, FIRM = -16.0, 2.0, 11.0
"""Levels of the notes, in dB from mf: nearly all of the soft touch, both, nearly all of the firm one."""

KNOCK_ALONE_HZ = 430.0
"""From this fundamental on the knock lies below the note and can be heard falling by itself."""

CENTS_AT_S, CENTS_FOR_S = (0.08, 0.3, 0.6), 0.3
EQUAL_STROKES = 12
MOST_PART = 0.95
VELOCITY_DB = 0.4
"""A step of velocity of a quiet string: what is read from a MIDI file is rounded to one."""


@dataclass(frozen=True)
class Row:
    """What is measured, and between which figures it should lie.

    Parameters
    ----------
    what
        As the table calls it, with its unit.
    least, most
        The aim.
    slack
        By how much a single figure, though not the median, may be off because of what it was read from.
    """

    what: str
    least: float
    most: float
    slack: float = 0.0

    def part_within(self, figures: NDArray[np.float64]) -> float:
        """Return the part of figures that lie within the aim."""
        return float(np.mean((figures >= self.least - self.slack) & (figures <= self.most + self.slack)))

    def is_kept(self, figures: NDArray[np.float64]) -> bool:
        """Whether nearly all figures lie within the aim, and their median does."""
        return bool(
            len(figures)
            and self.least <= np.median(figures) <= self.most
            and self.part_within(figures) >= MOST_PART
        )


ROWS: dict[str, Row] = {
    "knock": Row("knock, 150 to 300 Hz in the first 60 ms, dB", -20.0, -14.0),
    "fall": Row("… falls by 20 dB in, ms", 25.0, 60.0),
    "late": Row("late T60 / early T60", 1.6, 2.2),
    "beats": Row("partials 1 to 4 beat by, dB", 0.2, 0.9),
    "cents": Row("off pitch, cents", 0.0, 0.5),
    "stopped": Row("a free string over a stopped one, ringing along, dB", 6.0, np.inf),
    "sweep": Row("strums, first string over last, dB", 2.0, np.inf, VELOCITY_DB),
    "ups": Row("strums up against down, brightness", 1.1, 1.2),
    "unlike": Row("strokes of one note beyond their brightness, dB of SD", 0.7, np.inf),
}
"""Aims, by name."""

Found = Mapping[str, NDArray[np.float64]]
"""Figures of rows, by name."""


def note_figures(places: Sequence[Place], levels_db: Sequence[float], folder: Path) -> Found:
    """Measure single notes: knock, ring and pitch."""
    found: dict[str, list[float]] = {name: [] for name in ("knock", "fall", "late", "beats", "cents")}
    for level_db in levels_db:
        for place, sound in heard_alone(places, level_db, folder):
            if place.hertz >= KNOCK_ALONE_HZ:
                knock_db, fall_s = knock_figures(sound, RATE_HZ)
                found["knock"].append(knock_db)
                found["fall"].append(1000.0 * fall_s)
            found["late"].append(ring_figures(sound, RATE_HZ)[1])
            found["beats"].extend(beats_db(sound, RATE_HZ, place.hertz))
            cents = cents_along(sound, RATE_HZ, place.open_midi + place.fret, CENTS_AT_S, CENTS_FOR_S)
            found["cents"].append(max(map(abs, cents)))
    return {name: np.array(figures) for name, figures in found.items()}


def heard_alone(
    places: Sequence[Place], level_db: float, folder: Path
) -> Iterator[tuple[Place, NDArray[np.float64]]]:
    """Yield places with their notes; those of each string in a file of their own, whatever its instrument."""
    for _, own in groupby(places, key=lambda place: place[:2]):
        of_string = list(own)
        yield from zip(of_string, alone(folder / "notes.wav", of_string, level_db), strict=True)


def stopped_figures(rings: Sequence[tuple[Place, Sequence[Place]]], folder: Path) -> Found:
    """Measure how much more a string rings along with a note on another if it is free than if it is stopped."""
    free, held = (
        [rings_of(folder / "rings.wav", struck, others, stopped=stopped) for struck, others in rings]
        for stopped in (False, True)
    )
    return {"stopped": np.array(free) - np.array(held)}


def hand_figures(places: Sequence[Place], levels_db: Sequence[float], folder: Path) -> Found:
    """Measure strums up against those down, and strokes of one note against one another."""
    ups = []
    for level_db in levels_db:
        down, up = (
            np.exp(np.log(gesture_figures(strums(folder / "strums.wav", level_db, up=up), RATE_HZ)[1]).mean())
            for up in (False, True)
        )
        ups.append(up / down)
    unlike = [
        unexplained_db(alone(folder / "equal.wav", [place] * EQUAL_STROKES), RATE_HZ, place.hertz)
        for place in places
    ]
    return {"ups": np.array(ups), "unlike": np.array(unlike)}


def sweep_figures(songs: Sequence[Path], folder: Path) -> Found:
    """Measure the strums of songs, as their MIDI files have them."""
    found: list[float] = []
    for number, song in enumerate(songs):
        midi = folder / f"{number}.mid"
        run(midi, *tercet("render", song, "-o", midi))
        found.extend(sweeps_db(strums_of(read_with_mido(midi))))
    return {"sweep": np.array(found)}


def ringing_pairs() -> Iterator[tuple[Place, Sequence[Place]]]:
    """Yield notes, and the other strings: first the one that has the note as a partial, its octave or twelfth."""
    for strings in (STRINGS[:4], STRINGS[5:]):
        for (struck, struck_midi), (other, other_midi) in permutations(strings, 2):
            rest = [Place(*each, 0) for each in strings if each[0] not in (struck, other)]
            for semitones in (12, 19):
                fret = other_midi + semitones - struck_midi
                if 0 <= fret < len(FRETS):
                    yield Place(struck, struck_midi, fret), [Place(other, other_midi, 0), *rest]


def missed(found: Found) -> set[str]:
    """Return the rows that aren't kept."""
    return {name for name, figures in found.items() if not ROWS[name].is_kept(figures)}


def main() -> int:
    """Measure, and print the table; 1 if a row misses its aim."""
    given = asked(parser_of("Measure what the built-in ukulele has of a real one.", 1))
    aims = Aims(judged=not given.short)
    places = [Place(*string, fret) for string in STRINGS for fret in FRETS]
    levels_db, pairs = [SOFT, MIDDLE, FIRM], list(ringing_pairs())
    songs = sorted((ROOT / "songs").glob("*.yaml"))
    if given.short:
        places, levels_db, pairs, songs = [Place(1, 69, 3)], [MIDDLE], pairs[:1], [SHORT_SONG]
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        found = {
            **note_figures(places, levels_db, folder),
            **stopped_figures(pairs, folder),
            **sweep_figures(songs, folder),
            **hand_figures(places[::5], STRUM_LEVELS_DB[: len(levels_db)], folder),
        }
    for name, figures in found.items():
        counted(f"figures of {name}", len(figures))
    print(f"  {'':<52} {'cases':>5} {'least':>7} {'median':>7} {'most':>7} {'within':>7}  aim")
    for name, row in ROWS.items():
        figures = found[name]
        least, middle, most = figures.min(), np.median(figures), figures.max()
        aim = f"≥ {row.least:g}" if row.most == np.inf else f"{row.least:g} to {row.most:g}"
        print(
            f"  {row.what:<52} {len(figures):>5} {least:7.2f} {middle:7.2f} {most:7.2f} "
            f"{row.part_within(figures):7.0%}  {aim}, {'kept' if row.is_kept(figures) else 'MISSED'}"
        )
    aims.say("rows that miss their aim", len(missed(found)), most=0.0)
    return aims.exit_code


if __name__ == "__main__":
    sys.exit(main())
