"""The measurements measured: on made-up sounds and texts whose figures are known beforehand."""

from __future__ import annotations

import math
from fractions import Fraction
from pathlib import Path

import mido
import numpy as np
import pytest

from tests.measure.audio import Samples, Track, cue_figures, delay_s, full_scale_frames, layer_gains
from tests.measure.bodies import beats_db, knock_figures, unexplained_db
from tests.measure.loudness import gesture_levels_lufs, integrated_lufs, k_weighting, true_peak_dbtp
from tests.measure.marks import asked_db
from tests.measure.midi import MidiNote, Roll, read_with_mido, strings_of
from tests.measure.onsets import onset_figures, onsets_s, string_late_s
from tests.measure.pitch import cents_sharp
from tests.measure.song_text import read_song_text

RATE_HZ = 48_000
HIGH_G = (67, 60, 64, 69)


def sine(hertz: float, seconds: float = 1.0, phase: float = 0.0, t60_s: float = math.inf) -> Samples:
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    wave = np.sin(2 * np.pi * hertz * time_s + phase) * 10 ** (-3 * time_s / t60_s)
    return np.stack([wave, wave], axis=1).astype(np.float32)


def noise(seconds: float, seed: int) -> Samples:
    chance = np.random.default_rng(seed)
    return np.asarray(0.1 * chance.standard_normal((round(seconds * RATE_HZ), 2)), np.float32)


def plucked(onsets: list[float], midi: int = 69, length_s: float = 4.0) -> Samples:
    """Return strings of six partials that stop in 3 ms when the next is struck, softer and louder by turns."""
    sound = np.zeros((round(length_s * RATE_HZ), 2), np.float32)
    for place, onset in enumerate(onsets):
        first = round(onset * RATE_HZ)
        last = round((onsets[place + 1] if place + 1 < len(onsets) else length_s) * RATE_HZ)
        hertz = 440 * 2 ** ((midi - 69) / 12)
        tone = sum((sine(hertz * k, 4.0, k, 3.0 / k) / k for k in range(1, 25)), np.zeros((4 * RATE_HZ, 2)))
        fade = np.minimum(np.arange(last - first)[::-1] / 144, 1.0)[:, None]
        sound[first:last] += (0.1 if place % 2 else 0.3) * fade * tone[: last - first]
    return sound


def test_loudness_and_level_of_a_tone_are_as_the_recommendation_says() -> None:
    numerator, denominator = k_weighting(RATE_HZ)[0]
    assert numerator == pytest.approx([1.53512485958697, -2.69169618940638, 1.19839281085285], abs=1e-8)
    assert denominator == pytest.approx([1.0, -1.69065929318241, 0.73248077421585], abs=1e-8)
    track = Track(10 ** (-23 / 20) * sine(997.0, 5.0), RATE_HZ)
    assert integrated_lufs(track) == pytest.approx(-23.0, abs=0.01)
    assert gesture_levels_lufs(track, [1.0, 2.5]) == pytest.approx([-23.0, -23.0], abs=0.05)


def test_the_true_peak_lies_between_the_samples() -> None:
    wave = sine(12_000.0, 1.0, math.pi / 4) * np.hanning(RATE_HZ)[:, None].astype(np.float32)
    assert np.abs(wave).max() == pytest.approx(10 ** (-3.01 / 20), abs=0.001)
    assert true_peak_dbtp(Track(wave, RATE_HZ)) == pytest.approx(0.0, abs=0.2)
    assert true_peak_dbtp(Track(np.zeros((100, 2), np.float32), RATE_HZ)) == -math.inf


@pytest.mark.parametrize("midi", [60, 67, 76])
@pytest.mark.parametrize("cents", [-3.0, 0.0, 0.5, 3.0])
def test_pitch_is_measured_to_a_tenth_of_a_cent(midi: int, cents: float) -> None:
    hertz = 440 * 2 ** ((midi - 69 + cents / 100) / 12)
    sound = sine(hertz, 1.0, 0.3, 2.0) + 0.5 * sine(2 * hertz, 1.0, 1.0, 1.0)
    assert cents_sharp(Track(sound, RATE_HZ), midi, 0.0, 0.5) == pytest.approx(cents, abs=0.1)


def test_a_short_note_has_no_pitch_to_measure() -> None:
    with pytest.raises(ValueError, match=r"a note of 0\.200 s is too short"):
        cents_sharp(Track(sine(440.0), RATE_HZ), 69, 0.0, 0.2)


def test_onsets_are_found_to_a_millisecond_and_none_besides() -> None:
    written = [0.1003, 0.5, 0.5304, 1.2, 1.9071, 2.5]
    heard = onsets_s(Track(plucked(written), RATE_HZ))
    figures = onset_figures(heard, written)
    assert (figures.unheard_s, figures.unwritten_s) == ((), ())
    assert np.abs(figures.late_s).max() <= 0.001
    figures = onset_figures(heard, [*written[:-1], 3.0])
    assert figures.unheard_s == (3.0,)
    assert figures.unwritten_s == pytest.approx((2.5,), abs=0.001)
    assert onset_figures([], [1.0]).unheard_s == (1.0,)
    assert len(onsets_s(Track(np.zeros((RATE_HZ, 2), np.float32), RATE_HZ))) == 0


