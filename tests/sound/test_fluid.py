from __future__ import annotations

import dataclasses
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.errors import SoundFontError, SynthesiserError
from tercet.performing import Click, TakeNote
from tercet.song import LAYERS, Layer
from tercet.sound import SAMPLE_RATE_HZ, STEM_NAMES, StemName, Synthesiser
from tercet.sound import fluid as adapter
from tercet.sound.audio import check_audio
from tercet.sound.fluid import GRID_FRAMES, FluidSynthesiser, render_strokes
from tercet.sound.library import load_library
from tercet.sound.schedule import Stroke, length_frames_of, strokes_of
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.struck import cue_stem
from tests.sound.made_fonts import MadeZone, made_font, packaged_font, pluck, save_font
from tests.sound.takes import busy_take, hertz_of, level_db, note, take

KEYS = range(50, 85)
"""D3 to C6: every open string and fret of all tunings, up to the fifteenth."""


@pytest.fixture(scope="module")
def font() -> SoundFont:
    """A sampled font that is always there: the one in pretty_midi's package."""
    return SoundFont(packaged_font(), 0, 24)


@pytest.fixture(scope="module")
def scale(font: SoundFont) -> tuple[list[TakeNote], NDArray[np.float32]]:
    """Every key once, a second apart and off the grid, over all strings and layers, and the sum of the layers."""
    notes = [
        note(0.0503 + 1.0011 * index, 0.6, midi, 1 + index % 4, LAYERS[index % len(LAYERS)], 30 + 2 * index)
        for index, midi in enumerate(KEYS)
    ]
    stems = FluidSynthesiser(font).stems(take(notes, 36.0)).by_name
    return notes, np.sum([stems[layer] for layer in LAYERS], axis=0)


def test_all_stems_have_one_length_and_the_one_shape_of_audio(font: SoundFont) -> None:
    synthesiser: Synthesiser = FluidSynthesiser(font)
    played = take([note()], 1.0, [Click(0.0, True), Click(0.4, False)])
    stems = synthesiser.stems(played)
    assert stems.sample_rate_hz == SAMPLE_RATE_HZ == 48_000
    assert set(stems.by_name) == set(STEM_NAMES)
    for samples in stems.by_name.values():
        assert check_audio(samples).shape == (120_000, 2)
        assert samples.flags.c_contiguous
    assert np.array_equal(stems.by_name["cues"], cue_stem(played.clicks, 120_000, 48_000))


def test_the_layers_add_up_to_one_mix(font: SoundFont) -> None:
    played = busy_take()
    frames = length_frames_of(played, SAMPLE_RATE_HZ)
    strokes = strokes_of(played, SAMPLE_RATE_HZ, GRID_FRAMES)
    layers = render_strokes(font, strokes, frames, 3, {})
    (mix,) = render_strokes(font, strokes, frames, 1, {})
    assert min(np.abs(layer).max() for layer in layers) > 0.1
    assert np.abs(sum(layers) - mix).max() < 1e-6


def test_the_same_take_gives_the_same_samples(font: SoundFont) -> None:
    played, synthesiser = busy_take(5.0, 100), FluidSynthesiser(font)
    first = synthesiser.stems(played)
    synthesiser.stems(take([note(midi=50)], 1.0))
    again, other = synthesiser.stems(played), FluidSynthesiser(font)
    other.key_voices([84, 50])
    for name in STEM_NAMES:
        assert np.array_equal(first.by_name[name], again.by_name[name])
        assert np.array_equal(first.by_name[name], other.stems(played).by_name[name])


