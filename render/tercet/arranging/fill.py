"""Single notes that lead from one note of the tune to the next, where the song says `between: fill`.

Only a note that is held for two pulses or more, up to the next note of the same playing of its section, is followed
by added notes: on its last pulses, and once between pulses where there is far to go and time for it. A bar with a row
of its own (`between` or `strum`) stays as written, a rest stays a rest, and a fermata is left to ring.

Where a note is added, strums give way. So that three layers stay, most of a section's strums do: notes lead from one
phrase into the next first, then through the longest notes, as long as they leave enough.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise

from tercet.arranging.between import Added, added_note, easiest
from tercet.arranging.choices import Stroke, single_strokes, with_fret
from tercet.arranging.fingering import Fingered
from tercet.arranging.piece import Piece, SectionPlace, begun
from tercet.arranging.strums import SlotAt, strokes_in_spaces, strokes_left
from tercet.arranging.tune import TuneNote
from tercet.neck import holdable
from tercet.neck.notes import SCALE_STEPS
from tercet.neck.priced_hands import hands_up_to
from tercet.song import Bar
from tercet.song.styles import STYLES
from tercet.theory import Chord, Key, spell

__all__ = ["fill_spaces", "scale_classes", "scale_letters"]

SHORTEST_HELD_PULSES = 2
"""A space is filled when its note is held at least this long."""

MOST_PULSES = 2
LONG_PULSES = 4
"""Added notes stand on the last pulse before the next note, under a long note on the last two; what comes before is
left to the strums."""

MOST_STRUMS_PART = Fraction(1, 3)
"""The part of a section's strums that may give way to added notes. Where every lead of the first section that has any
takes more, the one that takes the fewest is played all the same, since the song asks for them."""

QUICKEST_S = 0.25
"""Between pulses a note is only added where it has this long."""

FAR_SEMITONES = 7
"""From here on there is far to go: steps alone don't get there."""

LOWEST_SEMITONES = 12
"""Added notes go at most this far below the tune's."""

MOTION_COST = (12, 0, 0, 4, 4, 8, 10, 8)
"""What it costs to move by 0, 1, 2 … semitones; wider leaps cost more each. By step is free, a repeated note leads
nowhere."""

ARRIVAL_TIMES = 2
"""The way into the next note of the tune counts this often."""

OFF_CHORD_COST = 3
UNISON_COST = 20
MOVED_FINGER_COST = 2
"""What else costs: a step that isn't of the chord; the very note that rings, which would sound as if the tune struck
again; a note that the held shape doesn't have."""

STEP_SEMITONES = (1, 2)
"""A note that isn't of the chord goes on by one of these."""


@dataclass(frozen=True, slots=True)
class _Choice:
    """One note that could stand at a place."""

    stroke: Stroke
    midi: int
    off_chord: bool
    cost: int


@dataclass(frozen=True, slots=True)
class _Lead:
    """The added notes from one note of the tune to the next.

    Parameters
    ----------
    note
        Of the tune, from which they lead.
    added
        In order.
    into_phrase
        Whether a phrase begins with the note that they lead to.
    strums_lost
        How many strums of the space give way to them.
    """

    note: TuneNote
    added: tuple[Added, ...]
    into_phrase: bool
    strums_lost: int


def fill_spaces(fingered: Sequence[Fingered], written: Sequence[Added], piece: Piece) -> tuple[Added, ...]:
    """Return the added notes of the tune's long spaces, in order; `written` are those that the song gives.

    Each sounds a tone of the chord, or a tone of the scale that goes on by step. It lies at or below the note of the
    tune that rings, on another string, where the hand that holds the shape reaches it: in the shape, by a finger over
    it, or by one lifted. What stands in a space depends on its two notes and its bars alone, and whether anything does
    on the first playing of its section, so it is the same on every pass.
    """
    strokes = strokes_in_spaces(fingered, written, piece)
    beats = [float(slot.beat) for slot in strokes]
    played: dict[SectionPlace, bool] = {}
    added: list[Added] = []
    every = _leads(fingered, strokes, piece)
    for (start, end), each in groupby(every, key=lambda lead: piece.visit_beats[lead.note.spot.bar_index]):
        spare, leads = MOST_STRUMS_PART * (begun(beats, end) - begun(beats, start)), list(each)
        if not added and all(lead.strums_lost > spare for lead in leads):
            played[min(leads, key=lambda lead: lead.strums_lost).note.spot.place] = True
        for lead in _leaving_strums(leads, spare, played):
            added += lead.added
    return tuple(sorted(added, key=lambda item: item.note.start_beat))


