"""ChordPro of ours read back is the same song: words, chords, bars, title, key, tempo, form; the tune is rests."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from pathlib import Path

import pytest
from hypothesis import given, settings

from tercet.arranging import arrange, song_tuning
from tercet.exchange import imported_text
from tercet.exchange.chordpro import chordpro_bytes, read_chordpro
from tercet.song import Bar, Song, played_bars, played_visits, read_song
from tercet.song.reader import parse_song
from tests.strategies import songs

SONGS = sorted(Path("songs").glob("*.yaml"))


@dataclass(frozen=True)
class Sung:
    """What the file can say of a song: its head, the bars of each section, chords by place, words by bar."""

    head: tuple[object, ...]
    form: list[tuple[str, int, Fraction]]
    chords: list[tuple[Fraction, str]]
    words: list[list[str]]


def sung(song: Song) -> Sung:
    bars = played_bars(song)
    visits = played_visits(bars)
    chords = [
        (bar.start_beat + span.start_beat, str(span.chord or "N.C.")) for bar in bars for span in bar.chords
    ]
    changes = [next(run) for _, run in groupby(chords, key=lambda chord: chord[1])]
    measures = [measure for visit in visits for measure in visit.measures]
    return Sung(
        (song.title, song.composer, song.source_note, song.licence, song.key, song.meter, song.tempo),
        [
            (visit.section, len(visit.measures), visit.pickup.length_beat if visit.pickup else Fraction(0))
            for visit in visits
        ],
        changes,
        in_words([words_in(measure.bar, measure.low_beat, measure.high_beat) for measure in measures]),
    )


def words_in(bar: Bar, low: Fraction, high: Fraction) -> list[tuple[str, bool]]:
    return [
        (syllable.text, syllable.joined)
        for place, syllable in bar.words
        if low <= place < high and not syllable.holds
    ]


def in_words(bars: list[list[tuple[str, bool]]]) -> list[list[str]]:
    """Return the words of each bar; the pieces of a word that goes on over a bar line stand where they are sung."""
    found = []
    for bar in bars:
        text = "".join(text + ("" if joined else " ") for text, joined in bar)
        found.append(text.replace("‿", " ").split())
    return found


def back(song: Song) -> Song:
    data, _ = chordpro_bytes(arrange(song, song_tuning(song)))
    text, again, _ = imported_text(read_chordpro(data, "again"), "again")
    assert parse_song(text) == again
    return again


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_come_back(path: Path) -> None:
    song = read_song(path)
    assert sung(back(song)) == sung(song)


@given(songs())
@settings(max_examples=12, deadline=None)
def test_made_up_songs_come_back(song: Song) -> None:
    assert sung(back(song)) == sung(song)
