"""``tercet pin``, and ``check`` with its report and tab."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings

from tercet.arranging import Arrangement, arrange, pinning
from tercet.arranging.pinning import PinnedSong, changed_bars, note_pins, pin_song, shape_pins
from tercet.arranging.tab import tab_text
from tercet.errors import RequestError, SongError
from tercet.song import Song, parse_song, read_song, write_song
from tercet.song.chord_shapes import WrittenShape
from tests.arranging.strategies import songs
from tests.cli.conftest import Ran

Run = Callable[..., Ran]
SONGS = sorted((Path(__file__).parents[2] / "songs").glob("*.yaml"))

TWO_HANDS = """\
title: Two hands
meter: 4/4
tempo: 60
strum: . . d x
form: verse*2
sections:
  verse: |
    chords  C[0003]       | F[2010]
    melody  C5:4[4321]    | A4[4321] A[1] F[2] .

    chords  C[0003]
    melody  E4[432] C5:3[1]
"""

CHECKED = """\
SONG: Two hands, no mistakes
  C major, 4/4, high-g, 6 bars: verse verse
  6 rolls, 6 single notes, 10 strums
  verse, line 1, bars 1 to 2: 2 rolls, 2 single notes, 3 strums
      1  0003 (0003) [4321] d x
      2  2010 (2010) [4321] [1] [2] x
  verse, line 2, bar 3: 1 roll, 1 single note, 2 strums
      3  0003 (0003) [432] [1] d x
  hard places
    widest stretch  20 mm, 2010: bar 2 (verse)
    fastest change  2 fingers in 2.00 s, 0003 to 2010: bar 2 (verse)
    highest fret    3 on string 1: bar 1 (verse)
    masked          E4 [432]: bars 3 (verse), 6 (verse)
    hardest bars    3 (verse, 1.4), 2 (verse, 0.8), 1 (verse, 0.1)
    in all          67% of the rolls bring the tune out; 2 shapes; the hand moves 0.00 frets a bar
  bar 3 (line 12, verse): the roll to E4 is masked: another string of it sounds higher than the tune
      remedy: start the roll on string 3 or 2, or pin it [alone]
"""

TWO_CHORDS = """\
title: Twice
meter: 3/4
strum: . . d
form: verse*2
sections:
  verse: |
    chords    C    | C
    chords 2  F    |
    melody    C5:3 | C5:3
