"""What a second voice must keep, counted anew from strings, frets and pitches, not taken from the arranger's word."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from tercet.arranging import Arrangement, Gesture
from tercet.song import Bar, Note
from tercet.theory import Chord

NEAREST_SEMITONES = 3
HIGHEST_FRET = {"beginner": 5, "improving": 7, "free": 12}
MOST_FINGERS = 4

MAJOR, MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10)


@dataclass
class SecondFigures:
    """Counts of a second voice; `faults` names what is wrong, one for each note and kind."""

    tune: int = 0
    notes: int = 0
    in_key: int = 0
    under: int = 0
    playable: int = 0
    strong: int = 0
    strong_of_chord: int = 0
    faults: Counter[str] = field(default_factory=Counter)

    def add(self, other: SecondFigures) -> None:
        """Add the counts of another arrangement."""
        for name in ("tune", "notes", "in_key", "under", "playable", "strong", "strong_of_chord"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.faults += other.faults


def second_figures(arrangement: Arrangement) -> SecondFigures:
    """Count what the second voice of an arrangement keeps."""
    found = SecondFigures(tune=sum(note.is_struck for _, note in _tune(arrangement)))
    low = arrangement.song.second == "low"
    for gesture in arrangement.second:
        found.notes += 1
        found.in_key += _in_key(gesture, arrangement)
        meanwhile = _meanwhile(gesture, arrangement)
        found.under += bool(meanwhile) and all(_is_under(gesture, midi) for _, _, midi in meanwhile)
        found.playable += _is_playable(gesture, arrangement)
        if _is_strong(gesture, arrangement):
            found.strong += 1
            found.strong_of_chord += gesture.notes[0].midi % 12 in _tones_at(gesture.start_beat, arrangement)
        for name, kept in (
            ("in key or chord", _in_key(gesture, arrangement)),
            ("a minor third or more under the tune", all(_is_under(gesture, m) for _, _, m in meanwhile)),
            ("nothing where the tune rests", bool(meanwhile)),
            ("playable", _is_playable(gesture, arrangement)),
            ("one note at a time", len(gesture.notes) == 1 and gesture.action == "single"),
            ("as long as the tune's note", low or _is_as_long(gesture, meanwhile)),
        ):
            found.faults[name] += not kept
    ends = [(one.start_beat + one.length_beat, two.start_beat) for one, two in _pairs(arrangement.second)]
    found.faults["one after the other"] += sum(end > start for end, start in ends)
    return found


def faults_of(arrangement: Arrangement) -> dict[str, int]:
    """Return how often each law is broken, of those that are."""
    return {name: count for name, count in second_figures(arrangement).faults.items() if count}


def _pairs(gestures: tuple[Gesture, ...]) -> Iterator[tuple[Gesture, Gesture]]:
    return pairwise(gestures)


def _tune(arrangement: Arrangement) -> Iterator[tuple[Bar, Note]]:
    return ((bar, note) for bar in arrangement.bars for note in bar.melody if not note.is_rest)


def _midi(note: Note, arrangement: Arrangement) -> int:
    if note.position is not None:
        return arrangement.tuning.midi(*note.position)
    assert note.pitch is not None
    return note.pitch.midi


def _sounding(arrangement: Arrangement) -> list[tuple[Fraction, Fraction, int]]:
    """Return start, end and key of each note of the tune, ties joined."""
    found: list[tuple[Fraction, Fraction, int]] = []
    tied = False
    for bar, note in _tune(arrangement):
        start = bar.start_beat + note.start_beat
        end = start + note.length_beat
        if tied and found and found[-1][1] == start:
            found[-1] = (found[-1][0], end, found[-1][2])
        else:
            found.append((start, end, _midi(note, arrangement)))
        tied = note.tied_on
    return found


def _meanwhile(gesture: Gesture, arrangement: Arrangement) -> list[tuple[Fraction, Fraction, int]]:
    end = gesture.start_beat + gesture.length_beat
    return [each for each in _sounding(arrangement) if each[0] < end and each[1] > gesture.start_beat]


def _is_under(gesture: Gesture, midi: int) -> bool:
    return midi - gesture.notes[0].midi >= NEAREST_SEMITONES


def _is_as_long(gesture: Gesture, meanwhile: list[tuple[Fraction, Fraction, int]]) -> bool:
    return [each[:2] for each in meanwhile] == [
        (gesture.start_beat, gesture.start_beat + gesture.length_beat)
    ]


def _is_strong(gesture: Gesture, arrangement: Arrangement) -> bool:
    """Whether it begins on a pulse, over a chord that didn't begin later than the pulse."""
    pulse = arrangement.song.meter.pulse_beat
    first = arrangement.bars[0]
    from_bar_line = gesture.start_beat - first.start_beat - first.length_beat
    return from_bar_line % pulse == 0 and bool(_tones_at(gesture.start_beat, arrangement))


def _chord_at(beat: Fraction, arrangement: Arrangement) -> Chord | None:
    for bar in arrangement.bars:
        for span in bar.chords:
            start = bar.start_beat + span.start_beat
            if start <= beat < start + span.length_beat:
                return span.chord
    return None


def _tones_at(beat: Fraction, arrangement: Arrangement) -> frozenset[int]:
    chord = _chord_at(beat, arrangement)
    return chord.pitch_classes if chord else frozenset()


def _in_key(gesture: Gesture, arrangement: Arrangement) -> bool:
    key = arrangement.song.key
    scale = {(key.tonic_class + step) % 12 for step in (MINOR if key.minor else MAJOR)}
    end = gesture.start_beat + gesture.length_beat
    tones = set(_tones_at(gesture.start_beat, arrangement))
    for bar in arrangement.bars:
        for span in bar.chords:
            if gesture.start_beat <= bar.start_beat + span.start_beat < end and span.chord:
                tones |= span.chord.pitch_classes
    return gesture.notes[0].midi % 12 in scale | tones


def _is_playable(gesture: Gesture, arrangement: Arrangement) -> bool:
    """Whether its string has it there, within these players' frets, and one finger of the hand at most presses it."""
    note = gesture.notes[0]
    highest = HIGHEST_FRET[arrangement.song.players]
    pressed = sum((fret or 0) > 0 for fret in gesture.shape)
    return (
        note.fret is not None
        and arrangement.tuning.midi(note.string, note.fret) == note.midi
        and note.fret <= highest
        and max((fret or 0 for fret in gesture.shape), default=0) <= highest
        and pressed <= MOST_FINGERS
        and len(gesture.fingers) == 4
    )
