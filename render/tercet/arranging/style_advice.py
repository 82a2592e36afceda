"""Which style suits a song: how quick its tune is, how it lies on the strings, and who plays.

A look at pitches and lengths alone, as a teacher takes it before trying: nothing is arranged for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from tercet.arranging.broken import FEWEST_STRINGS, LEAST_BELOW_SEMITONES
from tercet.arranging.piece import Piece, piece_of
from tercet.arranging.tune import SHORTEST_SPACE_PULSES, TuneNote, row_notes
from tercet.errors import RequestError
from tercet.neck.demands import LIMITS
from tercet.song import Players, Song, Style
from tercet.theory import Tuning

__all__ = ["StyleAdvice", "style_advice"]

QUICK_NOTES_A_S: dict[Players, float] = {"beginner": 2.0, "improving": 3.5, "free": 4.5}
"""Above this the hands have enough to do with the tune alone."""

CALM_NOTES_A_S = 1.5
"""Up to this there is time for strings behind each note; above it notes follow soon enough to ring over one another."""

RINGING_SHARE = 0.7
"""So many of the neighbouring notes must find different strings, for a tune to ring."""

MOST_LEAPS = 0.25
"""A tune with more leaps than this sounds of chords by itself; one that goes by step gains most from ringing."""

ROOM_SHARE = 0.6
"""So much of the held time must have strings free below the tune, for chords to be broken behind it."""

NEAR_FRET = 4

LEAP_SEMITONES = 5


@dataclass(frozen=True, slots=True)
class StyleAdvice:
    """The style that suits a song on some strings.

    Parameters
    ----------
    style, reason
        Which one, and why, in a sentence.
    notes_a_second
        Notes of the tune for each second of the piece.
    held_long
        Share of its notes that are held for two pulses or more, 0 to 1.
    leaps
        Share of its steps that are a fourth or more.
    different_strings
        Share of its neighbouring notes that can lie on different strings within these players' reach.
    room_below
        Share of its held time in which two strings or more have a tone of the chord well below the tune.
    """

    style: Style
    reason: str
    notes_a_second: float
    held_long: float
    leaps: float
    different_strings: float
    room_below: float


def style_advice(song: Song, tuning: Tuning) -> StyleAdvice:
    """Return the style that suits a song and its players.

    Parameters
    ----------
    song
        As it is played: moved already where another key is wanted.
    tuning
        The strings.

    Raises
    ------
    RequestError
        The song has no tune.
    """
    piece = piece_of(song, tuning)
    tune = tuple(row_notes(piece))
    if not tune:
        raise RequestError(f"{song.title} has no tune: there is no style to choose")
    length_s = float(piece.bars[-1].start_beat + piece.bars[-1].length_beat) * piece.beat_s
    long_beat = SHORTEST_SPACE_PULSES * piece.pulse_beat
    figures = {
        "notes_a_second": len(tune) / length_s,
        "held_long": sum(note.length_beat >= long_beat for note in tune) / len(tune),
        "leaps": _share([abs(new.midi - old.midi) >= LEAP_SEMITONES for old, new in pairwise(tune)]),
        "different_strings": _different_strings(tune, piece),
        "room_below": _room_below(tune, piece),
    }
    style, reason = _suiting(figures, song.players)
    return StyleAdvice(style, reason, **figures)


def _suiting(figures: dict[str, float], players: Players) -> tuple[Style, str]:
    """Return the style that suits, and why."""
    pace = f"{figures['notes_a_second']:.1f} a second"
    different, room = f"{figures['different_strings']:.0%}", f"{figures['room_below']:.0%}"
    if figures["notes_a_second"] > QUICK_NOTES_A_S[players]:
        return "plain", f"its notes come at {pace}: the tune alone is enough to do for `players: {players}`"
    calm = figures["notes_a_second"] <= CALM_NOTES_A_S
    if players != "beginner":
        rings = figures["different_strings"] >= RINGING_SHARE and figures["leaps"] <= MOST_LEAPS
        if rings and not calm:
            return "ringing", f"its notes flow by step, {pace}, and {different} of them can change the string"
        if calm and figures["room_below"] >= ROOM_SHARE:
            return (
                "broken",
                f"its notes come at a calm {pace}, and in {room} of their time strings are free below",
            )
    held = f"{figures['held_long']:.0%} of them are held for two pulses or more"
    return "rolls", f"there is time to roll to the tune: its notes come at {pace}, and {held}"


def _share(which: Sequence[bool]) -> float:
    return sum(which) / len(which) if which else 0.0


def _different_strings(tune: Sequence[TuneNote], piece: Piece) -> float:
    """Return the largest share of neighbouring notes that can lie on different strings, by pitch and reach alone."""
    highest = LIMITS[piece.song.players].highest_fret
    most: dict[int, int] = {}
    for note in tune:
        strings = [
            string for string in (1, 2, 3, 4) if 0 <= note.midi - piece.tuning.open_midi(string) <= highest
        ]
        most = {
            string: max((count + (old != string) for old, count in most.items()), default=0)
            for string in strings or list(most) or [1]
        }
    return max(most.values()) / (len(tune) - 1) if len(tune) > 1 else 0.0


def _room_below(tune: Sequence[TuneNote], piece: Piece) -> float:
    """Return the share of the time of notes held for a pulse or more with enough strings of the chord below them."""
    held = [note for note in tune if note.length_beat >= piece.pulse_beat]
    whole = sum(float(note.length_beat) for note in held)
    room = sum(float(note.length_beat) for note in held if _strings_below(note, piece) >= FEWEST_STRINGS)
    return room / whole if whole else 0.0


def _strings_below(note: TuneNote, piece: Piece) -> int:
    """Return how many strings have a tone of the chord near the nut, well below a note that lies on another."""
    if note.chord is None:
        return 0
    opens = [piece.tuning.open_midi(string) for string in (1, 2, 3, 4)]
    below = [
        any(
            (midi + fret) % 12 in note.chord.pitch_classes
            and midi + fret + LEAST_BELOW_SEMITONES <= note.midi
            for fret in range(NEAR_FRET + 1)
        )
        for midi in opens
    ]
    own = any(not free and note.midi - midi >= 0 for free, midi in zip(below, opens, strict=True))
    return sum(below) - (not own)
