"""A stroke and a hand for every note of the tune: the cheapest way through each section as a whole.

Each section is solved once, when it is first played, from the hand that the music before left; later passes keep
its strokes, and only bars that were replaced for the pass are solved anew, between the hands on either side. So an
edit changes nothing in earlier sections.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import groupby, pairwise, product

import numpy as np
from numpy.typing import NDArray

from tercet.arranging.choices import HEARD, Choices, NeckPlaces, Question, Stroke, choices_for, every_way
from tercet.arranging.model import Problem
from tercet.arranging.path import Changes, Step, cheapest_path
from tercet.arranging.piece import Piece, begun
from tercet.arranging.problems import high_problem, masked_problem, pin_problem, together_problem
from tercet.arranging.tune import SHORTEST_SPACE_PULSES, TuneNote
from tercet.neck import Shape, has_note
from tercet.neck.demands import (
    COSTS,
    HAND_RETURN_S,
    LIMITS,
    QUICK_S,
    ROLLS_APART_S,
    STEADY_ROLLS_APART_S,
    UNHURRIED_S,
)
from tercet.neck.hands import Hand
from tercet.neck.priced_hands import OPEN_HAND, PricedHands, priced_hands
from tercet.song import Pin
from tercet.song.styles import STYLES
from tercet.theory import LAST_FRET, Tuning

__all__ = ["Fingered", "Shared", "finger_tune", "may_be_rolled", "tune_cost", "unreachable"]


_ROUNDS = 2
"""Hands are sought so often again for equal bars and usual fingers: what one round mends may unsettle another bar."""

_NEAR_FRET, _WIDE_FRETS = 5, 4
"""Notes stand in for others up to this fret first; what only fingers so far apart could carry never does."""


@dataclass(frozen=True, slots=True)
class Fingered:
    """A note of the tune with the stroke and the hand that play it.

    Parameters
    ----------
    note, stroke
        What is written, and how it is played.
    main
        Whether it is one of the tune's main notes (rolled, or alone in the melody layer).
    hand
        The left hand; None for a note that no string has.
    change_cost
        What it cost to get here from the hand before.
    asked
        What was asked of the note at first, before anything was eased; None for a note that no string has.
    gap_s
        Roughly how long the hand has since the note before, in seconds.
    """

    note: TuneNote
    stroke: Stroke
    main: bool
    hand: Hand | None
    change_cost: float = 0.0
    asked: Question | None = field(default=None, compare=False)
    gap_s: float = 1.0

    @property
    def reached(self) -> bool:
        """Whether a string has it; one that none has, in a song that keeps it as written, sounds all the same."""
        return self.hand is not None

    @property
    def end_beat(self) -> Fraction:
        """Where it stops."""
        return self.note.end_beat


@dataclass(frozen=True, slots=True)
class _Asked:
    """A question, the hands that may answer it, every way in which they can, and the choices among those."""

    question: Question
    hands: PricedHands
    ways: Choices
    choices: Choices


_Looks = Callable[[Choices], NDArray[np.intp]]
"""What of each choice equal bars should have in common, as a number."""

_Bars = Sequence[tuple[int, Sequence[int]]]
"""What is asked in each bar, as a number, the same for equal ones, and which steps lie in it."""


@dataclass(frozen=True, slots=True)
class Shared:
    """What tunes for the same hands have in common, so that it is worked out once: the same song in several keys.

    Parameters
    ----------
    highest_fret
        The table of hands goes at least so far; a wider table gives the same fingering.
    asked, changes
        Filled as notes are asked about, and as hands change from note to note.
    """

    highest_fret: int
    asked: dict[tuple[Question, PricedHands], _Asked] = field(default_factory=dict)
    changes: dict[PricedHands, Changes] = field(default_factory=dict)

    @property
    def size(self) -> int:
        """How many answers and costs are kept."""
        return len(self.asked) + sum(map(len, self.changes.values()))


def is_wanted(note: TuneNote, piece: Piece) -> bool:
    """Whether a note wants a roll: on a chord change, on a downbeat or long, and not too short for it.

    Long is two quarters, or a pulse where the pulse is a dotted note; too short is less than an eighth that is also
    hurried, or less than these players need for a roll.
    """
    meter = piece.song.meter
    long_beat = meter.pulse_beat if meter.pulse_beat > 1 else Fraction(meter.lower, 2)
    comes = note.chord_comes or note.spot.place.bar_beat == 0 or note.length_beat >= long_beat
    return comes and _has_time(note, piece)


def _has_time(note: TuneNote, piece: Piece) -> bool:
    """Whether a note lasts long enough for a roll."""
    shortest_s = piece.hands.limits.roll_s
    quarter_beat = Fraction(piece.song.meter.lower, 4)
    length_s = float(note.length_beat) * piece.beat_s
    return length_s >= shortest_s and (note.length_beat >= quarter_beat / 2 or length_s >= UNHURRIED_S)


def _stand_ins(tune: Sequence[TuneNote], piece: Piece) -> frozenset[int]:
    """Return the notes that want a roll because no other in the bar lets their chord be heard: the first that does.

    Below string 4, nothing lower can be struck under a note; and under a note that isn't the chord's own, or high up,
    there may be one tone of it or none. The chord is then heard at the next note that allows two near the nut; failing
    that, as far up as these players reach; failing that, at one that allows a roll at all.
    """
    found, reach = set(), piece.hands.limits.highest_chord_fret
    for _, group in groupby(range(len(tune)), key=_counter_of_chords(tune)):
        span = list(group)
        for tones, highest_fret in ((2, _NEAR_FRET), (2, reach), (1, _NEAR_FRET)):
            can = [index for index in span if _may_carry(tune[index], piece, highest_fret) >= tones]
            if any(is_wanted(tune[index], piece) for index in can):
                break
            timely = [index for index in can if _has_time(tune[index], piece)]
            if timely:
                found.add(timely[0])
                break
    return frozenset(found)


def _counter_of_chords(tune: Sequence[TuneNote]) -> Callable[[int], int]:
    """Return for each note how many chords have come before it, those of each bar for themselves."""
    numbers = [0]
    for before, note in pairwise(tune):
        same_bar = before.spot.bar_index == note.spot.bar_index and _visit_of(before) == _visit_of(note)
        same = before.chord == note.chord and same_bar and not note.chord_comes
        numbers.append(numbers[-1] + (not same))
    return numbers.__getitem__


def _may_carry(note: TuneNote, piece: Piece, highest_fret: int) -> int:
    """Return how many tones of the chord, two at most, a roll up to a fret may sound with a note on top; 0 for no roll.

    By pitch alone, whatever is pinned: pins keep what is found.
    """
    if note.chord is None:
        return 0
    stops = (3, 2, 1) if note.position is None else (note.position[0],)
    opens = tuple(pitch.midi for pitch in piece.tuning.open_pitches)
    return _tones_carried(note.midi, note.chord.pitch_classes, stops, opens, highest_fret)


@lru_cache(maxsize=4096)
def _tones_carried(
    midi: int, tones: frozenset[int], stops: tuple[int, ...], open_midis: tuple[int, ...], highest_fret: int
) -> int:
    """Return how many tones of a chord, two at most, rolls sound that stop at a note on one of some strings."""
    most = 0
    for stop, start in product(stops, (4, 3)):
        room = midi - open_midis[4 - stop]
        if start <= stop or not 0 <= room <= highest_fret:
            continue
        under = [open_midis[4 - string] for string in range(start, stop, -1)]
        frets = range(highest_fret + 1)
        for held in product(
            *([fret for fret in frets if (low + fret) % 12 in tones and low + fret <= midi] for low in under)
        ):
            pressed = [fret for fret in (*held, room) if fret]
            if pressed and max(pressed) - min(pressed) >= _WIDE_FRETS:
                continue
            sounding = {(low + fret) % 12 for low, fret in zip(under, held, strict=True)} | {midi % 12}
            most = max(most, min(len(sounding & tones), 2))
    return most


def may_be_rolled(note: TuneNote, piece: Piece) -> bool:
    """Whether the style has a roll for a note that wants one: for all of them, for those held long, or for none."""
    rolled = STYLES[note.spot.style].rolled
    return rolled == "wanted" or (rolled == "long" and _is_long(note, piece))


def _is_long(note: TuneNote, piece: Piece) -> bool:
    return note.length_beat >= SHORTEST_SPACE_PULSES * piece.pulse_beat


def finger_tune(
    notes: Iterable[TuneNote],
    piece: Piece,
    added: Iterable[TuneNote] = (),
    *,
    exact: bool = False,
    shared: Shared | None = None,
) -> tuple[tuple[Fingered, ...], tuple[Problem, ...]]:
    """Choose a stroke and a hand for every note of the tune.

    Parameters
    ----------
    notes
        From `row_notes`, in order.
    piece
        What is arranged.
    added
        The notes that the song itself adds, in order. One that begins together with a note of the tune needs a string
        beside it, so that note is struck alone; it stays in its layer.
    exact
        Weigh every choice there is, not only the cheapest of each kind; slower.
    shared
        From other tunes for the same hands, solved equally exactly.

    Returns
    -------
    fingered, problems
        One entry a note; and what could not be done as asked, once for each place of the song.
    """
    tune = tuple(notes)
    solver = _Solver(tune, piece, tuple(added), shared or Shared(0), exact=exact)
    for _, visit in groupby(range(len(tune)), key=lambda index: _visit_of(tune[index])):
        solver.play(list(visit))
    return tuple(solver.fingered), tuple(solver.problems)


def tune_cost(fingered: Sequence[Fingered]) -> float:
    """Return what the tune costs these hands: every stroke and every change between hands."""
    return sum(item.stroke.cost + item.change_cost for item in fingered)


def _visit_of(note: TuneNote) -> tuple[str, int]:
    return note.spot.place.section, note.spot.pass_number


class _Solver:
    """The tune as it is solved, one playing of a section after the other."""

    def __init__(
        self,
        tune: Sequence[TuneNote],
        piece: Piece,
        added: Sequence[TuneNote],
        shared: Shared,
        *,
        exact: bool,
    ) -> None:
        self.fingered: list[Fingered] = []
        self.problems: list[Problem] = []
        self._tune = tune
        self._piece = piece
        self._exact = exact
        written: dict[object, int] = {}
        self._written = [written.setdefault(_written(note), len(written)) for note in tune]
        self._main = self._main_notes()
        self._beside, self._ringing = _added_at(tune, added)
        self._hands = priced_hands(piece.hands, max(_highest_fret(tune, piece), shared.highest_fret))
        self._changes = shared.changes.setdefault(self._hands, Changes(self._hands))
        self._known: dict[object, Fingered] = {}
        self._known_anywhere: dict[object, Fingered] = {}
        self._known_asked = shared.asked
        self._lowest_frets: dict[object, int] = {}
        self._told_high: set[tuple[int, int]] = set()
        self._bar_numbers: dict[object, int] = {}
        self._struck_bars: dict[int, tuple[int, ...]] = {}
        self._held_bars: dict[int, tuple[int, ...]] = {}
        self._usual_rows: dict[Shape, int] = {}

    def play(self, visit: Sequence[int]) -> None:
        """Finger one playing of a section: keep what is known from before, solve the rest run by run."""
        played = {index: self._as_before(index) for index in visit}
        for index, known in played.items():
            if known is not None:
                self._keep(known)
            elif len(self.fingered) == index:
                run = [other for other in _from(visit, index) if played[other] is None]
                self._solve(run[: _unbroken(run)], played)
        for index in visit:
            note, choice = self._tune[index], self.fingered[index]
            if not note.own:
                self._known_anywhere.setdefault(self._asked(index), choice)
                self._known[self._asked(index), *_over(note)] = choice

    def _asked(self, index: int) -> object:
        """Return what a note is in its section, and what the song adds to it."""
        added = self._beside[index], self._ringing[index]
        asked = self._written[index], self._tune[index].spot.style
        return *asked, *(note and (note.midi, note.position, note.pin) for note in added)

    def _as_before(self, index: int) -> Fingered | None:
        """Return a note with the stroke that it had on an earlier pass, or None.

        A pick-up may come over another chord than before; then a roll is chosen anew, a single note is kept.
        """
        note = self._tune[index]
        if note.own:
            return None
        before = self._known.get((self._asked(index), *_over(note)))
        if before is None:
            before = self._known_anywhere.get(self._asked(index))
            if before is not None and before.stroke.rolled and not note.spot.place.section_bar:
                return None
        return replace(before, note=note, main=self._main[index]) if before is not None else None

    def _keep(self, known: Fingered) -> None:
        """Play a note as on the pass before."""
        cost = 0.0
        before, gap_s = self._hand_before(len(self.fingered))
        if before is not None and known.hand is not None:
            step = Step(self._single(known), gap_s, rings_over=self._rings_over(len(self.fingered)))
            cost = float(self._changes.into(before, step)[0, 0])
        self.fingered.append(replace(known, change_cost=cost, gap_s=gap_s))

    def _solve(self, run: Sequence[int], played: Mapping[int, Fingered | None]) -> None:
        """Find the cheapest way through a run of notes, into the hand after it where that is known."""
        questions = [self._question(index) for index in run]
        asked = [self._ask(index, question) for index, question in zip(run, questions, strict=True)]
        reached = [place for place, each in enumerate(asked) if each.choices]
        before, _ = self._hand_before(run[0])
        after = self._step_after(run[-1], played)
        strokes = [self._step(run[place], asked[place].choices) for place in reached]
        path: Sequence[int] = ()
        if strokes:
            bars = self._bars_of([run[place] for place in reached], strokes)
            path = cheapest_path(strokes, self._changes, before, after)
            if _asks_for_likeness(bars, strokes, path, _strokes, self._struck_bars):
                path = cheapest_path(strokes, self._changes, before, after)
            _remember_bars(bars, strokes, path, _strokes, self._struck_bars)
            struck = [*zip(strokes, path, strict=True)]
            for place, now, earlier in zip(reached, struck, (None, *struck), strict=False):
                asked[place] = self._as_struck(asked[place], now, earlier)
            hands = [self._step(run[place], asked[place].choices) for place in reached]
            bars = self._bars_of([run[place] for place in reached], hands)
            path = cheapest_path(hands, self._changes, before, after)
            usual: dict[Shape, int] = {}
            for _ in range(_ROUNDS):
                unlike = _asks_for_likeness(bars, hands, path, _hands_held, self._held_bars)
                rows = _rows_of(hands, path)
                usual |= self._with_usual_fingers(rows)
                if set(rows) <= set(usual.values()) and not unlike:
                    break
                again = self._with_usual_dearer(hands, usual)
                path = cheapest_path(again, self._changes, before, after)
            _remember_bars(bars, hands, path, _hands_held, self._held_bars)
            self._usual_rows = self._with_usual_fingers(_rows_of(hands, path))
        found = dict(zip(reached, path, strict=True))
        last, last_row = before, 0
        for place, index in enumerate(run):
            note = self._tune[index]
            if place not in found:
                self._off_neck(note, self._main[index])
                continue
            choices, row = asked[place].choices, found[place]
            cost = 0.0
            if last is not None:
                cost = float(self._changes.into(last, self._step(index, choices))[last_row, row])
            last, last_row = choices, row
            self.fingered.append(self._taken(index, choices, row, cost, questions[place]))

    def _step(self, index: int, choices: Choices) -> Step:
        return Step(choices, self._gaps_s[index], rings_over=self._rings_over(index))

    def _step_after(self, last: int, played: Mapping[int, Fingered | None]) -> Step | None:
        """Return the hand after a run as a step with a single choice, where it is known."""
        following = played.get(last + 1)
        if following is None or following.hand is None:
            return None
        return self._step(last + 1, self._single(following))

    def _as_struck(self, asked: _Asked, now: tuple[Step, int], before: tuple[Step, int] | None) -> _Asked:
        """Return what is asked of a note once it is known which strings are struck, here and before.

        That is what `tercet pin` writes, so that a pinned song asks the same and gets the same hands. Where no hand
        holds just what rings on, any that the strokes allow may.
        """
        step, row = now
        frets, column = self._hands.table.frets, int(step.choices.column[row])
        held = frets[step.choices.hand[row]]
        last = 4 - column
        struck = tuple(range(last + int(step.choices.struck[row]) - 1, last - 1, -1))
        question = asked.question
        rung = question.before
        if before is not None:
            choices, earlier = before[0].choices, before[1]
            place = int(choices.column[earlier])
            rung = tuple(each for each in rung if each == (place, int(frets[choices.hand[earlier], place])))
        beside = tuple(each for each in question.beside if each[0] != column and held[each[0]] == each[1])
        pinned = replace(question, pin=Pin("roll" if len(struck) > 1 else "alone", struck))
        if (beside, rung) != (question.beside, question.before):
            narrowed = self._asked_of(replace(pinned, beside=beside, before=rung), asked.hands)
            if narrowed.choices:
                return narrowed
        return self._asked_of(pinned, asked.hands, asked.ways)

    def _bars_of(self, indices: Sequence[int], steps: Sequence[Step]) -> _Bars:
        """Return the bars of some steps, each with what is asked in it: the same for equal ones."""
        bars = []
        by_bar = groupby(range(len(steps)), key=lambda place: self._tune[indices[place]].spot.bar_index)
        for _, inside in by_bar:
            places = list(inside)
            notes = [self._tune[indices[place]] for place in places]
            asked = tuple(
                (note.spot.place.bar_beat, note.length_beat, id(steps[place].choices))
                for note, place in zip(notes, places, strict=True)
            )
            bars.append((self._bar_numbers.setdefault(asked, len(self._bar_numbers)), places))
        return bars

    def _with_usual_dearer(self, steps: Sequence[Step], usual: Mapping[Shape, int]) -> list[Step]:
        """Return steps in which it is dearer to hold a shape with other fingers than its usual ones in this song."""
        other, table = np.zeros(len(self._hands.table)), self._hands.table
        for shape, row in usual.items():
            weight = COSTS["other fingers than before"] / max(int(table.count[row]), 1)
            other[self._hands.rows_of_shape(shape)] = weight
            other[row] = 0.0
        return [step.dearer(other[step.choices.hand]) for step in steps]

    def _with_usual_fingers(self, rows: Sequence[int]) -> dict[Shape, int]:
        """Return the hand that each shape is held with: as first used in the song, else the commonest of some."""
        usual = {self._hands.hand(row).frets: row for row, _ in reversed(Counter(rows).most_common())}
        return usual | self._usual_rows

    def _main_notes(self) -> list[bool]:
        """Return which notes are main ones: to be rolled, where there is a string for it, and in the melody layer.

        That is a matter of the tune and its chords alone, whatever the song adds to it: a note that wants a roll when
        the thumb is back, or for which the song asks for one. It stays so on every pass; only in a pick-up that comes
        over another chord than before may a main note become one of the others.
        """
        known: dict[object, bool] = {}
        main: list[bool] = []
        first_choice: list[bool] = []
        stand_ins = _stand_ins(self._tune, self._piece)
        for index, note in enumerate(self._tune):
            wanted = is_wanted(note, self._piece) or index in stand_ins
            wanted = wanted and self._thumb_is_back(index) and not self._too_soon(index, first_choice)
            is_main = _asks_for_roll(note) or wanted
            if not note.own:
                written = self._written[index]
                over = written, note.chord, note.chord_frets
                is_main = known.get(over, is_main and known.get(written, True))
                known.setdefault(written, is_main)
                known[over] = is_main
            main.append(is_main)
            first_choice.append(is_main and index not in stand_ins)
        return main

    def _too_soon(self, index: int, rolled: Sequence[bool]) -> bool:
        """Whether a quick note comes so soon after a rolled one that nobody is asked for another roll."""
        if float(self._tune[index].length_beat) * self._piece.beat_s >= QUICK_S:
            return False
        apart_s = ROLLS_APART_S if self._tune[index].chord_comes else STEADY_ROLLS_APART_S
        since_s = 0.0
        for place in range(index, 0, -1):
            since_s += self._gaps_s[place]
            if since_s >= apart_s:
                return False
            if rolled[place - 1]:
                return True
        return False

    def _thumb_is_back(self, index: int) -> bool:
        """Whether no roll begins so short before a note that the thumb can't be back.

        A note that only wants a roll lasts long enough for that; one that the song asks for may not.
        """
        since_s = 0.0
        for place in range(index, 0, -1):
            since_s += self._gaps_s[place]
            if since_s >= HAND_RETURN_S:
                return True
            if _asks_for_roll(self._tune[place - 1]):
                return False
        return True

    def _freer(self, note: TuneNote) -> PricedHands:
        """Return hands that reach whatever a note asks for, and no fret beyond it, whatever others ask for."""
        highest = _highest_fret([note], self._piece)
        limits = replace(LIMITS["free"], highest_fret=highest, highest_chord_fret=highest)
        return priced_hands(replace(self._piece.hands, limits=limits), self._hands.highest_fret)

    @cached_property
    def _gaps_s(self) -> tuple[float, ...]:
        """For each note and the end roughly how long the hand has since the note before, in seconds."""
        beat_s = self._piece.beat_s
        gaps = [float(now.start_beat - old.start_beat) * beat_s for old, now in pairwise(self._tune)]
        return (1.0, *gaps, 1.0)

    def _question(self, index: int) -> Question:
        """Return what is asked of one note."""
        note = self._tune[index]
        reach = self._piece.hands.limits.highest_fret
        before = self._tune[index - 1] if self._rings_over(index) else None
        return Question(
            note.midi,
            note.chord,
            note.chord_frets,
            self._main[index] and may_be_rolled(note, self._piece),
            note.position,
            note.played_pin,
            max(reach, self._lowest_fret(note)),
            hasty=self._gaps_s[index] < HAND_RETURN_S,
            strummed=_is_long(note, self._piece) or self._is_broken(note),
            beside=self._places(self._beside[index], reach),
            ringing=self._places(self._ringing[index], reach),
            chord_fingers=note.chord_fingers,
            before=self._places(before, max(reach, self._lowest_fret(before))) if before is not None else (),
        )

    def _ask(self, index: int, question: Question) -> _Asked:
        """Return the choices of one note: as the song asks, else by freer hands, else as if it asked nothing."""
        note = self._tune[index]
        if question.chord_fingers is not None and not self._asked_of(question).choices:
            question = replace(question, chord_fingers=None)
        if question.beside:
            asked = self._ask_together(index, question)
            if asked.choices:
                return asked
            question = replace(question, beside=())
        asked = self._asked_of(question)
        if not asked.choices and not has_note(self._piece.tuning, note.midi):
            return asked
        if not asked.choices and (note.pin is not None or note.position is not None):
            asked = self._asked_of(replace(question, highest_fret=LAST_FRET), self._freer(note))
            if not note.pin_of_part or note.position is not None:
                self.problems.append(pin_problem(note, self._piece, kept=bool(asked.choices)))
        if not asked.choices:
            for eased in _eased(question):
                asked = self._asked_of(eased)
                if asked.choices:
                    break
        return asked

    def _rings_over(self, index: int) -> bool:
        """Whether the style lets the note before ring on over a note of the same playing of its section."""
        note = self._tune[index]
        return (
            index > 0
            and STYLES[note.spot.style].rings
            and _visit_of(self._tune[index - 1]) == _visit_of(note)
        )

    def _is_broken(self, note: TuneNote) -> bool:
        """Whether the strings of its chord are struck behind a note, so that its hand holds the chord."""
        return STYLES[note.spot.style].broken and note.length_beat >= self._piece.pulse_beat

    def _ask_together(self, index: int, question: Question) -> _Asked:
        """Return the choices of a note with one that the song adds: by these players' hands, else by freer ones."""
        asked = self._asked_of(question)
        if not asked.choices:
            asked = self._asked_of(question, self._freer(self._tune[index]))
            added = self._beside[index]
            if asked.choices and added is not None:
                self.problems.append(together_problem(added, self._tune[index], self._piece))
        return asked

    def _places(self, note: TuneNote | None, highest_fret: int) -> NeckPlaces:
        """Return where an added note, or the note of the tune before, may lie, up to a fret."""
        if note is None:
            return ()
        frets = [(string, note.midi - self._piece.tuning.open_midi(string)) for string in (4, 3, 2, 1)]
        return tuple(
            (4 - string, fret)
            for string, fret in frets
            if 0 <= fret <= highest_fret and note.may_lie(string, fret)
        )

    def _lowest_fret(self, note: TuneNote) -> int:
        """Return the fret that a note needs at least, worked out once for each pitch."""
        asked = note.midi, note.position
        if asked not in self._lowest_frets:
            self._lowest_frets[asked] = _lowest_fret(note, self._piece.tuning)
        return self._lowest_frets[asked]

    def _asked_of(
        self, question: Question, hands: PricedHands | None = None, ways: Choices | None = None
    ) -> _Asked:
        key = question, hands or self._hands
        known = self._known_asked.get(key)
        if known is None:
            ways = every_way(*key) if ways is None else ways
            known = _Asked(*key, ways, choices_for(*key, exact=self._exact, ways=ways))
            self._known_asked[key] = known
        return known

    def _hand_before(self, index: int) -> tuple[Choices | None, float]:
        """Return the last hand before a note as a single choice, and the time since."""
        for earlier in range(index - 1, -1, -1):
            item = self.fingered[earlier]
            if item.hand is not None:
                return self._single(item), self._gaps_s[index]
        return None, 1.0

    def _single(self, item: Fingered) -> Choices:
        """Return a note that is fingered already as its only choice."""
        row = self._hands.row_of(item.hand) if item.hand is not None else 0
        stroke = item.stroke
        return self._changes.single(
            row, 4 - stroke.string, len(stroke.struck), HEARD.index(stroke.heard), stroke.cost
        )

    def _taken(
        self, index: int, choices: Choices, row: int, change_cost: float, asked_first: Question
    ) -> Fingered:
        """Return a note with its choice, and tell what is hard about it."""
        note = self._tune[index]
        hand = self._hands.hand(int(choices.hand[row]))
        string = 4 - int(choices.column[row])
        stroke = Stroke(
            string,
            hand.frets[4 - string],
            tuple(range(string + int(choices.struck[row]) - 1, string - 1, -1)),
            hand.frets,
            HEARD[int(choices.heard[row])],
            float(choices.cost[row]),
        )
        if stroke.heard == "masked":
            self.problems.append(masked_problem(note, self._piece))
        asked = note.position is not None or (note.pin is not None and bool(note.pin.strings))
        place = (note.midi, stroke.string)
        if stroke.fret > self._piece.hands.limits.highest_fret and not asked and place not in self._told_high:
            self._told_high.add(place)
            self.problems.append(high_problem(note, stroke, self._piece))
        return Fingered(note, stroke, self._main[index], hand, change_cost, asked_first, self._gaps_s[index])

    def _off_neck(self, note: TuneNote, main: bool) -> None:
        held: Shape = self.fingered[-1].stroke.shape if self.fingered else OPEN_HAND.frets
        self.fingered.append(Fingered(note, unreachable(note.midi, held, self._piece.tuning), main, None))


