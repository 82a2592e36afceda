"""What libsndfile writes to, and how errors and Ctrl-C get past it.

libsndfile calls back into Python to write. Nothing may be raised through its C code: an exception would be printed
and forgotten, and a full disk would leave a broken file that looks whole. So a `Sink` keeps the first failure for its
owner to raise, and `interrupts_held` puts Ctrl-C off until the C code has returned. Writing through Python is also
quicker than through a path, for which python-soundfile waits until the disk has everything.
"""

from __future__ import annotations

import errno
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from tercet.errors import OutputError

__all__ = ["Sink", "interrupts_held"]

_HELD_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class Sink:
    """A file that an encoder fills, behind bytes that the encoder doesn't see.

    `write`, `seek` and `tell` are what libsndfile calls; they never raise for a file that takes no more.

    Parameters
    ----------
    path
        File to write, emptied if it is there.
    head
        What stands in front of the encoder's bytes; the encoder counts from behind it.

    Raises
    ------
    OSError
        If the file can't be opened or takes no head.
    OutputError
        If the path is a pipe or the like, where an encoder can't go back to complete its header.
    """

    def __init__(self, path: Path, head: bytes = b"") -> None:
        self._path = path
        self._file = path.open("w+b", buffering=0)
        self._start_byte = len(head)
        self._failure: OSError | None = None
        if not self._file.seekable():
            self.close()
            raise OutputError(f"can't write {path}: it is a pipe or a device; name a file")
        self.write(head)

    def write(self, data: bytes | memoryview) -> int:
        """Write all of the data, or keep the reason why not; either way say that all was written."""
        rest = memoryview(data)
        try:
            while rest and self._failure is None:
                rest = rest[self._file.write(rest) :]
        except OSError as error:
            self.fail(error)
        return len(data)

    def seek(self, offset_byte: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place, counted from behind the head if from the start."""
        if whence == os.SEEK_SET:
            offset_byte += self._start_byte
        return self._file.seek(offset_byte, whence) - self._start_byte

    def tell(self) -> int:
        """Return the place, counted from behind the head."""
        return self._file.tell() - self._start_byte

    def fail(self, error: OSError) -> None:
        """Keep a reason, if it is the first; nothing more is written."""
        if self._failure is None:
            self._failure = error

    def raise_failure(self) -> None:
        """Raise the reason that was kept, naming the file."""
        if self._failure is not None:
            number = self._failure.errno or errno.EIO
            raise OSError(
                number, self._failure.strerror or str(self._failure), str(self._path)
            ) from self._failure

    def rewrite(self, change: Callable[[bytes], bytes]) -> None:
        """Replace what the encoder wrote by something as long."""
        self.seek(0)
        data = change(self._file.read())
        self.seek(0)
        self.write(data)
        self.raise_failure()

    def close(self) -> None:
        """Close the file; can be called again."""
        try:
            self._file.close()
        except OSError as error:
            self.fail(error)
            self.raise_failure()


@contextmanager
def interrupts_held() -> Iterator[None]:
    """Put off Ctrl-C and a request to end until the block is done, then act on the first.

    Only in the main thread, the only one to which Python passes signals.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[tuple[int, FrameType | None]] = []
    handlers = {int(number): signal.getsignal(number) for number in _HELD_SIGNALS}
    ours = {number: handler for number, handler in handlers.items() if callable(handler)}
    for number in ours:
        signal.signal(number, lambda *details: came.append(details))
    try:
        yield
    finally:
        for number, handler in ours.items():
            signal.signal(number, handler)
    if came:
        number, frame = came[0]
        ours[number](number, frame)