def _leaving_strums(
    leads: Iterable[_Lead], spare: Fraction, played: dict[SectionPlace, bool]
) -> Iterator[_Lead]:
    """Yield the leads of one playing of a section for which no more than `spare` strums give way.

    Whether one is played is noted by its place, and a later playing of the section does the same there.
    """
    for lead in sorted(leads, key=lambda lead: (not lead.into_phrase, -lead.note.length_beat)):
        if played.setdefault(lead.note.spot.place, lead.strums_lost <= spare):
            spare -= lead.strums_lost
            yield lead


def scale_classes(chord: Chord, key: Key) -> frozenset[int]:
    """Return the pitch classes of the scale over a chord: the key's seven, a letter as the chord has it.

    >>> from tercet.theory import parse_chord, parse_key
    >>> sorted(scale_classes(parse_chord("E7"), parse_key("A minor")))
    [0, 2, 4, 5, 8, 9, 11]
    """
    return frozenset(scale_letters(chord, key).values()) | chord.pitch_classes


def scale_letters(chord: Chord | None, key: Key) -> dict[str, int]:
    """Return the pitch class of each letter over a chord: the key's, raised or lowered as the chord has it.

    >>> from tercet.theory import parse_chord, parse_key
    >>> scale_letters(parse_chord("E7"), parse_key("A minor"))["G"], scale_letters(None, parse_key("A minor"))["G"]
    (8, 7)
    """
    classes = [(key.tonic_class + step) % 12 for step in SCALE_STEPS[key.minor]]
    classes += sorted(chord.pitch_classes) if chord is not None else []
    return {spell(60 + each, key).letter: each for each in classes}


def _leads(fingered: Sequence[Fingered], strokes: Sequence[SlotAt], piece: Piece) -> Iterator[_Lead]:
    """Yield what could lead through each of the tune's long spaces, in order; `strokes` are played there without."""
    starts, beats = [float(bar.start_beat) for bar in piece.bars], [float(slot.beat) for slot in strokes]
    for item, following in pairwise(fingered):
        note, after = item.note, following.note
        if not _is_led_from(note, after, piece) or not item.reached:
            continue
        bars = range(begun(starts, note.start_beat) - 1, begun(starts, note.end_beat))
        added = tuple(_lead(item, after, _places(note, after, bars, piece), piece))
        here = strokes[begun(beats, note.start_beat) : begun(beats, note.end_beat)]
        if added:
            into_phrase = note.spot.phrase != after.spot.phrase
            left = strokes_left(here, fingered, added, piece)
            yield _Lead(note, added, into_phrase, len(here) - len(left))


def _is_led_from(note: TuneNote, after: TuneNote, piece: Piece) -> bool:
    """Whether a note of the tune is held long enough, right up to the next one of the same playing of its section."""
    same_visit = (note.spot.place.section, note.spot.pass_number) == (
        after.spot.place.section,
        after.spot.pass_number,
    )
    long_enough = note.length_beat >= SHORTEST_HELD_PULSES * piece.pulse_beat
    follows = after.start_beat == note.end_beat
    return same_visit and long_enough and follows and STYLES[note.spot.style].filled


def _places(
    note: TuneNote, after: TuneNote, bar_indices: Sequence[int], piece: Piece
) -> tuple[tuple[int, Fraction], ...]:
    """Return where notes are added, each with the index of its bar: the last pulses, the last half where it helps."""
    bars = [piece.bars[index] for index in bar_indices]
    if any(
        mark.kind == "fermata" and note.start_beat <= bar.start_beat + mark.at_beat < note.end_beat
        for bar in bars
        for mark in bar.marks
    ):
        return ()
    pulses = [
        (index, beat)
        for index, bar in zip(bar_indices, bars, strict=True)
        for beat in _pulses(bar, piece)
        if _inside(beat, note, piece)
    ]
    if not pulses or not _is_free(piece.bars[pulses[-1][0]]):
        return ()
    most = MOST_PULSES if note.length_beat >= LONG_PULSES * piece.pulse_beat else 1
    places = [(index, beat) for index, beat in pulses[-most:] if _is_free(piece.bars[index])]
    index, beat = places[-1]
    last_part = beat + piece.pulse_beat - piece.part_beat
    far = abs(note.midi - after.midi) >= FAR_SEMITONES
    quick_enough = float(piece.part_beat) * piece.beat_s >= QUICKEST_S and piece.song.players != "beginner"
    if far and quick_enough and note.end_beat - last_part == piece.part_beat:
        places.append((index, last_part))
    return tuple(place for place in places if piece.chord_at(place[1]).chord is not None)


