"""Where the built-in ukulele lies: made on first use, kept in the user's cache.

Its name carries the font's version, its size and a hash of all that it is made from, so a newer Tercet makes its own. A
small file beside it holds the SHA-256 of its bytes; a font that doesn't match, or has none, is made again. Both appear
whole or not at all, and two processes that make it at once write the same bytes.
"""

from __future__ import annotations

import functools
import hashlib
import secrets
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from tercet import caches
from tercet.errors import SoundFontError

__all__ = ["built_in_name", "built_in_path", "ready_built_in"]

Report = Callable[[str, int, int], None]


def built_in_name() -> str:
    """Return the file name of the built-in ukulele: version, size, and a hash of its parameters."""
    from tercet.sound import body, circle, plucked, string_model, struck, touch, ukulele

    tables = [
        (name, value)
        for module in (body, circle, plucked, string_model, struck, touch, ukulele)
        for name, value in sorted(vars(module).items())
        if name.isupper() and "TYPE_CHECKING" not in name
    ]
    digest = hashlib.sha256(repr(tables).encode()).hexdigest()[:10]
    return f"tercet-ukulele-{ukulele.VERSION}-{ukulele.FULL.name}-{digest}.sf2"


def built_in_path() -> Path:
    """Return where the built-in ukulele lies, or will."""
    return caches.cache_folder() / built_in_name()


def ready_built_in(report: Report | None = None, path: Path | None = None) -> Path:
    """Return the built-in ukulele's file, made now if it is missing or damaged.

    Parameters
    ----------
    report
        Told (what is being done, notes done, notes in all) while it is made.
    path
        Where to keep it instead of `built_in_path`.

    Raises
    ------
    SoundFontError
        The cache can't be written.
    """
    place = path or built_in_path()
    try:
        if _sound(_state(place), _state(_note_of(place))):
            return place
        from tercet.sound.ukulele import ukulele_bytes

        data = ukulele_bytes(report=report)
        try:
            return _kept(place, data)
        except OSError as error:
            if path is not None:
                raise
            place = caches.temporary_cache(f"{place}: {error.strerror or error}") / place.name
            return _kept(place, data)
    except OSError as error:
        raise SoundFontError(
            f"{place}: the built-in ukulele can't be kept there: {error.strerror or error}. Make room, make the "
            "folder writable, or name another font by --sound."
        ) from error


def _kept(place: Path, data: bytes) -> Path:
    """Write a font and the hash beside it; return where."""
    place.parent.mkdir(parents=True, exist_ok=True)
    _write_whole(place, data)
    _write_whole(_note_of(place), hashlib.sha256(data).hexdigest().encode())
    return place


def _note_of(place: Path) -> Path:
    """Return the file that holds a font's hash."""
    return place.with_suffix(".sha256")


def _state(path: Path) -> tuple[Path, int, int]:
    """Return a file as it stands: its size and date, −1 when it isn't there."""
    try:
        facts = path.stat()
    except FileNotFoundError:
        return path, -1, -1
    return path, facts.st_size, facts.st_mtime_ns


@functools.lru_cache(maxsize=8)
def _sound(font: tuple[Path, int, int], note: tuple[Path, int, int]) -> bool:
    """Return whether a font is there and its bytes are those that were written; remembered while both files stay."""
    if font[1] < 0 or note[1] < 0:
        return False
    with font[0].open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return digest == note[0].read_text(encoding="ascii", errors="replace")


def _write_whole(place: Path, data: bytes) -> None:
    """Write a file whole or not at all: beside its place, then in one step."""
    hidden = place.parent / f".tercet-{secrets.token_hex(8)}{place.suffix}"
    try:
        hidden.write_bytes(data)
        _take_place(hidden, place, data)
    finally:
        with suppress(OSError):
            hidden.unlink(missing_ok=True)


def _take_place(hidden: Path, place: Path, data: bytes) -> None:
    """Put a file in its place. Windows refuses while another process reads that one, which may do as well."""
    try:
        hidden.replace(place)
    except PermissionError:
        if not place.is_file() or place.read_bytes() != data:
            raise
