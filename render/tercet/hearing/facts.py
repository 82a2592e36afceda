"""What was heard as plain values, for JSON and reports; `docs/hearing.md` says what each means."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tercet.hearing.model import Advice, Claim, Heard

__all__ = ["heard_facts"]


def heard_facts(heard: Heard, advice: Advice) -> dict[str, Any]:
    """Return what was heard and what follows from it."""
    return {
        "recording": heard.name,
        "song": heard.arrangement.song.title,
        "trust": round(heard.trust, 2),
        "advice": {
            "well": advice.well,
            "ask": advice.ask,
            "next": _claim(advice.next) if advice.next else None,
            "others": [_claim(claim) for claim in advice.others],
        },
        "bars": [heard.first_bar, heard.last_bar],
        "tempo": round(heard.tempo, 1),
        "over_noise_db": round(heard.noise_db, 1),
        "front": _rounded(asdict(heard.front)),
        "tuning": [_rounded(asdict(string)) for string in heard.tuning],
        "repeats": [_rounded(asdict(repeat), 2) for repeat in heard.repeats],
        "pauses": [_rounded(asdict(pause), 2) for pause in heard.pauses],
        "tempi": [_rounded(asdict(bar), 2) for bar in heard.tempi],
        "strokes": [_rounded(asdict(stroke), 3) for stroke in heard.strokes],
    }


def _claim(claim: Claim) -> dict[str, Any]:
    return asdict(claim)


def _rounded(facts: dict[str, Any], digits: int = 1) -> dict[str, Any]:
    def plain(value: Any) -> Any:
        if isinstance(value, float):
            return round(value, digits)
        if isinstance(value, dict):
            return {name: plain(each) for name, each in value.items()}
        if isinstance(value, (list, tuple)):
            return [plain(each) for each in value]
        return value

    return {name: plain(value) for name, value in facts.items()}
