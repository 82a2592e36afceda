"""Reading what a sound font holds without loading its samples, and knowing a font again.

A sound font is a RIFF file of form ``sfbk`` with three lists: ``INFO`` (names), ``sdta`` (samples) and ``pdta``
(nine tables of small records: presets point to instruments, instruments to samples). Only chunk headers,
``INFO`` and ``pdta`` are read here, so a font of a gigabyte takes little longer than a small one. Every index is
checked, because a file that isn't a sound font must never reach the C library.

Source of names and record layouts: SoundFont Technical Specification 2.04, sections 4 to 9. A compressed
font (SF3) has the same tables; its samples are Ogg Vorbis, marked by bit 0x10 of the sample type.
"""

from __future__ import annotations

import functools
import itertools
import math
import stat
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from tercet.caches import Cache
from tercet.errors import SoundFontError
from tercet.files import sha256_of

__all__ = [
    "ATTENUATION",
    "FontHeader",
    "Preset",
    "SoundFont",
    "Zone",
    "fingerprint",
    "read_header",
    "read_zones",
    "timecents_of_seconds",
]

RECORDS: dict[bytes, struct.Struct] = {
    b"phdr": struct.Struct("<20sHHHIII"),
    b"pbag": struct.Struct("<HH"),
    b"pmod": struct.Struct("<HHhHH"),
    b"pgen": struct.Struct("<HH"),
    b"inst": struct.Struct("<20sH"),
    b"ibag": struct.Struct("<HH"),
    b"imod": struct.Struct("<HHhHH"),
    b"igen": struct.Struct("<HH"),
    b"shdr": struct.Struct("<20sIIIIIBbHH"),
}
"""The nine tables and one record of each (specification, section 7)."""

POINTERS: tuple[tuple[bytes, int, bytes], ...] = (
    (b"phdr", 3, b"pbag"),
    (b"pbag", 0, b"pgen"),
    (b"pbag", 1, b"pmod"),
    (b"inst", 1, b"ibag"),
    (b"ibag", 0, b"igen"),
    (b"ibag", 1, b"imod"),
)
"""Which field of which table counts through which other; it begins at 0, never falls and ends within it."""

RELEASE, INSTRUMENT, KEY_RANGE, VELOCITY_RANGE, ATTENUATION, SAMPLE = 38, 41, 43, 44, 48, 53
"""Generators used here (section 8.1.2); an instrument or a sample ends its zone's list."""

SHORTEST_RELEASE_TIMECENTS = -12_000
"""What a font means when it says nothing about release: about 1 ms (section 8.1.3)."""

FULL_RANGE = 127 << 8
"""A range from 0 to 127 as a generator's value: the highest in the upper byte, the lowest in the lower."""

COMPRESSED_BIT, ROM_BIT = 0x10, 0x8000
"""Bits of a sample's type: Ogg Vorbis inside (SF3); in a ROM that nobody has."""

LARGEST_LIST_BYTES = 256 << 20
"""Names and tables larger than this belong to no real font and are refused unread."""


@dataclass(frozen=True, slots=True)
class SoundFont:
    """A sound: a font's file, and a preset in it by its bank (0 to 128) and program (0 to 127)."""

    path: Path
    bank: int
    program: int


@dataclass(frozen=True, slots=True)
class Preset:
    """One sound that a font offers; bank 128 holds drums."""

    bank: int
    program: int
    name: str


@dataclass(frozen=True, slots=True)
class FontHeader:
    """What a font says about itself.

    Parameters
    ----------
    path, size_bytes
        The file.
    name, rights
        As its ``INFO`` list gives them; without a name, the file's name without ending.
    version
        Of the format: ``"2.1"``, ``"3.0"``.
    compressed
        Whether any sample is Ogg Vorbis (SF3).
    presets
        In order of bank and program.
    """

    path: Path
    size_bytes: int
    name: str
    rights: str
    version: str
    compressed: bool
    presets: tuple[Preset, ...]

    def preset(self, bank: int, program: int) -> Preset | None:
        """Return the preset in this place, or None."""
        return next((p for p in self.presets if (p.bank, p.program) == (bank, program)), None)


