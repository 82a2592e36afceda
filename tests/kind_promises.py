"""What each kind of track promises beside its turns, held against what is heard; see `tests.turn_promises`.

`KIND_PROMISES` names them; a promise that is broken raises `AssertionError`. One that is about a kind which a kit
doesn't hold says nothing, see `tests.test_kinds` for which kits hold all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby, pairwise
from statistics import median

import numpy as np

from tests.class_kits import ClassKit
from tests.measure.audio import LAYERS, Samples, Track
from tests.measure.loudness import integrated_lufs, true_peak_dbtp
from tests.measure.onsets import onsets_s
from tests.measure.passages import cut, gains_in, lag_of, level_db, step_over_slope
from tests.measure.pitch import cents_sharp, pitch_rise_db
from tests.measure.steps import tempo_ratio
from tests.turn_promises import MOST_FRAMES, Promise

__all__ = ["GUIDE_DB", "KIND_PROMISES", "OPEN_STRINGS", "gain_of_guide"]

KIND_PROMISES: dict[str, Promise] = {}

OPEN_STRINGS = {"high-g": (67, 60, 64, 69), "low-g": (55, 60, 64, 69), "baritone": (50, 55, 59, 64)}
"""Keys of the open strings, string 4 first."""

GUIDE_DB = -14.0
LEAST_RISE_DB = 10.0

SUMS: dict[tuple[str, ...], tuple[str, ...]] = {
    **{(f"without-{layer}", f"only-{layer}"): ("demo",) for layer in (*LAYERS, "tune")},
    tuple(f"only-{layer}" for layer in LAYERS): ("demo",),
    ("turns-open", "turns-open-swap"): ("demo",),
    ("turns-rolls", "turns-rolls-swap"): ("demo", "only-strums"),
    tuple(f"turns-string-{string}" for string in (1, 2, 3, 4)): ("demo", "demo", "demo"),
}
"""Tracks that hold together just what others hold together."""

BUILD_UP = (("strums",), ("strums", "between"), ("strums", "between", "melody"))


def kind_promise(name: str, *needs: str) -> Callable[[Promise], Promise]:
    """Put a promise into the table; it is about kits that hold all tracks it needs."""

    def put(check: Promise) -> Promise:
        def where_it_can(kit: ClassKit) -> None:
            if set(needs) <= set(kit.claims):
                check(kit)

        KIND_PROMISES[name] = where_it_can
        return check

    return put


def _part(kit: ClassKit, name: str, start_s: float, end_s: float) -> Track:
    samples = kit.music(name).samples[kit.frame(start_s) : kit.frame(end_s)]
    return Track(samples, kit.track(name).rate_hz)


def _heard_again(kit: ClassKit, name: str, turn_index: int, reference: Samples) -> tuple[int, float, float]:
    """Return lag, likeness and gain of a turn's music against that of a track of the whole song."""
    turn = kit.claims[name].turns_of("listen", "together")[turn_index]
    about, start = kit.place_in(name, turn), kit.frame(turn.start_s + 0.25)
    length = min(kit.frame(turn.end_s - 0.05) - start, MOST_FRAMES)
    lag = lag_of(kit.music(name).samples, reference, start - about, length, about)
    there = cut(reference, start - lag.frames, length)
    (gain,) = gains_in(cut(kit.music(name).samples, start, length), [there])
    return lag.frames, lag.likeness, gain


@kind_promise("what is chosen and what is left out are the demo", "demo")
def _sums(kit: ClassKit) -> None:
    for parts, whole in SUMS.items():
        if not {*parts, *whole} <= set(kit.claims):
            continue
        left = sum(kit.music(name).samples for name in parts) - sum(kit.music(name).samples for name in whole)
        steps = float(np.abs(left).max()) / kit.track("demo").step
        most = float(len(parts) + len(whole)) + 0.5
        assert steps <= most, f"{' + '.join(parts)} − {' − '.join(whole)} is {steps:.1f} steps off"


@kind_promise("what a track is named for is heard in it", "only-tune", "turns-rolls-swap", "turns-open-swap")
def _named_for(kit: ClassKit) -> None:
    """No track of a choice is silent, and what is left of the song is not the song."""
    demo_db = level_db(kit.music("demo").samples)
    for name in kit.claims:
        if name.startswith(("only-", "without-", "turns-open", "turns-string", "turns-rolls")):
            level = level_db(kit.music(name).samples)
            assert level > demo_db - 50.0, f"{name} is silent"
    apart = level_db(kit.music("only-tune").samples - kit.music("demo").samples)
    assert apart > demo_db - 40.0, "only-tune is the demo"


