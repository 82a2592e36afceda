"""What is promised of cues and of tracks in which recording and student change places, each held against what is heard.

`TURN_PROMISES` names them; a promise that is broken raises `AssertionError`. The frames of a change come from
`kit.json`, as a claim: what is measured there must bear it out.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from tests.class_kits import ClassKit
from tests.measure.audio import Track
from tests.measure.claims import ClaimedTurn
from tests.measure.cues import hear_cue, moments_of
from tests.measure.onsets import onsets_s
from tests.measure.passages import lag_of, level_db, levels_db, shares

__all__ = ["MOST_FRAMES", "PAIRS", "TURN_PROMISES", "Promise", "echo_spaces", "quiet_by_db", "turn_residue"]

Promise = Callable[[ClassKit], None]
TURN_PROMISES: dict[str, Promise] = {}

PAIRS = ("turns-bars", "turns-phrases")
"""Tracks in turns; each has a swap."""

AFTER_S, BEFORE_S = 0.150, 0.100
"""What is silent is so from so long after a change, until so long before the next."""

SILENT_DB = 40.0
ROLL_S = 0.090
MOST_FRAMES = 144_000
"""A phrase is known again by its first three seconds."""

RISE_DB = 12.0
"""Strings that die away together beat, which makes a rise of a few dB; a note that is missing rises by 30 or more."""


def turn_promise(name: str) -> Callable[[Promise], Promise]:
    """Put a promise into the table."""

    def put(check: Promise) -> Promise:
        TURN_PROMISES[name] = check
        return check

    return put


def _pairs(kit: ClassKit) -> list[tuple[str, str]]:
    return [(name, f"{name}-swap") for name in PAIRS if name in kit.claims]


@turn_promise("every cue is heard where it is told, and sounds as it should")
def _cues(kit: ClassKit) -> None:
    """In silence it is heard to 1 %; where music begins with it, as much of it is heard as the music allows."""
    for name, claim in kit.claims.items():
        samples = kit.track(name).samples
        for onset_s, kinds in moments_of(claim.cues).items():
            about = kit.frame(onset_s)
            cue = hear_cue(samples, kit.sounds.of(kinds), about)
            what = f"{name}: {' and '.join(kinds)} at {onset_s} s"
            alone = any(
                turn.start_s + (AFTER_S if turn.whose == "yours" else 0.0) <= onset_s < turn.end_s - BEFORE_S
                for turn in claim.turns_of("count-in", "yours")
                if (turn.heard, turn.guide, turn.start_s > 0.0 and turn.whose == "count-in")
                == ("nothing", "nothing", False)
            )
            assert abs(cue.gain - 1.0) <= (0.01 if alone else 0.5), f"{what}: {cue.gain:.2f} of it is heard"
            assert not alone or abs(cue.frame - about) <= 3, f"{what} is {cue.frame - about} frames late"


@turn_promise("a bell at each change")
def _bells(kit: ClassKit) -> None:
    """A bell at each change, and nowhere else; the first turn has its count-in instead."""
    rung = ("echo", "build-up", "contrast", *(each for pair in _pairs(kit) for each in pair))
    for name in (each for each in rung if each in kit.claims):
        claim = kit.claims[name]
        changes_s = tuple(turn.start_s for turn in claim.turns_of("listen", "yours", "together")[1:])
        assert claim.cues_s("bell") == changes_s, f"{name}: bells told at {claim.cues_s('bell')}"
        for change_s in changes_s:
            kinds = moments_of(claim.cues)[change_s]
            gain = hear_cue(kit.track(name).samples, kit.sounds.of(kinds), kit.frame(change_s)).gain
            assert gain >= 0.6, f"{name}: {gain:.2f} of a bell at {change_s} s"


@turn_promise("the count-in is on the beat")
def _count_in(kit: ClassKit) -> None:
    """Knocks fall on the pulses of the written tempo, and fill whole bars together with a pick-up."""
    song, rate_hz = kit.song, kit.track("demo").rate_hz
    for name, claim in kit.claims.items():
        counts_s = claim.cues_s("count")
        for turn, following in pairwise(claim.turns):
            if turn.whose != "count-in" or name == "tune-up":
                continue
            pulse_s = song.beat_s * float(song.pulse_beat) / (float(turn.speed.rstrip("%")) / 100)
            due_s = [each for each in counts_s if turn.start_s <= each < turn.end_s]
            heard = [
                hear_cue(kit.track(name).samples, kit.sounds.of(["count"]), kit.frame(each), reach=240)
                for each in due_s
            ]
            heard_s = np.array([cue.frame / rate_hz for cue in heard])
            assert all(cue.gain > 0.9 for cue in heard), f"{name}: knocks of {[cue.gain for cue in heard]}"
            off_s = heard_s - (following.start_s - pulse_s * np.arange(len(heard_s), 0, -1))
            if song.pickup_beat.denominator == 1 and name != "learn":
                assert np.abs(off_s).max() <= 0.003, f"{name}: knocks {np.round(off_s * 1000, 1)} ms off"
            assert np.abs(np.diff(heard_s) - pulse_s).max(initial=0.0) <= 0.003, f"{name}: {heard_s}"
            first_bar = next(bar for bar in claim.bars if bar.start_s >= following.start_s - 1e-6)
            pickup_s = 0.0 if first_bar.number else first_bar.end_s - first_bar.start_s
            bars = (turn.end_s - turn.start_s + pickup_s) / (pulse_s * song.bar_beat / float(song.pulse_beat))
            if turn is claim.turns[0] and "chords" not in name:
                assert bars == pytest.approx(round(bars), abs=0.01), f"{name}: {bars:.2f} bars counted"


def quiet_by_db(kit: ClassKit, name: str, swap: str) -> list[float]:
    """Return for each turn how far the one of two tracks that is silent lies below the other, in dB."""
    found = []
    for turn in kit.claims[name].turns_of("listen", "yours"):
        first, last = kit.frame(turn.start_s + AFTER_S), kit.frame(turn.end_s - BEFORE_S)
        plays, demo, silent = (
            level_db(kit.music(each).samples[first:last]) for each in _who(turn, name, swap)
        )
        assert abs(plays - demo) <= 3.0, f"{name}: {plays - demo:+.1f} dB of the demo at {turn.start_s} s"
        found.append(plays - silent)
    return found


def _who(turn: ClaimedTurn, name: str, swap: str) -> tuple[str, str, str]:
    """Return the track that plays in a turn, the demo, and the track that is silent."""
    return (name, "demo", swap) if turn.whose == "listen" else (swap, "demo", name)


@turn_promise("who hasn't the turn is silent")
def _silent(kit: ClassKit) -> None:
    for name, swap in _pairs(kit):
        quiet = quiet_by_db(kit, name, swap)
        assert len(quiet) >= 2, f"{name}: {len(quiet)} turns"
        for number, by_db in enumerate(quiet):
            assert by_db >= SILENT_DB, f"{name}: turn {number + 1} is only {by_db:.1f} dB quieter"


def turn_residue(kit: ClassKit, name: str, swap: str) -> np.ndarray:
    """Return a track and its swap less the demo, cues taken out: what rings past a change, and is damped."""
    ours, theirs, demo = (kit.music(each).samples for each in (name, swap, "demo"))
    return np.asarray(ours + theirs - demo)


@turn_promise("turns and their swap are the demo")
def _swapped(kit: ClassKit) -> None:
    """They add up but for notes that ring past a change, which are damped there: after a change something may be
    missing and dies away; nothing else is."""
    window = kit.frame(0.1)
    for name, swap in _pairs(kit):
        residue = turn_residue(kit, name, swap)
        starts = [kit.frame(turn.start_s) for turn in kit.claims[name].turns_of("listen", "yours")]
        loud_db = level_db(kit.music("demo").samples)
        for start, end in pairwise([*starts, kit.frame(kit.claims[name].turns[-1].end_s)]):
            levels = levels_db(residue, start, end, window)
            lowest = np.minimum.accumulate(np.maximum(levels, loud_db - 50.0))
            rises_db = float((levels - lowest).max())
            assert rises_db <= RISE_DB, (
                f"{name}: {rises_db:.1f} dB more or less than the demo from {start} on"
            )


@turn_promise("a roll belongs to the turn of its tune note")
def _rolls(kit: ClassKit) -> None:
    """Strings struck just before a change, on the way to its first beat, are played by whom the beat belongs to."""
    found = 0
    demo = Track(kit.music("demo").samples, kit.track("demo").rate_hz)
    strokes_s = onsets_s(demo)
    for name, swap in _pairs(kit):
        tracks = [Track(kit.music(each).samples, demo.rate_hz) for each in (name, swap)]
        for turn in kit.claims[name].turns_of("listen", "yours")[1:]:
            early = [each for each in strokes_s if turn.start_s - ROLL_S <= each <= turn.start_s - 0.006]
            if not early:
                continue
            found += 1
            owner, other = shares(tracks, demo, kit.frame(early[0] - 0.002), kit.frame(turn.start_s))
            if turn.whose == "yours":
                owner, other = other, owner
            assert owner >= 0.8, f"{name}: {owner:.2f} of the roll into {turn.start_s} s"
            assert other <= 0.2, f"{name}: {other:.2f} of the roll into {turn.start_s} s by whom it isn't"
    assert found, "no roll begins before a change"


def echo_spaces(kit: ClassKit, name: str = "echo") -> list[int]:
    """Return how long the spaces of an echo are that a phrase follows, in frames.

    How much later than in the demo, where phrases follow at once, each phrase comes than the one before.
    """
    claim, music, demo = kit.claims[name], kit.music(name).samples, kit.music("demo").samples
    lags = []
    for listen in claim.turns_of("listen"):
        about, start = kit.place_in(name, listen), kit.frame(listen.start_s + 0.25)
        length = min(kit.frame(listen.end_s - 0.05) - start, MOST_FRAMES)
        lag = lag_of(music, demo, start - about, length, about)
        assert lag.likeness >= 0.98, f"{name}: {lag.likeness:.3f} of the demo's phrase at {listen.start_s} s"
        lags.append(lag.frames)
    return [later - earlier for earlier, later in pairwise(lags)]


UNSURE = 0.1
"""Of so many phrases a bell may be heard a frame off, where strings sound under it."""


@turn_promise("an echo's space is as long as its phrase")
def _echo(kit: ClassKit) -> None:
    """To the frame by the bells, and by where the phrases are heard, which strings that ring on make a frame uncertain.

    Silent but for a pulse on each beat.

    Where the first phrase begins is told by the count-in, which is rounded to frames knock by knock.
    """
    for name in ("echo",) if "echo" in kit.claims else ():
        claim, frames = kit.claims[name], kit.music(name).cue_frames
        spaces = echo_spaces(kit, name)
        bells = [frames[onset_s] for onset_s in claim.cues_s("bell")]
        lengths = [later - earlier for earlier, later in pairwise(bells)]
        assert len(lengths[::2]) == len(spaces)
        assert all(abs(one - other) <= 1 for one, other in zip(lengths[::2], spaces, strict=True)), (
            f"spaces of {lengths[::2]} frames by the bells, {spaces} by the phrases"
        )
        phrases = [bells[0] - count_in_end(kit, name), *lengths[1::2]]
        off = [abs(phrase - space) for phrase, space in zip(phrases, spaces, strict=False)]
        for number, (phrase, space) in enumerate(zip(phrases, spaces, strict=False)):
            slack = 0 if number and sum(off[1:]) > UNSURE * len(off) else 1
            assert abs(phrase - space) <= slack, f"phrase {number + 1}: {phrase} frames, its space {space}"
        for yours in claim.turns_of("yours"):
            first, last = kit.frame(yours.start_s + AFTER_S), kit.frame(yours.end_s - BEFORE_S)
            by_db = level_db(kit.music("demo").samples) - level_db(kit.music(name).samples[first:last])
            assert by_db >= SILENT_DB, f"the space at {yours.start_s} s is only {by_db:.1f} dB quieter"
            pulses = [each for each in claim.cues_s("pulse") if yours.start_s <= each < yours.end_s]
            due = (yours.end_s - yours.start_s) / (kit.song.beat_s * float(kit.song.pulse_beat))
            assert due * 0.6 <= len(pulses) <= due + 1, (
                f"{len(pulses)} pulses in {due:.1f} at {yours.start_s} s"
            )


def count_in_end(kit: ClassKit, name: str) -> int:
    """Return the frame at which the count-in is over: a pulse after its last knock."""
    counts_s = kit.claims[name].cues_s("count")
    pulse_s = kit.song.beat_s * float(kit.song.pulse_beat)
    return kit.music(name).cue_frames[counts_s[-1]] + kit.frame(pulse_s)
