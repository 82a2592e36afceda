"""The sets of a mixed class in one page: packed as data, small, and the same each time."""

from __future__ import annotations

import base64
import gzip
import json
import re
from pathlib import Path
from typing import Any

import pytest

from tercet.arranging import Arrangement
from tercet.publish.page import PagePlan, PageSet, song_page
from tercet.publish.page.sets import choices, choices_of_class
from tercet.song import Players
from tests.kits import HARBOUR_LANTERNS, run_tercet
from tests.publish.drawn import three_layers
from tests.publish.page.test_song_page import Scripts, sound_of

MOST_BYTES = 1_200_000
MOST_BYTES_OF_ONE_FILE = 2_000_000
HARMFUL = "</h1></script></template><script>harmed = 1</script><img src=x onerror=harmed=1>"


def page_of(*arrangements: Arrangement, **more: Any) -> str:
    sets = [PageSet(made, sound_of(made), key_semitones=number) for number, made in enumerate(arrangements)]
    return song_page(PagePlan(sets, **more))["index.html"].decode("utf-8")


def unpacked(html: str) -> list[str]:
    """Return the further sets of a page as a browser unpacks them."""
    found = re.findall(r'<script type="text/plain" data-set="(\d+)">([A-Za-z0-9+/=]*)</script>', html)
    assert [int(number) for number, _ in found] == list(range(1, len(found) + 1))
    return [gzip.decompress(base64.b64decode(text)).decode("utf-8") for _, text in found]


def test_a_page_of_one_set_packs_nothing() -> None:
    assert unpacked(page_of(three_layers())) == []


def test_a_further_set_says_what_the_page_alone_would() -> None:
    one, other = three_layers(), three_layers(title="Another")
    (packed,) = unpacked(page_of(one, other))
    alone = page_of(other)
    for part in ("line", "main", "shapes"):
        (wanted,) = re.findall(
            rf'<\w+ [^>]*\bid="{part}".*?(?=<footer|<noscript|<script|\Z)', alone, re.DOTALL
        )
        assert wanted.strip() in packed
    told, first = (json.loads(re.findall(r'id="facts">(.*?)</script>', html)[0]) for html in (packed, alone))
    differing = {name for name, fact in told.items() if first.get(name) != fact}
    assert differing <= {"sets", "phrases"}
    assert not {"text", "layers"} & told.keys()  # said once, by the first


def test_a_title_in_a_further_set_stays_data() -> None:
    plain, (packed,) = (
        Scripts(unpacked(page_of(three_layers(), three_layers()))[0]).names,
        unpacked(page_of(three_layers(), three_layers(title=HARMFUL))),
    )
    assert Scripts(packed).names == plain
    whole = page_of(three_layers(), three_layers(title=HARMFUL))
    assert Scripts(whole).names == Scripts(page_of(three_layers(), three_layers())).names


def test_the_same_sets_are_the_same_bytes() -> None:
    assert page_of(three_layers(), three_layers()) == page_of(three_layers(), three_layers())


def test_only_what_differs_can_be_chosen() -> None:
    made = three_layers()
    names = [axis["name"] for axis in choices([PageSet(made, sound_of(made))])]
    assert names == ["tuning", "hand"]
    both = [PageSet(made, sound_of(made), key_semitones=key) for key in (0, -2)]
    assert [axis["name"] for axis in choices(both)] == ["tuning", "key", "hand"]
    assert [choice["value"] for choice in choices(both)[1]["choices"]] == ["0", "-2"]


def test_a_class_chooses_what_one_of_its_pages_lets_choose() -> None:
    first: tuple[str, Players] = ("high-g", "beginner")
    second: tuple[str, Players] = ("low-g", "beginner")
    alone: tuple[str, Players] = ("baritone", "improving")
    names = [(axis["name"], len(axis["choices"])) for axis in choices_of_class([[first, second], [alone]])]
    assert names == [("tuning", 2), ("hand", 2)]
    assert [axis["name"] for axis in choices_of_class([[first], [alone]])] == ["hand"]


@pytest.fixture(scope="module")
def six(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the page of a song of a minute and a half, in six sets."""
    out = tmp_path_factory.mktemp("six")
    sets = ("--tuning", "high-g,low-g,baritone", "--players", "beginner,improving")
    run_tercet("page", HARBOUR_LANTERNS, "-o", out, "--no-kit", *sets)
    return out / "harbour-lanterns"


def weight(folder: Path, html: str) -> int:
    """Return how much a student loads before anything is taken home: page, style and script, in bytes."""
    return len(html.encode("utf-8")) + sum(
        (folder / name).stat().st_size for name in ("page/look.css", "page/player.js")
    )


def test_a_page_of_six_sets_is_small(six: Path) -> None:
    html = (six / "index.html").read_text("utf-8")
    sets = unpacked(html)
    assert len(sets) == 5
    assert weight(six, html) <= MOST_BYTES
    assert weight(six, html + "".join(sets)) > MOST_BYTES  # as it would be without packing


def test_one_file_of_two_instruments_is_small(tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    run_tercet("page", HARBOUR_LANTERNS, "-o", file, "--one-file", "--tuning", "high-g,low-g")
    html = file.read_text("utf-8")
    (packed,) = unpacked(html)
    assert 'src="data:image/svg+xml,' in packed
    assert file.stat().st_size <= MOST_BYTES_OF_ONE_FILE