@kind_promise("every note of the tune is in only-tune, and in without-tune none", "only-tune", "without-tune")
def _tune(kit: ClassKit) -> None:
    """At each written note of the tune something is struck in the one, and not by as much in the other.

    Under a bright string that rings on, a soft stroke isn't found by its treble; then its pitch must come.
    """
    music = Track(kit.music("only-tune").samples, kit.track("only-tune").rate_hz)
    strokes_s = onsets_s(music)
    bars = [bar for bar in kit.claims["demo"].bars if bar.number > 0]
    song = kit.song
    unheard = []
    for note in song.tune:
        number, into = divmod(song.swung(note.beat) - song.pickup_beat, song.bar_beat)
        if number < 0 or number >= len(bars) or not note.syllable:
            continue
        bar = bars[int(number)]
        due_s = bar.start_s + float(into) / song.bar_beat * (bar.end_s - bar.start_s)
        near_s = 0.06 if abs(bar.end_s - bar.start_s - song.bar_beat * song.beat_s) < 0.02 else 0.25
        struck = np.abs(strokes_s - due_s).min() <= near_s
        if not struck and pitch_rise_db(music, note.midi, due_s, near_s) < LEAST_RISE_DB:
            unheard.append((int(number) + 1, float(into)))
    assert len(unheard) <= 0.03 * len(song.tune), f"unheard: {unheard}"
    assert len(strokes_s) <= 1.1 * len(song.tune) + 2, f"{len(strokes_s)} strokes for {len(song.tune)} notes"


@kind_promise("a phrase that comes again is the demo's, as loud", "demo")
def _again(kit: ClassKit) -> None:
    """Each phrase by itself; bars on the whole, as in the demo strings of the bar before ring on into many of them."""
    demo = kit.music("demo").samples
    for name in ("echo", "loop", "turns-bars", "turns-bars-swap", "turns-phrases", "turns-phrases-swap"):
        turns = kit.claims[name].turns_of("listen") if name in kit.claims else ()
        heard = [_heard_again(kit, name, index, demo)[1:] for index in range(len(turns))]
        if heard and "bars" in name:
            heard = [
                (
                    float(np.median([alike for alike, _ in heard])),
                    float(np.median([gain for _, gain in heard])),
                )
            ]
        for index, (likeness, gain) in enumerate(heard, 1):
            assert likeness >= 0.97, f"{name}: passage {index} is {likeness:.3f} the demo's"
            off = 0.05 if "bars" in name else 0.02
            assert abs(gain - 1.0) <= off, f"{name}: passage {index} is {gain:.3f} of the demo's"


@kind_promise("a loop goes round without a seam", "demo", "loop")
def _loop(kit: ClassKit) -> None:
    """Each round is as long as the first to the frame and the same, and nothing clicks where it begins again: what
    is struck there is no steeper than in the demo."""
    claim = kit.claims["loop"]
    rounds = claim.turns_of("listen", "together")
    assert len(rounds) == 4, f"{len(rounds)} rounds"
    lags = [_heard_again(kit, "loop", index, kit.music("demo").samples)[0] for index in range(len(rounds))]
    lengths = [later - earlier for earlier, later in pairwise(lags)]
    assert len(set(lengths)) == 1, f"rounds of {lengths} frames"
    for turn in rounds[1:]:
        step = step_over_slope(kit.track("loop"), kit.frame(turn.start_s))
        again = kit.frame(turn.start_s) - kit.place_in("loop", turn)
        struck = step_over_slope(kit.track("demo"), again)
        assert step <= max(1.0, 1.1 * struck), f"a step of {step:.2f} times the slope at {turn.start_s} s"
        around = _part(kit, "loop", turn.start_s - 0.25, turn.start_s + 0.25)
        assert level_db(around.samples) >= level_db(kit.music("demo").samples) - 20.0, (
            f"a gap at {turn.start_s}"
        )


