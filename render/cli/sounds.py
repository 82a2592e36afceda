"""``tercet sounds``: which sound fonts there are, and which one plays."""

from __future__ import annotations

import argparse
import json
import os
import sys
from typing import Any

from render.cli.options import add_sound_option

__all__ = ["DESCRIPTION", "HELP", "NAME", "add_arguments", "run"]

NAME = "sounds"
HELP = "list the sound fonts that were found and say which one plays"
DESCRIPTION = (
    "List the sound fonts that were found, what each has for this job, and why one of them is chosen."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    add_sound_option(parser)
    parser.add_argument("--json", action="store_true", help="print the list as JSON, for programs")


def run(arguments: argparse.Namespace) -> int:
    """List the fonts and the choice."""
    from render.sound.fonts import choose_font, find_fonts

    fonts = find_fonts(os.environ)
    chosen = choose_font(arguments.sound, None, None, os.environ)
    if arguments.json:
        listed: list[dict[str, Any]] = [
            {
                "path": str(font.path),
                "name": font.name,
                "size_bytes": font.size_bytes,
                "kind": font.kind,
                "usable": font.usable,
                "why": font.why,
            }
            for font in fonts
        ]
        choice = {
            "path": str(chosen.sound.path),
            "bank": chosen.sound.bank,
            "program": chosen.sound.program,
            "preset": chosen.preset_name,
            "why": chosen.why,
        }
        json.dump({"chosen": choice, "fonts": listed}, sys.stdout, indent=2, ensure_ascii=False)
        print()
        return 0
    for font in fonts:
        mark = "plays" if font.path == chosen.sound.path else ""
        print(f"{mark:<6} {font.name} ({font.kind}, {font.size_bytes / 1e6:.1f} MB): {font.why}")
        print(f"       {font.path}")
    print(f"\n{chosen.name}, preset {chosen.preset_name}, plays: {chosen.why}")
    return 0
