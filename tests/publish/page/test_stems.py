"""Packed stems: small, aligned by their pulse, as text that can't do anything."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from tercet.errors import ParameterError
from tercet.publish.page.stems import (
    HIGHEST_KBIT_S,
    MUSIC_FRAME,
    PULSE_FRAME,
    STEM_RATE_HZ,
    mono,
    packed_stem,
    pieces_of,
    pulse,
    stem_script,
    with_pulse,
)


def plucks(length_s: float = 6.0) -> NDArray[np.float32]:
    """Return decaying tones, one each half second."""
    time_s = np.arange(round(length_s * STEM_RATE_HZ)) / STEM_RATE_HZ
    tone = np.zeros_like(time_s)
    for index, start_s in enumerate(np.arange(0.0, length_s, 0.5)):
        after = np.clip(time_s - start_s, 0, None)
        hertz = 220.0 * 2 ** (index % 12 / 12)
        tone += (time_s >= start_s) * np.exp(-4 * after) * np.sin(2 * np.pi * hertz * after)
    return (0.3 * tone[:, None]).astype(np.float32)


def decoded(data: bytes) -> NDArray[np.float32]:
    samples, rate_hz = soundfile.read(io.BytesIO(data), dtype="float32", always_2d=True)
    assert rate_hz == STEM_RATE_HZ
    return np.asarray(samples[:, 0], np.float32)


def test_a_packed_stem_is_small_and_true() -> None:
    packed = packed_stem(plucks())
    assert packed.kbit_s <= HIGHEST_KBIT_S
    music = decoded(packed.data)[MUSIC_FRAME:]
    wanted = plucks()[:, 0]
    error = music[: len(wanted)] - wanted[: len(music)]
    assert 10 * np.log10((wanted**2).mean() / (error**2).mean()) > 24


def test_the_pulse_lies_where_it_should_to_the_sample() -> None:
    found = np.correlate(decoded(packed_stem(plucks()).data)[:9_000], pulse(), "valid")
    assert int(np.argmax(found)) + len(pulse()) // 2 == PULSE_FRAME


def test_the_pulse_is_seen_in_loud_music_and_in_silence() -> None:
    for samples in (plucks() / 0.35, np.zeros((STEM_RATE_HZ, 1), np.float32)):
        found = np.correlate(decoded(packed_stem(samples.astype(np.float32)).data)[:9_000], pulse(), "valid")
        assert int(np.argmax(found)) + len(pulse()) // 2 == PULSE_FRAME


def test_a_stem_is_cut_at_its_long_rests_and_keeps_all_of_its_sound() -> None:
    rest = np.zeros((3 * STEM_RATE_HZ, 1), np.float32)
    samples = np.concatenate([rest, plucks(), rest[: STEM_RATE_HZ // 2], plucks(), rest, plucks(), rest])
    pieces = pieces_of(samples)
    assert len(pieces) == 2
    laid_out = np.zeros_like(samples)
    for start, frames in pieces:
        laid_out[start : start + frames] = samples[start : start + frames]
    assert np.array_equal(laid_out, samples)
    assert sum(frames for _, frames in pieces) < 19 * STEM_RATE_HZ
    assert pieces_of(plucks()) == ((0, len(plucks())),)
    assert pieces_of(rest) == ()


def test_noise_still_keeps_within_the_rate() -> None:
    noise = np.random.default_rng(1).normal(0, 0.2, (2 * STEM_RATE_HZ, 1)).astype(np.float32)
    assert packed_stem(noise).kbit_s <= HIGHEST_KBIT_S


def test_both_sides_become_one() -> None:
    sides = np.stack([plucks()[:, 0], np.zeros(len(plucks()), np.float32)], axis=1)
    assert mono(sides, 6.0206) == pytest.approx(plucks(), abs=1e-5)


def test_a_stem_of_two_channels_is_refused() -> None:
    with pytest.raises(ParameterError, match="one channel"):
        with_pulse(np.zeros((10, 2), np.float32))


def test_a_script_holds_letters_alone() -> None:
    script = stem_script("66-5-melody", bytes(range(256))).decode("ascii")
    assert re.fullmatch(r'Tercet\.hand\("66-5-melody","[A-Za-z0-9+/=]+"\);\n', script)


@pytest.mark.parametrize("name", ['"+alert(1)+"', "", "a b", "ü"])
def test_a_name_that_could_end_the_text_is_refused(name: str) -> None:
    with pytest.raises(ParameterError, match="letters"):
        stem_script(name, b"x")
