"""The built-in ukulele in the page against the one of the tracks: strings, takes, and songs as they sound."""

from __future__ import annotations

import base64
import functools
import json
from collections.abc import Callable, Iterator
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Browser, Page

from tercet.arranging import arrange
from tercet.publish.page.modelled import modelled_facts, packed
from tercet.publish.page.sound import speed_timeline
from tercet.song import read_song
from tercet.sound import model_figures
from tercet.sound.loudness import integrated_loudness_lufs
from tercet.sound.note_measures import k_weighted_level_db
from tercet.sound.sampler import UkuleleSampler
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS
from tercet.sound.string_samples import chop_sound, resonance, string_sample
from tercet.sound.struck import (
    BELL,
    BELL_PEAK,
    FIRST_OF_BAR_RATIO,
    PEAK,
    WOOD,
    beater_noise,
    knock,
    turn_bell,
)
from tercet.theory import LAST_FRET
from tercet.tracks.playing import Playing
from tests.browser.firefox import firefox_page
from tests.browser.listening import (
    OFFLINE,
    RATE_HZ,
    SENT,
    Samples,
    level_db,
    play,
    rendered_sides,
    samples_of,
    sending,
)
from tests.browser.test_sound import ADDED_SONG
from tests.browser.windows import USABLE, Window
from tests.kits import SHORT_SONG, run_tercet

Opened = Callable[..., Window]

GESTURE_FRAMES = round(0.4 * RATE_HZ)
BEGINNING_FRAMES = RATE_HZ // 2
"""What is compared of each note; some are compared whole."""

PERCENTS = (50, 73, 100, 125)


@pytest.fixture(scope="module")
def workbench(browser: Browser) -> Iterator[Page]:
    """A page with nothing but the model and the take."""
    page = browser.new_page()
    page.goto("about:blank")
    player = files("tercet.publish.page").joinpath("player")
    scripts = [player.joinpath(name).read_text(encoding="utf-8") for name in ("2-strings.js", "2-take.js")]
    ground = "window.Tercet = { lastUpTo: (values, wanted) => values.filter((value) => value <= wanted).length - 1 };"
    page.add_script_tag(content="\n".join([ground, *scripts, SENT]))
    page.evaluate(
        "(figures) => { window.strings = Tercet.stringModel(figures); }", model_figures.model_figures()
    )
    yield page
    page.close()


# Strings


def tones(page: Page, figures: list[dict[str, Any]], frames: float) -> list[list[Samples]]:
    script = "([all, frames]) => all.map((one) => strings.tone(one, frames).sounds.map(sent))"
    return [[samples_of(sound) for sound in one] for one in page.evaluate(script, [figures, frames])]


def worst_db(heard: list[Samples], wanted: Samples) -> float:
    """Return how far a note's touches are off, in dB of each; the worst one."""
    return max(
        level_db(own - other[: len(own)]) - level_db(other[: len(own)])
        for own, other in zip(heard, wanted, strict=True)
    )


@pytest.mark.parametrize("name", STRINGS_OF_INSTRUMENTS)
def test_every_fret_of_a_string_sounds_as_in_the_tracks(workbench: Page, name: str) -> None:
    frets = range(LAST_FRET + 1)
    figures = [model_figures.tone_figures(name, fret) for fret in frets]
    for fret, heard in zip(frets, tones(workbench, figures, BEGINNING_FRAMES), strict=True):
        wanted = string_sample(name, fret, 0).touches
        assert worst_db(heard, wanted) < -50
        for own, other in zip(heard, wanted, strict=True):
            levels = [k_weighted_level_db(sound[:BEGINNING_FRAMES], RATE_HZ) for sound in (own, other)]
            assert abs(levels[0] - levels[1]) < 0.01


