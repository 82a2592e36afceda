from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from tercet.sound.sf2_reader import SoundFont
from tercet.sound.soundfont_report import (
    FontReport,
    report_json,
    report_on,
    report_svg,
    report_text,
    verdicts,
)
from tercet.sound.ukulele import ready_built_in
from tests.sound.made_fonts import RATE_HZ, MadeZone, packaged_font, pluck, save_font


@pytest.fixture(scope="module")
def built_in() -> FontReport:
    return report_on(SoundFont(ready_built_in(), 8, 24), "Tercet Ukulele")


@pytest.fixture(scope="module")
def sampled() -> FontReport:
    return report_on(SoundFont(packaged_font(), 0, 24), "Sampled <Guitar> & more")


def goods(report: FontReport) -> dict[str, bool]:
    return {verdict.what: verdict.good for verdict in verdicts(report)}


def test_the_built_in_ukulele_is_good_at_everything(built_in: FontReport) -> None:
    assert all(goods(built_in).values()), report_text(built_in)
    assert built_in.levels_db[0] == pytest.approx(-35.5, abs=1.0)
    assert built_in.levels_db[-1] == 0.0
    assert built_in.brightness[-1] >= 2.3
    assert built_in.keys[0].t60_s == pytest.approx(3.0, abs=0.3)


def test_a_sampled_font_is_told_apart_by_its_brightness(sampled: FontReport) -> None:
    found = goods(sampled)
    assert not found["brightness"]
    assert not found["ring"]
    assert found["silence"]
    text = report_text(sampled)
    assert "weak  brightness" in text
    assert "a soft note is only a quieter loud note" in text
    assert text.count(" LUFS ") == 25


def test_what_is_made_wrong_is_found(tmp_path: Path) -> None:
    path = tmp_path / "a.sf2"

    def found(**made: object) -> dict[str, bool]:
        save_font(path, **made)
        return goods(report_on(SoundFont(path, 8, 24), "made"))

    zones = [MadeZone(root=69, release_timecents=-3000)]
    fine = found(zones=zones, sample=pluck(3.5, t60_s=2.0))
    assert fine["tuning"]
    assert fine["silence"]
    assert not found(zones=zones, sample=pluck(3.5, hertz=440 * 2 ** (8 / 1200), t60_s=2.0))["tuning"]
    assert not found(zones=zones, sample=pluck(3.5, silent_s=0.012))["onset"]
    halves = [MadeZone(0, 70, 69), MadeZone(71, 127, 35)]
    assert not found(zones=halves, sample=pluck(3.5, t60_s=0.3))["evenness"]
    assert not found(zones=zones, sample=pluck(3.5, t60_s=30.0))["ring"]
    held = np.full(RATE_HZ * 4, 6000, np.int16) * np.sign(np.sin(np.arange(RATE_HZ * 4) / 17)).astype(
        np.int16
    )
    endless = found(zones=[MadeZone(release_timecents=3000)], sample=held)
    assert not endless["ring"]


def test_a_click_and_a_sound_in_the_rests_are_found(built_in: FontReport) -> None:
    assert not goods(dataclasses.replace(built_in, click_db=3.5))["clicks"]
    assert not goods(dataclasses.replace(built_in, silence_dbfs=-60.0))["silence"]
    falling = (*built_in.levels_db[:-2], -50.0, 0.0)
    assert not goods(dataclasses.replace(built_in, levels_db=falling))["loudness"]


def test_the_picture_is_an_svg_with_four_charts_and_the_fonts_name(sampled: FontReport) -> None:
    drawn = ET.fromstring(report_svg(sampled))
    lines = drawn.findall("{http://www.w3.org/2000/svg}polyline")
    assert len(lines) == 4
    assert [len(line.get("points", "").split()) for line in lines] == [19, 19, 25, 25]
    words = "".join(drawn.itertext())
    assert "Sampled <Guitar> & more" in words
    for axis in ("velocity", "loudness in dB", "T60 in seconds"):
        assert axis in words


def test_the_report_is_there_for_programs(built_in: FontReport) -> None:
    told = json.loads(json.dumps(report_json(built_in)))
    assert told["name"] == "Tercet Ukulele"
    assert len(told["keys"]) == 25
    assert {verdict["what"] for verdict in told["verdicts"]} == set(goods(built_in))
