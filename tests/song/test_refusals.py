"""What isn't a song file at all is refused, with a clear word and within a second."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tercet.errors import RequestError, SongError
from tercet.song import parse_song, read_song
from tercet.song.plain_text import LARGEST_FILE_BYTES

HEAD = "title: One\nmeter: 4/4\nsections:\n  verse: |\n"
SONG = HEAD + "    chords C\n    melody C4:4\n"


def refused(text: str) -> list[str]:
    """What is said about a text that must be refused."""
    with pytest.raises(SongError, match="mistake") as caught:
        parse_song(text)
    return [mistake.message for mistake in caught.value.mistakes]


def refused_file(path: Path, data: bytes) -> SongError:
    path.write_bytes(data)
    with pytest.raises(SongError, match="mistake") as caught:
        read_song(path)
    return caught.value


def filled(head: str, unit: str) -> str:
    """A text as large as a file may be, the unit repeated."""
    return head + unit * ((LARGEST_FILE_BYTES - len(head)) // len(unit))


ENCODINGS = [
    ("utf-16", "the file is saved as UTF-16"),
    ("utf-16-le", "the file is saved as UTF-16"),
    ("utf-16-be", "the file is saved as UTF-16"),
    ("utf-32", "the file is saved as UTF-32"),
]


@pytest.mark.parametrize(("encoding", "message"), ENCODINGS)
def test_other_encodings(tmp_path: Path, encoding: str, message: str) -> None:
    error = refused_file(tmp_path / "song.yaml", SONG.encode(encoding))
    assert error.mistakes[0].message == message
    assert error.mistakes[0].mend.startswith("save it as UTF-8")
    assert error.exit_code == 1


def test_utf_16_with_its_mark_and_utf_8_with_one(tmp_path: Path) -> None:
    path = tmp_path / "song.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + SONG.encode())
    assert read_song(path).title == "One"


def test_windows_encoding_is_named_at_its_place(tmp_path: Path) -> None:
    error = refused_file(tmp_path / "song.yaml", "title: One\ncomposer: René\n".encode("cp1252"))
    (mistake,) = error.mistakes
    assert (mistake.line, mistake.column) == (2, 14)
    assert mistake.message == "this character isn't UTF-8 (byte 0xE9, é in an older encoding)"
    assert mistake.text == "composer: Ren�"


def test_a_byte_without_meaning_is_only_named(tmp_path: Path) -> None:
    error = refused_file(tmp_path / "song.yaml", b"title: \x81\n")
    assert error.mistakes[0].message == "this character isn't UTF-8 (byte 0x81)"


BINARIES = {
    "zeros": bytes(1000),
    "picture": b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + bytes(range(256)) * 8,
    "sound": b"RIFF\x24\x08\x00\x00WAVEfmt " + bytes(range(256)) * 4,
    "packed": b"PK\x03\x04" + bytes(range(1, 256)) * 4,
    "control": b"title: \x01\x02\x03\x04\x05\x06\x07\x08\x0e\x0f\x10\x11\x12\x13",
}


@pytest.mark.parametrize("name", sorted(BINARIES))
def test_what_is_not_text(tmp_path: Path, name: str) -> None:
    error = refused_file(tmp_path / "song.yaml", BINARIES[name])
    assert error.mistakes[0].message == "this isn't a text file"
    assert "tercet new" in error.mistakes[0].mend


def test_a_file_that_is_too_large(tmp_path: Path) -> None:
    message = "an arrangement file must be at most 64 kB (this one is larger)"
    assert (
        refused_file(tmp_path / "song.yaml", b"#" * (LARGEST_FILE_BYTES + 1)).mistakes[0].message == message
    )
    assert refused_file(tmp_path / "huge.yaml", b"a: b\n" * 2_000_000).mistakes[0].message == message
    assert refused("#" * (LARGEST_FILE_BYTES + 1)) == [message]


def test_what_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match=r"there is no file .*nothing\.yaml"):
        read_song(tmp_path / "nothing.yaml")
    with pytest.raises(RequestError, match=r"is a folder, and no file in it ends in \.yaml or \.yml"):
        read_song(tmp_path)
    (tmp_path / "song.yaml").write_text(SONG, encoding="utf-8")
    with pytest.raises(RequestError, match="can't be read: Not a directory"):
        read_song(tmp_path / "song.yaml" / "below")
    with pytest.raises(RequestError, match="can't be read: embedded null byte"):
        read_song("so\0ng.yaml")


def test_what_cannot_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "song.yaml"
    path.write_text(SONG, encoding="utf-8")

    def forbidden(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", forbidden)
    with pytest.raises(RequestError, match="can't be read: Permission denied"):
        read_song(path)


BOMB = "a: &a [x, x, x, x]\n" + "".join(f"b{i}: &b{i} [*a, *a, *a, *a]\n" for i in range(40))
LARGE = {
    "alias bomb": (BOMB, "`&a` can't stand here: a value starts with & only between quotes"),
    "alias": ("title: *a\n", "`*a` can't stand here: a value starts with * only between quotes"),
    "brackets": ("a: " + "[" * 1900, "values are nested more than 12 deep"),
    "braces": (("{" * 1900 + "\n") * 30, "values are nested more than 12 deep"),
    "dashes": ("- " * 900, "values are nested more than 12 deep"),
    "steps": ("\n".join(" " * i + "a:" for i in range(300)), "values are nested more than 12 deep"),
    "keys in keys": ("? " * 900, "values are nested more than 12 deep"),
    "one line": (filled("title: ", "x"), "a line must have at most 2000 characters"),
    "numbers": (filled("a: [", "1, " * 500 + "\n"), "the file holds far more values than a song needs"),
    "settings": (
        "".join(f"k{i}: v\n" for i in range(7000)),
        "the file holds far more values than a song needs",
    ),
    "blank lines": (filled(HEAD, "\n"), "`verse` has no rows"),
    "comments": (filled(HEAD, "    #\n"), "`verse` has no rows"),
    "colons": (filled("title: One\n", ": " * 900 + "\n"), "values are nested more than 12 deep"),
    "spaces": (filled("title: One\n", "a" + " " * 1900 + "b\n"), "a colon is missing after the name"),
    "headers": (filled("title: One\n", "a: |\n"), "`a` is written twice"),
    "open quote": (
        'title: "' + filled("", "word " * 300 + "\n  "),
        "the quote that opens here is never closed",
    ),
    "tabs": (filled(HEAD, "\tmelody C4\n"), "a tab stands before the text of this line"),
    "same row": (filled(HEAD, "    chords C\n"), "this line of music already has the row chords"),
    "bad words": (filled(HEAD, "    melody qwe asd zxc\n\n"), "`qwe` isn't a note"),
    "long words": (filled(HEAD, "    melody " + "C4," * 500 + "\n\n"), "`C4,C4,C4"),
    "bar lines": (filled(HEAD, "    melody " + "| " * 900 + "\n\n"), "this bar is empty"),
    "crowded": (
        filled(HEAD, "    melody" + " C4" * 600 + "\n\n"),
        "a bar must hold at most 64 notes (got 600)",
    ),
    "hashes": (filled(HEAD, "    chords C " + "# " * 800 + "\n\n"), "a comment stands on a line of its own"),
    "passes": (filled(HEAD, "    words " + "2 " * 800 + "\n\n"), "pass 2 is named twice"),
    "long form": (
        filled(
            HEAD.replace("meter", "form:" + " verse*99" * 5 + "\nmeter"), "    chords" + " C |" * 400 + "\n\n"
        ),
        "the piece must have at most 2000 bars as played",
    ),
    "too many sections": (
        "title: One\nsections:\n" + "".join(f"  s{i}: |\n    chords C\n" for i in range(101)),
        "a song must have at most 100 sections (got 101)",
    ),
}


@pytest.mark.parametrize("name", sorted(LARGE))
def test_explosions(name: str) -> None:
    text, message = LARGE[name]
    assert len(text) <= LARGEST_FILE_BYTES
    assert any(found.startswith(message) for found in refused(text))


def largest_song() -> str:
    """A song as large as may be, every note of another length."""
    lines = [
        f"    chords C\n    melody C4:{number % 996 + 1}/997 D:{4 * 997 - number % 996 - 1}/997\n\n"
        for number in range(1500)
    ]
    return HEAD + "".join(lines)[: LARGEST_FILE_BYTES - len(HEAD)].rpartition("\n\n")[0]


TIMER = """
import json, sys, time
from pathlib import Path
from tercet.errors import SongError
from tercet.song import read_song
times = {}
for path in sorted(Path(sys.argv[1]).iterdir()):
    start_s = time.process_time()
    sum(number * number % 7 for number in range(1_000_000))
    yardstick_s = time.process_time() - start_s
    start_s = time.process_time()
    try:
        read_song(path)
    except SongError:
        pass
    times[path.stem] = (time.process_time() - start_s) / yardstick_s
