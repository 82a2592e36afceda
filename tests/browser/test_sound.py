"""What a page plays: counted in samples, not in the state of buttons."""

from __future__ import annotations

import base64
import re
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Page
from scipy.signal import fftconvolve

from tercet.publish.page.stems import MUSIC_FRAME, packed_stem, stem_script
from tests.browser.listening import (
    OFFLINE,
    RATE_HZ,
    Samples,
    left_over_db,
    level_db,
    parts_of,
    play,
    rendered,
    rendered_sides,
    stems_of,
)
from tests.browser.windows import Window
from tests.kits import FONT, run_tercet

Opened = Callable[..., Window]
BEGIN_S = 0.1
"""The page begins so long after Play was pressed."""


def offline_page(opened: Opened, address: str) -> Page:
    window = opened()
    window.page.add_init_script(OFFLINE)
    return window.show(address)


def demo(recorded: Path) -> Samples:
    samples, rate_hz = soundfile.read(recorded / "demo.wav", dtype="float32")
    assert rate_hz == RATE_HZ
    return np.asarray(samples.mean(axis=1), np.float32)


def choose(page: Page, layer: str, place: str) -> None:
    page.check(f"input[name=place-{layer}][value={place}]")


def press(layer: str, place: str) -> str:
    return f"input[name=place-{layer}][value={place}]"


def no_count_in(page: Page) -> None:
    page.select_option("#count", "0")


def lag_frames(heard: Samples, expected: Samples, furthest: int = 4_800) -> int:
    """Return by how many frames what is heard comes late, from the whole of it."""
    size = 1 << (len(heard) + len(expected)).bit_length()
    product = np.fft.rfft(heard, size) * np.conj(np.fft.rfft(expected, size))
    likeness = np.fft.irfft(product, size)
    likeness = np.concatenate([likeness[-furthest:], likeness[: furthest + 1]])
    return int(np.argmax(likeness)) - furthest


def fitted(heard: Samples, expected: Samples) -> tuple[float, float]:
    """Return the gain that brings what is expected nearest to what is heard, and what is left over then, in dB."""
    length = min(len(heard), len(expected))
    heard, expected = heard[:length].astype(np.float64), expected[:length].astype(np.float64)
    gain = float(heard @ expected / (expected @ expected))
    return gain, left_over_db(heard, gain * expected)


# Stems


def test_stems_add_up_to_the_demo(opened: Opened, recorded: Path, recorded_address: str) -> None:
    page = offline_page(opened, recorded_address)
    no_count_in(page)
    play(page)
    start = page.evaluate("Tercet.player.rounds[0].from") / 1000
    heard = rendered(page)[round(BEGIN_S * RATE_HZ) :]
    wanted = demo(recorded)[round(start * RATE_HZ) :]
    assert lag_frames(heard, wanted) == 0
    gain, left_db = fitted(heard, wanted)
    assert left_db < -24
    assert -3 < 20 * np.log10(gain) < 0.5  # an MP3 gets a little less than a WAV


def test_the_comparison_sees_a_stem_that_is_late(opened: Opened, recorded: Path, tmp_path: Path) -> None:
    """A stem 20 ms late, its pulse in place: the sum isn't the demo any more."""
    broken = tmp_path / "late"
    shutil.copytree(recorded / "class" / "kettle-and-cup", broken)
    script = broken / "page" / "100-melody.js"
    (data,) = re.findall(r'"([A-Za-z0-9+/=]{99,})"', script.read_text(encoding="ascii"))
    mp3 = tmp_path / "melody.mp3"
    mp3.write_bytes(base64.b64decode(data))
    samples = soundfile.read(mp3, dtype="float32", always_2d=True)[0][MUSIC_FRAME:]
    late = np.concatenate([np.zeros((960, 1), np.float32), samples])
    script.write_bytes(stem_script("100-melody", packed_stem(late).data))
    page = offline_page(opened, (broken / "index.html").as_uri())
    no_count_in(page)
    play(page, heard_s=8)
    start = page.evaluate("Tercet.player.rounds[0].from") / 1000
    heard = rendered(page)[round(BEGIN_S * RATE_HZ) :]
    assert fitted(heard, demo(recorded)[round(start * RATE_HZ) :])[1] > -10


