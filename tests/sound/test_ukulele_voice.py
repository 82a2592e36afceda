"""A take on the built-in ukulele by both players: own strings, marks, dark layers, no two strokes alike, chops."""

from __future__ import annotations

import dataclasses
import math
from fractions import Fraction
from itertools import groupby
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.arranging import arrange, song_tuning
from tercet.performing import TakeNote, lay_out, perform
from tercet.song import LAYERS, Layer, read_song
from tercet.sound import Synthesiser
from tercet.sound.fluid import FluidSynthesiser
from tercet.sound.sampler import UkuleleSampler
from tercet.sound.schedule import Stroke, Touch, touch_of
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.ukulele import DRUM_BANK, STRING_BANKS, ready_built_in
from tercet.sound.ukulele_voice import (
    BRIGHTNESS_BY_LAYER,
    built_in_channels,
    is_built_in,
    level_of_velocity,
    played_stroke,
    string_named,
    velocity_of_level,
    with_whole_chops,
)
from tercet.theory import LAST_FRET, Pitch
from tercet.theory.tunings import HIGHEST_OPEN, LOWEST_OPEN
from tests.measure.audio import Track
from tests.measure.loudness import gesture_levels_lufs
from tests.measure.pitch import cents_sharp
from tests.measure.plucks import gesture_figures, neighbour_correlation
from tests.sound.made_fonts import packaged_font, save_font
from tests.sound.takes import note, take

RATE_HZ = 48_000
PACE_S = 0.6

MARKED_SONG = """\
title: Stairs
composer: Tercet example songs
licence: CC0-1.0
key: C major
meter: 4/4
tempo: 60
strum: d . . . . . d .
dynamics: {melody: f, between: mp, strums: p}
sections:
  verse: |
    chords   C     | F     | G7    | C     | Am    | F     | G7    | C
    melody   C5:4  | A4:4  | B4:4  | G4:4  | C5:4  | A4:4  | B4:4  | C5:4
    marks    ppp@1 | pp@1  | p@1   | mp@1  | mf@1  | f@1   | ff@1  | fff@1
"""


@pytest.fixture(scope="module", params=["sampler", "FluidSynth"])
def ukulele(request: pytest.FixtureRequest) -> Synthesiser:
    """The built-in ukulele, by the sampler and, written as a sound font, by FluidSynth."""
    if request.param == "sampler":
        return UkuleleSampler()
    return FluidSynthesiser(SoundFont(ready_built_in(), 8, 24))


def repeated(
    level_db: float, midi: int, string: int, fret: int, layer: Layer, count: int = 10
) -> list[TakeNote]:
    return [
        dataclasses.replace(
            note(0.1 + PACE_S * index, PACE_S, midi, string, layer),
            level_db=level_db,
            fret=fret,
            beat=Fraction(index),
        )
        for index in range(count)
    ]


def heard(ukulele: Synthesiser, notes: list[TakeNote], length_s: float = 0.5) -> NDArray[np.float32]:
    """Return each note of a take, (notes, frames), both sides added."""
    stems = ukulele.stems(take(notes, notes[-1].onset_s + 1.0)).by_name
    sound = np.sum([stems[layer] for layer in LAYERS], axis=0).sum(axis=1)
    starts = [round(each.onset_s * RATE_HZ) - 100 for each in notes]
    return np.stack([sound[start : start + round(length_s * RATE_HZ)] for start in starts])


def test_a_string_is_known_by_its_open_pitch_then_by_its_number() -> None:
    high_g = [string_named(string, midi) for string, midi in ((1, 69), (2, 64), (3, 60), (4, 67))]
    assert high_g == ["A4", "E4", "C4", "G4"]
    assert string_named(4, 55) == "low G3"
    baritone = [string_named(string, midi) for string, midi in ((1, 64), (2, 59), (3, 55), (4, 50))]
    assert baritone == ["baritone E4", "baritone B3", "baritone G3", "baritone D3"]
    assert string_named(1, 71) == "A4"
    assert string_named(4, 69) == "A4"


def test_each_string_and_layer_has_its_own_preset_and_brightness() -> None:
    notes = [note(string=string, midi=midi) for string, midi in ((1, 69), (4, 55))]
    channels = built_in_channels(notes)
    assert sorted(channels) == [0, 1, 2, 3, *range(12, 20)]
    assert [channels[channel].bank for channel in (0, 1, 12)] == [11, 11, STRING_BANKS["low G3"]]
    assert [channels[channel].controllers[0][1] for channel in (12, 13, 14, 15)] == list(BRIGHTNESS_BY_LAYER)
    assert channels[16].bank == DRUM_BANK


