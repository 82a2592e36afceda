"""Who plays a sound: the sampler plays the built-in ukulele, FluidSynth every sound font."""

from __future__ import annotations

from tercet.sound.sampler import BuiltInUkulele, UkuleleSampler
from tercet.sound.sf2_reader import SoundFont
from tercet.sound.stems import Synthesiser

__all__ = ["PlayedSound", "player_of"]

PlayedSound = BuiltInUkulele | SoundFont
"""What a song is played with."""


def player_of(sound: PlayedSound) -> Synthesiser:
    """Return the synthesiser that plays a sound; nothing is read or loaded before it plays."""
    if isinstance(sound, BuiltInUkulele):
        return UkuleleSampler()
    from tercet.sound.fluid import FluidSynthesiser  # what binds to a library is loaded for sound fonts alone

    return FluidSynthesiser(sound)
