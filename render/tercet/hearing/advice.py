"""Advice: one thing that went well, and one thing to practise next, with the track for it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby, pairwise

import numpy as np

from tercet.hearing.model import LEAST_TRUST, PERHAPS, Advice, Claim, Heard, HeardStroke
from tercet.hearing.sentences import said
from tercet.song import Bar
from tercet.theory import spell

__all__ = ["advise"]

OFF_CENTS, IN_TUNE_CENTS = 10.0, 6.0
AGAIN = 2
"""So many slips in the notes of one bar, over all its playings, ask for practice."""

SLOWER_PART = 1.0 / 1.12
SLOWER_BARS = 2
FRONT_OFF_LU, FRONT_RIGHT_LU = 3.0, 1.5
RAN_PAST = 3
STEADY_PART = 0.05
WELL_BARS = 4
TOO_NOISY_DB = 12.0

MANY_NOTES = 6
SURE_OF_STRING, UNSURE_OF_STRING, SURE_OF_ALL = 0.95, 0.65, 0.9
"""How far a string's tuning is relied on, with so many notes and with fewer; and that of all strings."""

SURE_OF_TEMPO, SURE_OF_FRONT, SURE_OF_GAINED_FRONT = 0.8, 0.85, 0.7

NOTES_SPEED, TIMING_SPEED = "70%", "80%"
"""How fast a loop of wrong or missed notes is practised, and one of late or early ones."""

NOTES = ("another note", "missed")


def advise(heard: Heard) -> Advice:
    """Return what a student is told of what was heard; in a recording that may be of another song, a question."""
    if heard.trust < LEAST_TRUST:
        title = heard.arrangement.song.title
        ask = (
            f"Is this {title}, in its key and for these strings? Little of it was recognised: choose the song that was "
            "played, its --tuning and --transpose, --only with a layer that was played alone, or record nearer to the "
            "ukulele."
        )
        return Advice("", None, ask)
    claims = tuple(
        claim
        for found in (_tuning, _notes_again, _slower, _front, _rolls, _single_notes, _timing)
        for claim in found(heard)
    )
    return Advice(_well(heard), claims[0] if claims else None, "", claims[1:])


def _claim(
    kind: str,
    sentence: str,
    trust: float,
    heard: Heard,
    track: str,
    bars: Sequence[int] = (),
    speed: str = "",
) -> Claim:
    if heard.noise_db < TOO_NOISY_DB:
        trust = min(trust, PERHAPS - 0.05)
    trust = min(trust, heard.trust)
    if trust < PERHAPS:
        sentence = said("perhaps", said=f"{sentence[0].lower()}{sentence[1:]}")
    options = ["--track", track]
    if bars:
        options += ["--bars", f"{bars[0]}-{bars[-1]}" if len(bars) > 1 else str(bars[0])]
    if speed:
        options += ["--speed", speed]
    return Claim(kind, sentence, tuple(bars), track, tuple(options), round(trust, 2))  # type: ignore[arg-type]


def _listed(names: Iterable[str]) -> str:
    *most, last = names
    return said("and", most=", ".join(most), last=last) if most else last


def _counted(count: int, what: str) -> str:
    return said(f"{what}_one" if count == 1 else f"{what}_many", count=count)


# ---- what to practise, in the order of choice


def _tuning(heard: Heard) -> Iterator[Claim]:
    """Yield the string that is furthest off the others, or all of them where they are off together."""
    if len(heard.tuning) < 2:
        return
    together = float(np.median([string.cents for string in heard.tuning]))
    furthest = max(heard.tuning, key=lambda string: abs(string.cents - together))
    off = furthest.cents - together
    if abs(off) > OFF_CENTS + furthest.uncertainty_cents:
        trust = SURE_OF_STRING if furthest.notes >= MANY_NOTES else UNSURE_OF_STRING
        name = "string_high" if off > 0 else "string_low"
        sentence = said(name, string=furthest.string, cents=f"{abs(off):.0f}")
        yield _claim("tuning", sentence, trust, heard, "tune-up")
    elif abs(together) > OFF_CENTS and all(string.notes >= MANY_NOTES for string in heard.tuning):
        sentence = said("all_high" if together > 0 else "all_low", cents=f"{abs(together):.0f}")
        yield _claim("tuning", sentence, SURE_OF_ALL, heard, "tune-up")


def _notes_again(heard: Heard) -> Iterator[Claim]:
    """Yield the places where notes were missed or wrong more than once, the worst first."""
    bars = {bar.number: bar for bar in heard.arrangement.bars}
    by_place: dict[tuple[str, int], list[HeardStroke]] = {}
    for stroke in heard.slips():
        if stroke.verdict in NOTES:
            bar = bars[stroke.bar_number]
            by_place.setdefault((bar.section, bar.section_bar), []).append(stroke)
    for slips in sorted(by_place.values(), key=len, reverse=True):
        if len(slips) >= AGAIN:
            yield _of_notes(slips, heard, bars)


def _of_notes(slips: Sequence[HeardStroke], heard: Heard, bars: dict[int, Bar]) -> Claim:
    numbers = sorted({slip.bar_number for slip in slips})
    first = numbers[0]
    told = _listed(dict.fromkeys(_told(slip, heard) for slip in slips))
    where = "in_pickup" if numbers == [0] else "in_bars" if len(numbers) > 1 else "in_bar"
    sentence = said(where, bars=_listed(map(str, numbers)), told=told)
    around = [number for number in (first, first + 1) if number in bars]
    trust = float(np.mean([slip.trust for slip in slips]))
    return _claim("notes", sentence, trust, heard, "loop", around, NOTES_SPEED)


