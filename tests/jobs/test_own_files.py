"""Which files Tercet counts as its own: by their bytes, on every path that leads to them, with or without a cache."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tercet import made_files
from tercet.errors import RequestError
from tercet.jobs import FolderStore, RemoteStore
from tercet.jobs.own_files import OwnFiles, own_file
from tercet.made_files import MOST_NOTES, check_may_make, is_sealed, sealed, write_made


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "cache"
    monkeypatch.setenv("TERCET_CACHE", str(folder))
    return folder


def make(path: Path, data: bytes = b"made", *, replace: bool = False) -> None:
    write_made(path, data, maker="render", replace=replace)


def test_what_was_made_is_made_again_until_somebody_changes_it(tmp_path: Path) -> None:
    path = tmp_path / "home.mp3"
    make(path)
    make(path, b"slower")
    make(path, b"made")
    path.write_bytes(b"mine")
    with pytest.raises(RequestError, match=r"home\.mp3 already exists .*changed after Tercet made it.*--rep"):
        make(path)
    assert path.read_bytes() == b"mine"
    make(path, replace=True)
    assert path.read_bytes() == b"made"
    make(path, b"again")


def test_what_was_there_before_stays(tmp_path: Path) -> None:
    path = tmp_path / "home.mp3"
    path.write_bytes(b"mine")
    with pytest.raises(RequestError, match="Tercet didn't make it"):
        make(path)
    assert path.read_bytes() == b"mine"
    copy = tmp_path / "kept.mp3"
    make(tmp_path / "new.mp3")
    shutil.copy(tmp_path / "new.mp3", copy)
    with pytest.raises(RequestError, match="Tercet didn't make it"):
        make(copy)


def test_one_place_is_known_by_all_its_paths(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    (tmp_path / "file.mp3").symlink_to(tmp_path / "real" / "home.mp3")
    make(tmp_path / "link" / "home.mp3")
    monkeypatch.chdir(tmp_path / "real")
    make(Path("home.mp3"), b"two")
    make(tmp_path / "file.mp3", b"three")
    make(tmp_path / "real" / ".." / "real" / "home.mp3", b"four")
    assert (tmp_path / "file.mp3").is_symlink()
    (tmp_path / "real" / "home.mp3").write_bytes(b"mine")
    for path in (Path("home.mp3"), tmp_path / "file.mp3", tmp_path / "link" / "home.mp3"):
        with pytest.raises(RequestError):
            make(path)
    assert Path("home.mp3").read_bytes() == b"mine"


def test_without_its_cache_it_refuses_and_says_the_way_out(tmp_path: Path, cache: Path) -> None:
    path = tmp_path / "home.mp3"
    make(path)
    shutil.rmtree(cache)
    with pytest.raises(RequestError, match="use --replace"):
        make(path, b"two")
    make(path, b"two", replace=True)
    make(path, b"three")
    for note in (note for note in cache.rglob("*") if note.is_file()):
        note.write_bytes(b"\xff\x00 not a note")
    with pytest.raises(RequestError, match="use --replace"):
        make(path, b"four")
    assert path.read_bytes() == b"three"


def test_where_nothing_can_be_noted_files_are_made_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "no-folder").touch()
    monkeypatch.setenv("TERCET_CACHE", str(tmp_path / "no-folder"))
    make(tmp_path / "home.mp3")
    with pytest.raises(RequestError, match="Tercet didn't make it"):
        make(tmp_path / "home.mp3")


def test_a_command_that_is_killed_before_it_writes_still_knows_the_last_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "home.mp3"
    make(path)

    replaced = Path.replace

    def killed(self: Path, target: Path) -> None:
        if target == path:
            raise KeyboardInterrupt
        replaced(self, target)

    for data in (b"two", b"other"):
        with monkeypatch.context() as patch:
            patch.setattr(Path, "replace", killed)
            with pytest.raises(KeyboardInterrupt):
                make(path, data)
    assert path.read_bytes() == b"made"
    make(path, b"three")
    assert path.read_bytes() == b"three"


def test_what_appears_during_long_work_stays(tmp_path: Path) -> None:
    path = tmp_path / "home.mp3"
    made = tmp_path / "work.mp3"
    for before in (None, b"made"):
        if before:
            make(path, before, replace=True)
        files = own_file(path, maker="render")
        path.write_bytes(b"mine")
        made.write_bytes(b"new")
        with pytest.raises(RequestError, match="stays as it is"):
            files.put(made, path.name)
        assert path.read_bytes() == b"mine"


def test_a_command_with_a_folder_replaces_only_its_own(tmp_path: Path) -> None:
    page = OwnFiles(FolderStore(tmp_path), "page")
    sheet = tmp_path / "song" / "song.pdf"
    page.write(b"page's sheet", "song/song.pdf")
    page.write(b"page's other sheet", "song/song.pdf")
    write_made(sheet, b"large sheet", maker="sheet")
    assert page.is_of_another("song/song.pdf")
    assert page.left("song/song.pdf").endswith("it was made by another command")
    with pytest.raises(RequestError, match="stays as it is"):
        page.write(b"page's sheet", "song/song.pdf")
    assert sheet.read_bytes() == b"large sheet"
    OwnFiles(FolderStore(tmp_path), "page", replace=True).write(b"page's", "song/song.pdf")
    assert sheet.read_bytes() == b"page's"
    sheet.write_bytes(b"by hand")
    assert not page.is_of_another("song/song.pdf")
    assert "it was changed after Tercet made it" in page.left("song/song.pdf")


def test_a_manifest_knows_where_the_cache_does_not(tmp_path: Path) -> None:
    (tmp_path / "demo.wav").write_bytes(b"made elsewhere")
    known = {"demo.wav": hashlib.sha256(b"made elsewhere").hexdigest()}
    store = FolderStore(tmp_path)
    assert OwnFiles(store, "kit").obstacle("demo.wav") == made_files.FOREIGN
    OwnFiles(store, "kit", known).write(b"new", "demo.wav")
    assert (tmp_path / "demo.wav").read_bytes() == b"new"
    (tmp_path / "demo.wav").write_bytes(b"mine")
    assert OwnFiles(store, "kit", known).obstacle("demo.wav") == made_files.CHANGED


@pytest.mark.parametrize("replace", [False, True])
@pytest.mark.parametrize("link", ["song/page/look.css", "song/page", "song"])
@pytest.mark.parametrize("hangs", [False, True])
def test_no_link_in_a_folder_is_written_through(
    tmp_path: Path, link: str, *, replace: bool, hangs: bool
) -> None:
    elsewhere = tmp_path / "elsewhere"
    if not hangs:
        (elsewhere / "song" / "page").mkdir(parents=True)
        (elsewhere / "song" / "page" / "look.css").write_bytes(b"mine")
    root = tmp_path / "class"
    (root / link).parent.mkdir(parents=True)
    (root / link).symlink_to(elsewhere / link)
    files = OwnFiles(FolderStore(root), "page", replace=replace)
    with pytest.raises(RequestError, match="symbolic link"):
        files.write(b"x", "song/page/look.css")
    assert (root / link).is_symlink()
    assert not elsewhere.exists() if hangs else (elsewhere / "song/page/look.css").read_bytes() == b"mine"


def test_a_folder_that_is_a_link_itself_is_where_the_user_wants_it(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "class").symlink_to(tmp_path / "real")
    OwnFiles(FolderStore(tmp_path / "class"), "page").write(b"x", "song/index.html")
    assert (tmp_path / "real" / "song" / "index.html").read_bytes() == b"x"


def test_a_folder_or_a_pipe_in_the_way_stays(tmp_path: Path) -> None:
    (tmp_path / "demo.wav").mkdir()
    os.mkfifo(tmp_path / "pipe.wav")
    files = OwnFiles(FolderStore(tmp_path), "kit", replace=True)
    for name in ("demo.wav", "pipe.wav"):
        assert "a folder or a device has its name" in files.left(name)


def test_files_at_an_address_follow_the_same_rule() -> None:
    store = RemoteStore("memory://made-files")
    files = OwnFiles(store, "kit")
    files.write(b"one", "song/demo.wav")
    files.write(b"two", "song/demo.wav")
    store.write(b"mine", "song/demo.wav")
    assert files.obstacle("song/demo.wav") == made_files.CHANGED
    store.write(b"mine", "song/other.wav")
    assert files.obstacle("song/other.wav") == made_files.FOREIGN
    known = {"song/other.wav": hashlib.sha256(b"mine").hexdigest()}
    assert not OwnFiles(store, "kit", known).obstacle("song/other.wav")
    assert not OwnFiles(store, "kit", replace=True).obstacle("song/demo.wav")


def test_notes_do_not_grow_without_end(tmp_path: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(made_files, "_note_of", lambda place: cache / "made" / "ab" / Path(place).name)
    for number in range(MOST_NOTES + 3):
        make(tmp_path / f"{number}.mp3")
    assert len(list((cache / "made" / "ab").iterdir())) == MOST_NOTES
    make(tmp_path / f"{number}.mp3", b"again")
    for _ in range(9):
        make(tmp_path / f"{number}.mp3", os.urandom(4))
    assert len((cache / "made" / "ab" / f"{number}.mp3").read_text().splitlines()) <= made_files.NEWEST_KEPT


def test_early_means_before_any_work(tmp_path: Path) -> None:
    (tmp_path / "home.mp3").write_bytes(b"mine")
    with pytest.raises(RequestError):
        check_may_make(tmp_path / "home.mp3")
    check_may_make(tmp_path / "home.mp3", replace=True)
    with pytest.raises(RequestError, match="is a folder"):
        check_may_make(tmp_path, replace=True)


@given(st.dictionaries(st.text(max_size=8), st.text(max_size=20)), st.data())
def test_a_seal_is_broken_by_any_change(fields: dict[str, str], data: st.DataObject) -> None:
    fields.pop("seal", None)
    whole = sealed(json.dumps({"seal": "", **fields}, ensure_ascii=False).encode("utf-8", "replace"))
    assert is_sealed(whole)
    place = data.draw(st.integers(0, len(whole) - 1))
    changed = bytearray(whole)
    changed[place] ^= data.draw(st.integers(1, 255))
    assert not is_sealed(bytes(changed))
    assert not is_sealed(whole[:place])
    assert not is_sealed(b"")
