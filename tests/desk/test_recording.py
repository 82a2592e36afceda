"""A recording that is handed to the desk: the command's figures, nothing on the disk, hostile bodies refused."""

from __future__ import annotations

import io
import json
import os
import socket
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tercet.arranging import arrange, song_tuning
from tercet.desk.guard import LARGEST_BODY_BYTES
from tercet.desk.listening import LARGEST_BYTES
from tercet.song import parse_song
from tests.desk.desks import Desk, desk
from tests.hearing.conftest import LONGER
from tests.hearing.performances import Performance, play, record
from tests.kits import run_tercet

NAME = "kettle.yaml"
SHORT = Performance("short", ((0.0, 0.3),), (0.95,), wrong=1, seed=5)
RATE_HZ = 24_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("recording")
    (base / "songs").mkdir()
    (base / "songs" / NAME).write_text(LONGER, encoding="utf-8")
    song = parse_song(LONGER)
    record(play(arrange(song, song_tuning(song)), SHORT), "phone", base / "Ada")
    return base


@pytest.fixture(scope="module")
def served(folder: Path) -> Iterator[Desk]:
    with desk(folder / "songs", grace_s=3.0) as found:
        yield found


def body(sound: bytes, **facts: Any) -> bytes:
    """Return a body as the page makes it."""
    usual = {"window": "w", "name": NAME, "text": LONGER, "recording": "Ada.wav", "plays": []}
    asked = json.dumps(usual | facts).encode()
    return len(asked).to_bytes(4, "little") + asked + sound


def told(served: Desk, data: bytes, expected: int = 200) -> Any:
    status, answer, _ = served.answer("recording", data)
    assert status == expected, answer[:300]
    return json.loads(answer) if answer else None


def wave(samples: Any) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, np.asarray(samples, np.float32), RATE_HZ, format="WAV")
    return file.getvalue()


@pytest.mark.parametrize("plays", [[], ["melody", "between"]])
def test_the_desk_says_what_the_command_says(served: Desk, folder: Path, plays: list[str]) -> None:
    path = folder / "Ada.wav"
    found = told(served, body(path.read_bytes(), plays=plays))
    only = [word for layer in plays for word in ("--only", layer)]
    (printed,) = json.loads(run_tercet("hear", folder / "songs" / NAME, path, "--json", *only))
    assert found["facts"] == printed
    assert printed["advice"]["next"]["bars"]
    assert len(found["details"]) > 3
    assert found["picture"].startswith("<svg")


def test_the_song_is_heard_as_it_stands_in_the_window(served: Desk, folder: Path) -> None:
    sound = (folder / "Ada.wav").read_bytes()
    other = told(served, body(sound, text=LONGER.replace("tempo: 104", "tempo: 96")))
    assert other["facts"]["advice"]["ask"] == ""
    assert told(served, body(sound, text="title: nothing\n"), 204) is None


# ---- what tells nothing, and what nobody's page sends


def noise() -> Any:
    return np.random.default_rng(1).normal(0, 0.05, 8 * RATE_HZ)


REFUSED: dict[str, Callable[[], bytes]] = {
    "Ada.wav is silent": lambda: wave(np.zeros(8 * RATE_HZ)),
    "Ada.wav holds noise and no strings": lambda: wave(noise()),
    "Ada.wav is 2.0 s long": lambda: wave(noise()[: 2 * RATE_HZ]),
    "Ada.wav is clipped throughout": lambda: wave(np.sign(np.sin(np.arange(8 * RATE_HZ) / 20.0))),
    "Ada.wav isn't an audio file": lambda: b"a song",
    "Ada.wav isn't an audio file that": lambda: b"",
}


@pytest.mark.parametrize("reason", REFUSED)
def test_what_tells_nothing_is_refused_with_the_reason(served: Desk, reason: str) -> None:
    assert told(served, body(REFUSED[reason]()), 422)["error"].startswith(reason)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{}",
        b"\xff\xff\xff\xff{}",
        b"\2\0\0\0[]",
        b"\2\0\0\0{}",
        b"\4\0\0\0{\xff\xff}",
        body(b"", plays="melody"),
        body(b"", plays=[["melody"]]),
        body(b"", plays=["none"]),
        body(b"", recording=3),
        body(b"", text=None),
        body(b"", recording="\ud800"),
        body(b"", recording="../../\0"),
    ],
)
def test_a_body_that_the_page_never_sends_is_refused(served: Desk, data: bytes) -> None:
    assert told(served, data, 422)["error"]


def test_a_damaged_recording_is_heard_or_refused_never_more(served: Desk, folder: Path) -> None:
    sound = (folder / "Ada.wav").read_bytes()
    rng = np.random.default_rng(3)
    for length in (12, 44, 45, len(sound) // 2):
        damaged = bytearray(sound[:length])
        for at in rng.integers(0, min(length, 60), 2):
            damaged[at] = int(rng.integers(256))
        status, answer, _ = served.answer("recording", body(bytes(damaged)))
        assert status in (200, 422)
        assert json.loads(answer)


def test_who_lacks_the_key_or_comes_from_elsewhere_is_refused(served: Desk) -> None:
    data = body(b"a song")
    key, served.base = served.base, "/not-the-key/"
    try:
        assert served.answer("recording", data)[0] == 404
    finally:
        served.base = key
    assert served.answer("recording", data, {"Origin": "http://evil.example"})[0] == 403
    assert served.answer("recording")[0] == 405


def begun(served: Desk, length: int, data: bytes, what: str = "recording") -> socket.socket:
    """Begin to send a body that is said to be so long."""
    sending = socket.create_connection(("127.0.0.1", served.port), timeout=20)
    head = (
        f"POST {served.base}{what} HTTP/1.1\r\nHost: {served.host}\r\nOrigin: http://{served.host}\r\n"
        f"Content-Length: {length}\r\n\r\n"
    )
    sending.sendall(head.encode() + data)
    return sending


def test_what_is_too_large_is_refused_before_it_is_read(served: Desk) -> None:
    with begun(served, LARGEST_BYTES + 1, b"") as sending:
        assert sending.recv(100).startswith(b"HTTP/1.1 413 ")
    with begun(served, LARGEST_BODY_BYTES + 1, b"", "save") as sending:
        assert sending.recv(100).startswith(b"HTTP/1.1 413 "), "all else is as small as it was"


def test_who_goes_away_in_the_middle_keeps_nobody_waiting(served: Desk) -> None:
    begun(served, 1000, b"\2\0\0\0{}").close()
    assert told(served, body(b"a song"), 422)["error"]


def test_nothing_of_a_recording_is_written(served: Desk, folder: Path, tmp_path: Path) -> None:
    sound = (folder / "Ada.wav").read_bytes()
    opened: list[str] = []
    watching = True

    def watch(event: str, arguments: tuple[Any, ...]) -> None:
        if watching and event == "open" and isinstance(arguments[0], (str, bytes)) and _writes(arguments):
            opened.append(str(arguments[0]))

    sys.addaudithook(watch)
    (tmp_path / "seen").write_text("the watch sees what is written")
    assert [Path(each).name for each in opened] == ["seen"]
    told(served, body(sound))
    watching = False
    assert len(opened) == 1


def _writes(arguments: tuple[Any, ...]) -> bool:
    _, mode, flags = arguments
    return bool(flags & (os.O_WRONLY | os.O_RDWR)) if mode is None else bool(set(mode) & set("wax+"))
