"""What a student is told: the order of choice, the track, and what is said when little is trusted."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tercet.arranging import Arrangement
from tercet.hearing import BarTempo, Front, Heard, HeardStroke, StringTuning, advise
from tercet.hearing.class_table import class_rows
from tercet.kit.one_track import OneTrack
from tercet.tracks import recipe_named


@pytest.fixture(scope="module")
def clean(slips_heard: Heard) -> Heard:
    """What would be heard of a take without a slip."""
    strokes = tuple(
        replace(s, verdict="played", heard_midi=None, trust=1.0, off_s=0.0) for s in slips_heard.strokes
    )
    bars = sorted({stroke.bar_number for stroke in strokes})
    tempi = tuple(BarTempo(number, float(number), 100.0, 1.0) for number in bars)
    tuning = tuple(StringTuning(string, 0.5, 0.4, 20) for string in (4, 3, 2, 1))
    front = Front(10.0, 0.7, 10.0, gain_controlled=False)
    return replace(
        slips_heard,
        strokes=strokes,
        tempi=tempi,
        tuning=tuning,
        front=front,
        repeats=(),
        pauses=(),
        noise_db=30.0,
        trust=1.0,
    )


def with_slips(heard: Heard, verdict: str, places: dict[int, int], **more: object) -> Heard:
    """Return what was heard with a verdict on some strokes of melody and between: how many in which bars."""
    left = dict(places)
    strokes: list[HeardStroke] = []
    for stroke in heard.strokes:
        if stroke.layer != "strums" and left.get(stroke.bar_number, 0):
            left[stroke.bar_number] -= 1
            strokes.append(replace(stroke, verdict=verdict, **more))  # type: ignore[arg-type]
        else:
            strokes.append(stroke)
    assert not any(left.values())
    return replace(heard, strokes=tuple(strokes))


def test_nothing_to_practise(clean: Heard) -> None:
    advice = advise(clean)
    assert advice.next is None
    assert advice.well.startswith("Every note of the ")
    assert class_rows([clean]) == [("Ada", "", "", "nothing to practise")]


def test_each_thing_comes_in_its_order_with_its_track(clean: Heard) -> None:
    heard = clean
    numbers = [bar.bar_number for bar in clean.tempi]
    steps: list[tuple[str, str, Heard]] = []
    heard = with_slips(heard, "late", {numbers[6]: 1}, off_s=0.15)
    steps.append(("timing", "loop", heard))
    heard = with_slips(heard, "missed", {numbers[4]: 1})
    steps.append(("notes", "loop", heard))
    heard = with_slips(heard, "ran past", {numbers[1]: 1, numbers[2]: 1, numbers[3]: 1})
    steps.append(("rolls", "turns-rolls", heard))
    heard = replace(heard, front=Front(4.0, 0.7, 10.0, gain_controlled=False))
    steps.append(("front", "contrast", heard))
    slow = tuple(replace(bar, part=0.8) if n in (7, 8) else bar for n, bar in enumerate(heard.tempi))
    heard = replace(heard, tempi=slow)
    steps.append(("slower", "ladder", heard))
    heard = replace(
        heard, tuning=tuple(replace(s, cents=-14.0) if s.string == 3 else s for s in heard.tuning)
    )
    steps.append(("tuning", "tune-up", heard))
    for kind, track, each in steps:
        advice = advise(each)
        assert advice.next is not None
        assert (advice.next.kind, advice.next.track) == (kind, track)
    assert [claim.kind for claim in advise(heard).others] == ["slower", "front", "rolls", "notes", "timing"]


def test_notes_wrong_again_in_a_bar_come_before_a_slower_place(clean: Heard) -> None:
    bar = clean.tempi[4].bar_number
    heard = with_slips(clean, "missed", {bar: 2})
    slow = tuple(replace(each, part=0.8) if n in (7, 8) else each for n, each in enumerate(heard.tempi))
    advice = advise(replace(heard, tempi=slow))
    assert advice.next is not None
    assert advice.next.kind == "notes"
    assert advice.next.bars[0] == bar


def test_every_track_that_is_named_is_there_and_takes_its_options(
    clean: Heard, arrangement: Arrangement
) -> None:
    for heard in (
        with_slips(clean, "missed", {clean.tempi[4].bar_number: 2}),
        replace(clean, front=Front(4.0, 0.7, 10.0, gain_controlled=False)),
    ):
        claim = advise(heard).next
        assert claim is not None
        assert recipe_named(claim.track, (), arrangement.song.layers).name == claim.track
        words = dict(zip(claim.options[::2], claim.options[1::2], strict=True))
        OneTrack(words["--track"], speed=words.get("--speed", Fraction(1)), bars=words.get("--bars", ""))


def test_what_is_trusted_little_is_perhaps(clean: Heard) -> None:
    bar = clean.tempi[4].bar_number
    sure, unsure = (advise(with_slips(clean, "missed", {bar: 2}, trust=trust)).next for trust in (0.9, 0.5))
    assert sure is not None
    assert unsure is not None
    assert not sure.sentence.startswith("Perhaps")
    assert unsure.sentence.startswith("Perhaps: ")
    noisy = advise(replace(with_slips(clean, "missed", {bar: 2}), noise_db=8.0)).next
    assert noisy is not None
    assert noisy.sentence.startswith("Perhaps: ")


def test_below_two_fifths_the_song_is_asked_for(clean: Heard) -> None:
    advice = advise(replace(clean, trust=0.39))
    assert (advice.well, advice.next) == ("", None)
    assert advice.ask.startswith("Is this Kettle and Cup")
    assert class_rows([replace(clean, trust=0.39)]) == [("Ada", "?", "", "is this the right song?")]


def test_a_class_is_in_the_order_of_its_bars(clean: Heard) -> None:
    early, later = clean.tempi[1].bar_number, clean.tempi[4].bar_number
    found = [
        replace(with_slips(clean, "missed", {later: 2}), name="Zoe"),
        replace(clean, name="Max"),
        replace(with_slips(clean, "missed", {early: 2}), name="Eve"),
    ]
    assert [row[0] for row in class_rows(found)] == ["Eve", "Zoe", "Max"]


def test_no_score_and_no_grade(slips_heard: Heard) -> None:
    advice = slips_heard.advice()
    said = " ".join([advice.well, *(claim.sentence for claim in (advice.next, *advice.others) if claim)])
    assert not any(word in said.lower() for word in ("score", "grade", "points", "%.", "error", "mistake"))
