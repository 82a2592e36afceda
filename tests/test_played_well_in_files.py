"""The bench of how well songs are played: what it reads of the command, and a sabotage for each row of its table."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tercet.cli import main
from tests.kits import ROOT
from tests.measure.liveliness import Liveliness
from tests.measure.ringing import Ringing
from tests.measure.song_text import read_song_text
from tests.measure.strokes import strokes_told

SONG = """title: Jig
key: C major
meter: 6/8
tempo: 60
sections:
  verse: |
    chords   C         | G7        | C         | G7        | C         | G7        | C
    melody   C5:3 G4:3 | B4:3 G4:3 | C5:3 G4:3 | B4:3 G4:3 | C5:3 G4:3 | B4:3 G4:3 | C5:6
"""
HIGH_G = (67, 60, 64, 69)
HELD = {"C": ("0003", "0003"), "G7": ("0212", "0213")}
Told = dict[str, Any]


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(ROOT / "benchmarks"))
    return import_module("played_well")


def told_hand(number: int, shape: str, fingers: str, strokes: dict[float, str]) -> Told:
    """Return a hand as `check` tells it, its strokes by their beats."""
    told = {"strokes": list(strokes.values()), "beats": list(strokes)}
    return {"bar_number": number, "shape": shape, "fingers": fingers, **told}


def played_right() -> list[Told]:
    """Return the hands of the song as a teacher would play it: what `check` says of it."""
    hands = []
    for number in range(1, 8):
        shape, fingers = HELD["C" if number % 2 else "G7"]
        strokes = ["[4321]", "[4]"][: 1 if number == 7 else 2]
        hands.append(told_hand(number, shape, fingers, dict(zip((1.0, 4.0), strokes, strict=False))))
    return hands


def hands_with(spoil: Callable[[list[Told]], None]) -> list[Told]:
    hands = played_right()
    spoil(hands)
    return hands


def missed_rows(
    bench: ModuleType,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    hands: list[Told],
    song: str = SONG,
    quick_rolls: int = 3,
) -> set[str]:
    """Return the rows of hands that miss their aim where `check` says these things of the song."""

    def told_of(paths: list[Path], _tree: Path) -> list[Told]:
        slow = [" tempo-112" not in path.name for path in paths]
        return [
            {"report": {"lines": [{"hands": hands}]}, "rolls": 7 if is_slow else quick_rolls}
            for is_slow in slow
        ]

    path = folder / "jig.yaml"
    path.write_text(song, "utf-8")
    monkeypatch.setattr(bench, "told_of", told_of)
    monkeypatch.setattr(bench, "is_jig", lambda song: song.meter == (6, 8))
    found = bench.hand_figures([path], folder, ROOT)
    return {
        name
        for (name, players), figure in found.items()
        for aim in [bench.ROWS[name][1].get(players) if name in bench.ROWS else None]
        if aim and not aim.is_kept(figure.value)
    }


def test_what_a_teacher_plays_keeps_all_rows(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert missed_rows(bench, tmp_path, monkeypatch, played_right()) == set()


def for_bars(numbers: range, **changed: object) -> Callable[[list[Told]], None]:
    def spoil(hands: list[Told]) -> None:
        for number in numbers:
            hands[number - 1].update(changed)

    return spoil


def a_grip_for_one_note(hands: list[Told]) -> None:
    hands[2] = told_hand(3, "0003", "0003", {1.0: "[4321]"})
    hands.insert(3, told_hand(3, "0435", "0213", {4.0: "[4]"}))


def a_stretch_for_one_note(hands: list[Told]) -> None:
    """G4 on string 3 while the index finger still lies at fret 3, though string 2 has it there."""
    hands[2] = told_hand(3, "0003", "0003", {1.0: "[4321]"})
    hands.insert(3, told_hand(3, "0703", "0401", {4.0: "[3]"}))


EVEN, ODD = range(2, 7, 2), range(1, 7, 2)
SABOTAGES: dict[str, Callable[[list[Told]], None]] = {
    "untaught fingers": for_bars(EVEN, fingers="0314"),
    "other fingering": for_bars(range(4, 5), fingers="0214"),
    "grip for one note": a_grip_for_one_note,
    "other than taught": for_bars(ODD, shape="0403", fingers="0302"),
    "stretch beyond need": a_stretch_for_one_note,
    "thirdless, avoidable": for_bars(ODD, shape="0033", fingers="0034", strokes=["[21]", "[4]"]),
    "seventh missing": for_bars(EVEN, shape="0232", fingers="0132"),
    "no two tones, avoidable": for_bars(ODD, strokes=["[1]", "[4]"]),
    "equal bar, other hand": for_bars(range(5, 6), strokes=["[321]", "[4]"]),
}


@pytest.mark.parametrize("row", SABOTAGES)
def test_hands_that_are_spoilt_miss_their_row(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, row: str
) -> None:
    assert row in missed_rows(bench, tmp_path, monkeypatch, hands_with(SABOTAGES[row]))


def test_a_finger_that_lies_flat_is_no_grip_of_three(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def flat(fingers: str) -> Callable[[list[Told]], None]:
        def spoil(hands: list[Told]) -> None:
            hands[2] = told_hand(3, "0003", "0003", {1.0: "[4321]"})
            hands.insert(3, told_hand(3, "0777", fingers, {4.0: "[4]"}))

        return spoil

    assert "grip for one note" not in missed_rows(bench, tmp_path, monkeypatch, hands_with(flat("0111")))
    assert "grip for one note" in missed_rows(bench, tmp_path, monkeypatch, hands_with(flat("0123")))


def test_a_fretted_note_where_its_string_is_open_is_found(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A4 after G: string 1 is open once a finger is lifted; at fret 5 of string 2 the hand is stretched for it."""
    song = SONG.replace("C         | G7 ", "G         | G7 ", 1).replace("C5:3 G4:3", "B4:3 A4:3", 1)

    def hands(shape: str, fingers: str, stroke: str) -> list[Told]:
        return [
            told_hand(1, "0232", "0132", {1.0: "[4321]"}),
            told_hand(1, shape, fingers, {4.0: stroke}),
            *played_right()[1:],
        ]

    assert missed_rows(bench, tmp_path, monkeypatch, hands("0230", "0130", "[1]"), song) == set()
    assert "stretch beyond need" in missed_rows(
        bench, tmp_path, monkeypatch, hands("0252", "0142", "[2]"), song
    )


