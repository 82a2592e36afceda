"""How well students' recordings are heard, as a table; see README.md beside this file.

Run as ``.venv/bin/python benchmarks/hearing.py``: songs of ours, each played seven times with planted slips and once
with five pauses, three sounds taking turns, through a phone, a low-rate file, a phone that turns itself up and down, a
room of RT60 1 s, with a second ukulele far off, and with much noise; then parts alone, other strings, other songs. All
is rendered by Tercet: what is true is known, and no person played any of it.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import cycle
from pathlib import Path

import numpy as np
import soundfile
from measuring import ROOT, Aims, asked, counted, parser_of, run, song_to_time, tercet
from scipy.signal import resample_poly

sys.path.insert(0, str(ROOT))

from tercet.arranging import Arrangement, arrange, song_tuning
from tercet.errors import RequestError
from tercet.hearing import HearingOptions, hear, read_recording
from tercet.hearing.model import LEAST_TRUST
from tercet.song import Layer, drop_pins, parse_song, read_song
from tercet.theory import tuning_of
from tests.hearing.performances import DEVICES, SEVEN, SOUNDS, Performance, Played, degraded, play, record
from tests.hearing.scores import NOTES, Score, added, score
from tests.kits import SHORT_SONG

SONGS = ("harbour-lanterns", "bicycle-bell", "washing-up-branle")
JUDGED = ("phone", "compressed", "gain")
"""Devices that the aims are for; the others are printed beside them."""

ALONE: dict[str, tuple[Layer, ...]] = {
    "the tune without strums": ("melody", "between"),
    "the melody alone": ("melody",),
}
"""Parts that somebody plays alone, and says so."""

STOPS = Performance("stops", speeds=(0.95, 1.0, 0.9), wrong=1, pauses=5, seed=30)
"""One performance more of each song: five pauses of two seconds, so that fifteen are looked for."""

TUNINGS = ("low-g", "baritone")
SHAPES_HIGHER = (-2, 2, 5)
"""Semitones between a class's strings and the song's, with the same shapes: A D F# B is 2."""

NEAR_LU = 1.5
RATE_HZ = 44_100


def arranged(name: str) -> Arrangement:
    """Return a song of ours for its own strings and players."""
    song = read_song(ROOT / "songs" / f"{name}.yaml")
    return arrange(song, song_tuning(song))


def performances(*, short: bool) -> Iterator[tuple[str, Arrangement, Played]]:
    """Yield what is played: the song's name, its arrangement, and a performance of it."""
    if short:
        song = parse_song(SHORT_SONG)
        arrangement = arrange(song, song_tuning(song))
        yield song.title, arrangement, play(arrangement, Performance("short", wrong=1, missed=1, seed=2))
        return
    sounds = cycle(SOUNDS)
    for name in SONGS:
        arrangement = arranged(name)
        for performance in (*SEVEN, STOPS):
            yield name, arrangement, play(arrangement, performance, next(sounds))


