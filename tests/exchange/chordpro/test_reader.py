"""Words with chords as songs: bars, sections, passes, shapes, grids; what is passed over is said with its line."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest

from tercet.cli import main
from tercet.exchange import Choice, TuneError, imported_text, read_tune
from tercet.exchange.chordpro import read_chordpro
from tercet.exchange.chordpro.directives import DIRECTIVES
from tercet.song import Song, played_bars
from tests.kits import ROOT

ONE = Fraction(1)
TABLE = re.compile(r"^\| `(\w+)` \| (?:`(\w+)`)? ?\| (.*?) \| (.*?) ?\|$", re.MULTILINE)


def read(text: str, bars_per_chord: Fraction | None = None) -> tuple[str, Song, tuple[str, ...]]:
    return imported_text(read_chordpro(text.encode(), "x.cho", bars_per_chord=bars_per_chord), "x.cho")


def chords(song: Song) -> list[list[tuple[str, float]]]:
    return [
        [(str(span.chord or "N.C."), float(span.length_beat)) for span in bar.chords]
        for bar in played_bars(song)
    ]


def words(song: Song) -> list[str]:
    return [
        " ".join(each.text + "-" * each.joined for _, each in bar.words if not each.holds)
        for bar in played_bars(song)
    ]


def test_a_chord_lasts_as_many_bars_as_is_said() -> None:
    text = "{time: 4/4}\n[C]Down in the [G7]val-ley, [F]la\n"
    assert chords(read(text, ONE)[1]) == [[("C", 4)], [("G7", 4)], [("F", 4)]]
    assert chords(read(text, Fraction(1, 2))[1]) == [[("C", 2), ("G7", 2)], [("F", 4)]]
    assert chords(read(text, Fraction(2))[1]) == [
        [("C", 4)],
        [("C", 4)],
        [("G7", 4)],
        [("G7", 4)],
        [("F", 4)],
        [("F", 4)],
    ]
    assert words(read(text, ONE)[1]) == ["Down in the", "val- ley,", "la"]


@pytest.mark.parametrize("bar", ["[|]", "|", "[*|]", "||"])
def test_bar_lines_and_beats_say_how_long_chords_last(bar: str) -> None:
    song = read(f"{{time: 3/4}}\nOh {bar}[C]down [/] in [G]the {bar}[C]hall{bar}\n")[1]
    assert chords(song) == [[("N.C.", 1)], [("C", 2), ("G", 1)], [("C", 3)]]
    assert words(song) == ["Oh", "down in the", "hall"]


def test_lines_without_bar_lines_at_their_ends_end_bars() -> None:
    song = read("{time: 4/4}\n[C]one | [G]two\n[F]three | [C]four\n")[1]
    assert words(song) == ["one", "two", "three", "four"]


def test_verses_are_passes_that_share_their_rests() -> None:
    _, song, _ = read(
        "{time: 4/4}\n{sov}\n[C]one two three [G]four\n{eov}\n"
        "{start_of_verse: Verse 2}\n[C]five [G]six se-ven\n{eov}\n",
        ONE,
    )
    assert [visit.section for visit in song.form] == ["verse", "verse"]
    (line,) = song.section("verse").lines
    assert [row.name for row in line.rows if row.name == "melody"] == ["melody"]
    assert words(song) == ["one two three", "four", "five", "six se- ven"]


def test_a_verse_without_chords_takes_those_before() -> None:
    _, song, said = read("{time: 4/4}\n[C]one [G]two\n\n{c: Chorus}\n[F]la\n[C]la\n\nthree four\n", ONE)
    assert chords(song)[-2:] == [[("C", 4)], [("G", 4)]]
    assert words(song)[-2:] == ["three", "four"]
    assert any("words without chords go to those of line 2: line 8" in each for each in said)


def test_a_grid_repeats_and_plays_bars_again() -> None:
    song = read("{time: 4/4}\n{sog}\n|: C . G . | % . . :| F~G . | C |.\n|S dn ~up dn up |\n{eog}\n")[1]
    cg, fg = [("C", 2), ("G", 2)], [("F", 1), ("G", 3)]
    assert chords(song) == [cg, cg, cg, cg, fg, [("C", 4)]]
    assert song.strum == tuple("d..ud.u.")


def test_the_head_becomes_settings() -> None:
    _, song, _ = read(
        "{t: Lanterns}\n{st: By night}\n{artist: A}\n{composer: B}\n{lyricist: C}\n{copyright: CC0}\n{key: Em}\n"
        "{time: 6/8}\n{meta: tempo 92}\n{capo: 2}\n[|][Em]la\n"
    )
    assert (song.title, song.composer, song.source_note) == ("Lanterns", "B", "By night; words: C")
    assert (song.licence, str(song.key), str(song.meter), int(song.tempo)) == ("CC0", "E minor", "6/8", 92)
    assert (song.sounding, [str(each) for each in song.tuning]) == (2, ["A4", "D4", "F#4", "B4"])


def test_shapes_of_four_strings_are_kept_and_others_passed_over() -> None:
    _, song, said = read(
        "{define: D7 base-fret 1 frets 2 0 2 0 fingers 1 0 2 0}\n{define: G base-fret 1 frets 3 2 0 0 0 3}\n"
        "[|][D7]la [|][G]la\n"
    )
    shapes = [span.shape for bar in played_bars(song) for span in bar.chords]
    assert shapes == [(2, 0, 2, 0), None]
    assert "a shape that isn't for four strings is passed over: line 2" in said


def test_chords_are_moved_from_where_that_is_said() -> None:
    song = read("{key: C}\n[|][C]la\n{transpose: 2}\n[|][C]la [|][G7/B]la\n")[1]
    assert [bar[0][0] for bar in chords(song)] == ["C", "D", "A7/C#"]


def test_chords_over_words_stand_where_they_are_above() -> None:
    text = "Lantern Song\nKey: G\n\nVerse 1:\nG       C   D7\nLanterns are lit\n\n[Chorus]\n| C   | G |\n  la    la\n"
    _, song, _ = read(text, ONE)
    assert song.title == "Lantern Song"
    assert [section.name for section in song.sections] == ["verse", "chorus"]
    assert words(song) == ["Lanterns", "are", "lit", "la", "la"]
    assert [bar[0][0] for bar in chords(song)] == ["G", "C", "D7", "C", "G"]


def test_the_second_song_of_a_book_is_found_by_its_title() -> None:
    book = b"{t: One}\n[|][C]la\n{ns}\n{t: Two}\n[|][G]lo\n"
    assert read_chordpro(book, "x", "two").title == read_chordpro(book, "x", "2").title == "Two"
    with pytest.raises(TuneError, match="no song called three: there are 1 One, 2 Two"):
        read_chordpro(book, "x", "three")


def test_a_book_becomes_a_file_for_each_song(tmp_path: Path) -> None:
    path = tmp_path / "book.cho"
    path.write_bytes(b"{t: One}\n[C]la\n{ns}\n{t: Two}\n[G]lo\n")
    out = tmp_path / "songs"
    out.mkdir()
    assert main(["import", str(path), "-o", str(out), "--bars-per-chord", "1"]) == 0
    assert sorted(each.name for each in out.iterdir()) == ["one.yaml", "two.yaml"]


@pytest.mark.parametrize("ending", ["cho", "txt"])
def test_what_is_imported_is_checked_played_and_exported(ending: str, tmp_path: Path) -> None:
    text = {"cho": "{t: x}\nOh [C]la la [G7]la\n", "txt": "   C     G7\nOh la la la\n"}[ending]
    source, song = tmp_path / f"x.{ending}", tmp_path / "x.yaml"
    source.write_text(text, encoding="utf-8")
    assert main(["import", str(source), "-o", str(song)]) == 1
    assert main(["import", str(source), "-o", str(song), "--bars-per-chord", "1"]) == 0
    assert main(["check", str(song)]) == 0
    for made in ("x.mid", "x.musicxml", "x.abc", "back.cho"):
        assert main(["export", str(song), "-o", str(tmp_path / made)]) == 0
    again = imported_text(read_tune(tmp_path / "back.cho", Choice()), "x")[1]
    assert words(again) == ["Oh", "la la", "la"]


def test_the_table_of_directives_is_the_one_that_is_used() -> None:
    page = (ROOT / "docs" / "chordpro.md").read_text(encoding="utf-8")
    told = {name: (short, read_as, written) for name, short, read_as, written in TABLE.findall(page)}
    assert told == {
        each.name: (each.short, each.read or "passed over", each.written) for each in DIRECTIVES.values()
    }


@pytest.mark.parametrize("name", [name for name, each in DIRECTIVES.items() if not each.read])
def test_what_is_passed_over_is_said_once_with_its_lines(name: str) -> None:
    if name.startswith(("start_of_", "end_of_")):
        kind = name.partition("_of_")[2]
        text = f"[|][C]la\n{{start_of_{kind}}}\n[G]no\n{{end_of_{kind}}}\n"
        _, song, said = read(text)
        assert f"what stands in {{start_of_{kind}}} is passed over: line 2" in said
    else:
        _, song, said = read(f"[|][C]la\n{{{name}: 12}}\n{{{name}}}\n")
        assert f"{{{name}}} is passed over: lines 2 and 3" in said
    assert words(song) == ["la"]


SAID = {
    "title": "{title: A}", "subtitle": "{subtitle: A}", "artist": "{artist: A}", "composer": "{composer: A}",
    "lyricist": "{lyricist: A}", "arranger": "{arranger: A}", "copyright": "{copyright: A}",
    "year": "{year: 1850}",
    "key": "{key: Eb}", "time": "{time: 3/4}", "tempo": "{tempo: 77}", "capo": "{capo: 3}", "meta": "{meta: title A}",
    "comment": "{comment: Bridge}", "comment_italic": "{comment_italic: Bridge}",
    "comment_box": "{comment_box: Bridge}",
    "highlight": "{highlight: Bridge}", "start_of_verse": "{sov}", "end_of_verse": "{sov}\n[|][F]so\n{eov}",
    "start_of_chorus": "{soc}", "end_of_chorus": "{soc}\n[|][F]so\n{eoc}", "chorus": "{soc}\n[|][F]so\n{eoc}\n{chorus}",
    "start_of_bridge": "{sob}", "end_of_bridge": "{sob}\n[|][F]so\n{eob}", "start_of_grid": "{sog}\n| F |\n{eog}",
    "end_of_grid": "{sog}\n| F |\n{eog}", "define": "{define: C base-fret 1 frets 5 4 3 3}",
    "chord": "{chord: C base-fret 1 frets 5 4 3 3}", "transpose": "{transpose: 2}", "new_song": "{ns}\n{t: A}",
}  # fmt: skip
"""A use of each directive that is read."""


@pytest.mark.parametrize("name", [name for name, each in DIRECTIVES.items() if each.read])
def test_what_is_read_makes_another_song(name: str) -> None:
    plain = read("[|][C]la\n")
    found = read(f"{SAID[name]}\n[|][C]la\n")
    assert found[1] != plain[1] or any("--tune chooses another" in each for each in found[2])
    assert not any("passed over" in each for each in found[2])
