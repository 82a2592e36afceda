"""The sounds in which promises about levels are held: the font that is always there, Debian's, and the built-in one."""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import pytest

from tercet.sound.players import player_of
from tercet.sound.soundfont_choice import choose_sound
from tercet.sound.stems import Synthesiser
from tests.kits import FONT

__all__ = ["FONTS", "synthesiser"]

DEBIAN_FOLDER = Path("/usr/share/sounds/sf2")

FONTS: dict[str, str] = {
    "built-in": "built-in",
    "FluidR3_GM": str(DEBIAN_FOLDER / "FluidR3_GM.sf2"),
    "TimGM6mb": str(FONT),
}
"""By name what `--sound` takes. `make fonts` fetches the second; Debian's `timgm6mb-soundfont` is the third, two years
older."""


@cache
def synthesiser(name: str) -> Synthesiser:
    """Return a synthesiser of one of `FONTS`; a test whose font isn't here is skipped, which CI doesn't allow."""
    option = FONTS[name]
    if os.sep in option and not Path(option).exists():
        pytest.skip(f"{option} is missing: make fonts fetches it")
    return player_of(choose_sound(option, None, None, {}).sound)