@pytest.mark.parametrize("names", [("melody",), ("between",), ("strums",), ("cues",), ("strums", "melody")])
def test_a_stem_sounds_the_same_whichever_are_asked_for(font: SoundFont, names: tuple[StemName, ...]) -> None:
    layers: tuple[Layer, ...] = ("melody", "between", "strums")
    notes = [note(0.5 * number, 0.3, layer=layers[number % 3], midi=60 + number) for number in range(9)]
    played, synthesiser = take(notes, 5.0), FluidSynthesiser(font)
    whole, asked = synthesiser.stems(played).by_name, synthesiser.stems(played, names).by_name
    assert set(asked) == set(names)
    for name in names:
        assert np.abs(asked[name] - whole[name]).max() <= 0.01 * np.abs(whole[name]).max()
        assert np.array_equal(asked[name], synthesiser.stems(played, names).by_name[name])


@pytest.mark.parametrize("string", [1, 2, 3, 4])
@pytest.mark.parametrize("layer", LAYERS)
def test_each_string_of_each_layer_sounds_in_its_own_stem_alone(
    font: SoundFont, string: int, layer: StemName
) -> None:
    # String 4 of the melody has MIDI channel 10, elsewhere the drums'.
    stems = FluidSynthesiser(font).stems(take([note(string=string, layer=layer, midi=67)], 0.5)).by_name  # type: ignore[arg-type]
    assert np.abs(stems[layer]).max() > 0.05
    assert hertz_of(stems[layer], 0.2, 0.55, 392.0) == pytest.approx(392.0, rel=2e-3)
    for name in STEM_NAMES:
        assert name == layer or not stems[name].any()


def test_every_key_is_heard_within_a_millisecond_of_its_onset(
    scale: tuple[list[TakeNote], NDArray[np.float32]],
) -> None:
    notes, mix = scale
    for each in notes:
        onset = round(each.onset_s * SAMPLE_RATE_HZ)
        early = np.abs(mix[onset - 960 : onset + 2880, 0])
        heard = int(np.argmax(early >= 0.2 * early.max())) - 960
        assert abs(heard) / SAMPLE_RATE_HZ < 0.001, each.midi


def test_plain_onset_detectors_find_every_key_within_three_milliseconds(
    scale: tuple[list[TakeNote], NDArray[np.float32]],
) -> None:
    notes, mix = scale
    for each in notes:
        onset = round(each.onset_s * SAMPLE_RATE_HZ)
        early = mix[onset - 960 : onset + 2880, 0].astype(np.float64)
        power = np.convolve(early**2, np.ones(96) / 96, "valid")  # over 2 ms
        for threshold in (0.02, 0.05, 0.1):
            found = int(np.argmax(power >= threshold * power.max())) + 48 - 960
            assert abs(found) / SAMPLE_RATE_HZ < 0.003, (each.midi, threshold)


def test_every_key_is_in_tune_within_a_cent(scale: tuple[list[TakeNote], NDArray[np.float32]]) -> None:
    notes, mix = scale
    for each in notes:
        wanted = 440 * 2 ** ((each.midi - 69) / 12)
        found = hertz_of(mix, each.onset_s + 0.08, each.onset_s + 0.59, wanted)
        assert abs(1200 * np.log2(found / wanted)) < 1.0, each.midi


def test_a_damped_string_is_forty_decibels_down_within_forty_milliseconds(
    scale: tuple[list[TakeNote], NDArray[np.float32]],
) -> None:
    notes, mix = scale
    for each in notes:
        end = each.onset_s + 0.6
        before = level_db(mix, end - 0.03, end)
        assert level_db(mix, end + 0.04, end + 0.045) < before - 40, each.midi
        assert level_db(mix, end + 0.10, end + 0.105) < before - 80, each.midi


def test_damping_does_not_click(tmp_path: Path) -> None:
    smooth = save_font(tmp_path / "a.sf2", sample=pluck(2.0, t60_s=30.0))
    stems = FluidSynthesiser(SoundFont(smooth, 8, 24)).stems(take([note(0.1, 0.5)], 2.0))
    steps = np.abs(np.diff(stems.by_name["melody"][:, 0]))
    end = round(0.6 * SAMPLE_RATE_HZ)
    assert steps[end - 960 :].max() <= 1.02 * steps[end - 2400 : end - 960].max()


