"""Writing a sound font: samples, instruments and presets to the bytes of a standard SF2 file.

Source of layouts and rules: SoundFont Technical Specification 2.04. A RIFF file of form ``sfbk`` holds three lists:
``INFO`` (section 5), ``sdta`` with all samples, 46 zero frames after each (6.1), and ``pdta`` with nine tables, each
with a closing record (7). In a zone the key range comes first, the velocity range next, the instrument or sample last
(8.1.2).
Nothing of the file depends on when or where it is written.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.errors import ParameterError
from tercet.sound.sf2_reader import INSTRUMENT, KEY_RANGE, RECORDS, SAMPLE, VELOCITY_RANGE

__all__ = [
    "FontFile",
    "FontInstrument",
    "FontPreset",
    "FontSample",
    "FontZone",
    "Modulator",
    "font_bytes",
]

GUARD_FRAMES = 46
"""Zero frames after each sample, so that a player's interpolation never reads its neighbour (section 6.1)."""

LOOP_MARGIN_FRAMES = 8
"""A loop's ends stay this far from a sample's, as the specification asks even where nothing loops (7.10)."""

MONO = 1
"""Sample type: one channel (7.10)."""

LONGEST_NAME = 19
"""Names have 20 bytes, the last of them zero."""

LARGEST_FILE_BYTES = (1 << 32) - 1
"""A RIFF chunk says its length in 32 bits."""


@dataclass(frozen=True, slots=True)
class FontSample:
    """A recording: int16 (frames,), at least 32, which sounds the key `root_key` when played at its rate."""

    name: str
    frames: NDArray[np.int16]
    rate_hz: int
    root_key: int


@dataclass(frozen=True, slots=True)
class Modulator:
    """What moves a generator (section 7.4): source, destination, amount, what scales the amount, transform."""

    source: int
    destination: int
    amount: int
    amount_source: int = 0
    transform: int = 0


@dataclass(frozen=True, slots=True)
class FontZone:
    """Where something sounds, and how.

    Parameters
    ----------
    plays
        Index of the sample (in an instrument) or instrument (in a preset); None for a global zone, which comes first.
    keys, velocities
        Lowest and highest, both included; None for all.
    generators
        Pairs of generator and value (section 8.1.2), ranges and the last one left out.
    modulators
        Own modulators.
    """

    plays: int | None
    keys: tuple[int, int] | None = None
    velocities: tuple[int, int] | None = None
    generators: tuple[tuple[int, int], ...] = ()
    modulators: tuple[Modulator, ...] = ()


@dataclass(frozen=True, slots=True)
class FontInstrument:
    """An instrument: zones that play samples."""

    name: str
    zones: tuple[FontZone, ...]


@dataclass(frozen=True, slots=True)
class FontPreset:
    """A preset: zones that play instruments, at a bank (128 is drums) and a program."""

    name: str
    bank: int
    program: int
    zones: tuple[FontZone, ...]


@dataclass(frozen=True, slots=True)
class FontFile:
    """A whole font. `info` holds further entries of the ``INFO`` list by their four letters, such as ``ICOP``."""

    name: str
    info: dict[str, str]
    samples: tuple[FontSample, ...]
    instruments: tuple[FontInstrument, ...]
    presets: tuple[FontPreset, ...]


def font_bytes(font: FontFile) -> bytes:
    """Return a font as the bytes of an SF2 file of version 2.04; presets are sorted by bank and program.

    Raises
    ------
    ParameterError
        A name is too long, a zone plays what isn't there, a sample is too short, or all is too large.
    """
    _check(font)
    info = [_chunk(b"ifil", struct.pack("<HH", 2, 4)), _chunk(b"isng", _text("EMU8000"))]
    info += [
        _chunk(key.encode("ascii"), _text(value)) for key, value in {"INAM": font.name, **font.info}.items()
    ]
    headers, data = _samples(font.samples)
    presets = sorted(font.presets, key=lambda preset: (preset.bank, preset.program))
    preset_tables = _zone_tables([preset.zones for preset in presets], INSTRUMENT, b"p")
    instrument_tables = _zone_tables([one.zones for one in font.instruments], SAMPLE, b"i")
    tables = {
        b"phdr": _preset_headers(presets),
        **preset_tables,
        b"inst": _instrument_headers(font.instruments),
        **instrument_tables,
        b"shdr": headers,
    }
    lists = (
        _chunk(b"LIST", b"INFO" + b"".join(info)),
        _chunk(b"LIST", b"sdta" + _chunk(b"smpl", data)),
        _chunk(b"LIST", b"pdta" + b"".join(_chunk(name, rows) for name, rows in tables.items())),
    )
    length = 4 + sum(map(len, lists))
    if length > LARGEST_FILE_BYTES:
        raise ParameterError(f"a sound font must have less than 4 GB (got {length} bytes)")
    return b"".join((b"RIFF", struct.pack("<I", length), b"sfbk", *lists))


