"""From a song to an arrangement: every note on a string, every space filled."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from render.arrange.fingering import Fingered, finger_tune, out_of_reach, unreachable
from render.arrange.model import Arrangement, Gesture, Problem, StringNote
from render.arrange.strokes import Stroke, singles
from render.arrange.strums import strum_gestures
from render.arrange.tune import TuneNote, chord_changes, row_notes
from render.errors import RequestError
from render.neck import LAST_FRET, Tuning, tuning_named, tuning_of_pitches
from render.song import LAYERS, Bar, Song, played_bars

__all__ = ["arrange", "song_tuning"]


def song_tuning(song: Song) -> Tuning:
    """Return the tuning that a song asks for."""
    return tuning_named(song.tuning) if isinstance(song.tuning, str) else tuning_of_pitches(song.tuning)


def arrange(song: Song, tuning: Tuning | None = None) -> Arrangement:
    """Place every note of a song on a string.

    Parameters
    ----------
    song
        What was written. Transpose it first where another key is wanted.
    tuning
        The strings; the song's own without it.

    Returns
    -------
    Arrangement
        The tune whole: a note that can't be played is reported in `problems` and still sounds at its pitch.

    Raises
    ------
    RequestError
        The song has no bars to play.
    """
    strings = tuning if tuning is not None else song_tuning(song)
    bars = played_bars(song)
    if not bars:
        raise RequestError(f"{song.title} has no bars to play")
    changes = chord_changes(bars)
    fingered, problems = finger_tune(list(row_notes(bars)), changes, bars, song, strings)
    added, added_problems = _added(bars, fingered, song, strings)
    gestures = [
        *(_tune_gesture(item, bars, strings) for item in fingered),
        *added,
        *strum_gestures(bars, fingered, added, changes, song, strings),
    ]
    ordered = sorted(gestures, key=lambda gesture: (gesture.start_beat, LAYERS.index(gesture.layer)))
    number = {bar.number: place for place, bar in enumerate(bars)}
    told = sorted((*problems, *added_problems), key=lambda problem: number.get(problem.bar_number, 0))
    return Arrangement(song, strings, bars, tuple(ordered), tuple(told))


def _tune_gesture(item: Fingered, bars: Sequence[Bar], tuning: Tuning) -> Gesture:
    """Return the gesture of one note of the tune: a roll or a single note."""
    note, stroke = item.note, item.stroke
    sounding = []
    for string in stroke.struck:
        fret = stroke.shape[4 - string] if string != stroke.string else stroke.fret
        midi = tuning.midi(string, fret)
        if string == stroke.string and note.midi is not None and not item.reached:
            midi = note.midi
        sounding.append(StringNote(string, fret, midi, "tune" if string == stroke.string else "chord"))
    return _gesture_at(
        note, bars,
        layer="melody" if item.main else "between",
        stroke=stroke,
        notes=tuple(sounding),
    )  # fmt: skip


def _gesture_at(
    note: TuneNote, bars: Sequence[Bar], *, layer: str, stroke: Stroke, notes: tuple[StringNote, ...]
) -> Gesture:
    bar = bars[note.bar_index]
    led_in = note.place.section_bar == 0 and bar.section_bar != 0 and note.bar_index + 1 < len(bars)
    owner = bars[note.bar_index + 1] if led_in else bar
    accent = any(
        mark.kind == "accent"
        and bar.start_beat + mark.at_beat == note.start_beat
        and mark.layer in (None, layer)
        for mark in bar.marks
    )
    rolled = len(notes) > 1
    return Gesture(
        layer="melody" if layer == "melody" else "between",
        action="roll" if rolled else "single",
        start_beat=note.start_beat,
        length_beat=note.length_beat,
        notes=notes,
        bar_number=bar.number,
        section=note.place.section,
        section_bar=note.place.section_bar,
        pass_number=owner.pass_number,
        bar_beat=note.place.bar_beat,
        phrase=note.phrase,
        accent=accent,
        shape=stroke.shape,
        rests_on=stroke.string - 1 if rolled and stroke.string > 1 else None,
    )


def _added(
    bars: Sequence[Bar], fingered: Sequence[Fingered], song: Song, tuning: Tuning
) -> tuple[tuple[Gesture, ...], tuple[Problem, ...]]:
    """Place the notes of the `between` rows that the song gives, as written."""
    gestures: list[Gesture] = []
    problems: list[Problem] = []
    told = set()
    ahead = list(_with_tune(row_notes(bars, "between"), fingered))
    for note, held, busy in ahead:
        stroke, problem = _added_stroke(note, held, busy, bars, tuning, song)
        if problem is not None and (note.place, problem.message) not in told:
            told.add((note.place, problem.message))
            problems.append(problem)
        midi = note.midi if note.midi is not None else tuning.midi(stroke.string, stroke.fret)
        sounding = StringNote(stroke.string, stroke.fret, midi, "added")
        gestures.append(_gesture_at(note, bars, layer="between", stroke=stroke, notes=(sounding,)))
    return tuple(gestures), tuple(problems)


def _with_tune(
    added: Iterator[TuneNote], fingered: Sequence[Fingered]
) -> Iterator[tuple[TuneNote, Fingered | None, frozenset[int]]]:
    """Yield each added note with the note of the tune that holds the hand, and the strings that it may not strike.

    Those are the string on which the tune rings, and all strings of a roll at the same moment.
    """
    now = -1
    for note in added:
        while now + 1 < len(fingered) and fingered[now + 1].note.start_beat <= note.start_beat:
            now += 1
        held = fingered[now] if now >= 0 else None
        if held is None or held.note.end_beat <= note.start_beat:
            yield note, held, frozenset()
        elif held.note.start_beat == note.start_beat:
            yield note, held, frozenset(held.stroke.struck)
        else:
            yield note, held, frozenset({held.stroke.string})


def _added_stroke(
    note: TuneNote,
    held: Fingered | None,
    busy: frozenset[int],
    bars: Sequence[Bar],
    tuning: Tuning,
    song: Song,
) -> tuple[Stroke, Problem | None]:
    shape = held.stroke.shape if held else (0, 0, 0, 0)
    midi = note.midi if note.midi is not None else tuning.midi(*(note.position or (1, 0)))
    options = list(singles(midi, shape, tuning, LAST_FRET))
    if note.position is not None:
        options = [stroke for stroke in options if (stroke.string, stroke.fret) == note.position]
    asked = note.pin.strings if note.pin else ()
    free = [s for s in options if s.string not in busy and (not asked or s.struck == asked)]
    if free:
        return min(free, key=lambda stroke: (stroke.cost, stroke.string)), None
    bar = bars[note.bar_index]
    if not options:
        return unreachable(midi, shape, tuning), out_of_reach(midi, note, bars, song, tuning)
    best = min(options, key=lambda stroke: (stroke.string in busy, stroke.cost, stroke.string))
    what = "its string is taken by the tune" if not asked else "the pinned string can't play it here"
    return best, Problem(
        f"the added note can't be played as asked: {what}",
        bar.number,
        note.place.section,
        "write it at another place or octave",
        note.source.line,
        note.source.column,
    )
