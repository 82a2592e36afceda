"""Pages that teach do what they say: every command runs, in order, prints what is shown, and leaves its files."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import numpy as np
import pytest
import soundfile
from PIL import Image

from tercet.cli.main import build_parser
from tests.guide_pictures import DRAWN, PICTURES, guide_picture
from tests.worked_pages import Command, promised_files, run, steps_of, told, work_through

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
GUIDE = (DOCS / "guide.md").read_text(encoding="utf-8")
HOW_IT_WORKS = (DOCS / "how-it-works.md").read_text(encoding="utf-8")
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def after_the_guide(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which a reader of the guide has done all that it says."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        return work_through(GUIDE, tmp_path_factory.mktemp("guide"), monkeypatch)


@pytest.fixture(scope="module")
def after_how_it_works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    with pytest.MonkeyPatch.context() as monkeypatch:
        return work_through(HOW_IT_WORKS, tmp_path_factory.mktemp("how"), monkeypatch)


def test_the_guide_does_what_it_says(after_the_guide: Path) -> None:
    promised = promised_files(GUIDE, after_the_guide)
    told_of = {path.relative_to(after_the_guide).as_posix() for path in promised}
    assert {
        "take.png",
        "demo.mp3",
        "class/index.html",
        "class/apples/apples.pdf",
        "neck.pdf",
        "mail",
    } <= told_of
    assert sorted(path for path in promised if not path.exists()) == []


def test_how_it_works_does_what_it_says(after_how_it_works: Path) -> None:
    promised = promised_files(HOW_IT_WORKS, after_how_it_works)
    told_of = {path.relative_to(after_how_it_works).as_posix() for path in promised}
    assert {"echo.wav", "machine.wav", "take.svg", "bell.pdf", "bell.musicxml", "class"} <= told_of
    assert sorted(path for path in promised if not path.exists()) == []


def test_the_songbook_s_page_does_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = (DOCS / "songbook.md").read_text(encoding="utf-8")
    work_through(page, tmp_path, monkeypatch)
    promised = promised_files(page, tmp_path)
    assert {path.name for path in promised} == {"book.pdf", "low.pdf", "fold.pdf"}
    assert sorted(path for path in promised if not path.exists()) == []
    options = set(re.findall(r"`(--[a-z-]+)", page))
    text = " ".join(build_parser().commands["songbook"].format_help().split())
    assert options >= {"--booklet", "--facing", "--large", "--left-handed", "--paper", "--title"}
    assert {option for option in options if option not in text} == set()


def test_the_page_of_the_guide_takes_recordings_and_sheet_along(after_the_guide: Path) -> None:
    page = (after_the_guide / "class" / "apples" / "index.html").read_text(encoding="utf-8")
    for name in ("02-demo.mp3", "10-without-melody.mp3", "apples.pdf", "handout.png", "apples.mid"):
        assert (after_the_guide / "class" / "apples" / name).is_file()
    assert all(f'href="{name}"' in page for name in ("02-demo.mp3", "apples.pdf", "apples.mid"))


def test_layers_that_are_played_together_are_the_whole(after_how_it_works: Path) -> None:
    """As how-it-works.md says, after the count-in, which every track has."""
    strums, front, whole = (
        soundfile.read(after_how_it_works / name)[0] for name in ("strums.wav", "front.wav", "bell.wav")
    )
    first_bar_is_over_s = 2 * 3 * 60 / 96
    start = round(first_bar_is_over_s * 44100)
    length = min(map(len, (strums, front, whole)))
    assert np.abs(whole[start:]).max() > 0.01
    assert np.abs(strums[start:length] + front[start:length] - whole[start:length]).max() < 3 / 32768


def test_every_command_of_the_tool_that_a_teacher_needs_is_in_the_guide() -> None:
    used = {
        step.words[1] for step in steps_of(GUIDE) if isinstance(step, Command) and step.words[0] == "tercet"
    }
    assert used == {"check", "advise", "pin", "render", "kit", "sheet", "fretboard", "page"}


def test_the_readme_does_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its reader makes the slip that it shows, mends it, and goes on."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TERCET_SOUND", raising=False)
    path = tmp_path / "rain-on-tin.yaml"
    (song,) = re.findall(r"```yaml\n(.*?)```", README, re.DOTALL)
    ran = []
    for step in steps_of(README):
        assert isinstance(step, Command)
        slips = "mistake" in step.shown
        if slips:
            assert path.read_text(encoding="utf-8").endswith(song)
            path.write_text(path.read_text(encoding="utf-8").replace("F:2", "F:3"), encoding="utf-8")
        code, printed = run(step, monkeypatch)
        assert told(step.shown, printed), printed
        assert code == slips
        if slips:
            path.write_text(path.read_text(encoding="utf-8").replace("F:3", "F:2"), encoding="utf-8")
        ran.append(step.words[1])
    assert ran[1:] == ["new", "check", "kit", "render"]
    assert len(list((tmp_path / "recordings" / "rain-on-tin").glob("*.wav"))) == 31
    assert (tmp_path / "home.mp3").stat().st_size > 100_000


def test_the_readme_names_commands_that_tercet_takes() -> None:
    parser = build_parser()
    found = re.findall(r"`tercet ([^`]+)`", README)
    assert len(found) > 25
    for line in found:
        assert callable(parser.parse_args(shlex.split(line)).run)


# Pictures and links


@pytest.mark.parametrize("name", DRAWN)
def test_a_picture_of_the_guide_is_what_is_drawn_today(name: str, after_the_guide: Path) -> None:
    with Image.open(PICTURES / name) as opened:
        kept = np.asarray(opened.convert("L"), float)
    drawn = np.asarray(guide_picture(name, after_the_guide).convert("L"), float)
    assert kept.shape == drawn.shape
    assert np.abs(kept - drawn).mean() < 0.5


def test_pictures_are_small() -> None:
    named = re.findall(r"\]\((pictures/guide-[^)]+)\)", GUIDE)
    assert len(named) == 4
    for name in named:
        with Image.open(DOCS / name) as opened:
            assert opened.mode == "P"
        assert (DOCS / name).stat().st_size < 100_000


def links_that_lead_nowhere(path: Path) -> list[str]:
    """Return a page's links to files, and to headings in them, that aren't there."""
    lost = []
    for link in re.findall(r"\]\(([^)\s]+)\)", path.read_text(encoding="utf-8")):
        if re.match(r"[a-z]+:", link):
            continue
        file, _, anchor = link.partition("#")
        there = path.parent / file if file else path
        if not there.exists() or (anchor and anchor not in anchors_of(there)):
            lost.append(link)
    return lost


def anchors_of(path: Path) -> set[str]:
    """Return the anchors of a page's headings, as code hosts name them."""
    text = re.sub(r"^```.*?^```$", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    titles = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize(
    "path",
    [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))],
    ids=lambda path: path.name,
)
def test_links_lead_somewhere(path: Path) -> None:
    assert links_that_lead_nowhere(path) == []


def test_a_link_that_leads_nowhere_is_found(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(
        "# One: two\n[a](#one-two) [b](#two) [c](gone.md) [d](page.md#one-two) [e](page.md#three)", "utf-8"
    )
    assert links_that_lead_nowhere(page) == ["#two", "gone.md", "page.md#three"]


def test_a_page_whose_command_fails_is_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    right = "```yaml a.yaml\ntitle: A\nsections:\n  verse: |\n    chords C\n    melody C4:4\n```\n"
    work_through(
        right + "```console\n$ tercet check a.yaml\na.yaml: A, no mistakes\n…\n```\n", tmp_path, monkeypatch
    )
    for wrong in ("tercet check b.yaml\n…", "tercet check a.yaml\na.yaml: B\n…"):
        with pytest.raises(AssertionError, match="tercet check"):
            work_through(right + f"```console\n$ {wrong}\n```\n", tmp_path, monkeypatch)
