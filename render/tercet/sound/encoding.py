"""Track files: from blocks of samples to .wav, .flac, .mp3, .ogg and .opus.

`TrackWriter` takes one block after another, so that several tracks can be mixed and written side by side without
holding any of them whole. libsndfile does the encoding; it lets Python run meanwhile, so writers in several threads
use several processors.

**Samples.** Full scale is ±1. A sample becomes a whole number by × 32 768 (× 8 388 608 with 24 bits) and rounding
half to even; readers divide by the same power of two, so a sample comes back within half a step, and +1 comes back
one step lower. There is no dither: the same samples give the same bytes, and layers add up. (libsndfile's own
conversion cuts off instead of rounding when it guards against overflow, half a step too low, and is slower.)

**Full scale.** What passes ±1 is held there and counted in `TrackWriter.clipped_frames`; the caller decides what
that means. A song's gain is chosen so that it stays 0.

**Same bytes.** WAV, FLAC and MP3 come out the same each time; Ogg does once its serial number is settled (`ogg`).
Vorbis also depends on how many samples the encoder gets at a time, so it always gets whole blocks.

**Where an MP3 begins.** The encoder puts silence before the sound and says how much in the LAME header that is
written here. A decoder that obeys it, as libsndfile's does, begins exactly at the first frame and ends at the last;
one that ignores it begins `MP3_DELAY_FRAMES` late, and one that plays the header as sound begins
`MP3_DELAY_FRAMES` + 1152 late. Vorbis and Opus begin at the first frame.
"""

from __future__ import annotations

import errno
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Self

import numpy as np
from numpy.typing import NDArray

from tercet.audio_formats import FORMATS, TrackFormat
from tercet.errors import OutputError, ParameterError, RequestError
from tercet.sound.audio import SAMPLE_RATE_HZ, check_audio, check_shape
from tercet.sound.ogg import with_settled_serial
from tercet.sound.sink import Sink, interrupts_held
from tercet.sound.tags import Tags, id3_tag, sound_file_strings
from tercet.sound.wav import WavFile

__all__ = [
    "BITS",
    "MP3_DELAY_FRAMES",
    "Bits",
    "Tags",
    "TrackWriter",
    "track_format",
]

Bits = Literal[16, 24]
BITS: tuple[Bits, ...] = (16, 24)
"""Bits of a sample in a lossless file; the first is the default."""

MP3_DELAY_FRAMES = 1105
"""Silence before an MP3's sound for a decoder that ignores the LAME header: 576 of the encoder, 529 of the decoder."""

_NO_TAGS = Tags()
_CHANNELS = 2
_BLOCK_FRAMES = 65_536
"""Frames given to libsndfile at a time: it overflows its stack on longer Vorbis writes (its issues 1023, 1095)."""


def track_format(path: Path) -> TrackFormat:
    """Return the kind of file that a name's ending asks for, in capitals or not.

    Raises
    ------
    RequestError
        If Tercet writes no audio of that ending; the message lists those it writes.
    """
    found = FORMATS.get(path.suffix.lower())
    if found is None:
        what = f"the ending {path.suffix}" if path.suffix else "no ending"
        raise RequestError(f"{path} has {what}: end the name of a track with one of {' '.join(FORMATS)}")
    return found


