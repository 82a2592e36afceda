"""Songs as students play them, with slips that are planted and therefore known, and what devices make of the sound.

Everything is rendered by Tercet's own players. What is true is taken from what was rendered: when strings were struck,
and how loud each layer came out, measured in that layer alone by `tests.measure`. Nothing of `tercet.hearing` is used.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, resample, resample_poly, sosfilt

from tercet.arranging import Arrangement
from tercet.performing import Take, TakeNote, lay_out, perform
from tercet.song import LAYERS
from tercet.sound.players import player_of
from tercet.sound.sampler import BuiltInUkulele
from tercet.sound.sf2_reader import SoundFont
from tests.kits import FONT
from tests.measure.audio import Track
from tests.measure.loudness import gesture_levels_lufs

__all__ = ["DEVICES", "SEVEN", "SOUNDS", "Performance", "Played", "TrueStroke", "degraded", "play", "record"]

Samples = NDArray[np.float32]
RATE_HZ = 48_000

SOUNDS = ("ukulele", "nylon", "steel")
"""The built-in ukulele, and two guitars of a sound font that is always there."""

PROGRAMS = {"nylon": 24, "steel": 25}


@dataclass(frozen=True)
class Performance:
    """How a student plays.

    Parameters
    ----------
    name
        What it shows.
    bars
        Indices of bars as a list of (first, last) runs, in parts of the piece from 0 to 1; each later run that doesn't
        follow the one before is a jump.
    speeds
        The student's tempo as a part of the song's, at even places of the take, joined by straight lines.
    wrong, missed, late, past
        How many notes of the tune are played two frets off, left out or more than 100 ms off; how many rolls run on.
    pauses
        How many pauses of two seconds.
    front
        How far the strums lie behind, in LU; as the song says without it.
    flat
        Whether all strokes are equally loud.
    cents
        By string, how far off it is tuned.
    seed
        Of the places of slips.
    """

    name: str
    bars: tuple[tuple[float, float], ...] = ((0.0, 1.0),)
    speeds: tuple[float, ...] = (1.0,)
    wrong: int = 0
    missed: int = 0
    late: int = 0
    past: int = 0
    pauses: int = 0
    front: Fraction | None = None
    flat: bool = False
    cents: dict[int, float] = field(default_factory=dict)
    layers: tuple[str, ...] = LAYERS
    seed: int = 1


SEVEN = (
    Performance("loose", speeds=(0.94, 1.03, 0.97, 1.05, 0.95), seed=1),
    Performance("slips", speeds=(0.9, 0.98, 0.92), wrong=4, missed=3, late=3, seed=2),
    Performance(
        "repeats", ((0.0, 0.35), (0.3, 0.6), (0.5, 1.0)), (0.95, 1.0, 0.9), wrong=1, pauses=1, seed=3
    ),
    Performance("slow", speeds=(0.75, 0.68, 0.72), wrong=2, missed=2, late=2, seed=4),
    Performance("half", ((0.0, 0.45),), (0.5, 0.52), wrong=1, late=1, seed=5),
    Performance("middle", ((0.4, 0.85),), (1.05, 0.98, 1.1), wrong=2, missed=1, pauses=1, seed=6),
    Performance("near", speeds=(1.0, 0.96), front=Fraction(4), past=3, wrong=2, cents={2: 30.0}, seed=7),
)


@dataclass(frozen=True)
class TrueStroke:
    """A stroke as it was played, or left out.

    `place` is the gesture's bar number, beat and layer; `strings_s` when each string was struck, in seconds.
    """

    place: tuple[int, Fraction, str]
    action: str
    strings_s: dict[int, float]
    wanted_midi: int
    played_midi: int | None
    slip: str = ""
    off_s: float = 0.0
    tune: bool = False

    @property
    def first_s(self) -> float:
        """When its first string is struck."""
        return min(self.strings_s.values())


@dataclass(frozen=True)
class Played:
    """What was rendered, float32 (frames,) at 48 kHz, and what is true of it."""

    samples: Samples
    strokes: tuple[TrueStroke, ...]
    repeats: tuple[tuple[int, int], ...]
    pauses_s: tuple[float, ...]
    front_lu: float | None
    levels_lufs: tuple[float, ...]
    cents: dict[int, float]
    first_bar: int
    last_bar: int


def play(arrangement: Arrangement, performance: Performance, sound: str = "ukulele") -> Played:
    """Render a performance."""
    random = np.random.default_rng(performance.seed)
    count = len(arrangement.bars)
    indices: list[int] = []
    repeats: list[tuple[int, int]] = []
    for first, last in performance.bars:
        run = list(range(round(first * count), max(round(last * count), round(first * count) + 1)))
        if indices and run[0] != indices[-1] + 1:
            repeats.append((arrangement.bars[indices[-1]].number, arrangement.bars[run[0]].number))
        indices += run
    song = (
        replace(arrangement.song, front=performance.front)
        if performance.front is not None
        else arrangement.song
    )
    played = replace(arrangement, song=song, second=())
    take = perform(
        played, lay_out(played, indices, Fraction(1), 0), seed=performance.seed, flat=performance.flat
    )
    notes = [note for note in take.notes if note.layer in performance.layers]
    strokes = _strokes(notes)
    slips = _planted(strokes, performance, random)
    strokes = [_slipped(stroke, slips.get(n, ""), arrangement, random) for n, stroke in enumerate(strokes)]
    warp, pauses = _warp(take, performance, random)
    notes, truths = [], []
    for n, (stroke, before) in enumerate(
        zip(strokes, _strokes([x for x in take.notes if x.layer in performance.layers]), strict=True)
    ):
        tune = before[-1]
        moved = [_moved(note, warp) for note in stroke]
        off = warp(stroke[-1].onset_s) - warp(before[-1].onset_s) if stroke else 0.0
        if slips.get(n) == "late":
            shift = float(random.choice([-1, 1])) * float(random.uniform(0.13, 0.2))
            shift = abs(shift) if not _room(strokes, n, shift, warp) else shift
            moved = [replace(note, onset_s=max(note.onset_s + shift, 0.0)) for note in moved]
            off += shift
        notes += moved
        heard = [note for note in moved if note.midi == (stroke[len(before) - 1].midi if stroke else -1)]
        truths.append(
            TrueStroke(
                (take.bars[tune.bar_index].number, tune.beat, tune.layer),
                tune.action,
                {note.string: note.onset_s for note in moved[: len(before)]}
                if moved
                else {note.string: warp(note.onset_s) for note in before},
                tune.midi,
                heard[0].midi if heard else None,
                slips.get(n, ""),
                off,
                tune.part == "tune",
            )
        )
    length_s = max(note.onset_s + note.length_s for note in notes) + 0.5
    student = replace(
        take,
        notes=tuple(sorted(notes, key=lambda note: (note.onset_s, note.string))),
        clicks=(),
        length_s=length_s,
    )
    stems = _stems(student, sound, performance.cents)
    total = np.sum([stems[name] for name in LAYERS], axis=0)
    levels = _levels(stems, truths)
    numbers = [arrangement.bars[index].number for index in indices]
    return Played(
        total.astype(np.float32),
        tuple(truths),
        tuple(repeats),
        tuple(pauses),
        _front(truths, levels),
        levels,
        performance.cents,
        min(numbers),
        max(numbers),
    )


def _strokes(notes: Sequence[TakeNote]) -> list[list[TakeNote]]:
    """Return notes stroke by stroke, in order of the first string; strings in the order struck."""
    by: dict[int, list[TakeNote]] = {}
    for note in notes:
        by.setdefault(note.gesture, []).append(note)
    strokes = [sorted(stroke, key=lambda note: (note.onset_s, -note.string)) for stroke in by.values()]
    return sorted(strokes, key=lambda stroke: stroke[0].onset_s)


def _planted(
    strokes: list[list[TakeNote]], performance: Performance, random: np.random.Generator
) -> dict[int, str]:
    """Choose where slips are: on strokes of melody and between that have room, none beside another."""
    fit = []
    for n in range(2, len(strokes) - 2):
        here, after, before = strokes[n], strokes[n + 1][0].onset_s, strokes[n - 1][-1].onset_s
        room = min(after - here[-1].onset_s, here[0].onset_s - before)
        if here[-1].layer in ("melody", "between") and here[-1].action in ("roll", "single") and room > 0.2:
            fit.append(n)
    random.shuffle(fit)
    slips: dict[int, str] = {}
    asked = ["wrong"] * performance.wrong + ["missed"] * performance.missed + ["late"] * performance.late
    for slip in ["past"] * performance.past + asked:
        for n in fit:
            if slip == "past" and (strokes[n][-1].action != "roll" or strokes[n][-1].string == 1):
                continue
            if any(abs(n - other) < 3 for other in slips):
                continue
            slips[n] = slip
            break
    return slips


def _slipped(
    stroke: list[TakeNote],
    slip: str,
    arrangement: Arrangement,
    random: np.random.Generator,
) -> list[TakeNote]:
    if slip == "missed":
        return []
    if slip == "wrong":
        tune = stroke[-1]
        own = {note.midi for note in stroke}
        steps = [
            step for step in (2, -2, 1, -1) if (tune.fret or 0) + step >= 0 and tune.midi + step not in own
        ]
        step = steps[int(random.integers(len(steps)))]
        return [*stroke[:-1], replace(tune, midi=tune.midi + step, fret=(tune.fret or 0) + step)]
    if slip == "past":
        shapes = {(gesture.start_beat, gesture.layer): gesture.shape for gesture in arrangement.gestures}
        tuning = [pitch.midi for pitch in arrangement.tuning.open_pitches]
        tune = stroke[-1]
        string = tune.string - 1
        shape = shapes.get((tune.beat, tune.layer), ())
        fret = (shape[4 - string] if len(shape) == 4 else None) or 0
        open_midi = tuning[4 - string]
        more = replace(
            tune,
            string=string,
            fret=fret,
            midi=open_midi + fret,
            onset_s=tune.onset_s + 0.03,
            level_db=tune.level_db,
        )
        return [*stroke, more]
    return stroke


def _warp(
    take: Take, performance: Performance, random: np.random.Generator
) -> tuple[Callable[[float], float], list[float]]:
    """Return what the student's own tempo makes of a time of the take, and when pauses begin."""
    grid = np.linspace(0.0, take.length_s + 3.0, 600)
    places = np.linspace(0.0, 1.0, len(performance.speeds))
    speed = np.interp(grid / grid[-1], places, performance.speeds)
    step = np.diff(grid) / (0.5 * (speed[1:] + speed[:-1]))
    time = 0.6 + np.concatenate([[0.0], np.cumsum(step)])
    starts = [
        min(note.onset_s for note in take.notes if note.bar_index >= index) - 0.02
        for index in range(3, len(take.bars) - 2)
    ]
    chosen = sorted(random.choice(starts, performance.pauses, replace=False)) if performance.pauses else []

    def warp(at_s: float) -> float:
        return float(np.interp(at_s, grid, time) + 2.0 * sum(at_s >= start for start in chosen))

    return warp, [warp(start - 0.001) for start in chosen]