@dataclass(frozen=True, slots=True)
class Zone:
    """One sample of a preset: where it sounds, and how long it takes to die away when a note ends.

    Parameters
    ----------
    lowest_key, highest_key, lowest_velocity, highest_velocity
        Both ends included, 0 to 127.
    release_timecents
        Time to fall by 96 dB, in 1200·log2(seconds).
    """

    lowest_key: int
    highest_key: int
    lowest_velocity: int
    highest_velocity: int
    release_timecents: int


@dataclass(frozen=True, slots=True)
class _FileVersion:
    """A file as it stands now; what was read of it holds while size and date stay the same."""

    path: Path
    size_bytes: int
    modified_ns: int
    regular: bool


@dataclass(frozen=True, slots=True)
class _Contents:
    """A font without its samples: names, tables still packed, and how many sample bytes there are."""

    path: Path
    size_bytes: int
    info: dict[bytes, bytes]
    tables: dict[bytes, bytes]
    sample_bytes: int

    def records(self, table: bytes, first: int = 0, end: int | None = None) -> list[tuple[Any, ...]]:
        """Return records `first` to `end` (not included) of a table."""
        size = RECORDS[table].size
        raw = self.tables[table]
        stop = len(raw) if end is None else end * size
        return list(RECORDS[table].iter_unpack(raw[first * size : stop]))

    def count(self, table: bytes) -> int:
        """Return how many records a table has, the closing one included."""
        return len(self.tables[table]) // RECORDS[table].size


def timecents_of_seconds(seconds: float) -> float:
    """Return 1200·log2(seconds), the unit in which fonts write times (specification, section 8.1.3)."""
    return 1200.0 * math.log2(seconds)


def fingerprint(path: Path) -> str:
    """Return the SHA-256 of a font's bytes in hexadecimal, remembered while its size and date stay the same.

    Raises
    ------
    SoundFontError
        The file can't be read.
    """
    try:
        return _fingerprint(_version_of(path))
    except OSError as error:
        raise _unreadable(path, error) from error


def read_header(path: Path) -> FontHeader:
    """Read a font's names and presets, and check that its tables hold together.

    Raises
    ------
    SoundFontError
        The file can't be read, is no sound font, is cut off or damaged; the message says which and where.
    """
    contents = _contents(path)
    presets = (
        Preset(bank, program, _text(name)) for name, program, bank, *_ in contents.records(b"phdr")[:-1]
    )
    major, minor = struct.unpack_from("<HH", contents.info[b"ifil"])
    return FontHeader(
        path=path,
        size_bytes=contents.size_bytes,
        name=_text(contents.info.get(b"INAM", b"")) or path.stem,
        rights=_text(contents.info.get(b"ICOP", b"")),
        version=f"{major}.{minor}",
        compressed=any(record[-1] & COMPRESSED_BIT for record in contents.records(b"shdr")[:-1]),
        presets=tuple(sorted(presets, key=lambda preset: (preset.bank, preset.program))),
    )


def read_zones(path: Path, bank: int, program: int) -> tuple[Zone, ...]:
    """Return the zones of one preset in the order of the file.

    Preset generators add to those of the instrument; a global zone, the first of its list and without an end,
    gives what the other zones leave out (specification, sections 9.4 and 9.5).

    Raises
    ------
    SoundFontError
        As `read_header`; or the font lacks the preset, or the preset's samples.
    """
    contents = _contents(path)
    for index, record in enumerate(contents.records(b"phdr")[:-1]):
        if (record[2], record[1]) == (bank, program):
            zones = tuple(_preset_zones(contents, index))
            if not zones:
                raise _damaged(path, f"the preset in bank {bank}, program {program} holds no sample")
            return zones
    raise SoundFontError(
        f"{path}: the font has no preset in bank {bank}, program {program}. "
        "Choose another font, or a preset that it has."
    )


@functools.lru_cache(maxsize=64)
def _fingerprint(version: _FileVersion) -> str:
    """Return the hash of a font; kept, since a large one takes a third of a second to read and seldom changes."""
    cache = Cache.of_user("fonts")
    key = f"{version.path.resolve()}\n{version.size_bytes}\n{version.modified_ns}"
    kept = cache.get(key)
    if kept is not None:
        return kept.decode("ascii")
    found = sha256_of(version.path)
    cache.keep(key, found.encode("ascii"))
    return found