def _asks_for_likeness(
    bars: _Bars,
    steps: list[Step],
    path: Sequence[int],
    looks: _Looks,
    known: Mapping[int, tuple[int, ...]],
) -> bool:
    """Make it dearer for equal bars to look otherwise than most of them, or one before; whether any did."""
    found: dict[int, list[tuple[int, ...]]] = {}
    for asked, places in bars:
        found.setdefault(asked, []).append(_looking(looks, steps, path, places))
    unlike = False
    for asked, places in bars:
        usual = known.get(asked) or Counter(found[asked]).most_common(1)[0][0]
        if {usual} == set(found[asked]):
            continue
        unlike = True
        for place, look in zip(places, usual, strict=True):
            extra = COSTS["other hand than in an equal bar"] * (looks(steps[place].choices) != look)
            steps[place] = replace(steps[place], extra=extra)
    return unlike


def _remember_bars(
    bars: _Bars,
    steps: Sequence[Step],
    path: Sequence[int],
    looks: _Looks,
    known: dict[int, tuple[int, ...]],
) -> None:
    for asked, places in bars:
        known.setdefault(asked, _looking(looks, steps, path, places))


def _rows_of(steps: Sequence[Step], path: Sequence[int]) -> list[int]:
    return [int(step.choices.hand[place]) for step, place in zip(steps, path, strict=True)]


