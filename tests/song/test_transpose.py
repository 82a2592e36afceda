"""Another key, another tuning: notes and chords move, fingerings are dropped and listed."""

from __future__ import annotations

import pytest

from tercet.errors import RequestError
from tercet.song import Song, drop_pins, parse_song, transpose_song


def song(rows: str, settings: str = "") -> Song:
    block = "\n".join(f"    {row}" for row in rows.splitlines())
    return parse_song(f"title: One\n{settings}\nsections:\n  verse: |\n{block}\n")


def spelt(song: Song) -> str:
    rows = [row for line in song.sections[0].lines for row in line.rows]
    items = [item for row in rows for bar in row.bars for item in bar or ()]
    return " ".join(str(getattr(item, "chord", None) or getattr(item, "pitch", None)) for item in items)


@pytest.mark.parametrize(
    ("key", "semitones", "new_key", "expected"),
    [
        ("C major", 2, "D major", "D F#m/C# G#dim D4 G#4 Bb4 C#5"),
        ("C major", 3, "Eb major", "Eb Gm/D Adim Eb4 A4 Cb5 D5"),
        ("C major", -1, "B major", "B D#m/A# E#dim B3 E#4 G4 A#4"),
        ("C major", 6, "Gb major", "Gb Bbm/F Cdim Gb4 C5 D5 F5"),
        ("C major", 12, "C major", "C Em/B F#dim C5 F#5 Ab5 B5"),
        ("C major", 1, "Db major", "Db Fm/C Gdim Db4 G4 A4 C5"),
        ("A minor", 2, "B minor", "D F#m/C# G#dim D4 G#4 Bb4 C#5"),
    ],
)
def test_spelling_keeps_the_place_in_the_key(key: str, semitones: int, new_key: str, expected: str) -> None:
    written = song("chords C Em/B | F#dim\nmelody C4:2 F#:2 | Ab4:2 B:2", f"key: {key}")
    moved, dropped = transpose_song(written, semitones)
    assert str(moved.key) == new_key
    assert spelt(moved) == expected
    assert dropped == ()


def test_nothing_to_do() -> None:
    pinned = song("chords Am[2000]\nmelody A4:4[321]")
    assert transpose_song(pinned, 0) == (pinned, ())


def test_fingerings_are_dropped_and_listed() -> None:
    pinned = song(
        "chords | Am[2000] | D[x.10.10.12] | N.C.\nmelody E4[alone] | A4:4[321] | s1f2:2[21] s2f0:2 | A4:3 .\n"
        "melody 2 | | | s4f0:3[roll] .",
        "key: A minor\nform: verse*2",
    )
    moved, dropped = transpose_song(pinned, -2)
    assert dropped == (
        "verse, bar 1: the shape Am[2000]",
        "verse, bar 2: the shape D[x.10.10.12]",
        "verse, pick-up: the pin [alone]",
        "verse, bar 1: the pin [321]",
        "verse, bar 2: the position s1f2 and the pin [21]",
        "verse, bar 2: the position s2f0",
        "verse, pass 2, bar 3: the position s4f0 and the pin [roll]",
    )
    assert spelt(moved) == "Gm C None G4 A4 D4 G4 None F4 None"
    again, nothing = transpose_song(moved, 2)
    assert nothing == ()
    assert spelt(again) == "Am D None A4 B4 E4 A4 None G4 None"
    plain, same = drop_pins(pinned)
    assert same == dropped
    assert plain == again
    assert drop_pins(plain) == (plain, ())


def test_second_lines_count_on() -> None:
    _, dropped = drop_pins(song("chords C | C\n\nmelody A4:4 | A4:4[1]"))
    assert dropped == ("verse, bar 4: the pin [1]",)


def test_positions_sound_in_the_songs_own_tuning() -> None:
    for tuning, expected in (
        ("high-g", "G4"),
        ("low-g", "G3"),
        ("baritone", "D3"),
        ("[C3, C4, E4, A4]", "C3"),
    ):
        plain, _ = drop_pins(song("chords N.C.\nmelody s4f0:4", f"tuning: {tuning}"))
        assert spelt(plain) == f"None {expected}"


@pytest.mark.parametrize(
    ("semitones", "message"),
    [
        (25, r"a transposition must be -24 to 24 semitones \(got 25\)"),
        (-30, r"must be -24 to 24 semitones \(got -30\)"),
        (24, "transposed by 24 semitones, a note leaves the range of pitches"),
    ],
)
def test_out_of_range(semitones: int, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        transpose_song(song("chords C\nmelody G9:4"), semitones)


def test_double_accidentals_are_spelt_plainly() -> None:
    moved, _ = transpose_song(song("chords Abm\nmelody Fb4:2 A##4:2", "key: C major"), -1)
    assert spelt(moved) == "Gm Eb4 A#4"
