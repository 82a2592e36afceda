"""Ties written at the note that is held: the edits of the mistake write the song as it is written today."""

from __future__ import annotations

import pytest

from tercet.errors import Edit, SongError
from tercet.song import parse_song

HEAD = "title: One\nmeter: 3/4\nsections:\n  verse: |\n"


def edits_for(text: str) -> list[Edit]:
    with pytest.raises(SongError, match="has no ~") as caught:
        parse_song(text)
    return [edit for mistake in caught.value.mistakes for edit in mistake.edits]


def edited(text: str) -> str:
    """Return a text with the edits of all of its mistakes, from its end to its start."""
    lines = text.split("\n")
    for edit in sorted(edits_for(text), key=lambda edit: (edit.line, edit.column), reverse=True):
        assert edit.line == edit.end_line
        line = lines[edit.line - 1]
        lines[edit.line - 1] = line[: edit.column - 1] + edit.text + line[edit.end_column - 1 :]
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("C5:3~ | C5:2 D5", "C5:3 | =:2 D5"),
        ("C5:3~ | C:2 D", "C5:3 | =:2 D"),
        ("C5:2 F#5~ | F♯5:3", "C5:2 F#5 | =:3"),
        ("C5:1/2~ C:1/2~ C~ C~ | C5:3", "C5:1/2 =:1/2 = = | =:3"),
        ("C5:3[321]~ | C5:3", "C5:3[321] | =:3"),
        ("C5:3~[321] | C5 C D", "C5:3[321] | = C D"),
        ("C5~:3 | C5:3", "C5:3 | =:3"),
        ("s1f3:2~ s1f3 | s2f0:3", "s1f3:2 = | s2f0:3"),
        ("C5:3~ | =:3", "C5:3 | =:3"),
    ],
)
def test_the_note_after_is_written_as_going_on(old: str, new: str) -> None:
    text = f"{HEAD}    chords  C | G\n    melody  {{}}\n"
    assert edited(text.format(old)) == text.format(new)
    assert parse_song(edited(text.format(old))).title == "One"


@pytest.mark.parametrize(
    "melody",
    ["C5:3~ | D5:3", "C5:3~ | C4:3", "C5:3~ | .:3", "C5:3~ | C5:3[321]", "C5:3~ | s1f3:3", "G4:3 | C5:3~"],
)
def test_where_it_may_be_meant_otherwise_nothing_is_edited(melody: str) -> None:
    text = f"{HEAD}    chords  C | G\n    melody  {melody}\n"
    assert edits_for(text) == []
    with pytest.raises(SongError, match=r"take the ~ away; where the note goes on, write ="):
        parse_song(text)
