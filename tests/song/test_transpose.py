"""Another key, another tuning: notes and chords move, fingerings are dropped and listed."""

from __future__ import annotations

import pytest

from tercet.errors import RequestError
from tercet.song import Song, drop_pins, move_to, parse_song, transpose_song


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
        ("C major", -1, "B major", "B D#m/A# Fdim B3 E#4 G4 A#4"),
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


PINNED = song(
    "chords | Am[2000] | D[x.10.10.12/x112] | N.C.\nmelody E4[alone] | A4:4[321] | s1f2:2[21] s2f0:2 | A4:3 .\n"
    "melody 2 | | | s4f0:3[roll] .",
    "key: A minor\nform: verse*2",
)


def fingered(song: Song) -> str:
    rows = [row for line in song.sections[0].lines for row in line.rows]
    items = [item for row in rows for bar in (row.pickup, *row.bars) for item in bar or ()]
    return " ".join(
        f"{getattr(item, 'shape', None) or getattr(item, 'position', None) or '-'}"
        f"{getattr(item, 'fingers', None) or ''}"
        f"{pin.strings or pin.action if (pin := getattr(item, 'pin', None)) else ''}"
        for item in items
    )


def test_in_another_tuning_fingerings_are_dropped_and_listed() -> None:
    plain, dropped = drop_pins(PINNED)
    assert dropped == (
        "verse, bar 1: the shape Am[2000]",
        "verse, bar 2: the shape D[x.10.10.12/x112]",
        "verse, pick-up: the pin [alone]",
        "verse, bar 1: the pin [321]",
        "verse, bar 2: the position s1f2 and the pin [21]",
        "verse, bar 2: the position s2f0",
        "verse, pass 2, bar 3: the position s4f0 and the pin [roll]",
    )
    assert spelt(plain) == "Am D None A4 B4 E4 A4 None G4 None"
    assert drop_pins(plain) == (plain, ())


def test_fingerings_that_hold_move_along() -> None:
    moved, dropped = transpose_song(PINNED, -2)
    assert dropped == (
        "verse, bar 1: the shape Am[2000]",
        "verse, bar 1: the pin [321]",
        "verse, bar 2: the position s2f0",
        "verse, pass 2, bar 3: the position s4f0",
    )
    assert spelt(moved) == "Gm C None G4 None D4 G4 None F4 None"
    assert fingered(moved) == "- (None, 8, 8, 10)(0, 1, 1, 2) - -alone - (1, 0)(2, 1) - - - -roll -"
    again, nothing = transpose_song(moved, 2)
    assert nothing == ()
    assert spelt(again) == "Am D None A4 None E4 A4 None G4 None"
    assert fingered(again) == "- (None, 10, 10, 12)(0, 1, 1, 2) - -alone - (1, 2)(2, 1) - - - -roll -"


@pytest.mark.parametrize(
    ("semitones", "expected"),
    [
        (13, "(15, 14, 14, 14) -(1,) (2, 15)(3, 2) -(1,)"),  # the last fret of strings 2 and 1
        (14, "- -(1,) - -(1,)"),
        (-1, "(1, 0, 0, 0) - (2, 1)(3, 2) -(1,)"),
    ],
)
def test_how_far_fingerings_hold(semitones: int, expected: str) -> None:
    """Fret 0 is the open string: a note may be there, a finger of a shape may not."""
    written = song("chords D7[2111]\nmelody A4[1] s2f2:2[32] Bb4[1]")
    expected = expected.replace("(1, 0, 0, 0)", "-")
    assert fingered(transpose_song(written, semitones)[0]) == expected


def test_another_name_for_the_same_key() -> None:
    written = song("chords Gb[1111]\nmelody Gb4:2[32] Cb5:2", "key: Gb major")
    moved, dropped = transpose_song(written, *move_to(written, "F#"))
    assert (str(moved.key), spelt(moved), dropped) == ("F# major", "F# F#4 B4", ())
    assert fingered(moved) == fingered(written)


@pytest.mark.parametrize(
    ("key", "to", "expected"),
    [
        ("C major", "Bb", (-2, "Bb major")),
        ("C major", "F#", (6, "F# major")),
        ("C major", "+3", (3, "Eb major")),
        ("A minor", "-2", (-2, "G minor")),
        ("A minor", "F# minor", (-3, "F# minor")),
        ("A minor", "Dm", (5, "D minor")),
        ("Eb major", "Eb", (0, "Eb major")),
        ("F# major", "0", (0, "F# major")),
    ],
)
def test_the_nearest_way_to_a_key(key: str, to: str, expected: tuple[int, str]) -> None:
    semitones, new = move_to(song("chords C", f"key: {key}"), to)
    assert (semitones, str(new)) == expected


@pytest.mark.parametrize(
    ("to", "message"),
    [
        ("Bbm", "the song is in C major, and Bb minor is minor: write Bb"),
        (
            "Quark",
            r"a key must be a note and major or minor, with at most seven sharps or flats \(got Quark\)",
        ),
        (" ", "name a key such as Bb or F# minor, or say how many semitones, such as 3 or -2"),
    ],
)
def test_keys_that_are_refused(to: str, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        move_to(song("chords C"), to)


def test_a_leading_note_comes_back_from_a_key_that_can_not_spell_it() -> None:
    written = song("chords Am E7\nmelody A4 G# D# E", "key: A minor")
    moved, _ = transpose_song(written, -1)
    assert spelt(moved) == "G#m D#7 G#4 G4 D4 D#4"
    assert spelt(transpose_song(moved, 1)[0]) == spelt(written)


def test_second_lines_count_on() -> None:
    _, dropped = drop_pins(song("chords C | C\n\nchords C | C\nmelody A4:4 | A4:4[1]"))
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