def test_stems_are_aligned_to_the_sample(opened: Opened, recorded: Path, recorded_address: str) -> None:
    page = offline_page(opened, recorded_address)
    total = sum(stems_of(page, "100"))
    assert isinstance(total, np.ndarray)
    assert lag_frames(total, demo(recorded)) == 0


# Layers leave and return


def with_melody_away(page: Page) -> tuple[Samples, list[Samples]]:
    """Play from the start, take the melody out at 4 s and bring it back at 8 s; return what is heard, and the stems."""
    no_count_in(page)
    play(page, heard_s=12)
    start = page.evaluate("Tercet.player.rounds[0].from") / 1000
    heard = rendered(page, {4: press("melody", "out"), 8: press("melody", "front")})
    stems = [stem[round(start * RATE_HZ) :] for stem in stems_of(page, "100")]
    return heard[round(BEGIN_S * RATE_HZ) :], stems


def melody_left_db(heard: Samples, stems: list[Samples]) -> tuple[float, float]:
    """Return what is heard that shouldn't be, in dB of the melody: while it is away, and after it is back."""
    away = slice(round(4.2 * RATE_HZ), round(7.8 * RATE_HZ))
    back = slice(round(8.2 * RATE_HZ), round(11 * RATE_HZ))
    melody, between, strums = stems
    without = level_db(heard[away] - (between + strums)[away]) - level_db(melody[away])
    whole = level_db(heard[back] - (melody + between + strums)[back]) - level_db(melody[back])
    return without, whole


def test_a_layer_leaves_and_returns_without_moving(opened: Opened, song_address: str) -> None:
    away_db, back_db = melody_left_db(*with_melody_away(offline_page(opened, song_address)))
    assert away_db < -60
    assert back_db < -60


