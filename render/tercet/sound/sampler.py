"""The built-in ukulele, played in numpy alone: it needs no library of the system.

- Every string and fret has its own sample (`tercet.sound.string_samples`), so nothing is resampled.
- A stroke mixes a soft and a firm touch. How firm follows from its level: the firmness at which the note itself is that
  loud. What the stroke is touched softer or firmer than that (`Stroke.shade`), a gain takes back; so a level is
  kept exactly, in the darker layers too, and nothing has to be measured first.
- A string that the take knows to be free rings along with what is struck on another, until it is touched again. That
  belongs to the layer of the stroke.
- Strokes begin and end on their frame. A damped string falls evenly in dB, by 96 in `RELEASE_S`.
- A string is one source: each stem is the same on both sides, and the room gives it its place.
"""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tercet.performing import Take, TakeNote
from tercet.performing.model import FreeString
from tercet.song import LAYERS, Layer
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.schedule import (
    RELEASE_S,
    Stroke,
    Touch,
    fade_end,
    length_frames_of,
    strokes_of,
    touch_of,
)
from tercet.sound.stems import STEM_NAMES, StemName, Stems
from tercet.sound.string_model import STRINGS_OF_INSTRUMENTS
from tercet.sound.string_samples import (
    StringSample,
    chop_sound,
    contact_of,
    resonance,
    samples_identity,
    skin_amplitude,
    skin_sound,
    string_sample,
    touch_amplitudes,
)
from tercet.sound.struck import cue_stem
from tercet.sound.ukulele import CHOP_UP_KEY, CHOP_VELOCITIES
from tercet.sound.ukulele_voice import (
    open_strings,
    shaded_velocity,
    string_named,
    velocity_of_level,
    with_whole_chops,
)

__all__ = [
    "RELEASE_DB",
    "BuiltInUkulele",
    "ChopPlayed",
    "NotePlayed",
    "UkuleleSampler",
    "chop_played",
    "notes_played",
]

VERSION = 2
"""Raised whenever this module makes other samples from the same take."""

MF_LUFS = -40.56
"""Level that mf stands for: 12 dB below the firmest stroke in the middle of the second string."""

SAMPLE_GAIN_DB = -5.93
"""Of all samples before any touch: four strings struck as firmly as can be stay 6 dB under full scale."""

RELEASE_DB = 96.0
"""How far a damped string falls in `RELEASE_S`."""

LONGEST_FRAMES = 4 * SAMPLE_RATE_HZ
"""No string sounds longer."""

PIECE_FRAMES = 32_768
"""Frames of a stroke that are mixed at once."""


@dataclass(frozen=True, slots=True)
class BuiltInUkulele:
    """The ukulele that comes with Tercet, where a sound is chosen; others are sound fonts."""


class UkuleleSampler:
    """A `LevelSynthesiser` that plays the built-in ukulele."""

    def identity(self) -> str:
        """Return what the sound depends on: this module and its samples."""
        return f"ukulele sampler {VERSION}, {samples_identity()}"

    def keys(self) -> None:
        """Return None: every key sounds."""

    def notices(self) -> tuple[str, ...]:
        """Return nothing: every level can be played."""
        return ()

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        """Return stems of a take, float32 (frames, 2), 48 kHz; those of the layers are read-only.

        The same take and names give the same samples, and a layer is the same whatever is asked for beside it.

        Parameters
        ----------
        take
            What is played.
        names
            The stems that are wanted; each costs what its notes do.

        Raises
        ------
        ParameterError
            As `strokes_of`.
        """
        frames = length_frames_of(take, SAMPLE_RATE_HZ)
        strings = _Strings(take.notes)
        strokes = strokes_of(take, SAMPLE_RATE_HZ, onset_delay_s=strings.onset_delay_s)
        sounds: dict[int, NDArray[np.float32]] = {
            index: np.zeros(frames, np.float32) for index, layer in enumerate(LAYERS) if layer in names
        }
        scratch = np.empty((2, PIECE_FRAMES), np.float32)
        for stroke in sorted(with_whole_chops(strokes, SAMPLE_RATE_HZ), key=_by_sample):
            sound = sounds.get(stroke.layer_index)
            if sound is None:
                continue
            _play(sound, stroke, strings, scratch)
        stems: dict[StemName, NDArray[np.float32]] = {}
        if "cues" in names:
            stems["cues"] = cue_stem(take.clicks, frames, SAMPLE_RATE_HZ)
        for index, sound in sounds.items():
            fade_end(sound[:, None], SAMPLE_RATE_HZ)
            stems[LAYERS[index]] = np.broadcast_to(sound[:, None], (frames, 2))
        return Stems(SAMPLE_RATE_HZ, stems)

    def excerpts(self, take: Take, begins: Sequence[int], frames: int) -> dict[Layer, NDArray[np.float32]]:
        """Return some stretches of each layer's stem, on one side: float32 (stretches, frames).

        Parameters
        ----------
        take
            What is played.
        begins
            At which frames they begin, perhaps before the take does.
        frames
            How long each is.
        """
        strings = _Strings(take.notes)
        strokes = strokes_of(take, SAMPLE_RATE_HZ, onset_delay_s=strings.onset_delay_s)
        found = {layer: np.zeros((len(begins), frames), np.float32) for layer in LAYERS}
        scratch = np.empty((2, PIECE_FRAMES), np.float32)
        for stroke in with_whole_chops(strokes, SAMPLE_RATE_HZ):
            sounds = found[LAYERS[stroke.layer_index]]
            for sound, begin in zip(sounds, begins, strict=True):
                if begin - LONGEST_FRAMES < stroke.on_frame < begin + frames:
                    _play(sound, stroke, strings, scratch, begin)
        return found


