"""How well our songs and a hundred folk tunes are played: hands, harmony, ringing, strums, time; see README.md.

Run as ``.venv/bin/python benchmarks/played_well.py``; ``--before FOLDER`` measures another tree's command beside this
one. Nothing of ours is imported: what is measured is what the command says (`check --json`) and the MIDI files that it
writes, by `tests.measure`. Ends with 1 if a figure of this tree lies outside its aim, or a row has no case.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean, median
from typing import Any

from measuring import ROOT, SHORT_SONG, Aims, asked, counted, environment, parser_of

sys.path.insert(0, str(ROOT))

from tests.measure.hands import Figures, measured
from tests.measure.liveliness import Liveliness, arch_db, liveliness_of, phrase_edges
from tests.measure.midi import read_with_mido
from tests.measure.ringing import Ringing, hands_of, ringing_of
from tests.measure.song_text import SongText, read_song_text
from tests.measure.strokes import strokes_told

MOST_TUNES = 104
AT_ONCE = 2
PLAYERS = ("beginner", "improving", "free")
OPEN_MIDIS = (67, 60, 64, 69)
SLOW, QUICK = 60, 112
"""Pulses a minute at which a jig's rolls are counted."""

STAY_LEAST = 0.6
"""The part of a song's strums that stays with `between: fill`."""


@dataclass(frozen=True)
class Aim:
    """What is aimed at: the least, or the most."""

    least: float = float("-inf")
    most: float = float("inf")

    def is_kept(self, value: float) -> bool:
        """Whether a figure is within it."""
        return self.least <= value <= self.most

    def __str__(self) -> str:
        ends = [f"{end:g}" for end in (self.least, self.most) if abs(end) < float("inf")]
        return (
            " to ".join(ends)
            if len(ends) == 2
            else f"≥ {ends[0]}"
            if self.least > float("-inf")
            else f"≤ {ends[0]}"
        )


@dataclass(frozen=True)
class Figure:
    """A figure, and of how many cases it is."""

    value: float
    cases: int


Found = Mapping[tuple[str, str], Figure]
"""Figures by their names, and by players where they are told apart (else an empty text)."""

ROWS: dict[str, tuple[str, Mapping[str, Aim]]] = {
    "untaught fingers": (
        "known shapes under other fingers than are taught, %",
        dict.fromkeys(PLAYERS, Aim(most=0.0)),
    ),
    "other fingering": (
        "uses of a shape under another fingering than its usual one, %",
        dict.fromkeys(PLAYERS, Aim(most=3.0)),
    ),
    "hasty change": (
        "changes of three fingers that come too soon: 0.8 s, improving 0.4 s",
        dict.fromkeys(PLAYERS[:2], Aim(most=0.0)),
    ),
    "fewer rolls": ("jigs: fewer rolls at 112 than at 60, %", dict.fromkeys(PLAYERS, Aim(least=30.0))),
    "grip for one note": (
        "notes whose grip has three fingers or more, some set for it alone and idle, %",
        dict.fromkeys(PLAYERS, Aim(most=1.0)),
    ),
    "other than taught": (
        "notes under another shape than the taught one that has all the bar's tune, %",
        {"beginner": Aim(most=3.0)},
    ),
    "stretch beyond need": (
        "single notes fretted where an open string has them, or under a needless stretch, %",
        {"beginner": Aim(most=2.0)},
    ),
    "thirdless, avoidable": (
        "rolls without a third that could have one, %",
        dict.fromkeys(PLAYERS, Aim(most=5.0)),
    ),
    "seventh missing": ("rolls over seventh chords without the seventh, %", {"free": Aim(most=15.0)}),
    "no two tones, avoidable": (
        "chords of which no two tones are struck together though a hand could, %",
        dict.fromkeys(PLAYERS, Aim(most=2.0)),
    ),
    "rung": ("notes before a leap that ring on while their string stays free, %", {"": Aim(least=90.0)}),
    "blurred": ("notes that ring over a step, a rest or a breath", {"": Aim(most=0.0)}),
    "covered": ("notes of the tune that `check` calls covered, %", {"": Aim(most=1.0)}),
    "equal bar, other hand": (
        "equal bars between equal notes under another hand, %",
        dict.fromkeys(PLAYERS, Aim(most=3.0)),
    ),
    "ups": ("strums that come up, where Tercet chooses the pattern, %", {"": Aim(least=25.0)}),
    "repeated": ("bars strummed like the strummed bar before, where Tercet chooses, %", {"": Aim(most=25.0)}),
    "sweep": ("first string of a strum over its last, dB", {"": Aim(least=1.0)}),
    "falling": ("strums with the first string firmest, %", {"": Aim(least=98.0)}),
    "phrase ends": ("the last bar's worth of a phrase, longer by, %", {"": Aim(3.0, 5.0)}),
    "ending": ("the piece's last beat, as a part of a usual one", {"": Aim(least=1.25)}),
    "back": ("tempo after a ritard that isn't the last, off by, %", {"": Aim(most=3.0)}),
    "arch": ("arch of a phrase, ± dB", {"": Aim(1.0, 2.0)}),
    "under": ("strings under the tune, spread, dB", {"": Aim(least=0.5)}),
    "kept": ("strums that stay with `between: fill`, %", {"": Aim(least=100 * STAY_LEAST)}),
    "fewer": ("songs in which less than 60 % of them stay, %", {"": Aim(most=5.0)}),
}
"""What is measured, in the order of the rows that were asked for, and its aim for each kind of players."""


