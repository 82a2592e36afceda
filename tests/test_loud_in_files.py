"""What `--loud` promises, measured in the files that a user gets; each promise has a sabotage that breaks it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from tests.kits import SHORT_SONG, run_tercet
from tests.measure.audio import LAYERS, Samples, Track, read_track
from tests.measure.claims import ClaimedFile, read_claims
from tests.measure.loudness import integrated_lufs, true_peak_dbtp

TRACKS = ("demo", *(f"only-{layer}" for layer in LAYERS), "slow")
MOST_DB = 2.0
WINDOW_S = 0.05


@dataclass(frozen=True)
class Made:
    """The same tracks with and without `--loud`, and what kit.json tells of the loud ones."""

    loud: dict[str, Track]
    plain: dict[str, Track]
    claims: dict[str, ClaimedFile]

    def with_track(self, name: str, samples: Samples) -> Made:
        track = self.loud[name]
        return replace(self, loud={**self.loud, name: Track(samples.astype(np.float32), track.rate_hz)})


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    base = tmp_path_factory.mktemp("loud")
    song = base / "kettle-and-cup.yaml"
    song.write_text(SHORT_SONG, encoding="utf-8")
    loud, plain = (
        _kit(song, base / name, *options) for name, options in (("loud", ["--loud"]), ("plain", []))
    )
    return Made(
        {name: read_track(loud / claim.file) for name, claim in _claims(loud).items()},
        {name: read_track(plain / claim.file) for name, claim in _claims(plain).items()},
        _claims(loud),
    )


def _kit(song: Path, folder: Path, *options: str) -> Path:
    tracks = ("--tracks", ",".join(TRACKS), "--count-in", 0, "--bits", 24, "--jobs", 1)
    run_tercet("kit", song, "-o", folder, *tracks, *options)
    return folder / song.stem


def _claims(folder: Path) -> dict[str, ClaimedFile]:
    return {claim.track: claim for claim in read_claims(folder / "kit.json")}


# ---- promises


def louder_by_as_much(made: Made) -> None:
    rise = integrated_lufs(made.loud["demo"]) - integrated_lufs(made.plain["demo"])
    assert MOST_DB - 0.3 <= rise <= MOST_DB + 0.05, f"{rise:.2f} LU louder"


def layers_add_up(made: Made) -> None:
    total = np.sum([made.loud[f"only-{layer}"].samples.astype(np.float64) for layer in LAYERS], axis=0)
    error = np.abs(total - made.loud["demo"].samples).max()
    assert 20.0 * np.log10(max(error, 1e-9)) <= -120.0, f"they are {20.0 * np.log10(error):.1f} dB off"


def nothing_too_high(made: Made) -> None:
    for name, track in made.loud.items():
        peak = true_peak_dbtp(track)
        assert peak <= -1.0, f"{name} reaches {peak:.2f} dBTP"


def peaks_are_eased_and_no_more(made: Made) -> None:
    """Window by window each layer is at most so much louder, never softer, and mostly louder by all of it."""
    for layer in LAYERS:
        rises = _rises_db(made.loud[f"only-{layer}"], made.plain[f"only-{layer}"])
        assert rises.min() >= -0.05, f"{layer} is {rises.min():.2f} dB louder somewhere"
        assert rises.max() <= MOST_DB + 0.05, f"{layer} is {rises.max():.2f} dB louder somewhere"
        assert np.median(rises) >= MOST_DB - 0.05, f"{layer} is mostly {np.median(rises):.2f} dB louder"


def _rises_db(loud: Track, plain: Track) -> Samples:
    frames = round(WINDOW_S * loud.rate_hz)
    count = len(loud.samples) // frames
    powers = [
        (track.samples[: count * frames].astype(np.float64) ** 2).reshape(count, -1).sum(axis=1)
        for track in (loud, plain)
    ]
    heard = powers[1] > 1e-6 * powers[1].max()
    return np.asarray(10.0 * np.log10(powers[0][heard] / powers[1][heard]))


PROMISES: dict[str, Callable[[Made], None]] = {
    each.__name__: each
    for each in (louder_by_as_much, layers_add_up, nothing_too_high, peaks_are_eased_and_no_more)
}


@pytest.mark.parametrize("name", PROMISES)
def test_it_is_kept(made: Made, name: str) -> None:
    PROMISES[name](made)


def test_kit_json_tells_what_was_eased(made: Made) -> None:
    assert made.claims["demo"].eased_db == pytest.approx(MOST_DB, abs=0.01)
    assert {made.claims[f"only-{layer}"].gain_db for layer in LAYERS} == {made.claims["demo"].gain_db}


# ---- sabotages


def _limited_by_itself(made: Made) -> Made:
    """One layer as loud as the others, with none of its peaks eased."""
    return made.with_track("only-melody", made.plain["only-melody"].samples * 10.0 ** (MOST_DB / 20.0))


def _louder(made: Made) -> Made:
    return made.with_track("demo", made.loud["demo"].samples * 10.0 ** (0.5 / 20.0))


def _not_louder(made: Made) -> Made:
    return replace(made, loud=made.plain)


def _squashed(made: Made) -> Made:
    """A layer whose loudest half second lost 3 dB."""
    samples = made.loud["only-melody"].samples.copy()
    middle = int(np.argmax(np.abs(samples).max(axis=1)))
    samples[max(middle - 12_000, 0) : middle + 12_000] *= 10.0 ** (-3.0 / 20.0)
    return made.with_track("only-melody", samples)


@pytest.mark.parametrize(
    ("sabotage", "name", "told"),
    [
        (_limited_by_itself, "layers_add_up", "dB off"),
        (_louder, "nothing_too_high", "demo reaches"),
        (_not_louder, "louder_by_as_much", "0.00 LU louder"),
        (_not_louder, "peaks_are_eased_and_no_more", "mostly 0.00 dB"),
        (_squashed, "peaks_are_eased_and_no_more", "melody is -"),
    ],
)
def test_a_sabotage_is_found(made: Made, sabotage: Callable[[Made], Made], name: str, told: str) -> None:
    with pytest.raises(AssertionError, match=told):
        PROMISES[name](sabotage(made))
