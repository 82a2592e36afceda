"""What is measured as alive is found in what we play, and each figure falls where what it stands for is taken away."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from statistics import fmean

import pytest

from tercet.arranging import arrange
from tercet.performing import Take, lay_out, perform, tempo
from tercet.performing.levels import velocity_of_level
from tercet.performing.midi import midi_bytes
from tercet.song import Song, read_song
from tests.kits import ROOT
from tests.measure.liveliness import Liveliness, arch_db, liveliness_of, phrase_edges
from tests.measure.midi import read_with_mido
from tests.measure.song_text import read_song_text

SONG = """title: Washing
key: C major
meter: 4/4
tempo: 96
strum: d u d u d u d u
sections:
  verse: |
    chords  C        | F        | G7       | C
    melody  E4 G E:2 | F4 A F:2 | D4 F D:2 | E4:4
    marks            |          |          | rit@1

    chords  C        | F        | G7       | C
    melody  E4 G E:2 | F4 A F:2 | D4 F D:2 | C5:4

    chords  C        | F        | G7       | C
    melody  E4 G E:2 | F4 A F:2 | D4 F D:2 | C5:4

    chords  C        | F        | G7       | C
    melody  E4 G E:2 | F4 A F:2 | D4 F B:2 | C5:4
"""


def figures(
    folder: Path,
    change: Callable[[Take], Take] = lambda take: take,
    *,
    song_as: Callable[[Song], Song] = lambda song: song,
    steady_pulse: bool = False,
    closes: bool = True,
) -> Liveliness:
    """Return what is measured of the song's MIDI file, changed before it is arranged or after it is played."""
    path = folder / "song.yaml"
    path.write_text(SONG, "utf-8")
    made = arrange(song_as(read_song(path)))
    take = change(perform(made, lay_out(made, count_in_bars=1), steady_pulse=steady_pulse, closes=closes))
    midi = folder / "song.mid"
    midi.write_bytes(midi_bytes(made, take))
    song = read_song_text(path)
    strokes: dict[int, list[str]] = {}
    for gesture in made.gestures:
        if gesture.layer == "strums":
            strokes.setdefault(gesture.bar_number, []).append("u" if gesture.up else "d")
    return liveliness_of(read_with_mido(midi), song, phrase_edges(path, song), strokes)


def without_differences(take: Take) -> Take:
    """Return a take in which all strings of a layer are struck alike."""
    levels = {"melody": 0.0, "between": -4.0, "strums": -12.0}
    notes = tuple(
        replace(note, velocity=velocity_of_level(levels[note.layer] - 8.0 * (note.part == "chord")))
        for note in take.notes
    )
    return replace(take, notes=notes)


def test_what_we_play_is_alive(tmp_path: Path) -> None:
    found = figures(tmp_path)
    assert 0.03 < fmean(found.phrase_ends) < 0.05
    assert len(found.phrase_ends) == 2
    assert found.ending > 1.25
    assert found.after_ritards == pytest.approx((1.0,), abs=0.025)
    assert arch_db(found.arch) == pytest.approx(1.5, abs=0.4)
    assert found.under_tune_sd_db > 0.4
    assert fmean(found.sweeps_db) > 1.0
    assert found.ups_part > 0.25


def test_a_family_of_patterns_has_ups_and_does_not_repeat(tmp_path: Path) -> None:
    found = figures(tmp_path, song_as=lambda song: replace(song, strum=None))
    assert found.ups_part > 0.25
    assert found.strummed_bars > 6
    assert found.repeated_bars <= 0.25 * found.strummed_bars


def test_one_pattern_throughout_that_only_falls_is_found(tmp_path: Path) -> None:
    found = figures(tmp_path, song_as=lambda song: replace(song, strum=tuple("d.d.d.d.")))
    assert found.ups_part == 0.0
    assert found.repeated_bars > 0.25 * found.strummed_bars


def test_strums_that_give_way_are_found(tmp_path: Path) -> None:
    """The share that stays is counted from two files: one that lost each other strum has half."""

    def without_half(take: Take) -> Take:
        struck = sorted({note.gesture for note in take.notes if note.layer == "strums"})
        gone = set(struck[::2])
        return replace(take, notes=tuple(note for note in take.notes if note.gesture not in gone))

    plain = figures(tmp_path)
    filled = figures(tmp_path, song_as=lambda song: replace(song, between="fill"))
    assert filled.strums >= 0.6 * plain.strums
    assert figures(tmp_path, without_half).strums < 0.6 * plain.strums


def test_a_steady_pulse_is_found(tmp_path: Path) -> None:
    found = figures(tmp_path, steady_pulse=True)
    assert max(map(abs, found.phrase_ends)) < 0.001
    assert found.ending == pytest.approx(1.0, abs=0.001)


def test_an_ending_that_just_stops_is_found(tmp_path: Path) -> None:
    assert figures(tmp_path, closes=False).ending < 1.1


def test_music_that_stays_slow_after_a_ritard_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempo, "phrase_edges", lambda bars: (Fraction(0), Fraction(48), Fraction(64)))
    (after,) = figures(tmp_path).after_ritards
    assert after < 0.93


def test_strings_that_are_all_alike_are_found(tmp_path: Path) -> None:
    found = figures(tmp_path, without_differences)
    assert abs(arch_db(found.arch)) < 0.5
    assert found.under_tune_sd_db < 0.05
    assert max(map(abs, found.sweeps_db)) < 0.05


def test_phrases_are_read_from_lines_and_breaths() -> None:
    path = ROOT / "songs" / "harbour-lanterns.yaml"
    song = read_song_text(path)
    edges = phrase_edges(path, song)
    assert edges[0] == 0
    assert edges[-1] == song.end_beat
    assert len(edges) > 8