def _moved(note: TakeNote, warp: Callable[[float], float]) -> TakeNote:
    onset, end = warp(note.onset_s), warp(note.onset_s + note.length_s)
    return replace(note, onset_s=onset, length_s=min(end - onset, 6.0))


def _room(strokes: list[list[TakeNote]], n: int, shift: float, warp: Callable[[float], float]) -> bool:
    """Return whether a stroke can come early without running into the one before."""
    before = next((strokes[m] for m in range(n - 1, -1, -1) if strokes[m]), None)
    return before is None or warp(strokes[n][0].onset_s) + shift > warp(before[-1].onset_s) + 0.1


def _stems(take: Take, sound: str, cents: dict[int, float]) -> dict[str, Samples]:
    """Return each layer as it sounds, one channel; a string off tune is played at another rate and turned back."""
    straight = [note for note in take.notes if not cents.get(note.string)]
    stems = _rendered(replace(take, notes=tuple(straight)), sound)
    for string, off in cents.items():
        ratio = 2.0 ** (off / 1200.0)
        notes = tuple(
            replace(note, onset_s=note.onset_s * ratio, length_s=note.length_s * ratio, free=())
            for note in take.notes
            if note.string == string
        )
        for name, samples in _rendered(
            replace(take, notes=notes, length_s=take.length_s * ratio), sound
        ).items():
            turned = resample(samples, round(len(samples) / ratio)).astype(np.float32)
            length = min(len(turned), len(stems[name]))
            stems[name][:length] += turned[:length]
    return stems


