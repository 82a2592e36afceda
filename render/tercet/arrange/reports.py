"""What the players are told: what can't be played as written, or comes out less well, and the nearest remedy."""

from __future__ import annotations

from tercet.arrange.model import Problem
from tercet.arrange.piece import Piece
from tercet.arrange.strokes import Stroke
from tercet.arrange.tune import TuneNote
from tercet.song import Bar, ChordSpan
from tercet.theory import LAST_FRET, hz_of_midi, spell

__all__ = [
    "added_problem",
    "chord_problem",
    "high_problem",
    "left_out_problem",
    "let_go_problem",
    "masked_problem",
    "pin_problem",
    "strum_problem",
    "together_problem",
    "unplayable_problem",
]

_LOWEST_LOW_G = 55
"""MIDI key number of G3, the lowest note of a low-g ukulele."""


def _at(note: TuneNote, piece: Piece, message: str, remedy: str, *, unplayable: bool = False) -> Problem:
    """Return a problem at a note's place in the piece and in the file."""
    return Problem(
        message,
        piece.bars[note.spot.bar_index].number,
        note.spot.place.section,
        remedy,
        note.source.line,
        note.source.column,
        unplayable,
    )


def unplayable_problem(note: TuneNote, piece: Piece) -> Problem:
    """Report a note that no string has."""
    tuning, key, midi = piece.tuning, piece.song.key, note.midi
    if tuning.lowest_midi <= midi <= tuning.highest_midi:
        where, move, octave = f"is on no string of this tuning up to fret {LAST_FRET}", 0, "in another octave"
    elif midi < tuning.lowest_midi:
        move, octave = tuning.lowest_midi - midi, "an octave higher"
        where = f"lies below the lowest string ({spell(tuning.lowest_midi, key)})"
    else:
        move, octave = tuning.highest_midi - midi, "an octave lower"
        where = f"lies above the last fret ({spell(tuning.highest_midi, key)})"
    remedies = [f"write it {octave}"]
    if move:
        remedies.append(f"move the song by {move:+d} semitones (`--transpose {move}`)")
    if move > 0 and tuning.name == "high-g" and midi >= _LOWEST_LOW_G:
        remedies.append("use `tuning: low-g`")
    name = f"{spell(midi, key)} ({hz_of_midi(midi):.0f} Hz)"
    message = f"{name} {where}; it still sounds in the recordings"
    return _at(note, piece, message, " or ".join(remedies), unplayable=True)


def masked_problem(note: TuneNote, piece: Piece) -> Problem:
    """Report a roll in which another string sounds above the tune."""
    name = spell(note.midi, piece.song.key)
    message = f"the roll to {name} is masked: another string of it sounds higher than the tune"
    return _at(note, piece, message, "start the roll on string 3 or 2, or pin it [alone]")


def high_problem(note: TuneNote, stroke: Stroke, piece: Piece) -> Problem:
    """Report a note above the frets that the players are asked to reach."""
    players = piece.song.players
    message = (
        f"fret {stroke.fret} on string {stroke.string} is higher than `players: {players}` are asked to reach "
        f"(fret {piece.hands.limits.highest_fret})"
    )
    return _at(note, piece, message, "move the song down, or change `players`")


def pin_problem(note: TuneNote, piece: Piece, *, kept: bool) -> Problem:
    """Report a pin that asks much of the hands (`kept`), or that can't be kept, and why."""
    name = _asked(note)
    if kept:
        message = f"the pin {name} is kept, but asks more of the hands than `players: {piece.song.players}`"
        return _at(note, piece, message, "practise it apart, take the pin away, or change `players`")
    strings = note.pin.strings if note.pin else ()
    string = note.position[0] if note.position else strings[-1] if strings else 0
    fret = note.midi - piece.tuning.open_midi(string) if string else 0
    if not 0 <= fret <= LAST_FRET:
        why = f"string {string} doesn't have {spell(note.midi, piece.song.key)}"
        remedy = "pin a string that has it, or take the pin away"
    elif note.chord is None:
        why, remedy = "there is no chord to roll over here", "write a chord, or take the pin away"
    else:
        why = f"no hand can hold {note.chord} on the struck strings under this note"
        remedy = "choose other strings or another chord, or take the pin away"
    return _at(note, piece, f"the pin {name} can't be kept: {why}", remedy)


def _asked(note: TuneNote) -> str:
    """Return the position and the pin of a note as the song writes them."""
    position = f"s{note.position[0]}f{note.position[1]}" if note.position else ""
    if note.pin is None:
        return position
    return f"{position}[{''.join(map(str, note.pin.strings)) or note.pin.action}]"


def added_problem(note: TuneNote, piece: Piece, *, taken: bool) -> Problem:
    """Report a note of the song's own `between` row that disturbs the tune (`taken`), or can't keep its pin."""
    name = spell(note.midi, piece.song.key)
    if taken:
        message = f"the added {name} takes a string or a finger from the tune, which should ring on"
        return _at(note, piece, message, "write it at another place or octave")
    message = f"the pin {_asked(note)} of the added {name} can't be kept"
    return _at(note, piece, message, "pin one string that has the note and doesn't hold the tune")


def together_problem(added: TuneNote, note: TuneNote, piece: Piece) -> Problem:
    """Report an added note that, with the note of the tune beside it, asks more of the hands than the players'."""
    key = piece.song.key
    message = (
        f"the added {spell(added.midi, key)} and the tune's {spell(note.midi, key)} at once ask more of the hands than "
        f"`players: {piece.song.players}`"
    )
    return _at(added, piece, message, "write it at another place or octave, or change `players`")


def left_out_problem(added: TuneNote, note: TuneNote, piece: Piece) -> Problem:
    """Report an added note that is left out: no hand can play it together with the tune."""
    key = piece.song.key
    message = (
        f"the added {spell(added.midi, key)} is left out: no hand has a string for it together with the tune's "
        f"{spell(note.midi, key)}"
    )
    return _at(added, piece, message, "write it at another place or octave")


def let_go_problem(added: TuneNote, piece: Piece) -> Problem:
    """Report an added note that stops before its written end, because the tune needs its string or its finger."""
    message = (
        f"the added {spell(added.midi, piece.song.key)} stops early: the tune needs its string or its finger"
    )
    return _at(added, piece, message, "write it shorter, or at another octave")


def strum_problem(bar: Bar, span: ChordSpan) -> Problem:
    """Report a written strum that no hand can hold beside the tune."""
    return Problem(
        f"no hand can hold {span.chord} beside the tune; the written strum is left out",
        bar.number,
        bar.section,
        "write another strum row or another chord",
        span.source.line,
        span.source.column,
    )


def chord_problem(bar: Bar, span: ChordSpan) -> Problem:
    """Report a chord that no hand can hold, where the players do nothing but strum."""
    return Problem(
        f"no hand can hold {span.chord} in this tuning; where only chords are played it is left out",
        bar.number,
        bar.section,
        "write another chord, or pin a shape",
        span.source.line,
        span.source.column,
    )
