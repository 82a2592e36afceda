"""Our reading of MusicXML against music21's, on scores of its corpus, read in place: notes, symbols, words."""

from __future__ import annotations

import importlib.util
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tercet.errors import TercetError
from tercet.exchange import imported_text, read_tune
from tests.exchange.heard import verdict_of_song
from tests.exchange.musicxml.oracle import (
    LENGTH_TOLERANCE_QUARTER,
    changed_symbols,
    played_by_music21,
    played_by_us,
    read_by_music21,
    read_by_us,
    score_text,
    scores,
    single_lines,
)

CHORALES = 8
MIDI_REFUSALS = ("has no notes", "of type 2", "film frames", "larger than", "damaged")


def music21_folder() -> Path:
    spec = importlib.util.find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent


def corpus() -> Path:
    return music21_folder() / "corpus"


def by_music21(file: Path) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import music21

        return music21.converter.parse(file, forceSource=True)


def chosen_scores() -> list[Path]:
    """Return the scores of one line, and chorales spread over the corpus; every part of each is one line."""
    alone = [
        file
        for file in scores(corpus())
        if file.parent.name in ("leadSheet", "demos", "ciconia") and len(single_lines(score_text(file))) == 1
    ]
    chorales = sorted((corpus() / "bach").glob("bwv*.mxl"))
    return alone + chorales[:: len(chorales) // CHORALES][:CHORALES]


def test_notes_as_played_and_words_are_those_that_music21_reads() -> None:
    verdicts: Counter[str] = Counter()
    words: Counter[str] = Counter()
    for file in chosen_scores():
        score = by_music21(file)
        for part in single_lines(score_text(file)):
            ours = read_by_us(file, part)
            theirs = read_by_music21(score.parts[part - 1])
            played = played_by_music21(score.parts[part - 1])
            song = played_by_us(file, part)
            assert played is not None
            verdicts[verdict_of_song(song.notes, played, LENGTH_TOLERANCE_QUARTER, song.remarks)] += 1
            words["all"] += theirs.words.total()
            words["same"] += (ours.words & theirs.words).total()
    assert verdicts.total() >= 35
    assert verdicts["exact"] >= 0.99 * verdicts.total(), verdicts
    assert words["same"] == words["all"] > 100


@pytest.mark.parametrize("name", ["fosterBrownHair", "berlinAlexandersRagtime"])
def test_chord_symbols_are_those_that_music21_reads(name: str) -> None:
    file = corpus() / "leadSheet" / f"{name}.mxl"
    ours = [symbol for symbol in read_by_us(file, 1).symbols if symbol[1]]
    assert ours == read_by_music21(by_music21(file).parts[0]).symbols
    assert changed_symbols(file, 1) == []


def test_every_kind_of_symbol_is_the_same_or_said() -> None:
    file = corpus() / "demos" / "ComprehensiveChordSymbolsTestFile.mxl"
    ours = dict(read_by_us(file, 1).symbols)
    theirs = dict(read_by_music21(by_music21(file).parts[0]).symbols)
    same = {place for place, tones in theirs.items() if ours.get(place) == tones}
    said = {int(remark.rpartition("measure ")[2].rstrip(")")) for remark in changed_symbols(file, 1)}
    others = {int(place // 4) + 1 for place in theirs.keys() - same}
    assert len(theirs) == 57
    assert others - said == ELEVENTH_LEFT_OUT | MUSIC21_READS_NO_KIND


ELEVENTH_LEFT_OUT = {20}
"""C#13: music21 counts the eleventh in, which players leave out."""

MUSIC21_READS_NO_KIND = {11}
"""A minor chord with a major seventh, of which music21 keeps the root alone."""


def test_every_midi_file_is_read_or_refused_with_the_reason() -> None:
    files = sorted(file for ending in ("*.mid", "*.midi") for file in music21_folder().rglob(ending))
    outcomes = {file.name: _outcome(file) for file in files}
    refused = {name: outcome for name, outcome in outcomes.items() if outcome != "read"}
    assert len(files) >= 20
    assert len(refused) <= 0.2 * len(files), refused
    assert all(any(reason in why for reason in MIDI_REFUSALS) for why in refused.values()), refused


def _outcome(file: Path) -> str:
    """Return ``"read"``, or why a file was refused."""
    try:
        return "read" if "melody" in imported_text(read_tune(file), file.name)[0] else "no melody"
    except TercetError as error:
        return str(error)


def test_a_wrong_reading_would_be_seen() -> None:
    file = corpus() / "leadSheet" / "fosterBrownHair.mxl"
    theirs = played_by_music21(by_music21(file).parts[0])
    assert theirs is not None
    wrong = [*theirs]
    wrong[3] = (theirs[3][0], theirs[3][1], theirs[3][2] + Fraction(1, 4))
    assert verdict_of_song(wrong, theirs, LENGTH_TOLERANCE_QUARTER) != "exact"
