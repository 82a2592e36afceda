"""``tercet advise``: a table that reads well, a command that works, and slips that are explained."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.arranging.key_advice import ADVICE_COSTS, voice_named
from tercet.cli.advice_text import _number
from tercet.errors import RequestError
from tercet.kit.options import tunings_of
from tercet.theory import TUNINGS
from tests.cli.conftest import Ran

Run = Callable[..., Ran]
ROOT = Path(__file__).parents[2]
SONGS = sorted((ROOT / "songs").glob("*.yaml"))

GATE = """\
title: The Garden Gate
key: F major
meter: 3/4
tempo: 96
players: beginner
sections:
  verse: |
    chords  F        | Bb      | C7      | F
    melody  A4 C5 A4 | Bb4:2 D5 | C5 Bb4 G | A4:3
"""


@pytest.fixture
def gate(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a song in the folder where the command runs."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "garden-gate.yaml"
    path.write_text(GATE, encoding="utf-8")
    return Path("garden-gate.yaml")


# ---- what is printed


def shown(out: str) -> list[str]:
    """Return the rows of the twelve keys, without what is said against them."""
    return [line for line in out.split("\n\n")[1].splitlines()[1:] if not line.startswith("     ")]


def test_the_best_key_stands_first_and_each_has_its_figures(gate: Path, tercet: Run) -> None:
    ran = tercet("advise", gate)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("The Garden Gate: F major, players: beginner, high-g\n\n")
    rows = shown(ran.out)
    assert len(rows) == 12
    assert rows[0].split()[:4] == ["1", "D", "major", "-3"]
    totals = [float(row.split()[-1]) for row in rows]
    assert totals == sorted(totals)
    assert "tercet render garden-gate.yaml --transpose -3 --tuning high-g -o FILE" in ran.out


def test_a_chord_that_cant_be_held_is_said(gate: Path, tercet: Run) -> None:
    lines = tercet("advise", gate).out.splitlines()
    f_major = next(number for number, line in enumerate(lines) if " F major " in line)
    assert lines[f_major + 1].strip() == "can't hold Bb"
    freer = tercet("advise", gate, "--players", "improving").out
    assert "can't hold Bb\n" not in freer
    assert "--players improving -o FILE" in freer


def test_other_tunings_are_shown_in_short(gate: Path, tercet: Run) -> None:
    out = tercet("advise", gate).out
    short = out.split("on other strings, each by itself\n")[1].split("\n\n")[0]
    assert [line.strip() for line in short.splitlines() if line.strip() in TUNINGS] == ["low-g", "baritone"]
    assert sum(line[:2].strip().isdigit() for line in short.splitlines()) == 6


def test_tunings_asked_for_together_share_a_key(gate: Path, tercet: Run) -> None:
    out = tercet("advise", gate, "--tuning", "high-g, low-g,baritone").out
    assert out.startswith("The Garden Gate: F major, players: beginner, high-g, low-g and baritone\n")
    assert "on other strings" not in out
    header, first = out.split("\n\n")[1].splitlines()[:2]
    assert header.split() == ["key", "move", "tune", "high-g", "low-g", "baritone", "together"]
    *totals, mean = map(float, first.split()[-4:])
    assert mean == pytest.approx(sum(totals) / 3, abs=0.011)
    figures = out.split("the best keys in figures\n")[1].split("\n\n")[0].splitlines()
    assert len(figures) == 1 + 3 * 3
    commands = [line for line in out.splitlines() if line.startswith("  tercet render")]
    assert [shlex.split(line)[-3] for line in commands] == ["high-g", "low-g", "baritone"]


def test_four_notes_are_a_tuning(gate: Path, tercet: Run) -> None:
    out = tercet("advise", gate, "--tuning", "A4,D4,F#4,B4").out
    assert out.startswith("The Garden Gate: F major, players: beginner, A4,D4,F#4,B4\n")
    assert "--tuning A4,D4,F#4,B4 -o FILE" in out


def test_a_voice_is_weighed_and_named(gate: Path, tercet: Run) -> None:
    out = tercet("advise", gate, "--voice", "low").out
    assert out.splitlines()[1] == "low voice: G3 to C5"
    asked = tercet("advise", gate, "--voice", "c4-G4").out
    assert asked.splitlines()[1] == "voice: C4 to G4"
    assert "1 semitone beyond the voice" in asked or "semitones beyond the voice" in asked
    high = tercet("advise", gate, "--voice", "C5-A5").out
    assert "sung an octave higher" in high


def test_the_lines_of_the_song_get_a_hand_each(gate: Path, tercet: Run) -> None:
    out = tercet("advise", gate).out
    lines = out.split("one hand for each line, high-g, as written in F major\n")[1].splitlines()
    assert lines == [
        "  the shape (and its fingers) that stays while so many notes in a row are played",
        "  verse, line 1, bars 1 to 4: 3053 (1032), 4 of 9 notes",
        "      bars 1 to 2, strings 2 1 2 | 4",
    ]


@pytest.mark.parametrize("path", SONGS[::2], ids=lambda path: path.stem)
def test_it_reads_well_in_eighty_columns(path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(path.parent)
    for more in ([], ["--tuning", "high-g,low-g,baritone", "--players", "beginner", "--voice", "high"]):
        ran = tercet("advise", path.name, *more)
        assert ran.code == 0
        too_wide = [line for line in ran.out.splitlines() if len(line) > 80]
        assert [line for line in too_wide if not line.startswith("  tercet render")] == []
        assert "\x1b" not in ran.out
        assert "\n\n\n" not in ran.out
        assert [line for line in ran.out.splitlines() if line != line.rstrip()] == []


def test_the_command_that_is_suggested_plays_what_was_advised(
    gate: Path, tmp_path: Path, tercet: Run
) -> None:
    out = tercet("advise", gate, "--tuning", "low-g").out
    (line,) = [line.strip() for line in out.splitlines() if line.startswith("  tercet render")]
    words = shlex.split(line.replace("FILE", "heard.mid"))
    assert words[0] == "tercet"
    assert tercet(*words[1:]).code == 0
    assert (tmp_path / "heard.mid").exists()


def test_a_path_with_spaces_is_quoted(gate: Path, tercet: Run) -> None:
    gate.rename("garden gate.yaml")
    assert "tercet render 'garden gate.yaml' --transpose -3" in tercet("advise", "garden gate.yaml").out


def test_a_key_in_which_nothing_is_left_out_is_named(gate: Path, tercet: Run) -> None:
    text = GATE.replace("A4 C5 A4", "A4 C3 C6")
    gate.write_text(text, encoding="utf-8")
    out = tercet("advise", gate).out
    assert "in every key something is left out; the first comes nearest\n" in out


def test_a_line_without_a_note_in_reach_says_so(gate: Path, tercet: Run) -> None:
    text = GATE.replace("A4 C5 A4 | Bb4:2 D5 | C5 Bb4 G | A4:3", "A2 C3 A2 | Bb2:2 D3 | C3 Bb2 G | A2:3")
    gate.write_text(text, encoding="utf-8")
    assert (
        "  verse, line 1, bars 1 to 4: no note of it within reach\n"
        in tercet("advise", gate, "--as-written").out
    )
    assert "no note of it within reach" not in tercet("advise", gate).out


# ---- for programs


def test_json_carries_everything(gate: Path, tercet: Run) -> None:
    facts = json.loads(tercet("advise", gate, "--tuning", "high-g,baritone", "--voice", "low", "--json").out)
    assert list(facts) == [
        "file",
        "title",
        "key",
        "sounding",
        "players",
        "voice",
        "weights",
        "rankings",
        "lines",
        "styles",
    ]
    assert [(one["tuning"], one["style"]) for one in facts["styles"]] == [
        ("high-g", "rolls"),
        ("baritone", "rolls"),
    ]
    assert facts["styles"][0]["notes_a_second"] == 1.2
    assert "1.2 a second" in facts["styles"][0]["reason"]
    assert facts["voice"] == {"name": "low", "lowest": "G3", "highest": "C5"}
    assert facts["weights"] == ADVICE_COSTS
    (ranking,) = facts["rankings"]
    assert ranking["tunings"] == ["high-g", "baritone"]
    assert [key["rank"] for key in ranking["keys"]] == list(range(1, 13))
    for key in ranking["keys"]:
        totals = [one["total"] for one in key["tunings"]]
        assert key["total"] == pytest.approx(sum(totals) / 2, abs=0.002)
        assert key["worst"] == key["tunings"][totals.index(max(totals))]["tuning"]
        for one in key["tunings"]:
            assert one["total"] == pytest.approx(sum(one["parts"].values()), abs=0.005)
            assert one["notes"] == 9
            assert one["playable"] == pytest.approx(1 - (one["missing"] + one["high"]) / 9, abs=0.001)
            assert one["command"].endswith(f"--tuning {one['tuning']} -o FILE")
    f_major = next(key for key in ranking["keys"] if key["key"] == "F major")
    assert (f_major["semitones"], f_major["suits"]) == (0, False)
    assert f_major["tunings"][0]["not_held"] == ["Bb"]
    assert f_major["tunings"][0]["time_not_held"] == 0.25
    assert [line["tuning"] for line in facts["lines"]] == ["high-g", "baritone"]
    line = facts["lines"][0]
    assert (line["frets"], line["fingers"], line["known_as"]) == ([3, 0, 5, 3], [1, 0, 3, 2], "")
    assert line["held"][0] == {"bar": 1, "note": "A4", "string": 2, "fret": 5}
    assert len(line["held"]) == 4


def test_json_without_tunings_ranks_each_by_itself(gate: Path, tercet: Run) -> None:
    facts = json.loads(tercet("advise", gate, "--json").out)
    assert [ranking["tunings"] for ranking in facts["rankings"]] == [["high-g"], ["low-g"], ["baritone"]]
    assert facts["voice"] is None
    assert "--transpose" not in next(
        key["tunings"][0]["command"] for key in facts["rankings"][0]["keys"] if not key["semitones"]
    )


# ---- slips


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--tuning", "highg"], "--tuning: there is no tuning highg; did you mean high-g?"),
        (
            ["--tuning", "A4,D4,F#4"],
            "--tuning: a tuning must have four notes, string 4 first (got 3: A4,D4,F#4)",
        ),
        (["--tuning", "high-g,high-g"], "--tuning: high-g appears twice"),
        (
            ["--voice", "B9-"],
            "--voice must be low (G3 to C5), high (D4 to F5) or a range such as A3-D5 (got 'B9-')",
        ),
        (["--voice", "soprano"], "or a range such as A3-D5 (got 'soprano')"),
        (["--voice", "A3-D5-F5"], "or a range such as A3-D5"),
        (["--voice", ""], "or a range such as A3-D5"),
        (["--voice", "D5-A3"], "--voice: the range D5-A3 is upside down: write A3-D5"),
    ],
)
def test_slips_are_explained(options: list[str], told: str, gate: Path, tercet: Run) -> None:
    ran = tercet("advise", gate, *options)
    assert (ran.code, ran.out) == (2 if "--tuning" in options else 1, "")
    assert told in ran.err


def test_a_missing_file_and_a_song_with_mistakes(gate: Path, tercet: Run) -> None:
    missing = tercet("advise", "garden-gat.yaml")
    assert missing.code == 1
    assert "garden-gat.yaml" in missing.err
    gate.write_text(GATE.replace("A4 C5 A4", "A4 C5 H "), encoding="utf-8")
    wrong = tercet("advise", gate)
    assert (wrong.code, wrong.out) == (1, "")
    assert "write:  A4 C5 B" in wrong.err


def test_a_song_without_a_tune(gate: Path, tercet: Run) -> None:
    gate.write_text(GATE.replace("A4 C5 A4 | Bb4:2 D5 | C5 Bb4 G | A4:3", ".:3 | .:3 | .:3 | .:3"), "utf-8")
    ran = tercet("advise", gate)
    assert ran.code == 1
    assert "The Garden Gate has no tune" in ran.err


def test_wrong_usage(gate: Path, tercet: Run) -> None:
    assert tercet("advise").code == 2
    assert tercet("advise", gate, "--players", "wizard").code == 2
    assert (
        "players must be beginner, improving or free (got wizard)"
        in tercet("advise", gate, "--players", "wizard").err
    )


def test_tunings_are_read_each_once() -> None:
    found = tunings_of(("low-g", "A4", "D4", "F#4", "B4", "high-g"))
    assert [tuning.name for tuning in found] == ["high-g", "low-g", "custom"]


def test_a_range_of_one_note_is_a_voice_and_dashes_are_alike() -> None:
    assert str(voice_named("bb3–D5").lowest) == "Bb3"
    assert voice_named("A3-A3").lowest == voice_named("A3-A3").highest
    with pytest.raises(RequestError, match="upside down"):
        voice_named("A3-G#3")


def test_the_page_about_arranging_shows_what_is_printed(gate: Path, tercet: Run) -> None:
    page = (ROOT / "docs" / "arranging.md").read_text(encoding="utf-8")
    assert f"```yaml\n{GATE}```" in page
    alone = tercet("advise", gate).out
    assert f"```text\n{alone}```" in page
    together = tercet("advise", gate, "--tuning", "high-g,baritone", "--voice", "low").out
    assert f"```text\n{together[: together.index('to hear')].rstrip()}\n```" in page
    facts = json.loads(tercet("advise", gate, "--json").out)
    places = [
        facts,
        facts["rankings"][0]["keys"][0],
        facts["rankings"][0]["keys"][0]["tunings"][0],
        facts["lines"][0],
        facts["styles"][0],
    ]
    for name in {name for place in places for name in place}:
        assert f"`{name}`" in page, name


def test_a_figure_is_never_minus_nothing() -> None:
    assert [_number(value) for value in (-0.001, 0.0, 1.005, -1.5)] == ["0.00", "0.00", "1.00", "-1.50"]
