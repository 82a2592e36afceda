"""What styles promise, measured in the files that a user gets: the tab of `tercet check`, and exported MIDI files.

Each promise has a sabotage that breaks it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from tercet.cli import main
from tests.kits import ROOT
from tests.measure.midi import MidiFile, MidiNote, read_with_mido
from tests.measure.song_text import SongText, read_song_text
from tests.measure.styles import TabFigures, clear_db, overlapping, tab_figures, tune_in

SONGS = sorted(path.stem for path in (ROOT / "songs").glob("*.yaml"))
STYLES = ("rolls", "ringing", "broken", "plain")
LEAST_DIFFERENT = 0.7
LEAST_CLEAR_DB = 10.0
LEAST_MORE_RINGING = 0.2
SAME_TIME_S = 0.001


@dataclass(frozen=True, slots=True)
class InStyle:
    """What a user gets of a song in one style."""

    tab: TabFigures
    midi: MidiFile
    tune: tuple[MidiNote | None, ...]
    unplayable: int


Styles = dict[str, InStyle]


@pytest.fixture(params=SONGS)
def styles(request: pytest.FixtureRequest, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Styles:
    """Write one of our songs in each style, and read what the commands make of it."""
    written = ROOT / "songs" / f"{request.param}.yaml"
    song = read_song_text(written)
    return {style: _made(written, song, style, tmp_path, capsys) for style in STYLES}


def _made(
    written: Path, song: SongText, style: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> InStyle:
    path, midi_path = folder / f"{style}.yaml", folder / f"{style}.mid"
    text = written.read_text(encoding="utf-8").replace("\ntempo", f"\nstyle: {style}\ntempo", 1)
    path.write_text(text, encoding="utf-8")
    capsys.readouterr()
    assert main(["check", str(path), "--tab", "--json"]) == 0
    (facts,) = json.loads(capsys.readouterr().out)
    assert main(["export", str(path), "-o", str(midi_path)]) == 0
    midi = read_with_mido(midi_path)
    unplayable = sum(problem["off_neck"] or problem["unplayable"] for problem in facts["problems"])
    return InStyle(tab_figures(facts["tab"]), midi, tune_in(midi, song), unplayable)


# ---- the promises: each returns what is wrong


def the_tune_is_the_same(styles: Styles) -> list[str]:
    """All styles play every note of the tune at the same time."""
    usual = styles["rolls"].tune
    faults = [f"{style}: a note is missing" for style in STYLES if None in styles[style].tune]
    for style in STYLES:
        for first, note in zip(usual, styles[style].tune, strict=True):
            if first and note and abs(first.onset_s - note.onset_s) > SAME_TIME_S:
                faults.append(f"{style}: {note} for {first}")
    return faults


def ringing_changes_the_string(styles: Styles) -> list[str]:
    """Seven of ten neighbouring notes lie on different strings; whole steps ring over one another, as nowhere else."""
    different = styles["ringing"].tab.different
    faults = [f"{different:.2f} change the string"] if different < LEAST_DIFFERENT else []
    rung, usual = (overlapping([n for n in styles[style].tune if n]) for style in ("ringing", "plain"))
    return faults + (
        [f"{rung:.2f} ring on, {usual:.2f} in plain"] if rung < usual + LEAST_MORE_RINGING else []
    )


def broken_stays_behind(styles: Styles) -> list[str]:
    """Strings are struck behind the tune, none of them rolled, and each note of the tune stands 10 dB above them."""
    broken = styles["broken"]
    faults = [] if broken.tab.behind > styles["rolls"].tab.behind else ["nothing is struck behind the tune"]
    tune = [note for note in broken.tune if note]
    for note in tune:
        clear = clear_db(note, broken.midi, tune)
        if clear < LEAST_CLEAR_DB:
            faults.append(f"{note}: {clear:.1f} dB")
    return faults


def plain_is_plain(styles: Styles) -> list[str]:
    """The tune is struck alone, in plain and in broken; in plain nothing is added that the song hasn't."""
    faults = [
        f"{styles[style].tab.rolls} rolls in {style}"
        for style in ("plain", "broken")
        if styles[style].tab.rolls
    ]
    more = styles["plain"].tab.behind - styles["rolls"].tab.behind
    return faults + ([f"{more} added notes in plain"] if more > 0 else [])


