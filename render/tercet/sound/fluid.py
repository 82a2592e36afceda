"""The three layers of a take through the FluidSynth library, all in one pass.

How it works
------------
- FluidSynth mixes a MIDI channel into the audio group ``channel % groups``. With as many groups as layers and
  ``channel = layers · (string − 1) + layer``, each string of each layer has a channel of its own and each layer
  comes out as a pair of buffers of its own.
- We schedule: the library renders up to an event, is told the event, and goes on. It starts notes on a grid
  of 64 frames (1.33 ms), so each event's own place is rounded to that grid and no error adds up.
- ``fluid_synth_process`` *adds* to the buffers that it gets. It fills a block of 65 536 frames, small enough for the
  processor's cache, which is then interleaved into the stems; one large planar array, turned at the end,
  takes half as long again.
- A synthesiser is made for each call and deleted after it, so the same take gives the same samples.
- Reverb and chorus are off: they would smear one layer into another.

Ending a note
-------------
A finger damps a string faster than most fonts let go of it: the fallback font takes 0.61 s to fall by 96 dB (40 dB
after 250 ms), others up to 1.8 s. FluidSynth lets a channel add to generator 38, ``volEnvRelease``, also while a
note sounds. So before a note ends, the channel gets the difference between `RELEASE_S` and the font's own release,
which is read from its tables. FluidSynth falls evenly in dB and slides within each 64 frames, so nothing clicks.

Beginning a note
----------------
Keys of a font speak late by different amounts and are a few cents off. Both are measured once and taken back, as
`tercet.sound.note_measures` says.
"""

from __future__ import annotations

import ctypes
import os
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tercet.errors import SoundFontError, SynthesiserError
from tercet.performing import Take
from tercet.song import LAYERS
from tercet.sound.audio import SAMPLE_RATE_HZ
from tercet.sound.library import Library, load_library
from tercet.sound.note_measures import PROBE_LENGTH_S, KeyVoice, k_weighted_level_db, key_voice
from tercet.sound.schedule import (
    RELEASE_S,
    STRINGS,
    Stroke,
    fade_end,
    length_frames_of,
    strokes_of,
)
from tercet.sound.sf2_reader import (
    ATTENUATION,
    RELEASE,
    SoundFont,
    Zone,
    fingerprint,
    read_zones,
    timecents_of_seconds,
)
from tercet.sound.stems import STEM_NAMES, StemName, Stems
from tercet.sound.struck import cue_stem
from tercet.sound.ukulele_voice import (
    BRIGHTNESS_BY_LAYER,
    BRIGHTNESS_CONTROLLER,
    DARK_VELOCITIES,
    UNTOUCHED_BRIGHTNESS,
    ChannelSound,
    PlayedStroke,
    built_in_channels,
    channel_of,
    is_built_in,
    played_stroke,
    with_whole_chops,
)

__all__ = ["FluidSynthesiser"]

GRID_FRAMES = 64
"""FluidSynth starts and ends notes on multiples of this."""

BLOCK_FRAMES = 65_536
"""Frames rendered before they are interleaved into the stems; a multiple of `GRID_FRAMES`."""

CHANNELS = STRINGS * len(LAYERS) + len(LAYERS)
"""MIDI channels: one for each string of each layer, and one for what a layer plays on all strings."""