def _strokes(choices: Choices) -> NDArray[np.intp]:
    """Return which strings are struck, as a number for each choice."""
    return choices.column * 8 + choices.struck


def _hands_held(choices: Choices) -> NDArray[np.intp]:
    return choices.hand


def _looking(
    looks: _Looks, steps: Sequence[Step], path: Sequence[int], places: Iterable[int]
) -> tuple[int, ...]:
    return tuple(int(looks(steps[place].choices)[path[place]]) for place in places)


def _over(note: TuneNote) -> tuple[object, ...]:
    """Return the chord that a note is played over, and how the song holds it."""
    return note.chord, note.chord_frets, note.chord_fingers


def _asks_for_roll(note: TuneNote) -> bool:
    return note.pin is not None and note.pin.action == "roll"


def _from(visit: Sequence[int], index: int) -> Iterator[int]:
    return (other for other in visit if other >= index)


def _unbroken(run: Sequence[int]) -> int:
    """Return how many of some indices follow each other without a gap."""
    length = 1
    while length < len(run) and run[length] == run[0] + length:
        length += 1
    return length


def _written(note: TuneNote) -> object:
    """Return what a note is in its section, the same on every pass."""
    return note.spot.place, note.midi, note.position, note.pin


def _added_at(
    tune: Sequence[TuneNote], added: Sequence[TuneNote]
) -> tuple[list[TuneNote | None], list[TuneNote | None]]:
    """Return for each note of the tune the added note that is struck with it, and the one that rings on into it."""
    beside: list[TuneNote | None] = []
    ringing: list[TuneNote | None] = []
    starts = [float(note.start_beat) for note in added]
    for note in tune:
        now = begun(starts, note.start_beat)
        last = added[now - 1] if now else None
        together = last is not None and last.start_beat == note.start_beat
        rings = last is not None and last.end_beat > note.start_beat and not together
        beside.append(last if together else None)
        ringing.append(last if rings else None)
    return beside, ringing


