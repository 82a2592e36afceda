"""Every song in twelve keys and back: equal in pitch, layout and comments, by a reader that isn't ours."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.errors import RequestError, SongError
from tercet.song import Song, move_to, parse_song, tidy_text, transpose_song, write_song
from tercet.song.writer import moved_text
from tests.measure.moved_songs import unlike_moved
from tests.strategies import songs

ROOT = Path(__file__).resolve().parents[2]
PATHS = sorted((ROOT / "songs").glob("*.yaml")) + sorted((ROOT / "tests/song/examples").glob("*.yaml"))
TEXTS = {path.stem: tidy_text(path.read_text(encoding="utf-8")) for path in PATHS}
TWELVE = tuple(range(-6, 6))


def moved(text: str, to: int | str) -> tuple[str, tuple[str, ...]]:
    """Return a text in another key, and what was dropped."""
    song = parse_song(text)
    there, dropped = transpose_song(song, *move_to(song, to))
    return moved_text(text, there), dropped


@pytest.mark.parametrize("semitones", TWELVE)
@pytest.mark.parametrize("name", TEXTS)
def test_there_and_back(name: str, semitones: int) -> None:
    text = TEXTS[name]
    there, dropped = moved(text, semitones)
    assert list(unlike_moved(text, there, semitones)) == []
    back, dropped_back = moved(there, -semitones)
    assert list(unlike_moved(text, back, 0)) == []
    if (ROOT / "songs" / f"{name}.yaml").exists() and not (dropped or dropped_back):
        assert back == text


@given(songs(), st.sampled_from(TWELVE))
@settings(max_examples=40, deadline=None)
def test_any_song_there_and_back(song: Song, semitones: int) -> None:
    text = write_song(song)
    try:
        there, _ = moved(text, semitones)
        back, _ = moved(there, -semitones)
    except (RequestError, SongError):  # beyond the range of pitches
        return
    assert list(unlike_moved(text, there, semitones)) == []
    assert list(unlike_moved(text, back, 0)) == []


SABOTAGES = {
    "a note": ("C5 B4 A", "C5 B4 G"),
    "a length": ("D5:2 C ", "D5 C:2 "),
    "a comment": ("# The tune sways", "# The song sways"),
    "a title": ("Harbour Lanterns", "Harbor Lanterns"),
    "a word": ("lan-terns are", "lan-tern are"),
    "a mark": ("mf@1", "mp@1"),
    "a blank line": ("\n\n    chords ", "\n    chords "),
    "a chord": ("| Am ", "| A "),
    "a bass": ("| Am            | Am", "| Am/C          | Am"),
    "a bar line": ("B4 A G ", "B4 A G | "),
    "a row": ("    marks ", "    # marks "),
    "the spelling": ("A4 E A ", "A4 E G## "),
    "an odd root": ("| Dm        | E7", "| Dm        | Fb7"),
}


@pytest.mark.parametrize("kind", SABOTAGES)
def test_the_reader_sees(kind: str) -> None:
    text = TEXTS["harbour-lanterns"]
    before, after = SABOTAGES[kind]
    assert before in text
    assert list(unlike_moved(text, text, 0)) == []
    assert list(unlike_moved(text, text.replace(before, after, 1), 0)) != []
