from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from tercet.sound.note_measures import KeyVoice, cents_sharp, key_voice, onset_delay_s

RATE_HZ = 48_000


def tone(
    hertz: float, seconds: float = 0.8, partials: tuple[float, ...] = (1.0, 0.5, 0.2)
) -> NDArray[np.float32]:
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    sound = sum(level * np.sin(2 * np.pi * hertz * (k + 1) * time_s) for k, level in enumerate(partials))
    return np.asarray(0.2 * 10 ** (-1.5 * time_s) * sound, np.float32)


@pytest.mark.parametrize("midi", [50, 55, 60, 69, 76, 88])
@pytest.mark.parametrize("cents", [-20.0, -3.0, 0.0, 0.4, 3.0, 12.5])
def test_how_sharp_a_key_is_comes_out_to_a_twentieth_of_a_cent(midi: int, cents: float) -> None:
    sound = tone(440 * 2 ** ((midi - 69 + cents / 100) / 12))
    assert cents_sharp(sound, midi, RATE_HZ) == pytest.approx(cents, abs=0.05)


@pytest.mark.parametrize(
    "sound",
    [
        np.zeros(38_400, np.float32),
        np.zeros(100, np.float32),
        tone(440 * 2 ** (40 / 1200)),
        tone(300.0),
        tone(440.0, partials=(0.0005, 1.0)),
    ],
)
def test_without_a_clear_fundamental_near_by_a_key_is_left_alone(sound: NDArray[np.float32]) -> None:
    assert cents_sharp(sound, 69, RATE_HZ) == 0.0


def test_a_sound_is_heard_from_a_fifth_of_its_early_peak() -> None:
    rising = np.minimum(np.arange(4800) / 960, 1.0).astype(np.float32)  # the peak after 20 ms
    assert onset_delay_s(rising, RATE_HZ) == pytest.approx(0.004, abs=1e-4)
    late = np.concatenate([np.zeros(336, np.float32), np.ones(4800, np.float32)])
    assert onset_delay_s(-late, RATE_HZ) == pytest.approx(0.007)


def test_silence_and_slow_swells_have_no_onset_to_correct() -> None:
    assert onset_delay_s(np.zeros(4800, np.float32), RATE_HZ) == 0.0
    assert onset_delay_s(np.zeros(0, np.float32), RATE_HZ) == 0.0
    swell = np.concatenate([np.zeros(1800, np.float32), np.ones(4800, np.float32)])
    assert onset_delay_s(swell, RATE_HZ) == 0.0


def test_a_key_is_measured_on_both_sides_together() -> None:
    mono = np.concatenate([np.zeros(240, np.float32), tone(441.0)])
    voice = key_voice(np.stack([2 * mono, np.zeros_like(mono)], axis=1), 69, RATE_HZ)
    assert voice.sharp_cents == pytest.approx(1200 * np.log2(441 / 440), abs=0.05)
    assert 0.005 <= voice.onset_delay_s < 0.0055
    assert KeyVoice() == KeyVoice(0.0, 0.0)
