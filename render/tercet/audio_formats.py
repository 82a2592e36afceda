"""The kinds of audio file that Tercet writes: what a class file may ask for, and how each is encoded.

**Growth of the true peak** in lossy files, measured on plucked strings (modelled, and a sampled guitar with chops; 14
pieces of 30 to 40 s, −2 dBTP before): MP3 at 128 kbit/s −2.5 to −0.1 dB, Vorbis −0.9 to +0.1 dB, Opus −0.9 to +0.6 dB.
`TrackFormat.growth_db` allows for it.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FORMATS", "TrackFormat", "format_names"]


@dataclass(frozen=True, slots=True)
class TrackFormat:
    """One kind of track file.

    Parameters
    ----------
    ending
        Ending of the file's name, with its dot, in small letters.
    description
        For people.
    container, coding
        libsndfile's names; the coding of a lossless file depends on the bits and is empty here.
    lossy
        Whether what is read back differs from what was written.
    ceiling_dbtp
        Highest true peak that the file may have when it is played.
    growth_db
        How much encoding may raise the true peak; see the module's text.
    options
        Further settings of libsndfile, by name.
    """

    ending: str
    description: str
    container: str
    coding: str
    lossy: bool
    ceiling_dbtp: float
    growth_db: float = 0.0
    options: tuple[tuple[str, str | float], ...] = ()

    @property
    def encode_ceiling_dbtp(self) -> float:
        """Highest true peak before encoding, for the file to keep its ceiling when it is played."""
        return self.ceiling_dbtp - self.growth_db


_MP3_OPTIONS = (("bitrate_mode", "CONSTANT"), ("compression_level", 2 / 3))
"""128 kbit/s: libsndfile takes an MP3's bit rate as 320 − 288 × level kbit/s."""

_LOSSLESS_DBTP, _LOSSY_DBTP = -1.0, -2.0
"""EBU R 128 asks for −1 dBTP; the further decibel in a lossy file is room for players that resample it."""

_ROWS = (
    TrackFormat(".wav", "WAV", "WAV", "", False, _LOSSLESS_DBTP),
    TrackFormat(".flac", "FLAC", "FLAC", "", False, _LOSSLESS_DBTP),
    TrackFormat(".mp3", "MP3, 128 kbit/s", "MP3", "MPEG_LAYER_III", True, _LOSSY_DBTP, 0.2, _MP3_OPTIONS),
    TrackFormat(".ogg", "Ogg Vorbis, about 110 kbit/s", "OGG", "VORBIS", True, _LOSSY_DBTP, 0.3),
    TrackFormat(".opus", "Ogg Opus, about 120 kbit/s", "OGG", "OPUS", True, _LOSSY_DBTP, 0.8),
)

FORMATS: dict[str, TrackFormat] = {row.ending: row for row in _ROWS}
"""The kinds of track file by ending."""


def format_names() -> tuple[str, ...]:
    """Return the kinds as they are asked for: their endings without the dot."""
    return tuple(ending.removeprefix(".") for ending in FORMATS)