def _rendered(take: Take, sound: str) -> dict[str, Samples]:
    played = BuiltInUkulele() if sound == "ukulele" else SoundFont(FONT, 0, PROGRAMS[sound])
    stems = player_of(played).stems(take)
    return {name: stems[name].mean(axis=1) for name in LAYERS}


def _levels(stems: dict[str, Samples], strokes: Sequence[TrueStroke]) -> tuple[float, ...]:
    """Return each stroke's level in LUFS, in its own layer alone; NaN where that layer's next comes within 400 ms."""
    found = np.full(len(strokes), np.nan)
    for layer in LAYERS:
        mine = [n for n, s in enumerate(strokes) if s.place[2] == layer and s.played_midi is not None]
        if not mine:
            continue
        mine.sort(key=lambda n: strokes[n].first_s)
        track = Track(np.stack([np.pad(stems[layer], (0, RATE_HZ))] * 2, axis=1), RATE_HZ)
        onsets = [strokes[n].first_s for n in mine]
        levels = gesture_levels_lufs(track, onsets)
        for n, at, after, level in zip(mine, onsets, [*onsets[1:], np.inf], levels, strict=True):
            found[n] = level if after - at > 0.42 else np.nan
    return tuple(found.tolist())


def _front(strokes: Sequence[TrueStroke], levels: Sequence[float]) -> float | None:
    """Return by how much the median melody gesture is louder than the median strum, in LU."""
    medians = {}
    for layer in ("melody", "strums"):
        own = [
            level
            for s, level in zip(strokes, levels, strict=True)
            if s.place[2] == layer and s.action != "chop" and np.isfinite(level)
        ]
        if len(own) < 4:
            return None
        medians[layer] = float(np.median(own))
    return medians["melody"] - medians["strums"]