"""


def played(arrangement: Arrangement) -> list[object]:
    """Return all that is heard: when, which strings and frets, in which order and by which stroke."""
    return [
        (gesture.start_beat, gesture.length_beat, gesture.layer, gesture.action, gesture.up, gesture.notes)
        for gesture in arrangement.gestures
    ]


# ---- the same again


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_a_pinned_song_is_played_in_the_same_way(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    pinned = pin_song(text, path.name)
    assert pinned.changed == ()
    assert pinned.unpinned == 0
    assert pinned.pins > 0
    assert played(arrange(parse_song(pinned.text))) == played(arrange(parse_song(text)))
    comments = [line.strip() for line in text.splitlines() if line.strip().startswith("#")]
    assert [line.strip() for line in pinned.text.splitlines() if line.strip().startswith("#")] == comments


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_pinning_again_changes_nothing(path: Path) -> None:
    once = pin_song(path.read_text(encoding="utf-8"), path.name)
    again = pin_song(once.text, path.name)
    assert (again.pins, again.shapes, again.text) == (0, 0, once.text)


@settings(max_examples=30)
@given(songs())
def test_a_pinned_random_song_is_played_in_the_same_way(song: Song) -> None:
    try:
        text = write_song(song)
        before = arrange(parse_song(text))
    except SongError:
        return
    pinned = pin_song(text)
    assert changed_bars(before, arrange(parse_song(pinned.text))) == pinned.changed == ()


def test_passes_with_chords_of_their_own_get_shapes_of_their_own() -> None:
    pinned = pin_song(TWO_CHORDS.replace("C5:3 |", "A4:3 |"))
    assert pinned.text.splitlines()[6:] == [
        "    chords    C            | C          |",
        "    chords 2  F[2010/2010] |            |",
        "    melody    A4:3[4321]   | C5:3[4321] |",
    ]


def test_a_note_that_passes_play_differently_stays_free() -> None:
    text = TWO_CHORDS.replace("chords 2  F ", "chords 2  C:1 F:2 ").replace("C5:3 |", "C5 A4 G4 |")
    before = arrange(parse_song(text))
    played_a4 = [
        (gesture.pass_number, gesture.action) for gesture in before.gestures if gesture.bar_beat == 1
    ]
    assert played_a4 == [(1, "single"), (2, "roll")]
    pins, unpinned = note_pins(before)
    assert unpinned == 1
    assert all(pin.strings for pin in pins.values())
    pinned = pin_song(text)
    assert " A4 " in pinned.text
    assert played(arrange(parse_song(pinned.text))) == played(before)


def test_a_chord_gets_its_shape_only_where_the_hand_never_changes() -> None:
    still = arrange(parse_song(TWO_CHORDS.replace("    chords 2  F    |\n", "")))
    assert list(shape_pins(still).values()) == [WrittenShape((0, 0, 0, 3), (0, 0, 0, 3))] * 2
    moving = TWO_CHORDS.replace("    chords 2  F    |\n", "").replace("| C5:3", "| C5 A4 G4")
    assert shape_pins(arrange(parse_song(moving))) == {}


def test_what_the_song_pins_itself_stays() -> None:
    text = TWO_CHORDS.replace("C5:3 | C5:3", "C5:3[321] | C5:3[roll]").replace("C    | C", "C[0003] | C")
    pinned = pin_song(text)
    assert "C5:3[321]" in pinned.text
    assert "[roll]" not in pinned.text
    assert pinned.pins == 1


def test_a_shape_that_would_change_what_is_played_is_taken_back(monkeypatch: pytest.MonkeyPatch) -> None:
    text = SONGS[0].read_text(encoding="utf-8")
    right = shape_pins(arrange(parse_song(text)))
    wrong = dict.fromkeys(right, WrittenShape((0, 0, 0, 3)))
    monkeypatch.setattr(pinning, "shape_pins", lambda _arrangement: wrong)
    pinned = pin_song(text)
    assert pinned.changed == ()
    assert pinned.shapes < len(wrong)
    assert played(arrange(parse_song(pinned.text))) == played(arrange(parse_song(text)))


def test_a_note_on_no_string_stays_free() -> None:
    text = TWO_CHORDS.replace("C5:3 | C5:3", "C5:3 | C3:3")
    pinned = pin_song(text.replace("strum:", "as-written: yes\nstrum:"))
    assert pinned.unpinned == 1
    assert "C3:3 " in pinned.text


def test_what_no_hand_can_do_as_asked_is_not_contradicted() -> None:
    # There is nothing to roll where there is no chord.
    text = TWO_CHORDS.replace("C    | C", "C    | N.C.").replace("C5:3 | C5:3", "C5:3 | C5:3[roll]")
    pinned = pin_song(text)
    assert pinned.unpinned == 1
    assert pinned.text.splitlines()[-1].endswith("| C5:3[roll] |")


def test_a_tied_note_is_pinned_where_it_is_struck() -> None:
    pinned = pin_song(TWO_CHORDS.replace("C5:3 | C5:3", "C5:3 | =:3"))
    row = next(line for line in pinned.text.splitlines() if line.strip().startswith("melody"))
    assert row.split("|")[0].split()[-1].startswith("C5:3[")
    assert row.split("|")[0].split()[-1].endswith("]")
    assert row.split("|")[1].strip() == "=:3"


def test_a_song_that_grows_beyond_what_may_be_read_is_refused() -> None:
    rows = "".join("    melody C5 C5 C5\n\n" for _ in range(400))
    text = "title: Long\nmeter: 3/4\nsections:\n  verse: |\n    chords C\n" + rows
    padded = text + "# " + "x" * 1500 + "\n"
    padded += ("# " + "x" * 1500 + "\n") * ((64 * 1024 - len(padded.encode()) - 10) // 1503)
    with pytest.raises(RequestError, match="can't hold its pins: an arrangement file must be at most 64 kB"):
        pin_song(padded, "long.yaml")


# ---- the command


def test_pin_rewrites_the_song_and_counts(song: Path, tercet: Run) -> None:
    before = arrange(parse_song(song.read_text(encoding="utf-8")))
    ran = tercet("pin", song)
    assert (ran.code, ran.out) == (0, f"{song}\n")
    assert ran.err == "6 notes pinned\n"
    assert played(arrange(parse_song(song.read_text(encoding="utf-8")))) == played(before)
    stamp = song.stat().st_mtime_ns
    again = tercet("pin", song)
    assert again.code == 0
    assert again.out == ""
    assert "nothing to pin" in again.err
    assert song.stat().st_mtime_ns == stamp


def test_pin_writes_elsewhere(song: Path, tmp_path: Path, tercet: Run) -> None:
    before = song.read_bytes()
    ran = tercet("pin", song, "-o", tmp_path / "pinned.yaml")
    assert ran.out == f"{tmp_path / 'pinned.yaml'}\n"
    assert song.read_bytes() == before
    assert "[4321]" in (tmp_path / "pinned.yaml").read_text(encoding="utf-8")
    assert tercet("pin", song, "-o", tmp_path / "pinned.yaml").code == 0
    (tmp_path / "pinned.yaml").write_text("title: mine", encoding="utf-8")
    refused = tercet("pin", song, "-o", tmp_path / "pinned.yaml")
    assert refused.code == 1
    assert "it was changed after Tercet made it" in refused.err
    assert tercet("pin", song, "-o", tmp_path / "pinned.yaml", "--replace").code == 0


def test_a_song_that_was_pinned_in_its_place_is_still_the_users(
    song: Path, tmp_path: Path, tercet: Run
) -> None:
    assert tercet("pin", song).code == 0
    (tmp_path / "other.yaml").write_bytes(song.read_bytes().replace(b"[4321]", b""))
    refused = tercet("pin", tmp_path / "other.yaml", "-o", song)
    assert refused.code == 1
    assert "Tercet didn't make it" in refused.err


def test_pin_says_what_it_left_free(song: Path, tercet: Run) -> None:
    low = song.read_text(encoding="utf-8").replace("G4 A G ", "G4 A G3 ")
    song.write_text(f"as-written: yes\n{low}", encoding="utf-8")
    ran = tercet("pin", song)
    assert ran.code == 0
    assert "1 note left free: no string has it" in ran.err


def test_pin_says_which_notes_are_moved_and_pins_them_where_they_are_played(song: Path, tercet: Run) -> None:
    song.write_text(song.read_text(encoding="utf-8").replace("G4 A G ", "G4 A G3 "), encoding="utf-8")
    before = arrange(read_song(song))
    ran = tercet("pin", song)
    assert "G3 (196 Hz), 2 times, lies below the lowest string (C4)" in ran.err
    assert "left free" not in ran.err
    assert "G3[" in song.read_text(encoding="utf-8")
    assert played(arrange(read_song(song))) == played(before)


def test_pin_says_which_bars_came_out_otherwise(
    song: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = song.read_text(encoding="utf-8")
    monkeypatch.setattr(pinning, "pin_song", lambda *_: PinnedSong(text, 1, 2, 0, (3, 4)))
    ran = tercet("pin", song)
    assert ran.err.splitlines() == [
        "1 note and 2 chords pinned",
        "with all pins kept, these bars are played a little differently than before: 3, 4",
    ]


def test_pin_leaves_a_song_with_mistakes_alone(song: Path, tercet: Run) -> None:
    song.write_text(song.read_text(encoding="utf-8").replace("G4 A G ", "G4 A H "), encoding="utf-8")
    before = song.read_bytes()
    ran = tercet("pin", song)
    assert ran.code == 1
    assert "H is the German name of B" in ran.err
    assert song.read_bytes() == before


# ---- check


def test_check_prints_the_hand_and_the_hard_places(song: Path, tercet: Run) -> None:
    song.write_text(TWO_HANDS, encoding="utf-8")
    assert tercet("check", song).out == CHECKED.replace("SONG", str(song))


def test_check_prints_a_tab_where_asked(song: Path, tercet: Run) -> None:
    plain, tabbed = tercet("check", song).out, tercet("check", "--tab", song).out
    assert tabbed.startswith(plain)
    assert "\nA |-" in tabbed.removeprefix(plain)
    assert "\nA |-" not in plain


def test_check_as_json_carries_report_and_tab(song: Path, tercet: Run) -> None:
    facts = json.loads(tercet("check", "--json", "--tab", song).out)[0]
    assert facts["report"]["totals"]["bars"] == 6
    assert facts["report"]["lines"][0]["hands"][0]["bar_number"] == 1
    assert [bar["rank"] for bar in facts["report"]["hardest_bars"]] == [1, 2, 3, 4, 5, 6]
    assert facts["tab"].startswith("verse\n")
    assert "tab" not in json.loads(tercet("check", "--json", song).out)[0]


def test_the_page_about_arranging_shows_what_is_printed() -> None:
    page = (SONGS[0].parents[1] / "docs" / "arranging.md").read_text(encoding="utf-8")
    assert f"```yaml\n{TWO_HANDS}```" in page
    assert f"```text\n{CHECKED.replace('SONG', 'two-hands.yaml')}```" in page
    assert f"```text\n{tab_text(arrange(parse_song(TWO_HANDS)))}```" in page
