"""Advice: one thing that went well, and one thing to practise next, with the track for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise

import numpy as np

from tercet.hearing.model import LEAST_TRUST, PERHAPS, Advice, Claim, Heard, HeardStroke
from tercet.song import Bar
from tercet.theory import spell
from tercet.wording import counted, listed

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

NOTES = ("another note", "missed")


def advise(heard: Heard) -> Advice:
    """Return what a student is told of what was heard; in a recording that may be of another song, a question."""
    if heard.trust < LEAST_TRUST:
        title = heard.arrangement.song.title
        ask = (
            f"Is this {title}, in its key and for these strings? Little of it was recognised: choose the song that was "
            "played, its --tuning and --transpose, or record nearer to the ukulele."
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
    said = sentence if trust >= PERHAPS else f"Perhaps: {sentence[0].lower()}{sentence[1:]}"
    options = ["--track", track]
    if bars:
        options += ["--bars", f"{bars[0]}-{bars[-1]}" if len(bars) > 1 else str(bars[0])]
    if speed:
        options += ["--speed", speed]
    return Claim(kind, said, tuple(bars), track, tuple(options), round(trust, 2))  # type: ignore[arg-type]


# ---- what to practise, in the order of choice


def _tuning(heard: Heard) -> Iterator[Claim]:
    """Yield the string that is furthest off the others, or all of them where they are off together."""
    if len(heard.tuning) < 2:
        return
    together = float(np.median([string.cents for string in heard.tuning]))
    furthest = max(heard.tuning, key=lambda string: abs(string.cents - together))
    off = furthest.cents - together
    if abs(off) > OFF_CENTS + furthest.uncertainty_cents:
        high = "high" if off > 0 else "low"
        trust = 0.95 if furthest.notes >= 6 else 0.65
        sentence = f"String {furthest.string} is about {abs(off):.0f} cents too {high}: tune it first."
        yield _claim("tuning", sentence, trust, heard, "tune-up")
    elif abs(together) > OFF_CENTS and all(string.notes >= 6 for string in heard.tuning):
        high = "higher" if together > 0 else "lower"
        sentence = (
            f"All strings are about {abs(together):.0f} cents {high} than the tracks: tune to them first."
        )
        yield _claim("tuning", sentence, 0.9, heard, "tune-up")


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
    told = listed(dict.fromkeys(_told(slip, heard) for slip in slips))
    where = f"{'Bars' if len(numbers) > 1 else 'Bar'} {listed(map(str, numbers))}"
    if numbers == [0]:
        where = "Pick-up"
    around = [number for number in (first, first + 1) if number in bars]
    trust = float(np.mean([slip.trust for slip in slips]))
    return _claim("notes", f"{where}: {told}.", trust, heard, "loop", around, "70%")


def _told(slip: HeardStroke, heard: Heard) -> str:
    key = heard.arrangement.song.key
    wanted = spell(slip.strings[-1].midi, key)
    if slip.verdict == "missed" or slip.heard_midi is None:
        return f"{wanted} wasn't heard"
    return f"{spell(slip.heard_midi, key)} was heard for {wanted}"


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
            sentence = f"Bars {numbers[0]} to {numbers[-1]} were {part:.0%} slower than the rest."
            yield _claim("slower", sentence, 0.8, heard, "ladder", numbers)


def _front(heard: Heard) -> Iterator[Claim]:
    front = heard.front
    if front.lu is None or front.wanted_lu is None or front.uncertainty_lu is None:
        return
    off = front.lu - front.wanted_lu
    if abs(off) <= FRONT_OFF_LU + front.uncertainty_lu:
        return
    more = "softer strums, or a louder tune" if off < 0 else "a little more of the strums"
    sentence = (
        f"The strums lay {front.lu:.0f} LU behind the melody; {front.wanted_lu:.0f} LU are wanted: {more}."
    )
    yield _claim("front", sentence, 0.7 if front.gain_controlled else 0.85, heard, "contrast")


def _rolls(heard: Heard) -> Iterator[Claim]:
    past = [stroke for stroke in heard.slips() if stroke.verdict == "ran past"]
    if len(past) < RAN_PAST:
        return
    numbers = sorted({stroke.bar_number for stroke in past})
    sentence = (
        f"{counted(len(past), 'roll')} ran past the tune's string, in bars {listed(map(str, numbers))}: let the thumb "
        "come to rest on the next one."
    )
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
            sentence = (
                f"Bar {stroke.bar_number}: one note came {abs(stroke.off_s) * 1000:.0f} ms {stroke.verdict}."
            )
            around = [number for number in (stroke.bar_number, stroke.bar_number + 1) if number in bars]
            yield _claim("timing", sentence, stroke.trust, heard, "loop", around, "80%")


# ---- what went well


def _well(heard: Heard) -> str:
    """Return one thing that went well, the most telling that holds."""
    slips = [stroke for stroke in heard.slips() if stroke.verdict in NOTES]
    played = sorted({stroke.bar_number for stroke in heard.strokes})
    if not slips and len(played) >= WELL_BARS:
        return f"Every note of the {counted(len(played), 'bar')} you played was there."
    front = heard.front
    if (
        front.lu is not None
        and front.wanted_lu is not None
        and abs(front.lu - front.wanted_lu) < FRONT_RIGHT_LU
    ):
        return f"The melody stood {front.lu:.0f} LU in front of the strums, just as wanted."
    clean = _longest_run([number for number in played if number not in {slip.bar_number for slip in slips}])
    if len(clean) >= WELL_BARS:
        return f"In bars {clean[0]} to {clean[-1]} every note was there."
    parts = [bar.part for bar in heard.tempi]
    if len(parts) >= WELL_BARS and float(np.median(np.abs(np.array(parts) - 1.0))) < STEADY_PART:
        return "Your pulse was steady."
    if heard.tuning and all(abs(string.cents) < IN_TUNE_CENTS for string in heard.tuning):
        return "Your ukulele was in tune."
    return f"You kept going for {counted(len(played), 'bar')}."


def _longest_run(numbers: Sequence[int]) -> list[int]:
    best: list[int] = []
    run: list[int] = []
    for number in numbers:
        run = [*run, number] if run and number == run[-1] + 1 else [number]
        best = max(best, run, key=len)
    return best
