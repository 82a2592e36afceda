"""The folder of songs: nothing that was written is lost, and nothing outside it is touched."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet.desk.songs_folder import (
    LARGEST_TEXT_BYTES,
    VERSION_EVERY_S,
    VERSIONS_KEPT,
    ChangedElsewhereError,
    SongsFolder,
)
from tercet.errors import RequestError

NAME = "lamp.yaml"


class Clock:
    def __init__(self) -> None:
        self.now_s = 1_700_000_000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def folder(tmp_path: Path, clock: Clock) -> SongsFolder:
    return SongsFolder(tmp_path / "songs", clock)


def texts_kept(folder: SongsFolder, name: str = NAME) -> list[str]:
    return [folder.read_version(name, version.key) for version in folder.history(name)]


def test_a_new_song_is_written_and_read_back(folder: SongsFolder) -> None:
    saved = folder.save(NAME, "title: Lämp\n", None)
    assert folder.read(NAME) == saved
    assert (folder.folder / NAME).read_bytes() == "title: Lämp\n".encode()
    assert [song.name for song in folder.songs()] == [NAME]


def test_what_was_changed_elsewhere_is_never_written_over(folder: SongsFolder) -> None:
    seen = folder.save(NAME, "one", None).version
    (folder.folder / NAME).write_text("of another program")
    with pytest.raises(ChangedElsewhereError, match="was changed elsewhere") as refused:
        folder.save(NAME, "two", seen)
    assert refused.value.there is not None
    assert refused.value.there.text == "of another program"
    assert (folder.folder / NAME).read_text() == "of another program"
    folder.save(NAME, "two", refused.value.there.version)
    assert texts_kept(folder)[0] == "of another program"


def test_a_song_that_has_gone_is_not_written_anew_unasked(folder: SongsFolder) -> None:
    seen = folder.save(NAME, "one", None).version
    (folder.folder / NAME).unlink()
    with pytest.raises(ChangedElsewhereError, match="isn't there any more") as refused:
        folder.save(NAME, "two", seen)
    assert refused.value.there is None
    folder.save(NAME, "two", None)
    assert folder.read(NAME).text == "two"


def test_a_new_song_never_takes_the_place_of_another(folder: SongsFolder) -> None:
    folder.save(NAME, "one", None)
    with pytest.raises(ChangedElsewhereError):
        folder.save(NAME, "two", None)
    assert folder.read(NAME).text == "one"


def test_a_version_is_kept_each_minute_and_twenty_in_all(folder: SongsFolder, clock: Clock) -> None:
    seen = folder.save(NAME, "0", None).version
    for number in range(1, 40):
        clock.now_s += VERSION_EVERY_S + 1
        seen = folder.save(NAME, str(number), seen).version
        clock.now_s += 1
        seen = folder.save(NAME, f"{number} soon after", seen).version
    kept = texts_kept(folder)
    assert len(kept) == VERSIONS_KEPT
    assert kept == [f"{number} soon after" for number in range(38, 38 - VERSIONS_KEPT, -1)]
    assert folder.history(NAME)[0].kept_s > folder.history(NAME)[1].kept_s


def test_before_something_large_a_version_is_kept_at_once(folder: SongsFolder, clock: Clock) -> None:
    seen = folder.save(NAME, "one", None).version
    seen = folder.save(NAME, "two", seen).version
    clock.now_s += 1
    folder.keep(NAME)
    clock.now_s += 1
    folder.keep(NAME, "a text that gives way")
    assert texts_kept(folder)[:2] == ["a text that gives way", "two"]
    clock.now_s += 1
    folder.keep(NAME, "a text that gives way")
    assert len(texts_kept(folder)) == 3


def test_a_draft_waits_until_it_is_let_go(folder: SongsFolder) -> None:
    folder.save(NAME, "one", None)
    assert folder.draft(NAME) is None
    folder.keep_draft(NAME, "couldn't be saved")
    assert SongsFolder(folder.folder).draft(NAME) == "couldn't be saved"
    assert folder.history(NAME) == ()
    folder.keep_draft(NAME, None)
    assert folder.draft(NAME) is None


@pytest.mark.parametrize("before", [b"\xef\xbb\xbfone\r\ntwo\r\n", b"one\r\ntwo\r\n", b"one\ntwo\n"])
def test_line_ends_and_mark_stay_as_they_are(folder: SongsFolder, before: bytes) -> None:
    (folder.folder / NAME).write_bytes(before)
    song = folder.read(NAME)
    assert song.text == "one\ntwo\n"
    folder.save(NAME, "one\nthree\n", song.version)
    assert (folder.folder / NAME).read_bytes() == before.replace(b"two", b"three")


def test_what_is_no_text_is_not_opened(folder: SongsFolder) -> None:
    (folder.folder / NAME).write_bytes(b"title: L\xe4mp")
    with pytest.raises(RequestError, match="isn't saved as UTF-8"):
        folder.read(NAME)
    (folder.folder / NAME).write_bytes(b"x" * (LARGEST_TEXT_BYTES + 1))
    with pytest.raises(RequestError, match="larger than any song"):
        folder.read(NAME)
    with pytest.raises(RequestError, match="much smaller"):
        folder.save("long.yaml", "x" * (LARGEST_TEXT_BYTES + 1), None)


@pytest.mark.parametrize(
    "name",
    [
        "../out.yaml", "a/../../out.yaml", "/etc/out.yaml", "..yaml", ".hidden.yaml", ".history/lamp.yaml", "a//b.yaml",
        "",
        "a\\b.yaml", "C:out.yaml", "nul.yaml", "com1.yaml", "a\0b.yaml", "a\nb.yaml", "song.txt", "song", "a./b.yaml",
        " a.yaml", "a/b/c/d.yaml", "x" * 121 + ".yaml", "a\u202eb.yaml", "made?.yaml", "./lamp.yaml",
    ],
)  # fmt: skip
def test_names_that_lead_elsewhere_are_refused(folder: SongsFolder, name: str) -> None:
    before = sorted(folder.folder.parent.rglob("*"))
    for ask in (folder.read, folder.history, folder.draft, folder.keep):
        with pytest.raises(RequestError):
            ask(name)
    with pytest.raises(RequestError):
        folder.save(name, "text", None)
    assert sorted(folder.folder.parent.rglob("*")) == before


@pytest.mark.skipif(os.name != "posix", reason="links")
def test_links_that_lead_out_are_not_followed(folder: SongsFolder, tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "secret.yaml").write_text("secret")
    (folder.folder / "link.yaml").symlink_to(outside / "secret.yaml")
    (folder.folder / "inner").symlink_to(outside)
    assert folder.songs() == ()
    for name in ("link.yaml", "inner/secret.yaml"):
        with pytest.raises(RequestError, match="leads out"):
            folder.read(name)
        with pytest.raises(RequestError, match="leads out"):
            folder.save(name, "mine", None)
    assert (outside / "secret.yaml").read_text() == "secret"
    (folder.folder / "real.yaml").write_text("real")
    (folder.folder / "second-name.yaml").symlink_to(folder.folder / "real.yaml")
    assert folder.read("second-name.yaml").text == "real"


def test_songs_lie_in_folders_too_but_not_what_was_made(folder: SongsFolder) -> None:
    for name in ("a.yaml", "autumn/b.yml", "made/tracks/c.yaml", ".history/d.yaml", "e.txt"):
        path = folder.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
        os.utime(path, (1, 1 + len(name)))
    assert [song.name for song in folder.songs()] == ["autumn/b.yml", "a.yaml"]


def test_what_was_made_is_listed_by_kind(folder: SongsFolder) -> None:
    for name in (
        "pages/lamp/index.html",
        "pages/index.html",
        "pages/look.css",
        "pages/page.json",
        "sheets/lamp.pdf",
        "tracks/lamp/01-demo.wav",
        "tracks/stopped/kit.json",
    ):
        path = folder.made_folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
    assert [(each.kind, each.name) for each in folder.made()] == [
        ("pages", "index"),
        ("pages", "lamp"),
        ("sheets", "lamp"),
        ("tracks", "lamp"),
    ]
    assert [each.path for each in folder.made()] == [
        "pages/index.html",
        "pages/lamp/index.html",
        "sheets/lamp.pdf",
        "tracks/lamp",
    ]
    assert folder.made_path("sheets/lamp.pdf").is_file()
    for elsewhere in ("../lamp.yaml", "/etc/passwd", "sheets/none.pdf", "a\0b"):
        with pytest.raises(RequestError, match="isn't there"):
            folder.made_path(elsewhere)


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Lämp & Light!", "lämp-light.yaml"),
        ("../../etc", "etc.yaml"),
        ("", "song.yaml"),
        ("nul", "song-nul.yaml"),
        ("Lamp", "lamp-2.yaml"),
    ],
)
def test_a_new_song_gets_a_name_of_its_own(folder: SongsFolder, title: str, name: str) -> None:
    folder.save(NAME, "x", None)
    assert folder.free_name(title) == name


@given(st.lists(st.tuples(st.sampled_from("AB"), st.text(max_size=5)), max_size=12))
def test_two_writers_never_lose_what_they_saved(
    tmp_path_factory: pytest.TempPathFactory, saves: list[tuple[str, str]]
) -> None:
    folder = SongsFolder(tmp_path_factory.mktemp("two"), Clock())
    seen: dict[str, str | None] = {"A": None, "B": None}
    there: str | None = None
    for writer, text in saves:
        version = folder.version(NAME)
        if seen[writer] != version:
            with pytest.raises(ChangedElsewhereError) as refused:
                folder.save(NAME, text, seen[writer])
            assert refused.value.there is not None
            assert refused.value.there.text == there
            seen[writer] = version
        else:
            saved = folder.save(NAME, text, seen[writer])
            there, seen[writer] = saved.text, saved.version
        assert there is None or folder.read(NAME).text == there