def _play(
    sound: NDArray[np.float32],
    stroke: Stroke,
    strings: _Strings,
    scratch: NDArray[np.float32],
    sound_frame: int = 0,
) -> None:
    """Add a stroke to the sound of its layer, (frames,), which begins at a frame of the take."""
    if stroke.chop:
        _chop(sound, stroke, sound_frame)
        return
    sample = strings.sample(stroke.string, stroke.midi, stroke.layer_index)
    blow = _blow(sample, stroke.level_db, stroke)
    _pluck(sound, stroke, sample, blow, scratch, sound_frame)
    for other in stroke.free:
        ring = strings.resonance(stroke, other)
        if ring is not None:
            _ring_along(sound, stroke, ring, blow, other.length_s, scratch[0], sound_frame)


class _Strings:
    """Which modelled string stands for each string of a take."""

    def __init__(self, notes: Iterable[TakeNote]) -> None:
        self._named = {
            string: STRINGS_OF_INSTRUMENTS[string_named(string, open_midi)]
            for string, open_midi in open_strings(notes).items()
        }

    def sample(self, string: int, midi: int, layer_index: int) -> StringSample:
        """Return the sample of a key on a string of the take."""
        named = self._named[string]
        return string_sample(named.name, midi - named.open_midi, layer_index)

    def resonance(self, stroke: Stroke, other: FreeString) -> NDArray[np.float32] | None:
        """Return what an open string adds to a stroke on another; None where nothing is heard of it."""
        struck = self._named[stroke.string]
        free = STRINGS_OF_INSTRUMENTS[string_named(other.string, other.open_midi)]
        fret, free_fret = stroke.midi - struck.open_midi, other.open_midi - free.open_midi
        return resonance(struck.name, fret, free.name, free_fret, stroke.layer_index)

    def played(self, note: TakeNote) -> NotePlayed:
        """Return how a note is played."""
        named, touch = self._named[note.string], touch_of(note)
        sample = self.sample(note.string, note.midi, LAYERS.index(note.layer))
        blow = _blow(sample, note.level_db, touch)
        return NotePlayed(
            named.name,
            note.midi - named.open_midi,
            blow.soft,
            blow.firm,
            blow.firm * touch.aside,
            contact_of(touch.skin),
            skin_amplitude(touch.skin),
            round(self.onset_delay_s(note, touch) * SAMPLE_RATE_HZ),
        )

    def onset_delay_s(self, note: TakeNote, touch: Touch) -> float:
        """Return how long after its stroke a note is heard; a chop is heard at once."""
        if note.action == "chop":
            return 0.0
        layer_index = LAYERS.index(note.layer)
        sample = self.sample(note.string, note.midi, layer_index)
        velocity = _velocity(sample, note.level_db, touch.shade)
        skin = skin_sound(touch.skin, layer_index)
        return sample.onset_delay_frames(velocity, touch.aside, skin) / SAMPLE_RATE_HZ


@dataclass(frozen=True, slots=True)
class NotePlayed:
    """How a note on a string is played, at any speed.

    Parameters
    ----------
    name, fret
        The modelled string, and what it sounds in semitones above that.
    soft, firm, aside
        Amplitudes of the touches of its sample.
    contact, skin
        Which noise of the skin is heard, and how much of it at the amplitude of both touches.
    delay_frames
        How long after its stroke it is heard.
    """

    name: str
    fret: int
    soft: float
    firm: float
    aside: float
    contact: int
    skin: float
    delay_frames: int


def notes_played(notes: Iterable[TakeNote]) -> tuple[NotePlayed | None, ...]:
    """Return how each note of a take is played; None for a chop, which is played as one with its others."""
    taken = tuple(notes)
    strings = _Strings(taken)
    return tuple(None if note.action == "chop" else strings.played(note) for note in taken)


@dataclass(frozen=True, slots=True)
class ChopPlayed:
    """How a chop is played: its index in `CHOP_STRENGTHS`, and its amplitude."""

    strength: int
    amplitude: float


def chop_played(level_db: float) -> ChopPlayed:
    """Return how a chop of a level is played; its amplitude goes with the square of its velocity."""
    velocity = velocity_of_level(level_db)
    strength = next(place for place, (_, highest) in enumerate(CHOP_VELOCITIES) if round(velocity) <= highest)
    return ChopPlayed(strength, 10.0 ** (SAMPLE_GAIN_DB / 20.0) * (velocity / 127.0) ** 2)


