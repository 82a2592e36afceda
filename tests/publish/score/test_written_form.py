"""What is printed once, and how the way through it is told."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from tercet.arranging import Arrangement
from tercet.publish.score.written_form import WrittenForm, WrittenSection, listed, written_form
from tests.publish.papers import EXAMPLES, arranged, written

LINE = "chords  C | F | G7 | C\nmelody  G4 E G C5 | A4:2 F:2 | B4 A G F | E4:4\n"


def sections(*bodies: tuple[str, str], form: str, strum: str = "d . d .") -> WrittenForm:
    text = "\n".join(
        f"{name}: |\n" + "\n".join(f"  {line}" for line in body.strip().split("\n")) for name, body in bodies
    )
    return written_form(written(text, form=form, **({"strum": strum} if strum else {})))


def shape(form: WrittenForm) -> list[tuple[str, list[tuple[str, int]], int, str]]:
    """Return each printed section: its title, its parts (passes and bars), how often it is repeated, where to go."""
    return [
        (
            section.title,
            [(listed(part.passes) if part.ending else "", len(part.bars)) for part in section.segments],
            section.repeat_times,
            then(section),
        )
        for section in form.sections
    ]


def then(section: WrittenSection) -> str:
    return section.then_after(section.passes, repeated=section.repeat_times > 1)


def test_a_section_that_comes_again_at_once_is_repeated() -> None:
    form = sections(("verse", LINE), form="verse*3")
    assert shape(form) == [("verse", [("", 4)], 3, "")]
    assert form.in_words == "verse 3 times"


def test_another_ending_stands_under_a_bracket() -> None:
    form = sections(("verse", LINE + "melody 2  | | B4 A G D | C4:4"), form="verse verse")
    assert shape(form) == [("verse", [("", 2), ("1.", 2), ("2.", 2)], 2, "")]


def test_the_last_bar_that_is_strummed_another_way_stands_under_a_bracket() -> None:
    form = sections(("verse", LINE), form="verse*3", strum="")
    assert shape(form) == [("verse", [("", 3), ("1.", 1), ("2. 3.", 1)], 3, "")]
    short = sections(("verse", "chords C | F\nmelody G4:4 | A4:4"), form="verse*3", strum="")
    assert shape(short) == [("verse", [("", 2)], 3, "")]


def test_bars_that_differ_in_between_stand_under_brackets_too() -> None:
    form = sections(("verse", LINE + "melody 2  | A4 A A A | | "), form="verse verse")
    assert shape(form)[0][1] == [("", 1), ("1.", 1), ("2.", 1), ("", 2)]


def test_a_pass_with_little_in_common_is_printed_on_its_own() -> None:
    form = sections(("verse", LINE + "melody 2  C5 C C C | C5 C C C | C5 C C C | "), form="verse verse")
    assert [section.title for section in form.sections] == ["verse, first time", "verse, second time"]


def test_words_and_marks_that_differ_make_no_other_bar() -> None:
    body = (
        LINE + "words   a b c d | e f | g h i j | k\nwords 2 l m n o | p q | r s t u | v\nmarks 2 p@1 | | |"
    )
    assert shape(sections(("verse", body), form="verse verse")) == [("verse", [("", 4)], 2, "")]


def test_a_group_that_comes_again_is_repeated_as_a_whole() -> None:
    form = sections(
        ("verse", LINE), ("chorus", LINE.replace("G4 E", "C5 E")), form="verse chorus verse chorus"
    )
    assert [(section.repeat_start, section.repeat_times) for section in form.sections] == [
        (True, 1),
        (False, 2),
    ]
    assert [then(section) for section in form.sections] == ["", ""]


def test_what_signs_can_not_tell_is_said() -> None:
    chorus = LINE.replace("G4 E", "C5 E")
    form = sections(("verse", LINE), ("chorus", chorus), form="verse chorus chorus verse")
    assert [then(section) for section in form.sections] == ["2nd time: end", "then: verse"]
    form = sections(("verse", LINE), ("chorus", chorus), form="verse chorus verse")
    assert [then(section) for section in form.sections] == ["2nd time: end", "then: verse"]
    form = sections(("verse", LINE), ("chorus", chorus), form="verse verse chorus verse verse chorus")
    assert [then(section) for section in form.sections] == ["", "1st time: verse"]
    form = sections(("verse", LINE), ("chorus", chorus), form="verse verse")
    assert shape(form) == [("verse", [("", 4)], 2, "")]
    assert form.in_words == "verse twice"


def test_a_pick_up_is_a_bar_of_its_own() -> None:
    body = """
chords       | C      | F
melody  G4   | C5:4   | A4:3 .
words   The  | rain   | falls
"""
    form = sections(("verse", body), form="verse verse")
    lengths = [bar.printed.length_beat for bar in form.bars]
    assert lengths == [1, 4, 3, 4]
    assert [(listed(part.passes), part.ending) for part in form.sections[0].segments] == [
        ("1. 2.", False), ("1.", True), ("2.", True),
    ]  # fmt: skip


@pytest.mark.parametrize("path", EXAMPLES)
def test_every_stretch_of_the_piece_is_printed_exactly_once(path: str) -> None:
    arrangement = arranged(path)
    form = written_form(arrangement)
    covered: dict[int, list[tuple[Fraction, Fraction]]] = {}
    for printed in form.bars:
        for stretch in printed.playings:
            covered.setdefault(stretch.bar_index, []).append((stretch.low_beat, stretch.high_beat))
    assert len(covered) == len(arrangement.bars)
    for index, bar in enumerate(arrangement.bars):
        edges = sorted(covered[index])
        assert edges[0][0] == 0
        assert edges[-1][1] == bar.length_beat
        assert all(before[1] == after[0] for before, after in pairwise(edges))


@pytest.mark.parametrize("path", EXAMPLES)
def test_a_playing_sounds_as_its_bar_is_printed(path: str) -> None:
    arrangement = arranged(path)
    for bar in written_form(arrangement).bars:
        heard = {_heard(arrangement, stretch.start_beat, stretch.end_beat) for stretch in bar.playings}
        assert len(heard) == 1


def _heard(arrangement: Arrangement, low: Fraction, high: Fraction) -> object:
    return tuple(
        (
            gesture.start_beat - low,
            gesture.action,
            gesture.up,
            tuple((n.string, n.fret) for n in gesture.notes),
        )
        for gesture in arrangement.gestures
        if low <= gesture.start_beat < high
    )


def test_passes_are_listed() -> None:
    assert [listed(passes) for passes in ((1,), (1, 3), (2, 3, 4, 5), (1, 2, 4, 5))] == [
        "1.", "1. 3.", "2. to 5.", "1. 2. 4. 5.",
    ]  # fmt: skip
