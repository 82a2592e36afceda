"""What a window asks of the desk, over a real port."""

from __future__ import annotations

import json
import queue
import socket
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.desk.desks import Desk, desk

SONG = """\
title: Kettle
key: C major
meter: 3/4
tempo: 120
players: beginner
form: verse*2
sections:
  verse: |
    chords   C       | F      | G7     | C
    melody   E4 G C5 | A4:2 F | G4 B D5 | C5:3
    words    Put the ket- | tle on | stove for the | tea
"""
NAME = "kettle.yaml"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with desk(tmp_path_factory.mktemp("desk") / "songs", grace_s=1.0) as found, found.window("module"):
        found.ask("save", name=NAME, text=SONG, seen=None)
        yield found


def told(events: queue.Queue[tuple[str, Any]], kind: str, wanted: Any = None) -> Any:
    until = time.monotonic() + 30
    while time.monotonic() < until:
        found, facts = events.get(timeout=30)
        if found == kind and (wanted is None or wanted(facts)):
            return facts
    raise AssertionError(f"nothing told of {kind}")


def stretch(data: bytes) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    length = int.from_bytes(data[:4], "little")
    facts = json.loads(data[4 : 4 + length])
    first = 4 + length + -(4 + length) % 4
    samples = np.frombuffer(data, np.float32, offset=first).reshape(len(facts["layers"]), 2, facts["frames"])
    return facts, dict(zip(facts["layers"], samples, strict=True))


def sound(found: Desk, text: str = SONG, **asked: Any) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    usual = {
        "from_bar": 0,
        "to_bar": None,
        "at_least_s": 1.0,
        "speed": 100,
        "flat": False,
        "count_in_bars": 0,
        "begins": True,
    }
    status, body, _ = found.answer(
        "sound", json.dumps({"name": NAME, "text": text, **usual, **asked}).encode()
    )
    assert status == 200, body[:300]
    return stretch(body)


# ---- the page


def test_the_page_and_its_files_come_with_a_strict_policy(served: Desk) -> None:
    status, body, headers = served.answer("")
    assert status == 200
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    nonce = policy.split("'nonce-")[1].split("'")[0]
    assert f'content="{nonce}"'.encode() in body
    assert b"{{" not in body
    assert served.answer("")[2]["content-security-policy"] != policy
    for name in (
        "desk.js",
        "desk.css",
        "inks.css",
        "codemirror.js",
        "english.json",
        "icon.svg",
        "microphone.js",
    ):
        assert served.answer(f"page/{name}")[0] == 200, name
    for name in ("desk.html", "nothing.js", "..", "desk.py"):
        assert served.answer(f"page/{name}")[0] == 404, name


# ---- songs


def test_songs_are_listed_opened_and_saved(served: Desk) -> None:
    assert NAME in [song["name"] for song in served.ask("songs")["songs"]]
    opened = served.ask("open", name=NAME)
    assert (opened["text"], opened["draft"]) == (SONG, None)
    saved = served.ask("save", name="copy.yaml", text="one", seen=None)
    refused = served.ask("save", 409, name="copy.yaml", text="two", seen=None)
    assert refused["there"] == {"name": "copy.yaml", "text": "one", "version": saved["version"]}
    served.ask("draft", name="copy.yaml", text="two")
    assert served.ask("open", name="copy.yaml")["draft"] == "two"
    served.ask("keep", name="copy.yaml", text="two")
    assert served.ask("open", name="copy.yaml")["draft"] is None
    (version,) = served.ask("history", name="copy.yaml")["versions"]
    assert served.ask("version", name="copy.yaml", key=version["key"])["text"] == "two"


@pytest.mark.parametrize(
    ("what", "facts"),
    [
        ("open", {"name": "../out.yaml"}),
        ("open", {"name": 7}),
        ("save", {"name": NAME, "text": None, "seen": None}),
        ("save", {"name": NAME, "text": "x", "seen": 7}),
        ("version", {"name": NAME, "key": "../../x"}),
        ("make", {"what": "page", "songs": "all"}),
        ("make", {"what": "bomb", "songs": [NAME]}),
        ("make", {"what": "page", "songs": [NAME], "choices": {"output": "/"}}),
        ("make", {"what": "page", "songs": ["../x.yaml"]}),
        ("reveal", {"path": "../.."}),
        ("look", {"name": NAME, "text": SONG}),
        ("look", {"name": NAME, "text": SONG, "line": True}),
        ("sound", {"name": NAME, "text": SONG, "from_bar": "first"}),
        ("ways", {"name": NAME, "text": SONG, "line": 1, "column": 1}),
        ("move", {"name": NAME, "text": SONG, "semitones": 99, "tuning": "high-g"}),
        ("set", {"text": SONG, "name": "colour", "value": "red"}),
        ("new", {"title": "A", "meter": "four", "key": "C major", "bars": 4, "words": ""}),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(served: Desk, what: str, facts: dict[str, Any]) -> None:
    assert len(served.ask(what, 422, **facts)["error"]) > 10


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"nonsense", b"\xff\xfe", b"[" * 100_000, b'{"speed": NaN}', b'{"speed": -Infinity}']
)
def test_what_is_no_json_is_refused(served: Desk, body: bytes) -> None:
    assert served.answer("open", body)[0] == 422