@pytest.mark.parametrize(("name", "fret"), [("C4", 0), ("G4", 12), ("baritone D3", 2)])
def test_a_note_dies_away_as_in_the_tracks(workbench: Page, name: str, fret: int) -> None:
    (heard,) = tones(workbench, [model_figures.tone_figures(name, fret)], 1e9)
    wanted = string_sample(name, fret, 0).touches
    assert len(heard[0]) == wanted.shape[1]
    assert worst_db(heard, wanted) < -50
    end = slice(-RATE_HZ // 5, None)
    assert np.abs(heard[1][end] - wanted[1][end]).max() < 2 / 32_768


@pytest.mark.parametrize(("figure", "factor"), [("place", 1.01), ("stiffness", 1.2), ("loss", 1.05)])
def test_the_measure_sees_a_string_that_is_strung_otherwise(
    workbench: Page, figure: str, factor: float
) -> None:
    figures = model_figures.tone_figures("A4", 3)
    (heard,) = tones(workbench, [{**figures, figure: figures[figure] * factor}], BEGINNING_FRAMES)
    assert worst_db(heard, string_sample("A4", 3, 0).touches) > -50


@pytest.mark.parametrize(
    ("struck", "free"), [(("A4", 3), ("C4", 0)), (("baritone E4", 5), ("baritone D3", 0))]
)
def test_free_strings_ring_along_as_in_the_tracks(
    workbench: Page, struck: tuple[str, int], free: tuple[str, int]
) -> None:
    figures = model_figures.resonance_figures(*struck, *free)
    heard = samples_of(workbench.evaluate("(meetings) => sent(strings.ring(meetings))", figures))
    wanted = resonance(*struck, *free, 0)
    assert wanted is not None
    assert worst_db([heard], wanted[None]) < -80


@pytest.mark.parametrize("up", [False, True])
@pytest.mark.parametrize("strength", [0, 1, 2])
def test_a_chop_sounds_as_in_the_tracks(workbench: Page, strength: int, up: bool) -> None:
    script = "([figures, strength, up]) => sent(strings.chop(figures, strength, up))"
    heard = samples_of(workbench.evaluate(script, [model_figures.chop_figures(), strength, up]))
    assert worst_db([heard], chop_sound(strength, up=up)[None]) < -80


def test_wood_and_bell_sound_as_in_the_tracks(workbench: Page) -> None:
    script = "([figures, higher, noise]) => sent(strings.struck(figures, higher, noise))"
    noise = beater_noise(round(WOOD.length_s * RATE_HZ), RATE_HZ).tolist()
    wood, bell = model_figures.struck_figures(WOOD, PEAK), model_figures.struck_figures(BELL, BELL_PEAK)
    for figures, higher, beater, wanted in (
        (wood, 1, noise, knock(False, RATE_HZ)),
        (wood, FIRST_OF_BAR_RATIO, noise, knock(True, RATE_HZ)),
        (bell, 1, [], turn_bell(RATE_HZ)),
    ):
        heard = samples_of(workbench.evaluate(script, [figures, higher, beater]))
        assert worst_db([heard], wanted[None]) < -80


def test_what_is_told_whole_loses_little() -> None:
    noise = np.random.default_rng(3).normal(size=5000) * np.exp(-np.arange(5000) / 600.0)
    told = packed(noise)
    rows = np.frombuffer(base64.b64decode(told["text"]), np.uint8).reshape(-1, told["block"] + 1)
    heights = told["highest"] * 10.0 ** (-told["db"] * rows[:, :1] / 20.0)
    heard = (heights * rows[:, 1:].view(np.int8) / 127.0).ravel()[: told["frames"]]
    assert level_db((heard - noise).astype(np.float32)) - level_db(noise.astype(np.float32)) < -40


# Takes

SWUNG_SONG = """\
title: Back Step
key: G major
meter: 4/4
tempo: 116
swing: 2/3
second: thirds
feel: loose
tuning: low-g
strum: d . x u d . x u
form: verse*2
sections:
  verse: |
    chords   G                   | C          | D7               | G
    melody   B4 D5 B4 A4         | C5:2 E5:2  | D5 C5 A4 F#4     | G4:4
    marks    louder@1            | mf@1       | rit@3            | fermata@1
"""

SONGS = {
    "short": SHORT_SONG,
    "swung": SWUNG_SONG,
    "compound": ADDED_SONG.replace("tempo", "tuning: baritone\ntempo"),
}


@functools.cache
def playing_of(name: str, folder: Path) -> Playing:
    path = folder / f"{name}.yaml"
    path.write_text(SONGS[name], encoding="utf-8")
    return Playing(arrange(read_song(path)), UkuleleSampler())


@pytest.mark.parametrize("percent", PERCENTS)
@pytest.mark.parametrize("name", SONGS)
def test_a_take_is_that_of_the_tracks_at_any_speed(
    workbench: Page, tmp_path_factory: pytest.TempPathFactory, name: str, percent: int
) -> None:
    playing = playing_of(name, tmp_path_factory.getbasetemp())
    full = playing.take(speed_timeline(playing, Fraction(1)))
    gains_db = dict.fromkeys(playing.arrangement.song.layers, 0.0)
    facts = json.loads(json.dumps(modelled_facts(playing, full, gains_db, full.length_s)["take"]))
    script = """([facts, speed]) => {
      const { bars, notes } = Tercet.takeAt(Tercet.strokesOf(facts), speed);
      return [bars, notes.map((note) => [note.onset, note.onset + note.length, note.free.length])];
    }"""
    bars, rows = workbench.evaluate(script, [facts, percent / 100])
    take = playing.take(speed_timeline(playing, Fraction(percent, 100)))
    place = {(note.bar_index, note.beat, note.layer, note.string): note for note in take.notes}
    wanted = [place[note.bar_index, note.beat, note.layer, note.string] for note in full.notes]
    assert bars[:-1] == pytest.approx([bar.start_s for bar in take.bars], abs=1e-5)
    onsets, ends, _ = zip(*rows, strict=True)
    assert onsets == pytest.approx([note.onset_s for note in wanted], abs=1e-4)
    assert ends == pytest.approx([note.onset_s + note.length_s for note in wanted], abs=1e-4)
    for (_, _, count), note in zip(rows, wanted, strict=True):
        assert count <= len(note.free)
    assert sum(count for _, _, count in rows) > 0


# As it is heard


def heard_and_track(
    page: Page, track: Path, percent: int, heard_s: int
) -> tuple[Samples, Samples, list[int]]:
    """Return what a page plays at a speed, the same stretch of a track, and where its gestures are struck in both."""
    page.select_option("#count", "0")
    page.evaluate(
        "(percent) => { window.audioSides = 2; Tercet.player.setSpeed(Tercet.speedOf(percent)); }", percent
    )
    play(page, heard_s)
    start_s = page.evaluate("Tercet.player.rounds[0].from") / 1000
    begun = round(page.evaluate("Tercet.player.rounds[0].when") * RATE_HZ)
    onsets_s = np.array(page.evaluate("Tercet.player.speed.onset")) / 1000
    heard = rendered_sides(page)[begun:]
    wanted = soundfile.read(track, dtype="float32")[0][round(start_s * RATE_HZ) :]
    frames = min(len(heard), len(wanted))
    struck = sorted({round((onset_s - start_s) * RATE_HZ) for onset_s in onsets_s})
    return heard[:frames], wanted[:frames], [at for at in struck if 0 < at < frames - GESTURE_FRAMES]


def gesture_lu(sound: Samples, at: int) -> float:
    powers = [
        10.0 ** (k_weighted_level_db(side[at : at + GESTURE_FRAMES], RATE_HZ) / 10.0) for side in sound.T
    ]
    return float(10.0 * np.log10(sum(powers)))


def furthest_lag_frames(heard: Samples, wanted: Samples, struck: list[int]) -> int:
    """Return by how many frames a gesture comes early or late at most, each found by what it is most like."""
    reach, length = 48, RATE_HZ // 10
    furthest = 0
    for at in struck:
        if at < reach:
            continue
        around = heard[at - reach : at + length + reach].sum(axis=1)
        likeness = np.correlate(around, wanted[at : at + length].sum(axis=1), "valid")
        furthest = max(furthest, abs(int(np.argmax(likeness)) - reach))
    return furthest


@pytest.fixture(scope="module")
def song(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a song's page, and its demo at the same speeds as a user gets it."""
    folder = tmp_path_factory.mktemp("heard")
    path = folder / "kettle-and-cup.yaml"
    path.write_text(SHORT_SONG, encoding="utf-8")
    speeds = ",".join(f"{percent}%" for percent in PERCENTS)
    run_tercet("page", path, "-o", folder, "--no-kit", "--speeds", speeds)
    for percent in PERCENTS:
        track = folder / f"{percent}.wav"
        run_tercet("render", path, "-o", track, "--count-in", "0", "--speed", f"{percent}%")
    return folder


def page_of(opened: Opened, song: Path) -> Page:
    window = opened()
    window.page.add_init_script(OFFLINE)
    return window.show((song / "kettle-and-cup" / "index.html").as_uri())


@pytest.mark.parametrize(
    ("percent", "heard_s", "gestures"), [(50, 12, 10), (73, 10, 10), (100, 20, 30), (125, 8, 15)]
)
def test_a_page_plays_what_the_tracks_play(
    opened: Opened, song: Path, percent: int, heard_s: int, gestures: int
) -> None:
    page = page_of(opened, song)
    heard, wanted, struck = heard_and_track(page, song / f"{percent}.wav", percent, heard_s)
    assert len(struck) > gestures
    assert furthest_lag_frames(heard, wanted, struck) <= 1e-4 * RATE_HZ
    assert max(abs(gesture_lu(heard, at) - gesture_lu(wanted, at)) for at in struck) < 0.1
    demos = [integrated_loudness_lufs(sound, RATE_HZ) for sound in (heard, wanted)]
    assert abs(demos[0] - demos[1]) < 0.1


SABOTAGE = {
    "late": """() => Tercet.speedOf(100).played.notes.forEach((note) => {
      if (note.onset > 2 && note.onset < 2.5) note.onset += 0.0005;
    })""",
    "loud": "() => { Tercet.page.parts[0].gain *= 1.02; }",
    "dry": "() => { Tercet.source.entrance = (context, part, output) => output; }",
}


@pytest.mark.parametrize("how", SABOTAGE)
def test_the_measure_sees_a_page_that_plays_otherwise(opened: Opened, song: Path, how: str) -> None:
    page = page_of(opened, song)
    page.evaluate(SABOTAGE[how])
    heard, wanted, struck = heard_and_track(page, song / "100.wav", 100, heard_s=6)
    off_lu = max(abs(gesture_lu(heard, at) - gesture_lu(wanted, at)) for at in struck)
    assert off_lu > 0.1 or furthest_lag_frames(heard, wanted, struck) > 1e-4 * RATE_HZ


FED = sending("""
async (percent) => {
  const speed = Tercet.speedOf(percent);
  const frames = 48000 * 6;
  const context = new OfflineAudioContext(2, frames, 48000);
  const whole = context.createGain();
  whole.gain.value = speed.gain;
  whole.connect(context.destination);
  const envelopes = Tercet.page.parts.map((_, part) => Tercet.source.entrance(context, part, whole));
  const round = { speed: speed, when: 0, from: 0, length_s: 6, fed: 0, envelopes: envelopes };
  Tercet.source.feed(context, round, 99);
  const heard = await context.startRendering();
  return [0, 1].map((side) => sent(heard.getChannelData(side)));
}
""")
"""What the page puts on the clock for a round, rendered without a loudspeaker."""


def test_firefox_plays_what_the_tracks_play(song: Path) -> None:
    with firefox_page() as page:
        page.goto((song / "kettle-and-cup" / "index.html").as_uri())
        page.wait_for_function(USABLE)
        for percent in PERCENTS:
            heard = np.stack([samples_of(side) for side in page.evaluate(FED, percent)], axis=1)
            onsets_ms = page.evaluate("(percent) => [...Tercet.speedOf(percent).onset]", percent)
            wanted = soundfile.read(song / f"{percent}.wav", dtype="float32")[0][: len(heard)]
            frames = {round(onset_ms * RATE_HZ / 1000) for onset_ms in onsets_ms}
            struck = sorted(at for at in frames if at < len(wanted) - GESTURE_FRAMES)
            assert len(struck) > 5
            assert furthest_lag_frames(heard, wanted, struck) <= 1e-4 * RATE_HZ
            assert max(abs(gesture_lu(heard, at) - gesture_lu(wanted, at)) for at in struck) < 0.1
        assert page.said == []
