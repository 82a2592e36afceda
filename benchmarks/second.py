"""How well second voices come out under our songs and under folk tunes: in key, playable, the tune left clear.

Run as ``.venv/bin/python benchmarks/second.py``. The tunes are those of `corpus.py`, harmonised there, each in the key
that has most notes in reach. What is counted is counted anew by `tests/arranging/second_laws.py`.
"""

from __future__ import annotations

import multiprocessing
import sys
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import get_args

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from corpus import SCALES_MM, song_of, tunes  # noqa: E402
from measuring import asked, counted, parser_of  # noqa: E402

from tercet.arranging import arrange  # noqa: E402
from tercet.performing import covered_notes, lay_out, perform  # noqa: E402
from tercet.song import Players, SecondVoice, Song, played_bars, read_song, transpose_song  # noqa: E402
from tercet.theory import TUNINGS, Tuning  # noqa: E402
from tests.arranging.second_laws import SecondFigures, second_figures  # noqa: E402

TUNES, SHORT_TUNES = 120, 1
SHORT_TUNINGS = ("high-g",)
VOICES: tuple[SecondVoice, ...] = get_args(SecondVoice)
PLAYERS: tuple[Players, ...] = get_args(Players)
FARTHEST = 12
"""Semitones that a tune is moved at most."""


@dataclass
class Case:
    """What came of a voice for some players, and how many of the tune's notes are covered with it and without it."""

    figures: SecondFigures = field(default_factory=SecondFigures)
    covered: int = 0
    covered_without: int = 0

    def add(self, other: Case) -> None:
        """Add another song's."""
        self.figures.add(other.figures)
        self.covered += other.covered
        self.covered_without += other.covered_without


COLUMNS = (
    "tuning, players",
    "voice",
    "tune's notes",
    "with one, %",
    "in key or chord, %",
    "under the tune, %",
    "on a pulse: of the chord, %",
    "playable, %",
    "tune's notes covered (without it)",
)

Key = tuple[str, Players, SecondVoice]


def cases_of(song: Song, tunings: Sequence[str]) -> dict[Key, Case]:
    """Return what comes of a song for all players in some tunings: each voice."""
    found = {}
    for name in tunings:
        instrument, scale_mm = SCALES_MM[name]
        tuning = TUNINGS[name]
        moved, _ = transpose_song(song, _shift(song, tuning))
        for players in PLAYERS:
            asked_for = replace(
                moved, players=players, instrument=instrument, scale_length_mm=scale_mm, tuning=name
            )
            plain = _covered(asked_for, tuning)
            for voice in VOICES:
                with_second = replace(asked_for, second=voice)
                figures = second_figures(arrange(with_second, tuning))
                found[name, players, voice] = Case(figures, _covered(with_second, tuning), plain)
    return found


def _covered(song: Song, tuning: Tuning) -> int:
    made = arrange(song, tuning)
    return len(covered_notes(perform(made, lay_out(made))))


def _shift(song: Song, tuning: Tuning) -> int:
    """Return by how many semitones a song is moved so that most of its notes, and thirds below, are in reach."""
    low, high = tuning.lowest_midi, tuning.lowest_midi + 21
    midis = [note.pitch.midi for bar in played_bars(song) for note in bar.melody if note.pitch is not None]

    def outside(shift: int) -> int:
        return sum(not low + 4 <= midi + shift <= high for midi in midis)

    return min(range(-FARTHEST, FARTHEST + 1), key=lambda shift: (outside(shift), abs(shift)))


def main() -> int:
    """Count and print."""
    parser = parser_of("Count how well second voices come out.", 1)
    parser.add_argument("--tunes", type=int, default=TUNES, help="how many of the corpus")
    options = asked(parser)
    ours = [read_song(path) for path in sorted((ROOT / "songs").glob("*.yaml"))]
    folk = [song_of(tune) for tune in tunes(SHORT_TUNES if options.short else options.tunes)]
    tunings = SHORT_TUNINGS if options.short else tuple(SCALES_MM)
    notes = 0
    for title, songs in (("our songs", ours[:1] if options.short else ours), ("folk tunes", folk)):
        sums: dict[Key, Case] = defaultdict(Case)
        with multiprocessing.get_context("spawn").Pool(2) as pool:
            for found in pool.imap(partial(cases_of, tunings=tunings), songs):
                for key, case in found.items():
                    sums[key].add(case)
        notes += _show(f"{len(songs)} {title}", sums)
    counted("notes of second voices", notes)
    return 0


def _show(title: str, sums: dict[Key, Case]) -> int:
    print(f"\n{title}\n")
    print(f"| {' | '.join(COLUMNS)} |")
    print("|---" * len(COLUMNS) + "|")
    for (tuning, players, voice), case in sums.items():
        found = case.figures
        shares = (
            _share(found.in_key, found.notes),
            _share(found.under, found.notes),
            _share(found.strong_of_chord, found.strong),
            _share(found.playable, found.notes),
        )
        with_one = "" if voice == "low" else f"{_share(found.notes, found.tune):.1f}"
        print(
            f"| {tuning}, {players} | {voice} | {found.tune} | {with_one} | "
            + " | ".join(f"{share:.1f}" for share in shares)
            + f" | {case.covered} ({case.covered_without}) |"
        )
    return sum(case.figures.notes for case in sums.values())


def _share(part: int, whole: int) -> float:
    return 100.0 * part / whole if whole else 100.0


if __name__ == "__main__":
    raise SystemExit(main())
