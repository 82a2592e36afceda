"""Who plays a sound: the sampler plays the built-in ukulele, FluidSynth every sound font."""

from __future__ import annotations

from tercet.sound.fluid import FluidSynthesiser
from tercet.sound.sampler import BuiltInUkulele, UkuleleSampler
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.stems import Synthesiser

__all__ = ["PlayedSound", "player_of"]

PlayedSound = BuiltInUkulele | SoundFont
"""What a song is played with."""


def player_of(sound: PlayedSound) -> Synthesiser:
    """Return the synthesiser that plays a sound; nothing is read or loaded before it plays."""
    return UkuleleSampler() if isinstance(sound, BuiltInUkulele) else FluidSynthesiser(sound)
