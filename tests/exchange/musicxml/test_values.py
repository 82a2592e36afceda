"""Lengths as they are printed: any length that a song can write, in every meter, read back by us and by music21."""

from __future__ import annotations

import warnings
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from tercet.arranging import arrange, song_tuning
from tercet.exchange import imported_text
from tercet.exchange.musicxml import musicxml_bytes, read_musicxml
from tercet.exchange.musicxml.values import values_of
from tercet.song import Note, Song, parse_song, played_bars
from tests.exchange.heard import heard_song, verdict_of
from tests.exchange.musicxml.test_schema import faults

QUARTERS = {
    "breve": Fraction(8), "whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1),
    **{name: Fraction(1, 2**power) for power, name in enumerate(
        ("eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th"), 1)},
}  # fmt: skip
METERS = (
    "4/4",
    "3/4",
    "2/4",
    "2/2",
    "3/2",
    "4/2",
    "6/8",
    "9/8",
    "12/8",
    "5/8",
    "7/8",
    "5/4",
    "3/8",
    "4/16",
    "15/16",
)
PLAIN_STEPS = [Fraction(1), Fraction(1, 2), Fraction(1, 4), Fraction(1, 8)]
ODD_STEPS = [
    [Fraction(1, 3), Fraction(1, 6), Fraction(2, 3)],
    [Fraction(1, 5)],
    [Fraction(1, 7)],
    [Fraction(1, 9)],
]


def lengths_filling(bar: Fraction) -> st.SearchStrategy[list[Fraction]]:
    """Return lengths that fill a bar, cut at multiples of steps that change within it, plain ones and of one tuplet."""

    @st.composite
    def cut(draw: st.DrawFn) -> list[Fraction]:
        lengths: list[Fraction] = []
        left = bar
        steps = PLAIN_STEPS + draw(st.sampled_from(ODD_STEPS))
        while left:
            step = draw(st.sampled_from(steps))
            count = draw(st.integers(1, 9))
            lengths.append(min(step * count, left))
            left -= lengths[-1]
            if len(lengths) == 12 and left:
                lengths.append(left)
                break
        return lengths

    return cut()


def printed_quarters(note: Any) -> Fraction:
    """Return how long a note looks: its type, dots and tuplet."""
    length = QUARTERS[note.findtext("type")] * (2 - Fraction(1, 2 ** len(note.findall("dot"))))
    change = note.find("time-modification")
    if change is not None:
        length *= Fraction(int(change.findtext("normal-notes")), int(change.findtext("actual-notes")))
    return length


@given(lengths_filling(Fraction(4)))
@settings(max_examples=200, phases=[Phase.explicit, Phase.generate])
def test_values_make_up_their_lengths_and_tuplets_start_and_stop(lengths: list[Fraction]) -> None:
    printed = values_of(lengths)
    assert [sum(value.quarters for value in values) for values in printed] == lengths
    open_actual = 0
    for value in (value for values in printed for value in values):
        assert value.kind
        printed_length = QUARTERS[value.kind] * (2 - Fraction(1, 2**value.dots))
        assert printed_length * Fraction(value.normal, value.actual) == value.quarters
        if value.starts:
            assert open_actual == 0
            open_actual = value.actual
        assert (value.actual > 1) == (open_actual > 0)
        assert value.actual in (1, open_actual)
        open_actual = 0 if value.stops else open_actual
    assert open_actual == 0


@pytest.mark.parametrize(
    ("lengths", "printed"),
    [
        ([Fraction(5, 4)], ["quarter", "16th"]),
        ([Fraction(7, 4)], ["quarter.."]),
        ([Fraction(5), Fraction(9, 2)], ["whole", "quarter", "whole", "eighth"]),
        ([Fraction(1, 3), Fraction(1), Fraction(2, 3)], ["[3 eighth", "quarter.", "quarter]"]),
        ([Fraction(1, 3)] * 3 + [Fraction(1)], ["[3 eighth", "eighth", "eighth]", "quarter"]),
        ([Fraction(5, 3), Fraction(1, 3)], ["[3 half", "eighth", "eighth]"]),
        ([Fraction(2, 5), Fraction(3, 5), Fraction(2, 3)], ["[5 eighth", "eighth.]", "[3 quarter]"]),
        ([Fraction(1, 7)] * 7, ["[7 16th", *["16th"] * 5, "16th]"]),
        ([Fraction(1, 512)], [""]),
    ],
)
def test_values_of_some_lengths(lengths: list[Fraction], printed: list[str]) -> None:
    shown = [
        f"[{value.actual} " * value.starts + value.kind + "." * value.dots + "]" * value.stops
        for values in values_of(lengths)
        for value in values
    ]
    assert shown == printed


