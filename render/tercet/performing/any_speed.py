"""A piece as it is played at any speed: what of its strokes stays, so that others can work out the seconds.

Players that play slower keep their levels, how early or late they are, and how unevenly their thumbs fall. What changes
follows from the speed alone: beats get longer, and rolls and strums wider with the root of a pulse
(`tercet.performing.string_times`). A class page does this in the browser; `PieceStrokes` is what it is told.
"""

from __future__ import annotations

from dataclasses import dataclass

from tercet.performing.model import Take, TakeNote
from tercet.performing.performer import Interpretation
from tercet.performing.string_times import even_step
from tercet.song import SECOND

__all__ = ["GestureStrokes", "PieceStrokes", "StringStroke", "piece_strokes"]


@dataclass(frozen=True, slots=True)
class GestureStrokes:
    """A movement of the hand.

    Parameters
    ----------
    onset_s
        Its beat by the piece's own clock, at full speed.
    late_s
        How much later it comes, at any speed.
    step_s, part
        As `string_times.even_step` returns them.
    roll
        Whether each step of it keeps the range of a roll's.
    second
        Whether it is the second voice's, which has a ukulele of its own.
    uneven
        For each step between two strings by how much it is longer, as a part of an even one.
    """

    onset_s: float
    late_s: float
    step_s: float
    part: float
    roll: bool
    second: bool
    uneven: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class StringStroke:
    """A string of it that sounds.

    Parameters
    ----------
    gesture
        Which of the gestures.
    place
        Which of its strings, in the order struck.
    end_s
        Where it ends by the piece's own clock, if its string isn't struck before; None where it rings to the end.
    """

    gesture: int
    place: int
    end_s: float | None


@dataclass(frozen=True, slots=True)
class PieceStrokes:
    """All strokes of a piece, by its own clock at full speed.

    Parameters
    ----------
    beat_s, pulse_s
        Length of a beat and of a pulse where nothing slows down.
    bars_s
        When each bar begins, and when the last one ends.
    gestures
        In the order played.
    strings
        In the order of the notes of the take that they were taken from.
    """

    beat_s: float
    pulse_s: float
    bars_s: tuple[float, ...]
    gestures: tuple[GestureStrokes, ...]
    strings: tuple[StringStroke, ...]


def piece_strokes(playing: Interpretation, take: Take) -> PieceStrokes:
    """Return the strokes of a piece.

    Parameters
    ----------
    playing
        How it is played.
    take
        One of it, from beginning to end.
    """
    arrangement, clock = playing.arrangement, playing.clock
    bars = arrangement.bars
    end_beat = bars[-1].start_beat + bars[-1].length_beat
    gestures = []
    for item in playing.placed:
        step_s, part = even_step(item.gesture, item.level_db)
        steps = len(item.gesture.notes) - 1
        gestures.append(
            GestureStrokes(
                item.onset_s,
                item.deviation.late_s,
                step_s,
                part,
                item.gesture.action == "roll",
                item.gesture.layer == SECOND,
                item.deviation.uneven or (0.0,) * steps,
            )
        )

    def stroke(note: TakeNote) -> StringStroke:
        item = playing.placed[note.gesture]
        place = next(at for at, each in enumerate(item.gesture.notes) if each.string == note.string)
        lasts = item.end_beats[place] < end_beat
        return StringStroke(note.gesture, place, item.ends_s[place] if lasts else None)

    return PieceStrokes(
        clock.beat_s,
        clock.beat_s * float(arrangement.song.meter.pulse_beat),
        (*(clock.seconds(bar.start_beat) for bar in bars), clock.seconds(end_beat)),
        tuple(gestures),
        tuple(map(stroke, take.notes)),
    )
