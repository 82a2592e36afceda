"""Hearing: a recording held against the take that was wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tercet.arranging import Arrangement
from tercet.errors import RequestError
from tercet.hearing.alignment import align
from tercet.hearing.fronts import front_of
from tercet.hearing.levels import gain_track, level_meter
from tercet.hearing.model import Heard, HeardString, HeardStroke, HearingOptions
from tercet.hearing.onsets import find_onsets
from tercet.hearing.recordings import Recording
from tercet.hearing.spectra import FloatArray
from tercet.hearing.strings import string_times_s
from tercet.hearing.templates import fits, newly_sounding, stroke_templates
from tercet.hearing.timing import bar_tempi, lateness_s, overall_slope, pauses, repeats, runs_of
from tercet.hearing.trust import song_trust
from tercet.hearing.tuning import overall_cents, string_tunings
from tercet.hearing.verdicts import Judged, MissedStroke, judged, missed_strokes, sounding_keys
from tercet.hearing.wanted import WantedTake, wanted_take

__all__ = ["hear"]

FEWEST_ONSETS = 4
ONSETS_A_STROKE, MORE_ONSETS = 2, 20
"""So many onsets are kept, the strongest: a recording has about as many as the song has strokes."""

_AS_IT_IS = HearingOptions()


def hear(recording: Recording, arrangement: Arrangement, options: HearingOptions = _AS_IT_IS) -> Heard:
    """Hold a recording against an arrangement: what was played of it, when, how loud, and how well in tune.

    Parameters
    ----------
    recording
        From `read_recording`.
    arrangement
        The song for the strings and the hands of whoever plays, in the key that is played.
    options
        What is listened for.

    Raises
    ------
    RequestError
        Nothing is struck in the recording, or these layers have no notes.
    """
    wanted = wanted_take(arrangement, frozenset(options.layers))
    samples = recording.samples
    found = find_onsets(samples)
    if len(found.times_s) < FEWEST_ONSETS:
        raise RequestError(
            f"in {recording.name} hardly anything is struck: was the microphone near the ukulele, and is this the "
            "right file?"
        )
    onsets = found.strongest(ONSETS_A_STROKE * len(wanted.strokes) + MORE_ONSETS)
    cents = overall_cents(samples)
    new = newly_sounding(samples, onsets.times_s)
    aligned = align(onsets, fits(new, stroke_templates(wanted.strokes, cents)), wanted)
    strings_s = string_times_s(samples, aligned, wanted, cents)
    places = aligned.strokes.tolist()
    firsts_s = np.array([times[0] for times in strings_s])
    runs = runs_of(places, firsts_s, aligned.tempo, wanted)
    late_s = lateness_s(places, firsts_s, runs, wanted)
    sounding = sounding_keys(samples, strings_s, new.colour, cents)
    heard = [
        _Struck(place, times, late, verdict)
        for place, times, late, verdict in zip(
            places, strings_s, late_s.tolist(), judged(wanted, aligned, sounding, late_s), strict=True
        )
    ]
    meter = level_meter(samples)
    gain = gain_track(meter, firsts_s.tolist(), [float(times[-1]) for times in strings_s])
    levels = meter.levels_db(firsts_s.tolist(), gain if gain.controlled else None)
    strokes = _strokes(heard, levels, wanted, missed_strokes(aligned, runs, wanted, sounding))
    as_wanted = [
        (wanted.strokes[each.stroke], each.times_s) for each in heard if each.judged.verdict != "another note"
    ]
    numbers = [stroke.bar_number for stroke in strokes]
    slope = overall_slope(places, firsts_s, runs, wanted)
    return Heard(
        recording.name,
        strokes,
        bar_tempi(places, firsts_s, runs, wanted),
        60.0 / (wanted.pulse_s * slope),
        string_tunings(samples, as_wanted),
        front_of([wanted.strokes[place] for place in places], levels, gain, meter, wanted),
        repeats(places, firsts_s, wanted),
        pauses(places, firsts_s, aligned.tempo, wanted),
        min(numbers),
        max(numbers),
        meter.over_noise_db(levels),
        song_trust(aligned, wanted, [each.judged for each in heard]),
        arrangement,
        wanted.take,
    )


@dataclass(frozen=True, slots=True)
class _Struck:
    """A stroke that was heard: its place, when its strings were struck, how late it was, and what it was."""

    stroke: int
    times_s: FloatArray
    late_s: float
    judged: Judged


def _strokes(
    heard: Sequence[_Struck],
    levels: FloatArray,
    wanted: WantedTake,
    missed: Sequence[MissedStroke],
) -> tuple[HeardStroke, ...]:
    """Return what was heard with what was missed between, in the order played."""
    usual = float(np.median(levels))
    left_out: dict[int, list[tuple[int, float]]] = {}
    for each_missed in missed:
        left_out.setdefault(each_missed.after_pair, []).append((each_missed.stroke, each_missed.trust))
    made: list[HeardStroke] = []
    for n, (each, level) in enumerate(zip(heard, levels.tolist(), strict=True)):
        stroke = wanted.strokes[each.stroke]
        absent = each.judged.verdict == "missed"
        made.append(
            HeardStroke(
                each.stroke,
                stroke.bar_number,
                stroke.layer,
                stroke.action,
                stroke.tune,
                stroke.onset_s,
                None if absent else float(each.times_s[0]),
                tuple(
                    HeardString(string.string, string.midi, None if absent else float(at_s))
                    for string, at_s in zip(stroke.strings, each.times_s, strict=True)
                ),
                None if absent or not np.isfinite(level) else level - usual,
                each.judged.verdict,
                each.judged.heard_midi,
                0.0 if absent else each.late_s,
                each.judged.trust,
            )
        )
        made += [_missed(wanted, place, trust) for place, trust in left_out.get(n, ())]
    return tuple(made)


def _missed(wanted: WantedTake, place: int, trust: float) -> HeardStroke:
    stroke = wanted.strokes[place]
    return HeardStroke(
        place,
        stroke.bar_number,
        stroke.layer,
        stroke.action,
        stroke.tune,
        stroke.onset_s,
        None,
        tuple(HeardString(string.string, string.midi, None) for string in stroke.strings),
        None,
        "missed",
        None,
        0.0,
        trust,
    )
