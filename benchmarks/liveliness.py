"""How alive our songs and a hundred folk tunes are played: time, levels, strums, what rings on; see README.md.

Run as ``.venv/bin/python benchmarks/liveliness.py``. Every song is made into a MIDI file by the command; the files are
measured by `tests.measure`, which imports nothing from `tercet`. ``--tree FOLDER`` measures another tree's command.
Ends with 1 if a figure lies outside its aim.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from statistics import fmean, median
from typing import Any

from measuring import ROOT, Aims, asked, counted, environment, parser_of

sys.path.insert(0, str(ROOT))

from tests.measure.liveliness import Liveliness, arch_db, liveliness_of, phrase_edges
from tests.measure.midi import read_with_mido
from tests.measure.ringing import Ringing, hands_of, ringing_of
from tests.measure.song_text import read_song_text

OURS = sorted((ROOT / "songs").glob("*.yaml"))
MOST_TUNES = 100
AT_ONCE = 2
STAY_LEAST = 0.6
"""The part of a song's strums that stays with `between: fill`."""


@dataclass(frozen=True)
class Measured:
    """What is measured of a song's file, and how many notes of its tune the report calls covered."""

    alive: Liveliness
    ringing: Ringing
    covered: int


def main() -> int:
    """Measure songs and tunes, as they are and with spaces filled, and print a table."""
    parser = parser_of("Measure how alive songs are played.", 1)
    parser.add_argument("--tree", type=Path, default=ROOT, help="the tree whose command is measured")
    parser.add_argument(
        "--tunes", type=int, default=MOST_TUNES, help="how many folk tunes (default %(default)s)"
    )
    given = asked(parser)
    aims = Aims(judged=not given.short)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sets = {"our songs": OURS[-1:] if given.short else OURS}
        sets["our songs without a pattern"] = list(without_pattern(sets["our songs"], folder))
        sets["folk tunes"] = [] if given.short else list(folk_tunes(folder, given.tunes))
        for what, paths in sets.items():
            if paths:
                say(what, paths, folder, given.tree, aims)
    return aims.exit_code


def without_pattern(paths: list[Path], folder: Path) -> Iterator[Path]:
    """Yield copies of songs that leave the strum pattern to Tercet."""
    for path in paths:
        copy = folder / f"free-{path.name}"
        copy.write_text(re.sub(r"(?m)^strum: .*\n", "", path.read_text("utf-8")), "utf-8")
        yield copy


def folk_tunes(folder: Path, most: int) -> Iterator[Path]:
    """Yield tunes of the corpus with harmonised chords and a ritard in the first line's last bar, as song files.

    How `corpus.py` reads them isn't measured.
    """
    from corpus import song_of, tunes

    from tercet.song import write_song

    for number, tune in enumerate(tunes(most)):
        path = folder / f"tune-{number:03}.yaml"
        first, *others = write_song(song_of(tune)).split("\n\n")
        if len(others) > 1:
            first += "\n    marks  " + "| " * (first.splitlines()[-1].count("|") - 1) + "rit@1 |"
        path.write_text("\n\n".join([first, *others]), "utf-8")
        yield path


def say(what: str, paths: list[Path], folder: Path, tree: Path, aims: Aims) -> None:
    """Measure some songs and print their rows."""
    written = [written_as(path, folder, fill=fill) for path in paths for fill in (False, True)]
    facts = json.loads(said(tree, "check", *written, "--json"))
    with ThreadPoolExecutor(AT_ONCE) as pool:
        each = list(pool.map(lambda path, told: measured(path, told, tree), written, facts))
    pairs = [
        (plain, filled)
        for plain, filled in zip(each[::2], each[1::2], strict=True)
        if plain is not None and filled is not None
    ]
    print(f"{what}:")
    counted("files measured", len(pairs))
    say_time([plain.alive for plain, _ in pairs], aims)
    say_strums([plain.alive for plain, _ in pairs], aims, free=what != "our songs")
    say_ringing([plain.ringing for plain, _ in pairs], aims)
    say_fill(pairs, aims, ours=what.startswith("our"))


