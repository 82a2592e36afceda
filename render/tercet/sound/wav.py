"""WAV files, written as they come: their head, which says how long they are, then sample after sample.

Where it is known before how many frames will come, the head is right at once, and the file's hash is found on the way:
then nobody has to read it again. The bytes are those that libsndfile writes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tercet.errors import OutputError
from tercet.sound.sink import Sink

__all__ = ["WavFile"]

_CHUNKS = {
    "title": b"INAM",
    "artist": b"IART",
    "album": b"IPRD",
    "tracknumber": b"ITRK",
    "comment": b"ICMT",
    "copyright": b"ICOP",
}
"""What a WAV file calls what it says of itself: IBM and Microsoft, "Multimedia Programming Interface", 1991, INFO."""

_MOST_BYTES = 2**32 - 1
_WHOLE_NUMBERS = 1
_CHANNELS = 2


class WavFile:
    """A WAV file that is being written; it takes what libsndfile would take.

    Parameters
    ----------
    sink
        What it goes to.
    sample_rate_hz, bits
        Frames a second; bits of a sample, 16 or 24.
    strings
        What the file says of itself, from `sound_file_strings`.
    length_frames
        How many frames will come, if that is known; 0 if not.

    Attributes
    ----------
    sha256
        After `close` the hash of the file's bytes, if it was known how many frames would come; else empty.
    """

    def __init__(
        self, sink: Sink, sample_rate_hz: int, bits: int, strings: Mapping[str, str], length_frames: int
    ) -> None:
        self._sink = sink
        self._rate_hz = sample_rate_hz
        self._bits = bits
        self._frame_bytes = _CHANNELS * bits // 8
        self._info = _info(strings)
        self._promised_frames = length_frames
        self._frames = 0
        self._finished = False
        self._hash = hashlib.sha256()
        self.sha256 = ""
        self._put(self._head(length_frames))

    def write(self, numbers: NDArray[np.int16] | NDArray[np.int32]) -> None:
        """Append frames (frames, 2): int16, or for 24 bits int32 in the upper bits."""
        self._frames += len(numbers)
        if self._bits == 16:
            data = np.ascontiguousarray(numbers, "<i2").reshape(-1)
        else:
            data = np.ascontiguousarray(numbers, "<i4").view(np.uint8).reshape(-1, 4)[:, 1:].reshape(-1)
        self._put(data.view(np.uint8).data)

    def close(self) -> None:
        """Finish the file; can be called again."""
        if self._finished:
            return
        self._finished = True
        if self._frames == self._promised_frames:
            self.sha256 = self._hash.hexdigest()
        else:
            self._sink.seek(0)
            self._sink.write(self._head(self._frames))

    def _put(self, data: bytes | memoryview) -> None:
        self._sink.write(data)
        if self._promised_frames:
            self._hash.update(data)

    def _head(self, frames: int) -> bytes:
        """Return all that stands before the samples of so many frames.

        Raises
        ------
        OutputError
            A WAV file can't hold so many.
        """
        data_bytes = frames * self._frame_bytes
        form = (
            _number(_WHOLE_NUMBERS, 2)
            + _number(_CHANNELS, 2)
            + _number(self._rate_hz, 4)
            + _number(self._rate_hz * self._frame_bytes, 4)
            + _number(self._frame_bytes, 2)
            + _number(self._bits, 2)
        )
        before = b"WAVE" + _chunk(b"fmt ", form) + self._info + b"data"
        length = len(before) + 4 + data_bytes
        if length > _MOST_BYTES:
            raise OutputError("a WAV file can't hold more than 4 GB: take .flac, or fewer bars")
        return b"RIFF" + _number(length, 4) + before + _number(data_bytes, 4)


def _info(strings: Mapping[str, str]) -> bytes:
    """Return the chunk that holds what a file says of itself; no bytes if that is nothing."""
    texts = [_chunk(_CHUNKS[name], _ended(text.encode())) for name, text in strings.items()]
    return _chunk(b"LIST", b"INFO" + b"".join(texts)) if texts else b""


def _ended(text: bytes) -> bytes:
    """Return a text with an end sign, an even number of bytes."""
    return text + bytes(2 - len(text) % 2)


def _chunk(name: bytes, contents: bytes) -> bytes:
    return name + _number(len(contents), 4) + contents


def _number(value: int, length_bytes: int) -> bytes:
    return value.to_bytes(length_bytes, "little")
