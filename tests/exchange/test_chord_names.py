"""Chord names from outside: what they say, what a song makes of them, and two tables of others held against ours."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.exchange.chord_names import read_chord_name
from tercet.theory.chords import ChordNameError
from tests.exchange.chord_tables import music21_names, pychord_names, pychord_source

LEAST_THE_SAME = 0.95

READ_OTHERWISE = {"ob9": {0, 1, 3, 6}, "dimb9": {0, 1, 3, 6}}
"""music21 counts in a diminished seventh, which the names don't say: a diminished triad with a flat ninth here."""


def tones_or_none(name: str) -> set[int] | None:
    try:
        return set(read_chord_name(name).tones)
    except ChordNameError:
        return None


def needs(table: str) -> None:
    if table == "pychord" and not pychord_source().exists():
        pytest.skip("the source of pychord is missing: `make setup` fetches it")


@pytest.mark.parametrize(
    ("table", "names", "least"), [("pychord", pychord_names, 60), ("music21", music21_names, 1500)]
)
def test_names_of_others_say_the_same_tones(
    table: str, names: Callable[[], Iterator[tuple[str, set[int]]]], least: int
) -> None:
    needs(table)
    known = list(names())
    different = {name: tones_or_none(name) for name, tones in known if tones_or_none(name) != tones}
    assert len(known) >= least
    assert len(different) <= (1 - LEAST_THE_SAME) * len(known), different
    for name, ours in different.items():
        if name.startswith("C") and name[1] not in "#b":
            assert ours == READ_OTHERWISE[name[1:]]


def test_a_wrong_reading_would_be_seen() -> None:
    assert tones_or_none("Cm7") != {0, 4, 7, 10}
    assert dict(music21_names())["Gbmin7"] == {6, 9, 1, 4}


@pytest.mark.parametrize(
    ("name", "chord", "exact"),
    [
        ("Abb7", "G7", True), ("C##m", "Dm", True), ("C/B#", "C/B#", True), ("Csus24", "Csus2", False),
        ("C7alt", "C7#5", False), ("Cm7add11", "Cm7", False), ("C13", "C13", True), ("Cmaj13", "Cmaj9", False),
        ("C(no3)", "C5", True), ("C7(b9, #11)", "C7b5", False), ("Dm(maj7)", "Dmmaj7", True), ("C dom7", "C7", True),
        ("CN6", "C7b5", False), ("F#°7/E", "F#dim7/E", True), ("Gaug7", "G7#5", True), ("E-7", "Em7", True),
    ],
)  # fmt: skip
def test_what_a_song_makes_of_a_name(name: str, chord: str, exact: bool) -> None:
    read = read_chord_name(name)
    assert (str(read.chord), read.exact) == (chord, exact)
    assert (read.tones == read.chord.pitch_classes) == (exact and name != "C13")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "H7",
        "D.C.",
        "Fine",
        "Coda",
        "Ad lib.",
        "A part",
        "Bridge",
        "Do you",
        "A###",
        "C//",
        "x",
        "C" + "7" * 40,
    ],
)
def test_words_are_no_chords(text: str) -> None:
    with pytest.raises(ChordNameError):
        read_chord_name(text)


@given(st.text(alphabet="ABCDEFGabcdefg#b♭♯°øΔ+−-/()0123456789majdinsuoMt ", max_size=14))
def test_any_text_is_a_chord_or_an_error(text: str) -> None:
    try:
        read = read_chord_name(text)
    except ChordNameError:
        return
    assert read.tones
    assert read_chord_name(str(read.chord)).exact