# ---- what is asked for


def main() -> int:
    """Measure songs and tunes and print a table of each."""
    parser = parser_of("Measure how well songs are played.", 1)
    parser.add_argument(
        "--before", type=Path, help="another tree, whose command is measured beside this one's"
    )
    parser.add_argument(
        "--tunes", type=int, default=MOST_TUNES, help="how many folk tunes (default %(default)s)"
    )
    given = asked(parser)
    aims = Aims(judged=not given.short)
    trees = [tree.resolve() for tree in (given.before, ROOT) if tree]
    measured_rows: set[str] = set()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ours = [SHORT_SONG] if given.short else sorted((ROOT / "songs").glob("*.yaml"))
        tunes = [] if given.short else folk_tunes(folder, given.tunes)
        held_out = [path for path in tunes if path.name.startswith("held-out")]
        groups = {
            "our songs": ours,
            "folk tunes to look at": [path for path in tunes if path not in held_out],
            "folk tunes held out": held_out,
        }
        for title, songs in groups.items():
            if songs:
                found = [
                    figures_of(songs, folder / f"{place} {title}", tree) for place, tree in enumerate(trees)
                ]
                show(f"{title} ({len(songs)})", found, aims)
                measured_rows |= {name for name, _ in found[-1]}
    aims.missed += [f"no case: {told}" for name, (told, _) in ROWS.items() if name not in measured_rows]
    print(*(f"  missed: {what}" for what in aims.missed), sep="\n")
    return aims.exit_code


def folk_tunes(folder: Path, most: int) -> list[Path]:
    """Return tunes of the corpus as song files, with a ritard in the last bar of the first line."""
    command = [sys.executable, ROOT / "benchmarks" / "corpus.py", "--write", folder, "--tunes", most]
    subprocess.run([*map(str, command)], env=environment(), check=True)
    paths = sorted(folder.glob("*.yaml"))
    for path in paths:
        first, *others = path.read_text("utf-8").split("\n\n")
        if len(others) > 1:
            first += "\n    marks  " + "| " * (first.splitlines()[-1].count("|") - 1) + "rit@1 |"
        path.write_text("\n\n".join([first, *others]), "utf-8")
    return paths


def show(title: str, found: Sequence[Found], aims: Aims) -> None:
    """Print figures of one tree or two, those of this tree last, in bold type where they miss their aims."""
    print(f"\n{title}\n\n| figure | aim | cases | " + ("before | " if found[1:] else "") + "now |")
    print("|---" * (4 + len(found[1:])) + "|")
    for name, (told, each) in ROWS.items():
        now = {players: found[-1].get((name, players)) for players in each}
        misses = [
            players for players, figure in now.items() if figure and not each[players].is_kept(figure.value)
        ]
        aims.missed += [f"{title}, {players or 'as written'}: {told}" for players in misses]
        shown = [
            " / ".join(
                _cell(figures.get((name, players)), bold=place == len(found) - 1 and players in misses)
                for players in each
            )
            for place, figures in enumerate(found)
        ]
        cases = sum(figure.cases for figure in now.values() if figure)
        print("| " + " | ".join([told, str(next(iter(each.values()))), str(cases), *shown]) + " |")
    print()
    counted("cases", sum(figure.cases for figure in found[-1].values()))


