"""What DEVELOPERS.md says of adding holds: one row, and every command has it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import soundfile

from tests.added_rows import ADDED, CLASS_FILE, SONG, Addition, copy_with
from tests.measure.papers import pages_text

ROOT = Path(__file__).resolve().parent.parent
DRIVER = """
import contextlib, io, json, sys, traceback
from tercet.cli import main

for line in sys.stdin:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main(json.loads(line))
        except SystemExit as stopped:
            code = stopped.code
        except Exception:
            traceback.print_exc()
            code = "traceback"
    print(json.dumps([code, out.getvalue(), err.getvalue()]), flush=True)
"""
COMMANDS = """
new starter.yaml
check ferry.yaml
check ferry.yaml --json
check ferry.yaml --picture take.svg
check slipped.yaml
advise ferry.yaml
pin pinned.yaml
check pinned.yaml
bars ferry.yaml
render ferry.yaml -o one.aiff --dry
render ferry.yaml -o two.mp3 --track only-rolls
render ferry.yaml -o three.wav --tuning high-g --bars 2-3
render ferry.yaml -o four.mid
kit ferry.yaml --list
kit ferry.yaml -o kits --formats aiff,mp3 --tracks demo,only-rolls,high-notes,again --jobs 1
page ferry.yaml -o kits --no-kit
sheet ferry.yaml -o sheet.pdf --paper a6
sheet ferry.yaml -o sheet.svg --tuning low-g
sheet ferry.yaml -o hand.svg --handout
fretboard ferry.yaml -o neck.svg
fretboard --key Emaj --tuning slack -o slack.pdf --paper A6
export ferry.yaml -o ferry.musicxml
export ferry.yaml -o ferry.abc
export ferry.yaml -o ferry.txt
export ferry.yaml -o ferry.mid
export ferry.yaml -o plain.mid --plain
import ferry.musicxml -o from-musicxml.yaml
import ferry.abc -o from-abc.yaml
import ferry.mid -o from-mid.yaml
import plain.mid -o from-plain.yaml
import tune.let -o from-letters.yaml
check from-musicxml.yaml
check from-abc.yaml
hear ferry.yaml one.aiff
sounds
"""


@dataclass(frozen=True, slots=True)
class Ran:
    """How a command ended, and what it printed."""

    code: object
    out: str
    err: str


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder in which the commands ran."""
    folder = tmp_path_factory.mktemp("added")
    for name in ("ferry.yaml", "pinned.yaml"):
        (folder / name).write_text(SONG, encoding="utf-8")
    (folder / "slipped.yaml").write_text(SONG.replace("strum: d . X u", "strum: d . X n"), encoding="utf-8")
    (folder / "class.yaml").write_text(CLASS_FILE, encoding="utf-8")
    (folder / "tune.let").write_text("LETTERS:\nC D E F|G4|\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def ran(bench: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Ran]:
    """Run every command with sources to which everything was added."""
    sources = copy_with(ADDED, tmp_path_factory.mktemp("sources"))
    lines = [line for line in COMMANDS.splitlines() if line]
    asked = "\n".join(json.dumps(line.split()) for line in lines) + "\n"
    done = subprocess.run(
        [sys.executable, "-c", DRIVER],
        cwd=bench,
        env={**os.environ, "PYTHONPATH": str(sources)},
        input=asked,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    told = [Ran(*json.loads(line)) for line in done.stdout.splitlines()]
    return dict(zip(lines, told, strict=True))


@pytest.mark.parametrize("command", [line for line in COMMANDS.splitlines() if line])
def test_every_command_has_what_was_added(command: str, ran: dict[str, Ran]) -> None:
    assert ran[command].code == ("slipped" in command), ran[command].err


def test_a_slip_is_told_with_its_mend(ran: dict[str, Ran]) -> None:
    told = ran["check slipped.yaml"].err
    assert "up is written u" in told
    assert "write:  strum: d . X u" in told


def test_chords_come_back_from_every_file(ran: dict[str, Ran], bench: Path) -> None:
    for name in ("from-musicxml", "from-abc", "from-plain"):
        text = (bench / f"{name}.yaml").read_text(encoding="utf-8")
        assert "Dmaj7#11" in text, name
        assert "became" not in text, name
    assert "Dmaj7#11" in (bench / "ferry.txt").read_text(encoding="utf-8")
    assert "maj7#11" in "".join(pages_text((bench / "sheet.pdf").read_bytes())).replace("♯", "#")


def test_a_tuning_is_one_wherever_tunings_are(ran: dict[str, Ran], bench: Path) -> None:
    assert "slack" in ran["advise ferry.yaml"].out
    assert "tuning: slack" in (bench / "from-musicxml.yaml").read_text(encoding="utf-8")
    assert "instrument: pocket" in (bench / "from-musicxml.yaml").read_text(encoding="utf-8")
    assert json.loads((bench / "kits" / "ferry" / "kit.json").read_text(encoding="utf-8"))["sets"]


def test_marks_and_strums_come_back(ran: dict[str, Ran], bench: Path) -> None:
    assert "<pppp" in (bench / "ferry.musicxml").read_text(encoding="utf-8")
    for name in ("from-musicxml", "from-abc"):
        assert "pppp@1" in (bench / f"{name}.yaml").read_text(encoding="utf-8"), name
    assert "strum: d . X u" in (bench / "from-musicxml.yaml").read_text(encoding="utf-8")


def test_a_style_is_told_and_comes_back(ran: dict[str, Ran], bench: Path) -> None:
    told = json.loads(ran["check ferry.yaml --json"].out)[0]
    assert {use["style"] for use in told["report"]["styles"]} == {"held"}
    for name in ("from-musicxml", "from-abc", "pinned"):
        assert "style: held" in (bench / f"{name}.yaml").read_text(encoding="utf-8"), name


def test_tracks_are_made_listed_and_told(ran: dict[str, Ran], bench: Path) -> None:
    folder = bench / "kits" / "ferry"
    names = {re.sub(r"^\d+-", "", path.stem) for path in folder.glob("*.aiff")}
    assert names == {"demo", "only-rolls", "high-notes", "again"}
    assert {path.stem for path in folder.glob("*.aiff")} == {path.stem for path in folder.glob("*.mp3")}
    assert "only-rolls" in ran["kit ferry.yaml --list"].out
    entries = json.loads((folder / "kit.json").read_text(encoding="utf-8"))["files"]
    tracks = {entry["track"]: entry for entry in entries}
    assert len(tracks["again"]["bars"]) == 8
    assert {cue["loudness"] for cue in tracks["demo"]["cues"]} == {"soft"}


def test_a_format_is_written_and_offered(ran: dict[str, Ran], bench: Path) -> None:
    assert soundfile.info(bench / "one.aiff").format == "AIFF"
    page = (bench / "kits" / "ferry" / "index.html").read_text(encoding="utf-8")
    assert "download>AIFF<" in page


def test_what_there_is_to_practise_is_advised(ran: dict[str, Ran]) -> None:
    assert "Hum the tune first." in ran["hear ferry.yaml one.aiff"].out


def test_words_of_another_script_are_printed(ran: dict[str, Ran], bench: Path) -> None:
    assert "Առա" in "".join(pages_text((bench / "sheet.pdf").read_bytes()))
    assert "no font" not in ran["sheet ferry.yaml -o sheet.pdf --paper a6"].err


def test_the_schemas_know_the_settings(tmp_path: Path) -> None:
    sources = copy_with(ADDED, tmp_path)
    code = "import json, tercet.song as s; print(json.dumps([s.song_schema(), s.class_schema()]))"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": str(sources)},
        capture_output=True,
        text=True,
        check=True,
    )
    song, shared = json.loads(done.stdout)
    properties = song["properties"]
    assert "mood" in properties
    assert "pocket" in properties["instrument"]["anyOf"][0]["enum"]
    assert "slack" in properties["tuning"]["anyOf"][0]["enum"]
    assert "pppp" in properties["dynamics"]["properties"]["melody"]["enum"]
    assert re.fullmatch(properties["strum"]["pattern"], "d . X u")
    assert "held" in properties["style"]["anyOf"][0]["enum"]
    assert "twice" in str(properties["tracks"])
    assert "homework" in str(properties["tracks"])
    assert "room" in shared["properties"]
    assert "aiff" in str(shared["properties"]["formats"])


def recipes() -> str:
    """Return the lists of what can be added: that of DEVELOPERS.md, and those of the rooms' own READMEs."""
    lists = [
        (ROOT / path).read_text(encoding="utf-8").partition(heading)[2].partition("\n## ")[0]
        for path, heading in [
            (Path("DEVELOPERS.md"), "## How to add …"),
            *((path, "\n## To add\n") for path in sorted((ROOT / "render" / "tercet").rglob("README.md"))),
        ]
    ]
    return "\n".join(lists)


def how_to_add() -> Iterator[str]:
    """Yield the names of what can be added."""
    yield from re.findall(r"^- \*\*(.+?)\*\*:", recipes(), re.MULTILINE)


def test_everything_that_is_told_was_added() -> None:
    assert set(how_to_add()) == {addition.name for addition in ADDED}


@pytest.mark.parametrize("addition", ADDED, ids=lambda addition: addition.name)
def test_the_files_to_edit_are_those_that_are_told(addition: Addition) -> None:
    told = re.split(r"\n- \*\*|\n\n", recipes().partition(f"- **{addition.name}**:")[2])[0]
    for edit in addition.edits:
        assert Path(edit.file).name in told, edit.file
