"""Tracks of one's own: what is read, what is said of what can't be, and the hook for names that are taken."""

from __future__ import annotations

import pickle
import re
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.errors import SongError, shown_mistakes
from tercet.song import OwnTrack, Song, Source, parse_song, write_song
from tercet.song.choice_words import parse_choice
from tercet.song.own_tracks import refuse_names
from tercet.song.track_settings import OWN_FORMS, TRACK_SETTINGS
from tests.strategies import slips, songs

MUSIC = "form: verse chorus verse\nsections:\n  verse: |\n    chords C | G | C\n  chorus: |\n    chords F\n"


def song_with(*lines: str, name: str = "mine") -> Song:
    written = "".join(f"    {line}\n" for line in lines)
    return parse_song(f"title: One\ntracks:\n  {name}:\n{written}{MUSIC}")


def track(*lines: str) -> OwnTrack:
    (own,) = song_with(*lines).tracks
    return own


def said(*lines: str, name: str = "mine") -> str:
    with pytest.raises(SongError, match="mistake") as caught:
        song_with(*lines, name=name)
    return str(caught.value)


def test_what_is_left_out_has_its_default() -> None:
    assert track("yours: open") == OwnTrack("mine", yours="open")
    assert parse_song("title: One\n" + MUSIC).tracks == ()


def test_all_that_a_track_can_say() -> None:
    own = track(
        "purpose:  join in  softly ",
        "heard: Melody, between",
        "guide: tune",
        "way: turns",
        "by: bar",
        "swap: yes",
        "bars: verse@2:1-2",
        "speed: 70%",
    )
    assert own == OwnTrack(
        "mine",
        purpose="join in softly",
        heard="melody or between",
        guide="tune",
        way="turns",
        by="bar",
        swap=True,
        bars="verse@2:1-2",
        speeds=(Fraction(7, 10),),
    )
    assert pickle.loads(pickle.dumps(own)) == own  # noqa: S301 - pickled a moment ago
    assert track("way: loop", "times: 4 x").times == 4


@pytest.mark.parametrize(
    "text",
    ["60% 80% 100%", "60%, 80%, 100%", "60 % 80 % 100 %", "[60%, 80%, 100%]", "0.6 4/5 1", '"60% 80% 100%"'],
)
def test_speeds_are_written_in_many_ways(text: str) -> None:
    assert track("way: ladder", f"speed: {text}").speeds == (Fraction(3, 5), Fraction(4, 5), Fraction(1))


@pytest.mark.parametrize("way", OWN_FORMS)
def test_every_way(way: str) -> None:
    assert track("yours: open", f"way: {way}").way == way


@pytest.mark.parametrize(
    ("lines", "place", "message"),
    [
        (("yours: opn",), "4:12", "yours: `opn` isn't a word for notes"),
        (('yours: "open and opn"',), "4:22", "yours: `opn` isn't a word for notes"),
        (("yours: open", "heard: open"), "5:5", "`yours` and `heard` say the same thing"),
        (("yours: nothing",), "4:12", "chooses no notes"),
        (("heard: nothing",), "4:12", "chooses no notes"),
        (("yours: all",), "4:5", "with all notes left out nothing is heard"),
        (("speed: 70%", "guide: tune"), "5:5", "`guide` is soft where notes are left out"),
        (("speed: 24%",), "4:12", "a speed must be 25% to 200% (got 24%)"),
        (("speed: 0",), "4:12", "a speed must be 25% to 200% (got 0)"),
        (("speed: 900%",), "4:12", "a speed must be 25% to 200% (got 900%)"),
        (("speed: 60% 80%",), "4:5", "only a ladder has several speeds"),
        (("way: ladder", "speed: 70%"), "5:5", "a ladder has several speeds"),
        (("way: ladder", "speed: 70% 80% 70%"), "5:20", "70% appears twice"),
        (("way: loop", "times: 0"), "5:12", "must be a whole number, 1 to 50 (got 0)"),
        (("way: loop", "times: 2.5"), "5:12", "must be a whole number, 1 to 50 (got 2.5)"),
        (("way: loop", "by: bar"), "5:5", "`by` is only for way: echo or way: turns"),
        (("way: echo", "swap: yes"), "5:5", "`swap` is only for way: turns"),
        (("yours: open", "times: 3"), "5:5", "`times` is only for way: loop"),
        (("way: turns", "swap: perhaps"), "5:11", "must be yes or no (got perhaps)"),
        (("way: through",), "3:3", "this track would be the demo"),
        (("purpose: listen",), "3:3", "this track would be the demo"),
        (("bars: 8",), "4:11", "there is no bar 8"),
        (("bars: verse@3",), "4:11", "`verse` is played twice, so it has no pass 3"),
        (("bars: 1-2-3",), "4:11", "`1-2-3` doesn't say which bars"),
        (("yours: not section chrous",), "4:12", "no section `chrous` is played; did you mean chorus?"),
        (("heard: bars verse:2-4",), "4:12", "there is no bar 4"),
        (("guide: bar 9", "yours: open"), "4:12", "there is no bar 9"),
        (("yours: bar 0",), "4:12", "there is no bar 0"),
        (("yours: bars 2-99",), "4:12", "there is no bar 99"),
        ((f"purpose: {'x' * 201}",), "4:14", "must have at most 200 characters (got 201)"),
        (("colour: blue",), "4:5", "a track has no setting `colour`"),
    ],
)
def test_mistakes(lines: tuple[str, ...], place: str, message: str) -> None:
    with pytest.raises(SongError, match=re.escape(message)) as caught:
        song_with(*lines)
    (mistake,) = caught.value.mistakes
    assert f"{mistake.line}:{mistake.column}" == place
    assert mistake.row == "tracks, mine"


