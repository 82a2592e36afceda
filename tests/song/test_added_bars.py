"""The intro, turnarounds and tag that settings add: which bars they are, where they stand, and what stays as it was."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.song import (
    Bar,
    Song,
    bar_indices,
    drop_pins,
    parse_song,
    played_bars,
    played_visits,
    tidy_text,
    transpose_song,
    write_song,
)
from tercet.song.writer import moved_text

SONGS = sorted((Path(__file__).resolve().parents[2] / "songs").glob("*.yaml"))

WALTZ = """title: Two Hills
meter: 3/4
dynamics: {{melody: f, strums: p}}
{settings}
sections:
  verse: |
    chords          | C:2 Am:1 | F      | G7        | C      | C     |
    melody   G4     | E4 G E   | A4:2 G | F4 D B3   | C4:3   | =:2 . |
    words    The    | one two three | four five | six sev-en | nine |  |
    marks last      |          |        | louder@1  | f@1 fermata@1 |  |
    strum           |          | D.x    |           | d..    |       |

  chorus: |
    chords   F      | C        | Dm     | G7
    melody   A4:2 F | G4:3     | A4:2 F | G4:3
    marks    p@1    |          | rit@1  | fermata@1
"""


def waltz(settings: str) -> Song:
    return parse_song(WALTZ.format(settings=settings))


def section(song: Song, name: str, pass_number: int = 1) -> list[Bar]:
    return [bar for bar in played_bars(song) if (bar.section, bar.pass_number) == (name, pass_number)]


def form(song: Song) -> str:
    return " ".join(visit.section for visit in played_visits(played_bars(song)))


def chords(bars: list[Bar]) -> list[str]:
    return [" ".join(str(span.chord) for span in bar.chords) for bar in bars]


def tune(bars: list[Bar]) -> list[str]:
    return [
        " ".join(f"{note.pitch or '.'}:{note.length_beat}{'=' * note.goes_on}" for note in bar.melody)
        for bar in bars
    ]


def marks(bar: Bar) -> list[str]:
    return [
        f"{mark.layer + ':' if mark.layer else ''}{mark.value or mark.kind}@{mark.at_beat + 1}"
        for mark in bar.marks
    ]


@pytest.mark.parametrize(
    ("settings", "expected"),
    [
        ("intro: 2\nform: verse chorus", "intro verse chorus"),
        (
            "intro: 2\nturnaround: 1\nform: verse*2 chorus verse",
            "intro verse turnaround verse chorus turnaround verse",
        ),
        ("turnaround: 2\nform: verse turnaround chorus verse", "verse turnaround chorus verse"),
        ("intro: 1\nform: verse intro verse", "verse intro verse"),
        ("ending: tag\nform: verse chorus", "verse chorus tag"),
        ("intro: 1\nending: tag 1", "intro verse chorus tag"),
        ("turnaround: 1\nform: verse*3 turnaround", "verse verse verse turnaround"),
        ("intro: 0\nturnaround: 0\nending: none\nform: verse*2", "verse verse"),
    ],
)
def test_where_they_stand(settings: str, expected: str) -> None:
    assert form(waltz(settings)) == expected


def test_an_intro_has_the_chords_that_lead_into_the_first_section() -> None:
    """The last bar only lets the chord ring on, so it is passed over; a strum row comes along, the tune doesn't."""
    song = waltz("intro: 3\nform: chorus verse")
    assert chords(section(song, "intro")) == ["C", "Dm", "G7"]
    song = waltz("intro: 3\nform: verse chorus")
    intro = section(song, "intro")
    assert chords(intro) == ["F", "G7", "C"]
    assert [bar.number for bar in intro] == [1, 2, 3]
    assert [bar.strum for bar in intro] == [tuple("D.x"), None, tuple("d..")]
    assert tune(intro) == [".:3", ".:3", ".:2 G4:1"]
    assert [word.text for bar in intro for _, word in bar.words] == ["The"]
    assert intro[-1].pickup_from == 2
    assert section(song, "verse")[0].number == 4


