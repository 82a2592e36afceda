from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.song import LAYERS, Layer
from tercet.sound import SAMPLE_RATE_HZ, STEM_NAMES, StemName, Stems, room
from tercet.sound.audio import check_audio
from tercet.sound.convolution import TRANSFORM_FRAMES, Convolution, convolved
from tercet.sound.k_weighting import k_weighted_levels_lufs
from tercet.sound.room import (
    RESPONSE_FRAMES,
    SEATS,
    SPECTRUM_FRAMES,
    T60_S,
    in_room,
    layer_responses,
    pan_gains,
    room_identity,
)
from tests.measure.room import decay_s, left_over_right_db, room_over_direct_db, third_octave_changes_db
from tests.sound.fake import FakeSynthesiser
from tests.sound.takes import note, take

Audio = NDArray[np.float32]
GESTURE_FRAMES = round(0.4 * SAMPLE_RATE_HZ)


def stems_of(make: Callable[[StemName], Audio]) -> Stems:
    return Stems(SAMPLE_RATE_HZ, {name: make(name) for name in STEM_NAMES})


def noise(seed: int, frames: int = 150_000) -> Stems:
    chance = np.random.default_rng(seed)
    return stems_of(lambda _: (0.1 * chance.standard_normal((frames, 2))).astype(np.float32))


def impulse_at(frame: int, frames: int) -> Stems:
    sound = np.zeros((frames, 2), np.float32)
    sound[frame] = 1.0
    return stems_of(lambda _: sound)


def heard_impulse(layer: Layer) -> Audio:
    return in_room(impulse_at(0, 4)).by_name[layer][:RESPONSE_FRAMES]


def test_the_sum_of_takes_in_the_room_is_their_sum_in_the_room() -> None:
    one, other = noise(1), noise(2)
    both = in_room(stems_of(lambda name: one.by_name[name] + other.by_name[name]))
    one, other = in_room(one), in_room(other)
    for name in STEM_NAMES:
        apart = both.by_name[name] - one.by_name[name] - other.by_name[name]
        assert np.abs(apart).max() <= 1e-6


def test_layers_in_the_room_add_up_to_one_sound_through_the_sum_of_the_room() -> None:
    dry = noise(3, 2_000)
    wet = in_room(dry)
    mono = {layer: dry.by_name[layer].mean(axis=1) for layer in LAYERS}
    for side in (0, 1):
        by_hand = [np.convolve(mono[layer], layer_responses(layer)[side]) for layer in LAYERS]
        total = np.sum([wet.by_name[layer][:-1, side] for layer in LAYERS], axis=0)
        assert np.abs(total - np.sum(by_hand, axis=0)).max() <= 1e-6


def test_the_same_stems_give_the_same_samples_and_the_room_is_made_the_same_again() -> None:
    first = in_room(noise(4))
    layer_responses.cache_clear()
    again = in_room(noise(4))
    for name in STEM_NAMES:
        assert np.array_equal(first.by_name[name], again.by_name[name])


@pytest.mark.parametrize("layer", LAYERS)
def test_the_room_is_short(layer: Layer) -> None:
    response = heard_impulse(layer)
    assert 0.25 <= decay_s(response, SAMPLE_RATE_HZ) <= 0.35
    assert np.abs(response[-20:]).max() < 1e-4 * np.abs(response).max()


@pytest.mark.parametrize("t60_s", [0.15, 0.3, 0.6])
def test_the_measure_of_decay_tells_rooms_apart(t60_s: float) -> None:
    chance = np.random.default_rng(5)
    time_s = np.arange(2 * SAMPLE_RATE_HZ)[:, None] / SAMPLE_RATE_HZ
    response = chance.standard_normal((len(time_s), 2)) * 10.0 ** (-3.0 * time_s / t60_s)
    assert decay_s(response, SAMPLE_RATE_HZ) == pytest.approx(t60_s, rel=0.1)


