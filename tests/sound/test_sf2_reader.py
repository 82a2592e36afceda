from __future__ import annotations

import contextlib
import hashlib
import os
import random
import struct
from collections.abc import Callable
from pathlib import Path

import pytest

from tercet.errors import SoundFontError
from tercet.sound.sf2_reader import (
    RECORDS,
    Preset,
    Zone,
    fingerprint,
    read_header,
    read_zones,
    timecents_of_seconds,
)
from tests.sound.made_fonts import NYLON, UKULELE, MadeZone, chunk, made_font, pluck, save_font


def test_the_header_tells_names_version_and_presets_in_order(tmp_path: Path) -> None:
    path = save_font(tmp_path / "a.sf2", presets=[(128, 0, "Drums"), UKULELE, NYLON], name="Föhn ♪")
    header = read_header(path)
    assert (header.name, header.version, header.compressed) == ("Föhn ♪", "2.1", False)
    assert header.size_bytes == path.stat().st_size
    assert header.presets == (
        Preset(0, 24, "Test Nylon"),
        Preset(8, 24, "Test Ukulele"),
        Preset(128, 0, "Drums"),
    )
    assert header.preset(8, 24) == Preset(8, 24, "Test Ukulele")
    assert header.preset(8, 25) is None


def test_a_compressed_font_is_recognised(tmp_path: Path) -> None:
    header = read_header(save_font(tmp_path / "a.sf3", compressed=True))
    assert (header.version, header.compressed) == ("3.0", True)
    assert len(read_zones(tmp_path / "a.sf3", 8, 24)) == 1


def test_a_font_without_a_name_is_called_by_its_file_and_names_hold_no_control_characters(
    tmp_path: Path,
) -> None:
    assert read_header(save_font(tmp_path / "plain.sf2", name="")).name == "plain"
    assert read_header(save_font(tmp_path / "odd.sf2", name="a\x1b[31mb\r\n")).name == "a[31mb"


def test_zones_are_cut_and_their_times_added(tmp_path: Path) -> None:
    zones = [
        MadeZone(0, 60, release_timecents=None),
        MadeZone(61, 127, velocities=(64, 127), release_timecents=1000),
    ]
    path = save_font(tmp_path / "a.sf2", zones=zones, preset_release_timecents=-200)
    assert read_zones(path, 8, 24) == (Zone(0, 60, 0, 127, -12_200), Zone(61, 127, 64, 127, 800))
    plain = save_font(tmp_path / "b.sf2", zones=zones)
    assert [zone.release_timecents for zone in read_zones(plain, 0, 24)] == [-12_000, 1000]


def test_a_global_zone_gives_what_the_others_leave_out(tmp_path: Path) -> None:
    made = made_font(
        zones=[MadeZone(0, 60, release_timecents=-500), MadeZone(61, 127, release_timecents=None)]
    )
    # The first zone loses its sample by counting one generator less, and so becomes the global one.
    place = made.index(b"igen") + 8
    rows = [struct.unpack_from("<HH", made, place + 4 * k) for k in range(4)]
    assert [row[0] for row in rows] == [43, 38, 58, 53]
    path = tmp_path / "a.sf2"
    path.write_bytes(made[: place + 12] + struct.pack("<HH", 51, 0) + made[place + 16 :])
    assert read_zones(path, 8, 24) == (Zone(61, 127, 0, 127, -500),)


def test_times_are_written_as_twelve_hundredths_of_an_octave() -> None:
    assert timecents_of_seconds(1.0) == 0
    assert timecents_of_seconds(0.5) == -1200
    assert timecents_of_seconds(0.075) == pytest.approx(-4484, abs=1)


def test_a_preset_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(SoundFontError, match=r"a\.sf2: the font has no preset in bank 0, program 25"):
        read_zones(save_font(tmp_path / "a.sf2"), 0, 25)


