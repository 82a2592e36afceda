from __future__ import annotations

import numpy as np
import pytest

from tercet.errors import ParameterError
from tercet.sound.audio import check_audio


def test_good_audio_comes_back_as_it_is() -> None:
    samples = np.array([[0.5, -0.5], [2.0, 0.0]], np.float32)
    assert check_audio(samples) is samples
    assert check_audio(np.zeros((0, 1), np.float32)).shape == (0, 1)


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        ([[0.0, 0.0]], r"must be a numpy array \(got list\)"),
        (np.zeros((4, 2)), r"must be float32 \(got float64\)"),
        (np.zeros((4, 2), np.int16), r"must be float32 \(got int16\)"),
        (np.zeros(4, np.float32), r"shape \(frames, channels\) \(got \(4,\)\)"),
        (np.zeros((4, 0), np.float32), r"shape \(frames, channels\) \(got \(4, 0\)\)"),
        (np.zeros((1, 4, 2), np.float32), r"shape \(frames, channels\) \(got \(1, 4, 2\)\)"),
        (np.array([[0, 0], [0, np.nan]], np.float32), r"finite \(got nan in frame 1, channel 1\)"),
        (np.array([[0], [-np.inf]], np.float32), r"finite \(got -inf in frame 1, channel 0\)"),
    ],
)
def test_anything_else_is_refused_with_what_was_got(samples: object, message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        check_audio(samples)