def test_a_room_that_rings_on_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "T60_S", 2 * T60_S)
    response = layer_responses.__wrapped__("strums").T
    assert decay_s(response, SAMPLE_RATE_HZ) > 0.4


@pytest.mark.parametrize(
    ("layer", "lowest_db", "highest_db"),
    [("melody", -0.1, 0.1), ("second", -4.0, -2.5), ("between", 3.0, 4.5), ("strums", -6.5, -5.0)],
)
def test_each_player_has_a_side(layer: Layer, lowest_db: float, highest_db: float) -> None:
    assert lowest_db <= left_over_right_db(heard_impulse(layer)) <= highest_db
    assert lowest_db <= left_over_right_db(in_room(noise(6)).by_name[layer]) <= highest_db


@pytest.mark.usefixtures("spiky")
def test_what_is_far_has_more_room_and_less_treble() -> None:
    responses = [heard_impulse(layer) for layer in LAYERS if layer != "second"]
    amounts_db = [room_over_direct_db(response, SAMPLE_RATE_HZ) for response in responses]
    assert -28.0 <= amounts_db[0] <= amounts_db[1] - 2.0 <= amounts_db[2] - 4.0 <= -20.0
    powers = [(np.abs(np.fft.rfft(response, 65_536, axis=0)) ** 2).sum(axis=1) for response in responses]
    hertz = np.fft.rfftfreq(65_536, 1 / SAMPLE_RATE_HZ)
    high, low = hertz > 6_000, (hertz > 100) & (hertz < 500)
    treble_db = [10 * math.log10(power[high].mean() / power[low].mean()) for power in powers]
    assert 0.0 >= treble_db[0] > treble_db[1] + 0.2 > treble_db[2] + 0.4 > -2.0