def test_only_the_built_in_font_is_played_this_way(tmp_path: Path) -> None:
    path = ready_built_in()
    assert is_built_in(SoundFont(path, 8, 24))
    assert is_built_in(SoundFont(path, 0, 24))
    assert not is_built_in(SoundFont(path, 11, 24))
    assert not is_built_in(SoundFont(packaged_font(), 0, 24))
    assert not is_built_in(SoundFont(save_font(tmp_path / "a.sf2", name="Tercet Ukulele"), 8, 24))


def test_one_pitch_has_another_colour_on_another_string(ukulele: Synthesiser) -> None:
    first, third = (
        heard(ukulele, repeated(0.0, 69, string, fret, "melody", 1))[0] for string, fret in ((1, 0), (3, 9))
    )
    assert neighbour_correlation(np.stack([first, third]))[0] < 0.999


@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize(("midi", "string", "fret"), [(69, 1, 0), (60, 3, 0), (76, 2, 12), (72, 4, 5)])
@pytest.mark.parametrize("level_db", [8.0, 0.0, -10.0])
def test_ten_equal_notes_are_never_alike_and_equally_loud(
    ukulele: Synthesiser, layer: Layer, midi: int, string: int, fret: int, level_db: float
) -> None:
    sounds = heard(ukulele, repeated(level_db, midi, string, fret, layer))
    levels, _ = gesture_figures(sounds, RATE_HZ)
    assert neighbour_correlation(sounds).max() < 0.995
    assert levels.std() <= 0.3