def test_the_fingerprint_is_the_sha_256_of_the_bytes_as_they_are_now(tmp_path: Path) -> None:
    path = save_font(tmp_path / "a.sf2")
    assert fingerprint(path) == hashlib.sha256(path.read_bytes()).hexdigest()
    before = fingerprint(path)
    path.write_bytes(made_font(name="Other"))
    os.utime(path, ns=(1, 1))
    assert fingerprint(path) == hashlib.sha256(path.read_bytes()).hexdigest() != before
    with pytest.raises(SoundFontError, match=r"nowhere\.sf2: the sound font can't be read: No such file"):
        fingerprint(tmp_path / "nowhere.sf2")


def test_a_font_that_changes_is_read_again(tmp_path: Path) -> None:
    path = save_font(tmp_path / "a.sf2")
    assert read_header(path).name == "Made Font"
    save_font(path, name="Other Font")
    assert read_header(path).name == "Other Font"


def patched(old: bytes, new: bytes) -> Callable[[bytes], bytes]:
    """Return a change of the last place where `old` stands, to bytes of the same length."""

    def change(font: bytes) -> bytes:
        place = font.rindex(old)
        return font[:place] + new + font[place + len(new) :]

    return change


def without_table(name: bytes) -> Callable[[bytes], bytes]:
    return patched(name, b"xxxx")


def row(table: bytes, index: int, field_bytes: int, value: bytes) -> Callable[[bytes], bytes]:
    """Return a change of one field of one record of a table."""

    def change(font: bytes) -> bytes:
        place = font.rindex(table) + 8 + index * RECORDS[table].size + field_bytes
        return font[:place] + value + font[place + len(value) :]

    return change