@st.composite
def songs_of_lengths(draw: st.DrawFn) -> str:
    """Draw the text of a song in any meter whose notes, rests and ties have any lengths."""
    meter = draw(st.sampled_from(METERS))
    upper, _, _ = meter.partition("/")
    bars, words = [], []
    before = "."
    for number in range(draw(st.integers(1, 3))):
        row = []
        for place, length in enumerate(draw(lengths_filling(Fraction(int(upper))))):
            first = not number and not place
            goes_on = before != "." and draw(st.integers(0, 4)) == 0
            head = (
                "="
                if goes_on
                else draw(st.sampled_from(("C4", "A4") if first else ("C4", "E4", "G4", "A4", ".")))
            )
            words += [] if head in (".", "=") else ["la"]
            row.append(f"{head}:{length}")
            before = head
        bars.append(row)
    melody = " | ".join(" ".join(row) for row in bars)
    return (
        f"title: Lengths\nmeter: {meter}\nsections:\n  a: |\n    chords  C{' |' * (len(bars) - 1)}\n"
        f"    melody  {melody}\n"
    )


def struck(song: Song) -> list[list[Note]]:
    """Return the notes of each bar as they are written, without its rests."""
    return [[note for note in bar.melody if not note.is_rest] for bar in played_bars(song)]


def exported(song: Song) -> bytes:
    return musicxml_bytes(arrange(song, song_tuning(song)))[0]


@given(songs_of_lengths())
@settings(max_examples=40, deadline=None, phases=[Phase.explicit, Phase.generate])
def test_every_length_is_valid_printed_as_long_as_it_lasts_and_comes_back(text: str) -> None:
    song = parse_song(text)
    data = exported(song)
    root = fromstring(data)
    for part in root.findall("part"):
        divisions = int(next(part.iter("divisions")).text or 0)
        nominal = Fraction(4 * song.meter.upper, song.meter.lower)
        for measure in part.findall("measure"):
            alone = [note for note in measure.findall("note") if note.find("chord") is None]
            lasts = [Fraction(int(note.findtext("duration") or 0), divisions) for note in alone]
            assert sum(lasts) == nominal
            whole = [note.find("rest") is not None and note.find("type") is None for note in alone]
            assert [
                printed_quarters(note) for note, is_whole in zip(alone, whole, strict=True) if not is_whole
            ] == [length for length, is_whole in zip(lasts, whole, strict=True) if not is_whole]
            marks = [mark.get("type") for note in alone for mark in note.iter("tuplet")]
            assert marks == ["start", "stop"] * (len(marks) // 2)
    back = imported_text(read_musicxml(data, "x"), "x")[1]
    assert struck(back) == struck(song)


@given(songs_of_lengths())
@settings(max_examples=6, deadline=None, phases=[Phase.explicit, Phase.generate])
def test_what_we_write_is_valid_and_music21_reads_the_same(text: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import music21

    song = parse_song(text)
    data = exported(song)
    assert faults(data) == []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        part = music21.converter.parse(data, format="musicxml").parts[0].stripTies().flatten()
    notes = [
        (int(note.pitch.midi), Fraction(note.offset), Fraction(note.quarterLength))
        for note in part.notes
        if "ChordSymbol" not in note.classes
    ]
    assert (
        verdict_of(
            heard_song(song), notes and [(m, on - notes[0][1], le) for m, on, le in notes], Fraction(1, 500)
        )
        == "exact"
    )


def test_a_roll_that_is_held_over_a_split_is_struck_once() -> None:
    song = parse_song(
        "title: Held\nmeter: 5/4\nsections:\n  a: |\n    chords  C\n    melody  C5:5/4[321] E5:15/4[1]\n"
    )
    tab = fromstring(exported(song)).findall("part")[1]
    first = [note for note in tab.iter("note") if note.findtext("notations/technical/string")]
    struck = [note for note in first if all(tie.get("type") != "stop" for tie in note.findall("tie"))]
    assert sum(note.find("notations/arpeggiate") is not None for note in first) == 3
    assert [note.findtext("type") for note in first[:6]] == ["quarter"] * 3 + ["16th"] * 3
    assert len(struck) >= 4
    for before, after in pairwise(first[:6:3]):
        assert before.findtext("notations/technical/fret") == after.findtext("notations/technical/fret")