print(json.dumps(times))
"""


MOST_YARDSTICKS = 20
"""A yardstick is a million squares added up just before: 0.05 s on a machine with nothing else to do, and longer, as
the reading is, on a busy or a slower one."""


def test_all_is_read_or_refused_within_a_second(tmp_path: Path) -> None:
    """In a process of its own, where nothing traces the lines; a second is 20 yardsticks."""
    for name, (text, _) in LARGE.items():
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    for name, data in BINARIES.items():
        (tmp_path / f"{name}.yaml").write_bytes(data)
    for encoding, _ in ENCODINGS:
        (tmp_path / f"{encoding}.yaml").write_bytes(SONG.encode(encoding))
    (tmp_path / "huge.yaml").write_bytes(b"a: b\n" * 2_000_000)
    (tmp_path / "song.yaml").write_text(largest_song(), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", TIMER, str(tmp_path)], check=True, capture_output=True, text=True
    )
    times: dict[str, float] = json.loads(done.stdout)
    assert len(times) == len(LARGE) + len(BINARIES) + len(ENCODINGS) + 2
    assert {name: time for name, time in times.items() if time >= MOST_YARDSTICKS} == {}


def test_the_largest_song_is_read() -> None:
    assert len(largest_song()) > 0.95 * LARGEST_FILE_BYTES
    assert parse_song(largest_song()).section("verse").bar_count > 900


def test_reading_stops_after_a_hundred_mistakes() -> None:
    with pytest.raises(SongError, match="there may be more; mend these first") as caught:
        parse_song(HEAD + "    chords C\n\n" + "    melody x y z\n\n" * 50)
    assert len(caught.value.mistakes) == 100
    assert caught.value.more


@pytest.mark.parametrize("text", ["\ud800", "title: \ud800", "title: a\x00b", "\ufffe"])
def test_reports_can_be_printed(text: str) -> None:
    with pytest.raises(SongError, match="mistake") as caught:
        parse_song(text)
    assert str(caught.value).encode("utf-8").isascii() or "�" in str(caught.value)


def test_whatever_the_yaml_library_raises_is_a_mistake(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise IndexError("out of range")

    monkeypatch.setattr("ruamel.yaml.YAML.parse", broken)
    assert refused(SONG) == ["this file can't be read (out of range)"]


@pytest.mark.parametrize("setting", ["tracks", "form", "dynamics", "title"])
def test_a_sign_that_is_left_out_moves_no_place_past_the_line(setting: str) -> None:
    """Rows straight under a setting are read as if its | stood there; what is said of them stays within the line."""
    text = f"key: C major\n{setting}:\n    melody C4:4\n  verse: |\nsections:\n  verse: |\n    chords C\n"
    with pytest.raises(SongError, match="mistake") as caught:
        parse_song(text)
    assert caught.value.mistakes
    assert all(mistake.column <= len(mistake.text) + 1 for mistake in caught.value.mistakes)


@pytest.mark.parametrize(("opens", "closes"), [("[", "]"), ("{a: ", "}")], ids=["lists", "names"])
def test_values_may_be_nested_twelve_deep_and_no_deeper(opens: str, closes: str) -> None:
    def said(deep: int) -> str:
        with pytest.raises(SongError) as caught:
            parse_song(f"title: {opens * deep}x{closes * deep}\n")
        return str(caught.value)

    assert "nested" not in said(10), "the file is one step, its value another"
    assert "nested more than 12 deep" in said(11)


@pytest.mark.parametrize("form", ["2", "x2", "verse", "2x"])
def test_a_form_of_a_song_without_sections_is_told(form: str) -> None:
    with pytest.raises(SongError) as caught:
        parse_song(f"title: Nothing yet\nform: {form}\nsections: 3\n")
    assert "line 3" in str(caught.value)
    assert "sections are " not in str(caught.value)
