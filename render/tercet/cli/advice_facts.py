"""Advice as plain values, for JSON; docs/arranging.md says what each means."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from tercet.cli.advice_text import Call, tuning_text

if TYPE_CHECKING:
    from tercet.arranging.key_advice import KeyAdvice
    from tercet.arranging.line_shapes import LineShape
    from tercet.arranging.voice import Voice
    from tercet.song import Song
    from tercet.theory import Tuning

__all__ = ["advice_facts"]


def advice_facts(
    song: Song,
    voice: Voice | None,
    rankings: Sequence[Sequence[KeyAdvice]],
    lines: Sequence[tuple[Tuning, Sequence[LineShape]]],
    call: Call,
) -> dict[str, Any]:
    """Return the advice on a song.

    Parameters
    ----------
    song, voice
        The song with those who play it, and who sings.
    rankings
        Twelve keys each, the best first.
    lines
        For each tuning the hand of each line.
    call
        What the user typed.
    """
    from tercet.arranging.key_advice import ADVICE_COSTS

    return {
        "title": song.title,
        "key": str(song.key),
        "players": song.players,
        "voice": None
        if voice is None
        else {"name": voice.name, "lowest": str(voice.lowest), "highest": str(voice.highest)},
        "weights": ADVICE_COSTS,
        "rankings": [
            {
                "tunings": [tuning_text(one.tuning) for one in keys[0].tunings],
                "keys": [_key_facts(rank, key, call) for rank, key in enumerate(keys, 1)],
            }
            for keys in rankings
        ],
        "lines": [
            {"tuning": tuning_text(tuning), **_line_facts(line, song)}
            for tuning, found in lines
            for line in found
        ],
    }


def _key_facts(rank: int, key: KeyAdvice, call: Call) -> dict[str, Any]:
    return {
        "rank": rank,
        "key": str(key.key),
        "semitones": key.semitones,
        "lowest": str(key.lowest),
        "highest": str(key.highest),
        "suits": key.suits,
        "sung_octave": key.sung_octave,
        "semitones_outside": key.semitones_outside,
        "total": round(key.total, 3),
        "worst": tuning_text(key.worst.tuning),
        "tunings": [
            {
                "tuning": tuning_text(one.tuning),
                "semitones": one.semitones,
                "lowest": str(one.lowest),
                "highest": str(one.highest),
                "notes": one.notes,
                "missing": one.missing,
                "added_missing": one.added_missing,
                "high": one.high,
                "playable": round(one.playable, 3),
                "wanted_rolls": one.wanted,
                "audible_rolls": one.audible,
                "shift_per_bar": round(one.shift_per_bar, 3),
                "cost_per_note": round(one.cost_per_note, 3),
                "not_held": list(one.not_held),
                "time_not_held": round(one.time_not_held, 3),
                "parts": {name: round(value, 3) for name, value in one.parts.items()},
                "total": round(one.total, 3),
                "command": call.command(one),
            }
            for one in key.tunings
        ],
    }


def _line_facts(line: LineShape, song: Song) -> dict[str, Any]:
    from tercet.theory import spell

    return {
        "section": line.section,
        "line": line.line,
        "first_bar": line.first_bar,
        "last_bar": line.last_bar,
        "notes": line.notes,
        "frets": list(line.hand.frets) if line.hand else None,
        "fingers": list(line.hand.fingers) if line.hand else None,
        "known_as": line.known_as,
        "in_chord": line.in_chord,
        "held": [
            {
                "bar": note.bar_number,
                "note": str(spell(note.midi, song.key)),
                "string": note.string,
                "fret": note.fret,
            }
            for note in line.held
        ],
    }