@kind_promise(
    "a build-up adds a layer each round", "demo", "build-up", *(f"only-{layer}" for layer in LAYERS)
)
def _build_up(kit: ClassKit) -> None:
    turns = kit.claims["build-up"].turns_of("listen", "together")
    assert len(turns) % 3 == 0, f"{len(turns)} rounds"
    for index, layers in zip(range(len(turns)), BUILD_UP * (len(turns) // 3), strict=True):
        expected = np.asarray(sum(kit.music(f"only-{layer}").samples for layer in layers))
        _, likeness, gain = _heard_again(kit, "build-up", index, expected)
        what = f"round {index + 1} ({' and '.join(layers)})"
        assert likeness >= 0.97, f"{what} is {likeness:.3f} what it should be"
        assert abs(gain - 1.0) <= 0.03, f"{what} is {gain:.3f} of what it should be"


@kind_promise("flat is as loud as layered", "demo", "flat", "contrast")
def _flat(kit: ClassKit) -> None:
    """Over the song to 0.5 LU, in both tracks, and yet another playing: no layer lies behind."""
    by_step: dict[str, list[Samples]] = {}
    for turn in kit.claims["contrast"].turns_of("listen", "together"):
        part = _part(kit, "contrast", turn.start_s, turn.end_s)
        by_step.setdefault(turn.step, []).append(part.samples)
    rate_hz = kit.track("demo").rate_hz
    flat, layered = (integrated_lufs(Track(np.concatenate(parts), rate_hz)) for parts in by_step.values())
    assert abs(flat - layered) <= 0.5, f"contrast: flat {flat:.2f} LUFS, layered {layered:.2f} LUFS"
    flat, layered = (integrated_lufs(Track(kit.music(each).samples, rate_hz)) for each in ("flat", "demo"))
    assert abs(flat - layered) <= 0.5, f"flat {flat:.2f} LUFS, demo {layered:.2f} LUFS"
    for index, turn in enumerate(kit.claims["contrast"].turns_of("listen", "together")):
        wanted, other = ("flat", "demo") if index % 2 == 0 else ("demo", "flat")
        likeness = [
            _heard_again(kit, "contrast", index, kit.music(each).samples)[1] for each in (wanted, other)
        ]
        assert likeness[0] >= 0.97, f"contrast: {turn.step} at {turn.start_s} s is {likeness[0]:.3f} {wanted}"
        assert likeness[1] < likeness[0] - 0.005, f"contrast: at {turn.start_s} s both are {likeness}"


@kind_promise("a ladder climbs as it says", "ladder")
def _ladder(kit: ClassKit) -> None:
    """Tempos by strokes and by knocks: each round against the one at full speed, to 0.5 %; and each climbs."""
    claim = kit.claims["ladder"]
    rounds = claim.turns_of("listen", "together")
    counts = claim.turns_of("count-in")
    assert len(rounds) == len(counts), f"{len(rounds)} rounds, {len(counts)} count-ins"
    pulse_s = kit.song.beat_s * float(kit.song.pulse_beat)
    full = [turn for turn in rounds if turn.speed == "100%"]
    climbed: list[float] = []
    for number, (count, turn) in enumerate(zip(counts, rounds, strict=True)):
        told = float(turn.speed.rstrip("%")) / 100
        frames = kit.music("ladder").cue_frames
        knocks = [frames[each] for each in claim.cues_s("count") if count.start_s <= each < count.end_s]
        counted = pulse_s / (float(np.median(np.diff(knocks))) / kit.track("ladder").rate_hz)
        assert abs(counted - told) <= 0.005 * told, (
            f"round {number + 1} is counted in at {counted:.1%}, not {told:.0%}"
        )
        climbed.append(counted)
        last = full[number // (len(rounds) // len(full))]
        ratio, paired = tempo_ratio(
            _part(kit, "ladder", turn.start_s, turn.end_s),
            _part(kit, "ladder", last.start_s, last.end_s),
            told,
        )
        assert paired >= 0.7, (
            f"round {number + 1}: {paired:.0%} of the strokes are where {told:.0%} puts them"
        )
        assert abs(ratio - told) <= 0.005 * told, f"round {number + 1} goes at {ratio:.1%}, not {told:.0%}"
    steps = len(rounds) // len(full)
    for first in range(0, len(rounds), steps):
        ladder = climbed[first : first + steps]
        shown = " ".join(f"{tempo:.0%}" for tempo in ladder)
        assert len(ladder) >= 3, f"a ladder of {len(ladder)} steps"
        assert ladder[0] <= 0.8, f"from {shown} nothing is learnt slowly"
        assert all(later >= 1.05 * earlier for earlier, later in pairwise(ladder)), f"{shown} doesn't climb"


@kind_promise("slow is as slow as it says", "demo", "slow")
def _slow(kit: ClassKit) -> None:
    slow, demo = (kit.claims[each].turns_of("listen", "together")[0] for each in ("slow", "demo"))
    ratio, paired = tempo_ratio(
        _part(kit, "slow", slow.start_s, slow.end_s), _part(kit, "demo", demo.start_s, demo.end_s), 0.7
    )
    assert paired >= 0.7, f"{paired:.0%} of the strokes are where 70% puts them"
    assert abs(ratio - 0.7) <= 0.0035, f"slow goes at {ratio:.1%}"


@kind_promise("the hardest bars come four times, slowly", "learn", "demo")
def _learn(kit: ClassKit) -> None:
    claim, music = kit.claims["learn"], kit.music("learn").samples
    turns = [turn for turn in claim.turns_of("together") if turn.heard != "nothing"]
    played, timed = kit.claims["demo"].bars, 0
    usual_s = median(bar.end_s - bar.start_s for bar in played)
    for name, found in groupby(turns, key=lambda turn: turn.step.rpartition(",")[0]):
        times = [next(same) for _, same in groupby(found, key=lambda turn: turn.step)]
        assert len(times) == 4, f"{name} comes {len(times)} times"
        first = times[0]
        start, length = kit.frame(first.start_s + 0.25), kit.frame(first.end_s - first.start_s - 0.3)
        assert level_db(music[start : start + length]) >= level_db(music) - 20.0, f"{name} is silent"
        for turn in times[1:]:
            about = kit.frame(turn.start_s) - kit.frame(first.start_s)
            lag = lag_of(music, music, start, length, about)
            assert lag.likeness >= 0.97, f"{name}: {turn.step} is {lag.likeness:.3f} what came first"
        bars = claim.bars_in(first)
        whole = [bar for bar in played if bar.number in {each.number for each in bars}]
        if max(bar.end_s - bar.start_s for bar in whole) > 1.15 * usual_s:
            continue  # what goes round doesn't slow down to an end, as it does in the demo
        told = (whole[-1].end_s - whole[0].start_s) / (bars[-1].end_s - bars[0].start_s)
        assert abs(told - 0.6) <= 0.003, f"{name} is told to go at {told:.1%}"
        timed += 1
        demo = _part(kit, "demo", whole[0].start_s - 0.05, whole[-1].end_s)
        if len(onsets_s(demo)) >= 8:
            ratio, paired = tempo_ratio(
                _part(kit, "learn", bars[0].start_s - 0.05 / told, bars[-1].end_s), demo, told
            )
            assert paired >= 0.6, f"{name}: {paired:.0%} of the strokes are where 60% puts them"
            told_by_few = ratio == 0.0  # fewer pairs than a tempo can be told by
            assert told_by_few or abs(ratio - told) <= 0.01 * told, f"{name} goes at {ratio:.1%}"
    assert timed, "no bar tells how slowly they go"


@kind_promise("each string is heard three times, in tune", "tune-up")
def _tune_up(kit: ClassKit) -> None:
    music = Track(kit.music("tune-up").samples, kit.track("tune-up").rate_hz)
    strokes_s = onsets_s(music)
    turns = kit.claims["tune-up"].turns_of("listen", "together")
    assert len(turns) == 4, f"{len(turns)} strings"
    for turn, key in zip(turns, OPEN_STRINGS["high-g"], strict=True):
        mine = [each for each in strokes_s if turn.start_s - 0.05 <= each < turn.end_s - 0.05]
        assert len(mine) == 3, f"{turn.step} is struck {len(mine)} times"
        for stroke_s, end_s in zip(mine, [*mine[1:], turn.end_s], strict=True):
            sharp = cents_sharp(music, key, stroke_s, end_s)
            assert abs(sharp) <= 1.0, f"{turn.step} is {sharp:+.2f} cents off"


@kind_promise("one gain for all, and no file too high", "demo")
def _gains(kit: ClassKit) -> None:
    """A track that would come too high has less than all others, and then no less than it must."""
    gain_db = kit.claims["demo"].gain_db
    for name, claim in kit.claims.items():
        peak = true_peak_dbtp(kit.track(name))
        is_layer = name.partition("-")[2] in LAYERS
        assert claim.gain_db == gain_db or (claim.gain_db < gain_db and peak >= -1.1 and not is_layer), (
            f"{name}: a gain of {claim.gain_db} dB, the demo's is {gain_db}, and it reaches {peak:.2f} dBTP"
        )
        assert peak <= -1.0, f"{name} reaches {peak:.2f} dBTP"
        assert abs(peak - claim.true_peak_dbtp) <= 0.25, (
            f"{name}: {claim.true_peak_dbtp} dBTP told, {peak:.2f} heard"
        )
        loudness = integrated_lufs(kit.track(name))
        assert abs(loudness - claim.loudness_lufs) <= 0.2, f"{name}: {claim.loudness_lufs} LUFS told"
        longer = kit.track(name).length_frames - kit.frame(claim.length_s)
        assert abs(longer) <= 3, f"{name}: {claim.length_s} s told, {longer} frames longer"


def gain_of_guide(kit: ClassKit, name: str, *heard: str, guide: str) -> float:
    """Return how loud a layer is in a track in which it is a guide, in dB against how loud it is alone."""
    columns = [kit.music(each).samples for each in (guide, *heard)]
    gains = gains_in(
        kit.music(name).samples.astype(np.float64), [each.astype(np.float64) for each in columns]
    )
    return 20.0 * float(np.log10(max(gains[0], 1e-6)))
