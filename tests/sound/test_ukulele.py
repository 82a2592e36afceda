"""The built-in font as a file: what is in it, how large, the same each time, kept in the cache."""

from __future__ import annotations

import hashlib
import os
import struct
import subprocess
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pytest

from tercet.errors import SoundFontError
from tercet.sound import string_model
from tercet.sound.fluid import FluidSynthesiser, render_strokes
from tercet.sound.library import load_library
from tercet.sound.sf2_reader import SoundFont, read_header, read_zones
from tercet.sound.ukulele import (
    BELL_KEY,
    CHOP_DOWN_KEY,
    CHOP_UP_KEY,
    FULL,
    SMALL,
    STRING_BANKS,
    WOOD_HIGH_KEY,
    WOOD_LOW_KEY,
    built_in_name,
    built_in_path,
    ready_built_in,
    ukulele_bytes,
)
from tercet.theory import TUNINGS
from tests.measure.font_player import RATE_HZ, notes_alone
from tests.measure.plucks import gesture_figures, ring_figures
from tests.sound.made_fonts import made_font
from tests.sound.takes import note, take

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)
    from sf2utils.sf2parse import Sf2File


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("fonts") / "small.sf2"
    path.write_bytes(ukulele_bytes(SMALL))
    return path


def test_it_has_the_presets_that_players_look_for_and_one_for_each_string() -> None:
    header = read_header(ready_built_in())
    places = {(preset.bank, preset.program): preset.name for preset in header.presets}
    assert places[8, 24] == places[0, 24] == "Ukulele"
    assert {places[bank, 24] for bank in STRING_BANKS.values()} == {f"String {name}" for name in STRING_BANKS}
    assert places[128, 0] == "Chop, wood, bell"
    assert len(places) == 3 + len(STRING_BANKS)
    assert header.name == "Tercet Ukulele"
    assert header.rights.startswith("CC0-1.0")
    for bank in (0, 8, *STRING_BANKS.values()):
        zones = read_zones(header.path, bank, 24)
        covered = {key for zone in zones for key in range(zone.lowest_key, zone.highest_key + 1)}
        assert covered == set(range(128))
    opens = {string_model.STRINGS_OF_INSTRUMENTS[name].open_midi for name in STRING_BANKS}
    assert opens <= {tuning.open_midi(string) for tuning in TUNINGS.values() for string in (1, 2, 3, 4)}


def test_an_independent_reader_reads_it_and_fluidsynth_says_nothing() -> None:
    path = ready_built_in()
    with path.open("rb") as file:
        font = Sf2File(file)
        names = {preset.name for preset in font.presets}
        assert {"Ukulele", "String A4", "Chop, wood, bell"} <= names
        assert all(sample.is_mono for sample in font.samples if sample.name != "EOS")
    complaints = load_library().complaints
    complaints.clear()
    for bank in (0, 8, *STRING_BANKS.values()):
        assert np.abs(notes_alone(path, bank, 24, [(60, 100)], 0.1)).max() > 0.01
    assert not complaints


def test_full_and_small_keep_within_their_size(small: Path) -> None:
    assert ready_built_in().stat().st_size <= 40_000_000
    assert small.stat().st_size <= 12_000_000
    assert read_header(small).name == "Tercet Ukulele (small)"
    assert len(read_header(small).presets) == len(read_header(ready_built_in()).presets)


def test_the_small_one_sounds_nearly_like_the_full_one(small: Path) -> None:
    notes = [(midi, velocity) for midi in range(60, 85, 3) for velocity in (30, 96, 127)]
    levels, centroids = zip(
        *(
            gesture_figures(notes_alone(path, 8, 24, notes, 0.45), RATE_HZ)
            for path in (small, ready_built_in())
        ),
        strict=True,
    )
    assert np.abs(levels[0] - levels[1]).max() < 0.6
    assert np.abs(centroids[0] / centroids[1] - 1.0).max() < 0.12
    for sound in notes_alone(small, 8, 24, [(60, 96), (72, 96)], 3.5):
        assert ring_figures(sound, RATE_HZ)[1] > 1.2


def transforms_s() -> float:
    """Return the processor time of twenty transforms there and back: 0.09 s where the fonts take 1.6 and 2.9."""
    noise = np.random.default_rng(1).standard_normal(1 << 17)
    started_s = time.process_time()
    for _ in range(20):
        np.fft.irfft(np.exp(1j * np.angle(np.fft.rfft(noise))))
    return time.process_time() - started_s


