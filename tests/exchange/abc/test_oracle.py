"""Our reading of ABC against Debian's abc2midi, on tunes of four collections that music21 keeps, read in place."""

from __future__ import annotations

import importlib.util
import shutil
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.exchange.abc import abc_bytes
from tercet.exchange.abc.reader import AbcTune, decoded, tunes_of
from tercet.song.reader import parse_song, read_song
from tests.exchange.abc.oracle import (
    COLLECTIONS,
    TICK_TOLERANCE,
    compared,
    corpus_tunes,
    evenly,
    heard_by_abc2midi,
    heard_by_us,
    made_explicit,
)
from tests.exchange.heard import heard_song, verdict_of

TUNES_OF_EACH = 30
LEAST_EXACT = {"airdsAirs": 0.9, "oneills1850": 0.9, "ryansMammoth": 0.9, "essenFolksong": 1.0}
"""As it stands, in a sample of that size; benchmarks/tunes.py takes all 12 762."""

LEAST_WRITTEN_OUT = 0.98
"""With what the standard leaves to the reader written out for abc2midi, over the whole sample."""

needs_abc2midi = pytest.mark.skipif(
    shutil.which("abc2midi") is None, reason="abc2midi is missing: install your system's package abcmidi"
)


def folder(collection: str) -> Path:
    spec = importlib.util.find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "corpus" / collection


def tune(music: str, head: str = "") -> AbcTune:
    return tunes_of(f"X:1\nT:Small\nM:4/4\nL:1/4\n{head}K:C\n{music}\n")[0]


@needs_abc2midi
def test_pitch_onset_and_duration_are_those_that_abc2midi_plays() -> None:
    verdicts: Counter[str] = Counter()
    for collection in COLLECTIONS:
        own = Counter(
            compared(each).verdict
            for _, each in evenly(list(corpus_tunes(folder(collection))), TUNES_OF_EACH)
        )
        assert (
            own["exact"] + own["exact but for rests that are said"] >= LEAST_EXACT[collection] * own.total()
        ), (collection, own)
        verdicts += own
    same = verdicts.total() - verdicts["differs"]
    assert verdicts.total() == TUNES_OF_EACH * len(COLLECTIONS)
    assert same >= LEAST_WRITTEN_OUT * verdicts.total(), verdicts


@needs_abc2midi
@pytest.mark.parametrize(
    ("good", "bad"),
    [("C D E F|", "C D E ^F|"), ("C D E F|", "C D E>F|"), ("|:C4:|D4|", "C4|D4|"), ("C2 D2|", "C2 z D|")],
)
def test_a_wrong_reading_would_be_seen(good: str, bad: str) -> None:
    assert compared(tune(good)).verdict == "exact"
    assert (
        verdict_of(heard_by_us(tune(bad)).notes, heard_by_abc2midi(tune(good).lines), TICK_TOLERANCE)
        != "exact"
    )


@needs_abc2midi
@pytest.mark.parametrize(
    "music",
    [
        "|:C4|1D4:|2E4||F4|1G4:|2A4|]",  # a repeat without its start, after endings
        "C4||:D4|E4:|",  # a double bar and a start in one
        "C4|D4\\\n|:E4:|",  # joined lines
        "(5CDEFG C2|",  # five in the time of two
        "C2Z2|D4|",  # a bar's rest within a bar
    ],
)
def test_what_abc2midi_reads_otherwise_is_the_same_once_it_is_written_out(music: str) -> None:
    assert compared(tune(music)).verdict in ("exact", "exact once written out")


@needs_abc2midi
def test_da_capo_is_told_apart() -> None:
    assert compared(tune("C4|D4!D.C.!|")).verdict == "exact but for da capo"


def test_writing_out_changes_no_tune_that_is_plain() -> None:
    plain = tune("|:C D E F|G4:|\nC4|]")
    assert made_explicit(plain.lines) == [*plain.lines[:-1], "C4||"]


SONGS = Path(__file__).parent.parent.parent.parent / "songs"
ODD_ONES: dict[str, tuple[str, str, str]] = {
    "triplets and a tie": (
        "4/4",
        "Bb | Bb | F",
        "Bb4:1/3 C5:1/3 D5:1/3 Eb5:3 | = D5:2 .:1 | C5:2/3 D5:2/3 C5:2/3 Bb4:2",
    ),
    "five eighths": ("5/8", "Bb | F", "Bb4:1.5 C5:1/2 D5:3 | Eb5:1/4 D5:1/4 C5:4.5"),
    "six eighths with a pick-up": ("6/8", "| Bb | Gm7", "F4 | Bb4:2 C5 D5:3 | G#5:1/2 A5:1/2 Bb5:5"),
    "fifths": ("3/4", "Bb | F", "Bb4:1/5 C5:1/5 D5:1/5 C5:1/5 Bb4:1/5 Cb5:2 | E5:3"),
}


@needs_abc2midi
@pytest.mark.parametrize("name", ODD_ONES)
def test_odd_lengths_are_exported_so_that_abc2midi_plays_them(name: str) -> None:
    meter, chords, melody = ODD_ONES[name]
    rows = f"    chords {chords}\n    melody {melody}\n"
    text = f"title: Odd\nkey: Bb major\nmeter: {meter}\ntempo: 77.5\nsections:\n  a: |\n{rows}"
    song = parse_song(text)
    exported = tunes_of(decoded(abc_bytes(song)[0]))[0]
    assert verdict_of(heard_song(song), heard_by_us(exported).notes, Fraction(0)) == "exact"
    assert verdict_of(heard_song(song), heard_by_abc2midi(exported.lines), TICK_TOLERANCE) == "exact"


@needs_abc2midi
@pytest.mark.parametrize("name", sorted(path.name for path in SONGS.glob("*.yaml")))
def test_a_song_that_is_exported_is_the_same_for_us_and_for_abc2midi(name: str) -> None:
    song = read_song(SONGS / name)
    exported = tunes_of(decoded(abc_bytes(song)[0]))[0]
    assert verdict_of(heard_song(song), heard_by_us(exported).notes, Fraction(0)) == "exact"
    assert verdict_of(heard_song(song), heard_by_abc2midi(exported.lines), TICK_TOLERANCE) == "exact"
