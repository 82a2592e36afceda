"""The strokes of an arrangement as plain values, for `tests.measure.hands` to measure."""

from __future__ import annotations

from typing import Any

from tercet.arranging import Arrangement, Gesture
from tercet.arranging.piece import Piece, laid_out
from tercet.theory import Chord


def strokes_of(arrangement: Arrangement) -> list[dict[str, Any]]:
    """Return an arrangement's strokes as plain values, timed by the song's tempo."""
    beat_s = float(60 / (arrangement.song.tempo * arrangement.song.meter.pulse_beat))
    bars = {bar.number: index for index, bar in enumerate(arrangement.bars)}
    keys = _bar_keys(arrangement)
    spans = [
        (bar.start_beat + span.start_beat, span.chord) for bar in arrangement.bars for span in bar.chords
    ]
    piece = laid_out(arrangement.song, arrangement.tuning, arrangement.bars)
    strokes, place = [], 0
    for gesture in arrangement.gestures:
        while place + 1 < len(spans) and spans[place + 1][0] <= gesture.start_beat:
            place += 1
        index = bars[gesture.bar_number]
        strokes.append(
            {
                "onset_s": float(gesture.start_beat) * beat_s,
                "length_s": float(gesture.length_beat) * beat_s,
                "action": gesture.action,
                "tune": gesture.notes[-1].part == "tune",
                "strings": [note.string for note in gesture.notes],
                "midis": [note.midi for note in gesture.notes],
                "shape": list(gesture.shape),
                "fingers": list(gesture.fingers),
                "chord": str(_chord_of(gesture, piece) or ""),
                "span": place,
                "bar": (keys[index], index),
            }
        )
    return strokes


def _chord_of(gesture: Gesture, piece: Piece) -> Chord | None:
    """Return the chord that a stroke is played over: a note of the tune that leans forward has the one that comes."""
    if gesture.notes[-1].part == "tune":
        return piece.chord_under(gesture.start_beat, gesture.length_beat)[0].chord
    return piece.chord_at(gesture.start_beat).chord


def _bar_keys(arrangement: Arrangement) -> list[str]:
    """Return for each bar what is written in it, and the notes on either side, with their chords."""
    notes = [
        [(str(note.pitch), note.start_beat, note.length_beat, note.tied_on) for note in bar.melody]
        for bar in arrangement.bars
    ]
    chords = [
        [(str(span.chord), span.shape, span.start_beat) for span in bar.chords] for bar in arrangement.bars
    ]
    before = [None, *((each[-1:], over[-1:]) for each, over in zip(notes, chords, strict=True))]
    after = [*((each[:1], over[:1]) for each, over in zip(notes, chords, strict=True)), None][1:]
    return [str(each) for each in zip(notes, chords, before, after, strict=False)]
