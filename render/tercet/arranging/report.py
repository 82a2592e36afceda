"""What an arrangement asks of a player: the hand line by line, the hard places, every bar by how hard it is.

Times are those of the written tempo; ritards, fermatas and swing are left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from tercet.arranging.model import Arrangement, Gesture
from tercet.neck import span_mm
from tercet.neck.demands import EASY_STRETCH_MM, LIMITS, MANY_FINGERS
from tercet.song import Bar, Players, Style, played_visits
from tercet.theory import spell
from tercet.wording import counted

__all__ = [
    "HARDNESS",
    "BarHardness",
    "Change",
    "HandUse",
    "HighFret",
    "LineReport",
    "Masked",
    "Report",
    "StyleUse",
    "Totals",
    "WideHand",
    "as_json",
    "different_strings",
    "frets_text",
    "report_of",
    "stroke_text",
    "top_fret",
]

HARDNESS: dict[str, float] = {
    "finger placed with a second's time": 0.5,
    "fret of a position change with a second's time": 0.5,
    "20 mm of stretch over 40 mm": 1.0,
    "fret above the fifth": 0.4,
    "stroke of the tune a second": 0.4,
    "masked roll": 1.0,
}
"""What makes a bar hard. The first two count double with half a second's time, and so on down to a tenth; stretch and
fret count once a bar, at their worst."""

SHORTEST_TIME_S = 0.1


@dataclass(frozen=True, slots=True)
class HandUse:
    """One hand, and what is played with it before the hand changes or the bar ends.

    Parameters
    ----------
    bar_number
        In the piece as played.
    shape
        Frets from string 4 to string 1, x for a string left out: ``0003``.
    fingers
        For each string the finger on it, 0 for none; empty where only strums are played with it.
    strokes
        Rolls and single notes by the strings struck, as pins are written (``[432]``, ``[1]``); strums as d, u
        and x, in capitals with an accent.
    beats
        Where in the bar each stroke begins, counted from 1 as marks are.
    """

    bar_number: int
    shape: str
    fingers: str
    strokes: tuple[str, ...]
    beats: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class LineReport:
    """One line of music, as its section is first played.

    Parameters
    ----------
    section, line
        Which section, and which of its lines, from 1.
    first_bar, last_bar
        In the piece as played.
    hands
        In the order played.
    rolls, singles, strums
        How many there are; chops are strums, notes that are added are singles.
    """

    section: str
    line: int
    first_bar: int
    last_bar: int
    hands: tuple[HandUse, ...]
    rolls: int
    singles: int
    strums: int


@dataclass(frozen=True, slots=True)
class WideHand:
    """A hand that reaches wide: `width_mm` between the lowest and the highest finger, along the neck."""

    bar_number: int
    section: str
    shape: str
    width_mm: float

    def __str__(self) -> str:
        return f"{self.width_mm:.0f} mm, {self.shape}"


@dataclass(frozen=True, slots=True)
class Change:
    """From one hand to the next: `fingers` are placed anew within `time_ms` from one stroke to the next."""

    bar_number: int
    section: str
    before: str
    after: str
    fingers: int
    time_ms: float

    def __str__(self) -> str:
        fingers, time_s = counted(self.fingers, "finger"), self.time_ms / 1000
        return f"{fingers} in {time_s:.2f} s, {self.before} to {self.after}"


@dataclass(frozen=True, slots=True)
class HighFret:
    """The highest fret, and the string on which it is pressed."""

    bar_number: int
    section: str
    string: int
    fret: int

    def __str__(self) -> str:
        return f"{self.fret} on string {self.string}"


@dataclass(frozen=True, slots=True)
class Masked:
    """A roll to `note` in which another of the struck strings sounds above the tune."""

    bar_number: int
    section: str
    note: str
    struck: str

    def __str__(self) -> str:
        return f"{self.note} {self.struck}"


@dataclass(frozen=True, slots=True)
class BarHardness:
    """How hard a bar is, by `HARDNESS`.

    Parameters
    ----------
    rank
        1 for the hardest.
    bar_number, section, section_bar, pass_number
        Which bar it is.
    changes, stretch, height, speed, masked
        The parts of its cost.
    cost
        Their sum.
    """

    rank: int
    bar_number: int
    section: str
    section_bar: int
    pass_number: int
    changes: float
    stretch: float
    height: float
    speed: float
    masked: float
    cost: float


@dataclass(frozen=True, slots=True)
class StyleUse:
    """One playing of a section in another style than the usual one.

    Parameters
    ----------
    section, pass_number, style
        Which playing, and how its tune and chords share the strings.
    notes
        How many notes its tune has.
    different_strings
        Share of its neighbouring notes that lie on different strings, 0 to 1; 1 where there is only one note.
    behind
        How many strings are struck one by one behind the tune.
    """

    section: str
    pass_number: int
    style: Style
    notes: int
    different_strings: float
    behind: int


@dataclass(frozen=True, slots=True)
class Totals:
    """The piece as a whole.

    Parameters
    ----------
    bars, rolls, singles, strums
        As played, repeats and all; chops are strums, notes that are added are singles.
    shapes
        How many different shapes the hand forms.
    audible_rolls
        Share of the rolls whose tune isn't masked, 0 to 1; 1 without rolls.
    shift_per_bar
        Frets that the hand's position moves, in the mean of all bars.
    cost
        What the tune costs these hands, as the arranger counts it.
    """

    bars: int
    rolls: int
    singles: int
    strums: int
    shapes: int
    audible_rolls: float
    shift_per_bar: float
    cost: float


@dataclass(frozen=True, slots=True)
class Report:
    """What an arrangement asks of a player.

    Parameters
    ----------
    lines
        The lines of music in the order first played.
    widest_stretch, fastest_change, highest_fret
        The hard places, the first of several alike; None where there is none.
    hasty_changes
        Changes of three fingers that come sooner than these players are asked for, in order: pins and a song's own
        strums can bring them.
    masked
        Rolls in which the tune is covered, in order.
    hardest_bars
        Every bar, the hardest first.
    totals
        The piece as a whole.
    styles
        Each playing of a section that has another style than `rolls`, in order.
    """

    lines: tuple[LineReport, ...]
    widest_stretch: WideHand | None
    fastest_change: Change | None
    hasty_changes: tuple[Change, ...]
    highest_fret: HighFret | None
    masked: tuple[Masked, ...]
    hardest_bars: tuple[BarHardness, ...]
    totals: Totals
    styles: tuple[StyleUse, ...]

    @property
    def hardest_places(self) -> tuple[BarHardness, ...]:
        """The hardest bars, each place of a section once."""
        places: dict[tuple[str, int], BarHardness] = {}
        for bar in self.hardest_bars:
            places.setdefault((bar.section, bar.section_bar), bar)
        return tuple(places.values())


@dataclass(frozen=True, slots=True)
class _Move:
    """The left hand from one note of the tune to the next: fingers placed, frets moved, time for it in seconds."""

    before: Gesture
    after: Gesture
    fingers: int
    frets: int
    time_s: float


def report_of(arrangement: Arrangement) -> Report:
    """Return what an arrangement asks of a player."""
    moves = tuple(_moves(arrangement))
    gestures = arrangement.gestures
    rolls = [gesture for gesture in gestures if gesture.action == "roll"]
    masked = [gesture for gesture in rolls if gesture.heard == "masked"]
    return Report(
        lines=tuple(_lines(arrangement)),
        widest_stretch=_widest_stretch(arrangement),
        fastest_change=_fastest_change(moves),
        hasty_changes=tuple(_hasty_changes(moves, arrangement.song.players)),
        highest_fret=_highest_fret(arrangement),
        masked=tuple(_masked(gesture, arrangement) for gesture in masked),
        hardest_bars=_hardest_bars(arrangement, moves),
        totals=Totals(
            bars=len(arrangement.bars),
            shapes=len({frets_text(gesture.shape) for gesture in gestures if gesture.shape}),
            audible_rolls=1 - len(masked) / len(rolls) if rolls else 1.0,
            shift_per_bar=sum(move.frets for move in moves) / len(arrangement.bars),
            cost=arrangement.cost,
            **_counts(gestures),
        ),
        styles=tuple(_styles(arrangement)),
    )


def as_json(report: Report) -> dict[str, Any]:
    """Return a report as plain values for JSON; figures rounded to three places."""
    plain: dict[str, Any] = _rounded(asdict(report))
    return plain


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _rounded(part) for name, part in value.items()}
    if isinstance(value, tuple | list):
        return [_rounded(part) for part in value]
    return round(value, 3) if isinstance(value, float) else value


def frets_text(shape: Sequence[int | None]) -> str:
    """Return a shape as it is written: ``0003``, ``x223``, and ``9.9.9.12`` from fret 10 on."""
    frets = ["x" if fret is None else str(fret) for fret in shape]
    return ("." if any(len(fret) > 1 for fret in frets) else "").join(frets)


def stroke_text(gesture: Gesture) -> str:
    """Return a stroke as the song file writes it: strings in brackets, or the sign of a strum."""
    if gesture.layer != "strums":
        return f"[{''.join(str(note.string) for note in gesture.notes)}]"
    sign = "x" if gesture.action == "chop" else "u" if gesture.up else "d"
    return sign.upper() if gesture.accent and sign != "x" else sign


# ---- line by line


def _lines(arrangement: Arrangement) -> Iterator[LineReport]:
    """Yield the lines of music of each section's first pass."""
    visits = [visit for visit in played_visits(arrangement.bars) if visit.pass_number == 1]
    for bars in (line for visit in visits for line in visit.lines):
        struck = [
            (gesture, float(gesture.start_beat - bar.start_beat) + 1)
            for bar in bars
            for gesture in arrangement.by_bar[bar.number]
        ]
        yield LineReport(
            section=bars[0].section,
            line=bars[0].line + 1,
            first_bar=bars[0].number,
            last_bar=bars[-1].number,
            hands=tuple(_hand_uses(struck)),
            **_counts([gesture for gesture, _ in struck]),
        )


