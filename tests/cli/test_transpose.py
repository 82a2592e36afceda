"""``tercet transpose``: the file in another key, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.arranging.transposing import transpose_text
from tests.cli.conftest import Ran

Run = Callable[..., Ran]

KETTLE = """\
# In C: G4 is high.
title: "Kettle in C"   # not a key
key: "C"  # as printed
meter: 4/4
form: verse*2

sections:
  verse: |
    # She comes in on G4.
    chords   C/E | Am[2000] | D7[2223]
    melody   E4 G A B | C5:2[alone] B4[1] A[321] | s1f3:2 s2f1 C4:1.0[3]
    melody 2 C5:4   | |
    words    hot wa- ter C | sings A song | of the sea
    words 2  cold | |
    marks    mf@1 | | ,@1

    chords   F
"""


@pytest.fixture
def kettle(tmp_path: Path) -> Path:
    path = tmp_path / "kettle.yaml"
    path.write_text(KETTLE, encoding="utf-8")
    return path


IN_D = """\
# In C: G4 is high.
title: "Kettle in C"   # not a key
key: "D"  # as printed
meter: 4/4
form: verse*2

sections:
  verse: |
    # She comes in on G4.
    chords    D/F#          | Bm                        | E7[4445]          |
    melody    F#4 A B C#5   | D5:2[alone] C#[1] B4[321] | s1f5:2 s2f3 D4[3] |
    melody 2  D5:4          |                           |                   |
    words     hot wa- ter C | sings A song              | of the sea        |
    words 2   cold          |                           |                   |
    marks     mf@1          |                           | ,@1               |

    chords    G |
"""


def test_the_file_is_rewritten(tercet: Run, kettle: Path) -> None:
    ran = tercet("transpose", kettle, "D")
    assert (ran.code, ran.out) == (0, f"{kettle}\n")
    assert ran.err.splitlines() == [
        "from C major to D major, 2 semitones up",
        "these pins don't hold in D major and were dropped: verse, bar 2: the shape Am[2000]",
    ]
    assert kettle.read_text(encoding="utf-8") == IN_D


def test_what_no_string_has_is_told(tercet: Run, kettle: Path) -> None:
    ran = tercet("transpose", kettle, "-7")
    assert "from C major to F major, 7 semitones down" in ran.err
    assert "lies below the lowest string (C4)" in ran.err
    assert "Remedy: move the song (`--transpose" in ran.err


def test_pins_that_no_hand_keeps_there_are_dropped() -> None:
    """Two semitones lower string 2 still has the tune, but the open string 4 would lie above it."""
    text = "title: A\nsections:\n  verse: |\n    chords  C    |\n    melody  G4:4[432] |\n"
    moved = transpose_text(text, -2)
    assert moved.dropped == ("verse, bar 1: the pin [432]",)
    assert moved.text.endswith("    chords  Bb   |\n    melody  F4:4 |\n")
    assert transpose_text(text, 2).text.endswith("    melody  A4:4[432] |\n")
    masked_already = text.replace("G4:4", "F4:4").replace("chords  C ", "chords  Bb")
    assert transpose_text(masked_already, -1).dropped == ()


def test_another_file_and_the_users_own(tercet: Run, kettle: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    ran = tercet("transpose", kettle, "+2", "-o", other)
    assert (ran.code, ran.out) == (0, f"{other}\n")
    assert other.read_text(encoding="utf-8") == IN_D
    assert kettle.read_text(encoding="utf-8") == KETTLE
    other.write_text("mine", encoding="utf-8")
    refused = tercet("transpose", kettle, 2, "-o", other)
    assert (refused.code, other.read_text(encoding="utf-8")) == (1, "mine")
    assert "stays as it is" in refused.err
    assert tercet("transpose", kettle, 2, "-o", other, "--replace").code == 0


def test_sounding_stays(tercet: Run, kettle: Path) -> None:
    kettle.write_text("sounding: -2\n" + KETTLE, encoding="utf-8")
    ran = tercet("transpose", kettle, "2")
    assert "`sounding: -2` stays, and goes from D major" in ran.err
    assert kettle.read_text(encoding="utf-8") == "sounding: -2\n" + IN_D


def test_nothing_to_do(tercet: Run, kettle: Path) -> None:
    ran = tercet("transpose", kettle, "C major")
    assert (ran.code, ran.out, ran.err) == (0, "", "nothing to do: the song is in C major already\n")
    assert kettle.read_text(encoding="utf-8") == KETTLE


@pytest.mark.parametrize(
    ("to", "told"),
    [
        ("F#", "from C major to F# major, 6 semitones up\ndown is as near: that would be -6\n"),
        ("Am", "the song is in C major, and A minor is minor: write A\n"),
        ("99", "a transposition must be -24 to 24 semitones (got 99)\n"),
        ("X", "a key must be a note and major or minor, with at most seven sharps or flats (got X)"),
    ],
)
def test_where_to(tercet: Run, kettle: Path, to: str, told: str) -> None:
    assert told in tercet("transpose", kettle, to).err


@pytest.mark.parametrize(
    ("heading", "moved"),
    [
        ("title: A\n", "title: A\nkey: Eb major\n"),
        (
            "composer: me\nfrom: a\n  long book\n\n# here\ntempo: 90\ntitle: A\n",
            "composer: me\nfrom: a\n  long book\nkey: Eb major\n\n# here\ntempo: 90\ntitle: A\n",
        ),
        ("title: A\nkey: 'Am' # a\n", "title: A\nkey: 'Cm' # a\n"),
        ("title: A\nkey: F♯ minor\n", "title: A\nkey: A minor\n"),
        ("title: A\nkey:   Bb Maj\n", "title: A\nkey:   Db Maj\n"),
    ],
)
def test_the_key_is_said_as_before(heading: str, moved: str) -> None:
    rows = "sections:\n  verse: |\n    chords  C\n    melody  C5:4\n"
    assert transpose_text(heading + rows, 3).text.startswith(moved + "sections:")


def test_windows_files_stay_so() -> None:
    text = transpose_text("\ufeff" + KETTLE.replace("\n", "\r\n"), 2).text
    assert text == IN_D.replace("\n", "\r\n")
