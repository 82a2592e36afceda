"""Things made for the class from the desk: told step by step, stopped, and never left behind half done."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import psutil
import pytest

from tercet.desk.errand import MADE, Errand, choices_of
from tests.desk.desks import Desk, desk
from tests.desk.test_app import NAME, SONG, told


def ended(found: Desk, what: str, **choices: Any) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Make something; return how it ended, and all that was told."""
    with found.window("M") as events:
        found.ask("make", what=what, songs=[NAME], choices=choices)
        end = told(events, "making", lambda event: event["kind"] == "ended")
    return end, found.ask("made")["state"]["events"]


def test_paper_is_made_and_listed(tmp_path: Path) -> None:
    with desk(tmp_path / "songs", grace_s=5.0) as found, found.window():
        found.ask("save", name=NAME, text=SONG, seen=None)
        for what, file in (
            ("sheet", "sheets/kettle.pdf"),
            ("handout", "handouts/kettle.png"),
            ("neck map", "neck maps/kettle.png"),
        ):
            end, events = ended(found, what)
            assert (end["exit_code"], end["stopped"]) == (0, False), events
            assert (found.folder / "made" / file).stat().st_size > 1000
            assert any(event["kind"] == "made" and event["file"].endswith(file) for event in events)
        assert [each["path"] for each in found.ask("made")["made"]] == [
            "handouts/kettle.png",
            "neck maps/kettle.png",
            "sheets/kettle.pdf",
        ]
        assert [song["name"] for song in found.ask("songs")["songs"]] == [NAME, "harbour-lanterns.yaml"]
        found.ask("save", name=NAME, text="title: [", seen=found.ask("open", name=NAME)["version"])
        end, events = ended(found, "sheet")
        assert end["exit_code"] == 1
        assert any(event["kind"] == "failed" and "kettle.yaml" in event["text"] for event in events)


def test_one_thing_at_a_time_and_it_can_be_stopped(tmp_path: Path) -> None:
    with desk(tmp_path / "songs", grace_s=5.0) as found, found.window(), found.window("M") as events:
        found.ask("save", name=NAME, text=SONG, seen=None)
        found.ask("make", what="tracks", songs=[NAME], choices={})
        assert "wait until" in found.ask("make", 422, what="sheet", songs=[NAME], choices={})["error"]
        told(events, "making", lambda event: event["kind"] == "started")
        state = found.ask("stop")
        assert not state["busy"]
        assert told(events, "making", lambda event: event["kind"] == "ended")["stopped"]
        assert not [each for each in (found.folder / "made").rglob("*") if each.name.startswith(".tercet")]
        end, _ = ended(found, "sheet")
        assert end["exit_code"] == 0


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_what_is_being_made_ends_with_the_desk(tmp_path: Path, how: signal.Signals) -> None:
    program = subprocess.Popen(
        [sys.executable, "-m", "tercet", "desk", str(tmp_path), "--no-window"],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert program.stdout is not None
    found = Desk(program.stdout.readline().strip(), tmp_path)
    try:
        with found.window("M") as events:
            found.ask("save", name=NAME, text=SONG, seen=None)
            found.ask("make", what="tracks", songs=[NAME], choices={})
            told(events, "making", lambda event: event["kind"] == "started")
            children = psutil.Process(program.pid).children(recursive=True)
            assert any("tercet.desk.errand" in " ".join(child.cmdline()) for child in children)
            program.send_signal(how)
        code = program.wait(timeout=30)
        assert code == (-signal.SIGKILL if how == signal.SIGKILL else 0)
        _, alive = psutil.wait_procs(children, timeout=30)
        assert not alive
    finally:
        program.kill()
        program.stdout.close()
    assert not [each for each in tmp_path.rglob("*") if each.name.startswith(".tercet")]


@pytest.mark.parametrize("what", MADE)
def test_every_choice_of_a_thing_is_taken(what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each choice reaches what makes the thing: one that it doesn't know would raise."""
    heard: list[Any] = []
    monkeypatch.setattr("tercet.desk.errand.make_kit", lambda *given: heard.append(given))
    monkeypatch.setattr("tercet.desk.errand.make_pages", lambda *given: heard.append(given))
    song = tmp_path / NAME
    song.write_text(SONG)
    choices = {
        name: True if choice.kind == "yes" else choice.values[-1] if choice.kind == "one" else choice.values
        for name, choice in MADE[what].choices.items()
    }
    errand = Errand(what, (str(song),), str(tmp_path / "made"), choices)
    MADE[what].make(errand, heard.append)
    assert heard
    assert json.loads(errand.as_json()) == {
        "what": what,
        "songs": [str(song)],
        "folder": str(tmp_path / "made"),
        "choices": {
            name: list(value) if isinstance(value, tuple) else value for name, value in choices.items()
        },
    }


def test_a_song_s_own_tracks_can_be_chosen(tmp_path: Path) -> None:
    song = tmp_path / NAME
    assert "without-second" not in choices_of("tracks", None)["tracks"].values
    song.write_text(
        SONG.replace("sections:", "second: thirds\ntracks: {just-high: {heard: open}}\nsections:")
    )
    (tmp_path / "class.yaml").write_text("tracks: {for-all: {heard: rolls}}\n")
    tracks = choices_of("tracks", song)["tracks"].values
    assert {"demo", "without-second", "just-high", "for-all"} <= set(tracks)
    song.write_text("title: [")
    assert choices_of("tracks", song)["tracks"] == choices_of("tracks", None)["tracks"]
    assert choices_of("sheet", song) == MADE["sheet"].choices


def test_an_errand_nobody_waits_for_ends_at_once(tmp_path: Path) -> None:
    song = tmp_path / NAME
    song.write_text(SONG)
    began_s = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "tercet.desk.errand"],
        input=Errand("tracks", (str(song),), str(tmp_path / "made")).as_json(),
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 130, done.stderr
    assert time.monotonic() - began_s < 20
    assert not list(tmp_path.rglob("*.wav"))
