"""Whatever is typed, and whatever files, fonts and tunes are called: nothing that a terminal would obey comes out."""

from __future__ import annotations

import ast
import json
import os
import re
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.cli import talk
from tercet.cli.progress import Terminal
from tercet.kit import Event
from tests.cli.conftest import SMALL_SONG, Ran
from tests.exchange.midi.files import meta, midi, notes, track
from tests.sound.made_fonts import made_font
from tests.unprintable import HARMFUL, harmful_in, yaml_escape

Run = Callable[..., Ran]
CLI = Path(talk.__file__).parent

EVIL = "x\x1b[2J\x9b31m\u202e\x7fy"
"""Clears the screen, colours it, turns the line round."""

TYPED = "\r\x1b\x7f\x9b\u202e\u2066\ufffe\udce9"
"""What a command line can hold, one of each sort; the last is a byte that is no text."""


def assert_harmless(ran: Ran, *codes: int) -> None:
    assert harmful_in(ran.out + ran.err) == []
    assert ran.code in codes, ran.err
    assert "Traceback" not in ran.err


@pytest.mark.parametrize(
    "words",
    [
        ("{}",),
        ("check", "{}.yaml"),
        ("render", "SONG", "-o", "a.wav", "--track", "{}"),
        ("render", "SONG", "-o", "a.{}"),
        ("render", "SONG", "-o", "a.wav", "--bars", "{}"),
        ("render", "SONG", "-o", "a.wav", "--speed", "{}%"),
        ("render", "SONG", "-o", "a.wav", "--tuning", "{}"),
        ("render", "SONG", "-o", "a.wav", "--tuning", "A4,D4,F#4,{}"),
        ("render", "SONG", "-o", "a.wav", "--without", "{}"),
        ("render", "SONG", "-o", "a.wav", "--transpose", "{}"),
        ("render", "SONG", "-o", "a.wav", "--feel", "{}", "--front", "9"),
        ("render", "SONG", "-o", "a.wav", "--front", "{}"),
        ("render", "SONG", "-o", "a.wav", "--sound", "{}.sf2"),
        ("render", "SONG", "{}", "-o", "a.wav"),
        ("kit", "SONG", "-o", "kit", "--tracks", "demo,{}"),
        ("kit", "SONG", "-o", "kit", "--formats", "{}"),
        ("kit", "SONG", "-o", "kit", "--players", "{}"),
        ("kit", "SONG", "-o", "kit", "--tuning", "high-g,{}"),
        ("kit", "SONG", "-o", "kit", "--cluster", "{}"),
        ("page", "SONG", "-o", "page", "--speeds", "{}"),
        ("sheet", "SONG", "-o", "a.{}"),
        ("fretboard", "SONG", "-o", "a.{}"),
        ("export", "SONG", "-o", "a.{}"),
        ("advise", "SONG", "--tuning", "{}"),
        ("import", "{}.abc", "-o", "a.yaml"),
        ("new", "{}.txt"),
        ("sounds", "--sound", "{}.sf2"),
        ("sounds", "--report", "{}.sf2"),
    ],
    ids=lambda words: "_".join(words).replace("{}", "X"),
)
def test_what_is_typed_comes_back_harmless(
    words: tuple[str, ...], song: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(song.parent)
    typed = [word.replace("{}", f"q{TYPED}q").replace("SONG", song.name) for word in words]
    assert_harmless(tercet(*typed), 1, 2, 3)


@pytest.mark.skipif(sys.platform != "linux", reason="only here may a name hold all this")
@pytest.mark.parametrize("name", [f"{EVIL}.yaml", os.fsdecode(b"caf\xe9-\x1b.yaml"), "two\nlines.yaml"])
@pytest.mark.parametrize(
    "words",
    [
        ("check", "SONG"),
        ("check", "SONG", "--tab", "--json"),
        ("advise", "SONG"),
        ("advise", "SONG", "--json"),
        ("pin", "SONG", "-o", "pinned.yaml"),
        ("render", "SONG", "-o", "a.mid"),
        ("render", "SONG", "-o", "EVIL.mid"),
        ("sheet", "SONG", "-o", "EVIL.pdf"),
        ("sheet", "SONG", "-o", "EVIL.svg", "--handout"),
        ("fretboard", "SONG", "-o", "EVIL.svg"),
        ("export", "SONG", "-o", "EVIL.musicxml"),
        ("kit", "SONG", "-o", "kit", "--tracks", "tune-up", "--formats", "wav"),
        ("kit", "SONG", "--list"),
    ],
    ids="_".join,
)
def test_what_a_file_is_called_comes_back_harmless(
    words: tuple[str, ...], name: str, tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path(name).write_text(SMALL_SONG, encoding="utf-8")
    evil = name.removesuffix(".yaml")
    ran = tercet(*(word.replace("SONG", name).replace("EVIL", evil) for word in words))
    assert_harmless(ran, 0, 1)
    if "--json" in words:
        said = json.loads(ran.out)
        assert (said[0] if isinstance(said, list) else said)["file"] == name


@pytest.mark.parametrize("sign", ["escape", "half a character", "no character", "turned round"])
def test_a_mistake_is_shown_without_harm(sign: str, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "song.yaml"
    escaped = yaml_escape(HARMFUL[sign])
    path.write_text(SMALL_SONG.replace("Two Kettles", f'"Two{escaped}Kettles"'), encoding="utf-8")
    for words in (
        ("check", path),
        ("check", path, "--json"),
        ("kit", path, "-o", tmp_path / "kit"),
        ("page", path, "-o", tmp_path / "page"),
        ("sheet", path, "-o", tmp_path / "a.pdf"),
        ("export", path, "-o", tmp_path / "a.musicxml"),
    ):
        ran = tercet(*words)
        assert_harmless(ran, 1)
        assert "can't be printed" in ran.out + ran.err
    assert sorted(tmp_path.iterdir()) == [path]


def test_an_imported_tune_is_named_without_harm(
    tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    tune = f'X:1\nT:{EVIL}\nC:{EVIL}\nM:3/4\nL:1/4\nP:{EVIL}\nK:C\n"{EVIL}"G A G|!{EVIL}!B3|[V:{EVIL}]G3|\nw:{EVIL}\n'
    Path("tune.abc").write_text(tune, encoding="utf-8")
    name = EVIL.replace("\u202e", "")
    played = track(name, *notes((67, 0, 1), (69, 1, 2), (71, 2, 3)), meta(0, "lyrics", text=name))
    Path("tune.mid").write_bytes(midi(track(name, meta(0, "marker", text=name)), played, played))
    for source in ("tune.abc", "tune.mid"):
        ran = tercet("import", source, "-o", f"{source}.yaml")
        assert_harmless(ran, 0, 1)
        assert ran.err
        written = Path(f"{source}.yaml")
        if written.exists():
            assert harmful_in(written.read_text(encoding="utf-8")) == []
    for option in ("--tune", "--part", "--voice"):
        assert_harmless(tercet("import", "tune.abc", "-o", "b.yaml", option, EVIL), 0, 1)
        Path("b.yaml").unlink(missing_ok=True)


def test_a_font_is_named_without_harm(tmp_path: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    names = [f"\x1b[2J{index} \x9b\u202e" for index in range(2)]
    font = tmp_path / "evil\x1b.sf2"
    font.write_bytes(
        made_font([(0, 24, names[0]), (8, 24, names[1])], name="\x1b]0;evil\x07 fonts", rights="\x1b[27m")
    )
    monkeypatch.setenv("TERCET_SOUND", str(font))
    for words in (
        ("sounds",),
        ("sounds", "--json"),
        ("sounds", "--report", font),
        ("sounds", "--report", font, "--json"),
    ):
        assert_harmless(tercet(*words), 0)
    assert_harmless(tercet("sounds", "--report", font, "-o", tmp_path / "font.svg"), 0)
    picture = (tmp_path / "font.svg").read_text(encoding="utf-8")
    assert harmful_in(picture) == []
    assert ET.fromstring(picture).tag.endswith("svg")


def test_progress_shows_names_as_they_are(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    for name, value in (("TERM", "xterm"), ("FORCE_COLOR", "1"), ("COLUMNS", "200")):
        monkeypatch.setenv(name, value)
    terminal = Terminal()
    title = f"{EVIL} [bold]song[/]"
    terminal(Event("started", "page", title, done=0, total=2))
    terminal(Event("step", "stems [/]", title, done=1, total=2))
    terminal.close()
    shown = re.sub(r"\x1b\[[\d;?]*[A-Za-z]|\r", "", capsys.readouterr().err)
    assert harmful_in(shown) == []
    assert "x�[2J�31m��y [bold]song[/]: stems [/]" in shown


def test_all_that_is_said_goes_one_way() -> None:
    """Only `talk.py` writes to the terminal; a `print` elsewhere would pass its check by."""
    elsewhere = [
        f"{path.name}:{node.lineno}"
        for path in sorted(CLI.parent.rglob("*.py"))
        if path != CLI / "talk.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
    ]
    assert elsewhere == []