def all_is_as_playable(styles: Styles) -> list[str]:
    """No style has a note that can't be played where the usual one can."""
    usual = styles["rolls"].unplayable
    return [f"{style}: {styles[style].unplayable}" for style in STYLES if styles[style].unplayable > usual]


PROMISES: tuple[Callable[[Styles], list[str]], ...] = (
    the_tune_is_the_same,
    ringing_changes_the_string,
    broken_stays_behind,
    plain_is_plain,
    all_is_as_playable,
)


def test_styles_keep_their_promises(styles: Styles) -> None:
    assert {promise.__name__: promise(styles) for promise in PROMISES} == {
        promise.__name__: [] for promise in PROMISES
    }


# ---- sabotage


def note_left_out(styles: Styles) -> Styles:
    """Leave the fourth note out of a plain tune."""
    plain = styles["plain"]
    return {**styles, "plain": replace(plain, tune=(*plain.tune[:3], None, *plain.tune[4:]))}


def note_moved(styles: Styles) -> Styles:
    """Play the fourth note of a ringing tune a twentieth of a second late."""
    rung = styles["ringing"]
    note = rung.tune[3]
    assert note is not None
    late = replace(note, onset_s=note.onset_s + 0.05)
    return {**styles, "ringing": replace(rung, tune=(*rung.tune[:3], late, *rung.tune[4:]))}


def ringing_left_to_rolls(styles: Styles) -> Styles:
    """Hand out the rolls as ringing."""
    return {**styles, "ringing": styles["rolls"]}


def ringing_damped(styles: Styles) -> Styles:
    """Play the right strings, but let nothing ring."""
    return {**styles, "ringing": replace(styles["ringing"], tune=styles["plain"].tune)}


def broken_as_loud(styles: Styles) -> Styles:
    """Strike everything behind the tune as hard as the tune."""
    broken = styles["broken"]
    between = tuple(
        note if note in broken.tune else replace(note, velocity=127) for note in broken.midi.tracks["between"]
    )
    midi = replace(broken.midi, tracks={**broken.midi.tracks, "between": between})
    return {**styles, "broken": replace(broken, midi=midi)}


def broken_left_out(styles: Styles) -> Styles:
    """Hand out the plain song as broken."""
    return {**styles, "broken": styles["plain"]}


def plain_with_rolls(styles: Styles) -> Styles:
    """Hand out the rolls as plain."""
    return {**styles, "plain": styles["rolls"]}


def ringing_off_the_neck(styles: Styles) -> Styles:
    """Take a note of the ringing tune off the neck."""
    return {**styles, "ringing": replace(styles["ringing"], unplayable=styles["rolls"].unplayable + 1)}


@pytest.mark.parametrize("styles", ["bicycle-bell"], indirect=True)
@pytest.mark.parametrize(
    ("sabotage", "promise"),
    [
        (note_left_out, the_tune_is_the_same),
        (note_moved, the_tune_is_the_same),
        (ringing_left_to_rolls, ringing_changes_the_string),
        (ringing_damped, ringing_changes_the_string),
        (broken_as_loud, broken_stays_behind),
        (broken_left_out, broken_stays_behind),
        (plain_with_rolls, plain_is_plain),
        (ringing_off_the_neck, all_is_as_playable),
    ],
    ids=lambda item: getattr(item, "__name__", ""),
)
def test_what_is_broken_is_caught(
    styles: Styles, sabotage: Callable[[Styles], Styles], promise: Callable[[Styles], list[str]]
) -> None:
    assert promise(sabotage(styles))