def test_a_shape_with_a_finger_off_is_the_taught_one(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hands = hands_with(for_bars(EVEN, shape="0012", fingers="0013"))
    assert "other than taught" in missed_rows(bench, tmp_path, monkeypatch, hands)
    hands = hands_with(for_bars(EVEN, shape="0012", fingers="0013", strokes=["[21]", "[4]"]))
    assert "other than taught" not in missed_rows(bench, tmp_path, monkeypatch, hands)


def test_three_fingers_in_a_hurry_are_found(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    song = SONG.replace("tempo: 60", "tempo: 200")
    assert missed_rows(bench, tmp_path, monkeypatch, played_right(), song) == {"hasty change"}


def test_a_quick_jig_with_all_its_rolls_is_found(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert missed_rows(bench, tmp_path, monkeypatch, played_right(), quick_rolls=6) == {"fewer rolls"}


# Time, strums and ringing: their measures have sabotages in files of their own; here each row tells its figure's

ALIVE = Liveliness(
    phrase_ends=(0.04,),
    ending=1.4,
    after_ritards=(1.0,),
    arch=((-1.0, -1.5), (1.0, 1.5)),
    under_tune_sd_db=0.6,
    sweeps_db=(2.0, 2.0),
    strums=8,
    ups_part=0.5,
    strummed_bars=4,
    repeated_bars=0,
)
RINGING = Ringing(free=10, rung=10, left_s=(), blurred=0)

SPOILT: dict[str, Callable[[Any, Any], Any]] = {
    "phrase ends": lambda alive, ringing: (replace(alive, phrase_ends=(0.0,)), ringing),
    "ending": lambda alive, ringing: (replace(alive, ending=1.0), ringing),
    "back": lambda alive, ringing: (replace(alive, after_ritards=(0.9,)), ringing),
    "arch": lambda alive, ringing: (replace(alive, arch=((-1.0, 0.0), (1.0, 0.1))), ringing),
    "under": lambda alive, ringing: (replace(alive, under_tune_sd_db=0.1), ringing),
    "sweep": lambda alive, ringing: (replace(alive, sweeps_db=(0.5, 0.5)), ringing),
    "falling": lambda alive, ringing: (replace(alive, sweeps_db=(6.0, -0.1)), ringing),
    "ups": lambda alive, ringing: (replace(alive, ups_part=0.1), ringing),
    "repeated": lambda alive, ringing: (replace(alive, repeated_bars=2), ringing),
    "rung": lambda alive, ringing: (alive, replace(ringing, rung=8)),
    "blurred": lambda alive, ringing: (alive, replace(ringing, blurred=1)),
}


def missed_when_played(
    bench: ModuleType, alive: Liveliness, ringing: Ringing, *, strums_filled: int = 6, covered: int = 0
) -> set[str]:
    played = [bench.Played(alive, ringing, 100, covered)]
    filled = [bench.Played(replace(alive, strums=strums_filled), ringing, 100, 0)]
    figures = [
        *bench.time_figures([alive]),
        *bench.strum_figures([alive]),
        *bench.ringing_figures(played),
        *bench.fill_figures(played, filled),
    ]
    assert len(figures) == len(SPOILT) + 3
    return {name for name, value, _ in figures if not bench.ROWS[name][1][""].is_kept(value)}


def test_what_is_alive_keeps_all_rows(bench: ModuleType) -> None:
    assert missed_when_played(bench, ALIVE, RINGING) == set()
    assert missed_when_played(bench, ALIVE, RINGING, strums_filled=4) == {"kept", "fewer"}
    assert missed_when_played(bench, ALIVE, RINGING, covered=2) == {"covered"}


@pytest.mark.parametrize("row", SPOILT)
def test_what_is_played_worse_misses_its_row(bench: ModuleType, row: str) -> None:
    assert missed_when_played(bench, *SPOILT[row](ALIVE, RINGING)) == {row}


def test_every_row_has_its_sabotage(bench: ModuleType) -> None:
    by_itself = {"hasty change", "fewer rolls", "kept", "fewer", "covered"}
    assert {*SABOTAGES, *SPOILT, *by_itself} == set(bench.ROWS)


# What is read of the command


def test_a_jig_runs_in_eighths(bench: ModuleType, tmp_path: Path) -> None:
    path = tmp_path / "song.yaml"
    for melody, is_jig in (("C5 B4 A G A B", True), ("C5:2 B4 A:2 B", False)):
        path.write_text(
            f"{SONG.split('verse', maxsplit=1)[0]}verse: |\n    chords C\n    melody {melody}\n", "utf-8"
        )
        assert bench.is_jig(read_song_text(path)) == is_jig


def test_every_note_of_a_song_is_found_among_its_strokes(capsys: pytest.CaptureFixture[str]) -> None:
    path = ROOT / "songs" / "bicycle-bell.yaml"
    main(["check", str(path), "--json"])
    (told,) = json.loads(capsys.readouterr().out)
    song = read_song_text(path)
    strokes = strokes_told(told["report"]["lines"], song, HIGH_G)
    tune = [(round(stroke["onset_s"], 6), stroke["midis"][-1]) for stroke in strokes if stroke["tune"]]
    half = song.visits[2][2]
    assert tune == [
        (round(float(note.beat) * song.beat_s, 6), note.midi) for note in song.tune if note.beat < half
    ]
    assert sum(stroke["action"] == "single" and not stroke["tune"] for stroke in strokes) == 8
    onsets_s = [stroke["onset_s"] for stroke in strokes]
    assert onsets_s == sorted(onsets_s)
    assert {stroke["chord"] for stroke in strokes} == {"C", "F", "Dm", "G7", "Am", "D7"}


def test_a_row_without_a_case_is_missed(bench: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    aims = import_module("measuring").Aims()
    before, now = ({("rung", ""): bench.Figure(value, 10)} for value in (40.0, 50.0))
    bench.show("songs", [before, now], aims)
    assert aims.missed == [f"songs, as written: {bench.ROWS['rung'][0]}"]
    assert "| 40.0 | **50.0** |" in capsys.readouterr().out
    with pytest.raises(import_module("measuring").NothingMadeError, match="no cases"):
        bench.show("songs", [{}], aims)
