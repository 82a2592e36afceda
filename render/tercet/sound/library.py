"""Finding and loading the FluidSynth library: once, quietly, and only when a sound font is to be played."""

from __future__ import annotations

import ctypes
import functools
import importlib
import io
import logging
import os
import sys
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tercet.errors import SynthesiserError

__all__ = ["Library", "load_library"]

INSTALL: dict[str, str] = {
    "linux": (
        "Debian, Ubuntu: sudo apt install libfluidsynth3 · Fedora: sudo dnf install fluidsynth-libs · "
        "Arch: sudo pacman -S fluidsynth"
    ),
    "darwin": "brew install fluid-synth",
    "win32": (
        "unpack FluidSynth's own Windows release into C:\\tools\\fluidsynth, "
        "so that C:\\tools\\fluidsynth\\bin holds fluidsynth-3.dll and the files beside it"
    ),
}
"""How to install the library, by `sys.platform`."""

WITHOUT = "The built-in ukulele needs nothing: --sound built-in."

OLDEST = (2, 1, 0)
"""The first version whose rendering call adds to its buffers, as we use it."""

FUNCTIONS: dict[str, tuple[Any, ...]] = {
    "fluid_synth_process": (
        ("synth", ctypes.c_void_p, 1),
        ("len", ctypes.c_int, 1),
        ("nfx", ctypes.c_int, 1),
        ("fx", ctypes.c_void_p, 1),
        ("nout", ctypes.c_int, 1),
        ("out", ctypes.c_void_p, 1),
    ),
    "fluid_synth_set_gen": (
        ("synth", ctypes.c_void_p, 1),
        ("chan", ctypes.c_int, 1),
        ("param", ctypes.c_int, 1),
        ("value", ctypes.c_float, 1),
    ),
    "fluid_synth_set_channel_type": (
        ("synth", ctypes.c_void_p, 1),
        ("chan", ctypes.c_int, 1),
        ("type", ctypes.c_int, 1),
    ),
}
"""Functions that pyfluidsynth doesn't bind, with their arguments; all return 0 or -1."""

MAC_PREFIXES = ("/opt/homebrew", "/usr/local", "/opt/local")
"""Where Homebrew (on Apple's and on Intel's processors) and MacPorts keep what they install."""

MAC_LIBRARY = "libfluidsynth.dylib"

LEVELS, ERROR_LEVELS = range(5), (0, 1)
"""FluidSynth's levels of message: panic, error, warning, information, debugging; the first two are errors."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Library:
    """The loaded library.

    Parameters
    ----------
    binding
        The module pyfluidsynth.
    process, set_generator, set_channel_type
        The functions of `FUNCTIONS`.
    version
        Such as ``"2.3.1"``.
    complaints
        The last errors that the library reported, newest last.
    log_callback
        What the library calls with its messages; kept here so that it lives as long as the library.
    """

    binding: Any
    process: Callable[..., int]
    set_generator: Callable[..., int]
    set_channel_type: Callable[..., int]
    version: str
    complaints: deque[str]
    log_callback: object

    def complaint(self) -> str:
        """Return the newest error that the library reported, or a dash, and forget all."""
        newest = self.complaints[-1] if self.complaints else "it gave no reason"
        self.complaints.clear()
        return newest


@functools.cache
def load_library() -> Library:
    """Load FluidSynth through pyfluidsynth and send what it has to say to `logging`.

    Raises
    ------
    SynthesiserError
        The library or pyfluidsynth is missing, too old, or built for another kind of computer.
    """
    try:
        # pyfluidsynth prints where it found the library when the environment has CI set.
        with redirect_stdout(io.StringIO()), _mac_libraries():
            binding: Any = importlib.import_module("fluidsynth")
    except (ImportError, OSError) as error:
        raise SynthesiserError(
            f"Sound fonts are played by the FluidSynth library, which can't be loaded here ({str(error).rstrip('.')}). "
            f"{_how_to_install()} {WITHOUT}"
        ) from error
    numbers = (ctypes.c_int(), ctypes.c_int(), ctypes.c_int())
    binding.fluid_version(*numbers)
    version = tuple(number.value for number in numbers)
    shown = ".".join(map(str, version))
    if version < OLDEST:
        needed = ".".join(map(str, OLDEST))
        raise SynthesiserError(
            f"FluidSynth {shown} is too old; to play sound fonts, {needed} or later is needed. "
            f"{_how_to_install()} {WITHOUT}"
        )
    process, set_generator, set_channel_type = (
        binding.cfunc(name, ctypes.c_int, *arguments) for name, arguments in FUNCTIONS.items()
    )
    complaints: deque[str] = deque(maxlen=8)
    callback = _route_log(binding, complaints)
    return Library(binding, process, set_generator, set_channel_type, shown, complaints, callback)


@contextmanager
def _mac_libraries() -> Iterator[None]:
    """Have pyfluidsynth find the library of Homebrew or MacPorts on a Mac.

    A Python that they didn't install doesn't search their folders. pyfluidsynth looks below what `HOMEBREW_PREFIX`
    names, which only a shell that Homebrew has set up knows; so it is set while pyfluidsynth is imported.
    """
    own = os.environ.get("HOMEBREW_PREFIX")
    prefixes = [*filter(None, [own]), *MAC_PREFIXES] if sys.platform == "darwin" else []
    found = next((each for each in prefixes if Path(each, "lib", MAC_LIBRARY).exists()), None)
    if found is None:
        yield
        return
    os.environ["HOMEBREW_PREFIX"] = found
    try:
        yield
    finally:
        del os.environ["HOMEBREW_PREFIX"]
        if own is not None:
            os.environ["HOMEBREW_PREFIX"] = own


def _route_log(binding: Any, complaints: deque[str]) -> object:
    """Have every message of the library logged instead of printed; errors are kept in `complaints` too."""
    kind = ctypes.CFUNCTYPE(None, ctypes.c_int, ctypes.c_char_p, ctypes.c_void_p)

    def take_message(level: int, message: bytes, _data: object) -> None:
        text = message.decode("utf-8", "replace")
        if level in ERROR_LEVELS:
            complaints.append(text)
        _log.debug("FluidSynth: %s", text)

    callback = kind(take_message)
    set_log = binding.cfunc(
        "fluid_set_log_function",
        ctypes.c_void_p,
        ("level", ctypes.c_int, 1),
        ("fun", kind, 1),
        ("data", ctypes.c_void_p, 1),
    )
    for level in LEVELS:
        set_log(level, callback, None)
    return callback


def _how_to_install() -> str:
    """Return how to install the library here; on an unknown system, how to everywhere."""
    known = INSTALL.get(sys.platform)
    return f"Install it: {known}." if known else "Install it: " + " · ".join(INSTALL.values()) + "."