def test_windows_are_told_of_changes_here_and_elsewhere(served: Desk) -> None:
    served.ask("save", name="shared.yaml", text="one", seen=None)
    with served.window("A") as events:
        version = served.ask("open", window="A", name="shared.yaml")["version"]
        saved = served.ask("save", window="B", name="shared.yaml", text="two", seen=version)
        assert told(events, "changed") == {"name": "shared.yaml", "version": saved["version"], "by": "B"}
        time.sleep(1.6)
        (served.folder / "shared.yaml").write_text("three")
        facts = told(events, "changed", lambda facts: facts["by"] == "")
        assert facts["version"] == served.ask("open", name="shared.yaml")["version"]


def test_what_changes_before_a_window_listens_is_told_too(served: Desk) -> None:
    served.ask("save", name="early.yaml", text="one", seen=None)
    served.ask("open", window="E", name="early.yaml")
    with served.window("E") as events:
        (served.folder / "early.yaml").write_text("two")
        facts = told(events, "changed", lambda facts: facts["by"] == "")
        assert facts["version"] == served.ask("open", name="early.yaml")["version"]


def test_a_new_song_and_a_tune_from_outside_become_songs(served: Desk) -> None:
    begun = served.ask("new", title="Kettle", meter="6/8", key="D minor", bars=4, words="one two three")
    assert begun["name"] == "kettle-2.yaml"
    assert "meter: 6/8" in begun["text"]
    abc = b"X:1\nT:Owl\nM:3/4\nL:1/4\nK:G\nG A B|c2 B|A G F|G3|\n"
    status, body, _ = served.answer("import?name=owl.abc", abc)
    found = json.loads(body)
    assert (status, found["name"]) == (200, "owl.yaml")
    assert "title: Owl" in found["text"]
    assert tempfile.gettempdir() not in found["text"]
    status, body, _ = served.answer("import?name=%C3%A4-owl.abc", abc)
    assert (status, json.loads(body)["name"]) == (200, "ä-owl.yaml")
    status, body, _ = served.answer("import?name=owl.pdf", b"%PDF-1.4")
    assert status == 422
    assert "owl.pdf" in json.loads(body)["error"]
    assert tempfile.gettempdir() not in json.loads(body)["error"]


# ---- what is seen


def test_a_song_is_seen_with_its_line_and_what_there_is_to_say(served: Desk) -> None:
    seen = served.ask("look", name=NAME, text=SONG, line=10)
    assert (seen["mistakes"], seen["error"]) == ([], "")
    song = seen["song"]
    assert (song["title"], len(song["bars"])) == ("Kettle", 8)
    assert song["lines"] == [
        {"section": "verse", "line": 0, "from_line": 9, "to_line": 11, "bars": [0, 1, 2, 3]}
    ]
    assert [layer["name"] for layer in song["layers"]] == ["melody", "between", "strums"]
    music = seen["music"]
    for names in music["shows"].values():
        for name in names:
            assert f'id="{name}"' in music["svg"]
    assert [place[2] for place in music["places"].values()] == [
        "E4",
        "G4",
        "C5",
        "A4",
        "F4",
        "G4",
        "B4",
        "D5",
        "C5",
    ]
    marks = served.ask("marks", name=NAME, text=SONG)["marks"]
    assert any(mark["kind"] == "shape" for mark in marks["0"])
    assert served.ask("look", name=NAME, text=SONG, line=1)["music"] is None


def test_mistakes_come_with_what_mends_them_and_nothing_is_lost(served: Desk) -> None:
    seen = served.ask("look", name=NAME, text=SONG.replace("C5:3", "c5:3"), line=10)
    (mistake,) = seen["mistakes"]
    assert (mistake["line"], mistake["place"]) == (10, "line 10, verse, bar 4, melody")
    assert mistake["edits"]
    assert seen["song"] is None
    assert served.ask("look", name=NAME, text=SONG, line=10)["song"] is not None


def test_hostile_song_text_is_data_in_the_drawing(served: Desk) -> None:
    hostile = SONG.replace("Put", '<script>alert(1)</script>"&amp;')
    seen = served.ask("look", name=NAME, text=hostile, line=10)
    assert seen["music"] is not None
    assert "<script" not in seen["music"]["svg"]
    assert "&lt;script" in seen["music"]["svg"]


