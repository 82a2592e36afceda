"""MusicXML out: what is in the file, and that reading it gives the same song."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from defusedxml.ElementTree import fromstring

from tercet.arranging import arrange, song_tuning
from tercet.exchange import imported_text
from tercet.exchange.musicxml import musicxml_bytes, read_musicxml
from tercet.song import Bar, Song, parse_song, played_bars, read_song

SONGS = sorted(Path("songs").glob("*.yaml"))
KEPT = (
    "title", "composer", "licence", "source_note", "key", "meter", "tempo", "form", "instrument", "scale_length_mm",
    "tuning", "players", "dynamics", "strum", "between", "swing", "count_in_bars",
)  # fmt: skip

PINNED = """\
title: "Pins & <shapes>"
meter: 3/4
swing: 2/3
count-in: 2
instrument: tenor
tuning: low-g
sections:
  verse: |
    chords  Am[2000] | Dm[2210/3420]:2 E7:1 | N.C.
    melody  C5:3[321] | D5:2[1] B4[alone] | A4:1/3 B4:1/3 C5:1/3 A4:2
"""


def exported(song: Song) -> bytes:
    return musicxml_bytes(arrange(song, song_tuning(song)))[0]


def again(song: Song) -> Song:
    return imported_text(read_musicxml(exported(song), "song.musicxml"), "song.musicxml")[1]


def told(song: Song) -> list[Bar]:
    """Return the bars as played, without what docs/exchange.md says that the file can't tell."""
    return [replace(bar, between=None, strum=None, own=False, line=0) for bar in played_bars(song)]


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_import_of_our_export_is_the_same_song(path: Path) -> None:
    song = read_song(path)
    back = again(song)
    assert {name: getattr(back, name) for name in KEPT} == {name: getattr(song, name) for name in KEPT}
    assert told(back) == told(song)


def test_pins_shapes_and_settings_come_back() -> None:
    song = parse_song(PINNED)
    back = again(song)
    assert {name: getattr(back, name) for name in KEPT} == {name: getattr(song, name) for name in KEPT}
    assert told(back) == told(song)


def test_a_pick_up_before_a_repeat_comes_back() -> None:
    song = read_song("tests/song/examples/pick-up-and-passes.yaml")
    assert told(again(song)) == told(song)


def test_a_wrong_note_would_be_seen() -> None:
    song = read_song(SONGS[0])
    data = exported(song)
    wrong = data.replace(b"<octave>4</octave>", b"<octave>5</octave>", 1)
    back = imported_text(read_musicxml(wrong, "x"), "x")[1]
    assert told(back) != told(song)


def test_the_file_has_a_staff_a_tab_frames_and_arpeggios() -> None:
    song = parse_song(PINNED)
    arrangement = arrange(song, song_tuning(song))
    root = fromstring(musicxml_bytes(arrangement)[0])
    assert root.get("version") == "4.0"
    tune, tab = root.findall("part")
    assert [harmony.findtext("kind") for harmony in tune.iter("harmony")] == [
        "minor",
        "minor",
        "dominant",
        "none",
    ]
    frame = next(tune.iter("frame"))
    assert [(each.findtext("string"), each.findtext("fret")) for each in frame.iter("frame-note")] == [
        ("4", "2"), ("3", "0"), ("2", "0"), ("1", "0"),
    ]  # fmt: skip
    assert [each.findtext("tuning-step") for each in tab.iter("staff-tuning")] == ["G", "C", "E", "A"]
    assert [each.findtext("tuning-octave") for each in tab.iter("staff-tuning")] == ["3", "4", "4", "4"]
    struck = Counter(
        (
            int(note.findtext("notations/technical/string") or 0),
            int(note.findtext("notations/technical/fret") or 0),
        )
        for note in tab.iter("note")
        if note.find("pitch") is not None
    )
    rolls = [gesture for gesture in arrangement.gestures if gesture.action == "roll"]
    assert rolls
    assert sum(1 for note in tab.iter("note") if note.find("notations/arpeggiate") is not None) == sum(
        len(roll.notes) for roll in rolls
    )
    for gesture in arrangement.gestures:
        for each in gesture.notes:
            assert struck[each.string, each.fret or 0] > 0
    for part in (tune, tab):
        for measure in part.iter("measure"):
            durations = [
                int(n.findtext("duration") or 0) for n in measure.iter("note") if n.find("chord") is None
            ]
            assert sum(durations) == 3 * int(next(part.iter("divisions")).text or 0)


def test_what_cannot_be_told_is_said() -> None:
    song = parse_song(
        "title: Layers\nsections:\n  verse: |\n    chords   C | C\n    melody   C4:4 | .:4\n"
        "    strum    d . d . | d . d .\n"
        "    between  .:2 E4:2 | .:4\n    marks    strums:p@1 | ,@2 accent@3\n"
    )
    _, remarks = musicxml_bytes(arrange(song, song_tuning(song)))
    assert remarks == (
        "`strum` rows appear only as strokes in the tab",
        "`between` rows appear only as notes in the tab",
        "marks for one layer are left out: bar 1",
        "breaths where no note ends are left out: bar 2",
        "accent marks where no note starts are left out: bar 2",
    )
