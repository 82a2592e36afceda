"""Sound: from a take to stems, the audio of each layer."""

from tercet.sound.protocol import SAMPLE_RATE_HZ, STEM_NAMES, StemName, Stems, Synthesiser

__all__ = ["SAMPLE_RATE_HZ", "STEM_NAMES", "StemName", "Stems", "Synthesiser"]