def test_lines_are_lined_up_and_only_those(served: Desk) -> None:
    crooked = SONG.replace("| F      |", "|F|") + "\n    chords C|F\n    melody C4:3|F4:3\n"
    tidy = served.ask("tidy", text=crooked, from_line=9, to_line=11)["text"]
    bars = [[at for at, sign in enumerate(row) if sign == "|"][:3] for row in tidy.splitlines()[8:11]]
    assert bars[0] == bars[1] == bars[2]
    assert len(bars[0]) == 3
    assert tidy.splitlines()[12:] == crooked.splitlines()[12:]


def test_lines_with_mistakes_are_lined_up_too(served: Desk) -> None:
    wrong = SONG.replace("C5:3", "H5:3").replace("| F      |", "|F|")
    tidy = served.ask("tidy", text=wrong, from_line=9, to_line=11)["text"]
    rows = tidy.splitlines()[8:11]
    bars = [[at for at, sign in enumerate(row) if sign == "|"] for row in rows]
    assert bars[0] == bars[1] == bars[2]
    assert [row.split() for row in rows] == [
        row.replace("|", " | ").split() for row in wrong.splitlines()[8:11]
    ]
    assert served.ask("tidy", text=tidy, from_line=9, to_line=11)["text"] == tidy


def test_settings_are_read_and_set(served: Desk) -> None:
    assert served.ask("settings", text=SONG)["values"]["tempo"] == "120"
    edit = served.ask("set", text=SONG, name="tempo", value="90")["edit"]
    assert (edit["line"], edit["text"].strip()) == (4, "90")
    assert served.ask("set", text=SONG, name="tempo", value="120")["edit"] is None
    words = served.ask("words", text=SONG)
    assert [word["name"] for word in words["chords"]][:3] == ["C", "F", "G"]
    assert {"tempo", "players"} <= {word["name"] for word in words["settings"]}
    assert served.ask("words", text="key: nonsense")["chords"]


# ---- what helps


def test_keys_are_advised_and_taken(served: Desk) -> None:
    advice = served.ask("advise", name=NAME, text=SONG)
    assert (advice["key"], advice["tuning"]) == ("C major", "high-g")
    assert [len(each["keys"]) for each in advice["tunings"]] == [12, 12, 12]
    moved = served.ask("move", name=NAME, text=SONG, semitones=2, tuning="low-g")
    seen = served.ask("look", name=NAME, text=moved["text"], line=1)["song"]
    assert (seen["key"], seen["tuning"]) == ("D major", "low-g")


def test_a_note_is_played_in_every_way_that_is_offered(served: Desk) -> None:
    music = served.ask("look", name=NAME, text=SONG, line=10)["music"]
    line, column, _ = next(place for place in music["places"].values() if place[2] == "A4")
    ways = served.ask("ways", name=NAME, text=SONG, line=line, column=column)["ways"]
    assert len(ways) >= 3
    for way in ways:
        seen = served.ask("look", name=NAME, text=way["text"], line=10)
        assert seen["mistakes"] == []
        assert way["text"] != SONG
    assert len({way["text"] for way in ways}) == len(ways)


# ---- what is heard


def test_stretches_add_up_to_the_whole(served: Desk) -> None:
    whole_facts, whole = sound(served, at_least_s=30)
    assert whole_facts["next_bar"] is None
    assert [bar[0] for bar in whole_facts["bars"]] == list(range(8))
    length = len(whole["melody"][0])
    joined = {name: np.zeros((2, length + 48_000)) for name in whole}
    until, bar, stretches = whole_facts["begins_s"], 0, 0
    while bar is not None:
        facts, stems = sound(served, from_bar=bar, begins=bar == 0, at_least_s=2.0)
        at = round((until - facts["begins_s"]) * facts["rate"])
        for name, samples in stems.items():
            joined[name][:, at : at + facts["frames"]] += samples
        until += facts["ends_s"] - facts["begins_s"]
        bar = facts["next_bar"]
        stretches += 1
    assert stretches >= 4
    for name, samples in whole.items():
        left = joined[name][:, :length] - samples
        assert 20 * np.log10(np.abs(left).max() / np.abs(samples).max()) < -40, name


def test_an_edit_is_heard_at_once_and_in_its_bar_alone(served: Desk) -> None:
    before = sound(served, from_bar=3, to_bar=3)[1]["melody"]
    text = SONG.replace("C5:3", "E5:3")
    after = sound(served, text, from_bar=3, to_bar=3)[1]["melody"]
    assert np.abs(after[:, :48_000] - before[:, :48_000]).max() > 0.01
    same = sound(served, text, from_bar=0, to_bar=0)[1]["melody"]
    first = sound(served, from_bar=0, to_bar=0)[1]["melody"]
    assert np.abs(same[:, :48_000] - first[:, :48_000]).max() < 0.05 * np.abs(first).max()


