"""What the players are told: what can't be played as written, or comes out less well, and the nearest remedy."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from tercet.arranging.choices import Stroke
from tercet.arranging.model import Problem, moved_words, sign_of
from tercet.arranging.piece import Piece
from tercet.arranging.tune import TuneNote
from tercet.neck import has_note
from tercet.neck.notes import moves_onto
from tercet.song import Bar, ChordSpan, SecondVoice
from tercet.theory import LAST_FRET, TUNINGS, Pitch, hz_of_midi, spell
from tercet.theory.limits import MOST_SEMITONES

__all__ = [
    "added_problem",
    "chord_problem",
    "high_problem",
    "left_out_problem",
    "let_go_problem",
    "masked_problem",
    "off_neck_problems",
    "pin_problem",
    "second_problem",
    "strum_problem",
    "together_problem",
    "written_midi",
]


def _at(note: TuneNote, piece: Piece, message: str, remedy: str) -> Problem:
    """Return a problem at a note's place in the piece and in the file."""
    return Problem(
        message,
        piece.bars[note.spot.bar_index].number,
        note.spot.place.section,
        remedy,
        note.source.line,
        note.source.column,
    )


def off_neck_problems(notes: Iterable[TuneNote], piece: Piece) -> Iterator[Problem]:
    """Report the notes that no string has, each pitch once: where it first comes, and how often."""
    notes = list(notes)
    by_pitch: dict[int, list[TuneNote]] = {}
    for note in notes:
        if note.off_neck:
            by_pitch.setdefault(written_midi(note, piece), []).append(note)
    remedy = " or ".join(_off_neck_remedies([written_midi(note, piece) for note in notes], piece))
    for midi, alike in by_pitch.items():
        first = min(alike, key=lambda note: note.start_beat)
        times = f", {len(alike)} times," if len(alike) > 1 else ""
        told = f"it is played and printed {moved_words(first.off_neck)}, marked {sign_of(first.off_neck)}"
        if piece.song.as_written:
            told = "it sounds as written, and its place in the tab is empty"
        message = (
            f"{spell(midi, piece.song.key)} ({hz_of_midi(midi):.0f} Hz){times} {_where(midi, piece)}: {told}"
        )
        problem = _at(first, piece, message, remedy)
        yield replace(problem, off_neck=True, unplayable=piece.song.as_written)


def written_midi(note: TuneNote, piece: Piece) -> int:
    """Return the MIDI key number of a note as the song has it."""
    return note.midi - (0 if piece.song.as_written else 12 * note.off_neck)


def _where(midi: int, piece: Piece) -> str:
    tuning, key = piece.tuning, piece.song.key
    if midi < tuning.lowest_midi:
        return f"lies below the lowest string ({spell(tuning.lowest_midi, key)})"
    if midi > tuning.highest_midi:
        return f"lies above the last fret ({spell(tuning.highest_midi, key)})"
    return f"is on no string of this tuning up to fret {LAST_FRET}"


def _off_neck_remedies(midis: Sequence[int], piece: Piece) -> Iterator[str]:
    """Yield what would give all notes a place: a key, as it is typed for the song's file, or other strings."""
    song = piece.song
    moves = (move + song.moved_semitones for move in moves_onto(midis, piece.tuning))
    move = next((move for move in moves if abs(move) <= MOST_SEMITONES), None)
    if move is not None:
        yield (
            f"move the song (`--transpose {move}`)"
            if move
            else "play it in the key as written (`--transpose 0`)"
        )
    low_g = TUNINGS["low-g"]
    if piece.tuning.name == "high-g" and all(has_note(low_g, midi) for midi in midis):
        yield "use `tuning: low-g`"
    if song.as_written:
        yield "let Tercet move it by octaves (leave out `as-written`)"
    else:
        yield "keep it as written (`--as-written`)"


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
        return _at(note, piece, message, "practise it on its own, remove the pin, or change `players`")
    strings = note.pin.strings if note.pin else ()
    string = note.position[0] if note.position else strings[-1] if strings else 0
    fret = note.midi - piece.tuning.open_midi(string) if string else 0
    if not 0 <= fret <= LAST_FRET:
        why = f"string {string} doesn't have {spell(note.midi, piece.song.key)}"
        remedy = "pin a string that has it, or remove the pin"
    elif note.chord is None:
        why, remedy = "there is no chord to roll over here", "write a chord, or remove the pin"
    else:
        why = f"no hand can hold {note.chord} on the struck strings under this note"
        remedy = "choose other strings or another chord, or remove the pin"
    return _at(note, piece, f"the pin {name} can't be kept: {why}", remedy)


def _asked(note: TuneNote) -> str:
    """Return the position and the pin of a note as the song writes them."""
    position = f"s{note.position[0]}f{note.position[1]}" if note.position else ""
    if note.pin is None or note.pin_of_part:
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


def second_problem(
    voice: SecondVoice, places: Sequence[tuple[int, Pitch]], wanted: int, piece: Piece, *, rests: bool
) -> Problem:
    """Report where the strings don't have what the second voice wants: where it rests, or takes another interval.

    `places` are the indices of the bars with the note of the tune above, out of so many that are `wanted`.
    """
    index, tune = places[0]
    bar = piece.bars[index]
    low = voice == "low"
    what = "the low line" if low else f"the second voice (`second: {voice}`)"
    does = "rests" if rests else "takes another interval"
    whose = "its notes" if low else "the tune's notes"
    under = f"{'for' if low else 'under'} {len(places)} of {wanted} of {whose}"
    message = (
        f"{what} {does} {under}, first under {tune} in bar {bar.number}: these strings don't reach low enough"
    )
    remedy = "move the song up (`--transpose`)"
    if piece.tuning.name == "high-g":
        remedy += " or use `tuning: low-g`"
    return Problem(message, bar.number, bar.section, remedy)


def strum_problem(bar: Bar, span: ChordSpan) -> Problem:
    """Report a written strum that no hand can hold beside the tune."""
    message = f"no hand can hold {span.chord} beside the tune; the written strum is left out"
    return _over_chord(bar, span, message, "write another strum row or another chord")


def chord_problem(bar: Bar, span: ChordSpan) -> Problem:
    """Report a chord that no hand can hold, where the players do nothing but strum."""
    message = f"no hand can hold {span.chord} in this tuning; where only chords are played it is left out"
    return _over_chord(bar, span, message, "write another chord, or pin a shape")


def _over_chord(bar: Bar, span: ChordSpan, message: str, remedy: str) -> Problem:
    return Problem(message, bar.number, bar.section, remedy, span.source.line, span.source.column)