def test_notes_without_variation_are_found(ukulele: Synthesiser, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.sound.schedule.touch_of", lambda _note: Touch(0.0, 0.0, 0.5))
    assert neighbour_correlation(heard(ukulele, repeated(0.0, 69, 1, 0, "melody"))).max() > 0.999


def test_varied_notes_stay_in_tune(ukulele: Synthesiser) -> None:
    for midi, string, fret in ((69, 1, 0), (67, 2, 3), (72, 3, 12)):
        notes = repeated(0.0, midi, string, fret, "melody", 4)
        melody = ukulele.stems(take(notes, 4.0)).by_name["melody"]
        for each in notes:
            cents = cents_sharp(Track(melody, RATE_HZ), midi, each.onset_s, each.onset_s + 0.55)
            assert abs(cents) <= 0.5, (midi, cents)


@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize("open_pitch", [LOWEST_OPEN, HIGHEST_OPEN])
@pytest.mark.parametrize("fret", [0, 7, LAST_FRET])
def test_the_lowest_and_highest_strings_that_a_song_may_have_are_in_tune_and_heard(
    ukulele: Synthesiser, layer: Layer, open_pitch: Pitch, fret: int
) -> None:
    midi = open_pitch.midi + fret
    notes = repeated(0.0, midi, 1, fret, layer, 2)
    stem = ukulele.stems(take(notes, 2.0)).by_name[layer]
    assert abs(cents_sharp(Track(stem, RATE_HZ), midi, notes[0].onset_s, notes[0].onset_s + 0.55)) <= 3.0
    loud, _ = gesture_figures(heard(ukulele, notes), RATE_HZ)
    usual, _ = gesture_figures(heard(ukulele, repeated(0.0, 69, 1, 0, layer, 2)), RATE_HZ)
    assert abs(loud.mean() - usual.mean()) <= 6.0


def test_layers_behind_are_darker_at_the_same_level(ukulele: Synthesiser) -> None:
    for midi, string, fret, darker in (
        (69, 1, 0, 0.95),
        (72, 3, 12, 0.95),
        (76, 1, 7, 0.9),
        (60, 3, 0, 0.99),
    ):
        level, bright = [], []
        for layer in LAYERS:
            figures = gesture_figures(heard(ukulele, repeated(4.0, midi, string, fret, layer)), RATE_HZ)
            level.append(float(figures[0].mean()))
            bright.append(float(figures[1].mean()))
        assert bright == sorted(bright, reverse=True), (midi, bright)
        assert bright[-1] < darker * bright[0], (midi, bright)
        assert max(level) - min(level) < 0.4, (midi, level)


def test_marks_are_the_levels_that_are_measured(ukulele: Synthesiser, tmp_path: Path) -> None:
    path = tmp_path / "stairs.yaml"
    path.write_text(MARKED_SONG, encoding="utf-8")
    song = read_song(path)
    arrangement = arrange(song, song_tuning(song))
    played = perform(arrangement, lay_out(arrangement), dry=True)
    stems = ukulele.stems(played).by_name
    off: list[float] = []
    for layer in LAYERS:
        notes = sorted((each for each in played.notes if each.layer == layer), key=lambda each: each.gesture)
        gestures = [list(group) for _, group in groupby(notes, key=lambda each: each.gesture)]
        if not gestures:
            continue
        onsets = [min(each.onset_s for each in gesture) for gesture in gestures]
        written = [
            10 * math.log10(sum(10 ** (each.level_db / 10) for each in gesture)) for gesture in gestures
        ]
        measured = gesture_levels_lufs(Track(stems[layer], RATE_HZ), onsets)
        off += list(measured - np.array(written))
    assert len(off) >= 16
    middle = (max(off) + min(off)) / 2.0
    assert max(off) - middle <= 0.7, [round(each - middle, 2) for each in off]


# Strokes


def test_velocity_is_level_on_a_straight_line() -> None:
    assert velocity_of_level(12.0) == 127.0
    assert velocity_of_level(20.0) == 127.0
    assert velocity_of_level(-60.0) == 1.0
    assert velocity_of_level(0.0) - velocity_of_level(-4.0) == pytest.approx(4.0 * 127 / 36, abs=1.0)
    for level_db in (-20.0, -3.3, 0.0, 11.0):
        assert level_of_velocity(velocity_of_level(level_db)) == pytest.approx(level_db)


def test_a_firmer_touch_is_attenuated_by_what_it_adds() -> None:
    plain = Stroke(0, None, 1, 0, 69, 90, level_db=0.0)
    at_rest, firm, soft = (
        played_stroke(dataclasses.replace(plain, shade=shade), {}) for shade in (0.0, 1.0, -1.0)
    )
    assert abs(at_rest.attenuation_db) < 36 / 127
    assert firm.velocity - soft.velocity == pytest.approx(30, abs=1)
    added_db = level_of_velocity(firm.velocity) - level_of_velocity(at_rest.velocity)
    assert firm.attenuation_db == pytest.approx(at_rest.attenuation_db + added_db)
    lossy = played_stroke(plain, {(0, 69): (2.0, 2.0, 2.0, 2.0)})
    assert lossy.velocity == pytest.approx(at_rest.velocity + 2.0 * 127 / 37, abs=1.5)
    loudest = played_stroke(dataclasses.replace(plain, level_db=12.0, shade=1.0), {})
    assert (loudest.velocity, loudest.attenuation_db) == (127, 0.0)
    faint = played_stroke(dataclasses.replace(plain, level_db=-30.0), {})
    assert faint.velocity == 1
    assert faint.attenuation_db == pytest.approx(30.0 + 12.0 - 35.5)


def test_a_shade_belongs_to_its_place_and_turns_from_note_to_note() -> None:
    notes = repeated(0.0, 69, 1, 0, "melody")
    shades = [touch_of(each).shade for each in notes]
    assert all(0.7 <= abs(shade) <= 1.0 for shade in shades)
    assert [shade > 0 for shade in shades] == [False, True] * 5
    again = touch_of(dataclasses.replace(notes[3], onset_s=99.0, velocity=1))
    assert again.shade == shades[3]
    assert len(set(shades)) == 10
    short = touch_of(dataclasses.replace(notes[1], length_beat=Fraction(0)))
    assert short.shade < 0


def test_chopped_strings_become_one_stroke_of_the_hand() -> None:
    def chopped(frame: int, string: int, level_db: float = -4.0, layer: int = 3) -> Stroke:
        return Stroke(frame, frame + 960, string, layer, 60, 70, level_db=level_db, chop=True)

    down = [chopped(1000 + 500 * (4 - string), string) for string in (4, 3, 2, 1)]
    up = [chopped(48_000 + 500 * (string - 1), string, 4.0) for string in (1, 2, 3, 4)]
    ringing = Stroke(9000, None, 2, 0, 64, 90)
    found = with_whole_chops([*down, *up, ringing], RATE_HZ)
    assert [(each.on_frame, each.midi, each.chop) for each in found] == [
        (1000, 60, True),
        (9000, 64, False),
        (48_000, 62, True),
    ]
    assert found[2].velocity > found[0].velocity
    assert found[0].off_frame is None
    assert played_stroke(found[0], {}).channel == 19
    twice = with_whole_chops([chopped(0, 1), chopped(3000, 1)], RATE_HZ)
    assert len(twice) == 2


def test_a_chop_is_heard_in_its_layer_and_soon_over(ukulele: Synthesiser) -> None:
    chops = [
        note(0.1 + 0.01 * (4 - string), 0.02, midi, string, "strums", action="chop")
        for string, midi in ((4, 67), (3, 60), (2, 64), (1, 69))
    ]
    stems = ukulele.stems(take(chops, 1.0)).by_name
    assert not stems["melody"].any()
    strums = np.abs(stems["strums"][:, 0])
    assert strums[4800:9600].max() > 0.01
    assert strums[: 4800 - 96].max(initial=0.0) < 1e-4
    assert strums[round(0.35 * RATE_HZ) :].max() < 0.01 * strums.max()
