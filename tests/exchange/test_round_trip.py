"""Import of our export is the same song: on made-up songs, in every format that can be read back.

What the formats can't tell stands in docs/exchange.md; all else must come back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import mido
import pytest
from hypothesis import assume, given, settings

from tercet.arrange import arrange, song_tuning
from tercet.exchange.abc_in import read_abc
from tercet.exchange.abc_out import abc_bytes
from tercet.exchange.imported_text import imported_text
from tercet.exchange.leadsheet import LeadSheet
from tercet.exchange.midi_in import read_midi
from tercet.exchange.midi_plain import plain_midi_bytes
from tercet.exchange.musicxml_in import read_musicxml
from tercet.exchange.musicxml_out import musicxml_bytes
from tercet.song import Song, played_bars, read_song
from tercet.song.settings import SETTINGS
from tercet.theory import parse_chord, tuning_of
from tests.strategies import songs

SONGS = sorted(Path("songs").glob("*.yaml"))


@dataclass(frozen=True)
class Music:
    """What is played: notes with ties joined, chords where they change, syllables, all by place in the piece."""

    notes: list[tuple[Fraction, Fraction, int]]
    chords: list[tuple[Fraction, str]]
    words: list[tuple[Fraction, str, bool]]


def music(song: Song) -> Music:
    notes: list[tuple[Fraction, Fraction, int]] = []
    chords: list[tuple[Fraction, str]] = []
    words: list[tuple[Fraction, str, bool]] = []
    strings = tuning_of(song.tuning)
    tied = False
    for bar in played_bars(song):
        for note in bar.melody:
            start = bar.start_beat + note.start_beat
            if note.is_rest:
                tied = False
                continue
            midi = note.pitch.midi if note.pitch else strings.midi(*(note.position or (1, 0)))
            if tied and notes and notes[-1][2] == midi:
                notes[-1] = (notes[-1][0], notes[-1][1] + note.length_beat, midi)
            else:
                notes.append((start, note.length_beat, midi))
            tied = note.tied_on
        for span in bar.chords:
            name = str(span.chord or "N.C.")
            if not chords or chords[-1][1] != name:
                chords.append((bar.start_beat + span.start_beat, name))
        words += [
            (bar.start_beat + place, syllable.text, syllable.joined)
            for place, syllable in bar.words
            if not syllable.holds
        ]
    return Music(notes, chords, words)


def heading(song: Song) -> dict[str, object]:
    names = [setting.name for setting in SETTINGS if setting.name not in ("form", "sound", "tracks")]
    return {setting.name: setting.write(song) for setting in SETTINGS if setting.name in names}


def again(sheet: LeadSheet) -> Song:
    return imported_text(sheet, "again")[1]


def musicxml(song: Song) -> LeadSheet:
    return read_musicxml(musicxml_bytes(arrange(song, song_tuning(song)))[0], "again")


def abc(song: Song) -> LeadSheet:
    return read_abc(abc_bytes(song)[0], "again")


@given(songs())
@settings(max_examples=15)
@pytest.mark.parametrize("through", [musicxml, abc])
def test_made_up_songs_come_back(through: Callable[[Song], LeadSheet], song: Song) -> None:
    before = music(song)
    assume(before.notes)
    back = again(through(song))
    assert heading(back) == heading(song)
    assert music(back) == before


@given(songs())
@settings(max_examples=25)
def test_tune_and_chords_come_back_through_plain_midi(song: Song) -> None:
    before = music(song)
    assume(before.notes)
    file = mido.MidiFile(file=BytesIO(plain_midi_bytes(song)))
    quarter = Fraction(4, song.meter.lower)
    heard = list(_notes(file.tracks[1], file.ticks_per_beat))
    assert heard == [(start * quarter, length * quarter, midi) for start, length, midi in before.notes]
    classes: dict[Fraction, set[int]] = {}
    for start, _, midi in _notes(file.tracks[2], file.ticks_per_beat):
        classes.setdefault(start, set()).add(midi % 12)
    named = {
        start * quarter: set(parse_chord(name).pitch_classes)
        for start, name in before.chords
        if name != "N.C."
    }
    assert classes == named


def _notes(track: mido.MidiTrack, ticks: int) -> Iterator[tuple[Fraction, Fraction, int]]:
    now, sounding, found = 0, dict[int, int](), list[tuple[Fraction, Fraction, int]]()
    for message in track:
        now += message.time
        if message.type == "note_on" and message.velocity:
            sounding[message.note] = now
        elif message.type in ("note_on", "note_off"):
            start = sounding.pop(message.note)
            found.append((Fraction(start, ticks), Fraction(now - start, ticks), message.note))
    yield from sorted(found)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_come_back_through_plain_midi(path: Path) -> None:
    song = read_song(path)
    back = again(read_midi(plain_midi_bytes(song), path.name))
    assert (back.title, back.key, back.meter, back.tempo) == (song.title, song.key, song.meter, song.tempo)
    assert music(back) == music(song)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_come_back_through_abc(path: Path) -> None:
    song = read_song(path)
    back = again(abc(song))
    assert heading(back) == heading(song)
    assert music(back) == music(song)
    assert [bar.marks for bar in played_bars(back)] == [bar.marks for bar in played_bars(song)]


def test_a_wrong_note_chord_or_word_would_be_seen() -> None:
    song = read_song(SONGS[0])
    data = abc_bytes(song)[0]
    for before, after in ((b"G2 B", b"A2 B"), (b'"Gm"', b'"G"'), (b"Rise,", b"Fall,")):
        assert before in data
        wrong = again(read_abc(data.replace(before, after, 1), "again"))
        assert music(wrong) != music(song)
