"""Import of our export is the same song: on made-up songs, in every format that can be read back.

What the formats can't tell stands in docs/exchange.md; all else must come back.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import mido
import pytest
from hypothesis import assume, given, settings

from tercet.arranging import arrange, song_tuning
from tercet.exchange import LeadSheet, imported_text
from tercet.exchange.abc import abc_bytes, read_abc
from tercet.exchange.midi import plain_midi_bytes
from tercet.exchange.midi.reader import read_midi
from tercet.exchange.musicxml import musicxml_bytes, read_musicxml
from tercet.performing import lay_out, perform
from tercet.performing.midi import midi_bytes
from tercet.song import Song, played_bars, read_song
from tercet.song.reader import parse_song
from tercet.song.settings import SETTINGS
from tercet.song.writer import write_song
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


MADE_PLAIN = ("form", "intro", "turnaround", "ending")
"""Settings whose bars come back written out."""


def heading(song: Song) -> dict[str, object]:
    names = [setting.name for setting in SETTINGS if setting.name not in (*MADE_PLAIN, "sound", "tracks")]
    return {setting.name: setting.write(song) for setting in SETTINGS if setting.name in names}


def dropping(facts: dict[str, object], names: Collection[str]) -> dict[str, object]:
    return {name: fact for name, fact in facts.items() if name not in names}


def again(sheet: LeadSheet) -> Song:
    return imported_text(sheet, "again")[1]


def musicxml(song: Song) -> LeadSheet:
    """Return what is read of an export at the written pitches: no note moved to where a string has it."""
    written = replace(song, as_written=True)
    return read_musicxml(musicxml_bytes(arrange(written, song_tuning(song)))[0], "again")


def abc(song: Song) -> LeadSheet:
    return read_abc(abc_bytes(song)[0], "again")


@given(songs())
@settings(max_examples=15)
@pytest.mark.parametrize("through", [musicxml, abc])
def test_made_up_songs_come_back(through: Callable[[Song], LeadSheet], song: Song) -> None:
    before = music(song)
    assume(before.notes)
    _, back, remarks = imported_text(through(song), "again")
    lost = {"style"} if "`style` in the file doesn't fit this song and is left out" in remarks else set()
    assert dropping(heading(back), lost) == dropping(heading(song), lost)
    assert music(back) == before


@pytest.mark.parametrize("text", ["|", ":", "||:", "%|"])
def test_texts_that_look_like_bar_lines_come_back_through_abc(text: str) -> None:
    song = replace(read_song(SONGS[0]), title=text, composer=text, source_note=text, licence=text)
    assert heading(again(abc(song))) == heading(song)


def plain_midi(song: Song) -> LeadSheet:
    return read_midi(plain_midi_bytes(song)[0], "again")


ADDED = {
    "3/4, with a pick-up": """title: One
key: F major
meter: 3/4
form: verse*2 chorus verse
sections:
  verse: |
    chords              | F       | Gm:2 C7:1 | F    | F     |
    chords 3            |         | Bb        |      |       |
    melody    C4        | F4 A F  | G4:2 Bb   | A4:3 | =:2 . |
    words     Oh        | one two three | four five | six |  |
  chorus: |
    chords   Bb         | C7
    melody   D5:2 Bb4   | G4:2 .
""",
    "6/8": """title: Two
key: G major
meter: 6/8
form: verse chorus verse
sections:
  verse: |
    chords   G              | Am D7     | G     | G
    melody   B4:2 A G:3     | A4:3 F#:3 | G4:6  | =:6
  chorus: |
    chords   C              | D7
    melody   C5:3 E:3       | D5:6