def say_device(device: str, total: Score, aims: Aims) -> None:
    """Print the figures of a device, and hold them against the aims where it has some."""
    counts, errors = total.counts, np.abs(np.array(total.onset_errors_s))
    print(f"{device}: {counts['takes']} recordings, {counts['strokes']} strokes")
    held = aims if device in JUDGED else Aims(judged=False)
    held.say("strokes within 50 ms, percent", 100.0 * total.part("strokes near", "strokes"), least=97.0)
    held.say("their median error, ms", 1000.0 * float(np.median(errors)), most=3.0)
    fronts = np.abs(np.array(total.front_errors_lu))
    print(f"  front told in {len(fronts)} of {counts['fronts']} recordings")
    if len(fronts):
        held.say("front, median error in LU", float(np.median(fronts)), most=1.0)
        least = 70.0 if device == "gain" else 80.0
        held.say("front within 1.5 LU, percent", 100.0 * float(np.mean(fronts <= NEAR_LU)), least=least)
    for kind, what, precise in (
        ("wrong", "another note", 0.9),
        ("missed", "missed melody or single note", 0.85),
        ("late", "more than 100 ms off", 0.85),
        ("past", "rolls that run past", 0.85),
    ):
        if counts[f"{kind} planted"]:
            held.say(f"{what}, precision", total.part(f"{kind} right", f"{kind} claimed"), least=precise)
            held.say(f"{what}, recall", total.part(f"{kind} found", f"{kind} planted"), least=0.9)
    if counts["repeats planted"]:
        held.say("repeats found", total.part("repeats found", "repeats planted"), least=1.0)
        held.say(
            "repeats where there are none, in 15 takes", 15.0 * total.part("repeats false", "takes"), most=3.0
        )
    if counts["pauses planted"]:
        held.say("pauses of 2 s found", total.part("pauses found", "pauses planted"), least=14.0 / 15.0)
    if total.cents_errors:
        held.say("a string's tuning, 95th percentile in cents", percentile(total.cents_errors), most=2.0)
    held.say("false claims a take", total.part("false claims", "takes"), most=1.0)


def percentile(errors: list[float]) -> float:
    """Return what 95 of 100 errors stay below."""
    return float(np.percentile(np.abs(errors), 95))


def refused_or_asked(samples: np.ndarray, arrangement: Arrangement, folder: Path) -> bool:
    """Return whether a sound that isn't the song is refused, or asked about."""
    path = folder / "other.wav"
    soundfile.write(path, samples, RATE_HZ)
    try:
        return hear(read_recording(path), arrangement).trust < LEAST_TRUST
    except RequestError:
        return True


def other_sounds() -> Iterator[tuple[str, np.ndarray]]:
    """Yield what is no song: silence, noise, and what is shaped like speech: syllables, pauses, three formants."""
    random, at = np.random.default_rng(1), np.arange(20 * RATE_HZ) / RATE_HZ
    yield "silence", np.zeros(len(at))
    yield "noise", 0.1 * random.standard_normal(len(at))
    voice = np.zeros(len(at))
    start = 0.2
    while start < 19.0:
        length, pitch = random.uniform(0.08, 0.3), random.uniform(95.0, 220.0)
        inside = (at > start) & (at < start + length)
        glide = pitch * (1.0 + 0.15 * np.sin(2.0 * np.pi * (at[inside] - start) / length))
        phase = 2.0 * np.pi * np.cumsum(glide) / RATE_HZ
        formants = random.uniform((300.0, 900.0, 2_200.0), (800.0, 1_900.0, 2_900.0))
        for partial in range(1, 26):
            weight = sum(np.exp(-(((partial * pitch - f) / 180.0) ** 2)) for f in formants) + 0.05
            voice[inside] += weight * np.sin(partial * phase) * np.sin(np.pi * (at[inside] - start) / length)
        start += length + random.choice([0.02, 0.06, 0.3])
    yield "speech", 0.1 * voice / np.abs(voice).max() + 0.0005 * random.standard_normal(len(at))


def main() -> int:
    """Measure and print; 1 if a figure misses its aim."""
    options = asked(parser_of("Hear recordings whose truth is known.", 1))
    aims = Aims(judged=not options.short)
    found: dict[str, list[Score]] = {}
    loose_claims = []
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work)
        asked_of: list[bool] = []
        for name, arrangement, played in performances(short=options.short):
            for device in ("phone",) if options.short else DEVICES:
                heard = hear(read_recording(record(played, device, folder / "take")), arrangement)
                made = score(heard, played, arrangement)
                found.setdefault(device, []).append(made)
                if device in JUDGED and not any(stroke.slip for stroke in played.strokes):
                    loose_claims.append(made.counts["false note claims"])
            path = record(played, "phone", folder / f"{name}.take")
            asked_of += [wrong_song(path, other) for other in SONGS if other != name and not options.short]
        for name in () if options.short else SONGS:
            for what, layers in ALONE.items():
                found.setdefault(f"{what}, by phone", []).append(_alone(name, layers, folder))
        counted("recordings heard", sum(map(len, found.values())))
        for device, scores in found.items():
            say_device(device, added(scores), aims)
        if loose_claims:
            aims.say("claims of notes on clean loose takes", float(sum(loose_claims)), most=0.0)
        if asked_of:
            aims.say("another song: asked about, percent", 100.0 * float(np.mean(asked_of)), least=100.0)
        for name in () if options.short else SONGS:
            _other_strings(name, folder, aims)
        for what, samples in other_sounds():
            right = refused_or_asked(samples, arranged(SONGS[0]), folder)
            aims.say(f"{what}: refused or asked about", float(right), least=1.0)
        _time(folder, aims, short=options.short)
    return aims.exit_code