def _pulses(bar: Bar, piece: Piece) -> Iterator[Fraction]:
    """Yield the beats of a bar's pulses; a first bar that is all pick-up has none."""
    beat = Fraction(0)
    while bar.section_bar and beat < bar.length_beat:
        yield bar.start_beat + beat
        beat += piece.pulse_beat


def _inside(beat: Fraction, note: TuneNote, piece: Piece) -> bool:
    """Whether a beat lies well within a held note: a pulse after its onset, and before the thumb makes ready again."""
    return beat - note.start_beat >= piece.pulse_beat and note.end_beat - beat >= piece.part_beat


def _is_free(bar: Bar) -> bool:
    return bar.between is None and bar.strum is None


def _lead(
    item: Fingered, after: TuneNote, places: Sequence[tuple[int, Fraction]], piece: Piece
) -> Iterator[Added]:
    """Yield the cheapest notes at some places that lead from a note of the tune to the next; none where none can."""
    chosen = _cheapest(item.note.midi, after.midi, [_choices(item, beat, piece) for _, beat in places])
    ends = (*(beat for _, beat in places[1:]), item.note.end_beat)
    for choice, place, end_beat in zip(chosen, places, ends, strict=False):
        yield Added(added_note(choice.midi, *place, end_beat, piece), choice.stroke)


def _choices(item: Fingered, beat: Fraction, piece: Piece) -> tuple[_Choice, ...]:
    """Return the notes that could stand at a beat, falling from the tune's."""
    chord = piece.chord_at(beat).chord
    if chord is None:
        return ()
    scale = scale_classes(chord, piece.song.key)
    top = item.note.midi
    found = []
    for midi in range(top, top - LOWEST_SEMITONES - 1, -1):
        strokes = list(_strokes(midi, item, piece)) if midi % 12 in scale else []
        if strokes:
            stroke = easiest(strokes, item.hand, piece.hands)
            off_chord = midi % 12 not in chord.pitch_classes
            cost = OFF_CHORD_COST * off_chord + UNISON_COST * (midi == top)
            cost += MOVED_FINGER_COST * (stroke.shape != item.stroke.shape)
            found.append(_Choice(stroke, midi, off_chord, cost))
    return tuple(found)


def _strokes(midi: int, item: Fingered, piece: Piece) -> Iterator[Stroke]:
    """Yield where a note lies under the hand that holds the tune's: the shape stays but for one string at most."""
    held, hands = item.stroke.shape, piece.hands
    for stroke in single_strokes(midi, held, hands, (item.stroke.string,)):
        over = with_fret(held, stroke.string, stroke.fret)
        eased = over == held or stroke.fret == 0
        reaches = eased or (
            stroke.fret <= hands.limits.highest_fret and hands_up_to(hands, *over).may_hold(over)
        )
        if stroke.shape == over and reaches and holdable(over, hands.scale_length_mm):
            yield stroke


def _cheapest(tune_midi: int, after_midi: int, places: Sequence[Sequence[_Choice]]) -> tuple[_Choice, ...]:
    """Return one choice for each place, the cheapest in all; nothing if a place has none that can go on."""
    if not places:
        return ()
    ways: list[tuple[int, tuple[_Choice, ...]]] = [
        (choice.cost + _motion(tune_midi, choice.midi) // 2, (choice,)) for choice in places[0]
    ]
    for choices in places[1:]:
        longer = []
        for choice in choices:
            into = [
                (cost + choice.cost + _motion(way[-1].midi, choice.midi), (*way, choice))
                for cost, way in ways
                if _may_go(way[-1], choice.midi)
            ]
            longer += [min(into, key=_rank)] if into else []
        ways = longer
    arrived = [
        (cost + ARRIVAL_TIMES * _motion(way[-1].midi, after_midi), way)
        for cost, way in ways
        if _may_go(way[-1], after_midi)
    ]
    return min(arrived, key=_rank)[1] if arrived else ()


def _rank(way: tuple[int, tuple[_Choice, ...]]) -> tuple[int, tuple[int, ...]]:
    """Order ways by their cost; among equals the higher notes come first."""
    return way[0], tuple(-choice.midi for choice in way[1])


def _motion(from_midi: int, to_midi: int) -> int:
    semitones = abs(to_midi - from_midi)
    widest = len(MOTION_COST) - 1
    return MOTION_COST[min(semitones, widest)] + max(semitones - widest, 0)


def _may_go(choice: _Choice, to_midi: int) -> bool:
    """Whether a note may go on to another: a tone of the chord anywhere, another only by step."""
    return not choice.off_chord or abs(to_midi - choice.midi) in STEP_SEMITONES