class TrackWriter:
    """Writes one track file block by block; a context manager.

    The file is opened on entry and finished on exit; a track has at least one frame. If an error passes through,
    what has been written stays as it is; `tercet.files.whole_file` sees to it that it goes. One thread at a
    time.

    Parameters
    ----------
    path
        File to write; its ending chooses the kind. Overwritten if it is there.
    tags
        What the track says about itself.
    bits
        Of a sample in a lossless file, 16 or 24; a lossy file has none.
    sample_rate_hz
        Frames a second.
    length_frames
        How many frames will come, if that is known; 0 if not. It tells a WAV file's hash sooner.

    Attributes
    ----------
    sha256
        When the file is finished, the hash of its bytes if it was found in writing; else empty.

    Raises
    ------
    RequestError
        If the ending is unknown.
    ParameterError
        If the bits are others than 16 or 24.

    Examples
    --------
    ::

        with TrackWriter(Path("demo.flac"), Tags(title="Demo")) as writer:
            for block in blocks:
                writer.write(block)
    """

    def __init__(
        self,
        path: Path,
        tags: Tags = _NO_TAGS,
        *,
        bits: int = BITS[0],
        sample_rate_hz: int = SAMPLE_RATE_HZ,
        length_frames: int = 0,
    ) -> None:
        if bits not in BITS:
            raise ParameterError(f"bits must be 16 or 24 (got {bits})")
        self.path = path
        self.format = track_format(path)
        self.tags = tags
        self.bits = bits
        self.sample_rate_hz = sample_rate_hz
        self.sha256 = ""
        self._promised_frames = length_frames
        self._length_frames = 0
        self._clipped_frames = 0
        self._numbers = _WholeNumbers(bits)
        self._waiting: NDArray[np.float32] | None = None
        self._waiting_frames = 0
        self._sink: Sink | None = None
        self._encoder: Any = None

    @property
    def length_frames(self) -> int:
        """Frames taken so far."""
        return self._length_frames

    @property
    def clipped_frames(self) -> int:
        """Frames so far with a sample beyond ±1, which was held at full scale."""
        return self._clipped_frames

    def __enter__(self) -> Self:
        self._sink = Sink(self.path, id3_tag(self.tags) if self.format.container == "MP3" else b"")
        try:
            with interrupts_held():
                self._encoder = self._opened_encoder(self._sink)
        except BaseException:
            self._abandon()
            raise
        return self

    def write(self, block: NDArray[np.float32]) -> None:
        """Append a block.

        Parameters
        ----------
        block
            Float32, (frames, 2), finite, of any length. Not changed.

        Raises
        ------
        ParameterError
            If the block isn't such audio, or the writer isn't open.
        OSError
            If the file can't be written.
        """
        self._open_sink()
        if check_shape(block).shape[1] != _CHANNELS:
            raise ParameterError(f"a track must have 2 channels (got {block.shape[1]})")
        held = self._held_at_full_scale(block)
        self._length_frames += len(held)
        while len(held):
            part, held = (
                held[: _BLOCK_FRAMES - self._waiting_frames],
                held[_BLOCK_FRAMES - self._waiting_frames :],
            )
            if len(part) == _BLOCK_FRAMES or self.format.container == "WAV":
                self._encode(part)
            else:
                self._wait(part)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None:
            self._abandon()
            return
        try:
            if not self._length_frames:
                raise ParameterError(f"a track must have at least one frame (got none for {self.path})")
            self._encode_waiting()
            self._call(self._encoder.close)
            sink = self._open_sink()
            if isinstance(self._encoder, WavFile):
                self.sha256 = self._encoder.sha256
            if self.format.container == "OGG":
                sink.rewrite(with_settled_serial)
            sink.close()
        finally:
            self._abandon()

    def _opened_encoder(self, sink: Sink) -> Any:
        """Return what takes samples: a WAV file, or libsndfile; the tags of an MP3 stand in front already."""
        strings = sound_file_strings(self.tags, has_licence=self.format.container != "WAV")
        if self.format.container == "WAV":
            return WavFile(sink, self.sample_rate_hz, self.bits, strings, self._promised_frames)
        import soundfile

        try:
            encoder = soundfile.SoundFile(
                sink,
                "w",
                self.sample_rate_hz,
                _CHANNELS,
                subtype=self.format.coding or f"PCM_{self.bits}",
                format=self.format.container,
                **dict(self.format.options),
            )
            if self.format.container != "MP3":
                for name, text in strings.items():
                    setattr(encoder, name, text)
        except soundfile.SoundFileError as error:
            raise OutputError(
                f"can't encode {self.path} as {self.format.description} at {self.sample_rate_hz} Hz: {error} "
                f"Use {SAMPLE_RATE_HZ} Hz, which every kind of file accepts."
            ) from error
        return encoder

    def _open_sink(self) -> Sink:
        if self._sink is None:
            raise ParameterError(
                "a track must be written inside its writer's with-block (got a closed writer)"
            )
        return self._sink

    def _held_at_full_scale(self, part: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return a part of audio with everything beyond full scale held there, and count what is beyond ±1."""
        highest = 1.0 if self.format.lossy else self._numbers.highest
        if not part.size or (part.max() <= highest and part.min() >= -1.0):
            return part
        check_audio(part)
        self._clipped_frames += int((np.abs(part) > 1).any(axis=1).sum())
        return np.clip(part, -1, np.float32(highest))

    def _wait(self, part: NDArray[np.float32]) -> None:
        """Collect parts up to a whole block, so that no file depends on how its samples arrive."""
        if self._waiting is None:
            self._waiting = np.empty((_BLOCK_FRAMES, _CHANNELS), np.float32)
        stop = self._waiting_frames + len(part)
        self._waiting[self._waiting_frames : stop] = part
        self._waiting_frames = stop
        if stop == _BLOCK_FRAMES:
            self._encode_waiting()

    def _encode_waiting(self) -> None:
        """Encode what has been collected."""
        if self._waiting is not None and self._waiting_frames:
            self._encode(self._waiting[: self._waiting_frames])
            self._waiting_frames = 0

    def _encode(self, part: NDArray[np.float32]) -> None:
        """Encode a part within full scale."""
        self._call(self._encoder.write, part if self.format.lossy else self._numbers.of(part))

    def _call(self, method: Callable[..., None], *arguments: object) -> None:
        """Call the encoder; raise what went wrong in it or below it."""
        sink = self._open_sink()
        if self.format.container == "WAV":
            method(*arguments)
        else:
            self._call_libsndfile(sink, method, *arguments)
        sink.raise_failure()

    def _call_libsndfile(self, sink: Sink, method: Callable[..., None], *arguments: object) -> None:
        import soundfile

        with interrupts_held():
            try:
                method(*arguments)
            except (AssertionError, soundfile.SoundFileError) as error:
                sink.fail(OSError(errno.EIO, str(error) or "libsndfile wrote less than it was given"))

    def _abandon(self) -> None:
        """Let go of the file. If libsndfile hasn't finished, what it still wants to write goes nowhere."""
        sink, encoder = self._open_sink(), self._encoder
        self._sink = self._encoder = None
        sink.fail(OSError(errno.ECANCELED, "given up"))
        if encoder is not None:
            with interrupts_held():
                encoder.close()
        with suppress(OSError):
            sink.close()


class _WholeNumbers:
    """Samples as whole numbers, in the upper bits of the type that libsndfile takes; in memory that is used again.

    Parameters
    ----------
    bits
        Of a sample, 16 or 24.
    """

    def __init__(self, bits: int) -> None:
        self._full_scale = 1 << bits - 1
        self._dtype = np.int16 if bits == 16 else np.int32
        self._shift_bits = np.iinfo(self._dtype).bits - bits
        self._numbers = self._scaled = np.empty((0, _CHANNELS))

    @property
    def highest(self) -> float:
        """The highest sample that there is a whole number for."""
        return 1.0 - 1.0 / self._full_scale

    def of(self, part: NDArray[np.float32]) -> NDArray[Any]:
        """Return samples from −1 to `highest`, up to `_BLOCK_FRAMES` frames, as whole numbers; until the next call."""
        if not len(self._numbers):
            self._numbers = np.empty((_BLOCK_FRAMES, _CHANNELS), self._dtype)
            self._scaled = np.empty((_BLOCK_FRAMES, _CHANNELS), np.float32)
        scaled, numbers = self._scaled[: len(part)], self._numbers[: len(part)]
        np.multiply(part, np.float32(self._full_scale), out=scaled)
        np.rint(scaled, out=scaled)
        np.copyto(numbers, scaled, casting="unsafe")
        if self._shift_bits:
            np.left_shift(numbers, self._shift_bits, out=numbers)
        return numbers