def test_all_bars_of_a_section_can_lead_in() -> None:
    """Then those in which the chord rings on count, too."""
    assert chords(section(waltz("intro: 5"), "intro")) == ["C Am", "F", "G7", "C", "C"]


def test_a_turnaround_leads_into_what_follows() -> None:
    song = waltz("turnaround: 1\nform: verse turnaround chorus turnaround verse")
    assert chords(section(song, "turnaround", 1)) == ["G7"]
    assert chords(section(song, "turnaround", 2)) == ["C"]
    assert [bar.number for bar in section(song, "turnaround", 2)] == [11]


def test_strums_come_forward_in_a_lead_in_and_go_back_after_it() -> None:
    """One step under the mark with which the section begins, or else under the one in force."""
    song = waltz("intro: 1\nturnaround: 1\nform: verse turnaround chorus verse")
    assert marks(section(song, "intro")[0]) == ["f@1", "strums:mf@1", "f@3"]
    assert marks(section(song, "turnaround")[0]) == ["p@1", "strums:pp@1"]
    assert marks(section(song, "chorus")[0]) == ["p@1"]
    song = waltz("turnaround: 1\nform: verse chorus turnaround verse")
    assert marks(section(song, "turnaround")[0]) == ["p@1", "strums:pp@1", "p@3"]
    song = waltz("intro: 1\nfront: 9\nform: verse chorus")
    assert marks(section(song, "intro")[0]) == ["f@1", "f@3"]


def test_a_tag_plays_the_last_bars_once_more() -> None:
    """The last two bars of the last line; what slows down at the end waits for it."""
    song = waltz("ending: tag\nform: verse chorus")
    assert chords(section(song, "tag")) == ["Dm", "G7"]
    assert tune(section(song, "tag")) == ["A4:2 F4:1", "G4:3"]
    assert [marks(bar) for bar in section(song, "tag")] == [["p@1", "rit@1"], ["fermata@1"]]
    assert [marks(bar) for bar in section(song, "chorus")] == [["p@1"], [], [], []]
    assert [bar.number for bar in section(song, "tag")] == [10, 11]


def test_a_ritard_that_begins_before_the_tags_bars_waits_too() -> None:
    assert marks(section(waltz("ending: tag 1"), "tag")[0]) == ["p@1", "rit@1", "fermata@1"]


def test_what_rings_on_at_the_end_comes_on_top_of_a_tag() -> None:
    """The tag's own bars are those of the last pass; a swell begins from where it began before."""
    song = waltz("ending: tag\nform: verse*2")
    tag = section(song, "tag")
    assert tune(tag) == ["F4:1 D4:1 B3:1", "C4:3", "C4:2= .:1"]
    assert [[word.text for _, word in bar.words] for bar in tag] == [["six", "sev", "en"], ["nine"], []]
    assert [marks(bar) for bar in tag] == [["f@1", "louder@1"], ["f@1", "fermata@1"], []]


def test_a_tag_that_begins_within_a_held_note_strikes_it() -> None:
    song = waltz("ending: tag 1\nform: verse")
    assert tune(section(song, "tag")) == ["C4:2 .:1"]
    assert [(start, word.text) for start, word in section(song, "tag")[0].words] == []
    assert tune(section(song, "verse"))[-1] == "C4:2= .:1"


def test_a_tag_has_the_ending_of_the_last_pass_and_a_lead_in_that_of_the_first() -> None:
    song = parse_song(
        "title: Endings\nmeter: 3/4\nform: verse*2\nintro: 1\nturnaround: 1\nending: tag\nsections:\n  verse: |\n"
        "    chords       C | F | G7   | C\n    chords last    |   |      | C6\n"
        "    melody       C4:3 | A4:3 | F4 D B3 | E4:3\n    melody last  | | | G4:3\n"
    )
    assert [chords(section(song, name)) for name in ("intro", "turnaround")] == [["C"], ["C"]]
    assert chords(section(song, "tag")) == ["G7", "C6"]
    assert tune(section(song, "tag")) == ["F4:1 D4:1 B3:1", "G4:3"]


