"""A stroke for every note of the tune, chosen note by note with the hand that the note before left.

Each section is worked out once, when it is first played; later passes keep its strokes, except in bars that
were replaced for the pass.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from render.arrange.demands import COSTS, LIMITS, Hands
from render.arrange.hand import OPEN_HAND, change_cost, hand_position, sounds_chord
from render.arrange.model import Problem
from render.arrange.piece import Piece
from render.arrange.reports import high_problem, masked_problem, pin_problem, unplayable_problem
from render.arrange.strokes import Stroke, chord_strokes, single_strokes, strokes_over, with_fret
from render.arrange.tune import TuneNote
from render.neck import LAST_FRET, Shape, Tuning, holdable

__all__ = ["Fingered", "finger_tune", "is_wanted", "unreachable"]

HAND_RETURN_S = 0.15
"""The thumb needs this long to come back for a roll, and to be ready for the note after it."""

BEST_CHANGE_COST = 4 * COSTS["kept finger"]
"""No change of hand costs less."""


@dataclass(frozen=True, slots=True)
class Fingered:
    """A note of the tune with the stroke that plays it.

    `main` tells whether the note is one of the tune's main notes (rolled, or alone in the melody layer).
    `reached` is False for a note that no string can play: it still sounds, at its written pitch.
    """

    note: TuneNote
    stroke: Stroke
    main: bool
    reached: bool = True


@dataclass(frozen=True, slots=True)
class _Hand:
    """The hands as the note before left them: the shape, its position, the string and the time of the stroke."""

    shape: Shape = OPEN_HAND
    position: int = 1
    string: int = 1
    struck_beat: Fraction | None = None

    def after(self, choice: Fingered) -> _Hand:
        """Return the hand once a note was played."""
        shape = choice.stroke.shape
        return _Hand(shape, hand_position(shape, self.position), choice.stroke.string, choice.note.start_beat)


def is_wanted(note: TuneNote, piece: Piece) -> bool:
    """Whether a note wants a roll: on a chord change, on a downbeat or long, and not too short for it.

    Long is two quarters, or a pulse where the pulse is a dotted note; too short is less than an eighth, or less
    than the thumb needs to come back.
    """
    meter = piece.song.meter
    quarter_beat = Fraction(meter.lower, 4)
    if note.length_beat < quarter_beat / 2 or float(note.length_beat) * piece.beat_s < HAND_RETURN_S:
        return False
    long_beat = meter.pulse_beat if meter.pulse_beat > 1 else 2 * quarter_beat
    return note.chord_comes or note.spot.place.bar_beat == 0 or note.length_beat >= long_beat


def finger_tune(
    notes: Iterable[TuneNote], piece: Piece, added_beats: frozenset[Fraction] = frozenset()
) -> tuple[tuple[Fingered, ...], tuple[Problem, ...]]:
    """Choose a stroke for every note of the tune.

    Parameters
    ----------
    notes
        From `row_notes`, in order.
    piece
        What is arranged.
    added_beats
        Beats at which the song itself adds a note: a roll there would take its string.

    Returns
    -------
    fingered, problems
        One entry a note; and what could not be done as asked, once for each place of the song.
    """
    known: dict[object, Fingered] = {}
    used: dict[object, set[Stroke]] = {}
    fingered: list[Fingered] = []
    problems: list[Problem] = []
    hand = _Hand()
    for note in notes:
        choice = _as_before(note, known)
        if choice is None:
            wanted = is_wanted(note, piece) and note.start_beat not in added_beats
            familiar = used.setdefault((note.midi, note.chord), set())
            choice, found = _choose(note, wanted and _thumb_is_back(note, hand, piece), hand, familiar, piece)
            familiar.add(choice.stroke)
            problems += found
            if not note.own:
                known.setdefault(_written(note), choice)
                known[_written(note), note.chord, note.chord_frets] = choice
        fingered.append(choice)
        hand = hand.after(choice)
    return tuple(fingered), tuple(problems)


def _written(note: TuneNote) -> object:
    """Return what a note is in its section, the same on every pass."""
    return note.spot.place, note.midi, note.position, note.pin


def _as_before(note: TuneNote, known: Mapping[object, Fingered]) -> Fingered | None:
    """Return a note with the stroke that it had on an earlier pass, or None.

    A pick-up may come over another chord than before; then a roll is chosen anew, a single note is kept.
    """
    if note.own:
        return None
    before = known.get((_written(note), note.chord, note.chord_frets))
    if before is None:
        before = known.get(_written(note))
        if before is not None and before.stroke.rolled:
            return None
    return replace(before, note=note) if before is not None else None


def _thumb_is_back(note: TuneNote, hand: _Hand, piece: Piece) -> bool:
    """Whether there is time for a roll after the stroke before."""
    if hand.struck_beat is None:
        return True
    return float(note.start_beat - hand.struck_beat) * piece.beat_s >= HAND_RETURN_S


def _choose(
    note: TuneNote, wanted: bool, hand: _Hand, familiar: Container[Stroke], piece: Piece
) -> tuple[Fingered, list[Problem]]:
    """Choose the cheapest stroke for one note after the hand before it; what the song asks for comes first.

    What these players can't keep is tried with freer hands, and reported; then the note is played as if not pinned.
    """
    action = note.pin.action if note.pin is not None else None
    main = wanted or action == "roll"
    hands = piece.hands.reaching(_lowest_fret(note, piece.tuning))
    options = _options(note, main, hand.shape, hands)
    if not options:
        stroke = unreachable(note.midi, hand.shape, piece.tuning)
        return Fingered(note, stroke, main, reached=False), [unplayable_problem(note, piece)]
    problems = []
    kept = [option for option in options if _keeps(option[1], note)]
    if not kept:
        freer = replace(hands, limits=LIMITS["free"]).reaching(hands.limits.highest_fret)
        kept = [option for option in _options(note, True, hand.shape, freer) if _keeps(option[1], note)]
        problems.append(pin_problem(note, piece, kept=bool(kept)))
    if not kept:
        kept = [option for option in options if action != "alone" or not option[1].rolled]
    best = _cheapest(kept, note, hand, familiar, piece)
    if best.heard == "masked":
        problems.append(masked_problem(note, piece))
    if not problems and _is_high(best, note, piece) and best not in familiar:
        problems.append(high_problem(note, best, piece))
    return Fingered(note, best, best.rolled or main), problems


def _lowest_fret(note: TuneNote, tuning: Tuning) -> int:
    """Return the fret that a note needs at least: the one it asks for, or the lowest of all strings."""
    if note.position is not None:
        return note.position[1]
    frets = (note.midi - tuning.open_midi(string) for string in (4, 3, 2, 1))
    return min((fret for fret in frets if 0 <= fret <= LAST_FRET), default=0)


def _is_high(stroke: Stroke, note: TuneNote, piece: Piece) -> bool:
    """Whether a stroke lies above the players' frets, and the song didn't ask for its string."""
    asked = note.position is not None or (note.pin is not None and bool(note.pin.strings))
    return stroke.fret > piece.hands.limits.highest_fret and not asked


def _keeps(stroke: Stroke, note: TuneNote) -> bool:
    """Whether a stroke plays a note as the song asks: its position and its pin."""
    if note.position is not None and (stroke.string, stroke.fret) != note.position:
        return False
    if note.pin is None:
        return True
    if note.pin.strings:
        return stroke.struck == note.pin.strings
    return stroke.rolled == (note.pin.action == "roll")


def _options(note: TuneNote, main: bool, held: Shape, hands: Hands) -> list[tuple[float, Stroke]]:
    """Return the ways to play a note, each with its cost before any change of hand.

    A main note is rolled over its chord, or struck alone over the chord's shape; any note may be struck alone
    with a finger put over the held shape.
    """
    options: list[tuple[float, Stroke]] = []
    chord = note.chord
    missing = COSTS["wanted roll missing"] if main else 0.0
    if main and note.chord_frets is not None:
        over: Iterable[Stroke] = _over_pinned_shape(note.midi, note.chord_frets, hands)
    else:
        over = chord_strokes(note.midi, chord, hands) if main and chord is not None else ()
    options += [(stroke.cost + (0.0 if stroke.rolled else missing), stroke) for stroke in over]
    for stroke in single_strokes(note.midi, held, hands):
        cost = stroke.cost + missing
        others = tuple(string for string in (4, 3, 2, 1) if string != stroke.string)
        if main and chord is not None and not sounds_chord(stroke.shape, chord, hands, others):
            cost += COSTS["chord not held"]
        options.append((cost, stroke))
    return options


def _over_pinned_shape(tune_midi: int, pinned: Sequence[int | None], hands: Hands) -> Iterator[Stroke]:
    """Yield the strokes over the shape that the chord row asks for; only the tune's string may differ from it."""
    four, three, two, one = (fret or 0 for fret in pinned)
    left_out = {4 - place for place, fret in enumerate(pinned) if fret is None}
    for string in (4, 3, 2, 1):
        fret = tune_midi - hands.tuning.open_midi(string)
        shape = with_fret((four, three, two, one), string, fret)
        if 0 <= fret <= LAST_FRET and holdable(shape, hands.scale_length_mm):
            for stroke in strokes_over(shape, string, 0.0, hands):
                if (left_out - {string}).isdisjoint(stroke.struck):
                    yield stroke