@pytest.mark.parametrize("release_timecents", [None, -3000, 0, 2400])
def test_every_font_is_damped_alike(tmp_path: Path, release_timecents: int | None) -> None:
    zones = [MadeZone(release_timecents=release_timecents)]
    path = save_font(tmp_path / "a.sf2", zones=zones, sample=pluck(2.0, t60_s=30.0))
    melody = FluidSynthesiser(SoundFont(path, 8, 24)).stems(take([note(0.1, 0.5)], 2.0)).by_name["melody"]
    sounding = level_db(melody, 0.55, 0.595)
    assert level_db(melody, 0.630, 0.633) == pytest.approx(sounding - 39, abs=4)


def test_the_next_note_on_a_string_silences_the_one_before(font: SoundFont) -> None:
    first, second = note(0.1, 2.0, midi=60, string=3), note(0.6, 0.8, midi=66, string=3, layer="strums")
    stems = FluidSynthesiser(font).stems(take([first, second], 3.0)).by_name
    assert level_db(stems["melody"], 0.70, 0.72) < level_db(stems["melody"], 0.5, 0.59) - 80
    assert level_db(stems["strums"], 0.70, 0.90) > -40
    both = FluidSynthesiser(font).stems(take([first, dataclasses.replace(second, string=2)], 3.0)).by_name
    assert level_db(both["melody"], 0.70, 0.72) > level_db(both["melody"], 0.5, 0.59) - 10


def test_the_last_note_rings_on_and_sinks_to_nothing(font: SoundFont) -> None:
    melody = FluidSynthesiser(font).stems(take([note(0.1, 0.9, midi=60)], 1.0)).by_name["melody"]
    assert len(melody) == 2.5 * SAMPLE_RATE_HZ
    assert level_db(melody, 1.2, 1.5) > level_db(melody, 0.7, 1.0) - 15
    assert level_db(melody, 2.4, 2.45) < level_db(melody, 1.8, 1.9) - 15
    assert not melody[-1].any()


def test_a_chop_is_over_at_once(font: SoundFont) -> None:
    strums = (
        FluidSynthesiser(font)
        .stems(take([note(0.1, 0.5, layer="strums", action="chop")], 1.0))
        .by_name["strums"]
    )
    assert level_db(strums, 0.1, 0.12) > -35
    assert level_db(strums, 0.16, 0.18) < level_db(strums, 0.1, 0.12) - 40


def test_a_louder_velocity_is_louder_by_forty_times_the_logarithm(tmp_path: Path) -> None:
    path = SoundFont(save_font(tmp_path / "a.sf2", sample=pluck(1.0)), 8, 24)
    notes = [note(0.1, 0.5, velocity=120), note(1.1, 0.5, velocity=60)]
    melody = FluidSynthesiser(path).stems(take(notes, 2.0)).by_name["melody"]
    assert level_db(melody, 0.15, 0.5) - level_db(melody, 1.15, 1.5) == pytest.approx(
        40 * np.log10(2), abs=0.5
    )


def test_a_font_that_speaks_late_and_sharp_is_put_right(tmp_path: Path) -> None:
    sample = pluck(1.2, hertz=440 * 2 ** (12 / 1200), silent_s=0.008)
    path = SoundFont(save_font(tmp_path / "a.sf2", sample=sample), 8, 24)
    synthesiser = FluidSynthesiser(path)
    voice = synthesiser.key_voices([69])[69]
    assert voice.sharp_cents == pytest.approx(12.0, abs=0.1)
    assert voice.onset_delay_s == pytest.approx(0.0083, abs=0.0003)
    melody = synthesiser.stems(take([note(0.5, 0.9)], 2.0)).by_name["melody"]
    assert hertz_of(melody, 0.6, 1.3, 440.0) == pytest.approx(440.0, rel=3e-4)
    heard = np.argmax(np.abs(melody[:, 0]) > 0.2 * np.abs(melody).max()) / SAMPLE_RATE_HZ
    assert heard == pytest.approx(0.5, abs=0.001)