def test_a_tag_keeps_to_the_last_line() -> None:
    text = WALTZ.format(settings="ending: tag") + "\n    chords   C\n    melody   C4:3\n"
    assert chords(section(parse_song(text), "tag")) == ["C"]


def test_the_last_chord_is_the_songs_own() -> None:
    for settings in ("ending: tag", "ending: tag 4", "intro: 2\nturnaround: 1\nform: verse chorus verse"):
        bars = played_bars(waltz(settings))
        plain = played_bars(replace(waltz(settings), intro_bars=0, turnaround_bars=0, tag_bars=None))
        assert bars[-1].chords == plain[-1].chords


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_the_songs_own_bars_stay_as_they_are(path: Path) -> None:
    """But for numbers, places, marks of level and time, and the ends of bars that a pick-up no longer takes."""
    text = path.read_text(encoding="utf-8")
    plain, longer = parse_song(text), parse_song(f"intro: 2\nturnaround: 2\nending: tag\n{text}")
    bars = [bar for bar in played_bars(longer) if not longer.adds(bar.section)]
    own = [bar for bar in played_bars(plain) if bar.number]
    assert len(bars) == len(own)
    for bar, before in zip(bars, own, strict=True):
        end = min(bar.pickup_from, before.pickup_from)
        assert (bar.section, bar.pass_number, bar.section_bar) == (
            before.section, before.pass_number, before.section_bar
        )  # fmt: skip
        assert [note for note in bar.melody if note.start_beat < end][:-1] == [
            note for note in before.melody if note.start_beat < end
        ][:-1]


@pytest.mark.parametrize("path", SONGS, ids=lambda path: path.stem)
def test_a_song_without_them_is_the_song_it_was(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert played_bars(parse_song(f"intro: 0\nturnaround: 0\nending: none\n{text}")) == played_bars(
        parse_song(text)
    )


def test_they_travel_with_the_song() -> None:
    """Tidying, writing, another key and other strings keep them."""
    settings = "intro: 2\nturnaround: 1\nending: tag 3\nform: verse turnaround chorus intro verse"
    song = waltz(settings)
    text = WALTZ.format(settings=settings)
    assert parse_song(write_song(song)) == song
    assert parse_song(tidy_text(text)) == song
    for changed in (parse_song(moved_text(text, transpose_song(song, 3)[0])), drop_pins(song)[0]):
        assert (changed.intro_bars, changed.turnaround_bars, changed.tag_bars) == (2, 1, 3)
        assert form(changed) == form(song)
    moved = transpose_song(song, 3)[0]
    assert chords(section(moved, "intro")) == ["Bb7", "Eb"]


def test_they_have_the_style_of_the_section_whose_bars_they_play() -> None:
    song = waltz(
        "intro: 1\nturnaround: 1\nending: tag\nstyle: {verse: plain, verse@last: broken}\nform: verse*2"
    )
    names = ("intro", "turnaround", "tag", "verse")
    assert [song.style_of(name, 1) for name in names] == ["plain", "plain", "broken", "plain"]


def test_bars_are_chosen_among_them() -> None:
    bars = played_bars(waltz("intro: 2\nending: tag\nform: verse*2"))
    assert bar_indices("intro", bars) == (0, 1)
    assert bar_indices("tag:1", bars) == (12,)
    assert bar_indices("3", bars) == bar_indices("verse:1", bars) == (2,)


def test_bars_add_up() -> None:
    bars = played_bars(waltz("intro: 2\nturnaround: 2\nending: tag\nform: verse*3 chorus"))
    assert [bar.number for bar in bars] == list(range(1, len(bars) + 1))
    assert bars[-1].start_beat + bars[-1].length_beat == Fraction(3) * len(bars)
