"""Engraving: what is on paper, and which elements show each gesture on each pass."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from xml.etree import ElementTree as ET

import pytest

from tercet.arranging import Arrangement
from tercet.errors import ParameterError
from tercet.publish.score.elements import ScoreLook
from tercet.publish.score.engraving import Engraving, engrave, line_svgs
from tercet.publish.score.mei import score_of
from tercet.publish.score.note_values import Value
from tercet.publish.shapes import Text, groups_in, texts_in
from tercet.publish.svg import sign_definitions
from tests.arranging.written import struck
from tests.publish.papers import EXAMPLES, HOSTILE, arranged, engraving_svg, hostile, written

MEI = "{http://www.music-encoding.org/ns/mei}"
ID = "{http://www.w3.org/XML/1998/namespace}id"


@lru_cache(maxsize=16)
def engraved(path: str) -> Engraving:
    return engrave(arranged(path))


def texts_by_name(engraving: Engraving) -> dict[str, str]:
    """Return the texts that stand directly in a named element."""
    return {
        group.id: "".join(part.text for part in group.shapes if isinstance(part, Text))
        for system in engraving.systems
        for group in groups_in(system.shapes)
    }


def names_of(engraving: Engraving) -> list[str]:
    return [group.id for system in engraving.systems for group in groups_in(system.shapes)]


@pytest.mark.parametrize("path", EXAMPLES)
def test_every_gesture_of_every_pass_is_shown_by_its_digits(path: str) -> None:
    arrangement, engraving = arranged(path), engraved(path)
    shown = texts_by_name(engraving)
    assert len(engraving.score.gesture_ids) == len(arrangement.gestures)
    for gesture, ids in zip(arrangement.gestures, engraving.score.gesture_ids, strict=True):
        if gesture.action == "chop":
            assert (ids.strings, shown[ids.strum]) == ((), "x")
            continue
        assert [f"{name[-1]}/{shown[name]}" for name in ids.strings] == struck(gesture).split()
        assert all(name.startswith(ids.column) and name.startswith(ids.bar) for name in ids.strings)
        if gesture.layer == "strums":
            assert shown[ids.strum].lower() == ("u" if gesture.up else "d")


@pytest.mark.parametrize("path", EXAMPLES)
def test_words_are_those_of_the_pass(path: str) -> None:
    arrangement, engraving = arranged(path), engraved(path)
    shown = texts_by_name(engraving)
    sung = {
        bar.start_beat + beat: syllable.text
        for bar in arrangement.bars
        for beat, syllable in bar.words
        if not syllable.holds
    }
    found = {
        gesture.start_beat: shown[ids.word]
        for gesture, ids in zip(arrangement.gestures, engraving.score.gesture_ids, strict=True)
        if ids.word and ids.word in shown
    }
    assert found == sung


@pytest.mark.parametrize("path", EXAMPLES)
def test_notes_of_the_tune_are_named_on_the_staff(path: str) -> None:
    arrangement, engraving = arranged(path), engraved(path)
    names = set(names_of(engraving))
    for gesture, ids in zip(arrangement.gestures, engraving.score.gesture_ids, strict=True):
        assert bool(ids.note) == (gesture.layer != "strums" and gesture.notes[-1].part == "tune")
        assert not ids.note or ids.note in names


@pytest.mark.parametrize("path", EXAMPLES)
def test_names_are_unique_and_bars_lie_in_order(path: str) -> None:
    arrangement, engraving = arranged(path), engraved(path)
    names = names_of(engraving)
    assert len(names) == len(set(names))
    bars = [name for system in engraving.systems for name in system.bars]
    assert bars == [f"m{index}" for index in range(len(engraving.score.form.bars))]
    assert len(engraving.score.bar_ids) == len(arrangement.bars)
    assert {name for ids in engraving.score.bar_ids for name in ids} == set(bars)


@pytest.mark.parametrize("path", EXAMPLES)
@pytest.mark.parametrize("tune", [True, False])
def test_every_voice_of_the_score_is_as_long_as_its_bar(path: str, *, tune: bool) -> None:
    arrangement = arranged(path)
    score = score_of(arrangement, ScoreLook(tune=tune))
    root = ET.fromstring(score.mei)
    lower = arrangement.song.meter.lower
    for measure, bar in zip(root.iter(f"{MEI}measure"), score.form.bars, strict=True):
        for layer in measure.iter(f"{MEI}layer"):
            if layer.find(f"{MEI}mRest") is None:
                assert length_of(layer) == bar.printed.length_beat / lower, measure.get(ID)


def length_of(element: ET.Element) -> object:
    """Return the length of what an element of MEI holds, in whole notes."""
    from fractions import Fraction

    total = Fraction(0)
    for child in element:
        if "dur" in child.attrib:
            total += Value(int(child.attrib["dur"]), int(child.get("dots", "0"))).whole
        elif child.tag in (f"{MEI}beam", f"{MEI}tuplet"):
            inner = length_of(child)
            assert isinstance(inner, Fraction)
            ratio = Fraction(int(child.get("numbase", "1")), int(child.get("num", "1")))
            total += inner * ratio
    return total


@pytest.mark.parametrize("path", EXAMPLES)
def test_the_expansion_plays_the_piece_bar_by_bar(path: str) -> None:
    arrangement = arranged(path)
    score = score_of(arrangement, ScoreLook())
    root = ET.fromstring(score.mei)
    (expansion,) = root.iter(f"{MEI}expansion")
    parts = {
        element.get(ID): element
        for element in root.iter()
        if element.tag in (f"{MEI}section", f"{MEI}ending")
    }
    played = [
        measure.get(ID)
        for name in expansion.attrib["plist"].split()
        for measure in parts[name.removeprefix("#")].iter(f"{MEI}measure")
    ]
    assert played == [name for ids in score.bar_ids for name in ids]


def test_the_engraver_sees_no_word_of_the_song() -> None:
    score = score_of(hostile("script"), ScoreLook())
    said = "".join(ET.fromstring(score.mei).itertext())
    assert set(said) <= set("Hp. mf<>123456789") | set("pf")
    assert "script" not in score.mei


def test_a_note_that_is_not_on_the_neck_is_refused_before_the_engraver_sees_it() -> None:
    from dataclasses import replace

    made = hostile("one bar")
    gesture = made.gestures[0]
    bad = replace(gesture, notes=(replace(gesture.notes[-1], fret=99),))
    with pytest.raises(ParameterError, match=r"no such place on the neck: string \d, fret 99"):
        engrave(replace(made, gestures=(bad, *made.gestures[1:])))


def test_the_same_song_gives_the_same_engraving() -> None:
    assert engraving_svg(engrave(arranged(EXAMPLES[0]))) == engraving_svg(engrave(arranged(EXAMPLES[0])))


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_songs_are_engraved_as_harmless_svg(name: str) -> None:
    svg = engraving_svg(engrave(hostile(name)))
    root = ET.fromstring(svg)
    tags = {element.tag.rpartition("}")[2] for element in root.iter()}
    assert tags <= {"svg", "defs", "path", "g", "use", "text"}
    assert not [key for element in root.iter() for key in element.attrib if key.startswith("on")]
    links = [
        value for element in root.iter() for key, value in element.attrib.items() if key.endswith("href")
    ]
    assert all(re.fullmatch(r"#sign-[0-9A-F]{4}", link) for link in links)


def test_lines_of_music_can_stand_alone() -> None:
    engraving = engraved(EXAMPLES[0])
    definitions = ET.fromstring(sign_definitions(engraving.signs))
    known = {path.get("id") for path in definitions}
    for line in line_svgs(engraving):
        elements = ET.fromstring(line).iter()
        used = {element.get("href", "").lstrip("#") for element in elements if "href" in element.attrib}
        assert used <= known


@pytest.mark.parametrize("width", [760, 1900])
def test_lines_of_music_are_to_one_scale_however_few_their_bars(width: int) -> None:
    engraving = engrave(arranged("songs/washing-up-branle.yaml"), ScoreLook(width=width))
    boxes = [list(map(float, ET.fromstring(line).attrib["viewBox"].split())) for line in line_svgs(engraving)]
    assert len({(left, wide) for left, _, wide, _ in boxes}) == 1
    left, _, wide, _ = boxes[0]
    shares = [system.width / wide for system in engraving.systems]
    assert max(shares) <= 1.0 + 1e-6
    assert all(left <= system.left for system in engraving.systems)
    (alone,) = line_svgs(engrave(hostile("one bar"), ScoreLook(width=width)))
    assert float(ET.fromstring(alone).attrib["viewBox"].split()[2]) >= 10.0 * width


def test_repeats_endings_and_numbers_are_printed() -> None:
    engraving = engraved("songs/harbour-lanterns.yaml")
    texts = [part for system in engraving.systems for part in texts_in(system.shapes)]
    assert [part.text for part in texts if part.name == "ending"] == ["1.", "2."]
    assert [part.text for part in texts if part.name == "section"] == ["verse", "chorus"]
    assert [part.text for part in texts if part.name == "bar-number"][:4] == [
        "1 · 17",
        "2 · 18",
        "3 · 19",
        "4 · 20",
    ]
    assert {part.text for part in texts if part.name == "label"} >= {
        "1.",
        "2.",
        "count",
        "finger",
        "strum",
        "bar",
    }


def test_marks_of_some_passes_are_said_in_words() -> None:
    engraving = engraved("songs/bakers-lullaby.yaml")
    remarks = [
        part.text for system in engraving.systems for part in texts_in(system.shapes) if part.name == "remark"
    ]
    assert remarks == ["second time: rit.", "first time: mp", "second time: p, hold"] or set(remarks) == {
        "second time: rit.", "first time: mp", "second time: p, hold",
    }  # fmt: skip


def test_a_low_tune_is_written_an_octave_higher() -> None:
    score = score_of(hostile("low"), ScoreLook())
    clef = next(ET.fromstring(score.mei).iter(f"{MEI}clef"))
    first = next(note for note in ET.fromstring(score.mei).iter(f"{MEI}note") if "pname" in note.attrib)
    assert (clef.get("dis"), clef.get("dis.place")) == ("8", "below")
    assert (first.get("pname"), first.get("oct")) == ("d", "5")


def test_accidentals_hold_for_their_bar() -> None:
    made = written("chords C | C\nmelody F#4 F# F F | F4 Bb B .", key="C major")
    root = ET.fromstring(score_of(made, ScoreLook()).mei)
    notes = [note for note in root.iter(f"{MEI}note") if "pname" in note.attrib]
    assert [note.get("accid") for note in notes] == ["s", None, "n", None, None, "f", "n"]


def nearness(arrangement: Arrangement) -> dict[str, float]:
    """Return the size of a digit by its layer."""
    svg = ET.fromstring(engraving_svg(engrave(arrangement)))
    sizes = {}
    for group in svg.iter("{http://www.w3.org/2000/svg}g"):
        classes = group.get("class", "").split()
        text = group.find("{http://www.w3.org/2000/svg}text")
        if text is not None and text.get("class") == "digit":
            sizes[" ".join(classes[1:])] = float(text.get("font-size", "0"))
    return sizes


def test_what_is_near_is_larger() -> None:
    sizes = nearness(arranged("songs/bicycle-bell.yaml"))
    assert sizes["melody struck"] > sizes["between struck"] > sizes["strums struck"]
    assert sizes["melody struck"] > sizes["melody under"]


def test_any_thread_engraves_alike() -> None:
    arrangement = arranged(EXAMPLES[0])
    with ThreadPoolExecutor(1) as one, ThreadPoolExecutor(1) as other:
        drawn = [pool.submit(lambda: line_svgs(engrave(arrangement))).result() for pool in (one, other)]
    assert drawn[0] == drawn[1] == line_svgs(engrave(arrangement))


def test_the_last_line_of_a_section_is_in_proportion_where_that_is_asked_for() -> None:
    song = written(
        """\
verse: |
  chords   C | F | G7 | C
  melody   E4 G C5 | A4:2 F | G4 B D5 | C5:3

  chords   C
  melody   C4:3
chorus: |
  chords   F | G7 | C | C
  melody   A4 F A | B4:2 G | C5:3 | C5:3
""",
        meter="3/4",
    )
    stretched, in_proportion = (
        engrave(song, ScoreLook(width=900, in_proportion=asked)) for asked in (False, True)
    )
    assert [system.bars for system in in_proportion.systems] == [system.bars for system in stretched.systems]
    assert [len(system.bars) for system in stretched.systems] == [2, 2, 1, 2, 2]
    full = engraved_width(stretched)
    assert [round(system.width / full, 1) for system in stretched.systems] == [1.0, 1.0, 1.0, 1.0, 0.8]
    assert [round(system.width / full, 1) for system in in_proportion.systems] == [1.0, 1.0, 0.4, 1.0, 0.8]
    assert sorted(names_of(in_proportion)) == sorted(names_of(stretched))


def engraved_width(engraving: Engraving) -> float:
    return max(system.width for system in engraving.systems)
