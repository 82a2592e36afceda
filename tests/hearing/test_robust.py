"""What is heard where little is as it should be: rooms, noise, other players, tempos, tunings, parts, damaged files."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.errors import RequestError
from tercet.hearing import Heard, HearingOptions, Recording, hear, read_recording
from tercet.hearing.model import LEAST_TRUST
from tercet.hearing.sentences import said
from tercet.hearing.spectra import RATE_HZ
from tercet.song import read_song
from tercet.theory import tuning_of
from tests.hearing.conftest import SLIPS
from tests.hearing.performances import SEVEN, SOUNDS, Performance, Played, play, record
from tests.hearing.scores import score
from tests.kits import ROOT

HEAR: Any = import_module("tercet.hearing.listener")

TUNE_LAYERS = ("melody", "between")


def heard_by(played: Played, device: str, folder: Path, arrangement: Arrangement) -> Heard:
    return hear(read_recording(record(played, device, folder / device)), arrangement)


@pytest.mark.parametrize("device", ["reverberant", "second", "noisy"])
def test_a_room_another_player_and_noise_are_heard_through(
    slips: Played, arrangement: Arrangement, folder: Path, device: str
) -> None:
    heard = heard_by(slips, device, folder, arrangement)
    counts = (made := score(heard, slips, arrangement)).counts
    assert heard.trust > 0.9
    assert made.part("strokes near", "strokes") >= 0.94
    assert counts["wrong found"] == counts["wrong planted"] == 2
    assert counts["late found"] == counts["late planted"] == 1
    assert counts["false claims"] <= 1


def test_too_much_noise_is_told(slips: Played, slips_heard: Heard, arrangement: Arrangement) -> None:
    sound = slips.samples[::2]
    noise = np.random.default_rng(1).standard_normal(len(sound)).astype(np.float32)
    noisy = sound + noise * np.sqrt(np.mean(sound**2)) * np.float32(10.0 ** (-5.0 / 20.0))
    heard = hear(Recording((0.1 * noisy / noisy.std()).astype(np.float32)), arrangement)
    assert heard.noise_db < 12.0 < slips_heard.noise_db
    assert (heard.front.lu, heard.front.why) == (None, said("front_noise"))
    advice = heard.advice()
    assert advice.next is not None
    assert all(claim.sentence.startswith("Perhaps: ") for claim in (advice.next, *advice.others))
    assert slips_heard.front.lu is not None


@pytest.mark.parametrize(("part", "near"), [(0.5, 0.94), (2.0, 0.85)])
def test_half_and_twice_the_tempo(arrangement: Arrangement, folder: Path, part: float, near: float) -> None:
    played = play(arrangement, Performance("tempo", ((0.0, 0.6),), (part,), wrong=1))
    heard = heard_by(played, "phone", folder, arrangement)
    made = score(heard, played, arrangement)
    assert heard.tempo == pytest.approx(part * float(arrangement.song.tempo), rel=0.03)
    assert made.part("strokes near", "strokes") >= near
    assert made.counts["wrong found"] == made.counts["wrong planted"] == 1


@pytest.mark.parametrize("bars", [(0.4, 0.85), (0.0, 0.4), (0.6, 1.0)])
def test_a_take_starts_in_the_middle_and_stops_early(
    arrangement: Arrangement, folder: Path, bars: tuple[float, float]
) -> None:
    played = play(arrangement, Performance("part", (bars,), wrong=1))
    heard = heard_by(played, "phone", folder, arrangement)
    assert (heard.first_bar, heard.last_bar) == (played.first_bar, played.last_bar)
    assert score(heard, played, arrangement).part("strokes near", "strokes") >= 0.94
    assert not heard.repeats


@pytest.mark.parametrize("tuning", ["low-g", "baritone"])
def test_another_tuning_of_the_class_is_heard_through(
    arrangement: Arrangement, folder: Path, tuning: str
) -> None:
    other = arrange(arrangement.song, tuning_of(tuning))
    played = play(other, SLIPS)
    heard = heard_by(played, "phone", folder, arrangement)
    assert heard.trust > 0.9
    slips = {stroke.place[0]: stroke.slip for stroke in played.strokes if stroke.slip}
    wrong = {bar for bar, slip in slips.items() if slip == "wrong"}
    found = {stroke.bar_number for stroke in heard.slips() if stroke.verdict in ("another note", "missed")}
    assert len(wrong) == 2
    assert wrong <= found <= set(slips)


def test_the_same_shapes_on_strings_a_tone_higher_are_asked_about(
    slips: Played, arrangement: Arrangement
) -> None:
    higher = resample_poly(slips.samples, 49, 110).astype(np.float32)
    heard = hear(Recording(higher), arrangement)
    assert heard.trust < LEAST_TRUST
    assert "--tuning" in heard.advice().ask
    assert "--transpose" in heard.advice().ask


@pytest.mark.parametrize("layers", [("melody",), TUNE_LAYERS])
def test_the_tune_alone(arrangement: Arrangement, folder: Path, layers: tuple[Any, ...]) -> None:
    played = play(arrangement, Performance("tune", speeds=(0.9, 0.95), wrong=3, missed=2, layers=layers))
    recording = read_recording(record(played, "phone", folder / "tune"))
    counts = score(hear(recording, arrangement, HearingOptions(layers)), played, arrangement).counts
    assert counts["wrong found"] == counts["wrong planted"] == counts["wrong claimed"] == 3
    assert counts["missed found"] == counts["missed planted"] == counts["missed claimed"] == 2
    assert counts["false claims"] == 0


def test_the_melody_alone_without_a_word_is_asked_about(arrangement: Arrangement, folder: Path) -> None:
    played = play(arrangement, Performance("melody", speeds=(0.9, 0.95), layers=("melody",)))
    heard = heard_by(played, "phone", folder, arrangement)
    assert heard.trust < LEAST_TRUST
    assert "--only" in heard.advice().ask


def test_a_gain_that_is_undone_where_the_noise_was_taken_away_is_seen(
    monkeypatch: pytest.MonkeyPatch, slips: Played, arrangement: Arrangement, folder: Path
) -> None:
    heard = heard_by(slips, "compressed", folder, arrangement)
    assert (heard.front.lu, heard.front.why) == (None, said("front_gated"))
    plain = HEAR.gain_track
    monkeypatch.setattr(
        HEAR, "gain_track", lambda *given: replace(plain(*given), spread_db=10.0, gated=False)
    )
    forced = heard_by(slips, "compressed", folder, arrangement).front.lu
    assert forced is not None
    assert slips.front_lu is not None
    assert abs(forced - slips.front_lu) > 2.5


@pytest.mark.parametrize("ending", ["wav", "flac", "ogg", "mp3"])
def test_a_damaged_file_is_heard_or_refused(
    slips: Played, arrangement: Arrangement, tmp_path: Path, ending: str
) -> None:
    path = tmp_path / f"take.{ending}"
    soundfile.write(path, slips.samples[: 48_000 * 14 : 2], RATE_HZ)
    whole = path.read_bytes()
    for seed in range(6):
        random = np.random.default_rng(seed)
        data = bytearray(whole[: int(random.integers(1, len(whole)))] if seed % 2 else whole)
        for at in random.integers(0, len(data), 40):
            data[at] = int(random.integers(256))
        path.write_bytes(data)
        try:
            heard = hear(read_recording(path), arrangement)
        except RequestError:
            continue
        assert 0.0 <= heard.trust <= 1.0
        heard.as_json()


def test_another_song_with_the_same_chords_is_asked_about(tmp_path: Path) -> None:
    """A waltz on nylon strings against a tune in the relative key: a stretch of it fits, and much is passed over."""
    harbour, bell = (
        read_song(ROOT / "songs" / f"{name}.yaml") for name in ("harbour-lanterns", "bicycle-bell")
    )
    own = arrange(harbour, song_tuning(harbour))
    recording = read_recording(record(play(own, SEVEN[2], SOUNDS[1]), "phone", tmp_path / "harbour"))
    assert hear(recording, arrange(bell, song_tuning(bell))).trust < LEAST_TRUST
    assert hear(recording, own).trust > 0.9
