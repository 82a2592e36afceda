"""``tercet publish``: a folder for the web."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urljoin
from xml.etree import ElementTree as ET

import pypdf
import pytest

from tests.cli.conftest import SMALL_SONG, Ran

Run = Callable[..., Ran]

ATOM = "{http://www.w3.org/2005/Atom}"
CLASS = """\
name: Tuesday class
address: https://school.example/ukulele
this-week: 2
weeks:
- songs: {two-kettles: 1-2}
- name: 15 September
  note: Bring a pencil.
  songs: {two-kettles: 2-3, third: {note: "<b>all</b>"}}
- name: Later
  songs: {third: 1}
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A class with two songs that may be shared, and one of which nobody knows."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790000000")
    songs = tmp_path / "songs"
    songs.mkdir()
    (songs / "two-kettles.yaml").write_text(SMALL_SONG, encoding="utf-8")
    (songs / "third.yaml").write_text(SMALL_SONG.replace("Two Kettles", "Third & <last>"), encoding="utf-8")
    unknown = SMALL_SONG.replace("licence: CC0-1.0\n", "").replace("Two Kettles", "Heard Somewhere")
    (songs / "somewhere.yaml").write_text(unknown, encoding="utf-8")
    (songs / "class.yaml").write_text(CLASS, encoding="utf-8")
    return songs


def entries_of(site: Path) -> dict[str, tuple[str, str, str, str]]:
    """Return what a feed reader shows: for each title the id, the address, the date and the summary."""
    root = ET.parse(site / "feed.xml").getroot()
    assert root.tag == f"{ATOM}feed"
    assert all(root.find(f"{ATOM}{name}") is not None for name in ("id", "title", "updated", "author"))
    home = next(link.get("href") or "" for link in root.iter(f"{ATOM}link") if link.get("rel") == "self")
    found = {}
    for entry in root.iter(f"{ATOM}entry"):
        said = [entry.findtext(f"{ATOM}{name}") or "" for name in ("id", "updated", "summary")]
        link = entry.find(f"{ATOM}link")
        assert link is not None
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", said[1])
        title = entry.findtext(f"{ATOM}title") or ""
        found[title] = (said[0], urljoin(home, link.get("href")), said[1], said[2])
    return found


def publish(tercet: Run, folder: Path, *more: object) -> tuple[Path, Ran]:
    site = folder.parent / "site"
    book = () if "--songbook" in more else ("--no-songbook",)
    rest = [each for each in more if each != "--songbook"]
    return site, tercet("publish", folder, "-o", site, "--no-kit", *book, *rest)