def test_it_is_the_same_bytes_each_time_and_made_in_time(small: Path) -> None:
    """In transforms of 2^17 samples on the same machine at the same time: other work on it must not decide."""
    told: list[tuple[str, int, int]] = []
    yardstick_s = transforms_s()
    started_s = time.process_time()
    again = ukulele_bytes(SMALL, lambda *step: told.append(step))
    assert (time.process_time() - started_s) / max(yardstick_s, transforms_s()) <= 30
    assert again == small.read_bytes()
    assert told[-1][1] == told[-1][2] == len(told)
    yardstick_s = transforms_s()
    started_s = time.process_time()
    full = ukulele_bytes(FULL)
    assert (time.process_time() - started_s) / max(yardstick_s, transforms_s()) <= 60
    assert full == ready_built_in().read_bytes()


def test_it_is_loaded_in_less_than_a_tenth_of_a_second() -> None:
    font = SoundFont(ready_built_in(), 8, 24)
    taken_s = []
    for _ in range(5):
        started_s = time.process_time()
        render_strokes(font, [], 64, 1, {})
        taken_s.append(time.process_time() - started_s)
    assert min(taken_s) < 0.1


def test_the_drums_hold_chops_of_three_strengths_wood_and_bell() -> None:
    path = ready_built_in()
    levels, centroids = gesture_figures(
        notes_alone(path, 128, 0, [(CHOP_DOWN_KEY, 40), (CHOP_DOWN_KEY, 80), (CHOP_DOWN_KEY, 120)], 0.5),
        RATE_HZ,
    )
    assert (np.diff(levels) > 2).all()
    assert (np.diff(centroids) > 0).all()
    sounds = notes_alone(
        path, 128, 0, [(key, 100) for key in (CHOP_UP_KEY, WOOD_HIGH_KEY, WOOD_LOW_KEY, BELL_KEY)], 0.8
    )
    assert (np.abs(sounds).max(axis=1) > 0.03).all()
    pitch = [float(np.argmax(np.abs(np.fft.rfft(sound, RATE_HZ)))) for sound in sounds]
    assert pitch[1] / pitch[2] == pytest.approx(4 / 3, rel=0.02)
    assert pitch[3] == pytest.approx(1568, abs=3)


# The cache


