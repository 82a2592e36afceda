"""What the user put somewhere stays there, whatever command comes along; what a command made it makes again."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from tests.cli.conftest import Ran

Run = Callable[..., Ran]

MINE = b"written by hand"

TUNE = """\
X:1
T:Millpond
M:2/4
L:1/8
K:D
D2 FA|d4|
"""

ONE_FILE: dict[str, tuple[Sequence[str], Sequence[str], str]] = {
    "render": (["render", "{song}", "--speed", "200%"], ["--speed", "190%"], "home.ogg"),
    "render midi": (["render", "{song}"], ["--speed", "150%"], "home.mid"),
    "sheet": (["sheet", "{song}"], ["--left-handed"], "song.pdf"),
    "sheet svg": (["sheet", "{song}"], ["--transpose", "2"], "song.svg"),
    "handout": (["sheet", "{song}", "--handout"], ["--left-handed"], "board.png"),
    "fretboard": (["fretboard", "--key", "G major"], ["--blank"], "neck.svg"),
    "picture": (["check", "{song}", "--picture"], [], "take.svg"),
    "export": (["export", "{song}"], ["--transpose", "3"], "song.abc"),
    "import": (["import", "{tune}"], ["--harmonise"], "millpond.yaml"),
    "pin": (["pin", "{song}"], [], "pinned.yaml"),
    "build": (["sounds", "--build", "--small"], [], "uke.sf2"),
    "report": (["sounds", "--report"], [], "font.svg"),
}
"""For each command with one file: what is typed, what else is asked for the second time, and the file."""


@pytest.mark.parametrize("command", ONE_FILE)
def test_a_single_file_of_the_users_stays(command: str, song: Path, tmp_path: Path, tercet: Run) -> None:
    typed, other, name = ONE_FILE[command]
    tune = tmp_path / "millpond.abc"
    tune.write_text(TUNE, encoding="utf-8")
    path = tmp_path / "out" / name
    words = [word.format(song=song, tune=tune) for word in typed]
    output = [str(path)] if words[-1] == "--picture" else ["-o", str(path)]

    def made(*options: str) -> Ran:
        return tercet(*words, *output, *options)

    path.parent.mkdir()
    path.write_bytes(MINE)
    refused = made()
    assert refused.code == 1
    assert (
        refused.err.splitlines()[-1]
        == f"{path} already exists and stays as it is: Tercet didn't make it. Choose another name, or use --replace"
    )
    assert path.read_bytes() == MINE
    assert list(path.parent.iterdir()) == [path]
    assert made("--replace").code == 0
    first = path.read_bytes()
    assert first != MINE
    again = made(*other)
    assert again.code == 0, again.err
    assert (path.read_bytes() != first) == bool(other)
    path.write_bytes(path.read_bytes() + b" ")
    refused = made()
    assert refused.code == 1
    assert "it was changed after Tercet made it" in refused.err
    path.unlink()
    assert made().code == 0
    assert path.read_bytes() == first


def test_a_handout_of_several_pictures_makes_all_or_none(song: Path, tmp_path: Path, tercet: Run) -> None:
    text = song.read_text(encoding="utf-8").replace("verse*2", "verse*2 other*2")
    bars = "    chords   C | F | G7 | C | F | G7 | C\n    melody   G4:3 | A4:3 | B4:3 | C5:3 | A4:3 | B4:3 | C5:3\n"
    song.write_text(text + "  other: |\n" + "\n".join([bars] * 8), encoding="utf-8")
    path = tmp_path / "out" / "board.svg"
    made = tercet("sheet", song, "--handout", "-o", path).out.split()
    assert len(made) > 1
    Path(made[1]).write_bytes(MINE)
    before = {name: Path(name).read_bytes() for name in made}
    refused = tercet("sheet", song, "--handout", "--left-handed", "-o", path)
    assert refused.code == 1
    assert Path(made[1]).name in refused.err
    assert {name: Path(name).read_bytes() for name in made} == before


def test_a_kit_goes_round_the_users_files(song: Path, tmp_path: Path, tercet: Run) -> None:
    kit = ("kit", song, "-o", tmp_path / "kits", "--tracks", "demo,slow", "--jobs", "1")
    folder = tmp_path / "kits" / "two-kettles"
    folder.mkdir(parents=True)
    for name in ("02-demo.wav", "two-kettles.mid"):
        (folder / name).write_bytes(MINE)
    for _ in range(2):
        ran = tercet(*kit)
        assert ran.code == 0, ran.err
        for name in ("02-demo.wav", "two-kettles.mid"):
            assert f"{folder / name} stays as it is: Tercet didn't make it" in ran.err
            assert (folder / name).read_bytes() == MINE
            assert name not in ran.out
        assert "--replace" in ran.err
    assert len(list(folder.glob("*.wav"))) == 2
    assert tercet(*kit, "--replace").code == 0
    assert b"RIFF" in (folder / "02-demo.wav").read_bytes()
    assert "none made now" in tercet(*kit).err


def test_a_kit_leaves_a_manifest_that_is_none(song: Path, tmp_path: Path, tercet: Run) -> None:
    kit = ("kit", song, "-o", tmp_path / "kits", "--tracks", "demo", "--jobs", "1")
    folder = tmp_path / "kits" / "two-kettles"
    folder.mkdir(parents=True)
    (folder / "kit.json").write_bytes(b'{"drums": "my own kit"}')
    for _ in range(2):
        ran = tercet(*kit)
        assert ran.code == 0, ran.err
        assert "kit.json stays as it is: Tercet didn't make it" in ran.err
        assert (folder / "kit.json").read_bytes() == b'{"drums": "my own kit"}'
    assert (folder / "02-demo.wav").is_file()


def test_a_copied_kit_is_still_tercets(song: Path, tmp_path: Path, tercet: Run) -> None:
    options = ("--tracks", "demo", "--jobs", "1")
    assert tercet("kit", song, "-o", tmp_path / "school", *options).code == 0
    shutil.copytree(tmp_path / "school", tmp_path / "home")
    song.write_text(song.read_text(encoding="utf-8").replace("Two", "Three"), encoding="utf-8")
    ran = tercet("kit", song, "-o", tmp_path / "home", *options)
    assert "2 made now" in ran.err
    assert "stays" not in ran.err


def test_of_two_songs_one_linked_folder_stays(song: Path, tmp_path: Path, tercet: Run) -> None:
    other = tmp_path / "other.yaml"
    other.write_bytes(song.read_bytes())
    elsewhere, out = tmp_path / "elsewhere", tmp_path / "out"
    for folder in (elsewhere, out):
        folder.mkdir()
    (out / "two-kettles").symlink_to(elsewhere)
    for command in (("kit", "--tracks", "demo", "--jobs", "1"), ("page", "--no-kit", "--speeds", "100%")):
        ran = tercet(command[0], song, other, "-o", out, *command[1:], "--replace")
        assert "symbolic link" in ran.err
        assert not list(elsewhere.iterdir())
    assert (out / "other" / "index.html").is_file()
    assert (out / "other" / "02-demo.wav").is_file()


PAGE = ("--no-kit", "--speeds", "100%")


def test_a_page_goes_round_the_users_files(song: Path, tmp_path: Path, tercet: Run) -> None:
    out = tmp_path / "class"
    mine = [out / name for name in ("look.css", "two-kettles/two-kettles.pdf", "two-kettles/page/player.js")]
    for path in mine:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(MINE)
    for _ in range(2):
        ran = tercet("page", song, "-o", out, *PAGE)
        assert ran.code == 0, ran.err
        for path in mine:
            assert f"{path} stays as it is: Tercet didn't make it" in ran.err
            assert path.read_bytes() == MINE
    assert (out / "two-kettles" / "index.html").is_file()
    assert (out / "index.html").is_file()
    assert tercet("page", song, "-o", out, *PAGE, "--replace").code == 0
    assert not any(path.read_bytes() == MINE for path in mine)


def test_pages_that_are_the_users_stay(song: Path, tmp_path: Path, tercet: Run) -> None:
    out = tmp_path / "class"
    (out / "two-kettles").mkdir(parents=True)
    for path in (out / "index.html", out / "two-kettles" / "index.html", out / "two-kettles.html"):
        path.write_bytes(MINE)
    ran = tercet("page", song, "-o", out, *PAGE)
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.count("stays as it is") == 2
    assert (out / "two-kettles" / "page" / "player.js").is_file()
    ran = tercet("page", song, "-o", out, "--one-file")
    assert (ran.code, ran.out) == (1, "")
    assert f"{out / 'two-kettles.html'} stays as it is: Tercet didn't make it" in ran.err
    assert {path.read_bytes() for path in out.rglob("*.html")} == {MINE}


def test_a_page_keeps_the_sheet_that_the_user_made_for_it(song: Path, tmp_path: Path, tercet: Run) -> None:
    out = tmp_path / "class"
    sheet = out / "two-kettles" / "two-kettles.pdf"
    assert tercet("sheet", song, "--large", "-o", sheet).code == 0
    large = sheet.read_bytes()
    first = tercet("page", song, "-o", out, *PAGE)
    assert (first.code, "stays as" in first.err) == (0, False)
    assert sheet.read_bytes() == large
    song.write_text(song.read_text(encoding="utf-8").replace("Two", "Three"), encoding="utf-8")
    made_s = sheet.stat().st_mtime
    os.utime(song, (made_s + 10, made_s + 10))
    ran = tercet("page", song, "-o", out, *PAGE)
    assert ran.code == 0
    assert f"{sheet} stays as you made it, before the song was changed" in ran.err
    assert sheet.read_bytes() == large
    assert b"Three Kettles" in (out / "two-kettles" / "index.html").read_bytes()
    assert tercet("page", song, "-o", out, *PAGE, "--replace").code == 0
    assert sheet.read_bytes() != large


def test_a_copied_page_is_made_again_and_an_edited_one_stays(song: Path, tmp_path: Path, tercet: Run) -> None:
    assert tercet("page", song, "-o", tmp_path / "school", *PAGE).code == 0
    shutil.copytree(tmp_path / "school", tmp_path / "home")
    (tmp_path / "home" / "two-kettles" / "page" / "look.css").write_bytes(MINE)
    song.write_text(song.read_text(encoding="utf-8").replace("G4 A G", "G4 E G"), encoding="utf-8")
    ran = tercet("page", song, "-o", tmp_path / "home", *PAGE)
    assert ran.code == 0
    assert ran.err.count("stays as it is") == 1
    assert "look.css stays as it is: it was changed after Tercet made it" in ran.err
    assert (tmp_path / "home" / "two-kettles" / "page" / "look.css").read_bytes() == MINE


def test_a_page_is_verified_by_hashes(song: Path, tmp_path: Path, tercet: Run) -> None:
    command = ("page", song, "-o", tmp_path / "class", *PAGE)
    assert tercet(*command).code == 0
    script = tmp_path / "class" / "two-kettles" / "page" / "player.js"
    whole, date = script.read_bytes(), script.stat()
    script.write_bytes(whole[:-9] + bytes([whole[-9] ^ 1]) + whole[-8:])
    os.utime(script, ns=(date.st_atime_ns, date.st_mtime_ns))
    assert "stays" not in tercet(*command).err
    assert "player.js stays as it is: it was changed after" in tercet(*command, "--verify").err
    assert "stays" not in tercet(*command, "--verify", "--replace").err
    assert script.read_bytes() == whole