def _cell(figure: Figure | None, *, bold: bool) -> str:
    text = f"{figure.value:.1f}" if figure else "–"
    return f"**{text}**" if bold else text


# ---- what is made of songs


def figures_of(songs: Sequence[Path], folder: Path, tree: Path) -> dict[tuple[str, str], Figure]:
    """Return all figures of some songs, as a tree's command plays them."""
    folder.mkdir(exist_ok=True)
    return {**hand_figures(songs, folder, tree), **dict(played_figures(songs, folder, tree))}


def copy_of(path: Path, folder: Path, **settings: object) -> Path:
    """Return a copy of a song with other settings; those that are None are taken out."""
    text = path.read_text("utf-8")
    for name, value in settings.items():
        text = re.sub(rf"(?m)^{name}: .*\n", "", text)
        if value is not None:
            text = text.replace("sections:", f"{name}: {value}\nsections:", 1)
    parts = [path.stem, *(f"{name}-{value}" for name, value in settings.items())]
    copy = folder / f"{' '.join(parts)}.yaml"
    copy.write_text(text, "utf-8")
    return copy


def told_of(paths: Sequence[Path], tree: Path) -> list[dict[str, Any]]:
    """Return what the command says of some songs."""
    told: list[dict[str, Any]] = json.loads(said(tree, "check", *paths, "--json"))
    return told


def said(tree: Path, *arguments: object) -> str:
    """Run a tree's command and return what it says."""
    command = [sys.executable, "-m", "tercet", *map(str, arguments)]
    done = subprocess.run(
        command,
        env={**environment(), "PYTHONPATH": str(tree / "render")},
        capture_output=True,
        text=True,
        check=False,
    )
    if not done.stdout:
        raise SystemExit(f"{arguments}: {done.stderr}")
    return done.stdout


# ---- hands, from what `check` says


def hand_figures(songs: Sequence[Path], folder: Path, tree: Path) -> dict[tuple[str, str], Figure]:
    """Return what is counted of hands and strokes, for each kind of players."""
    copies = [(players, copy_of(path, folder, players=players)) for players in PLAYERS for path in songs]
    sums = {players: Figures() for players in PLAYERS}
    for (players, path), told in zip(copies, told_of([path for _, path in copies], tree), strict=True):
        strokes = strokes_told(told["report"]["lines"], read_song_text(path), OPEN_MIDIS)
        sums[players].add(measured(strokes, OPEN_MIDIS, players))
    found = {
        (name, players): Figure(
            each.found[name] if name == "hasty change" else each.percent(name), each.among[name]
        )
        for players, each in sums.items()
        for name in each.among
    }
    jigs = [path for path in songs if is_jig(read_song_text(path))]
    for players in PLAYERS if jigs else ():
        slow, quick = (
            sum(
                told["rolls"]
                for told in told_of(
                    [copy_of(path, folder, players=players, tempo=tempo) for path in jigs], tree
                )
            )
            for tempo in (SLOW, QUICK)
        )
        found["fewer rolls", players] = Figure(100 * (1 - quick / slow), slow)
    return found


def is_jig(song: SongText) -> bool:
    """Whether a tune in 6/8 runs in eighths: half of its notes or more are no longer."""
    return song.meter == (6, 8) and median(note.length_beat for note in song.tune) <= 1


# ---- time, levels, strums and what rings, from MIDI files


@dataclass(frozen=True)
class Played:
    """What is measured of a song's MIDI file, and how many notes of its tune there are, and are called covered."""

    alive: Liveliness
    ringing: Ringing
    notes: int
    covered: int


