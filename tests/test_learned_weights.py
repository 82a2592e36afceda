"""Weights are learned from songs fingered by hand, and from nothing else: counts are true, noise teaches nothing."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tercet.arranging.tune import row_notes
from tercet.neck.demands import COSTS
from tercet.song import Note, Song, read_song

ROOT = Path(__file__).resolve().parent.parent
OURS = sorted(path.stem for path in (ROOT / "songs").glob("*.yaml"))
SOME = ("harbour-lanterns", "first-puddle")

DAMAGED = {"known shape": -0.2, "idle finger": 6.0, "fretted string 4": 0.02, "finger": 1.5}
"""What no teacher would say of a hand."""


@pytest.fixture(scope="module")
def learning() -> Iterator[ModuleType]:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(ROOT / "benchmarks"))
        yield import_module("learn_weights")


@pytest.fixture(scope="module")
def tabs(learning: ModuleType) -> dict[str, Any]:
    return {tab.name: tab for tab in learning.tabs_of(learning.TABS)}


def agreed(learning: ModuleType, tabs: list[Any], table: dict[str, float]) -> float:
    sums, teacher = learning.Agreement(), learning.Teacher()
    for tab in tabs:
        sums.add(teacher.agreement(tab, table))
    return float(sums.score)


def test_songs_fingered_by_hand_say_how_every_note_is_struck(tabs: dict[str, Any]) -> None:
    assert len(tabs) >= 10
    for tab in tabs.values():
        for index in tab.written:
            item = tab.by_hand[index]
            assert item.note.pin is not None, (tab.name, item.note)
            assert item.stroke.struck == item.note.pin.strings, (tab.name, item.note)


@pytest.mark.parametrize("name", OURS)
def test_our_songs_are_fingered_as_they_are_written(
    name: str, learning: ModuleType, tabs: dict[str, Any]
) -> None:
    def written(song: Song) -> list[tuple[object, ...]]:
        piece = learning.piece_of(song, learning.song_tuning(song))
        return [(note.start_beat, note.length_beat, note.midi, note.chord) for note in row_notes(piece)]

    ours, by_hand = read_song(ROOT / "songs" / f"{name}.yaml"), tabs[name].pinned
    assert written(by_hand) == written(ours)
    assert (by_hand.players, by_hand.tempo, by_hand.tuning) == (ours.players, ours.tempo, ours.tuning)


@pytest.mark.parametrize("name", SOME)
def test_counts_times_weights_are_what_the_solver_pays(
    name: str, learning: ModuleType, tabs: dict[str, Any]
) -> None:
    tab, counts = tabs[name], learning.Counts()
    found = learning.solved(tab.plain)
    hands = tab.plain.hands
    priced = 0
    for index in tab.written:
        item = found[index]
        stroke = counts.stroke(item.asked, item, hands)
        if stroke is not None:
            assert stroke.cost(COSTS) == pytest.approx(item.stroke.cost)
            priced += 1
        if index:
            assert counts.change(found[index - 1], item, hands).cost(COSTS) == pytest.approx(item.change_cost)
    assert priced > 0.9 * len(tab.written)


def test_a_fit_makes_hands_agree_more(learning: ModuleType, tabs: dict[str, Any]) -> None:
    some = [tabs[name] for name in SOME]
    fitted = learning.Teacher().fitted(some)
    assert agreed(learning, some, fitted) >= agreed(learning, some, dict(COSTS))
    assert {name: fitted[name] for name in learning.LAWS} == {name: COSTS[name] for name in learning.LAWS}
    assert fitted == learning.Teacher().fitted(some)


# What guards it


def test_a_damaged_table_agrees_less_and_is_repaired(learning: ModuleType, tabs: dict[str, Any]) -> None:
    some = [tabs[name] for name in SOME]
    damaged = {**COSTS, **DAMAGED}
    repaired = learning.Teacher(damaged).fitted(some)
    today, hurt = (agreed(learning, some, table) for table in (dict(COSTS), damaged))
    assert hurt < today - 0.03
    assert agreed(learning, some, repaired) > hurt + 0.3 * (today - hurt)


def test_shuffled_pins_teach_nothing(learning: ModuleType, tabs: dict[str, Any]) -> None:
    some = [tabs[name] for name in SOME]
    shuffled = [replace(tab, pinned=with_shuffled_pins(tab.pinned)) for tab in some]
    fitted = learning.Teacher().fitted(shuffled)
    assert agreed(learning, some, fitted) <= agreed(learning, some, dict(COSTS))


def test_a_folder_without_songs_teaches_nothing_and_says_so(
    learning: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.argv", ["learn_weights.py", "--tabs", str(tmp_path)])
    with pytest.raises(Exception, match="no notes written by hand"):
        learning.main()


def with_shuffled_pins(song: Song) -> Song:
    """Return a song whose pins stand at other notes."""
    notes = [
        item
        for section in song.sections
        for line in section.lines
        for row in line.rows
        if row.name == "melody"
        for bar in (*row.bars, row.pickup)
        for item in bar or ()
        if isinstance(item, Note) and item.pin is not None
    ]
    pins = [note.pin for note in notes]
    random.Random(17).shuffle(pins)  # noqa: S311
    moved = dict(zip((note.source for note in notes), pins, strict=True))

    def changed(items: Any) -> Any:
        return items and tuple(
            replace(item, pin=moved.get(item.source)) if isinstance(item, Note) else replace(item, shape=None)
            for item in items
        )

    sections = tuple(
        replace(
            section,
            lines=tuple(
                replace(
                    line,
                    rows=tuple(
                        replace(row, bars=tuple(map(changed, row.bars)), pickup=changed(row.pickup))
                        if row.name in ("melody", "chords")
                        else row
                        for row in line.rows
                    ),
                )
                for line in section.lines
            ),
        )
        for section in song.sections
    )
    return replace(song, sections=sections)
