"""From a song to an arrangement: every note on a string, every space filled."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain

from tercet.arranging.between import Added, place_added
from tercet.arranging.broken import broken_chords
from tercet.arranging.choices import Stroke
from tercet.arranging.chord_hands import shown_shape
from tercet.arranging.fill import fill_spaces
from tercet.arranging.fingering import Fingered, Shared, finger_tune, tune_cost
from tercet.arranging.model import Arrangement, Gesture, NotePart, Problem, StringNote
from tercet.arranging.piece import Piece, piece_of
from tercet.arranging.problems import off_neck_problems
from tercet.arranging.second import second_line
from tercet.arranging.strums import one_strum_a_bar, strum_gestures
from tercet.arranging.tune import TuneNote, row_notes, single_notes
from tercet.errors import RequestError
from tercet.song import LAYERS, SECOND, ChordSpan, Layer, Line, Meter, Note, Pin, Row, Section, Song, Visit
from tercet.song.styles import STYLES
from tercet.theory import Tuning, tuning_of

__all__ = ["arrange", "song_tuning", "tune_up"]


def song_tuning(song: Song) -> Tuning:
    """Return the tuning that a song asks for."""
    return tuning_of(song.tuning)


def arrange(
    song: Song, tuning: Tuning | None = None, *, simple: bool = False, shared: Shared | None = None
) -> Arrangement:
    """Place every note of a song on a string.

    Parameters
    ----------
    song
        What was written. Transpose it first where another key is wanted, and drop its pins where the tuning is
        another than the song's own.
    tuning
        The strings; the song's own without it.
    simple
        A part for beginners on the same bars: the tune in single notes, and one strum a bar.
    shared
        What was worked out for other songs, such as this one before an edit; it is used, and filled.

    Returns
    -------
    Arrangement
        The tune whole: a note that no string has is reported in `problems`, and moved by octaves to where one has it;
        with `Song.as_written` it sounds at its pitch and has no fret.

    Raises
    ------
    RequestError
        The song has no bars to play.
    """
    piece = piece_of(
        replace(song, players="beginner", style="rolls", section_styles=()) if simple else song,
        tuning if tuning is not None else song_tuning(song),
    )
    if not piece.bars:
        raise RequestError(f"{song.title} has no bars to play")
    part = _simple_part(piece, shared) if simple else _whole_part(piece, shared)
    gestures = [
        *(_tune_gesture(item, piece) for item in part.tune),
        *(_added_gesture(item, piece) for item in part.added),
        *part.strums,
    ]
    gestures.sort(key=lambda gesture: (float(gesture.start_beat), LAYERS.index(gesture.layer)))
    notes = [*(item.note for item in part.tune), *(item.note for item in part.added)]
    second, second_problems = _second_voice(piece, shared)
    problems = (*off_neck_problems(notes, piece), *part.problems, *second_problems)
    told = sorted(problems, key=lambda problem: problem.bar_number)
    return Arrangement(
        piece.song, piece.tuning, piece.bars, tuple(gestures), tuple(told), tune_cost(part.tune), second
    )


def _second_voice(piece: Piece, shared: Shared | None) -> tuple[tuple[Gesture, ...], tuple[Problem, ...]]:
    """Return what the second voice does, on ukuleles of its own, and what it can't do on these strings."""
    if piece.song.second is None:
        return (), ()
    line = second_line(piece, piece.song.second)
    fingered, problems = finger_tune(line.notes(piece), piece, shared=shared)
    return tuple(_second_gesture(item, piece) for item in fingered), (*line.problems(piece), *problems)


@dataclass(frozen=True, slots=True)
class _PartPlayed:
    """Everything that one player does, layer by layer, and what can't be done as written."""

    tune: tuple[Fingered, ...]
    added: tuple[Added, ...]
    strums: tuple[Gesture, ...]
    problems: tuple[Problem, ...]


def _whole_part(piece: Piece, shared: Shared | None) -> _PartPlayed:
    """Return the tune with its rolls, the added notes and the strums."""
    tune, problems = finger_tune(row_notes(piece), piece, row_notes(piece, "between"), shared=shared)
    added, added_problems = place_added(tune, piece)
    behind = list(broken_chords(tune, added, piece))
    if piece.song.between == "fill":
        behind += fill_spaces(tune, _in_order(added, behind), piece)
    added = _in_order(added, behind)
    strums, strum_problems = strum_gestures(tune, added, piece)
    return _PartPlayed(tune, added, strums, (*problems, *added_problems, *strum_problems))


def _in_order(*added: Iterable[Added]) -> tuple[Added, ...]:
    return tuple(sorted(chain(*added), key=lambda item: item.note.start_beat))


def _simple_part(piece: Piece, shared: Shared | None) -> _PartPlayed:
    """Return the tune in single notes and one strum a bar."""
    tune, problems = finger_tune(single_notes(row_notes(piece)), piece, shared=shared)
    return _PartPlayed(tune, (), one_strum_a_bar(tune, piece), problems)


def _tune_gesture(item: Fingered, piece: Piece) -> Gesture:
    """Return the gesture of one note of the tune: a roll or a single note."""
    stroke = item.stroke
    under = tuple(
        StringNote(
            string, stroke.shape[4 - string], piece.tuning.midi(string, stroke.shape[4 - string]), "chord"
        )
        for string in stroke.struck[:-1]
    )
    layer: Layer = "melody" if item.main else "between"
    gesture = _gesture(item.note, stroke, layer, (*under, _sounding(item, "tune")), piece)
    rings = STYLES[item.note.spot.style].rings and item.reached
    return _held_by(item, replace(gesture, heard=stroke.heard if stroke.rolled else None, rings=rings))


def _added_gesture(item: Added, piece: Piece) -> Gesture:
    """Return the gesture of one note that is added, or of a string of a broken chord."""
    return _gesture(item.note, item.stroke, "between", (_sounding(item, item.part),), piece)


def _second_gesture(item: Fingered, piece: Piece) -> Gesture:
    """Return the gesture of one note of the second voice."""
    return _held_by(item, _gesture(item.note, item.stroke, SECOND, (_sounding(item, "second"),), piece))


def _held_by(item: Fingered, gesture: Gesture) -> Gesture:
    """Return a gesture with the fingers of the hand that holds it, if one is worked out."""
    if item.hand is None:
        return gesture
    return replace(gesture, fingers=item.hand.fingers, position=item.hand.position)


def _sounding(item: Fingered | Added, part: NotePart) -> StringNote:
    """Return the written note on its string; without a fret where no string has it."""
    fret = item.stroke.fret if item.reached else None
    return StringNote(item.stroke.string, fret, item.note.midi, part, item.note.off_neck)


def _gesture(
    note: TuneNote, stroke: Stroke, layer: Layer, notes: tuple[StringNote, ...], piece: Piece
) -> Gesture:
    spot = note.spot
    return Gesture(
        layer=layer,
        action="roll" if stroke.rolled else "single",
        start_beat=note.start_beat,
        length_beat=note.length_beat,
        notes=notes,
        bar_number=piece.bars[spot.bar_index].number,
        section=spot.place.section,
        section_bar=spot.place.section_bar,
        pass_number=spot.pass_number,
        bar_beat=spot.place.bar_beat,
        phrase=spot.phrase,
        accent=piece.accented(spot, layer),
        shape=shown_shape(stroke.shape, stroke.struck, note.chord_frets),
        rests_on=stroke.string - 1 if stroke.rolled and stroke.string > 1 else None,
        source=note.source,
    )


# ---- tuning up


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
        intro_bars=0,
        turnaround_bars=0,
        tag_bars=None,
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
