"""The gain that a song's tracks share, and the meter that measures its demo block by block."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tercet.sound.loudness import Meter, integrated_loudness_lufs, true_peak_dbtp
from tercet.tracks.balance import FINER_DB, Balance, WholeHeard, balance_of
from tercet.tracks.easing import Easing
from tests.tracks.plucks import plucks

RATE_HZ = 48_000


def balance(lufs: float, peak_dbtp: float) -> Balance:
    return Balance({}, 0.0, 0.0, lufs, peak_dbtp)


def test_the_gain_reaches_the_target_if_the_peak_allows() -> None:
    assert balance(-30.0, -25.0).gain_db(-1.0) == 14.0


@pytest.mark.parametrize("ceiling_dbtp", [-1.0, -2.2])
def test_the_gain_keeps_the_peak_under_the_ceiling(ceiling_dbtp: float) -> None:
    spiky = balance(-40.0, -3.0)
    assert spiky.gain_db(ceiling_dbtp) == spiky.most_gain_db(ceiling_dbtp)
    assert -3.0 + spiky.gain_db(ceiling_dbtp) == pytest.approx(ceiling_dbtp - FINER_DB)


def test_flat_is_as_loud_as_layered_and_what_it_lacks_room_for_is_told() -> None:
    layered, flat = WholeHeard({}, -40.0, -22.0), WholeHeard({}, -38.0, -19.0)
    found = balance_of({("song", False): layered, ("song", True): flat})
    assert (found.flat_gain_db, found.flat_lack_db) == (-2.0, 1.0)
    assert "1.0 dB softer" in found.notices()[0]
    eased = replace(flat, easing=Easing(0.0, np.zeros(1)))
    found = balance_of({("song", False): layered, ("song", True): eased})
    assert (found.flat_gain_db, found.flat_lack_db, found.flat_easing) == (-2.0, 0.0, eased.easing)
    assert found.notices() == ()


def test_silence_gets_no_gain() -> None:
    assert balance(0.0, -math.inf).gain_db(-1.0) == 0.0


@pytest.mark.parametrize("block", [1_000, 65_536, 10_000_000])
def test_in_blocks_audio_measures_as_in_one_piece(block: int) -> None:
    sound = plucks(25)
    meter = Meter(RATE_HZ)
    for start in range(0, len(sound), block):
        meter.feed(sound[start : start + block])
    lufs, peak_dbtp = meter.finish()
    assert lufs == pytest.approx(integrated_loudness_lufs(sound, RATE_HZ), abs=1e-3)
    assert peak_dbtp == pytest.approx(true_peak_dbtp(sound), abs=1e-6)


def test_what_the_gates_shut_out_is_measured_without_them() -> None:
    faint = (1e-4 * plucks(2) / np.abs(plucks(2)).max()).astype(np.float32)
    meter = Meter(RATE_HZ)
    meter.feed(faint)
    lufs, _ = meter.finish()
    assert integrated_loudness_lufs(faint, RATE_HZ) == -math.inf
    assert -130.0 < lufs < -70.0


def test_silence_measures_minus_infinity() -> None:
    meter = Meter(RATE_HZ)
    meter.feed(np.zeros((RATE_HZ, 2), np.float32))
    assert meter.finish() == (-math.inf, -math.inf)
