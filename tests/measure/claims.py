"""What a kit says of itself: `kit.json`, read plainly. All of it is a claim, to be held against what is heard."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

__all__ = ["ClaimedBar", "ClaimedFile", "ClaimedTurn", "read_claims"]


@dataclass(frozen=True, slots=True)
class ClaimedTurn:
    """Whose turn it is, from when to when, what is heard, how fast, and what sets it apart."""

    whose: str
    start_s: float
    end_s: float
    heard: str
    guide: str
    speed: str
    step: str


@dataclass(frozen=True, slots=True)
class ClaimedBar:
    """A bar or a part of one: its number in the piece as played, and from when to when it is played."""

    number: int
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class ClaimedFile:
    """One file: its track, its gain, how much peaks were eased, what happens in it when; cues are (kind, seconds)."""

    file: str
    track: str
    gain_db: float
    eased_db: float
    length_s: float
    loudness_lufs: float
    true_peak_dbtp: float
    turns: tuple[ClaimedTurn, ...]
    bars: tuple[ClaimedBar, ...]
    cues: tuple[tuple[str, float], ...]

    def cues_s(self, kind: str) -> tuple[float, ...]:
        """Return when the cues of a kind are struck."""
        return tuple(onset_s for each, onset_s in self.cues if each == kind)

    def turns_of(self, *whose: str) -> tuple[ClaimedTurn, ...]:
        """Return the turns of some, in order."""
        return tuple(turn for turn in self.turns if turn.whose in whose)

    def bars_in(self, turn: ClaimedTurn) -> tuple[ClaimedBar, ...]:
        """Return the bars, or parts of bars, of a turn."""
        return tuple(bar for bar in self.bars if turn.start_s <= bar.start_s < turn.end_s)


def read_claims(path: Path) -> tuple[ClaimedFile, ...]:
    """Read what a manifest says of its audio files, in its own order."""
    return tuple(_file(entry) for entry in json.loads(path.read_text("utf-8"))["files"] if "turns" in entry)


def _file(entry: dict[str, object]) -> ClaimedFile:
    values = {name: entry[name] for name in ClaimedFile.__slots__ if name not in ("turns", "bars", "cues")}
    return ClaimedFile(
        **values,  # type: ignore[arg-type]
        turns=tuple(ClaimedTurn(**turn) for turn in entry["turns"]),  # type: ignore[attr-defined]
        bars=tuple(ClaimedBar(bar["bar"], bar["start_s"], bar["end_s"]) for bar in entry["bars"]),  # type: ignore[attr-defined]
        cues=tuple((cue["kind"], cue["onset_s"]) for cue in entry["cues"]),  # type: ignore[attr-defined]
    )
