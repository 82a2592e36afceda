"""Films as a player shows them: their frames with their times, their sound, and how far the two are apart.

FFmpeg decodes the file; nothing here knows how it was made. A mark lights where a full patch of the tune's colour
appears: print has the colour too, but only in strokes that are thinner than a patch.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from tests.measure.audio import Track
from tests.measure.onsets import onsets_s

__all__ = [
    "FilmFacts",
    "film_facts",
    "flashing_part",
    "frames_of",
    "lights_s",
    "most_flashing",
    "offsets_s",
    "sound_of",
    "sound_onsets_s",
]

REDDER = 40
"""By how much the tune's colour is redder than green and blue, of 255: as in the marks of softer strings."""

PATCH = 9
"""Side of a patch in pixels, in a picture that is 540 high: it lies within the head of a softer string."""

FULL_PART, EMPTY_PART = 0.55, 0.5
"""A patch is full from this part of it on; before, it held at most that much: print does."""

LOOKED_AT = 540
"""Height in which frames are looked at."""

MUSIC_PART = 0.8
"""The upper part of a picture, where the music is: the shapes under it have marks of the tune's colour, too."""

GESTURE_S = 0.25
"""Strings that follow each other sooner than this belong to one stroke."""

FLASH_STEP = 0.1
"""Of full brightness: a change that counts as half of a flash (ITU-R BT.1702-2)."""

RATE_HZ = 48_000


@lru_cache(maxsize=1)
def ffmpeg() -> str:
    """Return an FFmpeg."""
    with suppress(ImportError, RuntimeError):
        import imageio_ffmpeg

        return str(imageio_ffmpeg.get_ffmpeg_exe())
    found = shutil.which("ffmpeg")
    assert found is not None, "no FFmpeg"
    return found


@dataclass(frozen=True)
class FilmFacts:
    """What the head of a file says."""

    width: int
    height: int
    length_s: float
    start_s: float
    video: str
    audio: str
    metadata: dict[str, str]


def film_facts(path: Path) -> FilmFacts:
    """Read the head of a film."""
    said = subprocess.run([ffmpeg(), "-hide_banner", "-i", path], capture_output=True, check=False).stderr
    text = said.decode("utf-8")
    head, _, streams = text.partition("Duration:")
    hours, minutes, seconds = re.match(r" (\d+):(\d+):([\d.]+)", streams).groups()  # type: ignore[union-attr]
    size = re.search(r"Video: .*?(\d{3,})x(\d{3,})", streams)
    assert size is not None
    return FilmFacts(
        int(size[1]),
        int(size[2]),
        3600 * int(hours) + 60 * int(minutes) + float(seconds),
        float(re.search(r"start: (-?[\d.]+)", streams)[1]),  # type: ignore[index]
        re.search(r"Video: (\w+)", streams)[1],  # type: ignore[index]
        re.search(r"Audio: (\w+)", streams)[1],  # type: ignore[index]
        dict(re.findall(r"^    (\w+) *: (.*)$", head, re.MULTILINE)),
    )


