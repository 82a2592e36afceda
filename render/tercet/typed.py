"""Commands as they are typed: a name with a space or a sign of the shell's stands between quotes."""

from __future__ import annotations

import os
import re
import shlex

__all__ = ["typed"]

_PLAIN_ON_WINDOWS = re.compile(r"[\w.:/\\+=%~-]+")


def typed(*words: object, windows: bool = os.name == "nt") -> str:
    """Return words as one types them, ready to be copied into a shell.

    Parameters
    ----------
    *words
        Of a command; paths, too.
    windows
        Whether for the shells of Windows, which both read a name between double quotes; else for those of POSIX.

    Examples
    --------
    >>> typed("tercet", "check", "Two Kettles.yaml", windows=False)
    "tercet check 'Two Kettles.yaml'"
    >>> typed("tercet", "check", "Two Kettles.yaml", windows=True)
    'tercet check "Two Kettles.yaml"'
    """
    texts = map(str, words)
    if not windows:
        return shlex.join(texts)
    return " ".join(text if _PLAIN_ON_WINDOWS.fullmatch(text) else f'"{text}"' for text in texts)