DAMAGES: list[tuple[str, Callable[[bytes], bytes], str]] = [
    ("empty", lambda _font: b"", "this is not a sound font"),
    ("text", lambda _font: b"title: Harbour Lanterns\n" * 50, "this is not a sound font"),
    ("a WAV file", lambda font: font.replace(b"sfbk", b"WAVE", 1), "this is not a sound font"),
    ("a DLS file", lambda font: font.replace(b"sfbk", b"DLS ", 1), "this is not a sound font"),
    ("half", lambda font: font[: len(font) // 2], r"cut off: \d+ bytes are needed, \d+ are there"),
    ("a byte short", lambda font: font[:-1], "cut off"),
    ("more after its end", lambda font: font + b"more", "4 bytes follow after its end"),
    ("nothing inside", lambda _font: chunk(b"RIFF", b"sfbk"), "its list «INFO» is missing"),
    ("no tables", patched(b"pdta", b"pdtx"), "its list «pdta» is missing"),
    ("not a list", patched(b"LIST", b"TSIL"), "its list «pdta» is missing"),
    (
        "a list too long",
        patched(struct.pack("<4s", b"LIST"), b"LIST\xff\xff\xff\x7f"),
        "runs over the end of the file",
    ),
    ("an empty list", lambda _font: chunk(b"RIFF", b"sfbkLIST\0\0\0\0INFO"), "impossible length of -4 bytes"),
    (
        "a part too long",
        patched(b"igen", b"igen\xff\xff\x00\x00"),
        "its part «igen» at byte .* runs over the end",
    ),
    ("no version", patched(b"ifil", b"lifi"), "doesn't tell the version"),
    (
        "version 1",
        patched(b"ifil\x04\0\0\0\x02", b"ifil\x04\0\0\0\x01"),
        "version 1 can't be read, only 2 and 3",
    ),
    ("no preset table", without_table(b"phdr"), "its table «phdr» is missing or torn"),
    ("no sample table", without_table(b"shdr"), "its table «shdr» is missing or torn"),
    ("preset before its zones", row(b"phdr", 1, 24, b"\x09\0"), "its table «phdr» points outside «pbag»"),
    ("preset zone not at 0", row(b"phdr", 0, 24, b"\x01\0"), "its table «phdr» points outside «pbag»"),
    ("zone outside", row(b"ibag", 1, 0, b"\xff\xff"), "its table «ibag» points outside «igen»"),
    ("modulator outside", row(b"pbag", 1, 2, b"\xff\xff"), "its table «pbag» points outside «pmod»"),
]


@pytest.mark.parametrize(
    ("change", "message"), [damage[1:] for damage in DAMAGES], ids=[each[0] for each in DAMAGES]
)
def test_a_damaged_or_foreign_file_is_refused_with_its_reason(
    tmp_path: Path, change: Callable[[bytes], bytes], message: str
) -> None:
    path = tmp_path / "damaged.sf2"
    path.write_bytes(change(made_font()))
    with pytest.raises(SoundFontError, match=message) as caught:
        read_header(path)
    assert str(caught.value).startswith(f"{path}: ")


ZONE_DAMAGES: list[tuple[Callable[[bytes], bytes], str]] = [
    (row(b"pgen", 0, 2, b"\x05\0"), "asks for instrument 5, which isn't there"),
    (row(b"igen", 3, 2, b"\x07\0"), "asks for sample 7, which isn't there"),
    (row(b"shdr", 0, 24, b"\xff\xff\xff\x00"), "the sample «Pluck» lies outside the file"),
    (row(b"shdr", 0, 20, b"\xff\xff\xff\x00"), "the sample «Pluck» lies outside the file"),
    (row(b"shdr", 0, 44, b"\x01\x80"), "the sample «Pluck» lies outside the file"),
    (row(b"igen", 3, 0, b"\x33\0"), "program 24 holds no sample"),
    (row(b"igen", 0, 2, b"\x50\x40"), "program 24 holds no sample"),
]


@pytest.mark.parametrize(("change", "message"), ZONE_DAMAGES)
def test_a_preset_whose_samples_are_not_there_is_refused(
    tmp_path: Path, change: Callable[[bytes], bytes], message: str
) -> None:
    path = tmp_path / "damaged.sf2"
    path.write_bytes(change(made_font()))
    with pytest.raises(SoundFontError, match=message):
        read_zones(path, 0, 24)


def test_folders_and_missing_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SoundFontError, match="this is a folder or a device"):
        read_header(tmp_path)
    with pytest.raises(SoundFontError, match="can't be read: No such file"):
        read_header(tmp_path / "none.sf2")


def test_a_font_with_every_preset_taken_out_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.sf2"
    font = made_font(presets=[NYLON])
    place = font.rindex(b"phdr")
    closing = font[place + 8 + 38 : place + 8 + 76]
    closing = closing[:24] + b"\0\0" + closing[26:]
    tables = font[font.rindex(b"pdta") + 4 :].replace(font[place : place + 8 + 76], chunk(b"phdr", closing))
    head = font[12 : font.rindex(b"LIST")]
    path.write_bytes(chunk(b"RIFF", b"sfbk" + head + chunk(b"LIST", b"pdta" + tables)))
    with pytest.raises(SoundFontError, match="it holds no preset"):
        read_header(path)


def test_a_huge_list_is_refused_unread(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.sound.sf2_reader.LARGEST_LIST_BYTES", 100)
    with pytest.raises(SoundFontError, match="its list «pdta» has an impossible length"):
        read_header(save_font(tmp_path / "a.sf2"))


def test_whatever_byte_is_wrong_the_font_is_read_or_refused(tmp_path: Path) -> None:
    chance = random.Random(3)  # noqa: S311 - damage, no secret
    fonts = [made_font(sample=pluck(0.02)), made_font(sample=pluck(0.02), compressed=True)]
    path, read = tmp_path / "a.sf2", 0
    for _ in range(1500):
        font = bytearray(chance.choice(fonts))
        start = font.rindex(b"LIST") if chance.random() < 0.7 else 0
        for _ in range(chance.choice((1, 2, 4))):
            font[chance.randrange(start, len(font))] = chance.choice(
                (0, 1, 127, 128, 255, chance.randrange(256))
            )
        path.write_bytes(font[: chance.randrange(len(font))] if chance.random() < 0.1 else font)
        # Anything raised but a SoundFontError ends the test.
        with contextlib.suppress(SoundFontError):
            header = read_header(path)
            for preset in header.presets:
                read_zones(path, preset.bank, preset.program)
            read += 1
    assert 200 < read < 1400
