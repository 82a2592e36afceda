"""Pins are written behind their notes and shapes behind their chords; everything else stays."""

from __future__ import annotations

import pytest

from tercet.errors import ParameterError, SongError
from tercet.song import ChordSpan, Note, Pin, Source, parse_song
from tercet.song.chord_shapes import WrittenShape
from tercet.song.writer import pinned_text

TEXT = """\
# A comment at the top.
title: Two Kettles   # and one behind
meter: 3/4
form: verse*2
sections:
  verse: |
    # The kettle comes in.
    chords   C | A:1/2 E/G#:2.5
    melody   G4:1.0 A[alone] s1f3:1/2 =:1/2 | B4:3
    melody 2 | C5:3
    words    Hot wa- ter | sings
"""

PINNED = """\
# A comment at the top.
title: Two Kettles   # and one behind
meter: 3/4
form: verse*2
sections:
  verse: |
    # The kettle comes in.
    chords    C[0003/0003]                    | A:1/2 E/G#[x.10.12.9]:2.5 |
    melody    G4[2] A[1] s1f3:1/2[4321] =:1/2 | B4:3[321]                 |
    melody 2                                  | C5:3[roll]                |
    words     Hot wa- ter                     | sings                     |
"""

PINS = {
    Source(9, 14, 6): Pin("alone", (2,)),
    Source(9, 21, 8): Pin("alone", (1,)),
    Source(9, 30, 8): Pin("roll", (4, 3, 2, 1)),
    Source(9, 47, 4): Pin("roll", (3, 2, 1)),
    Source(10, 16, 4): Pin("roll"),
}
SHAPES = {
    Source(8, 14, 1): WrittenShape((0, 0, 0, 3), (0, 0, 0, 3)),
    Source(8, 24, 8): WrittenShape((None, 10, 12, 9)),
}


def items_of(text: str) -> list[Note | ChordSpan]:
    """Return the notes and chords of a text in the order written."""
    rows = parse_song(text).sections[0].lines[0].rows
    items = [item for row in rows for bar in row.bars for item in bar or ()]
    return [item for item in items if isinstance(item, Note | ChordSpan)]


def test_pins_and_shapes_are_written_and_comments_stay() -> None:
    assert pinned_text(TEXT, PINS, SHAPES) == PINNED


def test_what_is_written_is_read_back() -> None:
    for before, after in zip(items_of(TEXT), items_of(PINNED), strict=True):
        if isinstance(before, Note) and isinstance(after, Note):
            assert after.pin == PINS.get(before.source)
            assert (after.pitch, after.position, after.length_beat, after.goes_on) == (
                before.pitch,
                before.position,
                before.length_beat,
                before.goes_on,
            )
        elif isinstance(before, ChordSpan) and isinstance(after, ChordSpan):
            written = SHAPES.get(before.source, WrittenShape(()))
            assert (after.shape or (), after.fingers) == (written.frets, written.fingers)
            assert (after.chord, after.length_beat) == (before.chord, before.length_beat)


def test_without_pins_the_text_is_only_tidied() -> None:
    once = pinned_text(TEXT, {}, {})
    assert "[1]" not in once
    assert pinned_text(once, {}, {}) == once


def test_line_ends_stay_as_they_are() -> None:
    assert pinned_text(TEXT.replace("\n", "\r\n"), PINS, SHAPES) == PINNED.replace("\n", "\r\n")


@pytest.mark.parametrize("place", [Source(99, 1), Source(9, 400), Source(0, 0)])
def test_a_place_beyond_the_text_is_refused(place: Source) -> None:
    with pytest.raises(ParameterError, match=r"a place must lie within the text \(got line"):
        pinned_text(TEXT, {place: Pin("roll")}, {})


def test_a_place_where_no_note_stands_is_refused() -> None:
    with pytest.raises(ParameterError, match=r"no note stands at line 2, column 1"):
        pinned_text(TEXT, {Source(2, 1, 6): Pin("roll")}, {})
    with pytest.raises(ParameterError, match=r"no chord stands at line 7, column 5"):
        pinned_text(TEXT, {}, {Source(7, 5, 5): WrittenShape((0, 0, 0, 3))})


def test_a_pin_that_the_format_has_no_place_for_is_refused_as_a_mistake() -> None:
    continued = {Source(9, 39, 5): Pin("alone", (1,))}
    with pytest.raises(SongError, match=r"isn.t struck again"):
        pinned_text(TEXT, continued, {})
