"""The second voice's own part: on paper, on the page beside the others' music, and in exports."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest

from tercet.arranging import Arrangement, arrange, second_part
from tercet.errors import RequestError
from tercet.exchange import imported_text
from tercet.exchange.abc import abc_bytes, read_abc
from tercet.exchange.musicxml import musicxml_bytes, read_musicxml
from tercet.publish.score.pages import SheetLook, sheet_of, sheet_svg
from tercet.song import SecondVoice, played_bars, read_song
from tests.publish.page.test_song_page import facts_of, page_of

HARBOUR = Path(__file__).parents[2] / "songs" / "harbour-lanterns.yaml"


@cache
def made(voice: SecondVoice | None = "thirds") -> Arrangement:
    return arrange(replace(read_song(HARBOUR), second=voice))


@pytest.mark.parametrize("voice", ["thirds", "low"])
def test_the_part_is_what_the_second_voice_plays(voice: SecondVoice) -> None:
    part = second_part(made(voice))
    struck = [
        (bar.start_beat + note.start_beat, note.pitch and note.pitch.midi)
        for bar in part.bars
        for note in bar.melody
        if note.is_struck
    ]
    assert struck == [(gesture.start_beat, gesture.notes[0].midi) for gesture in made(voice).second]
    assert [gesture.start_beat for gesture in part.gestures] == [beat for beat, _ in struck]
    assert bool([word for bar in part.bars for word in bar.words]) == (voice != "low")
    assert part.second == ()
    assert part.song.title == "Harbour Lanterns (second voice)"


def test_its_marks_are_its_own() -> None:
    plain = [mark.value for bar in made().bars for mark in bar.marks if mark.kind == "dynamic"]
    own = [mark.value for bar in second_part(made()).bars for mark in bar.marks if mark.kind == "dynamic"]
    assert plain[:2] == ["mf", "mp"]
    assert own[:2] == ["mp", "p"]


def test_a_song_without_one_has_no_such_part() -> None:
    with pytest.raises(RequestError, match="has no second voice: write `second: thirds`"):
        second_part(made(None))


def test_its_sheet_has_its_notes_and_no_strums() -> None:
    svg = sheet_svg(sheet_of(second_part(made()), SheetLook(None)))
    assert "second voice" in svg
    assert "second struck" in svg
    for other in ("melody struck", "between struck", "strums struck", "arpeg"):
        assert other not in svg


def test_the_sheet_of_the_song_shows_where_it_stands() -> None:
    assert "second close behind, mf" in sheet_svg(sheet_of(made(), SheetLook(None)))
    assert "second" not in sheet_svg(sheet_of(made(None), SheetLook(None)))


def test_the_page_has_both_scores_and_each_note_is_marked_in_its_own() -> None:
    html = page_of(made())
    facts = facts_of(html)
    assert [layer["name"] for layer in facts["layers"]] == ["melody", "second", "between", "strums"]
    assert re.findall(r'data-part="(\w+)"', html) == ["song", "song", "second", "second"]
    assert html.count('name="whose"') == 2
    names = set(re.findall(r'<g id="([^"]+)"', html))
    for note, song_marks, own_marks in zip(
        facts["notes"], facts["marks"], facts["second"]["marks"], strict=True
    ):
        second = facts["layers"][note[1]]["name"] == "second"
        assert bool(own_marks) == second
        assert not (second and song_marks)
        assert {f"w2-{name}" for name in own_marks} <= names
    assert len(facts["second"]["printed"]) == len(facts["bars"]) == len(facts["second"]["spoken"])


def test_the_page_of_a_song_without_one_has_nothing_of_it() -> None:
    html = page_of(made(None))
    facts = facts_of(html)
    assert [layer["name"] for layer in facts["layers"]] == ["melody", "between", "strums"]
    assert "second" not in facts
    assert "data-part" not in html
    assert 'name="whose"' not in html


def test_musicxml_has_a_staff_and_a_tab_of_it_and_comes_back_as_the_same_song() -> None:
    data, _ = musicxml_bytes(made())
    root = fromstring(data)
    assert [name.text for name in root.iter("part-name")] == [
        "Tune",
        "Ukulele",
        "Second voice",
        "Second ukulele",
    ]
    parts = root.findall("part")
    assert len({len(part) for part in parts}) == 1
    sounding = [
        note
        for note in parts[2].iter("note")
        if note.find("pitch") is not None and note.find("tie[@type='stop']") is None
    ]
    assert len(sounding) == len(made().second)
    _, song, _ = imported_text(read_musicxml(data, HARBOUR.name), HARBOUR.name)
    assert song.second == "thirds"
    assert _tune(song.form and played_bars(song)) == _tune(played_bars(made().song))
    assert len(fromstring(musicxml_bytes(made(None))[0]).findall("part")) == 2


def test_abc_has_it_as_a_voice_and_comes_back_as_the_same_song() -> None:
    data, _ = abc_bytes(made().song, second_part(made()).bars)
    text = data.decode("utf-8")
    assert text.count("\nV:1\n") == text.count("\nV:2\n") > 1
    _, song, _ = imported_text(read_abc(data, HARBOUR.name), HARBOUR.name)
    assert song.second == "thirds"
    assert _tune(played_bars(song)) == _tune(played_bars(made().song))
    assert "V:" not in abc_bytes(made(None).song)[0].decode("utf-8")


def _tune(bars: object) -> list[int]:
    assert isinstance(bars, tuple)
    return [note.pitch.midi for bar in bars for note in bar.melody if note.is_struck and note.pitch]