def test_no_silence_is_waited_for_or_sent(served: Desk) -> None:
    for bar in range(8):
        facts, stems = sound(served, from_bar=bar, to_bar=bar)
        together = np.abs(sum(stems.values())).max(axis=0)
        assert all(samples.any() for samples in stems.values())
        assert together[:480].any()
        assert together[-480:].any()
        assert -1e-9 < facts["begins_s"] < 0.2


def test_a_count_in_comes_first_and_flat_has_no_front(served: Desk) -> None:
    plain, stems = sound(served, from_bar=1, to_bar=1)
    counted, with_clicks = sound(served, from_bar=1, to_bar=1, count_in_bars=1)
    assert "cues" not in stems
    begins = round(counted["begins_s"] * counted["rate"])
    assert np.abs(with_clicks["cues"][:, :begins]).max() > 0.01
    assert counted["begins_s"] - plain["begins_s"] > 1.0
    _, flat = sound(served, from_bar=1, to_bar=1, flat=True)
    in_front = [
        np.square(found["melody"]).sum() / np.square(found["strums"]).sum() for found in (stems, flat)
    ]
    assert in_front[0] > 2 * in_front[1]


def test_what_has_mistakes_is_not_heard(served: Desk) -> None:
    asked = {"from_bar": 0, "to_bar": 0, "at_least_s": 1, "speed": 100, "count_in_bars": 0, "begins": True}
    text = SONG.replace("C5:3", "H5:9")
    status, body, _ = served.answer("sound", json.dumps({"name": NAME, "text": text, **asked}).encode())
    assert (status, body) == (204, b"")


def test_speeds_beyond_what_there_is_are_the_nearest_that_are(served: Desk) -> None:
    lengths = {
        speed: (facts["ends_s"] - facts["begins_s"])
        for speed in (1e308, 200, 25, -5.0)
        for facts in [sound(served, from_bar=0, to_bar=0, speed=speed)[0]]
    }
    assert lengths[1e308] == lengths[200]
    assert lengths[-5.0] == lengths[25] > 7 * lengths[200]


def test_two_songs_stay_ready_side_by_side(served: Desk) -> None:
    other = SONG.replace("C5:3", "E5:3")
    served.ask("save", name="other.yaml", text=other, seen=None)
    first = sound(served, from_bar=3, to_bar=3)[1]["melody"]
    second = sound(served, other, name="other.yaml", from_bar=3, to_bar=3)[1]["melody"]
    assert np.array_equal(sound(served, from_bar=3, to_bar=3)[1]["melody"], first)
    assert not np.array_equal(first, second)


def test_speed_and_notes_follow(served: Desk) -> None:
    facts, _ = sound(served, from_bar=0, to_bar=0)
    slow, _ = sound(served, from_bar=0, to_bar=0, speed=50)
    assert slow["ends_s"] - slow["begins_s"] == pytest.approx(
        2 * (facts["ends_s"] - facts["begins_s"]), rel=0.02
    )
    tune = [note for note in facts["notes"] if note[4] == 10]
    assert {note[5] for note in tune} == {14, 17, 19}
    assert all(facts["begins_s"] - 0.2 <= note[0] < note[1] for note in facts["notes"])


# ---- over the wire


def raw(found: Desk, text: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", found.port), timeout=15) as connection:
        connection.sendall(text)
        connection.settimeout(15)
        answer = b""
        try:
            while piece := connection.recv(65536):
                answer += piece
        except (TimeoutError, ConnectionError):
            pass
        return answer


def test_a_chunked_body_is_counted_too(served: Desk) -> None:
    host = served.host
    head = f"POST {served.base}open HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
    head += "Transfer-Encoding: chunked\r\n\r\n"
    piece = b"100000\r\n" + b"x" * 0x100000 + b"\r\n"
    answer = raw(served, head.encode() + piece * 10)
    assert b" 413 " in answer.split(b"\r\n")[0] or answer == b""
    assert served.ask("open", name=NAME)["text"] == SONG


@pytest.mark.parametrize(
    "text",
    [
        b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"GET / HTTP/0.9\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00",
        b"GET /" + b"a" * 40_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nX: " + b"a" * 40_000 + b"\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\r\n",
    ],
)
def test_odd_requests_serve_nothing(served: Desk, text: bytes) -> None:
    answer = raw(served, text)
    assert b"200 OK" not in answer
    assert b"codemirror" not in answer
    assert served.answer("")[0] == 200


def test_the_desk_ends_when_its_last_window_has_gone(tmp_path: Path) -> None:
    with desk(tmp_path / "songs", grace_s=0.3) as found:
        with found.window("A"):
            pass
        with found.window("B"):
            time.sleep(0.6)
            assert found.answer("")[0] == 200
