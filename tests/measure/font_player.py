"""What a sound font sounds like, note by note, straight from FluidSynth, without Tercet's own player."""

from __future__ import annotations

import contextlib
import ctypes
import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

with contextlib.redirect_stdout(io.StringIO()):  # it prints where it found the library when CI is set
    import fluidsynth

__all__ = ["GRID_FRAMES", "RATE_HZ", "Strike", "loaded_font", "notes_alone", "play"]

RATE_HZ = 48_000
GRID_FRAMES = 64

SETTINGS: dict[str, int | float | str] = {
    "synth.reverb.active": 0,
    "synth.chorus.active": 0,
    "synth.min-note-length": 0,
    "synth.polyphony": 256,
}

_write = fluidsynth.cfunc(
    "fluid_synth_write_float",
    ctypes.c_int,
    ("synth", ctypes.c_void_p, 1),
    ("len", ctypes.c_int, 1),
    ("left", ctypes.c_void_p, 1),
    ("left_offset", ctypes.c_int, 1),
    ("left_step", ctypes.c_int, 1),
    ("right", ctypes.c_void_p, 1),
    ("right_offset", ctypes.c_int, 1),
    ("right_step", ctypes.c_int, 1),
)


@dataclass(frozen=True)
class Strike:
    """A note: when it starts and ends in frames (None: never), key, velocity, channel, and controller 74 before it."""

    on_frame: int
    off_frame: int | None
    midi: int
    velocity: int
    channel: int = 0
    brightness: int | None = None


@contextmanager
def loaded_font(path: Path, bank: int, program: int) -> Iterator[Any]:
    """Give a synthesiser at gain 1 with a preset on every channel; drums (bank 128) stay drums."""
    player = fluidsynth.Synth(gain=1.0, samplerate=float(RATE_HZ), channels=16, **SETTINGS)
    try:
        number = fluidsynth.fluid_synth_sfload(player.synth, str(path).encode(), 0)
        assert number >= 0, f"FluidSynth refuses {path}"
        for channel in range(16):
            assert fluidsynth.fluid_synth_program_select(player.synth, channel, number, bank, program) == 0
        yield player.synth
    finally:
        player.delete()


def play(path: Path, bank: int, program: int, strikes: Sequence[Strike], frames: int) -> NDArray[np.float32]:
    """Return notes together, float32 (frames, 2); every frame is rounded down to FluidSynth's grid."""
    events = [(s.on_frame, 1, s) for s in strikes]
    events += [(s.off_frame, 0, s) for s in strikes if s.off_frame is not None]
    sound = np.zeros((frames // GRID_FRAMES * GRID_FRAMES, 2), np.float32)
    at = 0
    with loaded_font(path, bank, program) as synth:
        for frame, starts, strike in sorted(events, key=lambda event: event[:2]):
            at = _render(synth, sound, at, frame // GRID_FRAMES * GRID_FRAMES)
            if not starts:
                fluidsynth.fluid_synth_noteoff(synth, strike.channel, strike.midi)
                continue
            if strike.brightness is not None:
                fluidsynth.fluid_synth_cc(synth, strike.channel, 74, strike.brightness)
            fluidsynth.fluid_synth_noteon(synth, strike.channel, strike.midi, strike.velocity)
        _render(synth, sound, at, len(sound))
    return sound


def notes_alone(
    path: Path,
    bank: int,
    program: int,
    notes: Sequence[tuple[int, int]],
    length_s: float,
    brightness: int | None = None,
) -> NDArray[np.float32]:
    """Return each note (key, velocity) alone, float32 (notes, frames): both sides added, silence kept between notes."""
    frames = round(length_s * RATE_HZ) // GRID_FRAMES * GRID_FRAMES
    sounds = np.zeros((len(notes), frames), np.float32)
    both = np.zeros((frames, 2), np.float32)
    with loaded_font(path, bank, program) as synth:
        if brightness is not None:
            fluidsynth.fluid_synth_cc(synth, 0, 74, brightness)
        for row, (midi, velocity) in enumerate(notes):
            fluidsynth.fluid_synth_noteon(synth, 0, midi, velocity)
            both[:] = 0.0
            _render(synth, both, 0, frames)
            sounds[row] = both.sum(axis=1)
            fluidsynth.fluid_synth_all_sounds_off(synth, 0)
            both[:512] = 0.0
            _render(synth, both, 0, 512)
    return sounds


def _render(synth: Any, sound: NDArray[np.float32], start: int, end: int) -> int:
    """Play from one frame to another into the sound; return where it stands."""
    if end > start:
        place = sound.ctypes.data
        failed = _write(synth, end - start, place, 2 * start, 2, place, 2 * start + 1, 2)
        assert not failed, "FluidSynth stopped while rendering"
    return max(start, end)