def _check(font: FontFile) -> None:
    """Refuse what can't be written."""
    names = [sample.name for sample in font.samples]
    names += [instrument.name for instrument in font.instruments]
    names += [preset.name for preset in font.presets]
    for name in names:
        if not 0 < len(name.encode("ascii", "replace")) <= LONGEST_NAME or not name.isascii():
            raise ParameterError(f"a name must have 1 to {LONGEST_NAME} plain letters (got {name!r})")
    for sample in font.samples:
        if len(sample.frames) < 4 * LOOP_MARGIN_FRAMES or sample.frames.dtype.name != "int16":
            raise ParameterError(
                f"a sample must be int16 of at least {4 * LOOP_MARGIN_FRAMES} frames "
                f"(got {len(sample.frames)} of {sample.frames.dtype} in {sample.name})"
            )
    owned = [(preset.name, preset.zones, len(font.instruments)) for preset in font.presets]
    owned += [(instrument.name, instrument.zones, len(font.samples)) for instrument in font.instruments]
    for name, zones, count in owned:
        for number, zone in enumerate(zones):
            if (zone.plays is None and number > 0) or (zone.plays is not None and zone.plays >= count):
                raise ParameterError(
                    f"a zone must play one of {count}, or be global and first (got {zone.plays} as zone {number} "
                    f"of {name})"
                )


def _samples(samples: Sequence[FontSample]) -> tuple[bytes, bytes]:
    """Return the table of samples and their data."""
    rows, parts, place = [], [], 0
    for sample in samples:
        end = place + len(sample.frames)
        rows.append(
            RECORDS[b"shdr"].pack(
                sample.name.encode(), place, end, place + LOOP_MARGIN_FRAMES, end - LOOP_MARGIN_FRAMES,
                sample.rate_hz, sample.root_key, 0, 0, MONO,
            )
        )  # fmt: skip
        parts += [sample.frames.astype("<i2").tobytes(), bytes(2 * GUARD_FRAMES)]
        place = end + GUARD_FRAMES
    rows.append(RECORDS[b"shdr"].pack(b"EOS", 0, 0, 0, 0, 0, 0, 0, 0, 0))
    return b"".join(rows), b"".join(parts)


def _preset_headers(presets: Sequence[FontPreset]) -> bytes:
    """Return the table of presets; each points to its first zone."""
    rows, bag = [], 0
    for preset in presets:
        rows.append(RECORDS[b"phdr"].pack(preset.name.encode(), preset.program, preset.bank, bag, 0, 0, 0))
        bag += len(preset.zones)
    return b"".join(rows) + RECORDS[b"phdr"].pack(b"EOP", 0, 0, bag, 0, 0, 0)


def _instrument_headers(instruments: Sequence[FontInstrument]) -> bytes:
    """Return the table of instruments; each points to its first zone."""
    rows, bag = [], 0
    for instrument in instruments:
        rows.append(RECORDS[b"inst"].pack(instrument.name.encode(), bag))
        bag += len(instrument.zones)
    return b"".join(rows) + RECORDS[b"inst"].pack(b"EOI", bag)


def _zone_tables(owners: Sequence[Sequence[FontZone]], ending: int, letter: bytes) -> dict[bytes, bytes]:
    """Return the tables of zones, modulators and generators of all presets (``p``) or instruments (``i``)."""
    bags: list[tuple[int, ...]] = []
    modulators: list[tuple[int, ...]] = []
    generators: list[tuple[int, ...]] = []
    for zone in (zone for zones in owners for zone in zones):
        bags.append((len(generators), len(modulators)))
        for range_generator, bounds in ((KEY_RANGE, zone.keys), (VELOCITY_RANGE, zone.velocities)):
            if bounds is not None:
                generators.append((range_generator, bounds[0] | bounds[1] << 8))
        generators += [(number, value & 0xFFFF) for number, value in zone.generators]
        if zone.plays is not None:
            generators.append((ending, zone.plays))
        modulators += [
            (one.source, one.destination, one.amount, one.amount_source, one.transform)
            for one in zone.modulators
        ]
    bags.append((len(generators), len(modulators)))
    rows: dict[bytes, list[tuple[int, ...]]] = {
        b"bag": bags,
        b"mod": [*modulators, (0, 0, 0, 0, 0)],
        b"gen": [*generators, (0, 0)],
    }
    return {
        letter + name: b"".join(RECORDS[letter + name].pack(*record) for record in records)
        for name, records in rows.items()
    }


def _text(text: str) -> bytes:
    """Return a text of the ``INFO`` list: ended by one or two zero bytes, of even length (section 5)."""
    raw = text.encode("ascii", "replace") + b"\0"
    return raw + b"\0" * (len(raw) % 2)


def _chunk(name: bytes, contents: bytes) -> bytes:
    """Return a RIFF chunk, padded to an even length."""
    return b"".join((name, struct.pack("<I", len(contents)), contents, b"\0" * (len(contents) % 2)))
