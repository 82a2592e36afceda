"""A stroke for every note of the tune, chosen note by note with the hand that the note before left.

Each section is worked out once, when it is first played; later passes keep its strokes, except in bars that
were replaced for the pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from render.arrange.hand import OPEN_HAND, change_cost, hand_position
from render.arrange.model import Problem
from render.arrange.strokes import COSTS, LIMITS, Limits, Stroke, rolls, singles
from render.arrange.tune import ChordAt, Place, TuneNote, chord_at
from render.neck import LAST_FRET, Shape, Tuning
from render.song import Bar, ChordSpan, Meter, Song
from render.theory import hz_of_midi, spell

__all__ = ["Fingered", "beat_s", "finger_tune", "is_wanted", "out_of_reach", "unreachable"]

HAND_RETURN_S = 0.15
"""The thumb needs this long to come back between two rolls."""


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

    @property
    def rolled(self) -> bool:
        """Whether more than one string is struck."""
        return len(self.stroke.struck) > 1


def beat_s(song: Song) -> float:
    """Return roughly how long a beat lasts at the song's tempo, in seconds: what a hand has time for."""
    return float(60 / (song.tempo * song.meter.pulse_beat))


def is_wanted(note: TuneNote, change_beats: frozenset[Fraction], meter: Meter) -> bool:
    """Whether a note wants a roll: on a chord change, on a downbeat or long, and not too short for it.

    Long is two quarters, or a pulse where the pulse is a dotted note; too short is less than an eighth.
    """
    quarter_beat = Fraction(meter.lower, 4)
    if note.length_beat < quarter_beat / 2:
        return False
    long_beat = meter.pulse_beat if meter.pulse_beat > 1 else 2 * quarter_beat
    return note.start_beat in change_beats or note.place.bar_beat == 0 or note.length_beat >= long_beat


@dataclass(slots=True)
class _Hand:
    """The hand as the solver goes along."""

    shape: Shape = OPEN_HAND
    position: int = 1
    last_roll_beat: Fraction | None = None
    last_start_beat: Fraction = Fraction(0)


def finger_tune(
    notes: Sequence[TuneNote], changes: Sequence[ChordAt], bars: Sequence[Bar], song: Song, tuning: Tuning
) -> tuple[tuple[Fingered, ...], tuple[Problem, ...]]:
    """Choose a stroke for every note of the tune.

    Parameters
    ----------
    notes
        From `row_notes`, in order.
    changes
        From `chord_changes`.
    bars, song, tuning
        The piece as played, what was written, and the strings.

    Returns
    -------
    fingered, problems
        One entry a note; and what could not be done as asked, once for each place of the song.
    """
    known: dict[Place, Fingered] = {}
    fingered: list[Fingered] = []
    problems: list[Problem] = []
    hand = _Hand()
    change_beats = frozenset(change.start_beat for change in changes)
    for note in notes:
        before = known.get(note.place)
        if before is not None and not note.own and _same_note(before.note, note):
            choice = replace(before, note=note)
        else:
            wanted = is_wanted(note, change_beats, song.meter) and _hand_is_back(note, hand, song)
            choice, problem = _choose(
                note, wanted, chord_at(changes, note.start_beat), bars, song, tuning, hand
            )
            problems += [problem] if problem else []
            if before is None:
                known[note.place] = choice
        fingered.append(choice)
        hand.shape = choice.stroke.shape
        hand.position = hand_position(choice.stroke.shape, hand.position)
        hand.last_start_beat = note.start_beat
        if choice.rolled:
            hand.last_roll_beat = note.start_beat
    return tuple(fingered), tuple(problems)


def _same_note(one: TuneNote, other: TuneNote) -> bool:
    return (one.midi, one.position, one.pin) == (other.midi, other.position, other.pin)