def say_time(found: list[Liveliness], aims: Aims) -> None:
    """Print how phrases and pieces end, and how levels move along them."""
    ends = [end for each in found for end in each.phrase_ends]
    aims.say("last bars of phrases longer by, %", 100 * median(ends) if ends else 0.0, least=3.0, most=5.0)
    aims.say("last beat, as a part of a usual one", fmean(each.ending for each in found), least=1.25)
    back = [abs(tempo - 1.0) for each in found for tempo in each.after_ritards]
    if back:
        aims.say("tempo after a ritard that isn't the last, off by %", 100 * median(back), most=3.0)
    arch = arch_db([point for each in found for point in each.arch])
    aims.say("arch of a phrase, ± dB", arch, least=1.0, most=2.0)
    under_db = fmean(each.under_tune_sd_db for each in found)
    aims.say("strings under the tune, spread in dB", under_db, least=0.5)


def say_strums(found: list[Liveliness], aims: Aims, *, free: bool) -> None:
    """Print how strums fall along the strings, and what they are like where Tercet is `free` to choose."""
    strums, pairs = sum(each.strums for each in found), sum(each.strummed_bars for each in found)
    sweeps_db = [sweep_db for each in found for sweep_db in each.sweeps_db]
    aims.say("first string of a strum over its last, dB", fmean(sweeps_db), least=1.0)
    falling = 100 * fmean(sweep_db > 0 for sweep_db in sweeps_db)
    aims.say("strums with the first string firmest, %", falling, least=98.0)
    ups = sum(each.ups_part * each.strums for each in found)
    aims.say("strums that come up, %", 100 * ups / strums, least=25.0 if free else 0.0)
    repeated = sum(each.repeated_bars for each in found)
    aims.say(
        "bars strummed like the one before, %", 100 * repeated / max(pairs, 1), most=25.0 if free else 100.0
    )


def say_ringing(found: list[Ringing], aims: Aims) -> None:
    """Print how the tune rings on over leaps, and whether it does where it shouldn't."""
    free = sum(each.free for each in found)
    counted("notes over leaps whose string stays free", free)
    aims.say("… that ring on, %", 100 * sum(each.rung for each in found) / free, least=90.0)
    aims.say("notes that ring over a step, a rest or a breath", sum(each.blurred for each in found), most=0.0)


def say_fill(pairs: list[tuple[Measured, Measured]], aims: Aims, *, ours: bool) -> None:
    """Print what `between: fill` leaves of the strums, and what is covered without and with it."""
    strums = sum(plain.alive.strums for plain, _ in pairs)
    kept = sum(filled.alive.strums for _, filled in pairs)
    aims.say("strums that stay with between: fill, %", 100 * kept / strums, least=100 * STAY_LEAST)
    fewer = sum(filled.alive.strums < STAY_LEAST * plain.alive.strums for plain, filled in pairs)
    aims.say("songs in which fewer stay, %", 100 * fewer / len(pairs), most=0.0 if ours else 5.0)
    most = 0.0 if ours else 0.2 * len(pairs)
    aims.say("notes of the tune covered", sum(plain.covered for plain, _ in pairs), most=most)
    aims.say("notes covered with between: fill", sum(filled.covered for _, filled in pairs), most=most)


def written_as(path: Path, folder: Path, *, fill: bool) -> Path:
    """Return a copy of a song, as it is or with its spaces filled."""
    text = path.read_text("utf-8")
    if fill:
        text = re.sub(r"(?m)^between: .*\n", "", text).replace("sections:", "between: fill\nsections:", 1)
    copy = folder / f"{'fill' if fill else 'plain'}-{path.name}"
    copy.write_text(text, "utf-8")
    return copy


def measured(path: Path, told: dict[str, Any], tree: Path) -> Measured | None:
    """Make a song into a MIDI file and measure it, told what `check` says; None if this reader can't follow it."""
    try:
        song = read_song_text(path)
    except ValueError:
        return None
    midi = path.with_suffix(".mid")
    said(tree, "render", path, "-o", midi, "--count-in", 1)
    lines = told["report"]["lines"]
    strokes: dict[int, list[str]] = {}
    for hand in (hand for line in lines for hand in line["hands"]):
        strokes.setdefault(hand["bar_number"], []).extend(hand["strokes"])
    made, edges = read_with_mido(midi), phrase_edges(path, song)
    return Measured(
        liveliness_of(made, song, edges, strokes),
        ringing_of(made, song, edges, hands_of(lines)),
        len(told["covered"]),
    )


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


if __name__ == "__main__":
    sys.exit(main())