@pytest.mark.parametrize("frames", [-480, 0, 1, 480])
def test_delay_is_found_through_other_sounds(frames: int) -> None:
    shared = noise(4.0, 1)
    ours = Track(np.roll(shared, frames, axis=0), RATE_HZ)
    theirs = Track(shared + 2 * noise(4.0, 2), RATE_HZ)
    assert delay_s(ours, theirs) == pytest.approx(frames / RATE_HZ, abs=1e-5)


def test_layers_are_weighed_in_a_mix() -> None:
    alone = {
        name: Track(noise(2.0, seed), RATE_HZ) for seed, name in enumerate(("melody", "between", "strums"))
    }
    mix = alone["melody"].samples + np.float32(1.25) * alone["strums"].samples
    gains = layer_gains(Track(mix, RATE_HZ), alone, 0.5)
    assert gains == pytest.approx({"melody": 1.0, "between": 0.0, "strums": 1.25}, abs=1e-4)


def test_knocks_and_full_scale_are_counted() -> None:
    residue = np.zeros((2 * RATE_HZ, 2), np.float32)
    residue[4800:5280] = 0.2 * sine(1000.0, 0.01)
    residue[52_800:53_280] = 0.1 * sine(1000.0, 0.01)
    cues = cue_figures(residue, RATE_HZ, 0.001)
    assert cues.onsets_s == pytest.approx((0.1, 1.1), abs=0.001)
    assert cues.peaks == pytest.approx((0.2, 0.1), rel=0.01)
    assert cues.end_s == pytest.approx(1.11, abs=0.001)
    assert cue_figures(np.zeros((10, 2), np.float32), RATE_HZ, 0.001).onsets_s == ()
    edge = np.array([[0.5, -1.0], [1.0 - 2**-15, 0.0], [1.0 - 2**-14, 0.0]], np.float32)
    assert full_scale_frames(Track(edge, RATE_HZ, 2.0**-15)) == 2


def test_a_roll_falls_across_strings_or_does_not() -> None:
    def roll(*keys: int) -> Roll:
        return Roll(tuple(MidiNote(0.02 * place, 1.0, key, 60) for place, key in enumerate(keys)))

    assert strings_of(roll(67, 60, 64, 72), HIGH_G) == (4, 3, 2, 1)
    assert strings_of(roll(60, 64, 72), HIGH_G) == (3, 2, 1)
    assert strings_of(roll(69), HIGH_G) == (4,)
    assert strings_of(roll(72, 64, 60, 67), HIGH_G) is None
    assert strings_of(roll(60, 60), HIGH_G) is None
    assert not roll(60, 64).loudest_last
    assert roll(60, 64, 72).spread_s == pytest.approx(0.04)


def test_a_midi_file_is_read_along_its_tempo_map(tmp_path: Path) -> None:
    file = mido.MidiFile(ticks_per_beat=480)
    track = file.add_track("melody")
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    track.append(mido.Message("note_on", note=60, velocity=50, time=480))
    track.append(mido.MetaMessage("set_tempo", tempo=500_000, time=480))
    track.append(mido.Message("note_on", note=60, velocity=0, time=480))
    file.save(tmp_path / "two.mid")
    read = read_with_mido(tmp_path / "two.mid")
    assert read.tracks == {"melody": (MidiNote(1.0, 2.5, 60, 50),)}
    assert read.tempi == ((0.0, 60.0), (2.0, 120.0))
    assert [read.seconds(quarters) for quarters in (1.0, 2.0, 4.0)] == [1.0, 2.0, 3.0]
    track.append(mido.Message("note_on", note=60, velocity=50))
    file.save(tmp_path / "hanging.mid")
    with pytest.raises(ValueError, match=r"keys \[60\] are never let go"):
        read_with_mido(tmp_path / "hanging.mid")


def test_a_song_is_read_through_its_form(tmp_path: Path) -> None:
    path = tmp_path / "song.yaml"
    path.write_text(
        "title: T\nkey: C major\nmeter: 4/4\ntempo: 60\nswing: 2/3\nform: a*2 b\nsections:\n"
        "  a: |\n"
        "    chords       | C              | F   |\n"
        "    melody   G4  | A:1/2 B C5:2.5 | =:3 |\n"
        "    melody last  |                | D:3 |\n"
        "    words    Oh, | mer-ry _       | day |\n"
        "    words last   |                | day |\n"
        "  b: |\n"
        "    chords   C\n"
        "    melody   .:2 Bb3:2[21]\n",
        encoding="utf-8",
    )
    with pytest.raises(ValueError, match="5 syllables for 4"):
        read_song_text(path)
    path.write_text(path.read_text("utf-8").replace("_       | day", "_       |    ", 1), "utf-8")
    song = read_song_text(path)
    assert [(note.beat, note.length_beat, note.midi) for note in song.tune[:4]] == [
        (0, 1, 67), (1, Fraction(1, 2), 69), (Fraction(3, 2), 1, 71), (Fraction(5, 2), Fraction(11, 2), 72),
    ]  # fmt: skip
    assert [note.midi for note in song.tune[4:]] == [67, 69, 71, 72, 74, 58]
    assert [note.syllable for note in song.tune[:4]] == ["Oh,", "mer", "ry", ""]
    assert song.visits == (("a", 1, Fraction(0)), ("a", 2, Fraction(9)), ("b", 1, Fraction(17)))
    assert [song.pickup_beat, song.end_beat, song.count_in_beat] == [1, 21, 3]
    assert song.swung(Fraction(3, 2)) == Fraction(5, 3)
    assert song.swung(Fraction(5, 4)) == Fraction(4, 3)
    path.write_text(path.read_text("utf-8").replace(".:2", "s1f3:2"), "utf-8")
    with pytest.raises(ValueError, match="doesn't know the note 's1f3:2'"):
        read_song_text(path)


