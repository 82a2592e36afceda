"""Opening a file or a folder with the program that this computer has for it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

__all__ = ["shown"]

OPENERS = {"darwin": "open", "win32": "explorer"}
USUAL_OPENER = "xdg-open"


def shown(path: Path) -> bool:
    """Show something to the user, and return whether there is a program for it."""
    opener = shutil.which(OPENERS.get(sys.platform, USUAL_OPENER))
    if opener is None:
        return False
    try:
        subprocess.Popen(  # noqa: S603 - a program of the system's, with a path of ours
            [opener, str(path)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError:
        return False
    return True
