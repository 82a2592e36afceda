"""Sound fonts that are flat, silent in places or broken: the command renders what it can and says what is wrong."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.cli.conftest import Ran
from tests.sound.made_fonts import MadeZone, pluck, save_font


def broken_off() -> NDArray[np.int16]:
    """Return a pluck that jumps twice within its first 400 ms, as a damaged sample does."""
    sample = pluck(1.2)
    sample[9_000:9_040] = 30_000
    sample[14_000:14_030] = -30_000
    return sample


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (
            {"feels_velocity": False},
            "plays soft and hard strokes alike: the layers are set apart by a gain each",
        ),
        ({"sample": broken_off()}, "clicks on"),
        ({"sample": np.zeros(48_000, np.int16)}, "is silent on"),
        ({"zones": (MadeZone(60, 66), MadeZone(67, 127))}, None),
    ],
    ids=["one velocity", "clicks", "silence", "nothing wrong"],
)
def test_what_is_wrong_with_a_sound_is_said(
    made: dict[str, Any], said: str | None, song: Path, tmp_path: Path, tercet: Callable[..., Ran]
) -> None:
    sample = made.pop("sample", pluck(1.2))
    font = save_font(tmp_path / "odd.sf2", sample=sample, **made)
    ran = tercet("render", song, "-o", tmp_path / "out.wav", "--sound", font)
    assert ran.code == 0, ran.err
    assert (tmp_path / "out.wav").stat().st_size > 100_000
    if said is None:
        assert not re.search(r"the sound (plays|is silent|clicks|can't|jumps)", ran.err)
    else:
        assert said in ran.err