def _hand_uses(struck: Sequence[tuple[Gesture, float]]) -> Iterator[HandUse]:
    """Yield the hands of gestures and where they begin; strums under a shape of the tune are played with its hand."""
    uses: list[HandUse] = []
    for gesture, beat in struck:
        shape = frets_text(gesture.shape)
        fingers = "".join(map(str, gesture.fingers))
        last = uses[-1] if uses else None
        same = last is not None and (last.bar_number, last.shape) == (gesture.bar_number, shape)
        if last is not None and same and (not fingers or last.fingers == fingers):
            strokes, beats = (*last.strokes, stroke_text(gesture)), (*last.beats, beat)
            uses[-1] = HandUse(last.bar_number, shape, last.fingers, strokes, beats)
        else:
            uses.append(HandUse(gesture.bar_number, shape, fingers, (stroke_text(gesture),), (beat,)))
    yield from uses


def _counts(gestures: Sequence[Gesture]) -> dict[str, int]:
    return {
        "rolls": sum(gesture.action == "roll" for gesture in gestures),
        "singles": sum(gesture.action == "single" for gesture in gestures),
        "strums": sum(gesture.layer == "strums" for gesture in gestures),
    }


def different_strings(tune: Sequence[Gesture]) -> float:
    """Return the share of neighbouring notes of a tune that lie on different strings, 1 for a single note."""
    strings = [gesture.notes[-1].string for gesture in tune]
    return sum(old != new for old, new in pairwise(strings)) / (len(strings) - 1) if len(strings) > 1 else 1.0