MARKED = """\
title: Marks
key: C major
meter: 4/4
tempo: 60
dynamics: {melody: f, between: mp, strums: p}
form: a a
sections:
  a: |
    chords   C            | C                  | C    |
    melody   C5:4         | C5:4               | C5:4 |
    marks    p@1 accent@3 | louder@1 strums:mf@3    | f@1  |
    marks 2               |                    | ff@1 |
"""


def test_what_a_song_asks_of_a_layer_is_read_from_its_text(tmp_path: Path) -> None:
    path = tmp_path / "marked.yaml"
    path.write_text(MARKED, encoding="utf-8")
    song = read_song_text(path)

    def asked(layer: str) -> list[float | None]:
        return [asked_db(song, layer, Fraction(beat)) for beat in (0, 1, 2, 4, 5, 6, 8, 12, 20)]

    assert asked("melody") == [-8, -8, None, None, None, None, 4, -8, 8]
    assert asked("strums") == [-20, -20, None, None, None, 0, -8, -20, -4]


def test_a_string_among_others_is_placed_to_a_third_of_a_millisecond() -> None:
    alone = Track(plucked([0.1], 74), RATE_HZ)
    roll = plucked([0.5], 60) + plucked([0.522], 64)
    top = np.roll(plucked([0.1], 74), round(0.4471 * RATE_HZ), axis=0)
    (late_s,) = string_late_s(Track(roll + top, RATE_HZ), [0.5441], alone)
    assert late_s == pytest.approx(0.003, abs=0.0003)


# Body and hand


@pytest.mark.parametrize("t60_s", [0.08, 0.12, 0.2])
def test_a_knock_is_measured_as_loud_and_as_short_as_it_is(t60_s: float) -> None:
    knock, note = 0.1 * sine(220.0, t60_s=t60_s)[:, 0], sine(1500.0)[:, 0]
    lead = np.zeros(RATE_HZ // 250)
    level_db, fell_s = knock_figures(np.concatenate([lead, knock + note]), RATE_HZ)
    assert fell_s == pytest.approx(t60_s / 3, abs=0.005)
    early = slice(round(0.056 * RATE_HZ))
    expected_db = 10 * math.log10((knock[early] ** 2).sum() / (note[early] ** 2).sum())
    assert level_db == pytest.approx(expected_db, abs=1.0)


@pytest.mark.parametrize("depth_db", [0.0, 0.2, 0.9])
def test_partials_beat_as_deeply_as_they_are_measured_and_two_stages_are_no_beat(depth_db: float) -> None:
    deep = (10 ** (depth_db / 20) - 1) / (10 ** (depth_db / 20) + 1)
    time_s = np.arange(round(2.3 * RATE_HZ)) / RATE_HZ
    falling = np.exp(-3.0 * time_s) + 0.12 * np.exp(-1.2 * time_s)
    sound = sum(
        (
            falling * (1 + deep * np.cos(2 * np.pi * 3.0 * k * time_s)) * sine(440.0 * k, 2.3)[:, 0] / k
            for k in range(1, 7)
        ),
        np.zeros(len(time_s)),
    )
    assert beats_db(sound, RATE_HZ, 440.0) == pytest.approx([depth_db] * 4, rel=0.2, abs=1e-3)


def test_strokes_that_differ_in_brightness_alone_are_alike_and_others_are_not() -> None:
    chance = np.random.default_rng(5)

    def strokes(unlike_db: float) -> np.ndarray:
        made = []
        for slope in np.linspace(1.8, 2.2, 12):
            off_db = unlike_db * chance.standard_normal(8)
            partials = [
                sine(440.0 * k, 0.5)[:, 0] * k**-slope * 10 ** (off / 20) for k, off in enumerate(off_db, 1)
            ]
            made.append(np.sum(partials, axis=0))
        return np.stack(made)

    assert unexplained_db(strokes(0.0), RATE_HZ, 440.0) < 0.3
    assert unexplained_db(strokes(2.0), RATE_HZ, 440.0) == pytest.approx(2.0, rel=0.25)
