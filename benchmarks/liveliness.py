"""How alive our songs and a hundred folk tunes are played: phrase ends, endings, strings, strums; see README.md.

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
from pathlib import Path
from statistics import fmean, median

from measuring import ROOT, Aims, asked, counted, environment, parser_of

sys.path.insert(0, str(ROOT))

from tests.measure.liveliness import Liveliness, arch_db, liveliness_of, phrase_edges
from tests.measure.midi import read_with_mido
from tests.measure.song_text import read_song_text

OURS = sorted((ROOT / "songs").glob("*.yaml"))
MOST_TUNES = 100
AT_ONCE = 2


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
    with ThreadPoolExecutor(AT_ONCE) as pool:
        found = [each for each in pool.map(lambda path: measured(path, folder, tree), paths) if each]
        filled = list(pool.map(lambda path: measured(path, folder, tree, fill=True), paths))
    print(f"{what}:")
    counted("files measured", len(found))
    ends = [end for each in found for end in each.phrase_ends]
    strums, pairs = sum(each.strums for each in found), sum(each.strummed_bars for each in found)
    aims.say("last bars of phrases longer by, %", 100 * median(ends) if ends else 0.0, least=3.0, most=5.0)
    aims.say("last beat, as a part of a usual one", fmean(each.ending for each in found), least=1.25)
    back = [abs(tempo - 1.0) for each in found for tempo in each.after_ritards]
    aims.say(
        "tempo after a ritard that isn't the last, off by %", 100 * median(back) if back else 0.0, most=3.0
    )
    aims.say(
        "arch of a phrase, ± dB",
        arch_db([point for each in found for point in each.arch]),
        least=1.0,
        most=2.0,
    )
    aims.say(
        "strings under the tune, spread in dB", fmean(each.under_tune_sd_db for each in found), least=0.5
    )
    sweeps_db = [sweep_db for each in found for sweep_db in each.sweeps_db]
    aims.say("first string of a strum over its last, dB", fmean(sweeps_db), least=1.0)
    free = what != "our songs"
    aims.say(
        "strums that come up, %",
        100 * sum(each.ups_part * each.strums for each in found) / strums,
        least=25.0 if free else 0.0,
    )
    aims.say("bars strummed like the one before, %", 100 * sum(each.repeated_bars for each in found) / max(pairs, 1),
             most=25.0 if free else 100.0)  # fmt: skip
    kept = sum(each.strums for each in filled if each)
    aims.say("strums that stay with between: fill, %", 100 * kept / strums, least=60.0)


def measured(path: Path, folder: Path, tree: Path, *, fill: bool = False) -> Liveliness | None:
    """Make a song into a MIDI file and measure it; None for one that this reader can't follow."""
    played = folder / f"{'fill' if fill else 'plain'}-{path.name}"
    text = path.read_text("utf-8")
    if fill:
        text = re.sub(r"(?m)^between: .*\n", "", text).replace("form:", "between: fill\nform:", 1)
        text = text if "between: fill" in text else text.replace("sections:", "between: fill\nsections:", 1)
    played.write_text(text, "utf-8")
    midi = played.with_suffix(".mid")
    said(tree, "render", played, "-o", midi, "--count-in", 1)
    report = json.loads(said(tree, "check", played, "--json"))[0]["report"]
    strokes: dict[int, list[str]] = {}
    for hand in (hand for line in report["lines"] for hand in line["hands"]):
        strokes.setdefault(hand["bar_number"], []).extend(hand["strokes"])
    try:
        song = read_song_text(played)
    except ValueError:
        return None
    return liveliness_of(read_with_mido(midi), song, phrase_edges(played, song), strokes)


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