def _styles(arrangement: Arrangement) -> Iterator[StyleUse]:
    song = arrangement.song
    for visit in song.form:
        style = song.style_of(visit.section, visit.pass_number)
        if style == "rolls":
            continue
        inside = [
            gesture
            for gesture in arrangement.gestures
            if (gesture.section, gesture.pass_number) == (visit.section, visit.pass_number)
        ]
        tune = [gesture for gesture in inside if gesture.notes[-1].part == "tune"]
        behind = sum(gesture.action == "single" and gesture.notes[-1].part == "chord" for gesture in inside)
        yield StyleUse(visit.section, visit.pass_number, style, len(tune), different_strings(tune), behind)


# ---- hard places


def _moves(arrangement: Arrangement) -> Iterator[_Move]:
    """Yield each step from one hand that is worked out to the next, changed or not; strums keep the hand they leave."""
    song = arrangement.song
    beat_s = float(60 / (song.tempo * song.meter.pulse_beat))
    held: list[tuple[Gesture, Fraction]] = []
    for gesture in arrangement.gestures:
        if len(gesture.fingers) == 4:
            held.append((gesture, gesture.start_beat))
        elif gesture.action == "strum" and held and held[-1][0].shape == gesture.shape:
            held[-1] = (held[-1][0], gesture.start_beat)
    for (before, since_beat), (after, _) in pairwise(held):
        time_s = float(after.start_beat - since_beat) * beat_s
        frets = abs(after.position - before.position) if before.position and after.position else 0
        yield _Move(before, after, _fingers_placed(before, after), frets, max(time_s, SHORTEST_TIME_S))


def _fingers_placed(before: Gesture, after: Gesture) -> int:
    """Return how many fingers lie somewhere else than before; one that is lifted isn't counted."""
    old, new = _finger_places(before), _finger_places(after)
    return sum(not places <= old.get(finger, set()) for finger, places in new.items())


