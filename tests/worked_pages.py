"""A page of the docs that is worked through from top to bottom: files to type, commands, what they print.

A block fenced as ``yaml FILE`` is a file to type. In a block fenced as ``console`` a line that starts with ``$`` is a
command, and what follows is what it prints; a line of ``…`` stands for any lines. A block fenced as
``console mistakes`` shows a command that ends with exit code 1.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest

from tercet.cli import main

__all__ = ["Command", "TypedFile", "promised_files", "run", "steps_of", "told", "work_through"]

_FENCED = re.compile(
    r"^```(?P<kind>yaml|console)(?: (?P<word>\S+))?\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL
)
_SIZE = r"[\d.]+ [kM]B"
"""How large a file is depends on the encoder's release; all else that is printed is the same everywhere."""

_ANY_LINES = "…"

_ACTIVATE = (".", ".venv/bin/activate")
_SAID_ONCE = re.compile(
    r"^(making the built-in ukulele|measuring how loud the sound is), once.*\n", re.MULTILINE
)
"""What only the very first recording on a computer says."""


@dataclass(frozen=True, slots=True)
class TypedFile:
    """A file that the page has its reader type."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Command:
    """A command line, what the page says that it prints, the exit code that it should end with, and its line."""

    words: tuple[str, ...]
    shown: str
    code: int
    line: int

    @property
    def written(self) -> list[str]:
        """The files or folders that its options name to be written."""
        return [name for option, name in pairwise(self.words) if option in ("-o", "--picture")]


def steps_of(page: str) -> list[TypedFile | Command]:
    """Return what a page's reader types, in order."""
    steps: list[TypedFile | Command] = []
    for block in _FENCED.finditer(page):
        line = page[: block.start()].count("\n") + 2
        if block["kind"] == "console":
            steps += _commands(block["text"], 1 if block["word"] == "mistakes" else 0, line)
        elif block["word"]:
            steps.append(TypedFile(block["word"], block["text"]))
    return steps


def _commands(text: str, code: int, line: int) -> list[Command]:
    found: list[Command] = []
    for place, part in enumerate(re.split(r"^\$ ", text, flags=re.MULTILINE)):
        if place == 0:
            assert part == "", f"line {line}: a block of commands starts with one"
            continue
        typed, _, shown = part.partition("\n")
        found.append(Command(tuple(shlex.split(typed, comments=True)), shown, code, line))
        line += part.count("\n")
    return found


def told(shown: str, printed: str) -> bool:
    """Whether a command printed what the page shows, files' sizes apart.

    >>> told("a.mp3  5.0 MB  listen\\n", "a.mp3  4.9 MB  listen\\n")
    True
    >>> told("one\\n…\\n", "one\\ntwo\\nthree\\n"), told("…\\nthree\\n", "one\\ntwo\\nthree\\n")
    (True, True)
    >>> told("one\\n", "one\\ntwo\\n"), told("one\\n…\\nfour\\n", "one\\ntwo\\nthree\\n")
    (False, False)
    """
    lines = (
        r"(?:.*\n)*"
        if line.strip() == _ANY_LINES
        else _SIZE.join(map(re.escape, re.split(_SIZE, line))) + r"\n"
        for line in shown.splitlines()
    )
    return re.fullmatch("".join(lines), printed) is not None


def promised_files(page: str, root: Path) -> set[Path]:
    """Return the files that a page names in its text between backticks, and those that its commands write."""
    prose = _FENCED.sub("", page)
    named = re.findall(r"`([\w./-]+\.(?:html|pdf|png|svg|mp3|wav|musicxml))`", prose)
    written = [name for step in steps_of(page) if isinstance(step, Command) for name in step.written]
    return {root / name for name in [*named, *written]}


def run(command: Command, monkeypatch: pytest.MonkeyPatch) -> tuple[int, str]:
    """Do what a command line says; return its exit code and what a terminal would show."""
    terminal = io.StringIO()
    match command.words:
        case ("mkdir", name):
            Path(name).mkdir()
            return 0, ""
        case ("cd", name):
            monkeypatch.chdir(name)
            return 0, ""
        case ("tercet", *words):
            with contextlib.redirect_stdout(terminal), contextlib.redirect_stderr(terminal):
                code = main(words)
            return code, _SAID_ONCE.sub("", terminal.getvalue())
        case words:
            assert words == _ACTIVATE, f"line {command.line}: {' '.join(words)}"
            return 0, ""


def work_through(page: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Do all that a page says, in a folder; return where it led."""
    monkeypatch.chdir(folder)
    monkeypatch.delenv("TERCET_SOUND", raising=False)
    for step in steps_of(page):
        if isinstance(step, TypedFile):
            Path(step.name).write_text(step.text, encoding="utf-8")
            continue
        code, printed = run(step, monkeypatch)
        assert code == step.code, f"line {step.line}: {' '.join(step.words)}\n{printed}"
        assert told(step.shown, printed), f"line {step.line}: {' '.join(step.words)} printed\n{printed}"
    return Path.cwd()