def _choose(
    note: TuneNote,
    wanted: bool,
    span: ChordSpan | None,
    bars: Sequence[Bar],
    song: Song,
    tuning: Tuning,
    hand: _Hand,
) -> tuple[Fingered, Problem | None]:
    """Choose the cheapest stroke for one note after the hand before it."""
    midi = note.midi if note.midi is not None else tuning.midi(*(note.position or (1, 0)))
    limits = LIMITS[song.players]
    scale_mm = song.scale_length_mm
    asked_roll = note.pin is not None and note.pin.action == "roll"
    alone = note.pin is not None and note.pin.action == "alone"
    options: list[tuple[float, int, Stroke]] = []
    if span is not None and span.chord is not None and (wanted or asked_roll) and not alone:
        reach = limits if note.position is None else _reaching(limits, note.position[1])
        found = list(rolls(midi, span.chord, tuning, reach, scale_mm))
        options += [
            (_cost_after(stroke, hand, note, song), 0, stroke)
            for stroke in _pinned_shape(found, span, midi, tuning)
        ]
    missing = COSTS["wanted roll missing"] if wanted or asked_roll else 0.0
    for stroke in singles(midi, hand.shape, tuning, LAST_FRET):
        over = COSTS["fret of a position change"] * max(stroke.fret - limits.highest_fret, 0)
        options.append((missing + over + stroke.cost, 1, stroke))
    kept, refusal = _keep_pins(options, note)
    if not kept:
        reached = bool(options)
        kept = options or [(0.0, 1, unreachable(midi, hand.shape, tuning))]
        problem = refusal if reached else out_of_reach(midi, note, bars, song, tuning)
    else:
        reached, problem = True, refusal
    _, _, best = min(kept, key=lambda option: (option[0], option[1], option[2].struck, option[2].shape))
    main = len(best.struck) > 1 or wanted or asked_roll
    choice = Fingered(note, best, main, reached)
    if problem is None and reached and best.heard == "masked":
        problem = _masked(best, song, tuning)
    elif problem is None and reached and best.fret > limits.highest_fret and note.position is None:
        problem = _high(best, song)
    return choice, _with_place(problem, note, bars) if problem else None


def _hand_is_back(note: TuneNote, hand: _Hand, song: Song) -> bool:
    if hand.last_roll_beat is None:
        return True
    return float(note.start_beat - hand.last_roll_beat) * beat_s(song) >= HAND_RETURN_S


def _reaching(limits: Limits, fret: int) -> Limits:
    """Widen the limits so that a fret the song asks for is inside."""
    return replace(limits, highest_fret=max(limits.highest_fret, fret))


def _cost_after(stroke: Stroke, hand: _Hand, note: TuneNote, song: Song) -> float:
    """Return a stroke's cost with the change of hand before it, which weighs more the less time there is."""
    time_s = float(note.start_beat - hand.last_start_beat) * beat_s(song)
    hurry = min(max(0.5 / time_s, 0.6), 2.0) if time_s > 0 else 1.0
    return stroke.cost + hurry * change_cost(hand.shape, stroke.shape, hand.position)


def _pinned_shape(found: list[Stroke], span: ChordSpan, midi: int, tuning: Tuning) -> list[Stroke]:
    """Keep the strokes under the shape that the chord row pins; the tune's string may differ from it."""
    if span.shape is None:
        return found
    kept = []
    for stroke in found:
        muted = {4 - place for place, fret in enumerate(span.shape) if fret is None}
        agrees = all(
            4 - place == stroke.string or fret is None or stroke.shape[place] == fret
            for place, fret in enumerate(span.shape)
        )
        if agrees and not muted & set(stroke.struck):
            kept.append(stroke)
    return kept or _forced_shape(span, midi, tuning)