def _finger_places(gesture: Gesture) -> dict[int, set[tuple[int, int]]]:
    """Return for each finger in use the (column, fret) pairs that it presses."""
    places: dict[int, set[tuple[int, int]]] = defaultdict(set)
    for column, (finger, fret) in enumerate(zip(gesture.fingers, gesture.shape, strict=True)):
        if finger:
            places[finger].add((column, fret or 0))
    return places


def _width_mm(gesture: Gesture, arrangement: Arrangement) -> float:
    frets = tuple(fret or 0 for fret in gesture.shape)
    return span_mm(frets, arrangement.song.scale_length_mm)


def _widest_stretch(arrangement: Arrangement) -> WideHand | None:
    widest = max(arrangement.gestures, key=lambda gesture: _width_mm(gesture, arrangement), default=None)
    if widest is None or not _width_mm(widest, arrangement):
        return None
    width_mm = _width_mm(widest, arrangement)
    return WideHand(widest.bar_number, widest.section, frets_text(widest.shape), width_mm)


def _fastest_change(moves: Sequence[_Move]) -> Change | None:
    """Return the change with the most fingers placed a second."""
    fastest = max(moves, key=lambda move: move.fingers / move.time_s, default=None)
    return None if fastest is None or not fastest.fingers else _change(fastest)


def _hasty_changes(moves: Iterable[_Move], players: Players) -> Iterator[Change]:
    """Yield the changes that set three fingers sooner than these players are asked to, in order."""
    least_s = LIMITS[players].three_fingers_s
    return (_change(move) for move in moves if move.fingers >= MANY_FINGERS and move.time_s < least_s)


def _change(move: _Move) -> Change:
    before, after = move.before, move.after
    shapes = frets_text(before.shape), frets_text(after.shape)
    return Change(after.bar_number, after.section, *shapes, move.fingers, 1000 * move.time_s)


def _highest_fret(arrangement: Arrangement) -> HighFret | None:
    """Return the highest fret that any shape presses."""
    highest = max(arrangement.gestures, key=top_fret, default=None)
    if highest is None or not top_fret(highest):
        return None
    fret = top_fret(highest)
    return HighFret(highest.bar_number, highest.section, 4 - list(highest.shape).index(fret), fret)


def top_fret(gesture: Gesture) -> int:
    """Return the highest fret that a gesture's hand presses, 0 for none."""
    return max((fret or 0 for fret in gesture.shape), default=0)


def _masked(gesture: Gesture, arrangement: Arrangement) -> Masked:
    note = spell(gesture.notes[-1].midi, arrangement.song.key)
    return Masked(gesture.bar_number, gesture.section, str(note), stroke_text(gesture))


# ---- bar by bar


def _hardest_bars(arrangement: Arrangement, moves: Sequence[_Move]) -> tuple[BarHardness, ...]:
    """Return every bar, the hardest first; of bars alike the earlier one."""
    changes: dict[int, float] = defaultdict(float)
    for move in moves:
        changes[move.after.bar_number] += (
            HARDNESS["finger placed with a second's time"] * move.fingers
            + HARDNESS["fret of a position change with a second's time"] * move.frets
        ) / move.time_s
    parts = [(bar, (changes[bar.number], *_bar_parts(bar, arrangement))) for bar in arrangement.bars]
    parts.sort(key=lambda part: (-round(sum(part[1]), 6), part[0].number))
    return tuple(
        BarHardness(rank, bar.number, bar.section, bar.section_bar, bar.pass_number, *costs, sum(costs))
        for rank, (bar, costs) in enumerate(parts, 1)
    )


def _bar_parts(bar: Bar, arrangement: Arrangement) -> tuple[float, float, float, float]:
    """Return what stretch, height on the neck, speed and masked rolls add to a bar."""
    gestures = arrangement.by_bar[bar.number]
    song = arrangement.song
    bar_s = float(60 * bar.length_beat / (song.tempo * song.meter.pulse_beat))
    widest_mm = max((_width_mm(gesture, arrangement) for gesture in gestures), default=0.0)
    highest = max(map(top_fret, gestures), default=0)
    strokes = sum(gesture.layer != "strums" for gesture in gestures)
    masked = sum(gesture.heard == "masked" for gesture in gestures)
    return (
        HARDNESS["20 mm of stretch over 40 mm"] * max(widest_mm - EASY_STRETCH_MM, 0.0) / 20.0,
        HARDNESS["fret above the fifth"] * max(highest - 5, 0),
        HARDNESS["stroke of the tune a second"] * strokes / bar_s,
        HARDNESS["masked roll"] * masked,
    )
