"""Laws that hold for every song: bars add up, writing and reading agree, slips never end in a traceback."""

from __future__ import annotations

import itertools
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tercet.errors import SongError
from tercet.song import (
    LEAD_INS,
    Bar,
    ChordSpan,
    Note,
    Song,
    bar_indices,
    drop_pins,
    parse_song,
    played_bars,
    tidy_text,
    transpose_song,
    write_song,
)
from tercet.song.form import played_form
from tests.strategies import slips, songs

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = sorted((ROOT / "songs").glob("*.yaml")) + sorted((ROOT / "tests/song/examples").glob("*.yaml"))


def fills(items: tuple[Note, ...] | tuple[ChordSpan, ...], length_beat: Fraction) -> bool:
    """Whether items follow each other without gap from 0 to the length."""
    ends = [Fraction(0), *itertools.accumulate(item.length_beat for item in items)]
    return [item.start_beat for item in items] == ends[:-1] and ends[-1] == length_beat


def song_or_report(text: str) -> Song | SongError:
    """What reading a text ends in: a song, or the report of its mistakes."""
    try:
        return parse_song(text)
    except SongError as error:
        return error


def assert_lawful(song: Song, bars: tuple[Bar, ...]) -> None:
    written = [bar for bar in bars if bar.number > 0 and not song.adds(bar.section)]
    assert sum(
        song.section(visit.section).bar_count for visit in song.form if not song.adds(visit.section)
    ) == len(written)
    for name in LEAD_INS:
        times = sum(visit.section == name for visit in played_form(song))
        assert sum(bar.section == name for bar in bars) == song.lead_in_bars(name) * times or not song.adds(
            name
        )
    assert [bar.number for bar in bars] == list(range(bars[0].number, bars[0].number + len(bars)))
    for before, bar in itertools.pairwise(bars):
        assert bar.start_beat == before.start_beat + before.length_beat
    for bar in bars:
        assert bar.length_beat == (
            song.meter.bar_beat if bar.number else song.section(bar.section).pickup_beat
        )
        assert fills(bar.melody, bar.length_beat)
        assert fills(bar.chords, bar.length_beat)
        assert bar.between is None or fills(bar.between, bar.length_beat)
        assert bar.strum is None or len(bar.strum) in {times * song.meter.upper for times in (1, 2, 3, 4)}
        assert {start for start, _ in bar.words} <= {
            note.start_beat for note in bar.melody if not note.is_rest
        }
        places = [mark.at_beat for mark in bar.marks]
        assert places == sorted(places)
        assert all(0 <= place < bar.length_beat for place in places)
        assert 0 <= bar.pickup_from <= bar.length_beat
        assert (
            any(note.start_beat == bar.pickup_from for note in bar.melody)
            or bar.pickup_from == bar.length_beat
        )


@given(songs())
@settings(max_examples=60)
def test_bars_add_up(song: Song) -> None:
    assert_lawful(song, played_bars(song))


@given(songs())
@settings(max_examples=60)
def test_what_is_written_reads_the_same(song: Song) -> None:
    text = write_song(song)
    assert parse_song(text) == song
    assert tidy_text(text) == text


@given(songs(), st.integers(-12, 12))
@settings(max_examples=30)
def test_transposed_songs_are_songs(song: Song, semitones: int) -> None:
    moved, _ = transpose_song(song, semitones)
    assert parse_song(write_song(moved)) == moved
    plain, _ = drop_pins(song)
    there = [note.pitch for bar in played_bars(plain) for note in bar.melody]
    back = [note.pitch for bar in played_bars(drop_pins(moved)[0]) for note in bar.melody]
    assert [pitch and pitch.midi + semitones for pitch in there] == [pitch and pitch.midi for pitch in back]


@given(songs(), st.data())
@settings(max_examples=20)
def test_chosen_bars_are_there(song: Song, data: st.DataObject) -> None:
    bars = played_bars(song)
    first = data.draw(st.integers(0, len(bars) - 1))
    last = data.draw(st.integers(first, len(bars) - 1))
    text = f"{bars[first].number}-{bars[last].number}"
    assert bar_indices(text, bars) == tuple(range(first, last + 1))
    visit = data.draw(st.sampled_from(played_form(song)))
    found = bar_indices(f"{visit.section}@{visit.pass_number}", bars)
    assert {(bars[index].section, bars[index].pass_number) for index in found} == {
        (visit.section, visit.pass_number)
    }


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_real_songs_keep_the_laws(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    song = parse_song(text, path.name)
    assert_lawful(song, played_bars(song))
    tidy = tidy_text(text)
    assert parse_song(tidy) == song
    assert tidy_text(tidy) == tidy
    assert [line.strip() for line in tidy.splitlines() if line.strip().startswith("#")] == [
        line.strip() for line in text.splitlines() if line.strip().startswith("#")
    ]
    assert parse_song(write_song(song)) == song


TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in EXAMPLES}
SHORT = sorted(name for name in TEXTS if len(TEXTS[name]) < 1000)
LONG = sorted(set(TEXTS) - set(SHORT))


@pytest.mark.parametrize(("names", "batch"), [(SHORT, 50), (LONG, 8)], ids=["short", "long"])
@given(data=st.data(), seed=st.integers(0, 10**9))
@settings(max_examples=60)
def test_slips_end_in_a_song_or_a_report(
    names: list[str], batch: int, data: st.DataObject, seed: int
) -> None:
    """More than three thousand slips: 60 × 50 in short songs, 60 × 8 in long ones."""
    name = data.draw(st.sampled_from(names))
    for number in range(batch):
        text = slips(batch * seed + number, TEXTS[name])
        song = song_or_report(text)
        if isinstance(song, Song):
            assert_lawful(song, played_bars(song))
        else:
            assert all(mistake.message for mistake in song.mistakes)
            assert str(song).encode("utf-8")


@given(st.sampled_from(sorted(TEXTS)), st.integers(0, 10**9))
@settings(max_examples=100)
def test_slips_that_are_songs_tidy_well(name: str, seed: int) -> None:
    text = slips(seed, TEXTS[name])
    song = song_or_report(text)
    if isinstance(song, Song):
        tidy = tidy_text(text)
        assert parse_song(tidy) == song
        assert tidy_text(tidy) == tidy


@given(st.text(max_size=200))
@settings(max_examples=200)
def test_any_text_ends_in_a_song_or_a_report(text: str) -> None:
    with pytest.raises(SongError, match="mistake"):
        parse_song(text)


@given(st.sampled_from(("chords", "melody", "between", "strum", "words", "marks")), st.text(max_size=60))
@settings(max_examples=300)
def test_any_row_ends_in_a_song_or_a_report(name: str, text: str) -> None:
    row = f"{name} {' '.join(text.split())}"
    song = song_or_report(f"title: Any\nsections:\n  verse: |\n    chords C | G\n    {row}\n")
    if isinstance(song, Song):
        assert song.section("verse").bar_count == 2
    else:
        assert all(mistake.line in (0, 3, 4, 5) for mistake in song.mistakes)