@pytest.fixture
def spiky(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The room without its all-passes, after which an impulse isn't one."""
    monkeypatch.setattr(room, "ALL_PASSES", ())
    layer_responses.cache_clear()
    room._convolution.cache_clear()
    yield
    layer_responses.cache_clear()
    room._convolution.cache_clear()


def test_all_passes_lower_the_peak_of_a_pluck_change_no_level_and_are_over_in_a_moment() -> None:
    answer = np.fft.irfft(room._all_passes(room.ALL_PASSES), SPECTRUM_FRAMES)
    assert np.abs(np.abs(room._all_passes(room.ALL_PASSES)) - 1.0).max() <= 1e-12
    late = (answer[round(0.003 * SAMPLE_RATE_HZ) :] ** 2).sum()
    assert 10 * math.log10(late / (answer**2).sum()) <= -15.0
    time_s = np.arange(SPECTRUM_FRAMES) / SAMPLE_RATE_HZ
    saw = np.sum([np.cos(2 * np.pi * 220 * k * time_s) / k for k in range(1, 40)], axis=0) * np.exp(
        -6 * time_s
    )
    spread = np.fft.irfft(np.fft.rfft(saw) * room._all_passes(room.ALL_PASSES))
    assert 20 * math.log10(np.abs(spread).max() / np.abs(saw).max()) <= -2.0


@pytest.mark.usefixtures("spiky")
@pytest.mark.parametrize("frame", [0, 70_001, TRANSFORM_FRAMES - RESPONSE_FRAMES])
def test_nothing_sounds_before_the_direct_sound_which_is_the_loudest_and_not_late(frame: int) -> None:
    made = in_room(impulse_at(frame, 150_000))
    for layer in LAYERS:
        heard = np.abs(made.by_name[layer]).max(axis=1)
        assert int(np.argmax(heard)) == frame
        assert heard[:frame].max(initial=0.0) <= 1e-6
        assert heard[frame + 1 :].max() <= 0.2 * heard[frame]
        assert heard[frame + RESPONSE_FRAMES :].max() <= 1e-6


def note_levels_lufs(stems: Stems, layer: Layer, count: int) -> NDArray[np.float64]:
    """Return the levels of notes struck once a second, in their first 400 ms."""
    sound = stems.by_name[layer]
    starts = [number * SAMPLE_RATE_HZ for number in range(count)]
    gestures = np.stack([sound[start : start + GESTURE_FRAMES] for start in starts])
    return k_weighted_levels_lufs(gestures, SAMPLE_RATE_HZ)


def level_changes_db(layer: Layer) -> NDArray[np.float64]:
    keys = range(55, 82)
    notes = [note(float(number), 0.8, midi=midi, layer=layer) for number, midi in enumerate(keys)]
    dry = FakeSynthesiser().stems(take(notes, len(keys)))
    before, after = (note_levels_lufs(stems, layer, len(keys)) for stems in (dry, in_room(dry)))
    return np.asarray(after - before)


@pytest.mark.parametrize("layer", LAYERS)
def test_no_key_is_louder_or_softer_in_the_room(layer: Layer) -> None:
    assert np.abs(level_changes_db(layer)).max() <= 0.3


def test_a_room_without_its_gain_or_not_evened_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, wrong in (("_loudness_gain", lambda _: 1.1), ("_evened", lambda spectrum, _: spectrum)):
        with monkeypatch.context() as patch:
            patch.setattr(room, name, wrong)
            patch.setattr(room, "layer_responses", layer_responses.__wrapped__)
            patch.setattr(room, "_convolution", room._convolution.__wrapped__)
            assert np.abs(level_changes_db("strums")).max() > 0.5


@pytest.mark.parametrize("layer", LAYERS)
def test_both_sides_added_for_one_loudspeaker_have_no_comb(layer: Layer) -> None:
    dry = noise(7, 480_000)
    wet = in_room(dry).by_name[layer][:480_000].mean(axis=1)
    plain = dry.by_name[layer].mean(axis=1)
    assert np.abs(third_octave_changes_db(wet, plain, SAMPLE_RATE_HZ)).max() <= 2.0


def test_a_comb_is_found() -> None:
    plain = noise(7, 480_000).by_name["melody"].mean(axis=1)
    comb = plain + 0.7 * np.roll(plain, 96)
    assert np.abs(third_octave_changes_db(comb, plain, SAMPLE_RATE_HZ)).max() > 2.0


def test_the_tail_rings_out_after_a_sound_that_lasts_to_the_end() -> None:
    dry = noise(8, 100_000)
    wet = in_room(dry)
    assert wet.length_frames == dry.length_frames + RESPONSE_FRAMES
    for name in STEM_NAMES:
        assert check_audio(wet.by_name[name]).shape == (wet.length_frames, 2)
    for layer in LAYERS:
        tail = np.abs(wet.by_name[layer][dry.length_frames :]).max(axis=1)
        assert tail[:1000].max() > 1e-3
        assert tail[-100:].max() < 1e-5


def test_the_ringing_end_of_a_take_holds_all_of_the_tail() -> None:
    dry = FakeSynthesiser().stems(take([note(0.0, 1.0, layer="strums", velocity=127)], 1.0))
    end = in_room(dry).by_name["strums"][-480:]
    assert np.abs(end).max() < 1e-6


def test_cues_stay_dry_and_in_the_middle() -> None:
    dry, wet = noise(9), in_room(noise(9))
    assert np.array_equal(wet.by_name["cues"][: dry.length_frames], dry.by_name["cues"])
    assert not wet.by_name["cues"][dry.length_frames :].any()


def test_silence_stays_silence() -> None:
    made = in_room(stems_of(lambda _: np.zeros((200_000, 2), np.float32)))
    assert not any(samples.any() for samples in made.by_name.values())


def test_a_sound_from_one_side_of_a_font_comes_from_the_player_s_place() -> None:
    one_sided = np.zeros((1000, 2), np.float32)
    one_sided[0, 1] = 1.0
    made = in_room(stems_of(lambda _: one_sided)).by_name["melody"]
    np.testing.assert_allclose(made[:RESPONSE_FRAMES], 0.5 * layer_responses("melody").T, atol=1e-6)


@pytest.mark.parametrize("azimuth_deg", [-90.0, -45.0, -12.0, 0.0, 18.0, 45.0, 60.0])
def test_panning_keeps_power_and_tells_sides(azimuth_deg: float) -> None:
    left, right = pan_gains(azimuth_deg)
    assert left**2 + right**2 == pytest.approx(2.0)
    assert np.sign(round(right - left, 12)) == np.sign(azimuth_deg)
    if abs(azimuth_deg) >= 45.0:
        assert min(left, right) == pytest.approx(0.0, abs=1e-12)


def test_images_mirror_the_source_in_each_wall() -> None:
    images = dict(room._images((1.0, 2.0, 0.5)))
    width, depth, height = room.ROOM_M
    single = {place for place, walls in images.items() if walls == 1}
    assert single == {
        (-1.0, 2.0, 0.5), (2 * width - 1.0, 2.0, 0.5), (1.0, -2.0, 0.5),
        (1.0, 2 * depth - 2.0, 0.5), (1.0, 2.0, -0.5), (1.0, 2.0, 2 * height - 0.5),
    }  # fmt: skip
    assert sum(walls == 2 for walls in images.values()) == 18


def test_every_player_sits_inside_the_room() -> None:
    for place in SEATS.values():
        angle = math.radians(place.azimuth_deg)
        for at, along, length in zip(
            room.LISTENER_M, (math.sin(angle), math.cos(angle), 0.0), room.ROOM_M, strict=True
        ):
            assert 0.2 < at + place.distance_m * along < length - 0.2


def test_the_room_has_a_name_that_follows_its_version(monkeypatch: pytest.MonkeyPatch) -> None:
    before = room_identity()
    monkeypatch.setattr(room, "VERSION", room.VERSION + 1)
    assert room_identity() != before


@pytest.mark.parametrize("frames", [1, 5000, TRANSFORM_FRAMES, 1_000_000])
def test_convolution_block_by_block_is_convolution(frames: int) -> None:
    chance = np.random.default_rng(frames)
    responses = chance.standard_normal((2, 300)) / 20.0
    sound = (0.1 * chance.standard_normal((frames, 2))).astype(np.float32)
    (made,) = convolved([sound], [Convolution.of(responses)])
    assert made.dtype == np.float32
    for side in (0, 1):
        by_hand = np.convolve(sound.mean(axis=1, dtype=float), responses[side])
        assert np.abs(made[:-1, side] - by_hand).max() <= 1e-6
        assert abs(made[-1, side]) <= 1e-6


def test_several_threads_make_the_samples_that_one_makes() -> None:
    chance = np.random.default_rng(5)
    responses = chance.standard_normal((2, 12_288)) / 100.0
    sounds = [chance.standard_normal((frames, 2)).astype(np.float32) for frames in (1_000_000, 40_000)]
    convolutions = [Convolution.of(responses)] * 2
    one, three = (convolved(sounds, convolutions, threads) for threads in (1, 3))
    assert all(np.array_equal(first, second) for first, second in zip(one, three, strict=True))


def test_what_is_silent_between_sounds_stays_exactly_silent() -> None:
    sound = np.zeros((30 * TRANSFORM_FRAMES, 2), np.float32)
    sound[100] = sound[-100] = 0.5
    (made,) = convolved([sound], [Convolution.of(np.ones((2, 300)))])
    heard = np.flatnonzero(np.abs(made).max(axis=1) > 0.1)
    assert (heard[0], heard[299], heard[300]) == (100, 399, len(sound) - 100)
    assert not made[2 * TRANSFORM_FRAMES : -2 * TRANSFORM_FRAMES].any()


def test_stems_that_are_there_alone_sound_as_among_the_others() -> None:
    dry = noise(6)
    whole = in_room(dry)
    for name in dry.by_name:
        alone = in_room(Stems(dry.sample_rate_hz, {name: dry.by_name[name]})).by_name
        assert list(alone) == [name]
        assert np.array_equal(alone[name], whole.by_name[name])
