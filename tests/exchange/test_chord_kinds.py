"""Every quality, also one that nobody has added yet, is a chord symbol that says its tones to another reader."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import Element, tostring

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.exchange import harmony
from tercet.exchange.harmony import kind_of, nearest_chord
from tercet.exchange.musicxml.symbols import add_harmony
from tercet.song import ChordSpan
from tercet.theory import Chord
from tercet.theory.chords import QUALITIES, Quality
from tests.exchange.musicxml.oracle import read_by_music21
from tests.exchange.musicxml.scores import note, score, start

NEW = {
    "maj7#11": (0, 4, 7, 11, 18),
    "maj7#5": (0, 4, 8, 11),
    "mmaj9": (0, 3, 7, 11, 14),
    "m13": (0, 3, 7, 10, 14, 21),
    "dimmaj7": (0, 3, 6, 11),
    "13b9": (0, 4, 7, 10, 13, 21),
    "7b5b9": (0, 4, 6, 10, 13),
    "9#5": (0, 4, 8, 10, 14),
    "add11": (0, 4, 7, 17),
    "sus24": (0, 2, 5, 7),
    "m9b5": (0, 3, 6, 10, 14),
    "no3": (0, 7, 10),
}
"""Qualities that Tercet doesn't have."""

READ_DIFFERENTLY = {"7sus4", "9sus4", "no3", "13", "m13"}
"""music21 counts an added seventh as a major one, where the standard counts from a dominant chord; and it counts the
eleventh of a thirteenth in, which players leave out."""

degrees = st.tuples(
    st.sampled_from([(), (2,), (3,), (4,), (5,)]),
    st.sampled_from([(), (6,), (7,), (8,)]),
    st.sampled_from([(), (9,), (10,), (11,)]),
    st.sampled_from([(), (13,), (14,), (15,)]),
    st.sampled_from([(), (17,), (18,)]),
    st.sampled_from([(), (20,), (21,)]),
)
made_up = degrees.map(lambda tones: (0, *(tone for found in tones for tone in found)))


def test_another_reader_hears_the_tones_of_every_quality(tmp_path: Path) -> None:
    import music21

    qualities = [*QUALITIES, *(Quality(name, tones, tones[:3]) for name, tones in NEW.items())]
    measures = []
    for index, quality in enumerate(qualities):
        measure = Element("measure")
        add_harmony(measure, ChordSpan(Fraction(0), Fraction(4), Chord("D", 0, quality)), 0)
        symbol = tostring(measure.find("harmony") or measure, encoding="unicode")
        measures.append((start() if index == 0 else "") + symbol + note("C4", 4))
    path = tmp_path / "chords.musicxml"
    path.write_bytes(score(*measures))
    read = read_by_music21(music21.converter.parse(path, forceSource=True).parts[0]).symbols
    heard = {int(place // 4): tones for place, tones in read}
    assert len(heard) == len(qualities)
    other = {
        quality.name
        for at, quality in enumerate(qualities)
        if heard[at] != {(2 + tone) % 12 for tone in quality.intervals}
    }
    assert other == READ_DIFFERENTLY


@settings(max_examples=200)
@given(made_up)
def test_a_quality_that_nobody_has_added_yet_comes_back(tones: tuple[int, ...]) -> None:
    added = Quality("new", tones, tones[:3])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(harmony, "QUALITIES", (*QUALITIES, added))
        chord, exact = nearest_chord(("E", -1), *kind_of(added))
    assert exact
    assert {tone % 12 for tone in chord.quality.intervals} == {tone % 12 for tone in tones}


def test_the_plainest_of_all_symbols_is_written() -> None:
    assert kind_of(Quality("new", NEW["maj7#11"], ())) == ("major-seventh", (("add", 11, 1),))
    assert kind_of(Quality("new", NEW["m9b5"], ())) == ("half-diminished", (("add", 9, 0),))
    assert kind_of(Quality("new", (0, 4, 6, 10), ())) == ("dominant", (("alter", 5, -1),))
    assert kind_of(Quality("new", (0, 4, 10), ())) == ("dominant", (("subtract", 5, 0),))
