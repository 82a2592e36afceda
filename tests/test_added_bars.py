"""Every file that a user gets counts the same bars where a song has an intro, turnarounds and a tag.

What is expected is written down by hand, and the files are read by readers that know nothing of Tercet.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

import mido
import pytest
import soundfile

from tercet.cli import main
from tests.measure.pages import FACTS
from tests.measure.sheets import bars_shown
from tests.remake_goldens import ROOT


@dataclass(frozen=True)
class Case:
    """One of our songs with added bars: its sections in the order played, each with its first bar; and all bars."""

    song: str
    starts: tuple[tuple[str, int], ...]
    bars: int
    bar_quarters: float


CASES = (
    Case(
        "harbour-lanterns",
        (("intro", 1), ("verse", 3), ("turnaround", 19), ("verse", 21), ("chorus", 37), ("tag", 53)),
        55,
        3.0,
    ),
    Case(
        "sleeper-train",
        (
            ("intro", 1), ("verse", 3), ("refrain", 11), ("turnaround", 19), ("verse", 21), ("refrain", 29),
            ("coda", 37), ("tag", 41),
        ),
        43,
        3.0,
    ),
)  # fmt: skip


@pytest.fixture(params=CASES, ids=lambda case: case.song)
def case(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Case:
    """Lay the song in the folder where the test works."""
    chosen: Case = request.param
    text = (ROOT / "songs" / f"{chosen.song}.yaml").read_text(encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    Path("song.yaml").write_text(f"intro: 2\nturnaround: 2\nending: tag\n{text}", encoding="utf-8")
    return chosen


def exported(*arguments: str) -> bytes:
    assert main(["export", "song.yaml", *arguments]) == 0
    return Path(arguments[-1]).read_bytes()


def test_check(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert main(["check", "--json", "song.yaml"]) == 0
    (told,) = json.loads(capsys.readouterr().out)
    assert told["bars"] == case.bars
    assert told["form"] == [name for name, _ in case.starts]


def test_tab(case: Case) -> None:
    """A section that comes again is shown once, under its first numbers."""
    text = exported("-o", "song.txt").decode()
    found = [(name, int(number)) for name, number in re.findall(r"\n\n([a-z]+)\n +(\d+) ", text)]
    assert [(name, start) for name, start in case.starts if (name, start) in found] == found
    assert {name for name, _ in found} == {name for name, _ in case.starts}


def test_musicxml(case: Case) -> None:
    measures = ET.fromstring(exported("-o", "song.musicxml")).findall("part[1]/measure")
    numbers = [int(measure.attrib["number"]) for measure in measures]
    assert sorted(set(numbers)) == list(range(1, case.bars + 1))
    found = []
    for measure in measures:
        named = measure.find("direction/direction-type/rehearsal")
        if named is not None:  # a pick-up is the end of the measure before
            found.append((named.text, int(measure.attrib["number"]) + (measure.get("implicit") == "yes")))
    assert tuple(found) == case.starts


def test_abc(case: Case) -> None:
    found, bars, name = [], 0.0, ""
    for line in exported("-o", "song.abc").decode().splitlines():
        name = line.removeprefix("P:") if line.startswith("P:") else name
        if line.startswith("P:"):
            found.append((name, round(bars) + 1))
        elif not re.match(r"[A-Za-z]:|%", line):
            plain = re.sub(r'"[^"]*"|![^!]*!', "", line)
            lengths = re.findall(r"[A-Ga-gz][,']*(\d*)(/?)(\d*)", plain)
            beats = sum(float(up or 1) / (float(low or 2) if slash else 1.0) for up, slash, low in lengths)
            bars += beats / (6 if "sleeper" in case.song else 3)
    assert tuple(found) == case.starts
    assert bars == case.bars


@pytest.mark.parametrize("plain", [False, True])
def test_midi(case: Case, plain: bool) -> None:
    """As performed, one bar is counted in; as written, a section begins with its pick-up."""
    exported(*["--plain"] * plain, "-o", "song.mid")
    file = mido.MidiFile("song.mid")
    tick, found = 0, []
    for event in file.tracks[0]:
        tick += event.time
        if event.type == "marker":
            bar = tick / file.ticks_per_beat / case.bar_quarters + (1 if plain else 0)
            found.append((event.text.split()[0], round(bar + 0.2)))
    assert tuple(found) == case.starts


def test_sheet_and_page(case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", "song.yaml", "-o", "song.svg"]) == 0
    assert sorted(bars_shown(Path("song.svg").read_text(encoding="utf-8"))) == list(range(1, case.bars + 1))
    assert main(["page", "song.yaml", "--no-kit", "--speeds", "100%", "-o", "class"]) == 0
    (page,) = Path("class").glob("*/index.html")
    match = FACTS.search(page.read_text(encoding="utf-8"))
    assert match
    bars = json.loads(match[1])["bars"]
    assert [bar["number"] for bar in bars] == list(range(1, case.bars + 1))
    firsts = [
        (bar["section"], bar["number"])
        for before, bar in zip([None, *bars], bars, strict=False)
        if before is None or (before["section"], before["pass"]) != (bar["section"], bar["pass"])
    ]
    assert tuple(firsts) == case.starts
    capsys.readouterr()


def test_bars_chosen_by_number_and_by_section(case: Case) -> None:
    """The intro alone lasts as long as bars 1 and 2, and they are the same sound."""
    for bars in ("1-2", "intro"):
        command = ["render", "song.yaml", "--bars", bars, "--count-in", "0", "-o", f"{bars}.wav"]
        assert main(command) == 0
    sound, rate = soundfile.read("1-2.wav")
    again, _ = soundfile.read("intro.wav")
    assert (sound == again).all()
    assert 2 < len(sound) / rate < 12