def _version_of(path: Path) -> _FileVersion:
    facts = path.stat()
    return _FileVersion(path, facts.st_size, facts.st_mtime_ns, stat.S_ISREG(facts.st_mode))


def _contents(path: Path) -> _Contents:
    try:
        return _read(_version_of(path))
    except OSError as error:
        raise _unreadable(path, error) from error


@functools.lru_cache(maxsize=8)
def _read(version: _FileVersion) -> _Contents:
    path, size_bytes = version.path, version.size_bytes
    if not version.regular:
        raise SoundFontError(
            f"{path}: this is a folder or a device, not a sound font. Choose an .sf2 or .sf3 file."
        )
    with path.open("rb") as file:
        start = file.read(12)
        if len(start) < 12 or start[:4] != b"RIFF" or start[8:] != b"sfbk":
            raise SoundFontError(
                f"{path}: this is not a sound font (it doesn't begin as an .sf2 or .sf3 file does). "
                "Choose a file in one of these two formats."
            )
        needed_bytes = struct.unpack_from("<I", start, 4)[0] + 8
        if needed_bytes > size_bytes:
            raise _damaged(path, f"it is cut off: {needed_bytes} bytes are needed, {size_bytes} are there")
        if needed_bytes < size_bytes:
            raise _damaged(path, f"{size_bytes - needed_bytes} bytes follow after its end")
        lists = _lists(path, file, size_bytes)
        info = dict(_chunks(path, *_list_bytes(path, file, lists, b"INFO")))
        tables = dict(_chunks(path, *_list_bytes(path, file, lists, b"pdta")))
        sample_bytes = _sample_bytes(path, file, *lists[b"sdta"]) if b"sdta" in lists else 0
    contents = _Contents(path, size_bytes, info, tables, sample_bytes)
    _check(contents)
    return contents


def _lists(path: Path, file: BinaryIO, size_bytes: int) -> dict[bytes, tuple[int, int]]:
    """Return the place and length of the contents of each LIST, by its name."""
    found: dict[bytes, tuple[int, int]] = {}
    place = 12
    while place + 12 <= size_bytes:
        file.seek(place)
        tag, length, name = struct.unpack("<4sI4s", file.read(12))
        if tag != b"LIST":
            break
        if place + 8 + length > size_bytes:
            raise _damaged(path, f"its list «{_text(name)}» runs over the end of the file")
        found.setdefault(name, (place + 12, length - 4))
        place += 8 + length + length % 2
    return found


def _sample_bytes(path: Path, file: BinaryIO, place: int, length: int) -> int:
    """Return how many bytes of samples the list at a place holds; 0 if it is empty."""
    if length < 8:
        return 0
    file.seek(place)
    name, inside = struct.unpack("<4sI", file.read(8))
    if name != b"smpl" or inside > length - 8:
        raise _damaged(path, f"its samples at byte {place} don't fit their list of {length} bytes")
    return int(inside)


def _list_bytes(
    path: Path, file: BinaryIO, lists: dict[bytes, tuple[int, int]], name: bytes
) -> tuple[bytes, int]:
    """Return the contents of one LIST and where they begin in the file."""
    if name not in lists:
        raise _damaged(path, f"its list «{name.decode()}» is missing")
    place, length = lists[name]
    if not 0 <= length <= LARGEST_LIST_BYTES:
        raise _damaged(path, f"its list «{name.decode()}» has an impossible length of {length} bytes")
    file.seek(place)
    return file.read(length), place


def _chunks(path: Path, raw: bytes, start: int) -> Iterator[tuple[bytes, bytes]]:
    """Yield name and contents of each chunk in a LIST."""
    place = 0
    while place + 8 <= len(raw):
        name, length = struct.unpack_from("<4sI", raw, place)
        if place + 8 + length > len(raw):
            shown = name.decode("ascii", "replace")
            raise _damaged(path, f"its part «{shown}» at byte {start + place} runs over the end of its list")
        yield name, raw[place + 8 : place + 8 + length]
        place += 8 + length + length % 2