def test_a_compressed_font_sounds_like_the_plain_one(tmp_path: Path) -> None:
    plain = SoundFont(save_font(tmp_path / "a.sf2", sample=pluck(0.8)), 0, 24)
    packed = SoundFont(save_font(tmp_path / "a.sf3", sample=pluck(0.8), compressed=True), 0, 24)
    played = take([note(0.1, 0.5)], 0.8)
    first = FluidSynthesiser(plain).stems(played).by_name["melody"].astype(np.float64)
    second = FluidSynthesiser(packed).stems(played).by_name["melody"].astype(np.float64)
    assert np.sum((first - second) ** 2) < 0.01 * np.sum(first**2)
    assert hertz_of(second.astype(np.float32), 0.15, 0.6, 440.0) == pytest.approx(440.0, rel=3e-4)


def test_an_empty_take_is_silence(font: SoundFont) -> None:
    stems = FluidSynthesiser(font).stems(take([], 0.0))
    assert stems.length_frames == 72_000
    assert not any(samples.any() for samples in stems.by_name.values())


def test_the_identity_changes_with_everything_that_is_heard(tmp_path: Path, font: SoundFont) -> None:
    made = save_font(tmp_path / "a.sf2")
    other = save_font(tmp_path / "b.sf2", name="Other")
    fonts = [font, SoundFont(made, 8, 24), SoundFont(made, 0, 24), SoundFont(other, 0, 24)]
    identities = [FluidSynthesiser(each).identity() for each in fonts]
    assert len(set(identities)) == 4
    assert identities[1] == FluidSynthesiser(SoundFont(made, 8, 24)).identity()
    assert f"fluidsynth {load_library().version}" in identities[0]


def test_a_key_without_a_sample_is_an_error_and_not_silence(tmp_path: Path) -> None:
    path = save_font(tmp_path / "a.sf2", zones=[MadeZone(60, 72), MadeZone(73, 80, velocities=(64, 127))])
    synthesiser = FluidSynthesiser(SoundFont(path, 8, 24))
    for wrong, message in (
        (note(midi=59), "key 59 at velocity 90"),
        (note(midi=75, velocity=20), "key 75 at velocity 20"),
    ):
        with pytest.raises(SoundFontError, match=f"has no sample for MIDI {message}, which this song needs"):
            synthesiser.stems(take([wrong]))