""",
}


@pytest.mark.parametrize("text", ADDED.values(), ids=list(ADDED))
@pytest.mark.parametrize("through", [musicxml, abc, plain_midi])
@pytest.mark.parametrize("head", ["intro: 2\n", "ending: tag\n", "intro: 3\nturnaround: 1\nending: tag 2\n"])
def test_added_bars_come_back_written_out(through: Callable[[Song], LeadSheet], text: str, head: str) -> None:
    """As sections of their own, each bar under its number; a tie into a tag is gone, and no file has another."""
    song = parse_song(head + text)
    back = again(through(song))
    assert (back.intro_bars, back.turnaround_bars, back.tag_bars) == (0, 0, None)
    assert music(back) == music(song)
    added = ("intro", "turnaround", "tag")
    named = [
        [(bar.number, bar.section in added and bar.section, bar.start_beat) for bar in played_bars(each)]
        for each in (back, song)
    ]
    assert named[0] == named[1]


@given(songs())
@settings(max_examples=25)
def test_tune_and_chords_come_back_through_plain_midi(song: Song) -> None:
    before = music(song)
    assume(before.notes)
    file = mido.MidiFile(file=BytesIO(plain_midi_bytes(song)[0]))
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
    back = again(read_midi(plain_midi_bytes(song)[0], path.name))
    assert (back.title, back.key, back.meter, back.tempo) == (song.title, song.key, song.meter, song.tempo)
    assert music(back) == music(song)


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_our_songs_come_back_through_abc(path: Path) -> None:
    song = read_song(path)
    back = again(abc(song))
    assert heading(back) == heading(song)
    assert music(back) == music(song)
    assert [bar.marks for bar in played_bars(back)] == [bar.marks for bar in played_bars(song)]


LOWER = (1, 2, 4, 8, 16, 32)


def in_meter(upper: int, lower: int, tempo: str, pickup: str = "") -> Song:
    """Return a short song in a meter, with a pick-up if one is given."""
    opening = " | " if pickup else ""
    bar = " ".join(["C4", "D", "E", "F"][index % 4] for index in range(upper))
    return parse_song(
        f"title: Any Meter\nkey: C major\nmeter: {upper}/{lower}\ntempo: {tempo}\nsections:\n  tune: |\n"
        f"    chords  {opening}C | G7 | C\n    melody  {pickup}{opening}{bar} | {bar} | C4:{upper}\n"
    )


@pytest.mark.parametrize("lower", LOWER)
@pytest.mark.parametrize("tempo", ["20", "92.5", "400"])
@pytest.mark.parametrize("pickup", ["", "G4:1/3", "G4:1/2", "G4:2/5 A:1/5"])
def test_every_meter_and_tempo_comes_back_through_plain_midi(lower: int, tempo: str, pickup: str) -> None:
    for upper in range(1, 17):
        song = in_meter(upper, lower, tempo, pickup)
        data, remarks = plain_midi_bytes(song)
        back = again(read_midi(data, "again"))
        slow = any("a tempo this slow" in remark for remark in remarks)
        assert slow == (lower == 32 and tempo == "20" and song.meter.pulse_beat == 1)
        if upper > 1:
            assert back.meter.lower == (16 if slow else lower)
            assert back.meter.upper == upper
            assert back.tempo == song.tempo
            assert music(back) == music(song)


@pytest.mark.parametrize("lower", LOWER)
@pytest.mark.parametrize("upper", [1, 4, 7, 12, 16])
def test_every_meter_and_tempo_is_performed_as_midi(upper: int, lower: int) -> None:
    for tempo in ("20", "400"):
        song = in_meter(upper, lower, tempo, "G4:1/3")
        arrangement = arrange(song, song_tuning(song))
        take = perform(arrangement, lay_out(arrangement, count_in_bars=1))
        file = mido.MidiFile(file=BytesIO(midi_bytes(arrangement, take)))
        assert file.length == pytest.approx(take.length_s, abs=0.01)


@pytest.mark.parametrize("through", [musicxml, abc])
@pytest.mark.parametrize(
    "form", ["verse*99 chorus verse", "verse*120 chorus verse*3", "verse chorus*101 verse*99"]
)
def test_long_forms_come_back(through: Callable[[Song], LeadSheet], form: str) -> None:
    text = (
        "title: Round and Round\nkey: G major\nmeter: 3/4\ntempo: 99\nform: FORM\nsections:\n  verse: |\n"
        "    chords        | G | C | G\n    melody  D4:1 | G4 A B | C5:2 G4 | G4:2 .\n"
        "    words   the | hills go on | and on | on\n    melody 2  | B4 A G |  |\n"
        "    words last  | hills stand still | |\n"
        "  chorus: |\n    chords  D7 | G\n    melody  D4:3 | G4:3\n"
    )
    parts = [part.partition("*") for part in form.split()]
    names = [name for name, _, times in parts for _ in range(int(times or 1))]
    song = parse_song(text.replace("FORM", "\n  " + "\n  ".join(names)))
    back = again(through(song))
    assert music(back) == music(song)


def test_a_form_of_long_names_comes_back() -> None:
    sections = "".join(
        f"  {name}: |\n    chords  C\n    melody  {note}4:4\n"
        for name, note in (("verse-of-the-long-road", "C"), ("chorus-of-the-long-road", "E"))
    )
    names = ["verse-of-the-long-road chorus-of-the-long-road"] * 100
    form = "\n  ".join(names)
    song = parse_song(
        f"title: Long\nkey: C major\nmeter: 4/4\ntempo: 99\nform:\n  {form}\nsections:\n{sections}"
    )
    back = again(musicxml(song))
    assert back.form == song.form
    assert max(map(len, write_song(back).splitlines())) < 200


def test_lines_that_would_grow_too_long_are_divided() -> None:
    bars = " | ".join(["C4:1/4[1] D:1/4[1] E:1/4[1] F:1/4[1] C4:1/4 D:1/4 E:1/4 F:1/4"] * 24)
    chords = " | ".join(["Am[2000]:1 F[2010]:1"] * 24)
    song = parse_song(
        "title: Wide\nkey: C major\nmeter: 2/4\ntempo: 60\nform: tune*20\nsections:\n  tune: |\n"
        f"    chords  {chords}\n    melody  {bars}\n"
    )
    back = again(musicxml(song))
    assert music(back) == music(song)


def test_a_wrong_note_chord_or_word_would_be_seen() -> None:
    song = read_song(SONGS[0])
    data = abc_bytes(song)[0]
    for before, after in ((b"G2 B", b"A2 B"), (b'"Gm"', b'"G"'), (b"Rise,", b"Fall,")):
        assert before in data
        wrong = again(read_abc(data.replace(before, after, 1), "again"))
        assert music(wrong) != music(song)