def _cheapest(
    options: Sequence[tuple[float, Stroke]],
    note: TuneNote,
    hand: _Hand,
    familiar: Container[Stroke],
    piece: Piece,
) -> Stroke:
    """Return the cheapest way to play a note after the hand before; a change weighs more the less time there is."""
    hurry = 1.0
    if hand.struck_beat is not None:
        time_s = float(note.start_beat - hand.struck_beat) * piece.beat_s
        hurry = min(max(0.5 / time_s, 0.6), 2.0)
    most_saved = -hurry * BEST_CHANGE_COST - COSTS["used before"]
    best: tuple[float, tuple[int, ...], Shape] = (float("inf"), (), OPEN_HAND)
    chosen = options[0][1]
    for cost, stroke in options:
        if cost - most_saved > best[0]:
            continue
        total = cost + hurry * change_cost(hand.shape, stroke.shape, hand.position)
        total += COSTS["string crossed"] * abs(stroke.string - hand.string)
        if stroke in familiar:
            total += COSTS["used before"]
        if (total, stroke.struck, stroke.shape) < best:
            best, chosen = (total, stroke.struck, stroke.shape), stroke
    return chosen


def unreachable(midi: int, held: Shape, tuning: Tuning) -> Stroke:
    """Return a stroke that stands for a note that no string has; it is sounded at its pitch all the same."""
    string = min((1, 2, 3, 4), key=lambda name: (abs(midi - tuning.open_midi(name)), name))
    fret = LAST_FRET if midi > tuning.open_midi(string) else 0
    return Stroke(string, fret, (string,), held, "top", 0.0)
