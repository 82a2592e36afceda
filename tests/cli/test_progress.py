"""What is told of long work: an event for each thing that happened, a line each for programs."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tercet.errors import RequestError
from tercet.kit import EVENT_KINDS, Event, KitOptions
from tercet.kit.kits import make_kit
from tercet.kit.one_track import OneTrack, make_track
from tercet.song import parse_song
from tests.cli.conftest import SMALL_SONG, Ran

Run = Callable[..., Ran]
DOCS = Path(__file__).resolve().parents[2] / "docs"


def lines(ran: Ran) -> list[dict[str, Any]]:
    """Return the events that a command wrote; whatever else it said would be no JSON."""
    return [json.loads(line) for line in ran.err.splitlines()]


def of_kind(events: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    return [event for event in events if event["kind"] == kind]


@pytest.mark.parametrize("jobs", [1, 2])
def test_every_file_of_a_kit_is_told(song: Path, tmp_path: Path, tercet: Run, jobs: int) -> None:
    asked = ["kit", song, "-o", tmp_path / "kits", "--tracks", "demo,slow", "--tuning", "high-g,low-g"]
    asked += ["--formats", "wav,mp3", "--jobs", jobs]
    first = tercet(*asked, "--progress", "json")
    assert first.code == 0
    events = lines(first)
    listed = json.loads((tmp_path / "kits/two-kettles/kit.json").read_bytes())["files"]
    assert len(listed) == 10
    told = {
        event["file"]: (event["set"], event["track"], event["size_bytes"], event["length_s"], event["text"])
        for event in of_kind(events, "made")
    }
    assert told == {
        f"{tmp_path}/kits/two-kettles/{entry['file']}": (
            entry["set"],
            entry["track"],
            entry["bytes"],
            entry["length_s"],
            entry["purpose"],
        )
        for entry in listed
    }
    assert [event["done"] for event in of_kind(events, "made")] == list(range(1, 11))
    assert {event["total"] for event in of_kind(events, "made")} == {10}
    assert [event["kind"] for event in events][-1] == "done"
    assert (events[-1]["text"], events[-1]["song"], events[-1]["done"]) == ("kit", "Two Kettles", 10)
    again = tercet(*asked, "--progress", "json")
    assert {event["file"] for event in of_kind(lines(again), "kept")} == set(told)
    assert of_kind(lines(again), "made") == []
    assert first.out == again.out == tercet(*asked).out


def test_many_songs_tell_as_one_does(song: Path, tmp_path: Path, tercet: Run) -> None:
    songs = [song]
    for number in range(1, 4):
        songs.append(tmp_path / f"song-{number}.yaml")
        songs[-1].write_text(SMALL_SONG.replace("Two Kettles", f"Song {number}"), encoding="utf-8")
    asked = ("kit", *songs, "-o", tmp_path / "kits", "--tracks", "demo", "--jobs", "2")
    events = lines(tercet(*asked, "--progress", "json"))
    made = {event["file"] for event in of_kind(events, "made")}
    assert made == {
        f"{tmp_path}/kits/{file.stem}/{name}"
        for file in songs
        for name in ("02-demo.wav", f"{file.stem}.mid")
    }
    steps = [event["done"] for event in of_kind(events, "step") if event["total"] == 4]
    assert steps == [1, 2, 3, 4]
    assert len([event for event in of_kind(events, "done") if event["text"] == "kit"]) == 4


def test_what_stays_and_what_fails_is_told(song: Path, tmp_path: Path, tercet: Run) -> None:
    folder = tmp_path / "kits" / "two-kettles"
    folder.mkdir(parents=True)
    (folder / "02-demo.wav").write_bytes(b"my own")
    asked = ("kit", song, "-o", tmp_path / "kits", "--tracks", "demo", "--progress", "json")
    (left,) = of_kind(lines(tercet(*asked)), "left")
    assert left["file"] == str(folder / "02-demo.wav")
    assert "Tercet didn't make it" in left["text"]
    for option, code in (("--bars", 1), ("--transpose", 2)):
        refused = tercet(*asked, option, "99")
        (failed,) = of_kind(lines(refused), "failed")
        assert refused.code == failed["exit_code"] == code
        assert "99" in failed["text"]


def test_a_track_and_a_page_tell_too(song: Path, tmp_path: Path, tercet: Run) -> None:
    path = tmp_path / "demo.mp3"
    ran = tercet("render", song, "-o", path, "--progress", "json")
    assert ran.out == f"{path}\n"
    (made,) = of_kind(lines(ran), "made")
    assert (made["file"], made["track"], made["song"]) == (str(path), "demo", "Two Kettles")
    ran = tercet("page", song, "-o", tmp_path / "class", "--no-kit", "--speeds", "100%", "--progress", "json")
    pages = [str(tmp_path / "class" / name) for name in ("two-kettles/index.html", "index.html")]
    assert ran.out.split() == pages
    assert [event["file"] for event in of_kind(lines(ran), "made")] == pages
    again = tercet(
        "page", song, "-o", tmp_path / "class", "--no-kit", "--speeds", "100%", "--progress", "json"
    )
    assert [event["file"] for event in of_kind(lines(again), "kept")] == pages[:1]


def test_a_page_with_a_kit_tells_every_file_of_it(song: Path, tmp_path: Path, tercet: Run) -> None:
    ran = tercet("page", song, "-o", tmp_path / "class", "--speeds", "100%", "--progress", "json")
    listed = json.loads((tmp_path / "class/two-kettles/kit.json").read_bytes())["files"]
    told = {event["file"] for event in of_kind(lines(ran), "made") if event["track"] != "page"}
    assert told == {f"{tmp_path}/class/two-kettles/{entry['file']}" for entry in listed}
    assert ran.out.split() == [
        str(tmp_path / "class" / name) for name in ("two-kettles/index.html", "index.html")
    ]


def test_python_is_told_the_same_of_a_song_that_has_no_file(tmp_path: Path) -> None:
    told: list[Event] = []
    options = KitOptions(tracks=["demo"], formats=["flac"], jobs=1)
    result = make_kit([parse_song(SMALL_SONG)], tmp_path, options, told.append)
    files = {f"{tmp_path}/two-kettles/{name}" for name in ("02-demo.flac", "two-kettles.mid")}
    assert set(result.made) == {event.file for event in told if event.kind == "made"} == files
    assert all(Path(file).is_file() for file in files)
    assert result.failures == ()
    (kit,) = make_kit([parse_song(SMALL_SONG)], tmp_path, options).songs
    assert (kit.title, kit.made, len(kit.entries)) == ("Two Kettles", (), 2)
    recipe = make_track(parse_song(SMALL_SONG), tmp_path / "mine.mid", OneTrack(only=("melody",)))
    assert recipe.name == "only-melody"
    (tmp_path / "mine.mid").write_bytes(b"mine")
    with pytest.raises(RequestError, match="already exists"):
        make_track(parse_song(SMALL_SONG), tmp_path / "mine.mid")


def test_the_docs_list_every_kind_and_every_field() -> None:
    page = (DOCS / "many-songs.md").read_text("utf-8").partition("## Progress for programs")[2]
    rows = re.findall(r"^\| `(\w+)` \|", page, re.MULTILINE)
    assert set(rows) == {*EVENT_KINDS, *Event.__dataclass_fields__}