def _eased(question: Question) -> Iterator[Question]:
    """Yield easier questions: without the pin, alone instead of over the song's own shape, over no chord."""
    alone = question.pin if question.pin is not None and question.pin.action == "alone" else None
    if question.pin is not None or question.position is not None:
        yield replace(question, position=None, pin=alone)
    if question.chord_frets is not None:
        yield replace(question, position=None, pin=Pin("alone"), chord_frets=None, chord_fingers=None)
    bare = replace(question, position=None, pin=None, chord=None, chord_frets=None, chord_fingers=None)
    yield bare
    yield replace(bare, highest_fret=LAST_FRET)


def _lowest_fret(note: TuneNote, tuning: Tuning) -> int:
    """Return the fret that a note needs at least: the one it asks for, or the lowest of all strings."""
    if note.position is not None:
        return note.position[1]
    frets = (note.midi - tuning.open_midi(string) for string in (4, 3, 2, 1))
    return min((fret for fret in frets if 0 <= fret <= LAST_FRET), default=0)


def _highest_fret(tune: Sequence[TuneNote], piece: Piece) -> int:
    """Return the fret up to which the hands' table must go: what players reach, or what the song asks for."""
    limit = piece.hands.limits.highest_fret
    for note in {(note.midi, note.position): note for note in tune}.values():
        limit = max(limit, _lowest_fret(note, piece.tuning))
    for note in tune:
        limit = max(limit, *(fret or 0 for fret in note.chord_frets or (0,)))
        if note.pin is not None and note.pin.strings:
            fret = note.midi - piece.tuning.open_midi(note.pin.strings[-1])
            limit = max(limit, fret if fret <= LAST_FRET else 0)
    return min(limit, LAST_FRET)


def unreachable(midi: int, held: Shape, tuning: Tuning, busy: Collection[int] = ()) -> Stroke:
    """Return a stroke that stands for a note that no string has: the string that comes nearest, at no true fret.

    A string that is `busy` is taken only where all are.
    """
    string = min((1, 2, 3, 4), key=lambda name: (name in busy, abs(midi - tuning.open_midi(name)), name))
    return Stroke(string, 0, (string,), held, "top", 0.0)