def played_figures(
    songs: Sequence[Path], folder: Path, tree: Path
) -> Iterator[tuple[tuple[str, str], Figure]]:
    """Yield what is measured of songs as they are, without a strum pattern of their own, and with spaces filled."""
    plain, free, filled = (
        [copy_of(path, folder, **settings) for path in songs]
        for settings in ({}, {"strum": None}, {"between": "fill"})
    )
    has_patterns = any("\nstrum: " in path.read_text("utf-8") for path in songs)
    each = played([*plain, *filled, *(free if has_patterns else ())], tree)
    as_is, with_more = each[: len(songs)], each[len(songs) : 2 * len(songs)]
    by_us = each[2 * len(songs) :] or as_is
    figures = (
        *time_figures([each.alive for each in as_is]),
        *strum_figures([each.alive for each in by_us]),
        *ringing_figures(as_is),
        *fill_figures(as_is, with_more),
    )
    for name, value, cases in figures:
        yield (name, ""), Figure(value, cases)


def played(paths: Sequence[Path], tree: Path) -> list[Played]:
    """Make songs into MIDI files and measure them."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(lambda path, told: measured_file(path, told, tree), paths, told_of(paths, tree)))


def measured_file(path: Path, told: Mapping[str, Any], tree: Path) -> Played:
    """Make a song into a MIDI file and measure it, told what `check` says."""
    song, midi = read_song_text(path), path.with_suffix(".mid")
    said(tree, "render", path, "-o", midi, "--count-in", 1)
    lines = told["report"]["lines"]
    strokes: dict[int, list[str]] = {}
    for hand in (hand for line in lines for hand in line["hands"]):
        strokes.setdefault(hand["bar_number"], []).extend(hand["strokes"])
    made, edges = read_with_mido(midi), phrase_edges(path, song)
    return Played(
        liveliness_of(made, song, edges, strokes),
        ringing_of(made, song, edges, hands_of(lines)),
        len(song.tune),
        len(told["covered"]),
    )


Named = Iterator[tuple[str, float, int]]
"""Figures with their names and how many cases they are of; none where there is no case."""


def time_figures(found: Sequence[Liveliness]) -> Named:
    """Yield how phrases and pieces end, and how levels move along them."""
    ends = [end for each in found for end in each.phrase_ends]
    back = [abs(tempo - 1.0) for each in found for tempo in each.after_ritards]
    points = [point for each in found for point in each.arch]
    if ends:
        yield "phrase ends", 100 * median(ends), len(ends)
    yield "ending", fmean(each.ending for each in found), len(found)
    if back:
        yield "back", 100 * median(back), len(back)
    if points:
        yield "arch", arch_db(points), len(points)
    yield "under", fmean(each.under_tune_sd_db for each in found), len(found)


def strum_figures(found: Sequence[Liveliness]) -> Named:
    """Yield how strums fall along the strings, and what patterns they make."""
    strums, pairs = sum(each.strums for each in found), sum(each.strummed_bars for each in found)
    sweeps_db = [sweep_db for each in found for sweep_db in each.sweeps_db]
    if strums:
        yield "ups", 100 * sum(each.ups_part * each.strums for each in found) / strums, strums
    if pairs:
        yield "repeated", 100 * sum(each.repeated_bars for each in found) / pairs, pairs
    if sweeps_db:
        yield "sweep", fmean(sweeps_db), len(sweeps_db)
        yield "falling", 100 * fmean(sweep_db > 0 for sweep_db in sweeps_db), len(sweeps_db)


def ringing_figures(found: Sequence[Played]) -> Named:
    """Yield how the tune rings on over leaps, where it doesn't stand clear, and whether it blurs."""
    free, notes = sum(each.ringing.free for each in found), sum(each.notes for each in found)
    if free:
        yield "rung", 100 * sum(each.ringing.rung for each in found) / free, free
    yield "blurred", sum(each.ringing.blurred for each in found), notes
    yield "covered", 100 * sum(each.covered for each in found) / notes, notes


def fill_figures(plain: Sequence[Played], filled: Sequence[Played]) -> Named:
    """Yield what `between: fill` leaves of the strums."""
    strummed = [
        (one.alive.strums, other.alive.strums)
        for one, other in zip(plain, filled, strict=True)
        if one.alive.strums
    ]
    if strummed:
        strums = sum(one for one, _ in strummed)
        yield "kept", 100 * sum(other for _, other in strummed) / strums, strums
        yield "fewer", 100 * fmean(other < STAY_LEAST * one for one, other in strummed), len(strummed)


if __name__ == "__main__":
    sys.exit(main())