@pytest.mark.parametrize(
    "name", ["Mine", "my track", "my_track", "my--track", "-mine", "2nd", "x" * 41, "größe"]
)
def test_names_that_cannot_be(name: str) -> None:
    assert "can't be a track's name" in said("yours: open", name=name)


def test_too_many() -> None:
    written = "".join(f"  t{number}:\n    yours: open\n" for number in range(51))
    with pytest.raises(SongError, match=r"at most 50 tracks \(got 51\)"):
        parse_song(f"title: One\ntracks:\n{written}{MUSIC}")


def test_mistakes_show_with_those_of_the_music() -> None:
    with pytest.raises(SongError, match="2 mistakes") as caught:
        parse_song("title: One\ntracks:\n  mine:\n    yours: opn\nsections:\n  verse: |\n    chords H\n")
    assert [mistake.line for mistake in caught.value.mistakes] == [4, 7]


def test_names_that_are_taken_are_shown_at_their_place() -> None:
    tracks = song_with("yours: open", name="demo").tracks
    refuse_names(tracks, ("echo", "turns"), "song.yaml")
    with pytest.raises(SongError, match="there is a built-in track `demo`") as caught:
        refuse_names(tracks, ("demo", "echo"), "song.yaml")
    assert str(caught.value).splitlines()[:4] == [
        "line 3, tracks, demo: there is a built-in track `demo`",
        "    now:    »demo«:",
        "    how:    give this one another name, such as my-demo",
        "1 mistake in song.yaml: line 3, tracks, demo",
    ]


def test_a_choice_whose_one_spelling_would_be_too_long_stays_as_written() -> None:
    written = ",".join(["open"] * 55)
    song = song_with(f"yours: {written}")
    assert song.tracks[0].yours == written
    assert parse_choice(written) == parse_choice(song.tracks[0].yours)
    assert parse_song(write_song(song)) == song
    assert "must have at most 300 characters (got 304)" in said(f"yours: {','.join(['open'] * 61)}")


def test_places() -> None:
    own = track("yours: open", "speed: 70%")
    assert own.place("speed") == Source(5, 12, 3)
    assert own.place("guide") == own.place() == Source(3, 3, 4)
    assert replace(own, places=()).place() == Source(0, 0)
    mistake = own.mistake("no note is chosen", "choose others", "yours")
    assert shown_mistakes([mistake]).splitlines() == [
        "line 4, tracks, mine: no note is chosen",
        "    now:    yours: »open«",
        "    how:    choose others",
    ]
    assert shown_mistakes([replace(own, places=()).mistake("odd")]) == "tracks, mine: odd"


def test_every_part_of_the_table_is_a_sentence() -> None:
    assert all(part.about.endswith(".") for part in TRACK_SETTINGS)


@given(song=songs())
def test_what_is_written_reads_as_the_same(song: Song) -> None:
    again = parse_song(write_song(song))
    assert again.tracks == song.tracks
    for own in again.tracks:
        assert {place.setting for place in own.places} >= {"name"}
        for text in filter(None, (own.yours, own.heard, own.guide)):
            assert str(parse_choice(text)) == text


WRITTEN = (
    "title: One\ntracks:\n  mine:\n    yours: open\n    guide: tune\n  two:\n    way: loop\n    times: 4\n"
    + MUSIC
)


@given(seed=st.integers(0, 10**6))
def test_whatever_is_written_is_read_or_explained(seed: int) -> None:
    try:
        song = parse_song(slips(seed, WRITTEN))
    except SongError:
        return
    assert parse_song(write_song(song)) == song