def test_a_folder_for_any_host_with_a_feed_of_what_changed(
    folder: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    site, ran = publish(tercet, folder)
    assert ran.code == 0
    assert "somewhere.yaml has no licence line and is left out" in ran.err
    assert not (site / "somewhere").exists()
    everything = "".join(
        path.read_text("utf-8") for path in site.rglob("*") if path.suffix in (".html", ".xml")
    )
    assert "Heard Somewhere" not in everything
    assert "Two Kettles" in everything
    assert (site / "robots.txt").read_text() == "User-agent: *\nDisallow: /\n"
    pages = [*site.rglob("index.html")]
    assert len(pages) == 3
    assert all('<meta name="robots" content="noindex">' in page.read_text("utf-8") for page in pages)
    assert not (site / "sitemap.xml").exists()
    assert 'href="feed.xml">Feed of what is new</a>' in (site / "index.html").read_text("utf-8")

    rows = dict(re.findall(r"^ *([\d.]+) MB  (.+)$", ran.out, re.MULTILINE)[i][::-1] for i in range(4))
    for name in ("two-kettles", "third"):
        size = sum(path.stat().st_size for path in (site / name).rglob("*") if path.is_file())
        assert rows[name] == f"{size / 1e6:.1f}"
    whole = sum(path.stat().st_size for path in site.rglob("*") if path.is_file())
    assert rows["in all, 2 songs"] == f"{whole / 1e6:.1f}"

    # What the feed tells, and what of it changes.
    first = entries_of(site)
    assert set(first) == {"Week 1", "15 September", "Two Kettles", "Third & <last>"}
    key, address, changed, summary = first["15 September"]
    assert key.startswith("urn:uuid:")
    assert address == "https://school.example/ukulele/index.html"
    assert summary == "Bring a pencil. Two Kettles (2-3), Third & <last>"
    assert first["Third & <last>"][1] == "https://school.example/ukulele/third/index.html"
    before = (site / "feed.xml").read_bytes()
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790086400")
    publish(tercet, folder)
    assert (site / "feed.xml").read_bytes() == before, "nothing is new"
    song = folder / "two-kettles.yaml"
    song.write_text(song.read_text("utf-8").replace("tempo: 150", "tempo: 140"), encoding="utf-8")
    publish(tercet, folder)
    second = entries_of(site)
    assert {title for title in second if second[title] != first[title]} == {"Two Kettles"}
    assert second["Two Kettles"][0] == first["Two Kettles"][0]
    assert second["Two Kettles"][2] > changed


def test_mine_says_that_one_may_share_all(folder: Path, tercet: Run) -> None:
    (folder / "third.yaml").unlink()
    (folder / "two-kettles.yaml").unlink()
    (folder / "class.yaml").write_text("name: Us\n", encoding="utf-8")
    site, ran = publish(tercet, folder, "--mine")
    assert (site / "somewhere" / "index.html").exists()
    assert "licence" not in ran.err
    (folder / "somewhere.yaml").rename(folder / "elsewhere.yaml")
    site, ran = publish(tercet, folder, "--mine")
    assert f"{site / 'somewhere'} is of a song that is no longer made: delete it" in ran.err


def one_song(folder: Path) -> None:
    (folder / "third.yaml").unlink()
    (folder / "class.yaml").write_text("\n".join(CLASS.splitlines()[:2]), encoding="utf-8")


def test_findable_pages_have_a_sitemap(folder: Path, tercet: Run) -> None:
    one_song(folder)
    site, _ = publish(tercet, folder, "--findable", "--songbook")
    assert pypdf.PdfReader(site / "songbook.pdf").outline
    size = (site / "songbook.pdf").stat().st_size
    shown = f"{size / 1e6:.1f} MB" if size >= 100_000 else f"{size / 1e3:.1f} kB"
    assert f'href="songbook.pdf">Songbook to print (PDF, {shown})</a>' in (site / "index.html").read_text(
        "utf-8"
    )
    listed = [
        each.text
        for each in ET.parse(site / "sitemap.xml").getroot().iter()
        if each.text and "http" in each.text
    ]
    assert [address.removeprefix("https://school.example/ukulele/") for address in listed if address] == [
        "index.html", "two-kettles/index.html",
    ]  # fmt: skip
    assert not (site / "robots.txt").exists()
    assert all("noindex" not in page.read_text("utf-8") for page in site.rglob("index.html"))


def test_what_somebody_else_put_there_stays(folder: Path, tercet: Run) -> None:
    one_song(folder)
    site = folder.parent / "site"
    site.mkdir()
    (site / "robots.txt").write_text("mine")
    _, ran = publish(tercet, folder)
    assert ran.code == 1
    assert (site / "robots.txt").read_text() == "mine"
    assert "robots.txt stays as it is" in ran.err


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda songs: [path.unlink() for path in songs.glob("t*.yaml")], "no song may be shared"),
        (lambda songs: (songs / "third.yaml").write_text("title: x\ntempo: fast\n"), "mistake"),
        (lambda songs: (songs / "class.yaml").unlink(), "there is no class.yaml in"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_made(
    folder: Path, tercet: Run, change: Callable[[Path], object], told: str
) -> None:
    (folder / "class.yaml").write_text("name: Us\n", encoding="utf-8")
    change(folder)
    site, ran = publish(tercet, folder)
    assert ran.code == 1
    assert told in ran.err
    assert not site.exists()


def test_the_songs_own_folder_is_refused(folder: Path, tercet: Run) -> None:
    ran = tercet("publish", folder, "-o", folder)
    assert ran.code == 1
    assert "is the folder of the songs: name one of its own" in ran.err


def test_films_lie_beside_pages_and_are_made_once(
    folder: Path, tercet: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    one_song(folder)
    made: list[Path] = []

    def film(_song: object, output: Path, *_rest: object) -> None:
        made.append(output)
        output.write_bytes(b"moving" * len(made))

    monkeypatch.setattr("tercet.kit.sites.make_film", film)
    for _ in range(2):
        site, ran = publish(tercet, folder, "--films")
        assert ran.code == 0
    assert len(made) == 1
    assert (site / "two-kettles" / "film.mp4").read_bytes() == b"moving"
    assert 'href="film.mp4"' in (site / "two-kettles" / "index.html").read_text("utf-8")
    song = folder / "two-kettles.yaml"
    song.write_text(song.read_text("utf-8").replace("tempo: 150", "tempo: 140"), encoding="utf-8")
    publish(tercet, folder, "--films")
    assert (site / "two-kettles" / "film.mp4").read_bytes() == b"movingmoving"
