"""Tuning up: each open string three times, slowly, as a tiny piece that is arranged and played like any other."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tercet.arranging.arranger import arrange
from tercet.arranging.model import Arrangement
from tercet.song import ChordSpan, Line, Meter, Note, Pin, Row, Section, Visit
from tercet.theory import Tuning

__all__ = ["tune_up"]

STRINGS = (4, 3, 2, 1)
"""From the chin to the floor: the order in which tunings and chord shapes are written, and in which the thumb falls. A
class that says "G, C, E, A" hears just that."""

TIMES = 3
RING_BEAT = Fraction(2)
TEMPO = Fraction(60)
"""A stroke every two seconds, a pulse every one: time to listen, turn the peg and listen again, while the pulse goes
on. A string of a ukulele is half a minute's work; four take 24 s."""


def tune_up(arrangement: Arrangement) -> Arrangement:
    """Return the open strings of an arrangement, each three times, one bar a string.

    A bar has six beats of one second; the string is struck on the first, third and fifth, and rings until it is struck
    again or the next string's bar comes. Sections are named by string and note: ``string 4 G``. Title, players, sound
    and the melody's level are the song's own, so that what is tuned to is as loud as what is played; there are no
    marks.
    """
    sections = tuple(_section(string, arrangement.tuning) for string in STRINGS)
    song = replace(
        arrangement.song,
        sections=sections,
        form=tuple(Visit(section.name, 1, last=True) for section in sections),
        meter=Meter(int(TIMES * RING_BEAT), 4),
        tempo=TEMPO,
        swing=Fraction(1, 2),
        feel="steady",
        count_in_bars=None,
    )
    return arrange(song, arrangement.tuning)


def _section(string: int, tuning: Tuning) -> Section:
    """Return the bar of one string: three notes and no chord."""
    pitch = tuning.open_pitches[4 - string]
    notes = tuple(
        Note(time * RING_BEAT, RING_BEAT, position=(string, 0), pin=Pin("alone", (string,)))
        for time in range(TIMES)
    )
    rows = (
        Row("chords", (), ((ChordSpan(Fraction(0), TIMES * RING_BEAT, None),),)),
        Row("melody", (), (notes,)),
    )
    return Section(f"string {string} {str(pitch).rstrip('-0123456789')}", (Line(rows),))
