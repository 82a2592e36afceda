"""Small sound fonts made for the tests, so that a search finds exactly what a test put there."""

from __future__ import annotations

import importlib.util
import io
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

RATE_HZ = 48_000
RELEASE, INSTRUMENT, KEY_RANGE, VELOCITY_RANGE, SAMPLE, ROOT_KEY = 38, 41, 43, 44, 53, 58
NO_VELOCITY = struct.pack("<HHhHH", 0x0502, 48, 0, 0, 0)
"""Velocity to attenuation, as SoundFont 2.04 has it by default (8.4.1), with an amount of nothing."""

UKULELE, NYLON = (8, 24, "Test Ukulele"), (0, 24, "Test Nylon")


@dataclass(frozen=True)
class MadeZone:
    """One sample over a range of keys, played at its own pitch at `root`."""

    low: int = 0
    high: int = 127
    root: int = 69
    release_timecents: int | None = -1200
    velocities: tuple[int, int] | None = None


def pluck(
    seconds: float = 1.2, hertz: float = 440.0, silent_s: float = 0.0, t60_s: float = 2.5
) -> NDArray[np.int16]:
    """Return a decaying tone with two partials, as a font's sample, after a moment of silence."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    tone = np.sin(2 * np.pi * hertz * time_s) + 0.3 * np.sin(2 * np.pi * 2 * hertz * time_s)
    tone *= 10 ** (-3 * time_s / t60_s) * np.minimum(time_s / 0.0005, 1.0)
    tone *= np.minimum((seconds - time_s) / 0.05, 1.0)
    return np.concatenate([np.zeros(round(silent_s * RATE_HZ)), 20_000 * tone]).astype(np.int16)


def chunk(name: bytes, contents: bytes) -> bytes:
    """Return a RIFF chunk, padded to an even length."""
    return name + struct.pack("<I", len(contents)) + contents + b"\0" * (len(contents) % 2)


def made_font(
    presets: Sequence[tuple[int, int, str]] = (UKULELE, NYLON),
    zones: Sequence[MadeZone] = (MadeZone(),),
    sample: NDArray[np.int16] | None = None,
    name: str = "Made Font",
    compressed: bool = False,
    rights: str = "",
    preset_release_timecents: int | None = None,
    feels_velocity: bool = True,
) -> bytes:
    """Return a whole sound font: every preset plays one instrument, whose zones share one sample.

    Without `feels_velocity` a modulator of each zone takes the place of the one by which a soft stroke is softer.
    """
    wave = pluck(0.3) if sample is None else sample
    data, kind = (_vorbis(wave), 0x11) if compressed else (wave.astype("<i2").tobytes() + bytes(92), 1)
    end = len(data) if compressed else len(wave)
    info = chunk(b"ifil", struct.pack("<HH", 3 if compressed else 2, 1 - compressed))
    info += chunk(b"isng", b"EMU8000\0") + chunk(b"INAM", name.encode() + b"\0")
    info += chunk(b"ICOP", rights.encode() + b"\0") if rights else b""
    headers = b"".join(
        struct.pack("<20sHHHIII", preset.encode(), program, bank, index, 0, 0, 0)
        for index, (bank, program, preset) in enumerate(sorted(presets))
    )
    outer = [] if preset_release_timecents is None else [(RELEASE, preset_release_timecents)]
    outer.append((INSTRUMENT, 0))
    inner = [_generators(zone) for zone in zones]
    tables = {
        b"phdr": headers + struct.pack("<20sHHHIII", b"EOP", 0, 0, len(presets), 0, 0, 0),
        b"pbag": _bags([outer] * len(presets)),
        b"pmod": bytes(10),
        b"pgen": _packed([outer] * len(presets)),
        b"inst": struct.pack("<20sH20sH", b"Strings", 0, b"EOI", len(zones)),
        b"ibag": _bags(inner, 0 if feels_velocity else 1),
        b"imod": NO_VELOCITY * (0 if feels_velocity else len(zones)) + bytes(10),
        b"igen": _packed(inner),
        b"shdr": struct.pack("<20sIIIIIBbHH", b"Pluck", 0, end, 8, 16, RATE_HZ, 69, 0, 0, kind)
        + struct.pack("<20sIIIIIBbHH", b"EOS", 0, 0, 0, 0, 0, 0, 0, 0, 0),
    }
    lists = chunk(b"LIST", b"INFO" + info) + chunk(b"LIST", b"sdta" + chunk(b"smpl", data))
    lists += chunk(b"LIST", b"pdta" + b"".join(chunk(table, rows) for table, rows in tables.items()))
    return chunk(b"RIFF", b"sfbk" + lists)


def packaged_font() -> Path:
    """Return the sampled font that is always there, in pretty_midi's package."""
    spec = importlib.util.find_spec("pretty_midi")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "TimGM6mb.sf2"


def save_font(path: Path, **made: object) -> Path:
    """Write a made font and return its path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(made_font(**made))  # type: ignore[arg-type]
    return path


def _generators(zone: MadeZone) -> list[tuple[int, int]]:
    found = [(KEY_RANGE, zone.low | zone.high << 8)]
    if zone.velocities:
        found.append((VELOCITY_RANGE, zone.velocities[0] | zone.velocities[1] << 8))
    if zone.release_timecents is not None:
        found.append((RELEASE, zone.release_timecents))
    return [*found, (ROOT_KEY, zone.root), (SAMPLE, 0)]


def _bags(zones: Sequence[list[tuple[int, int]]], modulators: int = 0) -> bytes:
    places = np.cumsum([0, *(len(zone) for zone in zones)])
    return b"".join(struct.pack("<HH", place, index * modulators) for index, place in enumerate(places))


def _packed(zones: Sequence[list[tuple[int, int]]]) -> bytes:
    rows = [row for zone in zones for row in zone] + [(0, 0)]
    return b"".join(struct.pack("<HH", operator, amount & 0xFFFF) for operator, amount in rows)


def _vorbis(wave: NDArray[np.int16]) -> bytes:
    file = io.BytesIO()
    with soundfile.SoundFile(file, "w", RATE_HZ, 1, format="OGG", subtype="VORBIS") as ogg:
        for start in range(0, len(wave), 32_768):  # long Vorbis writes overflow libsndfile's stack
            ogg.write(wave[start : start + 32_768])
    return file.getvalue()