def _forced_shape(span: ChordSpan, midi: int, tuning: Tuning) -> list[Stroke]:
    """Return rolls under a pinned shape that no list has: the song's own shape wins."""
    strokes = []
    for string in (3, 2, 1):
        fret = midi - tuning.open_midi(string)
        frets = [0 if value is None else value for value in span.shape or ()]
        if fret < 0 or fret > LAST_FRET or not frets:
            continue
        frets[4 - string] = fret
        four, three, two, one = frets
        for start in range(4, string, -1):
            struck = tuple(range(start, string - 1, -1))
            if any((span.shape or ())[4 - other] is None for other in struck):
                continue
            strokes.append(Stroke(string, fret, struck, (four, three, two, one), "top", 0.0))
    return strokes


def _keep_pins(
    options: list[tuple[float, int, Stroke]], note: TuneNote
) -> tuple[list[tuple[float, int, Stroke]], Problem | None]:
    """Keep the options that the song's pin allows; with a reason when none does."""
    kept = options
    if note.position is not None:
        kept = [option for option in kept if (option[2].string, option[2].fret) == note.position]
    if note.pin is None:
        return kept, None
    strings = note.pin.strings
    if strings:
        asked = [option for option in kept if option[2].struck == strings]
    elif note.pin.action == "roll":
        asked = [option for option in kept if len(option[2].struck) > 1]
    else:
        asked = [option for option in kept if len(option[2].struck) == 1]
    if asked:
        return asked, None
    what = "".join(str(string) for string in strings) or note.pin.action
    lacking = f"has the tune's note on string {strings[-1]}" if strings else "has chord tones under this note"
    return kept, Problem(
        f"the pin [{what}] can't be kept: no shape in reach of these players {lacking}",
        0,
        "",
        "take the pin away, or choose another chord or `players: free`",
    )


def unreachable(midi: int, held: Shape, tuning: Tuning) -> Stroke:
    """Return a stroke that stands for a note that no string has; it is sounded at its pitch all the same."""
    string = min((1, 2, 3, 4), key=lambda name: (abs(midi - tuning.open_midi(name)), name))
    fret = LAST_FRET if midi > tuning.open_midi(string) else 0
    return Stroke(string, fret, (string,), held, "top", 0.0)


def out_of_reach(midi: int, note: TuneNote, bars: Sequence[Bar], song: Song, tuning: Tuning) -> Problem:
    """Return the report of a note that lies outside the instrument, with the nearest remedy."""
    low = midi < tuning.lowest_midi
    limit = tuning.lowest_midi if low else tuning.highest_midi
    octave = "an octave higher" if low else "an octave lower"
    other = " or use `tuning: low-g`" if low and tuning.name == "high-g" and midi >= 55 else ""
    name = spell(midi, song.key)
    edge = spell(limit, song.key)
    where = f"below the lowest string ({edge})" if low else f"above the last fret ({edge})"
    key_move = limit - midi
    message = f"{name} ({hz_of_midi(midi):.0f} Hz) lies {where}; it still sounds in the recordings"
    remedy = f"write it {octave}, move the song by {key_move:+d} semitones (`--transpose {key_move}`){other}"
    return _with_place(Problem(message, 0, "", remedy, unplayable=True), note, bars)


def _masked(stroke: Stroke, song: Song, tuning: Tuning) -> Problem:
    name = spell(tuning.midi(stroke.string, stroke.fret), song.key)
    return Problem(
        f"the roll to {name} is masked: another string of it sounds higher than the tune", 0, "",
        "pin it [alone], or move the song up",
    )  # fmt: skip


def _high(stroke: Stroke, song: Song) -> Problem:
    return Problem(
        f"fret {stroke.fret} on string {stroke.string} is higher than `players: {song.players}` are asked to reach",
        0, "", "move the song down, or change `players`",
    )  # fmt: skip


def _with_place(problem: Problem, note: TuneNote, bars: Sequence[Bar]) -> Problem:
    """Return a problem with its place in the piece and in the file."""
    bar = bars[note.bar_index]
    return replace(
        problem,
        bar_number=bar.number,
        section=note.place.section,
        line=note.source.line,
        column=note.source.column,
    )