def test_the_measure_sees_a_layer_that_is_not_silenced(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    page.evaluate(
        "() => { const true_ = Tercet.gainOf; Tercet.gainOf = (l, p) => Math.max(true_(l, p), 0.002); }"
    )
    away_db, _ = melody_left_db(*with_melody_away(page))
    assert away_db > -60


ADDED_SONG = """\
title: Two Spoons
meter: 6/8
tempo: 96
form: verse*2
sections:
  verse: |
    chords   C                  | F                  | G7                 | C
    melody   G4:3 A4 G4 E4      | A4:3 C5:3          | B4:2 A4 G4:2 F4    | E4:6
    between  .:4 C4:2           | .:6                | .:6                | .:3 C4:3
    strum                       | . . d . . .        |                    | . . d . . d
"""
"""Notes of the tune and added ones lie in between, and the added ones rest for long."""


@pytest.fixture(scope="module")
def with_added(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("added")
    song = base / "two-spoons.yaml"
    song.write_text(ADDED_SONG, encoding="utf-8")
    run_tercet("page", song, "-o", base, "--no-kit", "--speeds", "100%")
    sound = ("--sound", str(FONT))
    run_tercet("page", song, "-o", base / "recorded", "--no-kit", "--speeds", "100%", *sound)
    run_tercet("render", song, "-o", base / "recorded.wav", "--count-in", "0", *sound)
    return base


def heard_without_the_tune(page: Page) -> tuple[Samples, dict[str, Samples]]:
    """Play with the tune out from 3 s to 7 s; return what is heard, and the parts."""
    no_count_in(page)
    play(page, heard_s=10)
    start = page.evaluate("Tercet.player.rounds[0].from") / 1000
    heard = rendered(page, {3: "#tune-out", 7: "#tune-out"})
    parts = {name: part[round(start * RATE_HZ) :] for name, part in parts_of(page, "100").items()}
    return heard[round(BEGIN_S * RATE_HZ) :], parts


def tune_left_db(heard: Samples, parts: dict[str, Samples]) -> tuple[float, float]:
    """Return what is heard beside the added notes and strums while the tune is out, and of the whole after, in dB."""
    out, back = slice(round(3.2 * RATE_HZ), round(6.8 * RATE_HZ)), slice(round(7.2 * RATE_HZ), 9 * RATE_HZ)
    tune = parts["melody"] + parts["tune"]
    others = parts["between"] + parts["strums"]
    while_out = level_db(heard[out] - others[out]) - level_db(tune[out])
    after = level_db(heard[back] - (tune + others)[back]) - level_db(tune[back])
    return while_out, after


def test_tune_out_takes_out_all_of_the_tune_and_leaves_what_is_added(
    opened: Opened, with_added: Path
) -> None:
    page = offline_page(opened, (with_added / "two-spoons" / "index.html").as_uri())
    heard, parts = heard_without_the_tune(page)
    assert all(np.abs(part).max() > 0.01 for part in parts.values())
    out_db, back_db = tune_left_db(heard, parts)
    assert out_db < -60
    assert back_db < -60


def test_the_measure_sees_notes_of_the_tune_that_stay_in_between(opened: Opened, with_added: Path) -> None:
    page = offline_page(opened, (with_added / "two-spoons" / "index.html").as_uri())
    page.evaluate("() => { Tercet.page.parts.find((part) => part.name === 'tune').tune = 0; }")
    assert tune_left_db(*heard_without_the_tune(page))[0] > -40


def test_stems_without_their_rests_add_up_to_the_demo(opened: Opened, with_added: Path) -> None:
    page = offline_page(opened, (with_added / "recorded" / "two-spoons" / "index.html").as_uri())
    samples = soundfile.read(with_added / "recorded.wav", dtype="float32")[0]
    wanted = np.asarray(samples.mean(axis=1), np.float32)
    total = sum(parts_of(page, "100").values())
    assert isinstance(total, np.ndarray)
    assert lag_frames(total, wanted) == 0
    assert fitted(total, wanted)[1] < -24
    pieces = page.evaluate("Tercet.player.speed.pieces")
    assert len(pieces["between"]) >= 3


def test_the_place_of_a_layer_says_what_is_heard(opened: Opened, with_added: Path) -> None:
    page = opened().show((with_added / "two-spoons" / "index.html").as_uri())

    def places() -> list[str]:
        lines = "[...document.querySelectorAll('fieldset.line')].map((line) => line.dataset.place)"
        return list(page.evaluate(lines))

    natural = places()
    page.click("#tune-out")
    assert places() == ["out", *natural[1:]]
    assert page.get_attribute("#tune-out", "aria-pressed") == "true"
    choose(page, "melody", "middle")
    assert page.get_attribute("#tune-out", "aria-pressed") == "false"
    assert places() == ["middle", *natural[1:]]
    page.click("#tune-out")
    page.click("#as-it-is")
    assert places() == natural
    assert page.get_attribute("#tune-out", "aria-pressed") == "false"


def test_nothing_added_and_the_tune_out_leaves_strums_alone(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    no_count_in(page)
    page.click("#tune-out")
    assert page.get_attribute("[data-layer=between]", "data-place") == "out"
    play(page, heard_s=10)
    start = page.evaluate("Tercet.player.rounds[0].from") / 1000
    strums = parts_of(page, "100")["strums"][round(start * RATE_HZ) :]
    assert left_over_db(rendered(page)[round(BEGIN_S * RATE_HZ) :], strums) < -60


def test_nearer_is_louder_by_the_steps_between_the_marks(opened: Opened, song_address: str) -> None:
    levels = {}
    for place in ("front", "middle", "back"):
        page = offline_page(opened, song_address)
        no_count_in(page)
        choose(page, "melody", place)
        choose(page, "between", "out")
        choose(page, "strums", "out")
        play(page, heard_s=10)
        levels[place] = level_db(rendered(page))
    assert levels["front"] - levels["middle"] == pytest.approx(8, abs=0.1)
    assert levels["front"] - levels["back"] == pytest.approx(12, abs=0.1)


def highest(page: Page) -> float:
    """Return the highest sample of all that is heard on either side."""
    page.evaluate("() => { window.audioSides = 2; }")
    play(page)
    return float(np.abs(rendered_sides(page)).max())


def test_nothing_clips_with_all_layers_in_front(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    no_count_in(page)
    for layer in ("melody", "between", "strums"):
        choose(page, layer, "front")
    assert 0.2 < highest(page) <= 0.95


NEARER = "() => { Tercet.gainOf = () => 4; }"
"""Brings every part 12 dB nearer than it is: far more than any song has room for."""


def test_however_near_layers_come_nothing_clips(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    no_count_in(page)
    page.evaluate(NEARER)
    assert 0.4 < highest(page) <= 0.95


def test_the_measure_sees_a_page_that_does_not_know_its_peaks(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    no_count_in(page)
    page.evaluate(NEARER)
    page.evaluate("() => Object.values(Tercet.player.speed.peaks).forEach((bars) => bars.fill(0))")
    assert highest(page) > 0.95


def test_a_page_knows_how_high_each_part_gets_in_each_bar(opened: Opened, recorded_address: str) -> None:
    page = opened().show(recorded_address)
    for speed in ("100", "80"):
        told, heard, within = peaks_by_bar(page, speed)
        for part, peaks in told.items():
            tolerance = 0.1 * heard[part].max()
            assert ((peaks > within[part] - tolerance) & (peaks < heard[part] + tolerance)).all()


def test_a_page_that_works_its_sound_out_knows_it_for_both_sides(opened: Opened, song_address: str) -> None:
    told, heard, within = peaks_by_bar(opened().show(song_address), "100")
    for part, peaks in told.items():
        tolerance = 0.1 * heard[part].max()
        assert ((peaks > within[part] - tolerance) & (peaks < 2 * heard[part] + tolerance)).all()


def peaks_by_bar(page: Page, speed: str) -> tuple[dict[str, Samples], dict[str, Samples], dict[str, Samples]]:
    """Return by part and bar the peaks that a page knows, and those heard within a little more and less than a bar."""
    facts = page.evaluate(
        "(percent) => { const { peaks, bars } = Tercet.speedOf(percent); return { peaks, bars }; }",
        float(speed),
    )
    told, heard, within = {}, {}, {}
    around = RATE_HZ // 500  # bars are told in milliseconds: a peak so near may be of either
    for name, part in parts_of(page, speed).items():
        edges = [0, *(round(bar[0] * RATE_HZ / 1000) for bar in facts["bars"][1:]), len(part)]
        heard[name], within[name] = (
            np.array([np.abs(part[max(a - by, 0) : b + by]).max(initial=0.0) for a, b in pairwise(edges)])
            for by in (around, -around)
        )
        told[name] = np.array(facts["peaks"][name])
    return told, heard, within


# Loops and count-in


def test_a_loop_returns_on_time(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    no_count_in(page)
    page.select_option("#loop-from", label="bar 3, verse, first time")
    page.select_option("#loop-to", label="bar 4, verse, first time")
    play(page)
    bars = page.evaluate("Tercet.player.speed.bars")
    heard = rendered(page)[round(BEGIN_S * RATE_HZ) :]
    period = (bars[4][1] - bars[3][0]) / 1000 * RATE_HZ
    first = heard[: round(period)]
    for again in (1, 2, 5):
        start = round(again * period)
        assert abs(lag_frames(heard[start : start + round(period)], first)) <= 0.01 * RATE_HZ
    late = np.concatenate([np.zeros(720, np.float32), first])
    assert abs(lag_frames(late, first)) > 0.01 * RATE_HZ  # the measure sees 15 ms


def test_a_loop_has_no_gap_and_no_click(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    no_count_in(page)
    page.click("[data-visit='1']")
    play(page)
    heard = rendered(page)[round(BEGIN_S * RATE_HZ) :]
    first, last = page.evaluate("[Tercet.player.loop.first, Tercet.player.loop.last]")
    bars = page.evaluate("Tercet.player.speed.bars")
    joint = round((bars[last][1] - bars[first][0]) / 1000 * RATE_HZ)
    steps = np.abs(np.diff(heard))
    assert steps[joint - 480 : joint + 480].max() <= steps[: joint - 4800].max()
    assert level_db(heard[joint - 2400 : joint + 2400]) > level_db(heard) - 30


def test_the_count_in_knocks_on_the_beat(opened: Opened, song_address: str) -> None:
    page = offline_page(opened, song_address)
    page.select_option("#count", "1")
    for layer in ("melody", "between", "strums"):
        choose(page, layer, "out")
    play(page, heard_s=6)
    heard = rendered(page)
    strokes = onsets_s(heard)
    pulse_s = 60 / 132
    assert len(strokes) == 2  # three pulses, of which the pick-up takes the last
    assert strokes[1] - strokes[0] == pytest.approx(pulse_s, abs=0.003)
    first, start = page.evaluate(
        "[Tercet.player.rounds[0].when - Tercet.player.rounds[0].from / 1000, Tercet.player.speed.bars[0][0] / 1000]"
    )
    assert first + start - strokes[1] == pytest.approx(pulse_s, abs=0.003)


def onsets_s(heard: Samples) -> list[float]:
    """Return where knocks begin: a tenth of the highest sample after 100 ms without."""
    loud = np.flatnonzero(np.abs(heard) > 0.1 * np.abs(heard).max())
    first = loud[np.concatenate([[True], np.diff(loud) > 0.1 * RATE_HZ])]
    return [float(frame) / RATE_HZ for frame in first]


# As it really sounds

RECORDER = """
window.recorded = [];
const connect = AudioNode.prototype.connect;
let recorder = null;
AudioNode.prototype.connect = function (to, ...rest) {
  if (!recorder && to === this.context.destination && !(this.context instanceof OfflineAudioContext)) {
    recorder = this.context.createScriptProcessor(4096, 1, 1);
    recorder.onaudioprocess = (event) => window.recorded.push([...event.inputBuffer.getChannelData(0)]);
    connect.call(this, recorder);
    connect.call(recorder, to);
  }
  return connect.call(this, to, ...rest);
};
"""
"""Keeps what goes to the loudspeaker, block by block; blocks may be lost on a busy machine, a block is whole."""


def blocks_found(blocks: list[Samples], total: Samples) -> int:
    """Return how many blocks of what sounded are found in what should sound."""
    found = 0
    powers = np.concatenate([[0.0], np.cumsum(total.astype(np.float64) ** 2)])
    for block in blocks:
        sizes = np.sqrt(powers[len(block) :] - powers[: -len(block)] + 1e-6)
        at = int(np.argmax(fftconvolve(total, block[::-1], "valid") / sizes))
        found += fitted(block, total[at : at + len(block)])[1] < -20
    return found


@pytest.mark.parametrize("place", ["served", "file", "one file", "recorded"])
def test_a_page_really_plays(
    opened: Opened, pages: Path, song_address: str, recorded_address: str, place: str
) -> None:
    folder = pages / "class"
    address = {
        "served": song_address,
        "file": (folder / "kettle-and-cup" / "index.html").as_uri(),
        "one file": (folder / "kettle-and-cup.html").as_uri(),
        "recorded": recorded_address,
    }[place]
    window = opened()
    window.page.add_init_script(RECORDER)
    page = window.show(address)
    no_count_in(page)
    page.click("#go")
    page.wait_for_function("() => window.recorded.length > 60", timeout=30_000)
    recorded = page.evaluate("() => { Tercet.player.halt(); return window.recorded.slice(0, 60); }")
    window.said = [text for text in window.said if "ScriptProcessorNode is deprecated" not in text]
    blocks = [np.array(block, np.float32) for block in recorded]
    blocks = [block for block in blocks if level_db(block) > -60][1:21]
    assert len(blocks) == 20
    total = sum(stems_of(page, "100"))
    assert isinstance(total, np.ndarray)
    assert blocks_found(blocks, total[: 6 * RATE_HZ]) >= 4  # a busy machine spoils some
    assert blocks_found(blocks, total[6 * RATE_HZ : 0 : -1]) == 0  # the measure sees other music