MADE_CHANNELS = 16 * -(-CHANNELS // 16)
"""FluidSynth makes channels by sixteens."""

PROBE_VELOCITY = 90
"""How hard a key is struck to be measured: about mf."""

OCTAVE = 12
"""Keys that are measured together."""

GAIN = 1.0
"""FluidSynth's own gain. Audio is float and can't clip here; tracks get their gain later, all the same."""

SETTINGS: dict[str, int | float | str] = {
    "synth.reverb.active": 0,
    "synth.chorus.active": 0,
    "synth.polyphony": 256,
    "synth.min-note-length": 0,
    "synth.dynamic-sample-loading": 1,
    "synth.lock-memory": 0,
    "synth.cpu-cores": 1,
}
"""Strings that are let go still sound for a moment, hence the polyphony. Only the samples of the chosen preset
are loaded: 15 ms for a font of 148 MB. More cores add up voices in an order that may change."""

MELODIC = 0
"""Channel type: without it the tenth channel would play drums."""

ADAPTER = 4
"""Raised whenever this module makes other samples from the same take."""


DARK_PROBE_S, DARK_PAUSE_FRAMES = 0.5, 64 * GRID_FRAMES
"""How long a key is struck to measure what a layer's low-pass takes from it, its end damped."""


LOSS_DIGITS = 2
"""Decimals of what a low-pass takes: which other keys were measured beside one shows in the seventh."""


@dataclass(frozen=True, slots=True)
class PlayingStyle:
    """How strokes become MIDI: what channels play that don't play the font's preset, and what each stroke becomes."""

    channels: Mapping[int, ChannelSound]
    played: Callable[[Stroke], PlayedStroke]


def plain_stroke(stroke: Stroke) -> PlayedStroke:
    """Return a stroke as it stands, on the channel of its string and layer."""
    return PlayedStroke(channel_of(stroke), stroke.midi, stroke.velocity)


PLAIN = PlayingStyle({}, plain_stroke)


class FluidSynthesiser:
    """A `Synthesiser` that plays one preset of one sound font.

    Parameters
    ----------
    font
        The preset. Nothing is read or loaded before the first call.
    """

    def __init__(self, font: SoundFont) -> None:
        self.font = font
        self._voices: dict[int, KeyVoice] = {}
        self._losses_db: dict[tuple[int, int], tuple[float, ...]] = {}

    def identity(self) -> str:
        """Return what the sound depends on: this adapter, the library's version, the font's bytes, the preset.

        Raises
        ------
        SynthesiserError, SoundFontError
            The library or the font can't be read.
        """
        return (
            f"fluidsynth {load_library().version}, adapter {ADAPTER}, font {fingerprint(self.font.path)}, "
            f"bank {self.font.bank}, program {self.font.program}"
        )

    def keys(self) -> frozenset[int]:
        """Return the MIDI keys for which the preset has a sample at every velocity.

        Raises
        ------
        SoundFontError
            As `stems`.
        """
        heard: dict[int, set[int]] = {}
        for zone in read_zones(self.font.path, self.font.bank, self.font.program):
            velocities = range(max(zone.lowest_velocity, 1), zone.highest_velocity + 1)
            for key in range(zone.lowest_key, zone.highest_key + 1):
                heard.setdefault(key, set()).update(velocities)
        return frozenset(key for key, velocities in heard.items() if len(velocities) == 127)

    def stems(self, take: Take, names: Collection[StemName] = STEM_NAMES) -> Stems:
        """Return stems of a take, out of three layers and the cues, float32 (frames, 2), 48 kHz.

        The same take and names give the same samples. The layers add up to what one mix would be. What is asked for
        beside a layer changes the first millisecond of some strokes a little, 50 dB down: FluidSynth uses the
        voices of strokes that have ended again.

        Parameters
        ----------
        take
            What is played.
        names
            The stems that are wanted; a layer alone costs less than all.

        Raises
        ------
        SynthesiserError
            The library is missing or refuses to work.
        SoundFontError
            The font can't be read, is damaged, or lacks the preset.
        """
        voices = self.key_voices({note.midi for note in take.notes})
        sharp_cents = {midi: voice.sharp_cents for midi, voice in voices.items()}
        frames = length_frames_of(take, SAMPLE_RATE_HZ)
        strokes = strokes_of(
            take, SAMPLE_RATE_HZ, GRID_FRAMES, lambda note, _touch: voices[note.midi].onset_delay_s
        )
        style = PLAIN
        if is_built_in(self.font):
            strokes = with_whole_chops(strokes, SAMPLE_RATE_HZ)
            style = self._built_in_style(take)
        stems: dict[StemName, NDArray[np.float32]] = {}
        if "cues" in names:
            stems["cues"] = cue_stem(take.clicks, frames, SAMPLE_RATE_HZ)
        wanted = [layer for layer in LAYERS if layer in names]
        if wanted:
            groups = LAYERS if len(wanted) > 1 else tuple(wanted)
            heard = [stroke for stroke in strokes if LAYERS[stroke.layer_index] in wanted]
            layers = render_strokes(self.font, heard, frames, len(groups), sharp_cents, style)
            stems.update((name, layer) for name, layer in zip(groups, layers, strict=True) if name in wanted)
        for name in wanted:
            fade_end(stems[name], SAMPLE_RATE_HZ)
        return Stems(SAMPLE_RATE_HZ, stems)

    def _built_in_style(self, take: Take) -> PlayingStyle:
        """Return how a take is played on the built-in ukulele, its darker layers measured for what they lose."""
        for layer_index, layer in enumerate(LAYERS):
            self._measure_dark_layer(layer_index, {note.midi for note in take.notes if note.layer == layer})
        losses_db = dict(self._losses_db)
        return PlayingStyle(built_in_channels(take.notes), lambda stroke: played_stroke(stroke, losses_db))

    def _measure_dark_layer(self, layer_index: int, keys: set[int]) -> None:
        """Measure what a layer's low-pass takes from the K-weighted level of keys, each once, about 15 ms a key."""
        missing = sorted(midi for midi in keys if (layer_index, midi) not in self._losses_db)
        dark = (BRIGHTNESS_CONTROLLER, BRIGHTNESS_BY_LAYER[layer_index])
        if not missing or dark[1] == UNTOUCHED_BRIGHTNESS:
            return
        pace = round(DARK_PROBE_S * SAMPLE_RATE_HZ) // GRID_FRAMES * GRID_FRAMES
        struck = [(midi, velocity) for midi in missing for velocity in DARK_VELOCITIES]
        strokes = [
            Stroke(pace * place, pace * (place + 1) - DARK_PAUSE_FRAMES, 1, layer_index, midi, velocity)
            for place, (midi, velocity) in enumerate(struck)
        ]
        levels_db: list[list[float]] = []
        for controllers in ((), (dark,)):
            channels = {layer_index: ChannelSound(self.font.bank, self.font.program, controllers)}
            style = PlayingStyle(channels, plain_stroke)
            (sound,) = render_strokes(self.font, strokes, pace * len(strokes), 1, {}, style)
            sounds = sound[:, 0].reshape(len(strokes), pace)
            levels_db.append([k_weighted_level_db(each, SAMPLE_RATE_HZ) for each in sounds])
        lost = [round(open_db - dark_db, LOSS_DIGITS) for open_db, dark_db in zip(*levels_db, strict=True)]
        each = len(DARK_VELOCITIES)
        for place, midi in enumerate(missing):
            self._losses_db[layer_index, midi] = tuple(lost[each * place : each * (place + 1)])

    def key_voices(self, keys: Iterable[int]) -> dict[int, KeyVoice]:
        """Return how late and how sharp the font's keys speak; each is measured once, with its octave, 4 ms a key.

        Parameters
        ----------
        keys
            MIDI key numbers, 0 to 127.

        Raises
        ------
        SynthesiserError, SoundFontError
            As `stems`.
        """
        wanted = set(keys)
        for octave in sorted({midi // OCTAVE for midi in wanted - self._voices.keys()}):
            missing = sorted((wanted - self._voices.keys()) & _octave(octave) | self._octave_keys(octave))
            length = round(PROBE_LENGTH_S * SAMPLE_RATE_HZ) // GRID_FRAMES * GRID_FRAMES
            pace = length + round(2 * RELEASE_S * SAMPLE_RATE_HZ / GRID_FRAMES) * GRID_FRAMES
            starts = {midi: pace * index for index, midi in enumerate(missing)}
            probes = [Stroke(at, at + length, 1, 0, midi, PROBE_VELOCITY) for midi, at in starts.items()]
            (sound,) = render_strokes(self.font, probes, pace * len(missing), 1, {})
            for midi, at in starts.items():
                self._voices[midi] = key_voice(sound[at : at + length], midi, SAMPLE_RATE_HZ)
        return {midi: self._voices[midi] for midi in wanted}

    def _octave_keys(self, octave: int) -> set[int]:
        """Return the keys of an octave that the font has.

        A key is always measured beside the same others: so it measures the same to the last bit in every process.
        """
        zones = read_zones(self.font.path, self.font.bank, self.font.program)
        return {
            midi
            for midi in _octave(octave)
            for zone in zones
            if zone.lowest_key <= midi <= zone.highest_key
            and zone.lowest_velocity <= PROBE_VELOCITY <= zone.highest_velocity
        }


def _octave(octave: int) -> set[int]:
    return set(range(OCTAVE * octave, min(OCTAVE * octave + OCTAVE, 128)))


def render_strokes(
    font: SoundFont,
    strokes: Sequence[Stroke],
    frames: int,
    groups: int,
    sharp_cents: Mapping[int, float],
    style: PlayingStyle = PLAIN,
) -> list[NDArray[np.float32]]:
    """Return the audio of strokes, one array float32 (frames, 2) for each audio group.

    Parameters
    ----------
    font
        The preset to play.
    strokes
        In any order, their frames multiples of `GRID_FRAMES`.
    frames
        Length of the result.
    groups
        As many as there are layers for a stem for each, 1 for a single mix.
    sharp_cents
        How far above its pitch the font sounds a key; it is tuned down by as much.
    style
        How strokes become MIDI.

    Raises
    ------
    SynthesiserError, SoundFontError
        As `FluidSynthesiser.stems`.
    """
    zones = read_zones(font.path, font.bank, font.program)
    _check_reach(font, zones, strokes)
    offsets = _release_offsets(zones)
    library = load_library()
    with _synthesiser(library, font, groups, style.channels) as synth:
        _tune(library, synth, sharp_cents)
        rendering = _Rendering(library, synth, frames, groups)
        releases, attenuations = [0.0] * CHANNELS, [0.0] * CHANNELS
        for frame, strikes, channel, midi, velocity, attenuation_db in _events(strokes, style):
            rendering.run_to(frame)
            if strikes:
                if attenuations[channel] != attenuation_db:
                    attenuations[channel] = attenuation_db
                    library.set_generator(synth, channel, ATTENUATION, 10.0 * attenuation_db)
                library.binding.fluid_synth_noteon(synth, channel, midi, velocity)
                continue
            if releases[channel] != offsets[midi]:
                releases[channel] = offsets[midi]
                library.set_generator(synth, channel, RELEASE, offsets[midi])
            library.binding.fluid_synth_noteoff(synth, channel, midi)
        rendering.run_to(frames)
        return rendering.finished()


def _events(strokes: Sequence[Stroke], style: PlayingStyle) -> list[tuple[int, bool, int, int, int, float]]:
    """Return (frame, whether struck, channel, key, velocity, attenuation), in order; in a frame ends come first."""
    events = []
    for stroke in strokes:
        played = style.played(stroke)
        struck = (played.channel, played.midi, played.velocity, played.attenuation_db)
        events.append((stroke.on_frame, True, *struck))
        if stroke.off_frame is not None:
            events.append((stroke.off_frame, False, played.channel, played.midi, 0, 0.0))
    return sorted(events)


def _release_offsets(zones: Sequence[Zone]) -> list[float]:
    """Return for each key what to add to the font's release, in timecents; the slowest zone counts."""
    wanted = timecents_of_seconds(RELEASE_S)
    offsets = [0.0] * 128
    for key in range(128):
        own = [zone.release_timecents for zone in zones if zone.lowest_key <= key <= zone.highest_key]
        if own:
            offsets[key] = wanted - max(own)
    return offsets


def _check_reach(font: SoundFont, zones: Sequence[Zone], strokes: Sequence[Stroke]) -> None:
    """Refuse a font that would leave a note silent."""
    for midi, velocity in sorted({(stroke.midi, stroke.velocity) for stroke in strokes}):
        if not any(
            zone.lowest_key <= midi <= zone.highest_key
            and zone.lowest_velocity <= velocity <= zone.highest_velocity
            for zone in zones
        ):
            raise SoundFontError(
                f"{font.path}: bank {font.bank}, program {font.program} has no sample for MIDI key {midi} "
                f"at velocity {velocity}, which this song needs. Choose another font."
            )


def _tune(library: Library, synth: Any, sharp_cents: Mapping[int, float]) -> None:
    """Give every channel a tuning that takes back what the font is off.

    FluidSynth cuts pitches to whole cents, so they are rounded here; half a cent is left at most.
    """
    if sharp_cents:
        binding = library.binding
        cents = [100.0 * midi - round(sharp_cents.get(midi, 0.0)) for midi in range(128)]
        binding.fluid_synth_activate_key_tuning(synth, 0, 0, b"tercet", (ctypes.c_double * 128)(*cents), 0)
        for channel in range(CHANNELS):
            binding.fluid_synth_activate_tuning(synth, channel, 0, 0, 0)


@contextmanager
def _synthesiser(
    library: Library, font: SoundFont, groups: int, channels: Mapping[int, ChannelSound]
) -> Iterator[Any]:
    """Give a fresh synthesiser with the preset, or what `channels` says, on every channel; delete it at the end."""
    settings = {**SETTINGS, "synth.audio-groups": groups, "synth.audio-channels": groups}
    player = library.binding.Synth(
        gain=GAIN, samplerate=float(SAMPLE_RATE_HZ), channels=MADE_CHANNELS, **settings
    )
    try:
        if not player.synth:
            raise SynthesiserError(f"FluidSynth {library.version} won't start: {library.complaint()}.")
        _load(library, player.synth, font, channels)
        yield player.synth
    finally:
        player.delete()


def _load(library: Library, synth: Any, font: SoundFont, channels: Mapping[int, ChannelSound]) -> None:
    """Load a font and put its presets on the channels; the samples are read only now, and may prove damaged."""
    binding = library.binding
    number = binding.fluid_synth_sfload(synth, os.fsencode(font.path), 0)
    if number < 0:
        raise SoundFontError(f"{font.path}: FluidSynth refuses the sound font: {library.complaint()}.")
    library.complaints.clear()
    for channel in range(CHANNELS):
        library.set_channel_type(synth, channel, MELODIC)
        sound = channels.get(channel) or ChannelSound(font.bank, font.program)
        refused = binding.fluid_synth_program_select(synth, channel, number, sound.bank, sound.program)
        if refused or library.complaints:
            raise SoundFontError(
                f"{font.path}: FluidSynth can't play bank {sound.bank}, program {sound.program} of the sound font: "
                f"{library.complaint()}. Download the file again, or choose another."
            )
        for controller, value in sound.controllers:
            binding.fluid_synth_cc(synth, channel, controller, value)


class _Rendering:
    """Takes what a synthesiser plays, block by block, into one array for each audio group."""

    def __init__(self, library: Library, synth: Any, frames: int, groups: int) -> None:
        self._process, self._synth = library.process, synth
        self._layers = [np.empty((frames, 2), np.float32) for _ in range(groups)]
        self._block = np.zeros((2 * groups, BLOCK_FRAMES), np.float32)
        self._starts = self._block.ctypes.data + self._block.strides[0] * np.arange(
            2 * groups, dtype=np.uintp
        )
        self._places = self._starts.copy()
        self._block_start, self._frame, self._frames = 0, 0, frames

    def run_to(self, frame: int) -> None:
        """Let the synthesiser play up to a frame, or to the end of the rendering."""
        frame = min(frame, self._frames)
        while self._frame < frame:
            step = min(frame, self._block_start + BLOCK_FRAMES) - self._frame
            places = self._places
            if self._process(self._synth, step, 0, None, len(places), places.ctypes.data):
                raise SynthesiserError("FluidSynth stopped while rendering.")
            places += 4 * step
            self._frame += step
            if self._frame - self._block_start == BLOCK_FRAMES:
                self._turn_block()

    def finished(self) -> list[NDArray[np.float32]]:
        """Return the audio of each group, after `run_to` the last frame."""
        self._turn_block()
        return self._layers

    def _turn_block(self) -> None:
        """Interleave the block into the layers and begin another."""
        filled = self._frame - self._block_start
        for index, layer in enumerate(self._layers):
            for side in (0, 1):  # three times as fast as a transposed copy
                layer[self._block_start : self._frame, side] = self._block[2 * index + side, :filled]
        self._block[:] = 0.0
        self._places[:] = self._starts
        self._block_start = self._frame
