"""What is heard of performances whose truth is known, and that each way of breaking the method is seen here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.errors import ParameterError, RequestError
from tercet.hearing import Heard, HearingOptions, Recording, hear, read_recording
from tercet.hearing.levels import LevelMeter
from tercet.hearing.model import LEAST_TRUST
from tercet.hearing.onsets import Onsets
from tercet.hearing.spectra import RATE_HZ
from tercet.song import parse_song
from tests.hearing.performances import Performance, Played, degraded, play, record
from tests.hearing.scores import Score, score
from tests.kits import HARBOUR_LANTERNS

HEAR: Any = import_module("tercet.hearing.listener")


def judged(heard: Heard, played: Played, arrangement: Arrangement) -> Score:
    made = score(heard, played, arrangement)
    assert made.counts["strokes"] > 30
    return made


def test_strokes_are_found_within_50_ms(slips_heard: Heard, slips: Played, arrangement: Arrangement) -> None:
    made = judged(slips_heard, slips, arrangement)
    assert made.part("strokes near", "strokes") >= 0.94
    assert float(np.median(np.abs(made.onset_errors_s))) <= 0.003


def test_planted_slips_are_heard_and_no_others(
    slips_heard: Heard, slips: Played, arrangement: Arrangement
) -> None:
    counts = judged(slips_heard, slips, arrangement).counts
    for kind in ("wrong", "missed", "late"):
        assert counts[f"{kind} planted"] > 0
        assert counts[f"{kind} found"] == counts[f"{kind} planted"], kind
    assert counts["false claims"] <= 1
    assert counts["false note claims"] == 0


def test_a_repeat_a_pause_and_a_string_off_tune_under_gain_control(
    repeats_heard: Heard, repeats: Played, arrangement: Arrangement
) -> None:
    made = judged(repeats_heard, repeats, arrangement)
    assert repeats.repeats
    assert made.counts["repeats found"] == len(repeats.repeats)
    assert made.counts["pauses found"] == len(repeats.pauses_s) == 1
    assert repeats_heard.front.gain_controlled
    cents = {string.string: string.cents for string in repeats_heard.tuning}
    assert cents[2] == pytest.approx(30.0, abs=2.0)
    assert all(abs(off) < 2.0 for string, off in cents.items() if string != 2)
    advice = repeats_heard.advice()
    assert advice.next is not None
    assert (advice.next.kind, advice.next.track) == ("tuning", "tune-up")


def test_the_front_is_measured(
    repeats_heard: Heard, repeats: Played, slips_heard: Heard, slips: Played
) -> None:
    for heard, played in ((repeats_heard, repeats), (slips_heard, slips)):
        assert heard.front.lu is not None
        assert heard.front.uncertainty_lu is not None
        assert played.front_lu is not None
        assert heard.front.lu == pytest.approx(played.front_lu, abs=2.0)


def test_a_flat_take_reads_near_nothing_and_a_front_of_9_near_9(
    arrangement: Arrangement, folder: Path
) -> None:
    for name, performance, front in (
        ("flat", Performance("flat", flat=True), 0.0),
        ("nine", Performance("nine", front=Fraction(9)), 9.0),
    ):
        path = record(play(arrangement, performance), "phone", folder / name)
        heard = hear(read_recording(path), arrangement)
        assert heard.front.lu == pytest.approx(front, abs=1.5), name


def test_another_song_is_asked_about(slips_file: Path) -> None:
    song = parse_song(HARBOUR_LANTERNS.read_text(encoding="utf-8"))
    heard = hear(read_recording(slips_file), arrange(song, song_tuning(song)))
    assert heard.trust < LEAST_TRUST
    advice = heard.advice()
    assert advice.next is None
    assert advice.ask.startswith("Is this Harbour Lanterns")


def test_what_hardly_has_a_stroke_is_refused(arrangement: Arrangement) -> None:
    sound = np.sin(np.arange(10 * RATE_HZ) * 0.1).astype(np.float32)
    with pytest.raises(RequestError, match="hardly anything is struck"):
        hear(Recording(sound), arrangement)


def test_layers_that_nobody_plays_are_refused() -> None:
    with pytest.raises(ParameterError, match="layers must be some of melody"):
        HearingOptions(frozenset())


# ---- sabotage: what is broken is seen by the same figures


def heard_again(
    monkeypatch: pytest.MonkeyPatch, name: str, broken: Callable[..., object], file: Path, song: Arrangement
) -> Heard:
    monkeypatch.setattr(HEAR, name, broken)
    return hear(read_recording(file), song)


def test_onsets_that_come_late_are_seen(
    monkeypatch: pytest.MonkeyPatch, slips_file: Path, slips: Played, arrangement: Arrangement
) -> None:
    plain = HEAR.string_times_s

    def late(*arguments: Any) -> list[Any]:
        return [times + 0.06 for times in plain(*arguments)]

    heard = heard_again(monkeypatch, "string_times_s", late, slips_file, arrangement)
    assert judged(heard, slips, arrangement).part("strokes near", "strokes") < 0.5


def test_templates_a_semitone_off_are_seen(
    monkeypatch: pytest.MonkeyPatch, slips_file: Path, arrangement: Arrangement
) -> None:
    plain = HEAR.wanted_take

    def moved(*arguments: Any) -> Any:
        wanted = plain(*arguments)
        strokes = tuple(
            replace(s, strings=tuple(replace(one, midi=one.midi + 1) for one in s.strings))
            for s in wanted.strokes
        )
        return replace(wanted, strokes=strokes)

    assert heard_again(monkeypatch, "wanted_take", moved, slips_file, arrangement).trust < LEAST_TRUST


def test_levels_without_subtraction_are_seen(
    slips_heard: Heard, slips_file: Path, arrangement: Arrangement
) -> None:
    plain = LevelMeter.levels_db

    def kept(self: LevelMeter, firsts_s: Sequence[float], gain: Any = None, **_: Any) -> Any:
        return plain(self, firsts_s, gain, subtract=False)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(LevelMeter, "levels_db", kept)
        heard = hear(read_recording(slips_file), arrangement)
    assert heard.front.lu is not None
    assert slips_heard.front.lu is not None
    assert heard.front.lu < slips_heard.front.lu - 0.7


def test_a_gain_that_stays_in_is_seen(
    monkeypatch: pytest.MonkeyPatch, repeats_heard: Heard, repeats_file: Path, arrangement: Arrangement
) -> None:
    plain = HEAR.gain_track

    def unseen(*arguments: Any) -> Any:
        return replace(plain(*arguments), spread_db=0.0)

    heard = heard_again(monkeypatch, "gain_track", unseen, repeats_file, arrangement)
    assert heard.front.lu is not None
    assert repeats_heard.front.lu is not None
    assert heard.front.lu < repeats_heard.front.lu - 1.5


def test_jumps_forbidden_are_seen(
    monkeypatch: pytest.MonkeyPatch, repeats_file: Path, repeats: Played, arrangement: Arrangement
) -> None:
    plain = HEAR.align

    def onward(*arguments: Any) -> Any:
        return plain(*arguments, jump_cost=1e9)

    heard = heard_again(monkeypatch, "align", onward, repeats_file, arrangement)
    assert judged(heard, repeats, arrangement).counts["repeats found"] == 0


def test_layers_swapped_are_seen(
    monkeypatch: pytest.MonkeyPatch, slips_heard: Heard, slips_file: Path, arrangement: Arrangement
) -> None:
    plain, names = HEAR.front_of, {"melody": "strums", "strums": "melody"}

    def swapped(strokes: Any, *others: Any) -> Any:
        return plain([replace(s, layer=names.get(s.layer, s.layer)) for s in strokes], *others)

    heard = heard_again(monkeypatch, "front_of", swapped, slips_file, arrangement)
    assert heard.front.lu is not None
    assert heard.front.lu < 0.0


# ---- fuzzed recordings


@pytest.mark.parametrize("seed", range(6))
def test_a_damaged_recording_is_heard_or_refused(slips: Played, arrangement: Arrangement, seed: int) -> None:
    random = np.random.default_rng(seed)
    samples, _ = degraded(slips.samples, "clean")
    start = int(random.integers(len(samples) // 2))
    part = samples[start : start + 48_000 * 9 : 2].copy()
    for _ in range(12):
        at = int(random.integers(len(part) - 3_000))
        part[at : at + 2_000] = random.choice([0.0, 1.0, -1.0]) * random.random()
    part += (random.standard_normal(len(part)) * 10.0 ** random.uniform(-5, -0.5)).astype(np.float32)
    try:
        heard = hear(Recording(part.astype(np.float32)), arrangement)
    except RequestError:
        return
    assert 0.0 <= heard.trust <= 1.0
    heard.as_json()


def test_onsets_are_kept_in_order_when_only_the_strongest_stay() -> None:
    kept = Onsets(np.array([1.0, 2.0, 3.0]), np.array([0.5, 0.1, 0.9])).strongest(2)
    assert kept.times_s.tolist() == [1.0, 3.0]
