"""Songs to begin with: they read, are arranged, and hold every word that was given."""

from __future__ import annotations

import pytest

from tercet.arranging import arrange
from tercet.errors import RequestError
from tercet.song import parse_song
from tercet.song.model import Meter
from tercet.song.starter import begun_song
from tercet.song.vocabulary import KEY_NAMES, METER_NAMES
from tercet.theory import parse_key

LAMP = "Lan-terns a-long the har-bour wall, one for each boat that is late; all of them lit by the time"


def words_in(text: str) -> list[str]:
    rows = [line.split("words", 1)[1] for line in text.splitlines() if line.strip().startswith("words")]
    return " ".join(rows).replace("|", " ").split()


@pytest.mark.parametrize("meter", METER_NAMES)
def test_every_meter_gives_a_song_that_reads(meter: str) -> None:
    upper, lower = map(int, meter.split("/"))
    text = begun_song("The Lamp: a song", Meter(upper, lower), parse_key("Eb major"), 7, LAMP)
    song = parse_song(text)
    assert song.title == "The Lamp: a song"
    assert sum(section.bar_count for section in song.sections) >= 7
    assert words_in(text) == LAMP.split()


@pytest.mark.parametrize("key", KEY_NAMES)
def test_every_key_gives_a_song_that_can_be_played(key: str) -> None:
    arrangement = arrange(parse_song(begun_song("A Song", Meter(4, 4), parse_key(key), 8)))
    assert not arrangement.problems
    assert len(arrangement.bars) == 8
    assert str(arrangement.bars[0].chords[0].chord) == parse_key(key).short_name


def test_words_that_need_more_bars_get_them() -> None:
    text = begun_song("Long", Meter(3, 4), parse_key("C major"), 2, "la " * 100)
    assert len(words_in(text)) == 100
    assert parse_song(text).sections[0].bar_count > 2


@pytest.mark.parametrize("words", ["- -- la", "a|b_c", "dog-", "-dog", "  \n\n "])
def test_odd_words_are_no_mistakes(words: str) -> None:
    parse_song(begun_song("Odd", Meter(4, 4), parse_key("C major"), 4, words))


@pytest.mark.parametrize(
    ("title", "bars", "words", "message"),
    [
        ("  ", 8, "", "needs a title"),
        ("A", 0, "", "1 to 64 bars"),
        ("A", 65, "", "1 to 64"),
        ("A", 4, "a " * 1001, "at most 1000 words"),
    ],
)
def test_what_cannot_be_begun_is_refused(title: str, bars: int, words: str, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        begun_song(title, Meter(4, 4), parse_key("C major"), bars, words)
