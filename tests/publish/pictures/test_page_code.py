"""The code that leads from paper to a song's page, read from the files by somebody else's reader."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
import resvg_py
import zxingcpp
from PIL import Image, ImageDraw

from tercet import cli
from tests.kits import SHORT_SONG

ADDRESS = "https://school.example/ukulele"
LONGEST = "https://school.example/" + "a-folder-within-folders/" * 7


def made(folder: Path, address: str, *arguments: str) -> Path:
    """Put the song on paper, with a class file that names an address."""
    song = folder / "kettle-and-cup.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    (folder / "class.yaml").write_text(f"address: {address}\n" if address else "name: Us\n", encoding="utf-8")
    file = folder / arguments[0]
    assert cli.main(["sheet", str(song), "-o", str(file), *arguments[1:]]) == 0
    return file


def picture(file: Path) -> Image.Image:
    """Return a file as grey pixels: a sheet as printed with 100 dots an inch, a handout as on a screen of 1920."""
    if file.suffix == ".svg":
        return Image.open(io.BytesIO(resvg_py.svg_to_bytes(svg_path=str(file), zoom=100 / 72))).convert("L")
    return Image.open(file).convert("L").resize((1920, 1080))


def codes(shown: Image.Image) -> list[str]:
    """Return what the codes in a picture say."""
    return [code.text for code in zxingcpp.read_barcodes(shown)]


@pytest.mark.parametrize("arguments", [("sheet.svg",), ("sheet.svg", "--large"), ("board.png", "--handout")])
@pytest.mark.parametrize("address", [ADDRESS, f"{ADDRESS}/", LONGEST])
def test_paper_leads_to_the_page(tmp_path: Path, address: str, arguments: tuple[str, ...]) -> None:
    shown = picture(made(tmp_path, address, *arguments))
    assert codes(shown) == [f"{address.rstrip('/')}/kettle-and-cup/"]


def test_a_code_that_is_half_covered_is_not_read(tmp_path: Path) -> None:
    shown = picture(made(tmp_path, ADDRESS, "sheet.svg"))
    (found,) = zxingcpp.read_barcodes(shown)
    corner = found.position
    low, high = corner.top_left, corner.bottom_right
    ImageDraw.Draw(shown).rectangle((low.x, low.y, (low.x + high.x) / 2, high.y), fill=255)
    assert codes(shown) == []


def test_without_an_address_there_is_no_code(tmp_path: Path) -> None:
    file = made(tmp_path, "", "sheet.svg")
    assert codes(picture(file)) == []
    assert "Listen and practise" not in file.read_text(encoding="utf-8")


def test_the_address_stands_there_in_words_too(tmp_path: Path) -> None:
    text = made(tmp_path, ADDRESS, "sheet.svg").read_text(encoding="utf-8")
    assert "Listen and practise: school.example/ukulele/kettle-and-cup<" in text


def test_a_pdf_has_it_on_its_first_page_alone(tmp_path: Path) -> None:
    from pypdf import PdfReader

    pages = [page.extract_text() for page in PdfReader(made(tmp_path, ADDRESS, "sheet.pdf")).pages]
    assert ["school.example/ukulele/kettle-and-cup" in page for page in pages] == [True] + [False] * (
        len(pages) - 1
    )
