"""Sound: from a take to stems, the audio of each layer."""

from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.stems import STEM_NAMES, Audio, Progress, StemName, Stems, Synthesiser

__all__ = ["SAMPLE_RATE_HZ", "STEM_NAMES", "Audio", "Progress", "StemName", "Stems", "Synthesiser"]
