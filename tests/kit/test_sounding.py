"""The setting `sounding`: a song is played, printed and exported in another key than it is written in."""

from __future__ import annotations

from pathlib import Path

import pytest

from tercet.arranging import Arrangement
from tercet.cli import main
from tercet.errors import SongError
from tercet.front_door import arrange
from tercet.kit import KitOptions, PlayOptions
from tercet.kit.ready import arranged, ready_sets
from tercet.kit.sources import source_of
from tercet.song import parse_class, parse_song, read_song, write_song

ROWS = """\
sections:
  verse: |
    chords  C          | G7    |
    melody  C5 G4 A E  | G4:4  |
"""
SONG = f"title: One\nkey: C major\n{ROWS}"


def tune(arrangement: Arrangement) -> list[int]:
    layers = "melody", "between"  # which of its notes are rolled is a matter of the key
    return [gesture.notes[-1].midi for gesture in arrangement.gestures if gesture.layer in layers]


def at(folder: Path, sounding: str = "", shared: str = "") -> Path:
    path = folder / "one.yaml"
    path.write_text(f"{sounding and f'sounding: {sounding}'}\n{SONG}".lstrip(), encoding="utf-8")
    if shared:
        (folder / "class.yaml").write_text(f"sounding: {shared}\n", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("asked", "own", "shared", "key"),
    [
        (None, "", "", "C major"),
        (None, "-2", "", "Bb major"),
        (None, "+2", "-2", "D major"),
        (None, "", "-2", "Bb major"),
        (None, "0", "-2", "C major"),
        (3, "-2", "5", "Eb major"),
        (0, "-2", "5", "C major"),
    ],
)
def test_who_decides(tmp_path: Path, asked: int | None, own: str, shared: str, key: str) -> None:
    song = source_of(at(tmp_path, own, shared)).read()
    made = arranged(song, PlayOptions(transpose=asked))
    plain = arranged(read_song(at(tmp_path)), PlayOptions(transpose=0))
    assert str(made.song.key) == key
    (far,) = {one - other for one, other in zip(tune(made), tune(plain), strict=True)}
    assert far == made.song.moved_semitones
    again = arrange(made.song)
    assert tune(again) == tune(made)


def test_sets_of_a_kit_follow_it(tmp_path: Path) -> None:
    source = source_of(at(tmp_path, shared="-3"))
    options = KitOptions(tunings=["high-g", "low-g"], play=PlayOptions(sound=None))
    assert {str(one.arrangement.song.key) for one in ready_sets(source, options)} == {"A major"}


def test_a_capo(tmp_path: Path) -> None:
    """Two semitones higher on strings that are two semitones higher: the shapes of the written key."""
    plain = arrange(parse_song(SONG))
    capo = arrange(parse_song("sounding: 2\ntuning: [A4, D4, F#4, B4]\n" + SONG))
    assert [(one.shape, [(note.string, note.fret) for note in one.notes]) for one in capo.gestures] == [
        (one.shape, [(note.string, note.fret) for note in one.notes]) for one in plain.gestures
    ]
    assert [midi + 2 for midi in tune(plain)] == tune(capo)


@pytest.mark.parametrize(
    ("command", "shown"),
    [
        (["check"], "Bb major, 4/4"),
        (["export", "-o", "one.abc"], "K:Bb"),
        (["export", "-o", "one.musicxml"], "<fifths>-2</fifths>"),
        (["sheet", "-o", "one.svg"], "Bb major"),
        (["fretboard", "-o", "one.svg"], "Bb major"),
        (["advise"], "One: C major, played 2 semitones lower"),
    ],
)
def test_commands_follow_it(
    command: list[str],
    shown: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    path = at(tmp_path, shared="-2")
    assert main([command[0], str(path), *command[1:]]) == 0
    made = "".join(each.read_text("utf-8") for each in tmp_path.glob("one.*") if each != path)
    assert shown in (made or capsys.readouterr().out)
    assert path.read_text(encoding="utf-8") == SONG


@pytest.mark.parametrize("wrong", ["25", "-2.5", "two", "--2", "Bb"])
def test_what_it_may_be(wrong: str) -> None:
    for read in (lambda text: parse_song(text + SONG), parse_class):
        with pytest.raises(SongError, match=r"must be a whole number of semitones, -24 to 24"):
            read(f"sounding: {wrong}\n")


def test_it_is_written() -> None:
    song = parse_song("sounding: -2\n" + SONG)
    assert "\nkey: C major\nsounding: -2\n" in write_song(song)
    assert parse_song(write_song(song)) == song
