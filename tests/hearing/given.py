"""Real recordings that a teacher gave: what is true of each, and what is heard.

Run as ``PYTHONPATH=render:. python tests/hearing/given.py``.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from tercet.hearing import Heard, hear, read_recording
from tercet.kit.options import PlayOptions
from tercet.kit.ready import arranged
from tercet.song import read_song

__all__ = ["compared", "given_recordings"]

FOLDER = Path(__file__).resolve().parent / "recordings"
ROOT = FOLDER.parents[2]
ENDINGS = (".wav", ".flac", ".mp3", ".ogg", ".opus")


def given_recordings(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Return each recording of a folder with what its text says is true; one without consent is refused."""
    found = []
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() not in ENDINGS:
            continue
        facts = YAML(typ="safe").load(path.with_suffix(".yaml"))
        if not facts.get("consent"):
            raise SystemExit(f"{path.name}: nobody is known to have consented; take it away")
        found.append((path, facts))
    return found


def compared(path: Path, facts: dict[str, Any]) -> dict[str, tuple[object, object]]:
    """Return for each fact what is true and what was heard."""
    options = PlayOptions(tuning=facts.get("tuning"), transpose=facts.get("transpose"))
    heard = hear(read_recording(path), arranged(read_song(ROOT / facts["song"]), options))
    return {
        "wrong": (facts.get("wrong", []), _bars(heard, "another note")),
        "missed": (facts.get("missed", []), _bars(heard, "missed")),
        "repeats": (facts.get("repeats", []), [[r.after_bar, r.to_bar] for r in heard.repeats]),
        "pauses": (facts.get("pauses", 0), len(heard.pauses)),
        "front": (facts.get("front"), heard.front.lu),
        "trust": (1.0, round(heard.trust, 2)),
    }


def _bars(heard: Heard, verdict: str) -> list[int]:
    return [stroke.bar_number for stroke in heard.strokes if stroke.verdict == verdict]


if __name__ == "__main__":
    for recording, known in given_recordings(FOLDER):
        sys.stdout.write(f"{recording.name}\n")
        for name, (true, found_) in compared(recording, known).items():
            sys.stdout.write(f"  {name:8} true {true}  heard {found_}\n")