def test_its_name_carries_version_size_and_parameters(monkeypatch: pytest.MonkeyPatch) -> None:
    name = built_in_name()
    assert name.startswith("tercet-ukulele-3-full-")
    assert built_in_path().name == name
    monkeypatch.setattr(string_model, "SYMPATHY", 0.1)
    assert built_in_name() != name


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Make the cache keep few bytes in place of a font, and count how often they are made."""
    made: list[int] = []

    def bytes_of(progress: object = None) -> bytes:
        made.append(1)
        return b"a font" * 1000

    monkeypatch.setattr("tercet.sound.ukulele.ukulele_bytes", bytes_of)
    return made


def test_it_is_made_once_and_again_when_it_is_damaged(tmp_path: Path, quick: list[int]) -> None:
    path = tmp_path / "deep" / "cache" / "uke.sf2"
    assert ready_built_in(path=path) == path
    assert ready_built_in(path=path).read_bytes() == b"a font" * 1000
    assert len(quick) == 1
    for damage in (b"", b"a fomt" * 1000, b"a font" * 999):
        path.write_bytes(damage)
        assert ready_built_in(path=path).read_bytes() == b"a font" * 1000
    path.with_suffix(".sha256").unlink()
    ready_built_in(path=path)
    path.with_suffix(".sha256").write_bytes(b"\xff")
    ready_built_in(path=path)
    assert len(quick) == 6
    assert sorted(each.name for each in path.parent.iterdir()) == ["uke.sf2", "uke.sha256"]


def test_a_cache_that_cannot_be_written_is_said(tmp_path: Path, quick: list[int]) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(SoundFontError, match=r"can't be kept there: .*name another font by --sound"):
        ready_built_in(path=tmp_path / "file" / "uke.sf2")


def test_a_file_that_another_process_reads_will_do_if_it_is_the_same(
    tmp_path: Path, quick: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "uke.sf2"
    ready_built_in(path=path)
    path.with_suffix(".sha256").write_text("old", encoding="ascii")
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    real = Path.replace

    def refuse(self: Path, target: Path) -> Path:
        if target == path:
            raise PermissionError(13, "in use")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", refuse)
    ready_built_in(path=path)
    assert path.with_suffix(".sha256").read_text(encoding="ascii") == digest
    path.write_bytes(b"other")
    with pytest.raises(SoundFontError, match="in use"):
        ready_built_in(path=path)


def test_two_processes_at_once_do_no_harm(tmp_path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from tercet.sound import ukulele as u;"
        "full = u.ukulele_bytes; u.ukulele_bytes = lambda progress=None: full(u.SMALL, progress);"
        "from tercet.sound.ukulele import ready_built_in; ready_built_in(path=Path(sys.argv[1]))"
    )
    path = tmp_path / "uke.sf2"
    command = [sys.executable, "-c", code, str(path)]
    both = [subprocess.Popen(command, env=os.environ) for _ in range(2)]
    assert [process.wait(timeout=120) for process in both] == [0, 0]
    assert sorted(each.name for each in tmp_path.iterdir()) == ["uke.sf2", "uke.sha256"]
    digest = path.with_suffix(".sha256").read_text(encoding="ascii")
    assert hashlib.sha256(path.read_bytes()).hexdigest() == digest
    assert read_header(path).name.startswith("Tercet Ukulele")


# Broken fonts


def borders(raw: bytes) -> list[int]:
    """Return where every chunk of a font begins and where its contents begin."""
    found, place = [0, 8, 12], 12
    while place < len(raw):
        length = struct.unpack_from("<I", raw, place + 4)[0]
        found += [place, place + 8, place + 12]
        inner = place + 12
        while inner < place + 8 + length:
            inner_length = struct.unpack_from("<I", raw, inner + 4)[0]
            found += [inner, inner + 8, inner + 8 + inner_length // 2]
            inner += 8 + inner_length + inner_length % 2
        place += 8 + length + length % 2
    return sorted({each for each in found if each < len(raw)})


def played(path: Path) -> None:
    FluidSynthesiser(SoundFont(path, 8, 24)).stems(take([note()]))


def test_a_font_cut_off_at_any_border_is_refused_with_the_reason(small: Path, tmp_path: Path) -> None:
    raw, path = small.read_bytes(), tmp_path / "cut.sf2"
    places = borders(raw)
    assert len(places) > 40
    for place in places:
        for repaired in (False, True):
            cut = bytearray(raw[:place])
            if repaired and place >= 8:  # the outermost length fits, what is inside doesn't
                cut[4:8] = struct.pack("<I", max(place - 8, 0))
            path.write_bytes(cut)
            with pytest.raises(SoundFontError, match=r"cut\.sf2: .*(not a sound font|damaged)"):
                played(path)


def test_wrong_sizes_and_huge_counts_are_refused_with_the_reason(small: Path, tmp_path: Path) -> None:
    raw, path = small.read_bytes(), tmp_path / "wrong.sf2"
    inner = [b"LIST", b"smpl", b"phdr", b"pbag", b"pgen", b"inst", b"ibag", b"imod", b"igen", b"shdr"]
    for name in inner:
        place = raw.rindex(name, 0, len(raw)) + 4
        for size in (0, 1, 0x7FFFFFFF, 0xFFFFFFFF):
            broken = bytearray(raw)
            broken[place : place + 4] = struct.pack("<I", size)
            path.write_bytes(broken)
            with pytest.raises(SoundFontError, match=r"wrong\.sf2: "):
                played(path)
    for table, offset in ((b"phdr", 24), (b"inst", 20), (b"pbag", 0), (b"ibag", 2)):
        broken = bytearray(raw)
        place = raw.rindex(table) + 8 + offset
        broken[place : place + 2] = b"\xff\xff"
        path.write_bytes(broken)
        with pytest.raises(SoundFontError, match=r"wrong\.sf2: .*points outside"):
            played(path)


@pytest.mark.parametrize(
    "contents", [b"", b"RIFF", b"not a font at all" * 99, b"RIFF\xff\xff\xff\xffsfbk" + bytes(64)]
)
def test_what_is_no_font_is_refused_with_the_reason(tmp_path: Path, contents: bytes) -> None:
    path = tmp_path / "none.sf2"
    path.write_bytes(contents)
    with pytest.raises(SoundFontError, match=r"none\.sf2: "):
        played(path)


def test_a_font_without_samples_is_refused_with_the_reason(tmp_path: Path) -> None:
    raw, path = made_font(), tmp_path / "empty.sf2"
    place = raw.index(b"sdta") - 8
    length = struct.unpack_from("<I", raw, place + 4)[0]
    inside = raw[12:place] + b"LIST" + struct.pack("<I", 4) + b"sdta" + raw[place + 8 + length :]
    path.write_bytes(b"RIFF" + struct.pack("<I", len(inside) + 4) + b"sfbk" + inside)
    with pytest.raises(SoundFontError, match=r"empty\.sf2: .*lies outside the file"):
        played(path)
