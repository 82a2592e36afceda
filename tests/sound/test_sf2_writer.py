"""Sound fonts that we write, read back by us, by an independent reader and by FluidSynth."""

from __future__ import annotations

import dataclasses
import struct
import warnings
from pathlib import Path

import numpy as np
import pytest

from tercet.errors import ParameterError
from tercet.sound.library import load_library
from tercet.sound.sf2_reader import read_header, read_zones
from tercet.sound.sf2_writer import (
    FontFile,
    FontInstrument,
    FontPreset,
    FontSample,
    FontZone,
    Modulator,
    font_bytes,
)
from tests.measure.font_player import notes_alone
from tests.sound.made_fonts import pluck

with warnings.catch_warnings():
    # It reads RIFF with a module of Python's that is deprecated since 3.11 and gone since 3.13.
    warnings.simplefilter("ignore", DeprecationWarning)
    from sf2utils.sf2parse import Sf2File

TONE = FontSample("Tone", pluck(0.5), 48_000, 69)
OTHER = FontSample("Other", pluck(0.4, hertz=220.0), 48_000, 57)


def small_font() -> FontFile:
    upper = FontZone(0, (60, 127), (1, 100), ((38, -1200),), (Modulator(0x0502, 48, 480),))
    instrument = FontInstrument(
        "Both", (FontZone(None, generators=((38, 0),), modulators=(Modulator(0x0102, 48, 360),)), upper,
                 FontZone(1, (0, 59)))
    )  # fmt: skip
    presets = (
        FontPreset("Later", 8, 24, (FontZone(0),)),
        FontPreset("Drums", 128, 0, (FontZone(1),)),
        FontPreset("First", 0, 24, (FontZone(0, (0, 64)), FontZone(1, (65, 127)))),
    )
    instruments = (instrument, FontInstrument("Plain", (FontZone(1),)))
    return FontFile("Little", {"ICOP": "CC0", "ICMT": "odd"}, (TONE, OTHER), instruments, presets)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("fonts") / "little.sf2"
    path.write_bytes(font_bytes(small_font()))
    return path


def test_our_own_reader_finds_what_was_written(written: Path) -> None:
    header = read_header(written)
    assert (header.name, header.rights, header.version, header.compressed) == ("Little", "CC0", "2.4", False)
    assert [(preset.bank, preset.program, preset.name) for preset in header.presets] == [
        (0, 24, "First"),
        (8, 24, "Later"),
        (128, 0, "Drums"),
    ]
    zones = read_zones(written, 8, 24)
    assert [(zone.lowest_key, zone.highest_key) for zone in zones] == [(60, 127), (0, 59)]
    assert [(zone.lowest_velocity, zone.highest_velocity) for zone in zones] == [(1, 100), (0, 127)]
    assert [zone.release_timecents for zone in zones] == [-1200, 0]
    assert len(read_zones(written, 0, 24)) == 3


def test_an_independent_reader_finds_what_was_written(written: Path) -> None:
    with written.open("rb") as file:
        font = Sf2File(file)
        assert font.info.bank_name == "Little"
        presets = [preset for preset in font.presets if preset.name != "EOP"]
        assert [(preset.bank, preset.preset, preset.name) for preset in presets] == [
            (0, 24, "First"),
            (8, 24, "Later"),
            (128, 0, "Drums"),
        ]
        samples = [sample for sample in font.samples if sample.name != "EOS"]
        assert [(sample.name, sample.sample_rate, sample.original_pitch) for sample in samples] == [
            ("Tone", 48_000, 69),
            ("Other", 48_000, 57),
        ]
        assert [sample.duration for sample in samples] == [len(TONE.frames), len(OTHER.frames)]
        assert samples[0].raw_sample_data == TONE.frames.tobytes()
        assert samples[1].raw_sample_data == OTHER.frames.tobytes()
        bags = font.instruments[0].bags
        assert [bag.key_range for bag in bags] == [None, [60, 127], [0, 59]]
        assert bags[1].velocity_range == [1, 100]
        assert bags[1].sample.name == "Tone"


def test_fluidsynth_plays_it_without_a_word(written: Path) -> None:
    complaints = load_library().complaints
    complaints.clear()
    high, low = notes_alone(written, 8, 24, [(69, 90), (57, 90)], 0.3)
    assert not complaints
    for sound, hertz in ((high, 440.0), (low, 220.0)):
        assert np.argmax(np.abs(np.fft.rfft(sound, 48_000))) == pytest.approx(hertz, abs=2)
    assert not np.any(notes_alone(written, 8, 24, [(69, 120)], 0.3)), "beyond the zone's velocities"


def test_chunks_are_even_and_tables_closed() -> None:
    raw = font_bytes(small_font())
    assert struct.unpack_from("<I", raw, 4)[0] + 8 == len(raw)
    assert len(raw) % 2 == 0
    assert raw.index(b"ICMT") % 2 == 0
    data = raw.index(b"smpl") + 8
    first_end = data + 2 * len(TONE.frames)
    assert raw[first_end : first_end + 92] == bytes(92)
    assert raw.endswith(b"EOS" + bytes(43))
    assert font_bytes(small_font()) == raw


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"samples": (FontSample("A name that is too long", pluck(0.1), 48_000, 60),)},
            "1 to 19 plain letters",
        ),
        ({"samples": (FontSample("Ü", pluck(0.1), 48_000, 60),)}, "1 to 19 plain letters"),
        ({"samples": (FontSample("Short", np.zeros(9, np.int16), 48_000, 60),)}, "at least 32 frames"),
        ({"instruments": (FontInstrument("Bad", (FontZone(7),)),) * 2}, "play one of 2.*got 7"),
        ({"instruments": (FontInstrument("Bad", (FontZone(0), FontZone(None))),) * 2}, "be global and first"),
        ({"presets": (FontPreset("Bad", 0, 0, (FontZone(2),)),)}, "play one of 2.*got 2"),
    ],
)
def test_what_cannot_be_written_is_refused(change: dict[str, object], message: str) -> None:
    with pytest.raises(ParameterError, match=message):
        font_bytes(dataclasses.replace(small_font(), **change))  # type: ignore[arg-type]


def test_a_font_of_more_than_four_gigabytes_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tercet.sound.sf2_writer.LARGEST_FILE_BYTES", 1000)
    with pytest.raises(ParameterError, match="less than 4 GB"):
        font_bytes(small_font())