# ---- devices


def degraded(samples: Samples, device: str, seed: int = 1) -> tuple[Samples, int]:
    """Return what a device makes of a sound, and its rate in Hz."""
    random = np.random.default_rng(seed)
    sound = samples / (np.abs(samples).max() + 1e-9) * 0.5
    if device == "clean":
        return sound.astype(np.float32), RATE_HZ
    if device == "reverberant":
        sound = _in_a_room(sound, random, 1.0)
    if device == "second":
        sound = _with_another(sound, random)
    sound = resample_poly(sound, 147, 160)
    rate = 44_100
    sound = sosfilt(butter(2, (140.0, 11_000.0), "bandpass", fs=rate, output="sos"), sound)
    active = float(np.sqrt(np.mean(sound**2)))
    below_db = {"noisy": 10.0}.get(device, 36.0)
    noise = sosfilt(butter(1, 2500.0, "lowpass", fs=rate, output="sos"), random.standard_normal(len(sound)))
    sound = sound + noise / noise.std() * active * 10.0 ** (-below_db / 20.0)
    if device == "gain":
        sound = _gain_controlled(sound, rate)
    return (sound / max(1.0, np.abs(sound).max() / 0.9)).astype(np.float32), rate


def _in_a_room(
    sound: NDArray[np.floating], random: np.random.Generator, rt60_s: float
) -> NDArray[np.float64]:
    length = int(rt60_s * RATE_HZ)
    at = np.arange(length) / RATE_HZ
    tail = random.standard_normal(length) * 10.0 ** (-3.0 * at / rt60_s) * (at > 0.004)
    tail *= 10.0 ** (-4.0 / 20.0) / np.sqrt((tail**2).sum())
    tail[0] = 1.0
    return np.asarray(fftconvolve(sound, tail))


def _with_another(sound: NDArray[np.floating], random: np.random.Generator) -> NDArray[np.float64]:
    """Return a sound with a second ukulele far off, 20 dB below: the same song from another place, in a large room."""
    other = _in_a_room(np.roll(sound, round(7.3 * RATE_HZ)), random, 1.0)[: len(sound)]
    part = float(np.sqrt(np.mean(sound**2)) / (np.sqrt(np.mean(other**2)) + 1e-12))
    return np.asarray(sound + other * part * 10.0 ** (-20.0 / 20.0))


def _gain_controlled(sound: NDArray[np.floating], rate: int) -> NDArray[np.float64]:
    """Return a sound under a control that turns down within 15 ms and up again within a second, by up to 18 dB."""
    step = rate // 200
    count = len(sound) // step + 1
    padded = np.pad(sound, (0, count * step - len(sound)))
    level = np.sqrt((padded.reshape(count, step) ** 2).mean(axis=1)) + 1e-9
    gain_db, now = np.empty(count), 18.0
    for n in range(count):
        wanted = min(max(-20.0 - 20.0 * np.log10(level[n]), -6.0), 18.0) * 0.7
        now += (wanted - now) * (0.3 if wanted < now else 0.006)
        gain_db[n] = now
    at = (np.arange(count) + 0.5) * step
    return np.asarray(sound * 10.0 ** (np.interp(np.arange(len(sound)), at, gain_db) / 20.0))


DEVICES = ("clean", "phone", "compressed", "gain", "reverberant", "second", "noisy")
"""The sound itself; a phone in a room; its MP3 at a low rate; with gain control; RT60 1 s; a second ukulele far off; 10
dB signal to noise."""


def record(played: Played, device: str, path: Path, seed: int = 1) -> Path:
    """Write what a device makes of a performance to a file, and return where."""
    sound, rate = degraded(played.samples, device, seed)
    if device == "compressed":
        place = path.with_suffix(".mp3")
        soundfile.write(place, sound, rate, format="MP3", compression_level=0.9)
        return place
    place = path.with_suffix(".wav")
    soundfile.write(place, sound, rate, subtype="PCM_16")
    return place