def _check(contents: _Contents) -> None:
    """Refuse a font whose tables are missing, torn or point outside one another."""
    path = contents.path
    if len(contents.info.get(b"ifil", b"")) < 4:
        raise _damaged(path, "it doesn't tell the version of its format")
    version = struct.unpack_from("<H", contents.info[b"ifil"])[0]
    if version not in (2, 3):
        raise SoundFontError(f"{path}: sound fonts of version {version} can't be read, only 2 and 3.")
    for name, record in RECORDS.items():
        length = len(contents.tables.get(name, b""))
        if length == 0 or length % record.size:
            raise _damaged(path, f"its table «{name.decode()}» is missing or torn ({length} bytes)")
    for name, field, target in POINTERS:
        places = [record[field] for record in contents.records(name)]
        if places[0] != 0 or places != sorted(places) or places[-1] >= contents.count(target):
            raise _damaged(path, f"its table «{name.decode()}» points outside «{target.decode()}»")
    if contents.count(b"phdr") < 2:
        raise _damaged(path, "it holds no preset")


def _preset_zones(contents: _Contents, preset: int) -> Iterator[Zone]:
    """Yield the zones of the preset at an index of ``phdr``."""
    for outer in _generators(contents, b"phdr", 3, preset, b"pbag", b"pgen", INSTRUMENT):
        instrument = outer[INSTRUMENT]
        if instrument >= contents.count(b"inst") - 1:
            raise _damaged(contents.path, f"a preset asks for instrument {instrument}, which isn't there")
        for inner in _generators(contents, b"inst", 1, instrument, b"ibag", b"igen", SAMPLE):
            _check_sample(contents, inner[SAMPLE])
            zone = _zone(outer, inner)
            if zone.lowest_key <= zone.highest_key and zone.lowest_velocity <= zone.highest_velocity:
                yield zone


def _generators(
    contents: _Contents, owner: bytes, field: int, index: int, bags: bytes, generators: bytes, ending: int
) -> Iterator[dict[int, int]]:
    """Yield the generators of each zone that ends in `ending`, the global zone's filled in."""
    first, end = (record[field] for record in contents.records(owner, index, index + 2))
    places = [record[0] for record in contents.records(bags, first, end + 1)]
    common: dict[int, int] = {}
    for number, (start, stop) in enumerate(itertools.pairwise(places)):
        zone: dict[int, int] = dict(contents.records(generators, start, stop))
        if ending in zone:
            yield common | zone
        elif number == 0:
            common = zone


def _zone(outer: dict[int, int], inner: dict[int, int]) -> Zone:
    """Join a preset's zone with an instrument's: ranges are cut, times added."""
    keys = [generators.get(KEY_RANGE, FULL_RANGE) for generators in (outer, inner)]
    velocities = [generators.get(VELOCITY_RANGE, FULL_RANGE) for generators in (outer, inner)]
    own_release = _signed(inner[RELEASE]) if RELEASE in inner else SHORTEST_RELEASE_TIMECENTS
    return Zone(
        lowest_key=max(value & 0xFF for value in keys),
        highest_key=min(value >> 8 for value in keys),
        lowest_velocity=max(value & 0xFF for value in velocities),
        highest_velocity=min(value >> 8 for value in velocities),
        release_timecents=own_release + _signed(outer.get(RELEASE, 0)),
    )


def _check_sample(contents: _Contents, index: int) -> None:
    """Refuse a sample that isn't there or lies outside the file."""
    if index >= contents.count(b"shdr") - 1:
        raise _damaged(contents.path, f"an instrument asks for sample {index}, which isn't there")
    name, start, end, *_, kind = contents.records(b"shdr", index, index + 1)[0]
    unit_bytes = 1 if kind & COMPRESSED_BIT else 2
    if kind & ROM_BIT or start >= end or end * unit_bytes > contents.sample_bytes:
        raise _damaged(contents.path, f"the sample «{_text(name)}» lies outside the file")


def _signed(value: int) -> int:
    """Return a generator's 16 bits as a signed number."""
    return value - 0x10000 if value & 0x8000 else value


def _text(raw: bytes) -> str:
    """Return a name up to its first zero byte, without control characters."""
    text = raw.split(b"\0", 1)[0].decode("utf-8", "replace")
    return "".join(c for c in text if c.isprintable()).strip()


def _damaged(path: Path, what: str) -> SoundFontError:
    return SoundFontError(
        f"{path}: the sound font is damaged: {what}. Download the file again, or choose another."
    )


def _unreadable(path: Path, error: OSError) -> SoundFontError:
    return SoundFontError(f"{path}: the sound font can't be read: {error.strerror or error}.")