def _chop(sound: NDArray[np.float32], stroke: Stroke, sound_frame: int = 0) -> None:
    """Add a chop to the sound of its layer, (frames,), which begins at a frame of the take."""
    played, on_frame = chop_played(stroke.level_db), stroke.on_frame - sound_frame
    heard = chop_sound(played.strength, up=stroke.midi == CHOP_UP_KEY)[max(-on_frame, 0) :]
    space = sound[max(on_frame, 0) :][: len(heard)]
    space += heard[: len(space)] * np.float32(played.amplitude)


def _by_sample(stroke: Stroke) -> tuple[int, int, int, int]:
    """Return what puts strokes of one sample side by side: while it is in the processor's cache, all are mixed."""
    return stroke.layer_index, stroke.string, stroke.midi, stroke.on_frame


@dataclass(frozen=True, slots=True)
class _Blow:
    """Amplitudes of the soft and the firm touch."""

    soft: float
    firm: float


def _blow(sample: StringSample, level_db: float, touch: Touch | Stroke) -> _Blow:
    """Return the touches that give a note its level."""
    velocity = _velocity(sample, level_db, touch.shade)
    gain = 10.0 ** ((MF_LUFS + level_db - sample.level_lufs(velocity, touch.aside)) / 20.0)
    soft, firm = touch_amplitudes(velocity)
    return _Blow(gain * soft, gain * firm)


def _pluck(
    sound: NDArray[np.float32],
    stroke: Stroke,
    sample: StringSample,
    blow: _Blow,
    scratch: NDArray[np.float32],
    sound_frame: int = 0,
) -> None:
    """Add a stroke on a string, damped where it ends, to the sound of its layer, (frames,).

    Piece by piece, in a scratch (2, `PIECE_FRAMES`) that stays in the processor's cache. `sound_frame` is where in the
    take the sound begins.
    """
    soft, firm, aside = map(np.float32, (blow.soft, blow.firm, blow.firm * stroke.aside))
    touched_soft, touched_firm, touched_aside = sample.touches
    skin = skin_sound(stroke.skin, stroke.layer_index) * np.float32(blow.soft + blow.firm)
    on_frame = stroke.on_frame - sound_frame
    frames = min(sample.touches.shape[1], len(sound) - on_frame)
    release = _release()
    held = frames if stroke.off_frame is None else min(stroke.off_frame - stroke.on_frame, frames)
    end = min(held + len(release), frames)
    for start in range(max(-on_frame, 0), end, PIECE_FRAMES):
        stop = min(start + PIECE_FRAMES, end)
        heard, part = scratch[:, : stop - start]
        np.multiply(touched_soft[start:stop], soft, out=heard)
        heard += np.multiply(touched_firm[start:stop], firm, out=part)
        heard += np.multiply(touched_aside[start:stop], aside, out=part)
        if start < len(skin):
            heard[: len(skin) - start] += skin[start:stop]
        if stop > held:
            damped = max(held - start, 0)
            heard[damped:] *= release[start + damped - held : stop - held]
        sound[on_frame + start : on_frame + stop] += heard


def _ring_along(
    sound: NDArray[np.float32],
    stroke: Stroke,
    ring: NDArray[np.float32],
    blow: _Blow,
    length_s: float,
    scratch: NDArray[np.float32],
    sound_frame: int = 0,
) -> None:
    """Add what a free string rings along with a stroke, damped where it is touched, to the sound of its layer."""
    on_frame, release = stroke.on_frame - sound_frame, _release()
    frames = min(len(ring), len(sound) - on_frame)
    held = min(round(length_s * SAMPLE_RATE_HZ), frames)
    end = min(held + len(release), frames)
    amplitude = np.float32(0.5 * (blow.soft + blow.firm))
    for start in range(max(-on_frame, 0), end, PIECE_FRAMES):
        stop = min(start + PIECE_FRAMES, end)
        heard = np.multiply(ring[start:stop], amplitude, out=scratch[: stop - start])
        if stop > held:
            damped = max(held - start, 0)
            heard[damped:] *= release[start + damped - held : stop - held]
        sound[on_frame + start : on_frame + stop] += heard


def _velocity(sample: StringSample, level_db: float, shade: float) -> float:
    """Return how firmly a note is touched to have a level, and how much softer or firmer than that."""
    return shaded_velocity(sample.velocity(MF_LUFS - SAMPLE_GAIN_DB + level_db), shade)


@functools.cache
def _release() -> NDArray[np.float32]:
    """Return how a damped string falls, float32 (frames,); read-only."""
    frames = round(RELEASE_S * SAMPLE_RATE_HZ)
    fall = (10.0 ** (-RELEASE_DB / 20.0 * np.arange(frames) / frames)).astype(np.float32)
    fall.flags.writeable = False
    return fall
