"""Fonts that were hashed before: a large one takes a third of a second to read through, and seldom changes.

What is kept in the user's cache is the SHA-256 of a font's bytes, by its path, size and date. A font that was written
over has another date, and is hashed again; so is one whose kept hash is damaged.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from tercet import caches

__all__ = ["index_folder", "known_hash"]

_HASH = re.compile(r"[0-9a-f]{64}")


def index_folder() -> Path:
    """Return where hashes of fonts are kept."""
    return caches.cache_folder() / "fonts"


def known_hash(path: Path, size_bytes: int, modified_ns: int, hashed: Callable[[], str]) -> str:
    """Return the hash of a font: the one that was kept, or that of `hashed`, which is then kept.

    Where nothing can be kept, the font is hashed each time.
    """
    what = f"{path.resolve()}\n{size_bytes}\n{modified_ns}"
    place = (
        index_folder() / f"{hashlib.sha256(what.encode(errors='surrogateescape')).hexdigest()[:24]}.sha256"
    )
    with suppress(OSError, UnicodeDecodeError):
        kept = place.read_text(encoding="ascii")
        if _HASH.fullmatch(kept):
            return kept
    found = hashed()
    hidden = place.with_name(f".{place.name}.{secrets.token_hex(4)}")
    with suppress(OSError):
        place.parent.mkdir(parents=True, exist_ok=True)
        hidden.write_text(found, encoding="ascii")
        hidden.replace(place)
    with suppress(OSError):
        hidden.unlink(missing_ok=True)
    return found
