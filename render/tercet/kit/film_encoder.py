"""Encoding a film: frames and sound go through FFmpeg into one MP4 file, H.264 and AAC, as every platform takes it."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from tercet.errors import OutsideError
from tercet.kit.frame_stream import frame_bytes, head_bytes
from tercet.printable import visible
from tercet.publish.film import FRAME_RATE_HZ, TITLE_S, FilmSize
from tercet.publish.film.pixels import Picture
from tercet.sound.tags import Tags

__all__ = ["encoding", "ffmpeg_path"]

HOW_TO_GET = (
    "films are encoded by FFmpeg, which isn't here: `pip install imageio-ffmpeg` brings one (as the extra `film` of "
    "Tercet does), or install your system's package ffmpeg"
)

ENCODER = "libx264"
"""Of H.264, in FFmpeg."""

QUALITY = 23
"""x264's constant rate factor with the preset superfast: letters are sharp, and a minute takes about 4 MB."""

KEY_FRAME_S = 4
"""A player can jump to every fourth second."""

SOUND_KBIT = 160
"""Of AAC, stereo."""

ENDS_WITHIN_S = 30.0
"""So long FFmpeg may take to write what it still holds."""


def ffmpeg_path() -> str:
    """Return the FFmpeg that is used: the one that pip brought, else the system's.

    Raises
    ------
    OutsideError
        There is none.
    """
    with suppress(ImportError, RuntimeError):
        import imageio_ffmpeg

        return str(imageio_ffmpeg.get_ffmpeg_exe())
    found = shutil.which("ffmpeg")
    if found is None:
        raise OutsideError(HOW_TO_GET)
    return found


@dataclass(frozen=True, slots=True)
class Encoding:
    """A film on its way into a file."""

    _pipe: IO[bytes]

    def add(self, number: int, picture: Picture) -> None:
        """Add a frame, which stays until the next; numbers rise."""
        for part in frame_bytes(number, picture):
            self._pipe.write(part)


@contextmanager
def encoding(path: Path, size: FilmSize, sound: Path, tags: Tags) -> Iterator[Encoding]:
    """Give what takes the frames of a film, and write the file when all have come.

    Parameters
    ----------
    path
        The file.
    size
        Of the frames.
    sound
        The track's sound, which begins when the title has been read.
    tags
        What the file says of itself.

    Raises
    ------
    OutsideError
        FFmpeg isn't there, or couldn't encode; the message has what it said last.
    """
    command = [ffmpeg_path(), *_arguments(path, sound, tags)]
    log = path.with_name(f"{path.name}.log")
    with log.open("w+b") as said:
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=said)  # noqa: S603
        try:
            if process.stdin is None:
                raise OutsideError(HOW_TO_GET)
            try:
                process.stdin.write(head_bytes(size))
                yield Encoding(process.stdin)
                process.stdin.close()
            except (BrokenPipeError, ConnectionResetError):
                process.wait(ENDS_WITHIN_S)
                raise OutsideError(_failed(said)) from None
            if process.wait(ENDS_WITHIN_S):
                raise OutsideError(_failed(said))
        finally:
            process.kill()
            process.wait()
            with suppress(OSError):
                if process.stdin is not None:
                    process.stdin.close()
    log.unlink()


def _failed(said: IO[bytes]) -> str:
    """Return what to say when FFmpeg gave up."""
    said.seek(0)
    lines = said.read().decode("utf-8", "replace").strip().splitlines()
    return f"FFmpeg couldn't make the film: {visible(lines[-1]) if lines else 'it said nothing'}"


def _arguments(path: Path, sound: Path, tags: Tags) -> list[str]:
    """Return what FFmpeg is told.

    No frame refers to a later one, so that the first is shown at 0 in players that know nothing of edit lists. The
    same frames give the same bytes: no time of day and no release stands in the file.
    """
    colours = [
        "-colorspace",
        "bt709",
        "-color_primaries",
        "bt709",
        "-color_trc",
        "bt709",
        "-color_range",
        "tv",
    ]
    delay = round(1000 * TITLE_S)
    told = {"title": tags.title, "artist": tags.artist, "album": tags.album, "copyright": tags.licence}
    metadata = [part for name, text in told.items() if text for part in ("-metadata", f"{name}={text}")]
    return [
        *("-hide_banner", "-loglevel", "error", "-y"),
        *("-f", "matroska", "-i", "pipe:0", "-i", str(sound)),
        *("-map", "0:v", "-map", "1:a", "-map_metadata", "-1"),
        *("-c:v", ENCODER, "-preset", "superfast", "-crf", str(QUALITY), "-bf", "0"),
        *("-fps_mode", "vfr", "-enc_time_base", f"1:{FRAME_RATE_HZ}"),
        *("-force_key_frames", f"expr:gte(t,n_forced*{KEY_FRAME_S})"),
        *("-g", str(KEY_FRAME_S * FRAME_RATE_HZ), "-pix_fmt", "yuv420p", *colours),
        *("-af", f"adelay={delay}:all=1", "-c:a", "aac", "-b:a", f"{SOUND_KBIT}k"),
        *("-fflags", "+bitexact", "-flags", "+bitexact", *metadata),
        *("-movflags", "+faststart", "-f", "mp4", str(path)),
    ]  # fmt: skip