def frames_of(path: Path, width: int, height: int) -> Iterator[tuple[float, NDArray[np.uint8]]]:
    """Yield the frames of a film, scaled, each with the time at which it is shown; arrays (height, width, 3)."""
    said = subprocess.run(
        [ffmpeg(), "-v", "error", "-i", path, "-map", "0:v", "-fps_mode", "passthrough", "-c", "copy", "-f",
         "framecrc", "-"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    ticks_s = [float(part) for part in re.search(r"#tb 0: (\d+)/(\d+)", said).groups()]  # type: ignore[union-attr]
    stamps = sorted(int(line.split(",")[2]) for line in said.splitlines() if not line.startswith("#"))
    command = [ffmpeg(), "-v", "error", "-i", str(path), "-map", "0:v", "-fps_mode", "passthrough", "-vf",
               f"scale={width}:{height}:flags=area", "-f", "rawvideo", "-pix_fmt", "rgb24", "-"]  # fmt: skip
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        for stamp in stamps:
            data = process.stdout.read(width * height * 3)
            assert len(data) == width * height * 3, "a frame for each time"
            frame = np.frombuffer(data, np.uint8).reshape(height, width, 3)
            yield stamp * ticks_s[0] / ticks_s[1], frame
        assert not process.stdout.read(1)


def sound_of(path: Path) -> Track:
    """Return the sound of a film as it is played from time 0."""
    command = [ffmpeg(), "-v", "error", "-i", str(path), "-map", "0:a", "-af", "aresample=first_pts=0", "-f", "f32le",
               "-ac", "1", "-ar", str(RATE_HZ), "-"]  # fmt: skip
    data = subprocess.run(command, capture_output=True, check=True).stdout
    return Track(np.frombuffer(data, np.float32).reshape(-1, 1), RATE_HZ)


def lights_s(path: Path, after_s: float) -> NDArray[np.float64]:
    """Return when marks of the tune light after a time, string by string, in seconds."""
    facts = film_facts(path)
    found: list[float] = []
    before: NDArray[np.float32] | None = None
    for time_s, frame in frames_of(path, round(facts.width * LOOKED_AT / facts.height / 2) * 2, LOOKED_AT):
        colours = frame[: round(LOOKED_AT * MUSIC_PART)].astype(np.int16)
        redder = colours[..., 0] - colours[..., 1:].max(axis=2) > REDDER
        part = uniform_filter(redder.astype(np.float32), PATCH, mode="constant")
        if before is not None and ((part > FULL_PART) & (before < EMPTY_PART)).any() and time_s > after_s:
            found.append(time_s)
        before = part
    return np.array(found)


def sound_onsets_s(path: Path, after_s: float) -> NDArray[np.float64]:
    """Return when strokes sound after a time, in seconds."""
    return _first_of_each([time_s for time_s in onsets_s(sound_of(path)).tolist() if time_s > after_s])


def _first_of_each(times_s: list[float]) -> NDArray[np.float64]:
    firsts: list[float] = []
    last = -np.inf
    for time_s in sorted(times_s):
        if time_s - last > GESTURE_S:
            firsts.append(time_s)
        last = time_s
    return np.array(firsts)


def offsets_s(lights: NDArray[np.float64], onsets: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how much later than its sound each stroke lights, in seconds: by the light that is nearest to it.

    A light without a sound doesn't count: a digit that appears again where a mark went looks like one.
    """
    apart = lights[None, :] - onsets[:, None]
    nearest: NDArray[np.float64] = apart[np.arange(len(onsets)), np.abs(apart).argmin(axis=1)]
    return nearest


def flashing_part(brightness: NDArray[np.float64], times_s: NDArray[np.float64]) -> float:
    """Return the largest part of a picture that flashes more than three times within a second.

    Parameters
    ----------
    brightness
        0 to 1, (frames, height, width).
    times_s
        When each frame is shown.
    """
    turning = np.zeros(brightness.shape, bool)
    extreme, rising = brightness[0].copy(), np.zeros(brightness.shape[1:], int)
    for number in range(1, len(brightness)):
        now = brightness[number]
        up, down = now - extreme > FLASH_STEP, extreme - now > FLASH_STEP
        turning[number] = (up & (rising <= 0)) | (down & (rising >= 0))
        extreme = np.where(turning[number] | ((now - extreme) * rising > 0), now, extreme)
        rising = np.where(up & turning[number], 1, np.where(down & turning[number], -1, rising))
    worst = 0.0
    for time_s in times_s:
        inside = (times_s > time_s - 1.0) & (times_s <= time_s)
        worst = max(worst, float((turning[inside].sum(axis=0) > 6).mean()))
    return worst


def most_flashing(path: Path, width: int = 192, height: int = 108) -> float:
    """Return the largest part of a film's picture that flashes more than three times within a second."""
    shown = list(frames_of(path, width, height))
    bright = np.array([frame.astype(np.float64) @ (0.2126, 0.7152, 0.0722) / 255.0 for _, frame in shown])
    return flashing_part(bright, np.array([time_s for time_s, _ in shown]))
