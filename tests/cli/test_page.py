"""``tercet page``: its files, what it makes again, and what it refuses."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile

from tercet.kit.sources import source_of
from tests.cli.conftest import SMALL_SONG, Ran
from tests.kits import FONT

Tercet = Callable[..., Ran]


def stems(folder: Path) -> dict[str, int]:
    """Return when each stem was written."""
    return {path.name: path.stat().st_mtime_ns for path in sorted((folder / "page").glob("*-*.js"))}


def test_a_class_gets_a_folder_a_song_and_a_list(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    out = tmp_path / "class"
    ran = tercet("page", song, "-o", out, "--no-kit", "--speeds", "100%", "--title", "Tuesday <class>")
    assert ran.code == 0, ran.err
    assert ran.out.split() == [str(out / "two-kettles" / "index.html"), str(out / "index.html")]
    assert "open" in ran.err
    files = sorted(path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file())
    assert files == [
        "class.js",
        "class.webmanifest",
        "icon-192.png",
        "icon-512.png",
        "index.html",
        "look.css",
        "offline.js",
        "page.json",
        "two-kettles/index.html",
        *(
            f"two-kettles/page/{name}"
            for name in (
                "first-line.mp3",
                "hearing.js",
                "kept.json",
                "look.css",
                "page.json",
                "player.js",
                "take.svg",
            )
        ),
        "two-kettles/two-kettles.pdf",
    ]
    assert "Tuesday &lt;class&gt;" in (out / "index.html").read_text(encoding="utf-8")


def test_a_list_is_called_as_its_class_and_plays_first_lines(
    tercet: Tercet, song: Path, tmp_path: Path
) -> None:
    out = tmp_path / "class"
    song.with_name("class.yaml").write_text("name: Tuesday & Thursday\n", encoding="utf-8")
    command = ("page", song, "-o", out, "--no-kit", "--speeds", "100%")
    assert tercet(*command).code == 0
    html = (out / "index.html").read_text(encoding="utf-8")
    assert '<h1 dir="auto">Tuesday &amp; Thursday</h1>' in html
    assert 'href="two-kettles/page/first-line.mp3"' in html
    heard, rate_hz = soundfile.read(out / "two-kettles" / "page" / "first-line.mp3")
    assert 2.0 < len(heard) / rate_hz < 30.0
    assert abs(heard).max() > 0.05
    assert tercet(*command, "--title", "Sunday").code == 0
    assert '<h1 dir="auto">Sunday</h1>' in (out / "index.html").read_text(encoding="utf-8")


def test_stems_are_made_again_only_when_the_music_changes(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    command = ("page", song, "-o", tmp_path / "class", "--no-kit", "--sound", FONT)
    folder = tmp_path / "class" / "two-kettles"
    assert tercet(*command, "--speeds", "80%,100%").code == 0
    first = stems(folder)
    assert len(first) == 6
    page = (folder / "index.html").read_bytes()
    song.write_text(SMALL_SONG.replace("Two Kettles", "Three Kettles"), encoding="utf-8")
    assert tercet(*command, "--speeds", "80%,100%").code == 0
    assert stems(folder) == first
    assert b"Three Kettles" in (folder / "index.html").read_bytes() != page
    song.write_text(SMALL_SONG.replace("G4 A G ", "G4 B G "), encoding="utf-8")
    assert tercet(*command, "--speeds", "100%").code == 0
    assert set(stems(folder)) == {name for name in first if name.startswith("100")}
    assert all(stems(folder)[name] > first[name] for name in stems(folder))


def test_a_page_that_is_there_is_not_written_again(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    folder = tmp_path / "class" / "two-kettles"
    command = ("page", song, "-o", tmp_path / "class", "--no-kit", "--speeds", "100%")

    def written() -> dict[str, int]:
        assert tercet(*command).code == 0
        return {path.name: path.stat().st_mtime_ns for path in folder.rglob("*.*") if path.is_file()}

    first = written()
    assert written() == first
    (folder / "take-home.wav").write_bytes(b"RIFF")
    with_more = written()
    assert with_more["index.html"] > first["index.html"]
    assert b"take-home.wav" in (folder / "index.html").read_bytes()
    for name in ("index.html", "page/player.js", "two-kettles.pdf"):
        (folder / name).unlink()
        assert written()["index.html"] > with_more["index.html"]
        assert (folder / name).is_file()
    for text in ("{", "[]", '{"asked": 1}'):
        (folder / "page" / "page.json").write_text(text, encoding="utf-8")
        assert written()["index.html"] > with_more["index.html"]


def test_a_page_that_was_killed_and_made_again_is_the_same(
    tercet: Tercet, song: Path, tmp_path: Path
) -> None:
    command = ("page", song, "-o", tmp_path / "class", "--no-kit", "--speeds", "80%,100%")
    assert tercet(*command).code == 0
    folder = tmp_path / "class" / "two-kettles"
    whole = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    last_things = ["index.html", "page/player.js", "page/look.css", "page/take.svg", "page/page.json"]
    for killed_before in range(len(last_things)):
        for name in last_things[killed_before:]:
            (folder / name).unlink()
        assert tercet(*command).code == 0
        assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == whole


def test_damaged_notes_of_last_time_do_no_harm(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    command = ("page", song, "-o", tmp_path / "class", "--no-kit", "--speeds", "100%")
    assert tercet(*command).code == 0
    folder = tmp_path / "class" / "two-kettles"
    for text in ("{", "[]"):
        (folder / "page" / "kept.json").write_text(text, encoding="utf-8")
        (folder / "page" / "page.json").unlink()
        ran = tercet(*command)
        assert ran.code == 0
        assert "kept.json stays as it is" in ran.err
        assert (folder / "page" / "kept.json").read_text(encoding="utf-8") == text
    assert tercet(*command, "--replace").code == 0
    kept = json.loads((folder / "page" / "kept.json").read_text(encoding="utf-8"))
    assert set(kept["heard"]) == {"key", "length_s", "gains_db", "lowered_db", "peaks"}


def test_the_kit_is_made_unless_there_is_one(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    command = ("page", song, "-o", tmp_path / "class", "--speeds", "100%", "--tuning", "low-g")
    ran = tercet(*command)
    assert ran.code == 0, ran.err
    folder = tmp_path / "class" / "two-kettles"
    made = {path: path.stat().st_mtime_ns for path in folder.glob("*.mp3")}
    assert made
    html = (folder / "index.html").read_text(encoding="utf-8")
    assert all(f'href="{path.name}"' in html for path in made)
    assert 'href="two-kettles.mid"' in html
    assert "low-g" in html
    assert tercet(*command).code == 0
    assert {path: path.stat().st_mtime_ns for path in folder.glob("*.mp3")} == made


def test_a_page_that_works_its_sound_out_needs_no_stems_of_before(
    tercet: Tercet, song: Path, tmp_path: Path
) -> None:
    command = ("page", song, "-o", tmp_path / "class", "--no-kit", "--speeds", "100%")
    folder = tmp_path / "class" / "two-kettles"
    assert tercet(*command, "--sound", FONT).code == 0
    assert stems(folder)
    assert tercet(*command).code == 0
    assert not stems(folder)


def test_verify_tells_by_its_exit_code_what_was_changed(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    command = ("page", song, "-o", tmp_path / "class", "--no-kit", "--speeds", "100%")
    folder = tmp_path / "class" / "two-kettles"
    assert tercet(*command).code == 0
    assert tercet(*command, "--verify").code == 0
    script = folder / "page" / "player.js"
    made = script.read_bytes()
    script.write_bytes(made[:-1] + b" ")
    assert tercet(*command).code == 0
    changed = tercet(*command, "--verify")
    assert changed.code == 1
    assert f"{script} stays as it is: it was changed after Tercet made it" in changed.err
    assert tercet(*command, "--verify", "--replace").code == 0
    assert script.read_bytes() == made
    assert tercet(*command, "--verify").code == 0


def test_one_file_holds_everything(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    ran = tercet("page", song, "-o", tmp_path / "mail", "--one-file", "--left-handed")
    assert ran.code == 0, ran.err
    (path,) = (tmp_path / "mail").iterdir()
    assert ran.out.split() == [str(path)] == [str(tmp_path / "mail" / "two-kettles.html")]
    html = path.read_text(encoding="utf-8")
    assert not re.findall(r'(?:src|href)="(?!data:|#)[^"]+"', html)
    assert 'id="stem-' not in html
    ran = tercet("page", song, "-o", path, "--one-file", "--replace", "--sound", FONT)
    assert ran.code == 0, ran.err
    html = path.read_text(encoding="utf-8")
    assert len(re.findall(r'<script type="text/plain" id="stem-[\w-]+">[A-Za-z0-9+/=]{1000,}<', html)) == 4
    assert path.stat().st_size < 8_000_000


def test_one_file_too_large_is_refused(
    tercet: Tercet, song: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tercet.kit.pages.MOST_BYTES_OF_ONE_FILE", 100_000)
    ran = tercet("page", song, "-o", tmp_path / "mail", "--one-file")
    assert ran.code == 1
    assert "leave --one-file out" in ran.err
    assert not (tmp_path / "mail").exists()


def test_one_file_has_all_speeds_but_one_of_a_font(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    command = ("page", song, "-o", tmp_path / "mail", "--one-file")
    ran = tercet(*command, "--speeds", "80%,100%", "--sound", FONT)
    assert ran.code == 1
    assert "one speed of a sound font or a --loud song (got 2): name one" in ran.err
    assert tercet(*command, "--speeds", "73%,100%").code == 0
    html = (tmp_path / "mail" / "two-kettles.html").read_text(encoding="utf-8")
    (percents,) = re.findall(r'"percents":\[([^]]+)\]', html)
    assert {"40.0", "73.0", "100.0", "120.0"} < set(percents.split(","))
    assert len(html) < 2_000_000


def test_two_songs_of_one_name_are_refused(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    other = tmp_path / "more" / song.name
    other.parent.mkdir()
    other.write_text(SMALL_SONG, encoding="utf-8")
    ran = tercet("page", song, other, "-o", tmp_path / "class")
    assert ran.code == 1
    assert "rename one of the files" in ran.err


def test_the_mistakes_of_all_songs_are_told_before_anything_is_made(
    tercet: Tercet, song: Path, tmp_path: Path
) -> None:
    for name in ("one.yaml", "two.yaml"):
        (tmp_path / name).write_text(SMALL_SONG.replace("G4:3", "G4:9"), encoding="utf-8")
    ran = tercet("page", song, tmp_path / "one.yaml", tmp_path / "two.yaml", "-o", tmp_path / "class")
    assert ran.code == 1
    assert "one.yaml" in ran.err
    assert "two.yaml" in ran.err
    assert not (tmp_path / "class").exists()


def test_a_name_that_means_harm_becomes_a_harmless_folder(tercet: Tercet, tmp_path: Path) -> None:
    path = tmp_path / '"><img src=x>.yaml'
    path.write_text(SMALL_SONG, encoding="utf-8")
    ran = tercet("page", path, "-o", tmp_path / "class", "--no-kit", "--speeds", "100%")
    assert ran.code == 0, ran.err
    assert (tmp_path / "class" / "img-src-x" / "index.html").is_file()
    assert "<img" not in (tmp_path / "class" / "index.html").read_text(encoding="utf-8")


def test_one_file_is_the_file_that_is_named(song: Path, tmp_path: Path, tercet: Callable[..., Ran]) -> None:
    page = tmp_path / "p.html"
    made = tercet("page", song, "-o", page, "--one-file")
    assert (made.code, made.out) == (0, f"{page}\n")
    assert "Two Kettles" in page.read_text("utf-8")
    assert tercet("page", song, "-o", page, "--one-file").code == 0
    page.write_text("a page of the teacher's", encoding="utf-8")
    refused = tercet("page", song, "-o", page, "--one-file")
    assert refused.code == 1
    assert f"{page} already exists and stays as it is" in refused.err
    assert page.read_text("utf-8") == "a page of the teacher's"
    assert tercet("page", song, "-o", page, "--one-file", "--replace").code == 0
    assert "Two Kettles" in page.read_text("utf-8")


def test_a_page_is_no_folder(song: Path, tmp_path: Path, tercet: Callable[..., Ran]) -> None:
    refused = tercet("page", song, "-o", tmp_path / "p.html")
    assert refused.code == 1
    assert (
        "p.html would become a folder: one page in a file needs --one-file; name a folder, such as"
        in refused.err
    )
    assert [*tmp_path.iterdir()] == [song]
    (tmp_path / "p.html").mkdir()
    assert tercet("page", song, "-o", tmp_path / "p.html", "--one-file").code == 0
    assert (tmp_path / "p.html" / "two-kettles.html").is_file()


def test_a_page_of_a_mixed_class_has_a_folder_for_each_set(
    tercet: Tercet, song: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "class" / "two-kettles"
    command = ("page", song, "-o", tmp_path / "class", "--speeds", "100%", "--no-kit")
    assert tercet(*command).code == 0
    assert (folder / "two-kettles.pdf").is_file()
    ran = tercet(*command, "--tuning", "high-g,low-g")
    assert ran.code == 0, ran.err
    assert sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*.pdf")) == [
        "high-g/two-kettles.pdf",
        "low-g/two-kettles.pdf",
    ]
    page = (folder / "index.html").read_bytes()
    assert page.count(b"data-set=") == 1
    assert tercet(*command, "--tuning", "low-g,high-g").code == 0
    assert (folder / "index.html").read_bytes() == page
    class_file = song.with_name("class.yaml")
    class_file.write_text("tunings: low-g, high-g\n", encoding="utf-8")
    assert tercet(*command).code == 0
    assert (folder / "index.html").read_bytes() == page
    class_file.write_text("keys: 0, -2\n", encoding="utf-8")
    assert tercet(*command).code == 0
    files = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert {name.rpartition("/")[0] for name in files} == {"", "bb-major", "c-major", "page", "page/bb-major"}


def test_a_kit_without_one_of_the_sets_is_told(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    sets = ("--tuning", "high-g,low-g")
    kit = ("kit", song, "-o", tmp_path / "class", "--tracks", "tune-up", "--formats", "mp3", "--jobs", "1")
    assert tercet(*kit, *sets).code == 0
    page = ("page", song, "-o", tmp_path / "class", "--speeds", "100%")
    assert "has no recordings of" not in tercet(*page, *sets).err
    ran = tercet(*page, *sets, "--keys", "0,-2")
    assert ran.code == 0
    assert (
        "has no recordings of high-g, C major, low-g, C major, high-g, Bb major and low-g, Bb major"
        in ran.err
    )


@pytest.mark.parametrize("command", [("--keys", "0,-12"), ("--keys", "-2,B"), ("--keys", "+")])
def test_keys_that_are_none_are_refused(
    tercet: Tercet, song: Path, tmp_path: Path, command: tuple[str, ...]
) -> None:
    ran = tercet("page", song, "-o", tmp_path / "class", *command)
    assert ran.code == 2
    assert "--keys must be semitones from the song's key, -11 to +11, such as 0,-2,+3" in ran.err
    assert not (tmp_path / "class").exists()


def test_one_file_of_recorded_stems_holds_one_set(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    several = ("--one-file", "--sound", FONT, "--tuning", "high-g,low-g")
    ran = tercet("page", song, "-o", tmp_path / "a.html", *several)
    assert ran.code == 1
    assert (
        "one file holds one set of a sound font or a --loud song (got 2): name one with --tuning" in ran.err
    )


def test_a_new_week_makes_the_page_again_and_no_recording(tercet: Tercet, song: Path, tmp_path: Path) -> None:
    out, class_file = tmp_path / "class", song.with_name("class.yaml")
    clip = out / "two-kettles" / "page" / "first-line.mp3"
    command = ("page", song, "-o", out, "--no-kit", "--speeds", "100%")
    source = source_of(song)
    contents, clips = [], []
    for said in ("{bars: 1, note: Slow <thumbs>}", "{bars: 1-2, note: Now quicker}"):
        class_file.write_text(f"this-week:\n  {song.stem}: {said}\n", encoding="utf-8")
        assert tercet(*command).code == 0
        contents.append(source.content())
        clips.append(clip.read_bytes())
        page, listed = (
            (folder / "index.html").read_text(encoding="utf-8") for folder in (out / "two-kettles", out)
        )
        if "Slow" in said:
            assert '<p dir="auto">Slow &lt;thumbs&gt;</p>' in page
            assert '<p class="week" dir="auto">This week: bar 1. Slow &lt;thumbs&gt;</p>' in listed
    assert '<p dir="auto">Now quicker</p>' in page
    assert 'data-first="0" data-last="1">Repeat bars 1–2</button>' in page
    assert contents[0] == contents[1], "a kit needn't be made again"
    assert clips[0] == clips[1]


def test_bars_of_this_week_that_are_not_there_are_told_before_anything_is_made(
    tercet: Tercet, song: Path, tmp_path: Path
) -> None:
    out = tmp_path / "class"
    song.with_name("class.yaml").write_text(f"this-week:\n  {song.stem}: 98-99\n", encoding="utf-8")
    ran = tercet("page", song, "-o", out, "--no-kit")
    assert ran.code == 1
    assert f"class.yaml, this-week, {song.stem}: " in ran.err
    assert not out.exists()