def test_a_file_that_is_no_font_never_reaches_the_library(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never() -> None:
        raise AssertionError("the library was asked for")

    monkeypatch.setattr(adapter, "load_library", never)
    path = tmp_path / "a.sf2"
    for contents in (b"", b"text", made_font()[:-1], b"RIFF\x04\0\0\0sfbk"):
        path.write_bytes(contents)
        with pytest.raises(SoundFontError, match=r"a\.sf2: "):
            render_strokes(SoundFont(path, 8, 24), [], 64, 1, {})


def test_a_damaged_compressed_sample_is_an_error_and_not_silence(tmp_path: Path) -> None:
    font = bytearray(made_font(compressed=True))
    place = font.index(b"smpl") + 8
    font[place : place + 64] = bytes(64)
    path = tmp_path / "a.sf3"
    path.write_bytes(font)
    with pytest.raises(
        SoundFontError, match=r"FluidSynth can't play bank 8, program 24 of the sound font: .*Download"
    ):
        FluidSynthesiser(SoundFont(path, 8, 24)).stems(take([note()]))


class Binding:
    """pyfluidsynth with some functions replaced, counting the synthesisers that are made and deleted."""

    def __init__(self, **replaced: object) -> None:
        self.original = load_library().binding
        self.replaced = replaced
        self.alive = 0
        self.made = 0

    def __getattr__(self, name: str) -> Any:
        return self.replaced.get(name) or getattr(self.original, name)

    def Synth(self, **settings: Any) -> Any:  # noqa: N802 - the binding's name
        player = self.original.Synth(**settings)
        self.alive += 1
        self.made += 1

        def delete() -> None:
            self.alive -= 1
            self.original.Synth.delete(player)

        synth = player.synth
        if "new_fluid_synth" in self.replaced:
            self.original.delete_fluid_synth(player.synth)
            synth = player.synth = None
        return SimpleNamespace(synth=synth, delete=delete)


@contextmanager
def replaced_library(monkeypatch: pytest.MonkeyPatch, binding: Binding, **changes: Any) -> Iterator[None]:
    changed = dataclasses.replace(load_library(), binding=binding, **changes)
    with monkeypatch.context() as patch:
        patch.setattr(adapter, "load_library", lambda: changed)
        yield


def test_every_synthesiser_is_deleted_also_after_a_failure(
    monkeypatch: pytest.MonkeyPatch, font: SoundFont
) -> None:
    load_library().complaints.clear()
    cases: list[tuple[dict[str, object], dict[str, Any], type[Exception], str]] = [
        (
            {"new_fluid_synth": True},
            {},
            SynthesiserError,
            r"FluidSynth [\d.]+ won't start: it gave no reason",
        ),
        ({"fluid_synth_sfload": lambda *_: -1}, {}, SoundFontError, "FluidSynth refuses the sound font"),
        ({"fluid_synth_program_select": lambda *_: -1}, {}, SoundFontError, "can't play bank 0, program 24"),
        ({}, {"process": lambda *_: -1}, SynthesiserError, "FluidSynth stopped while rendering"),
    ]
    for functions, changes, kind, message in cases:
        binding = Binding(**functions)
        with replaced_library(monkeypatch, binding, **changes), pytest.raises(kind, match=message):
            FluidSynthesiser(font).stems(take([note()]))
        assert (binding.made, binding.alive) == (1, 0)
    binding = Binding()
    with replaced_library(monkeypatch, binding):
        FluidSynthesiser(font).stems(take([note()]))
    assert (binding.made, binding.alive) == (2, 0)


def test_pieces_longer_than_a_block_and_strokes_past_the_end_are_no_trouble(font: SoundFont) -> None:
    strokes = [Stroke(64, None, 1, 0, 69, 100), Stroke(200_000, 300_000, 2, 0, 64, 100)]
    (long,) = render_strokes(font, strokes, 250_000, 1, {})
    (short,) = render_strokes(font, strokes[:1], 199_936, 1, {})
    assert np.array_equal(long[:199_936], short)
    assert len(render_strokes(font, strokes, 100, 1, {})[0]) == 100


def test_rendering_prints_nothing_whatever_the_environment(font: SoundFont) -> None:
    code = (
        "import sys; from pathlib import Path; from tercet.sound.sf2_reader import SoundFont;"
        "from tercet.sound.fluid import FluidSynthesiser; from tercet.performing import Take;"
        "s = FluidSynthesiser(SoundFont(Path(sys.argv[1]), 0, 24)); s.key_voices(range(55, 80));"
        "assert 'fluidsynth' in sys.modules; s.stems(Take((), (), (), (), 1.0))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(font.path)],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={"CI": "true", "PATH": "/usr/sbin:/usr/bin:/sbin:/bin"},
    )
    assert (run.stdout, run.stderr) == ("", "")


def test_making_a_synthesiser_loads_nothing() -> None:
    code = (
        "import sys; from pathlib import Path; from tercet.sound.sf2_reader import SoundFont;"
        "from tercet.sound.fluid import FluidSynthesiser; FluidSynthesiser(SoundFont(Path('none.sf2'), 0, 24));"
        "print(sorted({'fluidsynth', 'soundfile'} & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert run.stdout.strip() == "[]"