def _told(slip: HeardStroke, heard: Heard) -> str:
    key = heard.arrangement.song.key
    wanted = spell(slip.strings[-1].midi, key)
    if slip.verdict == "missed" or slip.heard_midi is None:
        return said("not_heard", wanted=wanted)
    return said("heard_for", heard=spell(slip.heard_midi, key), wanted=wanted)


def _slower(heard: Heard) -> Iterator[Claim]:
    """Yield the runs of two bars or more that were slower than the rest; a last bar may be."""
    stood = {pause.bar_number for pause in heard.pauses} | {heard.arrangement.bars[-1].number}
    for slow, run in groupby(
        heard.tempi, key=lambda bar: bar.part < SLOWER_PART and bar.bar_number not in stood
    ):
        found = list(run)
        numbers = [bar.bar_number for bar in found]
        steady = all(after == before + 1 for before, after in pairwise(numbers))
        if slow and len(found) >= SLOWER_BARS and steady:
            part = float(np.mean([1.0 - bar.part for bar in found]))
            sentence = said("slower", first=numbers[0], last=numbers[-1], percent=f"{100 * part:.0f}")
            yield _claim("slower", sentence, SURE_OF_TEMPO, heard, "ladder", numbers)


def _front(heard: Heard) -> Iterator[Claim]:
    front = heard.front
    if front.lu is None or front.wanted_lu is None or front.uncertainty_lu is None:
        return
    off = front.lu - front.wanted_lu
    if abs(off) <= FRONT_OFF_LU + front.uncertainty_lu:
        return
    figures = {"lu": f"{front.lu:.0f}", "wanted": f"{front.wanted_lu:.0f}"}
    sentence = said("front_near" if off < 0 else "front_far", **figures)
    trust = SURE_OF_GAINED_FRONT if front.gain_controlled else SURE_OF_FRONT
    yield _claim("front", sentence, trust, heard, "contrast")


def _rolls(heard: Heard) -> Iterator[Claim]:
    past = [stroke for stroke in heard.slips() if stroke.verdict == "ran past"]
    if len(past) < RAN_PAST:
        return
    numbers = sorted({stroke.bar_number for stroke in past})
    bars = _listed(map(str, numbers))
    sentence = said("ran_past", rolls=_counted(len(past), "roll"), bars=bars)
    yield _claim("rolls", sentence, float(np.mean([stroke.trust for stroke in past])), heard, "turns-rolls")


def _single_notes(heard: Heard) -> Iterator[Claim]:
    """Yield single slips in the notes, the surest first."""
    bars = {bar.number: bar for bar in heard.arrangement.bars}
    places: dict[tuple[str, int], list[HeardStroke]] = {}
    for stroke in heard.slips():
        if stroke.verdict in NOTES:
            bar = bars[stroke.bar_number]
            places.setdefault((bar.section, bar.section_bar), []).append(stroke)
    alone = [slips[0] for slips in places.values() if len(slips) == 1]
    for slip in sorted(alone, key=lambda slip: -slip.trust):
        yield _of_notes([slip], heard, bars)


def _timing(heard: Heard) -> Iterator[Claim]:
    bars = {bar.number for bar in heard.arrangement.bars}
    for stroke in heard.slips():
        if stroke.verdict in ("late", "early"):
            ms = f"{abs(stroke.off_s) * 1000:.0f}"
            sentence = said(f"came_{stroke.verdict}", bar=stroke.bar_number, ms=ms)
            around = [number for number in (stroke.bar_number, stroke.bar_number + 1) if number in bars]
            yield _claim("timing", sentence, stroke.trust, heard, "loop", around, TIMING_SPEED)


# ---- what went well


def _well(heard: Heard) -> str:
    """Return one thing that went well, the most telling that holds."""
    slips = [stroke for stroke in heard.slips() if stroke.verdict in NOTES]
    played = sorted({stroke.bar_number for stroke in heard.strokes})
    if not slips and len(played) >= WELL_BARS:
        return said("well_notes", bars=_counted(len(played), "bar"))
    front = heard.front
    if (
        front.lu is not None
        and front.wanted_lu is not None
        and abs(front.lu - front.wanted_lu) < FRONT_RIGHT_LU
    ):
        return said("well_front", lu=f"{front.lu:.0f}")
    clean = _longest_run([number for number in played if number not in {slip.bar_number for slip in slips}])
    if len(clean) >= WELL_BARS:
        return said("well_bars", first=clean[0], last=clean[-1])
    parts = [bar.part for bar in heard.tempi]
    if len(parts) >= WELL_BARS and float(np.median(np.abs(np.array(parts) - 1.0))) < STEADY_PART:
        return said("well_pulse")
    if heard.tuning and all(abs(string.cents) < IN_TUNE_CENTS for string in heard.tuning):
        return said("well_tuned")
    return said("well_going", bars=_counted(len(played), "bar"))


def _longest_run(numbers: Sequence[int]) -> list[int]:
    best: list[int] = []
    run: list[int] = []
    for number in numbers:
        run = [*run, number] if run and number == run[-1] + 1 else [number]
        best = max(best, run, key=len)
    return best