def _alone(name: str, layers: tuple[Layer, ...], folder: Path) -> Score:
    """Hear some layers alone."""
    arrangement = arranged(name)
    played = play(
        arrangement, Performance("alone", speeds=(0.9, 0.95), wrong=3, missed=2, layers=layers, seed=8)
    )
    recording = read_recording(record(played, "phone", folder / "tune"))
    return score(hear(recording, arrangement, HearingOptions(layers)), played, arrangement)


def _other_strings(name: str, folder: Path, aims: Aims) -> None:
    """Hold what was played on other strings against the song's own: heard through, or asked about."""
    arrangement = arranged(name)
    song, _ = drop_pins(arrangement.song)
    for tuning in TUNINGS:
        played = play(arrange(song, tuning_of(tuning)), SEVEN[1])
        heard = hear(read_recording(record(played, "phone", folder / "strings")), arrangement)
        slips = {stroke.place[0]: stroke.slip for stroke in played.strokes if stroke.slip}
        wrong = {bar for bar, slip in slips.items() if slip == "wrong"}
        told = {stroke.bar_number for stroke in heard.slips() if stroke.verdict in NOTES}
        aims.say(f"{name} on {tuning}, held against its own strings: trust", heard.trust, least=LEAST_TRUST)
        others = len(told - set(slips))
        print(
            f"  bars with another note found: {len(wrong & told)} of {len(wrong)}; others told of: {others}"
        )
    samples = play(arrangement, SEVEN[1]).samples
    asked_of = []
    for semitones in SHAPES_HIGHER:
        part = Fraction(2.0 ** (-semitones / 12.0)).limit_denominator(60)
        moved = resample_poly(samples, part.numerator, part.denominator).astype(np.float32)
        path = folder / "moved.wav"
        soundfile.write(path, degraded(moved, "phone")[0], RATE_HZ)
        asked_of.append(hear(read_recording(path), arrangement).trust < LEAST_TRUST)
    aims.say(
        f"{name}, the same shapes on other strings: asked about, percent",
        100.0 * float(np.mean(asked_of)),
        least=100.0,
    )


def wrong_song(path: Path, other: str) -> bool:
    """Return whether a recording of one song is asked about when it is held against another."""
    return hear(read_recording(path), arranged(other)).trust < LEAST_TRUST


def _time(folder: Path, aims: Aims, *, short: bool) -> None:
    """Time the whole command on a recording of three minutes."""
    song_path = song_to_time(folder, short=short)
    song = read_song(song_path)
    arrangement = arrange(song, song_tuning(song))
    path = record(play(arrangement, replace(SEVEN[0], speeds=(1.0,))), "phone", folder / "long")
    report = folder / "report.json"
    costs = [run(report, *tercet("hear", song_path, path, "-o", report)) for _ in range(1 if short else 5)]
    cost = sorted(costs, key=lambda each: each.worked_s)[len(costs) // 2]
    length_s = soundfile.info(path).duration
    print(f"{length_s:.0f} s of recording, whole process; made: {cost.made}")
    aims.say("processor time, s, the middle one of five", cost.worked_s, most=3.0)
    print(f"  memory at most: {cost.most_bytes / 1e6:.0f} MB")


if __name__ == "__main__":
    sys.exit(main())
