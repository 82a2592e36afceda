"""``tercet import`` and ``tercet export``."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Ran
from tests.exchange.musicxml.scores import harmony, score, start, sung

Run = Callable[..., Ran]

BOOK = (
    'X:1\nT:Small Tune\nM:3/4\nL:1/4\nK:G\n"G"GBd|"D"d3|\n\nX:2\nT:Small Tune\nM:3/4\nL:1/4\nK:G\ndBG|G3|\n'
)


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "tune.musicxml"
    path.write_bytes(score(start() + harmony("C", "major") + sung("C4", 2, "Hot") + sung("E4", 2, "tea")))
    return path


def test_an_imported_tune_passes_check_and_is_never_overwritten(
    tune: Path, tmp_path: Path, tercet: Run
) -> None:
    target = tmp_path / "songs" / "tea.yaml"
    made = tercet("import", tune, "-o", target)
    assert (made.code, made.out) == (0, f"{target}\n")
    assert "- no tempo given: 96 pulses a minute assumed" in made.err
    assert "# - no tempo given: 96 pulses a minute assumed" in target.read_text(encoding="utf-8")
    checked = tercet("check", target)
    assert checked.code == 0
    assert "Test Tune, no mistakes" in checked.out
    assert tercet("import", tune, "-o", target).code == 0
    target.write_text(target.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    before = target.read_bytes()
    again = tercet("import", tune, "-o", target)
    assert again.code == 1
    assert "stays as it is" in again.err
    assert target.read_bytes() == before


def test_import_wants_a_yaml_name(tune: Path, tmp_path: Path, tercet: Run) -> None:
    refused = tercet("import", tune, "-o", tmp_path / "tea.txt")
    assert refused.code == 1
    assert "such as tea.yaml" in refused.err


def test_a_refused_tune_leaves_nothing(tmp_path: Path, tercet: Run) -> None:
    bad = tmp_path / "bad.xml"
    bad.write_text("<score-partwise", encoding="utf-8")
    refused = tercet("import", bad, "-o", tmp_path / "new" / "bad.yaml")
    assert refused.code == 1
    assert "isn't well-formed XML" in refused.err
    assert sorted(tmp_path.iterdir()) == [bad]


def test_a_book_one_tune_or_all_into_a_folder(tmp_path: Path, tercet: Run) -> None:
    book = tmp_path / "book.abc"
    book.write_text(BOOK, encoding="utf-8")
    assert "choose one with --tune" in tercet("import", book, "-o", tmp_path / "one.yaml").err
    assert tercet("import", book, "--tune", "2", "-o", tmp_path / "one.yaml").code == 0
    folder = tmp_path / "all"
    folder.mkdir()
    made = tercet("import", book, "-o", folder)
    assert made.code == 0
    assert [path.name for path in sorted(folder.iterdir())] == ["small-tune-2.yaml", "small-tune.yaml"]
    assert all(tercet("check", path).code == 0 for path in folder.iterdir())


def test_a_book_with_a_bad_tune_writes_the_others(tmp_path: Path, tercet: Run) -> None:
    book = tmp_path / "book.abc"
    book.write_text(BOOK + "\nX:3\nT:Bad\nM:3/4\nL:1/4\nK:G\nC/0|\n", encoding="utf-8")
    folder = tmp_path / "all"
    folder.mkdir()
    made = tercet("import", book, "-o", folder)
    assert made.code == 1
    assert "tune 3 of book.abc: the length /0 divides by 0" in made.err
    assert "1 tune left out" in made.err
    assert len(list(folder.iterdir())) == 2


def test_into_a_folder_a_score_or_the_tune_that_is_named(tune: Path, tmp_path: Path, tercet: Run) -> None:
    made = tercet("import", tune, "-o", tmp_path)
    assert (made.code, made.out) == (0, f"{tmp_path / 'test-tune.yaml'}\n")
    book = tmp_path / "book.abc"
    book.write_text(BOOK, encoding="utf-8")
    folder = tmp_path / "one"
    folder.mkdir()
    assert tercet("import", book, "--tune", "2", "-o", folder).code == 0
    assert [path.name for path in folder.iterdir()] == ["small-tune.yaml"]


def test_a_song_file_is_not_a_tune(song: Path, tmp_path: Path, tercet: Run) -> None:
    refused = tercet("import", song, "-o", tmp_path / "other.yaml")
    assert refused.code == 1
    assert f"looks like a song file already: try `tercet check {song}`" in refused.err


def test_export_musicxml_and_tab(song: Path, tmp_path: Path, tercet: Run) -> None:
    for ending, start_of_file in ((".musicxml", b"<?xml"), (".txt", b"Two Kettles")):
        target = tmp_path / f"out{ending}"
        made = tercet("export", song, "-o", target)
        assert (made.code, made.out) == (0, f"{target}\n")
        assert target.read_bytes().startswith(start_of_file)
    back = tmp_path / "back.yaml"
    assert tercet("import", tmp_path / "out.musicxml", "-o", back).code == 0
    assert "words   Hot wa-ter" in back.read_text(encoding="utf-8")


def test_export_replaces_only_when_asked(song: Path, tmp_path: Path, tercet: Run) -> None:
    target = tmp_path / "mine.musicxml"
    target.write_text("by hand", encoding="utf-8")
    refused = tercet("export", song, "-o", target)
    assert refused.code == 1
    assert "use --replace" in refused.err
    assert target.read_text(encoding="utf-8") == "by hand"
    assert tercet("export", song, "-o", target, "--replace").code == 0


def test_export_in_another_key_and_to_an_unknown_ending(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert tercet("export", song, "-o", tmp_path / "d.xml", "--transpose", "2", "--tuning", "low-g").code == 0
    assert b"<fifths>2</fifths>" in (tmp_path / "d.xml").read_bytes()
    refused = tercet("export", song, "-o", tmp_path / "song.doc")
    assert refused.code == 1
    assert "endings that can be exported are .musicxml .xml .abc .cho .chopro .mid .txt" in refused.err


def test_export_abc_and_import_it_again(song: Path, tmp_path: Path, tercet: Run) -> None:
    made = tercet("export", song, "-o", tmp_path / "out.abc")
    assert (made.code, made.err) == (0, "")
    text = (tmp_path / "out.abc").read_text(encoding="utf-8")
    assert 'P:verse\n"C"G A G | "G7"B2 A | "C"G3 ||\nw:Hot wa-ter sings, two songs.\n' in text
    assert tercet("import", tmp_path / "out.abc", "-o", tmp_path / "back.yaml").code == 0
    assert "strum: d . d u d u" in (tmp_path / "back.yaml").read_text(encoding="utf-8")


def test_export_midi_as_performed_is_what_render_writes(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert tercet("export", song, "-o", tmp_path / "one.mid").code == 0
    assert tercet("render", song, "-o", tmp_path / "other.mid").code == 0
    assert (tmp_path / "one.mid").read_bytes() == (tmp_path / "other.mid").read_bytes()


def test_export_plain_midi_is_the_tune_as_written(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert tercet("export", song, "-o", tmp_path / "plain.mid", "--plain").code == 0
    assert tercet("import", tmp_path / "plain.mid", "-o", tmp_path / "back.yaml").code == 0
    assert "melody  G4 A G     | B:2 A      | G:3    |" in (tmp_path / "back.yaml").read_text(
        encoding="utf-8"
    )
    refused = tercet("export", song, "-o", tmp_path / "plain.abc", "--plain")
    assert refused.code == 1
    assert "--plain is for MIDI" in refused.err


def test_harmonise_proposes_chords_and_marks_them(tmp_path: Path, tercet: Run) -> None:
    book = tmp_path / "bare.abc"
    book.write_text("X:1\nT:Bare\nM:3/4\nL:1/4\nK:G\nGBd|cAF|G3|]\n", encoding="utf-8")
    plain = tercet("import", book, "-o", tmp_path / "plain.yaml")
    assert "or import it with --harmonise" in plain.err
    made = tercet("import", book, "-o", tmp_path / "song.yaml", "--harmonise")
    assert "- all chords are proposals, found from the tune and its key, G major (G, D7)" in made.err
    text = (tmp_path / "song.yaml").read_text(encoding="utf-8")
    assert "    # chords: proposed by Tercet\n    chords  G       | D7      | G   |" in text
    assert tercet("check", tmp_path / "song.yaml").code == 0
    folder = tmp_path / "all"
    folder.mkdir()
    assert tercet("import", book, "-o", folder, "--harmonise").code == 0
    assert "proposed by Tercet" in (folder / "bare.yaml").read_text(encoding="utf-8")


LOW_TUNES = {
    "low-a": ("K:D\nA,2 D2 E2 F2|F4 E4|A,2 D2 F2 A2|D8|]", "A3", "A4"),
    "very-wide": ("K:C\nG,2 C2 E2 G2|c4 e4|g2 c'2 g2 c2|C8|]", "G3", "C6"),
    "minor": ("K:Gm\nG,2 _B,2 D2 G2|A4 G4|D2 _B,2 A,2 G,2|G,8|]", "G3", "A4"),
}


@pytest.mark.parametrize("name", LOW_TUNES)
def test_a_tune_off_the_strings_comes_with_what_to_type(name: str, tmp_path: Path, tercet: Run) -> None:
    music, lowest, highest = LOW_TUNES[name]
    source, song = tmp_path / "tune.abc", tmp_path / "tune.yaml"
    source.write_text(f"X:1\nT:Low\nM:4/4\nL:1/8\nQ:1/4=90\n{music}\n")
    told = " ".join(tercet("import", str(source), "-o", str(song)).err.split())
    assert f"from {lowest} to {highest}" in told
    assert f"tercet advise {song}" in told
    typed = re.findall(r"tercet (check \S+ --\S+ \S+)", told)
    assert typed
    for command in typed:
        checked = tercet(*command.split())
        assert checked.code == 0
        assert "octave higher" not in checked.out


def test_a_tune_that_has_all_its_strings_comes_without_advice(
    tune: Path, tmp_path: Path, tercet: Run
) -> None:
    assert "advise" not in tercet("import", str(tune), "-o", str(tmp_path / "new.yaml")).err
